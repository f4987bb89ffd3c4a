"""Find each segment of a plan in a log: when its ramp began, arrived, and when its hold ended.

A firing passes through its plan's states in order: before heating, ramp 1, hold 1, ramp 2, …, and
after the last segment.  Every minute of the log fits each state more or less well, by its
temperature and by its slope; the sequence of states whose total cost is least is found exactly
(dynamic programming over a chain, Viterbi 1967, doi:10.1109/TIT.1967.1054010), in one pass a state.
A chain may be left early (a firing that was stopped) and entered late (a log that was started in
the middle), each at a price.  The edges so found are then set where the readings cross the level:
the corners of a segment, where it begins to rise, arrives to stay, and leaves.

`analyse` hands a log on along its plan: every segment with how its ramp ran, judged once.
"""

import math
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from firing.heat import default_kiln
from firing.review import thresholds as limit
from firing.review.ramp import (
    Interruption,
    RampRun,
    StraightPiece,
    interruptions,
    limited_after,
    ramp_run,
    straight_pieces,
)
from firing.review.resample import ResampledTrace
from firing.schedule.schedule import Schedule, Segment
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


# Cost is counted in minutes of a ramp that goes backwards.


@dataclass(frozen=True, slots=True, eq=False)
class Passage:
    """When a segment began, arrived and ended, on the log's clock [s]; None if it did not.

    `came_to_c` is the temperature it held, or the highest (lowest, if it cools) it came to.
    """

    start_s: float | None
    ramp_end_s: float | None
    end_s: float | None
    from_c: float | None
    came_to_c: float | None


NOT_REACHED = Passage(None, None, None, None, None)


@dataclass(frozen=True, eq=False)
class Alignment:
    """Where a plan lies in a log.

    Attributes
    ----------
    lead_in_s : float
        From the first reading to where heating begins [s].
    start_s, end_s : float
        Where heating begins, and where the program ends or the log leaves it [s].
    passages : tuple of Passage
        One a segment.
    complete : bool
        Whether every segment was begun and ended within the log.
    starts_inside, stops_inside, aborted : bool
        The log begins after the program did; ends before it did; the program was left.
    interruptions : tuple of Interruption
        Falls before the peak that were regained: the power was away.
    """

    lead_in_s: float
    start_s: float
    end_s: float
    passages: tuple[Passage, ...]
    complete: bool
    starts_inside: bool
    stops_inside: bool
    aborted: bool
    interruptions: tuple[Interruption, ...] = ()


@dataclass(frozen=True, eq=False)
class _State:
    """`arrival` is what it costs to end the ramp before here, `staying` what to remain at all."""

    segment: int  # -1 before the first, as many as there are after the last
    holding: bool
    cost: FloatArray
    arrival: FloatArray
    staying: FloatArray | float = 0.0
    least: int = 0  # samples, of a hold
    skipping: float = 0.0  # of a hold that was planned
    entering: float = limit.LATE_ENTRY_COST  # as the first of all


@dataclass(frozen=True, eq=False)
class _Path:
    """`state` of every sample, shape (n,); whether the chain was entered late, or left early."""

    state: npt.NDArray[np.int64]
    late_entry: bool
    aborted: bool


def align(schedule: Schedule, trace: ResampledTrace) -> Alignment:
    """Lay a plan along the kiln's channel of a log."""
    gaps = _heating_interruptions(schedule, trace)
    states = _states(schedule, trace)
    _excuse(states, gaps, schedule, trace)
    path = _least_cost(states, trace.time_s.size)
    return _passages(schedule, trace, path, gaps)


