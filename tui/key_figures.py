"""What a plan comes to, figure by figure, so that two plans can be set side by side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from firing.cones.table import describe_number, describe_range
from firing.forecast.result import Forecast
from firing.report.formatting import sentence
from firing.units import format_duration
from firing.ware.limits import USUAL_MARGIN

from .equipment import Equipment
from .outlook import missing, times


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """One figure: its name, how it is shown, and what there is to say of it."""

    name: str
    text: str
    details: tuple[str, ...] = ()


def sums(result: Forecast, studio: Equipment) -> list[KeyFigure]:
    """Return the figures of a forecast; those of two under the same circumstances go together.

    Parameters
    ----------
    result : Forecast
        The plan's forecast.
    studio : Equipment
        What it was made with.
    """
    from firing.report.forecast import forecast_answer

    course, cone = forecast_answer(result)
    found = [
        KeyFigure("heats", format_duration(result.heating_s), (course,)),
        KeyFigure("opens", _opens(result), (course,)),
        KeyFigure("cone", _cone(result), (cone,)),
        KeyFigure("  from", _range(result), (cone,)),
    ]
    if result.kiln is not None:
        told = (f"{sentence(result.basis)}.", *missing(result, studio))
        found.append(KeyFigure("energy", f"{result.kiln.energy_kwh:.0f} kWh", told))
        cost = result.kiln.cost
        if cost is not None:
            found.append(KeyFigure("cost", f"{cost.currency} {cost.amount:.2f}", told))
    return [*found, *_to_act_on(result)]


def _opens(result: Forecast) -> str:
    if result.kiln is not None and result.kiln.stalled:
        return "never: it stalls"
    return times(result).at(result.total_s)


def _cone(result: Forecast) -> str:
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
    broken = [breach.message for breach in result.breaches]
    caution = f"Counted with the usual margin of {USUAL_MARGIN:g}."
    yield KeyFigure("limits", f"{len(broken)} broken" if broken else "all kept", (*broken, caution))
    others = [w.message for w in result.warnings if w.severity == "act" and w.id != "ware_limit"]
    nothing = "No other warning asks for something to be done."
    yield KeyFigure("to do", str(len(others)) if others else "nothing", tuple(others) or (nothing,))
