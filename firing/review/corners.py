"""The corners of a segment: when the readings begin to rise, arrive at a level, and leave it."""

import numpy as np

from firing.review.evenly import EvenTrace
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR

LAST_S = 900.0
"""A hold's end is judged by its last minutes [s]."""
START_LAG_S = 600.0
"""A kiln shows nothing for the first minutes of a ramp: a shorter lead-in is none [s]."""


def tolerance_c(trace: EvenTrace) -> float:
    """Return how near to a level is at it, by the log's noise [°C]."""
    return max(1.0, 3.0 * trace.noise_c)


def _window(trace: EvenTrace, centre: int) -> slice:
    half = max(2, round(900.0 / trace.step_s))
    return slice(max(0, centre - half), min(trace.time_s.size, centre + half + 1))


def level_of(
    trace: EvenTrace, ramp_from: int, hold_from: int, hold_to: int, sign: float, target_c: float
) -> float:
    """Return the temperature a segment came to: of its hold if it had one, else of its crossing."""
    if (hold_to - hold_from) * trace.step_s >= 300.0:
        return float(np.median(trace.temperature_c[hold_from:hold_to]))
    part = trace.temperature_c[ramp_from : max(hold_to, ramp_from + 1) + 1]
    if part.size == 0:
        return target_c
    furthest = float(sign * np.max(sign * part))
    # Sweeping past its target without a hold, a ramp came to the target.
    return target_c if sign * (furthest - target_c) >= -tolerance_c(trace) else furthest


def arrival_s(trace: EvenTrace, hold_from: int, level_c: float, sign: float) -> float:
    """Return when the readings first come to within tolerance of a level, less the last stretch."""
    window = _window(trace, hold_from)
    near_c = level_c - sign * tolerance_c(trace)
    time_s, temperature_c = trace.time_s[window], trace.temperature_c[window]
    inside = np.flatnonzero(sign * (temperature_c - near_c) >= 0)
    if inside.size == 0:
        return float(trace.time_s[min(hold_from, trace.time_s.size - 1)])
    k = int(inside[0])
    crossing_s = _between(time_s, temperature_c, k, near_c)
    slope = sign * float(trace.rate_c_per_h[window][max(k - 3, 0)])
    if slope > 5.0:
        crossing_s += min(tolerance_c(trace) / slope * SECONDS_PER_HOUR, 300.0)
    return min(crossing_s, float(trace.time_s[-1]))


def last_level_c(trace: EvenTrace, hold_from: int, hold_to: int, level_c: float) -> float:
    """Return the temperature at a hold's end: one that overshot still sags for hours."""
    part = trace.temperature_c[max(hold_from, hold_to - round(LAST_S / trace.step_s)) : hold_to]
    return float(np.median(part)) if part.size * trace.step_s >= 0.5 * LAST_S else level_c


def departure_s(trace: EvenTrace, hold_to: int, level_c: float, sign: float) -> float:
    """Return when the readings leave a level for good, in the direction of `sign`."""
    window = _window(trace, hold_to)
    far_c = level_c + sign * tolerance_c(trace)
    time_s, temperature_c = trace.time_s[window], trace.temperature_c[window]
    inside = np.flatnonzero(sign * (temperature_c - far_c) <= 0)
    if inside.size == 0:
        return float(trace.time_s[min(hold_to, trace.time_s.size - 1)])
    k = int(inside[-1])
    if k + 1 >= time_s.size:
        return float(time_s[-1])
    crossing_s = _between(time_s, temperature_c, k + 1, far_c)
    slope = sign * float(trace.rate_c_per_h[window][min(k + 4, time_s.size - 1)])
    if slope > 5.0:
        crossing_s -= min(tolerance_c(trace) / slope * SECONDS_PER_HOUR, 300.0)
    return crossing_s


def _between(time_s: FloatArray, temperature_c: FloatArray, k: int, level_c: float) -> float:
    """Return when the line from sample k − 1 to sample k crosses a level [s]."""
    if k == 0 or temperature_c[k] == temperature_c[k - 1]:
        return float(time_s[k])
    share = (level_c - temperature_c[k - 1]) / (temperature_c[k] - temperature_c[k - 1])
    return float(time_s[k - 1] + min(max(share, 0.0), 1.0) * (time_s[k] - time_s[k - 1]))


def leaving_sign(schedule: Schedule, index: int) -> float:
    """Return the direction in which the plan leaves a segment's level: 1 up, −1 down."""
    if index + 1 == len(schedule.segments):
        return -1.0
    return (
        1.0 if schedule.segments[index + 1].target_c > schedule.segments[index].target_c else -1.0
    )


def heating_start_s(trace: EvenTrace, ramp_from: int) -> float:
    """Return when heating began, given the sample at which the first ramp does [s]."""
    first_s = float(trace.time_s[0])
    idle = trace.temperature_c[: max(ramp_from, 1)]
    start_s = departure_s(trace, ramp_from, float(np.median(idle)), 1.0)
    return first_s if start_s - first_s <= START_LAG_S else start_s
