"""What a plan comes to: in a few lines below it, and figure by figure beside another plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

from firing.cones.table import describe_number, describe_range
from firing.forecast.opening import RANGES_HOLD, UNLOAD_C
from firing.forecast.result import Forecast
from firing.report.sanitize import display_width, plain, shorten
from firing.report.words import (
    cost_range,
    energy_range,
    heating_range,
    opening_range,
    sentence,
)
from firing.units import format_duration, format_temperature, hours_minutes, in_unit

from .equipment import Equipment, plan_times

MOST_LINES = 4
_BETWEEN = " · "
# Where there would be too many lines the heating goes without its range, which the text
# and the page tell; then names are cut shorter.
_FITTINGS = ((30, True), (30, False), (12, False))
_COUNTED = {"act": "to do", "check": "to check", "note": "to know"}


def summary_lines(
    result: Forecast,
    width: int,
    equipment: Equipment | None = None,
    *,
    coming: str = "",
    left_out: str = "",
    pending: bool = False,
) -> list[str]:
    """Return what a plan comes to: its hours, cone, energy, cost and warnings, and where.

    There are four lines at most on a screen of 80 columns.  `coming` says in words what is still
    being read and not in the forecast yet, and `left_out` why a load is not in it at all.
    While the ranges are `pending`, it goes without them.
    """
    equipment = equipment or Equipment()
    if left_out:
        # Said first: the figures would mislead somebody who thinks that the load is in them.
        said = sentence(shorten(plain(f"without the load: {left_out}"), width))
        rest = summary_lines(result, width, equipment, pending=pending)
        return [said, *rest[: MOST_LINES - 1]]
    lines: list[str] = []
    for longest, ranged in _FITTINGS:
        place = (
            [f"not in it yet: {coming}, being read …"]
            if coming
            else _place(result, equipment, longest)
        )
        hours = _hours(result, ranged=ranged, pending=pending)
        parts = [hours, _results(result, pending=pending), place]
        if result.kiln is None:
            # Little to say of where: it has no need of a line of its own.
            parts[1:] = [list(chain(*parts[1:]))]
        lines = [line for part in parts for line in _flowing(part, width)]
        if len(lines) > MOST_LINES and not ranged:
            lines = _flowing(list(chain(*parts)), width)
        if len(lines) <= MOST_LINES:
            break
    return lines


def _flowing(parts: list[str], width: int) -> list[str]:
    """Put parts on as few lines as hold them, each part whole."""
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + len(_BETWEEN) + display_width(part) <= width:
            lines[-1] += _BETWEEN + part
        else:
            lines.append(sentence(part))
    return lines


def _place(result: Forecast, equipment: Equipment, longest: int) -> list[str]:
    """Return what it is fired with, and what that allows."""
    kiln, unit = result.kiln, result.schedule.unit
    load = None if equipment.load is None else _name(equipment.load.short, longest)
    if kiln is None:
        return ["no kiln (^K)", *([] if load is None else [f"with {load}"])]
    parts = [f"in {_name(kiln.name, longest)} with {load or 'a typical load'}"]
    top = format_temperature(kiln.peak_c, unit)
    parts.append(f"reaches {top}" if kiln.reaches_peak else f"comes to {top} only")
    for limit in ("power", "cooling"):
        limited = [s.index + 1 for s in result.segments if s.limited_by == limit]
        if limited:
            one = "segment " if len(limited) == 1 else ""
            parts.append(f"{limit} limits {one}{_spans(limited)}")
    return parts


def _spans(numbers: list[int]) -> str:
    """Return rising numbers with neighbours drawn together: ``2, 4–6``."""
    spans: list[list[int]] = []
    for number in numbers:
        if spans and spans[-1][-1] == number - 1:
            spans[-1] = [spans[-1][0], number]
        else:
            spans.append([number])
    return ", ".join("–".join(map(str, span)) for span in spans)


def _name(text: str, longest: int) -> str:
    return shorten(plain(text), longest)


def missing_choices(result: Forecast, equipment: Equipment) -> list[str]:
    """Return what is to be chosen so that the forecast can tell more, one sentence each."""
    found = []
    if result.kiln is None and equipment.tariff is not None:
        found.append("No cost: without a kiln nobody knows the energy; ^K chooses one.")
    if result.kiln is not None and equipment.tariff is None:
        found.append("No cost: no tariff is chosen; ^K chooses one.")
    elif result.kiln is not None and result.started is None:
        found.append("No cost: prices go by the clock, and no start is given; F2 takes one.")
    return found


def _hours(result: Forecast, *, ranged: bool, pending: bool) -> list[str]:
    heating = heating_range(result) if ranged and not pending else ""
    parts = [f"heats {format_duration(result.heating_s)}{heating}"]
    if result.started is not None:
        parts.insert(0, f"starts {plan_times(result).at(0.0)}")
    unload = ""
    if result.unload_c != UNLOAD_C:
        unload = f"at {format_temperature(result.unload_c, result.schedule.unit)} "
    if result.kiln is not None and result.kiln.stalled:
        parts.append(f"stalls {_when(result, result.program_s)}")
    elif pending:
        parts.append(f"opens {unload}{_when(result, result.total_s)} (range …)")
    elif result.total_s > result.program_s:
        level = "" if result.kiln is None else f", {RANGES_HOLD}"
        low, high = (_edge(result, edge_s) for edge_s in (result.total_low_s, result.total_high_s))
        parts.append(f"opens {unload}{_when(result, result.total_s)} ({low} to {high}{level})")
    else:
        ends = f"{_when(result, result.program_s)}{opening_range(result)}"
        parts.append(f"ends {ends}, cool enough to open")
    return parts


def comes_to(now: Forecast, then: Forecast) -> str:
    """Return what of a plan's hours and cone another would change, in a sentence."""
    pairs = {
        "heats": [format_duration(result.heating_s) for result in (now, then)],
        "cone": [_cone_number(result) for result in (now, then)],
    }
    parts = [f"{name} {' → '.join(dict.fromkeys(pair))}" for name, pair in pairs.items()]
    return f"{sentence(_BETWEEN.join(parts))}."


