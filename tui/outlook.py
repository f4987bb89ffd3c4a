"""The one place where the screens ask for a forecast, and the two lines that sum it up."""

from dataclasses import dataclass
from datetime import datetime

from firing.cones.equivalence import ConeVerdict
from firing.cones.naming import describe_number
from firing.forecast import UNLOAD_C, Forecast, forecast
from firing.report.words import Timekeeper, hours_minutes, sentence
from firing.schedule import Schedule
from firing.units import format_duration, format_temperature

_BETWEEN = " · "
_COUNTED = {"act": "to do", "check": "to check", "note": "to know"}


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What a forecast depends on besides the schedule.

    Attributes
    ----------
    started : datetime or None
        When the program starts, with its time zone.
    target_cone : str or None
        The cone wanted.
    unload_c : float
        The temperature the kiln is opened at [°C].
    """

    started: datetime | None = None
    target_cone: str | None = None
    unload_c: float = UNLOAD_C


def foresee(schedule: Schedule, circumstances: Circumstances) -> Forecast:
    """Return the forecast of a schedule under the circumstances chosen.

    Raises
    ------
    FiringError
        If it cannot be forecast.
    """
    return forecast(
        schedule,
        started=circumstances.started,
        target_cone=circumstances.target_cone,
        unload_c=circumstances.unload_c,
    )


def times(result: Forecast) -> Timekeeper:
    """Return the clock of a forecast, up to the latest opening."""
    return Timekeeper(result.started, max(result.total_high_s, result.program_s))


def consequences(result: Forecast, width: int) -> list[str]:
    """Return what a plan comes to: its hours, its cone, energy and cost, and its warnings.

    Parameters
    ----------
    result : Forecast
        The plan's forecast.
    width : int
        Widest line [columns]; two lines suffice on most screens.
    """
    return [*_flowing(_hours(result), width), *_flowing(_results(result), width)]


def _flowing(parts: list[str], width: int) -> list[str]:
    """Put parts on as few lines as hold them, each part whole."""
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + len(_BETWEEN) + len(part) <= width:
            lines[-1] += _BETWEEN + part
        else:
            lines.append(sentence(part))
    return lines


def _hours(result: Forecast) -> list[str]:
    parts = [f"heats {format_duration(result.heating_s)}"]
    if result.started is not None:
        parts.insert(0, f"starts {times(result).at(0.0)}")
    unload = ""
    if result.unload_c != UNLOAD_C:
        unload = f"at {format_temperature(result.unload_c, result.schedule.unit)} "
    if result.total_s > result.program_s:
        low, high = (_edge(result, edge_s) for edge_s in (result.total_low_s, result.total_high_s))
        parts.append(f"opens {unload}{_when(result, result.total_s)} ({low} to {high})")
    else:
        parts.append(f"ends {_when(result, result.program_s)}, cool enough to open")
    return parts


def _when(result: Forecast, after_s: float) -> str:
    at = times(result).at(after_s)
    return f"after {at}" if result.started is None else at


def _edge(result: Forecast, after_s: float) -> str:
    """Return the end of a range, its day only where it is another than that of the middle."""
    if result.started is None:
        return hours_minutes(after_s)
    keeper = times(result)
    day, _, clock = keeper.at(after_s).rpartition(" ")
    return clock if day == keeper.at(result.total_s).rpartition(" ")[0] else f"{day} {clock}"


def _results(result: Forecast) -> list[str]:
    cone = _cone(result.cones)
    parts = [f"{cone}, wanted {result.target_cone}" if result.target_cone else cone]
    document = result.to_dict()
    energy_kwh, cost = document.get("energy_kwh"), document.get("cost")
    if energy_kwh is not None:
        parts.append(f"{energy_kwh:.0f} kWh")
    if cost is not None:
        parts.append(f"{cost:.2f} {document.get('currency') or ''}".rstrip())
    return [*parts, warnings_count(result)]


def _cone(verdict: ConeVerdict) -> str:
    # The reports have these words too, but with them comes everything that reads logs.
    if verdict.reached_number is None:
        return "under the coldest cone"
    low = "under the coldest" if verdict.low is None else describe_number(verdict.low)
    high = describe_number(verdict.reached_number if verdict.high is None else verdict.high)
    return f"cone {describe_number(verdict.reached_number)} ({low} to {high})"


def warnings_count(result: Forecast) -> str:
    """Return how many warnings there are of each kind."""
    counts = [
        f"{number} {words}"
        for severity, words in _COUNTED.items()
        if (number := sum(warning.severity == severity for warning in result.warnings))
    ]
    return f"warnings: {', '.join(counts)}" if counts else "no warnings"
