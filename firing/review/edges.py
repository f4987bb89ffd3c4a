"""The corners of a segment: when the readings begin to rise, arrive at a level, and leave it."""

import numpy as np

from firing.review.resample import ResampledTrace
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR

LAST_S = 900.0
"""A hold's end is judged by its last minutes [s]."""
START_LAG_S = 600.0
"""A kiln shows nothing for the first minutes of a ramp: a shorter lead-in is none [s]."""


def tolerance_c(trace: ResampledTrace) -> float:
    """Return how near to a level is at it, by the log's noise [°C]."""
    return max(1.0, 3.0 * trace.noise_c)


def _window(trace: ResampledTrace, centre: int) -> slice:
    half = max(2, round(900.0 / trace.step_s))
    return slice(max(0, centre - half), min(trace.time_s.size, centre + half + 1))


def level_of(
    trace: ResampledTrace,
    ramp_from: int,
    hold_from: int,
    hold_to: int,
    sign: float,
    target_c: float,
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


def arrival_s(trace: ResampledTrace, hold_from: int, level_c: float, sign: float) -> float:
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


def last_level_c(trace: ResampledTrace, hold_from: int, hold_to: int, level_c: float) -> float:
    """Return the temperature at a hold's end: one that overshot still sags for hours."""
    part = trace.temperature_c[max(hold_from, hold_to - round(LAST_S / trace.step_s)) : hold_to]
    return float(np.median(part)) if part.size * trace.step_s >= 0.5 * LAST_S else level_c


def departure_s(trace: ResampledTrace, hold_to: int, level_c: float, sign: float) -> float:
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


def heating_start_s(trace: ResampledTrace, ramp_from: int) -> float:
    """Return when heating began, given the sample at which the first ramp does [s]."""
    first_s = float(trace.time_s[0])
    idle = trace.temperature_c[: max(ramp_from, 1)]
    start_s = departure_s(trace, ramp_from, float(np.median(idle)), 1.0)
    return first_s if start_s - first_s <= START_LAG_S else start_s


LEVEL_SCATTER_C = 4.0
"""Readings within this of a level are as good as on it [°C]."""
CREEPING_S = 1800.0
CREPT_C = 2.0
"""A stay this long that rises towards its target is told from a hold; it begins this near to the
level it came to [s, °C]."""
PAST_C = 8.0
"""A stay this far past its target is at another level [°C]."""
FLAT_C = 3.0
STAY_S = 540.0
"""A stay of this long was meant [s]."""


def after_running_past(
    trace: ResampledTrace, hold_from: int, hold_to: int, target_c: float, sign: float
) -> int:
    """Return the sample where a stay began that lies past its target: the ramp's end, not between.

    Parameters
    ----------
    trace : ResampledTrace
        The log.
    hold_from, hold_to : int
        The stay's samples, from the moment the readings passed the target.
    target_c : float
        [°C].
    sign : float
        1 for a ramp that climbs, −1 for one that falls.
    """
    part = sign * (trace.temperature_c[hold_from:hold_to] - target_c)
    least = max(2, round(STAY_S / trace.step_s))
    if part.size < 2 * least:
        return hold_from
    # Half of a stay's least length is looked at from its end, before the corner that ends it.
    level_c = float(np.median(part[-least : part.size - least // 4]))
    near_c = max(FLAT_C, 4.0 * trace.noise_c)
    if level_c < PAST_C:
        return hold_from
    came = int(np.argmax(part >= level_c - near_c))
    flat = part[came:]
    stayed = flat.size >= least and np.mean(np.abs(flat - level_c) <= 2.0 * near_c) > 0.8
    return hold_from + came if stayed else hold_from


def after_creeping(trace: ResampledTrace, hold_from: int, hold_to: int, target_c: float) -> int:
    """Return where a stay really began that looks flat, but crept up to its level from below.

    A kiln at its limit comes ever more slowly to its target; no controller counts that as a hold.
    """
    part = trace.temperature_c[hold_from:hold_to]
    quarter = part.size // 4
    if quarter * 4 * trace.step_s < CREEPING_S or quarter < 2:
        return hold_from
    first_c, last_c = float(np.median(part[:quarter])), float(np.median(part[-quarter:]))
    short = target_c - first_c > LEVEL_SCATTER_C
    if not short or last_c - first_c <= max(LEVEL_SCATTER_C, 6.0 * trace.noise_c):
        return hold_from
    top_c = float(np.max(part)) - max(CREPT_C, 3.0 * trace.noise_c)
    came = int(np.argmax(part >= top_c))
    # What creeps gets ever slower; a stay on the way, and the ramp after it, do not.
    half_c = float(part[came // 2])
    if half_c - float(part[0]) <= float(part[came]) - half_c:
        return hold_from
    return hold_from + came


def climbs_on(schedule: Schedule, index: int) -> bool:
    """Return whether the plan's next segment climbs."""
    after = schedule.segments[index + 1 : index + 2]
    return any(segment.target_c > schedule.segments[index].target_c for segment in after)


def went_on(trace: ResampledTrace, hold_from: int, hold_to: int, target_c: float) -> bool:
    """Return whether a stay that looks flat left its target behind: the next ramp, at its limit."""
    part = trace.temperature_c[hold_from:hold_to]
    quarter = part.size // 4
    if quarter * 4 * trace.step_s < CREEPING_S or quarter < 2:
        return False
    first_c, last_c = float(np.median(part[:quarter])), float(np.median(part[-quarter:]))
    rose = last_c - first_c > max(LEVEL_SCATTER_C, 6.0 * trace.noise_c)
    return rose and last_c > target_c + 2.0 * LEVEL_SCATTER_C
