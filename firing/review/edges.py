"""The corners of a segment: when the readings begin to rise, arrive where they stay, and leave."""

import numpy as np

from firing.review import thresholds as limit
from firing.review.resample import ResampledTrace
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray, median
from firing.units import SECONDS_PER_HOUR


def tolerance_c(trace: ResampledTrace) -> float:
    """Return how near to a level is at it, by the log's noise [°C]."""
    return max(1.0, 3.0 * trace.noise_c)


def _window(trace: ResampledTrace, centre: int) -> slice:
    half = max(2, round(limit.EDGE_SEARCH_S / trace.step_s))
    return slice(max(0, centre - half), min(trace.time_s.size, centre + half + 1))


def came_to_c(
    trace: ResampledTrace,
    ramp_from: int,
    hold_from: int,
    hold_to: int,
    sign: float,
    target_c: float,
) -> float:
    """Return the temperature a segment came to: of its hold if it had one, else of its crossing."""
    if (hold_to - hold_from) * trace.step_s >= limit.HOLD_MEDIAN_S:
        return median(trace.temperature_c[hold_from:hold_to])
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
    if slope > limit.MOVING_C_PER_H:
        crossing_s += min(tolerance_c(trace) / slope * SECONDS_PER_HOUR, limit.LAST_STRETCH_S)
    return min(crossing_s, float(trace.time_s[-1]))


def last_hold_c(trace: ResampledTrace, hold_from: int, hold_to: int, level_c: float) -> float:
    """Return the temperature at a hold's end: one that overshot still sags for hours."""
    part = trace.temperature_c[
        max(hold_from, hold_to - round(limit.HOLD_END_S / trace.step_s)) : hold_to
    ]
    return median(part) if part.size * trace.step_s >= 0.5 * limit.HOLD_END_S else level_c


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
    if slope > limit.MOVING_C_PER_H:
        crossing_s -= min(tolerance_c(trace) / slope * SECONDS_PER_HOUR, limit.LAST_STRETCH_S)
    return crossing_s


def _between(time_s: FloatArray, temperature_c: FloatArray, k: int, level_c: float) -> float:
    """Return when the line from sample k − 1 to sample k crosses a level [s]."""
    if k == 0 or temperature_c[k] == temperature_c[k - 1]:
        return float(time_s[k])
    share = (level_c - temperature_c[k - 1]) / (temperature_c[k] - temperature_c[k - 1])
    return float(time_s[k - 1] + min(max(share, 0.0), 1.0) * (time_s[k] - time_s[k - 1]))


def leaving_direction(schedule: Schedule, index: int) -> float:
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
    start_s = departure_s(trace, ramp_from, median(idle), 1.0)
    return first_s if start_s - first_s <= limit.START_LAG_S else start_s


def hold_begin_past_target(
    trace: ResampledTrace, hold_from: int, hold_to: int, target_c: float, sign: float
) -> int:
    """Return the sample where a stay past its target began: the ramp ends there, not on the way.

    `hold_from` and `hold_to` are its samples from the moment the readings passed the target.
    """
    part = sign * (trace.temperature_c[hold_from:hold_to] - target_c)
    least = max(2, round(limit.MEANT_STAY_S / trace.step_s))
    if part.size < 2 * least:
        return hold_from
    # Half of a stay's least length is looked at from its end, before the corner that ends it.
    level_c = median(part[-least : part.size - least // 4])
    near_c = max(limit.STILL_C, 4.0 * trace.noise_c)
    if level_c < limit.OTHER_TARGET_C:
        return hold_from
    came = int(np.argmax(part >= level_c - near_c))
    flat = part[came:]
    stayed = flat.size >= least and np.mean(np.abs(flat - level_c) <= 2.0 * near_c) > 0.8
    return hold_from + came if stayed else hold_from


def hold_begin_after_creeping(
    trace: ResampledTrace, hold_from: int, hold_to: int, target_c: float
) -> int:
    """Return where a stay really began that looks flat, but crept up to its level from below.

    A kiln at its limit comes ever more slowly to its target; no controller counts that as a hold.
    """
    part = trace.temperature_c[hold_from:hold_to]
    quarter = part.size // 4
    if quarter * 4 * trace.step_s < limit.CREEPING_S or quarter < 2:
        return hold_from
    first_c, last_c = median(part[:quarter]), median(part[-quarter:])
    short = target_c - first_c > limit.HOLD_SCATTER_C
    if not short or last_c - first_c <= max(limit.HOLD_SCATTER_C, 6.0 * trace.noise_c):
        return hold_from
    top_c = float(np.max(part)) - max(limit.CREPT_C, 3.0 * trace.noise_c)
    came = int(np.argmax(part >= top_c))
    # What creeps gets ever slower; a stay on the way, and the ramp after it, do not.
    half_c = float(part[came // 2])
    if half_c - float(part[0]) <= float(part[came]) - half_c:
        return hold_from
    return hold_from + came


def stayed(trace: ResampledTrace, ramp_end_s: float, end_s: float) -> bool:
    """Return whether a kiln was held about its top, though an overshoot hides the hold's begin."""
    off = trace.index(ramp_end_s)
    top = off + int(np.argmax(trace.temperature_c[off : trace.index(end_s) + 2]))
    later = trace.index(float(trace.time_s[top]) + limit.STAYED_S)
    moved_c = abs(float(trace.temperature_c[top] - trace.temperature_c[later]))
    return later > top and moved_c < limit.STAYED_C


def climbs_on(schedule: Schedule, index: int) -> bool:
    """Return whether the plan's next segment climbs."""
    after = schedule.segments[index + 1 : index + 2]
    return any(segment.target_c > schedule.segments[index].target_c for segment in after)


def ran_on(trace: ResampledTrace, hold_from: int, hold_to: int, target_c: float) -> bool:
    """Return whether a stay that looks flat left its target behind: the next ramp, at its limit."""
    part = trace.temperature_c[hold_from:hold_to]
    quarter = part.size // 4
    if quarter * 4 * trace.step_s < limit.CREEPING_S or quarter < 2:
        return False
    first_c, last_c = median(part[:quarter]), median(part[-quarter:])
    rose = last_c - first_c > max(limit.HOLD_SCATTER_C, 6.0 * trace.noise_c)
    return rose and last_c > target_c + 2.0 * limit.HOLD_SCATTER_C
