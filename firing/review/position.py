"""Where a firing stands in its plan: one that runs, or one that was interrupted.

The alignment lays the plan along the readings so far; what it cannot see yet, as it wants to see a
stay last before it calls it one, is read off the latest readings.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firing.review import thresholds as limit
from firing.review.alignment import Alignment, Passage, align
from firing.review.resample import ResampledTrace, moving_mean, resampled
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import ForecastSegment, set_point_over_time
from firing.trace import FloatArray, Trace
from firing.units import SECONDS_PER_HOUR

Phase = Literal["waiting", "ramp", "hold", "done", "left"]
"""Before heating; on the way to a target; at it; after the program; or away from it for good."""


@dataclass(frozen=True, slots=True)
class Position:
    """Where the firing stands."""

    phase: Phase  # what is going on
    segment: int | None  # number of the segment, from 0; None before the first
    begun_s: float | None  # when its ramp began [s]; None if that was before the first reading
    arrived_s: float | None  # when its target was reached [s]; None if it was not
    program_s: float  # which moment of the plan this is, seconds from the plan's start
    set_point_c: float | None  # where the plan is [°C]; None where it sets no rate
    # How much longer it took so far than planned [s]; None if its start was not seen.
    late_s: float | None = None

    def hold_left_s(self, now_s: float, hold_s: float) -> float:
        """Return what is left of the segment's hold [s], negative when it is over."""
        return hold_s if self.arrived_s is None else self.arrived_s + hold_s - now_s


class Plan:
    """A schedule laid out on its own clock.

    `trace` is its course, the first channel being the kiln's, and `segments` its segments on that
    course's clock; the program's own arithmetic unless given.
    """

    def __init__(
        self,
        schedule: Schedule,
        trace: Trace | None = None,
        segments: tuple[ForecastSegment, ...] = (),
    ) -> None:
        if trace is None:
            trace, segments, _ = set_point_over_time(schedule)
        self.schedule = schedule
        self.segments = segments
        self.time_s = trace.time_s
        self.temperature_c = trace.channel_c()

    def heats(self, index: int) -> bool:
        """Tell whether a segment's ramp goes up."""
        return self.schedule.segments[index].target_c > self.schedule.from_c(index)

    @property
    def last_heated(self) -> int:
        """The last segment whose ramp goes up; -1 where none does."""
        return max((i for i in range(len(self.segments)) if self.heats(i)), default=-1)

    def at_c(self, program_s: float) -> float:
        """Return the temperature at a moment of the plan [°C]."""
        return float(np.interp(program_s, self.time_s, self.temperature_c))

    def stretch(self, from_s: float, to_s: float) -> tuple[FloatArray, FloatArray]:
        """Return the course between two moments, both included, as times [s] and °C."""
        inner = (self.time_s > from_s) & (self.time_s < to_s)
        time_s = np.concatenate(([from_s], self.time_s[inner], [to_s]))
        return time_s, np.interp(time_s, self.time_s, self.temperature_c)

    def ramp_s(self, index: int, temperature_c: float) -> float:
        """Return when a segment's ramp comes to a temperature, on the plan's clock [s].

        Its beginning or end where the temperature is beyond them.
        """
        part = self.segments[index]
        time_s, course_c = self.stretch(part.start_s, part.ramp_end_s)
        sign = 1.0 if self.heats(index) else -1.0
        risen = np.maximum.accumulate(sign * course_c)
        return float(np.interp(sign * temperature_c, risen, time_s))


def locate(plan: Plan, time_s: FloatArray, temperature_c: FloatArray, now_c: float) -> Position:
    """Return where a firing stands in its plan, by two readings at the least.

    `now_c` is the kiln's temperature now, after whatever the readings are smoothed by.
    """
    even = resampled(time_s, temperature_c)
    found = align(plan.schedule, even)
    now_s = float(time_s[-1])
    begun = [i for i, passage in enumerate(found.passages) if passage.came_to_c is not None]
    if not begun:
        return Position("waiting", None, None, None, 0.0, None)
    # Whatever it is taken for begun with: one that was colder has come to the first holds, too.
    every = range(begun[-1] + 1)
    swung = next((i for i in every if _swings_about(plan, found, i, even, now_c)), None)
    if swung is not None:
        return _inside(plan, found, even, swung, now_s, now_c)
    cut = _cut_short(plan, found, even)
    if cut is not None:
        return Position("left", cut, None, None, plan.ramp_s(cut, now_c), None)
    end_s = plan.segments[-1].end_s
    last = len(plan.segments) - 1
    held = last if found.complete else begun[-1] - 1
    if held >= 0 and not found.aborted and _still_held(plan, found, held, even, now_c):
        return _inside(plan, found, even, held, now_s, now_c)
    if found.complete:
        late_s = found.end_s - found.start_s - (end_s - _origin_s(plan, found))
        return Position("done", last, None, found.end_s, end_s, None, late_s)
    index = begun[-1]
    if found.aborted:
        return Position("left", index, None, None, plan.ramp_s(index, now_c), None)
    return _inside(plan, found, even, index, now_s, now_c)


