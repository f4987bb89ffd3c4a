"""Where a firing really began and ended, when the readings alone leave that open.

These look alike to an alignment: a log cut off at its last target and one whose program was
still running; a kiln switched off short of its peak and one sent to a lower one; a kiln that the
clock left behind and one that was stopped; a warm kiln and a log that was started late.
"""

from dataclasses import replace

import numpy as np

from firing.review import thresholds as limit
from firing.review.alignment import NOT_REACHED, Alignment, Passage, analyse_segment, stayed
from firing.review.ramp import fully_on
from firing.review.resample import ResampledTrace
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import ForecastSegment
from firing.trace import median
from firing.units import SECONDS_PER_HOUR


def _left_to_cool(
    alignment: Alignment, schedule: Schedule, trace: ResampledTrace, *, on_time: bool
) -> Alignment:
    """Take a firing as stopped that fell behind, never came to its peak, and then only cooled.

    Not one that was `on_time`, which a clock may have ended.
    """
    index = schedule.peak_index
    passage, segment = alignment.passages[index], schedule.segments[index]
    follows = schedule.segments[index + 1 :]
    if on_time or not alignment.complete or not follows or follows[0].rate_c_per_h is None:
        return alignment
    if passage.ramp_end_s is None or passage.end_s is None or passage.came_to_c is None:
        return alignment
    if segment.target_c - passage.came_to_c < limit.ONE_CONE_C:
        return alignment
    run = analyse_segment(schedule, index, trace, alignment).run
    if run is None or not run.at_limit:
        return alignment
    after = slice(
        trace.index(passage.end_s + limit.STOP_SETTLE_S),
        trace.index(passage.end_s + limit.AFTER_STOP_S) + 1,
    )
    if -median(trace.rate_c_per_h[after]) < limit.DROPPING_FACTOR * follows[0].rate_c_per_h:
        return alignment
    unreached = [NOT_REACHED] * len(follows)
    left = replace(passage, ramp_end_s=None, end_s=None)
    return replace(
        alignment,
        passages=(*alignment.passages[:index], left, *unreached),
        end_s=passage.end_s,
        complete=False,
        aborted=True,
    )


def firing_boundaries(
    alignment: Alignment,
    schedule: Schedule,
    planned: tuple[ForecastSegment, ...],
    trace: ResampledTrace,
) -> Alignment:
    """Return the alignment with its begin and end as time and course tell them."""
    found = _begun_before(alignment, schedule, trace)
    found = _ended_with_log(found, schedule, planned, trace)
    found = _switched_off(found, schedule, planned, trace)
    on_time = _on_time(found, planned)
    found = _left_to_cool(found, schedule, trace, on_time=on_time)
    return _corners(_ended_by_clock(found, schedule, planned, trace), schedule, planned, trace)


def _corners(
    alignment: Alignment,
    schedule: Schedule,
    planned: tuple[ForecastSegment, ...],
    trace: ResampledTrace,
) -> Alignment:
    """Give a hold the minutes that the ramp after it seems to have taken too many.

    A short hold on which the reading overshot and sank has no sharp end: where it lacks a few
    minutes of its plan and the next ramp has about as many over, they are the same minutes.
    """
    passages = list(alignment.passages)
    for index in range(len(passages) - 1):
        here, after = passages[index], passages[index + 1]
        if here.ramp_end_s is None or here.end_s is None or after.ramp_end_s is None:
            continue
        hold_s = schedule.segments[index].hold_s
        lacks_s = hold_s - (here.end_s - here.ramp_end_s)
        ramp_s = planned[index + 1].planned_s - schedule.segments[index + 1].hold_s
        over_s = (after.ramp_end_s - here.end_s) - ramp_s
        moved_s = min(lacks_s, over_s)
        if hold_s == 0.0 or not limit.CORNER_LEAST_S <= moved_s <= limit.CORNER_MOST_S:
            continue
        end_s = here.end_s + moved_s
        if abs(trace.at(end_s) - schedule.segments[index].target_c) > limit.DUE_C:
            continue
        passages[index] = replace(here, end_s=end_s)
        passages[index + 1] = replace(after, start_s=end_s, from_c=trace.at(end_s))
    return replace(alignment, passages=tuple(passages))