def _when(result: Forecast, after_s: float) -> str:
    at = plan_times(result).at(after_s)
    return f"after {at}" if result.started is None else at


def _edge(result: Forecast, after_s: float) -> str:
    """Return the end of a range, its day only where it is another than that of the middle."""
    if result.started is None:
        return hours_minutes(after_s)
    keeper = plan_times(result)
    day, _, clock = keeper.at(after_s).rpartition(" ")
    return clock if day == keeper.at(result.total_s).rpartition(" ")[0] else f"{day} {clock}"


def _results(result: Forecast, *, pending: bool) -> list[str]:
    cone = result.cones.words
    parts = [f"{cone}, target {result.target_cone}" if result.target_cone else cone]
    if result.kiln is not None:
        kiln = result.kiln
        parts.append(f"{kiln.energy_kwh:.0f} kWh{'' if pending else energy_range(kiln)}")
        if kiln.cost is not None:
            amount = f"{kiln.cost.currency} {kiln.cost.amount:.2f}"
            parts.append(amount if pending else f"{amount}{cost_range(kiln)}")
    return [*parts, warnings_count(result)]


def warnings_count(result: Forecast) -> str:
    """Return how many warnings there are of each kind."""
    counts = [
        f"{number} {words}"
        for severity, words in _COUNTED.items()
        if (number := sum(warning.severity == severity for warning in result.warnings))
    ]
    return f"warnings: {', '.join(counts)}" if counts else "no warnings"


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """One figure: its name, how it is shown, and what there is to say of it."""

    name: str
    text: str
    details: tuple[str, ...] = ()


def key_figures(result: Forecast, equipment: Equipment) -> list[KeyFigure]:
    """Return the figures of a forecast; those of two under the same circumstances go together."""
    from firing.report.forecast import forecast_answer

    course, cone = forecast_answer(result)
    found = [
        KeyFigure("heats", format_duration(result.heating_s), (course,)),
        KeyFigure("opens", _opens(result), (course,)),
        KeyFigure("cone", _cone_number(result), (cone,)),
        KeyFigure("  from", _range(result), (cone,)),
    ]
    if result.kiln is not None:
        told = (f"{sentence(result.basis)}.", *missing_choices(result, equipment))
        found.append(KeyFigure("energy", f"{result.kiln.energy_kwh:.0f} kWh", told))
        cost = result.kiln.cost
        if cost is not None:
            found.append(KeyFigure("cost", f"{cost.currency} {cost.amount:.2f}", told))
    return [*found, *_to_act_on(result)]


def _opens(result: Forecast) -> str:
    if result.kiln is not None and result.kiln.stalled:
        return "never: it stalls"
    return plan_times(result).at(result.total_s)


def _cone_number(result: Forecast) -> str:
    number = result.cones.reached_number
    return "none is down" if number is None else describe_number(number)


def _range(result: Forecast) -> str:
    cones = result.cones
    high = cones.reached_number if cones.high is None else cones.high
    if high is None:
        return "–"
    # After "from" on its left; the cones themselves are in the library's words.
    return describe_range(cones.low, high).removeprefix("between ").replace(" and ", " to ")


def _to_act_on(result: Forecast) -> Iterator[KeyFigure]:
    from firing.ware.limits import USUAL_MARGIN

    unit = result.schedule.unit
    broken = [in_unit(breach.message, unit) for breach in result.breaches]
    caution = f"Counted with the usual margin of {USUAL_MARGIN:g}."
    yield KeyFigure("limits", f"{len(broken)} broken" if broken else "all kept", (*broken, caution))
    acts = [w for w in result.warnings if w.severity == "act" and w.id != "ware_limit"]
    others = [in_unit(warning.message, unit) for warning in acts]
    nothing = "No other warning asks for something to be done."
    yield KeyFigure("to do", str(len(others)) if others else "nothing", tuple(others) or (nothing,))