def _cut_short(plan: Plan, found: Alignment, even: ResampledTrace) -> int | None:
    """Return the ramp that the power left, though the plan's next segments fit the fall; or None.

    It ends far below its target, and sooner than any controller's clock goes.
    """
    segments = plan.schedule.segments
    first = next(i for i, passage in enumerate(found.passages) if passage.came_to_c is not None)
    origin_s = _origin_s(plan, found)
    if found.starts_inside:
        begins_c = float(even.temperature_c[0])
        origin_s = plan.ramp_s(first, begins_c)
        if abs(begins_c - segments[first].target_c) <= limit.NOT_HELD_C:
            origin_s += segments[first].hold_s  # of which nobody saw how much was left
    for index in range(first, len(segments)):
        came_c, ended_s = found.passages[index].came_to_c, found.passages[index].end_s
        turns = index + 1 == len(segments) or not plan.heats(index + 1)
        if came_c is None or ended_s is None or not plan.heats(index) or not turns:
            continue
        early_s = plan.segments[index].ramp_end_s - origin_s - (ended_s - found.start_s)
        short_c = segments[index].target_c - came_c
        if short_c > limit.CUT_SHORT_C and early_s > limit.CUT_SHORT_S:
            return index
    return None


def heating_ended_s(time_s: FloatArray, temperature_c: FloatArray) -> float:
    """Return when the fall began that readings end with; their last moment if they do not [s]."""
    even = resampled(time_s, temperature_c)
    half = max(1, round(limit.SLOPE_HALF_WINDOW_S / even.step_s))
    calm_c = moving_mean(even.temperature_c, half)
    scatter_c = max(limit.HOLD_SCATTER_C, 6.0 * even.noise_c / math.sqrt(2.0 * half + 1.0))
    highest_since = np.maximum.accumulate(calm_c[::-1])[::-1]
    climbing = np.flatnonzero(calm_c < highest_since - scatter_c)
    after = int(climbing[-1]) + 1 if climbing.size else 0
    top_c = float(highest_since[after])
    near = np.flatnonzero(calm_c[after:] >= top_c - scatter_c)
    return float(even.time_s[after + int(near[-1])])


def _still_held(
    plan: Plan, found: Alignment, index: int, even: ResampledTrace, now_c: float
) -> bool:
    """Tell whether a hold that the alignment takes for passed has hardly begun.

    At the moment of arrival nothing tells the hold from the ramp after it; the plan does.
    """
    segment = plan.schedule.segments[index]
    arrived_s = _arrival(plan, index, found.passages[index])
    return (
        arrived_s is not None
        and float(even.time_s[-1]) - arrived_s < segment.hold_s
        and abs(now_c - segment.target_c) <= limit.NOT_HELD_C
    )


def _swings_about(
    plan: Plan, found: Alignment, index: int, even: ResampledTrace, now_c: float
) -> bool:
    """Tell whether a hold that is not due to end swings on, no further than it did before.

    A relay's swing in a warm kiln looks like the ramps before and after the hold.
    """
    segment, passage = plan.schedule.segments[index], found.passages[index]
    arrived_s = _arrival(plan, index, passage)
    if arrived_s is None:  # it may have been taken for arrived at the swing's top
        arrived_s = _seen_arrival_s(plan, index, even, passage.start_s)
    now_s = float(even.time_s[-1])
    came = even.temperature_c[0] < segment.target_c - limit.NOT_HELD_C and plan.heats(index)
    if arrived_s is None or not came or not segment.hold_s:
        return False
    until_s = min(now_s - limit.SWINGS_BEFORE_S, arrived_s + segment.hold_s)
    before = (even.time_s >= arrived_s) & (even.time_s < until_s)
    away_c = even.temperature_c[before] - segment.target_c
    if not away_c.size:
        return False
    most_c, least_c = max(float(np.max(away_c)), 0.0), min(float(np.min(away_c)), 0.0)
    # A swing's top was at the target so long before its middle.
    early_s = most_c / (segment.rate_c_per_h or math.inf) * SECONDS_PER_HOUR
    due = now_s - arrived_s >= segment.hold_s + early_s
    return not due and least_c <= now_c - segment.target_c <= limit.SWINGS_ON * most_c


