"""Whether a running firing is one of another program than its plan, by the readings so far.

A review knows where a log's peak is, and how its ramps ended; a watch does not yet.  So only that
counts here which no kiln does to its plan, however weak it is, whatever its clock waits for, and
however long somebody paused it: one that is ahead of its program; a cold one, which every kiln
leads easily, that climbs straight at a far lower rate; a stay far from every target.
"""

from collections.abc import Iterator

import numpy as np

from firing.heat import default_kiln
from firing.review import thresholds as limit
from firing.review.plan_match import Stay, own_stays
from firing.review.ramp import is_straight, line_and_bend
from firing.review.resample import ResampledTrace
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, format_duration, format_rate, format_temperature


def other_program(schedule: Schedule, trace: ResampledTrace) -> str:
    """Return what in the readings so far no firing of the plan can show, as a clause; or nothing.

    Parameters
    ----------
    schedule : Schedule
        The plan.
    trace : ResampledTrace
        The kiln's channel, from before the heating to now.
    """
    found = (*_ahead(schedule, trace), *_slow(schedule, trace), *_stays(schedule, trace))
    return "; ".join(found[:2])


def soonest(schedule: Schedule, from_c: float) -> tuple[FloatArray, FloatArray]:
    """Return the soonest course of a plan from a temperature on: seconds, and the highest so far.

    Full power is at its target at once there, nothing waits, and of a hold about `from_c` nothing
    is left.
    """
    time_s, highest_c = [0.0], [from_c]
    now_s, now_c = 0.0, from_c
    first = next(
        (i for i, s in enumerate(schedule.segments) if s.target_c > from_c + limit.NOT_HELD_C),
        schedule.peak_index,
    )
    for segment in schedule.segments[first:]:
        if segment.rate_c_per_h is not None:
            now_s += abs(segment.target_c - now_c) / segment.rate_c_per_h * SECONDS_PER_HOUR
        now_c = segment.target_c
        highest = max(highest_c[-1], now_c)
        time_s += [now_s, now_s + segment.hold_s]
        highest_c += [highest, highest]
        now_s += segment.hold_s
    return np.array(time_s), np.array(highest_c)


def _ahead(schedule: Schedule, trace: ResampledTrace) -> Iterator[str]:
    """Yield where the kiln was led to be hotter than the plan can have asked for by then.

    A relay that stuck is ahead, too: at full power, which fades.
    """
    begun_c = float(trace.temperature_c[0])
    lag_s = 0.0 if begun_c <= schedule.start_c + limit.NOT_HELD_C else limit.BEGUN_BEFORE_S
    since_s = trace.time_s - trace.time_s[0]
    allowed_c = np.interp(since_s + lag_s, *soonest(schedule, begun_c))
    margin_c = np.maximum(limit.OFF_TARGET_C, limit.AHEAD_SHARE * allowed_c)
    over = trace.temperature_c > allowed_c + margin_c
    near_c = allowed_c + 0.5 * margin_c  # nearer than this it may only swing above its plan
    edges = np.flatnonzero(np.diff(np.concatenate(([0], over.astype(np.int64), [0]))))
    for first, end in edges.reshape(-1, 2).tolist():
        if (end - first) * trace.step_s < limit.AHEAD_S:
            continue
        inside = np.flatnonzero(trace.temperature_c[:first] <= near_c[:first])
        departed = int(inside[-1]) if inside.size else 0
        if _straight_through(trace, departed) or _climbs_slowly(trace, first, end):
            break
    else:
        return
    at = end - 1
    now, planned = (
        format_temperature(c, schedule.unit) for c in (trace.temperature_c[at], allowed_c[at])
    )
    yield (
        f"after {format_duration(since_s[at])} the kiln was at {now}, and the plan cannot be "
        f"above {planned} by then"
    )


def _straight_through(trace: ResampledTrace, departed: int) -> bool:
    """Return whether a climb ran on at one rate where it left its plan behind.

    Where a relay sticks there is a corner.
    """
    begun_c = max(limit.COLD_FROM_C, float(trace.temperature_c[0]) + limit.PLAN_STEP_C)
    rising = np.maximum.accumulate(trace.temperature_c)
    begun, top = int(np.searchsorted(rising, begun_c)), int(np.argmax(trace.temperature_c))
    begun_s, at_s = float(trace.time_s[min(begun, top)]), float(trace.time_s[departed])
    if at_s - begun_s < limit.LED_ABOUT_S[0]:  # it never followed its plan
        lasts = (trace.index(begun_s + 2.0 * about_s) for about_s in limit.LED_ABOUT_S)
        cold = begun_c < limit.COLD_TO_C
        return cold and any(_is_led(trace, begun, last) for last in lasts if last <= top)
    for about_s in limit.LED_ABOUT_S:
        first, last = trace.index(max(at_s - about_s, begun_s)), trace.index(at_s + about_s)
        if last > top:
            return False
        before, after = _rate(trace, first, departed), _rate(trace, departed, last)
        same = abs(after - before) <= 2.0 * limit.SAME_RATE * before
        if same and _is_led(trace, first, last):
            return True
    return False


