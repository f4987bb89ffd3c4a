"""A thermocouple that moved: one that slid out of its hole, was pushed, or lost its contact.

One channel alone shows a sudden fall that no closed kiln makes and that only heat brings back.  Two
channels of one chamber keep a ratio that changes slowly; where it bends, one of them moved.  A slow
slide, or a drift from the first minute on, no single channel shows.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from firing.review import thresholds as limit
from firing.review.ramp import Interruption
from firing.review.resample import ResampledTrace
from firing.review.result import SensorShift
from firing.trace import FloatArray, Trace, median, quantile


def fell_at_once(trace: ResampledTrace, gap: Interruption) -> bool:
    """Return whether a fall was faster than a closed kiln cools, and came back only by heating."""
    first, last = trace.index(gap.start_s), trace.index(gap.end_s)
    low = first + int(np.argmin(trace.temperature_c[first : last + 1]))
    fell_s = max(float(trace.time_s[low] - trace.time_s[first]), trace.step_s)
    fell_c = gap.before_c - gap.lowest_c
    back_s = float(trace.time_s[last] - trace.time_s[low])
    at_once = fell_s <= limit.MOVED_AT_ONCE_S and fell_c / fell_s >= limit.MOVED_C_PER_S
    return gap.before_c > limit.MOVED_ABOVE_C and at_once and back_s >= limit.MOVED_BACK * fell_s


def parted_from(
    log: Trace,
    channel: int,
    trace: ResampledTrace,
    end_s: float,
    falls: Sequence[Interruption],
    room_c: float,
) -> SensorShift | None:
    """Return where the kiln's channel began to part from another one of its chamber."""
    found: SensorShift | None = None
    for number, name in enumerate(log.channels):
        if number == channel:
            continue
        values = log.temperature_c[:, number]
        usable = np.isfinite(values)
        if np.count_nonzero(usable) < limit.GAP_READINGS:
            continue
        other_c = np.interp(trace.time_s, log.time_s[usable], values[usable])
        hot = _compared(trace, other_c, end_s, falls)
        if hot.size * trace.step_s < 2.0 * limit.MOVED_BEFORE_S:
            continue
        shift = _parted(trace, other_c, hot, room_c, name)
        if shift is not None and (found is None or abs(shift.share) > abs(found.share)):
            found = shift
    return found


def _compared(
    trace: ResampledTrace, other_c: FloatArray, end_s: float, falls: Sequence[Interruption]
) -> npt.NDArray[np.int64]:
    """Return the samples in which both channels are hot and the firing ran undisturbed."""
    hot = (trace.temperature_c > limit.MOVED_ABOVE_C) & (trace.time_s <= end_s)
    hot &= other_c > 0.5 * trace.temperature_c  # else it is no channel of the chamber
    for fall in falls:
        if not fell_at_once(trace, fall):
            beside_s = limit.MOVED_STEADY_S
            hot &= (trace.time_s < fall.start_s) | (trace.time_s > fall.end_s + beside_s)
    return np.flatnonzero(hot)


def _steadiest_ratio(
    trace: ResampledTrace, other_c: FloatArray, hot: npt.NDArray[np.int64], room_c: float
) -> FloatArray:
    """Return the ratio of both courses, one of them delayed as the other's place lags.

    A place that lags parts from the other wherever the rate changes, and no sensor has moved.
    """
    ratios = []
    for lag_s in limit.MOVED_LAGS_S:
        late = delayed(trace.temperature_c, lag_s, trace.step_s), other_c
        early = trace.temperature_c, delayed(other_c, lag_s, trace.step_s)
        ratios += [(own[hot] - room_c) / (other[hot] - room_c) for own, other in (late, early)]
    return min(ratios, key=lambda ratio: quantile(ratio, 0.98) - quantile(ratio, 0.02))


def delayed(course_c: FloatArray, lag_s: float, step_s: float) -> FloatArray:
    """Return a course as a place sees it that follows with a time constant."""
    if lag_s <= 0.0:
        return course_c
    keep = math.exp(-step_s / lag_s)
    found = np.empty_like(course_c)
    here = float(course_c[0])
    for i, now in enumerate(course_c.tolist()):
        here = now + (here - now) * keep
        found[i] = here
    return found


def _parted(
    trace: ResampledTrace,
    other_c: FloatArray,
    hot: npt.NDArray[np.int64],
    room_c: float,
    name: str,
) -> SensorShift | None:
    """Return where the ratio to another channel, over the `hot` samples, left what was usual."""
    time_s, ratio = trace.time_s[hot], _steadiest_ratio(trace, other_c, hot, room_c)
    found: SensorShift | None = None
    usual_there = 1.0
    for at_s in np.arange(time_s[0] + limit.MOVED_BEFORE_S, time_s[-1], limit.MOVED_STEP_S):
        before = ratio[(time_s >= at_s - limit.MOVED_BEFORE_S) & (time_s < at_s)]
        if before.size < 4:
            continue
        low, high = quantile(before, 0.05), quantile(before, 0.95)
        if high - low > limit.MOVED_STEADY:
            continue
        usual = median(before)
        for sudden, over_s, least in (
            (True, limit.MOVED_AT_ONCE_S, limit.MOVED_SUDDEN),
            (False, limit.MOVED_SLIDE_S, limit.MOVED_SLID),
        ):
            begin_s = at_s + over_s
            after = ratio[(time_s >= begin_s) & (time_s < begin_s + limit.MOVED_STEADY_S)]
            if after.size * trace.step_s < 0.5 * limit.MOVED_STEADY_S:
                continue
            share = 1.0 - median(after) / usual
            if abs(share) < least or (found is not None and abs(share) <= abs(found.share)):
                continue
            found = SensorShift(float(at_s), trace.at(float(at_s)), share, name, sudden)
            usual_there = usual
    return None if found is None else _begun(found, usual_there, time_s, ratio, trace)


def _begun(
    shift: SensorShift, usual: float, time_s: FloatArray, ratio: FloatArray, trace: ResampledTrace
) -> SensorShift:
    """Return a shift with the moment it began at, and whether it came at once."""
    done = (1.0 - ratio / usual) / shift.share
    later = time_s >= shift.at_s - limit.MOVED_BEFORE_S
    begun = float(time_s[later][int(np.argmax(done[later] > limit.MOVED_BEGUN))])
    over = float(time_s[later][int(np.argmax(done[later] > 1.0 - limit.MOVED_BEGUN))])
    at_once = over - begun <= 2.0 * limit.MOVED_AT_ONCE_S
    return replace(shift, at_s=begun, at_c=trace.at(begun), sudden=at_once)


def shift_of(
    log: Trace,
    channel: int,
    trace: ResampledTrace,
    end_s: float,
    falls: Sequence[Interruption],
    room_c: float,
) -> SensorShift | None:
    """Return where a thermocouple moved, by another channel or else by a sudden fall."""
    found = parted_from(log, channel, trace, end_s, falls, room_c)
    for fall in falls if found is None else ():
        if fell_at_once(trace, fall):
            share = 1.0 - (fall.lowest_c - room_c) / (fall.before_c - room_c)
            return SensorShift(fall.start_s, fall.before_c, share, "", True, fall.seconds)
    return found