def _states(schedule: Schedule, trace: ResampledTrace) -> list[_State]:
    temperature_c, rate = trace.temperature_c, trace.rate_c_per_h
    minutes = trace.step_s / 60.0
    scatter_c = max(limit.HOLD_SCATTER_C, 3.0 * trace.noise_c)
    free = np.zeros(temperature_c.size + 1)
    ends_c = np.append(temperature_c, temperature_c[-1])
    idle = np.clip(np.abs(temperature_c - temperature_c[0]) / scatter_c, 0.0, 1.5)
    idle = idle + np.clip(np.abs(rate) / limit.IDLE_C_PER_H - 0.5, 0.0, 1.0)
    passed = passed_before(schedule, float(temperature_c[0]))
    if passed:  # one that is so hot and does not fall is led
        idle = idle + limit.LED_IDLE_COST * (rate > -0.5 * limit.IDLE_C_PER_H)
    states = [_State(-1, False, idle * minutes, free)]
    for index, segment in enumerate(schedule.segments):
        entering = limit.PASSED_ENTRY_COST if 0 < index <= passed else limit.LATE_ENTRY_COST
        from_c, to_c = schedule.from_c(index), segment.target_c
        sign = 1.0 if to_c > from_c else -1.0
        expected = _expected_rate(schedule, index, temperature_c)
        standing = limit.STANDING_COST * np.clip(
            1.0 - sign * rate / expected / limit.STANDING_SHARE, 0.0, 2.0
        )
        beyond = np.maximum(sign * (temperature_c - to_c), 0.0)
        # A warm or a cold kiln starts where it is, so the first ramp may begin anywhere.
        short = np.maximum(sign * (from_c - temperature_c), 0.0) * (index > 0)
        outside = np.clip((beyond + short) / scatter_c, 0.0, 1.0) ** 2
        over = limit.LED_IDLE_COST * (index < passed) * (beyond > limit.OFF_TARGET_C)
        ramp = (standing + outside + over) * minutes
        states.append(_State(index, False, ramp, free, entering=entering))
        off_level = np.clip((temperature_c - to_c) / scatter_c, -1.0, 1.0) ** 2
        moving = np.clip(np.abs(rate) / expected - 0.5, 0.0, 1.0)
        arrival = np.minimum(
            ((ends_c - to_c) / limit.ARRIVAL_SCATTER_C) ** 2, limit.ARRIVAL_COST_MOST
        )
        staying = np.minimum(arrival, limit.STAYING_COST_MOST)
        if segment.hold_s == 0:
            staying = staying + limit.UNPLANNED_HOLD_COST
        cost = limit.OTHER_HOLD_COST * off_level + moving
        stay_s = (
            min(segment.hold_s, limit.SHORTEST_HOLD_S) if segment.hold_s else limit.SHORTEST_HOLD_S
        )
        least = max(1, math.ceil(stay_s / trace.step_s))
        skipping = limit.SKIPPED_HOLD_COST if segment.hold_s >= limit.SHORTEST_HOLD_S else 0.0
        cost = (cost + over) * minutes
        states.append(_State(index, True, cost, arrival, staying, least, skipping, entering))
    last_c = schedule.segments[-1].target_c
    above = np.clip((temperature_c - last_c) / scatter_c, 0.0, 1.0)
    natural_rate = default_kiln.cooling_rate_c_per_h(np.maximum(temperature_c, 40.0))
    not_falling = np.clip(
        1.0 + rate / np.maximum(limit.FALLING_SHARE * natural_rate, 4.0), 0.0, 2.0
    )
    states.append(_State(len(schedule.segments), False, (above + not_falling) * minutes, free))
    return states


def passed_before(schedule: Schedule, begun_c: float) -> int:
    """Return how many ramps at a plan's head are over where readings begin above their ends."""
    for index in range(schedule.peak_index):
        target_c = schedule.segments[index].target_c
        if not schedule.from_c(index) < target_c < begun_c - limit.OFF_TARGET_C:
            return index
    return schedule.peak_index