def _inside(
    plan: Plan, found: Alignment, even: ResampledTrace, index: int, now_s: float, now_c: float
) -> Position:
    passage = found.passages[index]
    begun_s, arrived_s = passage.start_s, _arrival(plan, index, passage)
    stays = _still_held(plan, found, index, even, now_c)
    stays = stays or _swings_about(plan, found, index, even, now_c)
    ended_s = None if stays else passage.end_s
    while True:
        if arrived_s is None:
            arrived_s = _seen_arrival_s(plan, index, even, begun_s)
        if ended_s is None and arrived_s is not None and not plan.schedule.segments[index].hold_s:
            ended_s = arrived_s
        if ended_s is None:
            break
        if index + 1 == len(plan.segments):
            late_s = None
            end_s = plan.segments[-1].end_s
            if not found.starts_inside:
                late_s = ended_s - found.start_s - (end_s - _origin_s(plan, found))
            return Position("done", index, None, ended_s, end_s, None, late_s)
        index, begun_s, arrived_s, ended_s = index + 1, ended_s, None, None
    part = plan.segments[index]
    segment = plan.schedule.segments[index]
    if arrived_s is not None:
        stayed_s = min(now_s - arrived_s, segment.hold_s)
        program_s = part.ramp_end_s + stayed_s
        set_point_c: float | None = segment.target_c
    else:
        program_s = plan.ramp_s(index, now_c)
        set_point_c = None
        if segment.rate_c_per_h is not None and begun_s is not None:
            from_s = part.start_s if index else _origin_s(plan, found)
            set_point_c = plan.at_c(min(from_s + now_s - begun_s, part.ramp_end_s))
    late_s = None
    if not found.starts_inside:
        late_s = now_s - found.start_s - (program_s - _origin_s(plan, found))
    phase: Phase = "ramp" if arrived_s is None else "hold"
    return Position(phase, index, begun_s, arrived_s, program_s, set_point_c, late_s)


def _origin_s(plan: Plan, found: Alignment) -> float:
    """Return the moment of the plan at which the firing began: a warm kiln skips its beginning."""
    from_c = found.passages[0].from_c
    return 0.0 if from_c is None else plan.ramp_s(0, from_c)


def _arrival(plan: Plan, index: int, passage: Passage) -> float | None:
    target_c = plan.schedule.segments[index].target_c
    if passage.came_to_c is None or abs(passage.came_to_c - target_c) > limit.NOT_HELD_C:
        return None
    return passage.ramp_end_s


def _seen_arrival_s(
    plan: Plan, index: int, even: ResampledTrace, begun_s: float | None
) -> float | None:
    """Return when the readings first came to a target, before a stay there can be called one."""
    sign = 1.0 if plan.heats(index) else -1.0
    tolerance_c = max(limit.REACHED_C, 3.0 * even.noise_c)
    near_c = plan.schedule.segments[index].target_c - sign * tolerance_c
    since = 0 if begun_s is None else int(np.searchsorted(even.time_s, begun_s))
    there = np.flatnonzero(sign * (even.temperature_c[since:] - near_c) >= 0.0)
    if not there.size:
        return None
    first = since + int(there[0])
    slope = sign * float(even.rate_c_per_h[max(first - 3, 0)])
    # The last stretch, from within tolerance to the target itself.
    last_s = (
        min(tolerance_c / slope * SECONDS_PER_HOUR, limit.LAST_STRETCH_S)
        if slope > limit.MOVING_C_PER_H
        else 0.0
    )
    arrived_s = float(even.time_s[first]) + last_s
    return arrived_s if arrived_s <= float(even.time_s[-1]) else None