def _on_time(alignment: Alignment, planned: tuple[ForecastSegment, ...]) -> bool:
    """Return whether it took its planned time, or that and no more than the power was away."""
    planned_s = sum(segment.planned_s for segment in planned)
    late_s = alignment.end_s - alignment.start_s - planned_s
    away_s = sum(gap.seconds for gap in alignment.interruptions)
    near_s = max(limit.ON_TIME_S, limit.ON_TIME_SHARE * planned_s)
    return -near_s <= late_s <= away_s + near_s


def _ended_by_clock(
    alignment: Alignment,
    schedule: Schedule,
    planned: tuple[ForecastSegment, ...],
    trace: ResampledTrace,
) -> Alignment:
    """Take a program that seems broken off, but took its time, as run to its end.

    A controller whose clock does not wait goes through its segments while the kiln lags, and
    switches off when the last is due.  The segment in which the readings left the plan ends with
    them; those after it, which the kiln never came to, take no time.
    """
    stopped = alignment.aborted or (alignment.stops_inside and not alignment.complete)
    if not stopped or alignment.starts_inside:
        return alignment
    if not _on_time(alignment, planned):
        return alignment
    end_s = alignment.end_s
    passages: list[Passage] = []
    for passage in alignment.passages:
        if passage.end_s is not None:
            passages.append(passage)
        elif passage.start_s is not None:
            arrived_s = end_s if passage.ramp_end_s is None else passage.ramp_end_s
            passages.append(replace(passage, ramp_end_s=arrived_s, end_s=end_s))
        else:
            came_to_c = passages[-1].came_to_c if passages else None
            passages.append(Passage(end_s, end_s, end_s, came_to_c, came_to_c))
    return replace(
        alignment, passages=tuple(passages), complete=True, aborted=False, stops_inside=False
    )


def _ended_with_log(
    alignment: Alignment,
    schedule: Schedule,
    planned: tuple[ForecastSegment, ...],
    trace: ResampledTrace,
) -> Alignment:
    """Take a log that ends with the last segment's target come to, or its hold held, as whole."""
    last, segment = alignment.passages[-1], schedule.segments[-1]
    if not alignment.stops_inside or alignment.starts_inside:
        return alignment
    if last.start_s is None or last.end_s is not None:
        return alignment
    log_end_s = float(trace.time_s[-1])
    if segment.hold_s > 0:
        if (
            last.ramp_end_s is None
            or log_end_s - last.ramp_end_s < segment.hold_s - limit.HOLD_LACKS_S
        ):
            return alignment
        end_s, arrived_s = log_end_s, last.ramp_end_s
    else:
        # By the clock a program is over when it is due, however near the reading has come.
        due_s = alignment.start_s + sum(segment.planned_s for segment in planned)
        near_c = max(limit.AT_LAST_TARGET_C, 3.0 * trace.noise_c)
        if due_s <= log_end_s + limit.HOLD_LACKS_S:
            near_c = max(near_c, limit.DUE_C)
        first = trace.index(last.start_s)
        sign = 1.0 if segment.target_c > schedule.from_c(len(schedule.segments) - 1) else -1.0
        short_c = sign * (segment.target_c - trace.temperature_c[first:])
        if float(np.min(short_c)) > near_c:
            return alignment
        end_s = float(trace.time_s[first + int(np.argmax(short_c <= limit.AT_LAST_TARGET_C))])
        if float(np.min(short_c)) > limit.AT_LAST_TARGET_C:
            end_s = min(max(due_s, last.start_s), log_end_s)
        arrived_s = end_s
    passages = (*alignment.passages[:-1], replace(last, ramp_end_s=arrived_s, end_s=end_s))
    return replace(alignment, passages=passages, end_s=end_s, complete=True, stops_inside=False)