def _heating_interruptions(schedule: Schedule, trace: ResampledTrace) -> tuple[Interruption, ...]:
    """Return the falls before the peak that were regained: the power was away.

    Where the plan falls before its peak itself, nothing is told.
    """
    heating = schedule.segments[: schedule.peak_index + 1]
    targets_c = [schedule.start_c, *(segment.target_c for segment in heating)]
    if any(after < before for before, after in pairwise(targets_c)):
        return ()
    near_c = min(float(np.max(trace.temperature_c)), schedule.peak_c) - limit.NEAR_TOP_C
    last = int(np.flatnonzero(trace.temperature_c >= near_c)[-1])
    return interruptions(trace, float(trace.time_s[0]), float(trace.time_s[last]))


def _excuse(
    states: list[_State],
    gaps: tuple[Interruption, ...],
    schedule: Schedule,
    trace: ResampledTrace,
) -> None:
    """Let every segment pass over a fall that was regained: it is no part of the plan."""
    for gap in gaps:
        away = slice(trace.index(gap.start_s), trace.index(gap.end_s) + 1)
        for state in states:
            if 0 <= state.segment <= schedule.peak_index:
                state.cost[away] = 0.0


def _expected_rate(schedule: Schedule, index: int, temperature_c: FloatArray) -> FloatArray:
    segment = schedule.segments[index]
    if segment.rate_c_per_h is not None:
        return np.full_like(temperature_c, segment.rate_c_per_h)
    if segment.drive == "unlimited":
        return np.maximum(default_kiln.full_power_rate_c_per_h(temperature_c), 20.0)
    return np.maximum(default_kiln.cooling_rate_c_per_h(temperature_c), 4.0)


def _least_cost(states: list[_State], samples: int) -> _Path:
    """Find the state of every sample for the least total cost.

    Column t of the tables stands for the moment before sample t, so a state entered at column a
    and left at column b pays for samples a to b − 1, and one with a == b is only passed through.
    """
    count = len(states)
    total = np.empty((count, samples + 1))
    entered = np.zeros((count, samples + 1), dtype=np.int64)
    origin = np.zeros((count, samples + 1), dtype=np.int64)
    aborts = np.zeros(samples + 1, dtype=bool)
    for j, state in enumerate(states):
        if j == 0:
            arrive = np.full(samples + 1, np.inf)
            arrive[0] = 0.0
        elif state.holding:
            arrive = total[j - 1] + state.staying
            origin[j] = j - 1
        else:
            arrive = total[j - 1].copy()
            origin[j] = j - 1
            if j >= 3:
                # Past a hold of no length: the ramp before ends where this one begins.
                passing = total[j - 2] + states[j - 1].arrival + states[j - 1].skipping
                origin[j] = np.where(passing < arrive, j - 2, origin[j])
                arrive = np.minimum(arrive, passing)
        if 1 < j < count - 1 and arrive[0] > state.entering:
            arrive[0], origin[j, 0] = state.entering, -1
        if j == count - 1:
            for early in range(1, count - 2):
                left = total[early] + limit.ABORT_COST
                aborts |= left < arrive
                origin[j] = np.where(left < arrive, early, origin[j])
                arrive = np.minimum(arrive, left)
        paid = np.concatenate(([0.0], np.cumsum(state.cost)))
        advantage = arrive - paid
        best = np.minimum.accumulate(advantage)
        latest = np.maximum.accumulate(np.where(advantage <= best, np.arange(best.size), 0))
        if state.holding:
            # A stay has a least length; a hold of none is passed by from ramp to ramp.
            none = min(state.least, best.size)
            best = np.concatenate((np.full(none, np.inf), best[: best.size - none]))
            latest = np.concatenate((np.zeros(none, dtype=np.int64), latest[: latest.size - none]))
        entered[j] = latest
        total[j] = paid + best
    j, t = int(np.argmin(total[:, samples])), samples
    state_of = np.zeros(samples, dtype=np.int64)
    aborted = False
    while True:
        first = int(entered[j, t])
        state_of[first:t] = j
        source = int(origin[j, first])
        if j == 0 or source == -1:
            return _Path(state_of, source == -1, aborted)
        aborted = aborted or (j == count - 1 and bool(aborts[first]))
        j, t = source, first


