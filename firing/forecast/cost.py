"""What a firing costs by a tariff, and when to start it for less or for waking hours."""

from dataclasses import replace

from firing.clock import parse_awake, parse_window
from firing.errors import FiringError
from firing.forecast.result import Forecast, Starts
from firing.kiln.tariff import Tariff, cheapest_start, cost, waking_starts


def with_tariff(
    result: Forecast,
    tariff: Tariff | None,
    window: str | None,
    awake: str | None,
) -> Forecast:
    """Return a forecast with its cost, its cheapest start and its waking starts.

    Raises
    ------
    FiringError
        If there is no kiln to take the energy from, or a moment cannot be read.
    """
    if result.kiln is None:
        raise FiringError("a tariff, a window or waking hours need a kiln; add --kiln")
    course = result.kiln.course
    amount = None
    if tariff is not None and result.started is not None:
        amount = cost(course, result.started, tariff)
    cheapest, stretches = None, None
    if window is not None or awake is not None or (tariff is not None and result.started is None):
        earliest, latest = parse_window(window, result.started)
        if tariff is not None:
            cheapest = cheapest_start(course, tariff, earliest, latest)
        if awake is not None:
            peak = result.segments[result.schedule.peak_index]
            found = waking_starts(peak.ramp_end_s, peak.end_s, parse_awake(awake), earliest, latest)
            stretches = tuple(
                (a.isoformat(timespec="minutes"), b.isoformat(timespec="minutes")) for a, b in found
            )
    kiln = replace(result.kiln, cost=amount, starts=Starts(cheapest, stretches))
    return replace(result, kiln=kiln)
