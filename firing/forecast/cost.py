"""What a firing costs by a tariff, and when to start it for less or for waking hours."""

from dataclasses import replace
from datetime import datetime, time
from itertools import combinations

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
    asleep: tuple[str, ...] = ()
    if window is not None or awake is not None or (tariff is not None and result.started is None):
        earliest, latest = parse_window(window, result.started)
        if tariff is not None:
            cheapest = cheapest_start(course, tariff, earliest, latest)
        if awake is not None:
            found, asleep = _waking_starts(result, parse_awake(awake), earliest, latest)
            stretches = tuple(
                (a.isoformat(timespec="minutes"), b.isoformat(timespec="minutes")) for a, b in found
            )
    kiln = replace(result.kiln, cost=amount, starts=Starts(cheapest, stretches, asleep))
    return replace(result, kiln=kiln)


def _waking_starts(
    result: Forecast, awake: tuple[time, time], earliest: datetime, latest: datetime
) -> tuple[tuple[tuple[datetime, datetime], ...], tuple[str, ...]]:
    """Return the starts that put the peak and all that is done by hand into waking hours.

    Where there is none, those that leave out the fewest hand actions, and which.
    """
    peak = result.segments[result.schedule.peak_index]
    by_hand = [s for s in result.segments if s.action and s is not peak]
    for fewer in range(len(by_hand) + 1):
        for left in combinations(by_hand, fewer):
            moments = [s.end_s for s in by_hand if s not in left]
            found = waking_starts(
                peak.ramp_end_s, peak.end_s, awake, earliest, latest, also_s=moments
            )
            if found:
                return found, tuple(s.action for s in left)
    return (), ()