def _passages(
    schedule: Schedule, trace: ResampledTrace, path: _Path, gaps: tuple[Interruption, ...]
) -> Alignment:
    count = len(schedule.segments)
    last_state = int(path.state[-1])
    reached = min((last_state + 1) // 2, count)  # segments that were begun
    if last_state == 2 * count + 1 and path.aborted:
        before = path.state[path.state < last_state]
        reached = (int(before[-1]) + 1) // 2 if before.size else 0
    first_segment = (int(path.state[0]) - 1) // 2 if path.late_entry else 0
    edges = _edges(path.state, count)
    start = heating_start_s(trace, edges[0][0]) if not path.late_entry else float(trace.time_s[0])
    passages: list[Passage] = []
    now_s = start
    for index in range(count):
        if index < first_segment or index >= reached:
            passages.append(NOT_REACHED)
            continue
        ramp_from, hold_from, hold_to = edges[index]
        sign = 1.0 if schedule.segments[index].target_c > schedule.from_c(index) else -1.0
        unfinished = index == reached - 1 and (path.aborted or last_state <= 2 * count)
        target_c = schedule.segments[index].target_c
        if sign > 0:
            hold_from = hold_begin_after_creeping(trace, hold_from, hold_to, target_c)
            if climbs_on(schedule, index) and ran_on(trace, hold_from, hold_to, target_c):
                hold_to = hold_from
        hold_from = hold_begin_past_target(trace, hold_from, hold_to, target_c, sign)
        came_c = came_to_c(trace, ramp_from, hold_from, hold_to, sign, target_c)
        came = not unfinished or hold_to > hold_from
        # An overshoot arrives when it passes the target, not when it has settled.
        arrived_c = sign * min(sign * came_c, sign * target_c)
        if abs(came_c - target_c) > limit.ARRIVAL_OVERSHOOT_C:
            arrived_c = came_c
        ramp_end_s = arrival_s(trace, hold_from, arrived_c, sign) if came else None
        if ramp_end_s is not None:
            ramp_end_s = max(ramp_end_s, now_s)
        end_s: float | None = None
        if not unfinished:
            assert ramp_end_s is not None
            if hold_to > hold_from:
                leaves = leaving_direction(schedule, index)
                left_c = last_hold_c(trace, hold_from, hold_to, came_c)
                end_s = max(departure_s(trace, hold_to, left_c, leaves), ramp_end_s)
            else:
                end_s = ramp_end_s
        inside = path.late_entry and index == first_segment
        begun_s = None if inside else now_s
        passages.append(
            Passage(begun_s, ramp_end_s, end_s, None if inside else trace.at(now_s), came_c)
        )
        if end_s is not None:
            now_s = end_s
    complete = all(p.start_s is not None and p.end_s is not None for p in passages)
    ends = [p.end_s for p in passages if p.end_s is not None]
    stops_inside = not path.aborted and last_state <= 2 * count
    end_s = ends[-1] if complete else float(trace.time_s[-1])
    if path.aborted:
        left = np.flatnonzero(path.state < 2 * count + 1)
        end_s = float(trace.time_s[left[-1]]) if left.size else start
    lead_in_s = start - float(trace.time_s[0])
    return Alignment(
        lead_in_s=lead_in_s,
        start_s=start,
        end_s=end_s,
        passages=tuple(passages),
        complete=complete,
        starts_inside=path.late_entry,
        stops_inside=stops_inside,
        aborted=path.aborted,
        interruptions=gaps,
    )


def _edges(state: npt.NDArray[np.int64], segments: int) -> list[tuple[int, int, int]]:
    """Return for each segment the samples where its ramp begins, its hold begins and it ends."""
    return [
        (
            int(np.searchsorted(state, 2 * index + 1)),
            int(np.searchsorted(state, 2 * index + 2)),
            int(np.searchsorted(state, 2 * index + 3)),
        )
        for index in range(segments)
    ]


@dataclass(frozen=True, eq=False)
class AnalysedSegment:
    """One segment of the plan in a log; what a ramp's course tells is found when first asked for.

    Attributes
    ----------
    index : int
        Its number from 0.
    segment : Segment
        As planned.
    from_c : float
        Where the plan begins it [°C].
    passage, before : Passage
        Where it lies in the log, and the segment before it; None for the first.
    ramp_until_s : float
        Where its ramp ends, or the firing does if that came first [s].
    after : Segment or None
        The plan's next.
    """

    index: int
    segment: Segment
    from_c: float
    passage: Passage
    before: Passage | None
    ramp_until_s: float
    after: Segment | None
    trace: ResampledTrace = field(repr=False)

    @property
    def heats(self) -> bool:
        """Whether its ramp goes up."""
        return self.segment.target_c > self.from_c

    @property
    def goes_on_at_c_per_h(self) -> float | None:
        """The next segment's rate if the plan climbs on without a stay between [°C/h]."""
        if self.after is None or self.segment.hold_s > 0:
            return None
        return self.after.rate_c_per_h if self.after.target_c > self.segment.target_c else None

    @cached_property
    def run(self) -> RampRun | None:
        """How its ramp ran; None without a rate, or where the log holds nothing of it."""
        return self.run_until(self.ramp_until_s)

    @cached_property
    def limited(self) -> bool:
        """Whether its ramp was slower than planned and the kiln went on as slowly after it."""
        run, planned_c_per_h = self.run, self.segment.rate_c_per_h
        if run is None or run.kept_c_per_h is None or planned_c_per_h is None or not self.heats:
            return False
        return run.kept_c_per_h < planned_c_per_h and limited_after(
            run.kept_c_per_h, self.trace, self.ramp_until_s, self.goes_on_at_c_per_h
        )

    @cached_property
    def pieces(self) -> tuple[StraightPiece, ...]:
        """The straight stretches of its ramp that were meant otherwise than planned."""
        start_s, rate_c_per_h = self.passage.start_s, self.segment.rate_c_per_h
        if start_s is None or rate_c_per_h is None or not self.heats:
            return ()
        return straight_pieces(
            self.trace, start_s, self.ramp_until_s, rate_c_per_h, self.goes_on_at_c_per_h
        )

    def run_until(self, end_s: float) -> RampRun | None:
        """Return how its ramp ran up to a moment, as `run` does up to its end."""
        start_s, rate_c_per_h = self.passage.start_s, self.segment.rate_c_per_h
        if start_s is None or rate_c_per_h is None or end_s <= start_s:
            return None
        return ramp_run(self.trace, start_s, end_s, rate_c_per_h, heats=self.heats)


@dataclass(frozen=True, eq=False)
class AnalysedLog:
    """One channel of a log on an even grid, the plan laid along it, and each of its segments."""

    trace: ResampledTrace = field(repr=False)
    alignment: Alignment
    segments: tuple[AnalysedSegment, ...]


def analyse_segment(
    schedule: Schedule, index: int, trace: ResampledTrace, alignment: Alignment
) -> AnalysedSegment:
    """Return one segment of a plan as a log shows it."""
    passage = alignment.passages[index]
    return AnalysedSegment(
        index=index,
        segment=schedule.segments[index],
        from_c=schedule.from_c(index),
        passage=passage,
        before=alignment.passages[index - 1] if index else None,
        ramp_until_s=alignment.end_s if passage.ramp_end_s is None else passage.ramp_end_s,
        after=schedule.segments[index + 1] if index + 1 < len(schedule.segments) else None,
        trace=trace,
    )


def analyse(schedule: Schedule, trace: ResampledTrace, alignment: Alignment) -> AnalysedLog:
    """Return the segments of a plan that has been laid along a log."""
    segments = tuple(
        analyse_segment(schedule, index, trace, alignment)
        for index in range(len(schedule.segments))
    )
    return AnalysedLog(trace, alignment, segments)