def _switched_off(
    alignment: Alignment,
    schedule: Schedule,
    planned: tuple[ForecastSegment, ...],
    trace: ResampledTrace,
) -> Alignment:
    """Take a firing that ended below its peak, climbing well and with no hold, as stopped."""
    index = schedule.peak_index
    passage, segment = alignment.passages[index], schedule.segments[index]
    if not alignment.complete or passage.came_to_c is None or segment.rate_c_per_h is None:
        return alignment
    if passage.start_s is None or passage.ramp_end_s is None or passage.end_s is None:
        return alignment
    short_c = segment.target_c - passage.came_to_c
    stayed_s = passage.end_s - passage.ramp_end_s
    if (
        short_c <= max(limit.SWITCHED_OFF_SHORT_C, 4.0 * trace.noise_c)
        or stayed_s > limit.NO_STAY_S
    ):
        return alignment
    if _on_time(alignment, planned) and index == len(schedule.segments) - 1:
        return alignment  # the clock ended it
    off = trace.index(passage.ramp_end_s)
    if stayed(trace, passage.ramp_end_s, passage.end_s):
        return alignment
    before = slice(
        trace.index(passage.ramp_end_s - limit.LAST_CLIMB_S),
        trace.index(passage.ramp_end_s - limit.TOP_S),
    )
    after = slice(off + 1, trace.index(passage.ramp_end_s + limit.LAST_CLIMB_S) + 1)
    climbing, full = trace.rate_c_per_h[before], fully_on(trace, before)
    if climbing.size == 0 or median(climbing) < limit.AT_RATE_SHARE * segment.rate_c_per_h:
        return alignment
    if full is not None and float(np.mean(full)) > limit.MOSTLY_ON:
        return alignment
    follows = schedule.segments[index + 1 :]
    set_c_per_h = follows[0].rate_c_per_h if follows else None
    if set_c_per_h is not None:
        falling = trace.rate_c_per_h[after]
        if falling.size == 0 or -median(falling) < limit.DROPPING_FACTOR * set_c_per_h:
            return alignment
    elif segment.hold_s < limit.NO_STAY_S:
        return alignment  # with no hold planned a lower target looks the same
    passages = list(alignment.passages)
    passages[index] = replace(passage, ramp_end_s=None, end_s=None)
    for later in range(index + 1, len(passages)):
        passages[later] = NOT_REACHED
    return replace(
        alignment,
        passages=tuple(passages),
        end_s=passage.ramp_end_s,
        complete=False,
        aborted=True,
    )


def _begun_before(alignment: Alignment, schedule: Schedule, trace: ResampledTrace) -> Alignment:
    """Take a log whose first readings are warm and climb already as begun inside the firing."""
    first, segment = alignment.passages[0], schedule.segments[0]
    if alignment.starts_inside or first.start_s is None or segment.rate_c_per_h is None:
        return alignment
    begin_s = float(trace.time_s[0])
    if (
        first.start_s > begin_s
        or float(trace.temperature_c[0]) < schedule.start_c + limit.WARM_START_C
    ):
        return alignment
    early = slice(0, max(2, trace.index(begin_s + limit.BEGUN_OVER_S)) + 1)
    rise_c = float(trace.temperature_c[early][-1] - trace.temperature_c[0])
    taken_s = float(trace.time_s[early][-1]) - begin_s
    if rise_c / taken_s * SECONDS_PER_HOUR < limit.CLIMBING_SHARE * segment.rate_c_per_h:
        return alignment
    passages = (replace(first, start_s=None, from_c=None), *alignment.passages[1:])
    return replace(alignment, passages=passages, complete=False, starts_inside=True)