def _climbs_slowly(trace: ResampledTrace, first: int, end: int) -> bool:
    """Return whether a stretch was led at one rate for long that is far from full power."""
    step = max(1, round(limit.SLOPE_HALF_WINDOW_S / trace.step_s))
    for about_s in limit.LED_ABOUT_S:
        length = round(about_s / trace.step_s)
        for begin in range(first, end - length, step):
            last = begin + length
            full = default_kiln.full_power_rate_c_per_h(trace.temperature_c[last : last + 1])
            rate = _rate(trace, begin, last)
            slowly = limit.LED_LEAST_C_PER_H < rate < limit.NOT_FULL_POWER * float(full[0])
            if slowly and _is_led(trace, begin, last):
                return True
    return False


def _rate(trace: ResampledTrace, first: int, last: int) -> float:
    part = slice(first, last + 1)
    if last - first < 4:
        return 0.0
    return line_and_bend(trace.time_s[part], trace.temperature_c[part])[0]


def _is_led(trace: ResampledTrace, first: int, last: int) -> bool:
    """Return whether a stretch surely has one rate, without a corner or a fade."""
    part = slice(first, last + 1)
    if last - first < 8:
        return False
    _, bend, error = line_and_bend(trace.time_s[part], trace.temperature_c[part])
    return abs(bend) + 2.0 * error <= limit.LED_BEND


def _slow(schedule: Schedule, trace: ResampledTrace) -> Iterator[str]:
    """Yield a straight climb of a cold kiln at a far lower rate than planned.

    A clock that waits does so for a relay's wide swing, and a smooth climb has none.
    """
    highest_c = np.maximum.accumulate(trace.temperature_c)
    first_c = max(limit.COLD_FROM_C, float(highest_c[0]) + limit.PLAN_STEP_C)
    for from_c in np.arange(first_c, limit.COLD_TO_C, limit.PLAN_STEP_C):
        for over_c in limit.SLOW_OVER_C:
            to_c = from_c + over_c
            if to_c > highest_c[-1]:
                break
            planned = _slowest_rate(schedule, from_c, to_c)
            first, last = (int(np.searchsorted(highest_c, level)) for level in (from_c, to_c))
            if planned is None or trace.time_s[last] - trace.time_s[first] < limit.PIECE_S:
                continue
            part = slice(first, last + 1)
            if last - first < 8:
                continue
            rate, bend, error = line_and_bend(trace.time_s[part], trace.temperature_c[part])
            if rate <= 0.0 or error > limit.SLOW_BEND_KNOWN or not is_straight(bend, error):
                continue
            off_c = _off_line_c(trace, part)
            if off_c > limit.STRAIGHT_WITHIN_C:
                continue  # a pause in it
            smooth = off_c <= limit.SMOOTH_C and trace.step_s <= limit.SMOOTH_STEP_S
            share = limit.SLOW_SHARE_SMOOTH if smooth else limit.SLOW_SHARE
            if rate < share * planned:
                at, to = (format_temperature(c, schedule.unit) for c in (from_c, to_c))
                yield (
                    f"from {at} to {to} it climbed steadily at {format_rate(rate, schedule.unit)}, "
                    f"where the plan has {format_rate(planned, schedule.unit)}"
                )
                return


def _off_line_c(trace: ResampledTrace, part: slice) -> float:
    """Return how far readings are from a straight line, root mean square [°C]."""
    line = np.polyfit(trace.time_s[part], trace.temperature_c[part], 1)
    return float(np.std(trace.temperature_c[part] - np.polyval(line, trace.time_s[part])))


def _slowest_rate(schedule: Schedule, from_c: float, to_c: float) -> float | None:
    """Return the lowest rate at which a plan climbs about there; None where one may be any."""
    low_c, high_c = from_c - limit.OFF_TARGET_C, to_c + limit.OFF_TARGET_C
    rates = []
    for index, segment in enumerate(schedule.segments):
        if not schedule.from_c(index) < high_c or not segment.target_c > low_c:
            continue
        if segment.target_c > schedule.from_c(index):
            rates.append(segment.rate_c_per_h)
    known = [rate for rate in rates if rate is not None]
    return min(known) if known and len(known) == len(rates) else None


def _stays(schedule: Schedule, trace: ResampledTrace) -> Iterator[str]:
    """Yield a long stay far from every target that was led there.

    A kiln that lost half of its power stands still, too, but only where it is hot, and it does not
    climb on.
    """
    for stay in own_stays(schedule, trace, limit.RUNNING_STAY_S):
        if stay.level_c < limit.STAY_FROM_C:
            continue
        if stay.level_c > limit.ANY_POWER_C and not _climbed_on(schedule, trace, stay):
            continue
        held_s = float(trace.time_s[stay.last] - trace.time_s[stay.first])
        yield (
            f"it stood at {format_temperature(stay.level_c, schedule.unit)} for "
            f"{format_duration(held_s)}, where the plan has no hold"
        )
        return


def _climbed_on(schedule: Schedule, trace: ResampledTrace, stay: Stay) -> bool:
    """Return whether a kiln left a stay as fast as it came there, and as the plan climbs."""
    span = max(1, round(limit.SLOWING_OVER_S / trace.step_s))
    before, after = max(stay.first - span, 0), stay.last + span
    planned = _slowest_rate(schedule, stay.level_c, stay.level_c)
    if after >= trace.time_s.size or planned is None:
        return False
    came_c = trace.temperature_c[stay.first] - trace.temperature_c[before]
    left_c = trace.temperature_c[after] - trace.temperature_c[stay.last]
    least_c = planned * limit.SLOWING_OVER_S / SECONDS_PER_HOUR
    return bool(left_c >= limit.SLOWING * max(came_c, least_c))
