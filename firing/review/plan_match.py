"""Whether a log is a firing of the plan at all, or has nothing to do with it.

A firing that was stopped early kept to the plan up to where it stopped; so did one whose kiln could
not go on, and one that went too far.  A log of another firing tops out far from the plan's highest
target and shares little else with it.  So both are asked for: a peak far off, and fewer signs of
the plan on the way than signs against it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from firing.errors import FiringError
from firing.logs.reader import UNIT_NOTE, Log
from firing.review import thresholds as limit
from firing.review.alignment import AnalysedLog, AnalysedSegment
from firing.review.resample import ResampledTrace, moving_mean
from firing.schedule.schedule import Schedule
from firing.trace import median
from firing.units import TemperatureUnit, format_duration, format_rate, format_temperature


@dataclass(frozen=True, slots=True, eq=False)
class _Sign:
    speaks_for: bool
    words: str


@dataclass(frozen=True, slots=True)
class Stay:
    """A stay: its first and last sample, and at what temperature [°C]."""

    first: int
    last: int
    level_c: float


def unrelated_to_plan(schedule: Schedule, analysed: AnalysedLog) -> str:
    """Return why a log is none of the plan's, as a clause; empty if it may be one."""
    trace = analysed.trace
    peak_c = float(np.max(trace.temperature_c))
    if abs(peak_c - schedule.peak_c) <= limit.UNRELATED_PEAK_C:
        return ""
    if _idle(schedule, trace):
        return _peaks(schedule, peak_c)
    signs = list(_signs(schedule, analysed, peak_c))
    against = [sign for sign in signs if not sign.speaks_for]
    if not against or len(signs) - len(against) >= len(against):
        return ""
    return f"{_peaks(schedule, peak_c)}; {'; '.join(sign.words for sign in against[:2])}"


def doubt_of_plan(schedule: Schedule, analysed: AnalysedLog) -> str:
    """Return what speaks for another plan where the log may still be compared, as a clause.

    A relay that sticks passes a peak and never stays; a stay far above every target was told to a
    controller.  Below the peak nothing is asked: a kiln too weak for its plan stands there, too.
    """
    peak_c = float(np.max(analysed.trace.temperature_c))
    if peak_c - schedule.peak_c <= limit.UNRELATED_PEAK_C:
        return ""
    own = next(_own_hold(schedule, analysed.trace, peak_c, limit.OTHER_PLAN_STAY_S), None)
    return "" if own is None else f"{_peaks(schedule, peak_c)}; {own.words}"


def _peaks(schedule: Schedule, peak_c: float) -> str:
    unit = schedule.unit
    highest = format_temperature(peak_c, unit)
    if peak_c > schedule.peak_c:
        return (
            f"this log went up to {highest}; the plan's highest target is "
            f"{format_temperature(schedule.peak_c, unit)}"
        )
    index = next((i for i, s in enumerate(schedule.segments) if s.target_c > peak_c), None)
    if index is None:
        start = format_temperature(schedule.start_c, unit)
        return f"this log never went above {highest}; the plan begins at {start}"
    ordinal = ("first", "second", "third", "fourth", "fifth")
    which = f"{ordinal[index]} segment" if index < len(ordinal) else f"segment {index + 1}"
    target = format_temperature(schedule.segments[index].target_c, unit)
    return f"this log never went above {highest}; the plan's {which} ends at {target}"


def _idle(schedule: Schedule, trace: ResampledTrace) -> bool:
    """Return whether nothing was fired at all, though the log is long enough for it."""
    risen_c = float(np.max(trace.temperature_c) - trace.temperature_c[0])
    first = schedule.segments[0]
    ramp_s = first.ramp_s(schedule.from_c(0)) or 3600.0
    long = float(trace.time_s[-1] - trace.time_s[0]) > limit.IDLE_FACTOR * ramp_s
    return long and risen_c < min(
        limit.IDLE_C, limit.IDLE_SHARE * (first.target_c - schedule.from_c(0))
    )


def _signs(schedule: Schedule, analysed: AnalysedLog, peak_c: float) -> Iterator[_Sign]:
    trace = analysed.trace
    top_s = float(trace.time_s[int(np.argmax(trace.temperature_c))])
    for segment in analysed.segments:
        if segment.passage.start_s is not None:
            yield from _ramp_sign(segment, segment.passage.start_s, top_s, schedule.unit)
            yield from _hold_sign(segment, schedule.unit)
    yield from _own_hold(schedule, trace, peak_c)


def _ramp_sign(
    analysed: AnalysedSegment, start_s: float, top_s: float, unit: TemperatureUnit
) -> Iterator[_Sign]:
    """Yield what the rate of a ramp says; nothing where power or the start may explain it."""
    planned_c_per_h, trace = analysed.segment.rate_c_per_h, analysed.trace
    if planned_c_per_h is None or not analysed.heats:
        return
    # What comes after the log's highest reading is no part of a climb.
    end_s = min(analysed.ramp_until_s, max(top_s, start_s))
    if end_s - start_s < limit.UNRELATED_SPAN_S:
        return
    if trace.at(end_s) - trace.at(start_s) < limit.UNRELATED_SPAN_C:
        return
    whole = end_s == analysed.ramp_until_s
    run = analysed.run if whole else analysed.run_until(end_s)
    assert run is not None
    rate = run.mean_c_per_h if run.kept_c_per_h is None else run.kept_c_per_h
    ratio = rate / planned_c_per_h
    if abs(ratio - 1.0) <= limit.UNRELATED_RATE:
        yield _Sign(True, "")
    elif ratio > 1.0 or (run.kept_c_per_h is not None and not run.fades):
        yield _Sign(
            False,
            f"where segment {analysed.index + 1} is to rise at "
            f"{format_rate(planned_c_per_h, unit)} it rose at {format_rate(rate, unit)}",
        )


def _hold_sign(analysed: AnalysedSegment, unit: TemperatureUnit) -> Iterator[_Sign]:
    passage, hold_s = analysed.passage, analysed.segment.hold_s
    if hold_s < limit.PLANNED_HOLD_S or passage.ramp_end_s is None or passage.end_s is None:
        return
    if passage.end_s - passage.ramp_end_s >= limit.PLANNED_HOLD_SHARE * hold_s:
        yield _Sign(True, "")
    else:
        target = format_temperature(analysed.segment.target_c, unit)
        yield _Sign(False, f"the hold of {format_duration(hold_s)} at {target} is not in it")


def _own_hold(
    schedule: Schedule, trace: ResampledTrace, peak_c: float, least_s: float = limit.OWN_HOLD_S
) -> Iterator[_Sign]:
    """Yield a hold at the log's top where the plan has no target."""
    if any(abs(segment.target_c - peak_c) <= limit.OFF_TARGET_C for segment in schedule.segments):
        return
    near = np.flatnonzero(trace.temperature_c >= peak_c - limit.OWN_HOLD_C)
    first, last = int(near[0]), int(near[-1])
    held_s = float(trace.time_s[last] - trace.time_s[first])
    if held_s < least_s or first == 0:
        return
    if not _came_at_full_rate(trace, first):
        return
    yield _Sign(
        False,
        f"it held {format_temperature(peak_c, schedule.unit)} for {format_duration(held_s)}, "
        "where the plan has no hold",
    )


def own_stays(schedule: Schedule, trace: ResampledTrace, least_s: float) -> Iterator[Stay]:
    """Yield the stays far from every target, of at least so long, that a climb came to.

    One that a climb slowed down to is a kiln at its limit, and no stay.
    """
    half = max(1, round(limit.SLOPE_HALF_WINDOW_S / trace.step_s))
    calm_c = moving_mean(trace.temperature_c, half)
    least = max(2, round(least_s / trace.step_s))
    within_c = limit.STAY_WITHIN_C + 2.0 * trace.noise_c
    first = 0
    while first + least < calm_c.size:
        level_c = median(calm_c[first : first + least + 1])
        off = np.flatnonzero(np.abs(calm_c[first:] - level_c) > within_c)
        last = calm_c.size - 1 if not off.size else first + int(off[0]) - 1
        if last - first < least:
            first += max(1, least // limit.STAY_LOOKS)
            continue
        targets_c = (segment.target_c for segment in schedule.segments)
        near_c = limit.OFF_TARGET_C + within_c
        meant = not any(abs(target_c - level_c) <= near_c for target_c in targets_c)
        climbed = first > 0 and calm_c[first - 1] < level_c
        if meant and climbed and _came_at_full_rate(trace, first):
            yield Stay(first, last, level_c)
        first = last + 1


def _came_at_full_rate(trace: ResampledTrace, first: int) -> bool:
    """Return whether the climb to where a stay begins had not slowed, as at a kiln's limit."""
    span = max(1, round(limit.SLOWING_OVER_S / trace.step_s))
    before = max(first - span, 0)
    earlier = max(before - span, 0)
    late_c = float(trace.temperature_c[first] - trace.temperature_c[before])
    early_c = float(trace.temperature_c[before] - trace.temperature_c[earlier])
    return late_c >= limit.SLOWING * early_c


def unit_by_plan(schedule: Schedule, log: Log, channel: int) -> Log:
    """Return a log whose plan settles the unit that it leaves open.

    `FiringError` if the plan speaks for °F, or for neither.
    """
    if not log.unit_is_open(channel):
        return log
    peak = float(np.nanmax(log.trace.channel_c(channel)))
    off_c, off_f = (abs(high_c - schedule.peak_c) for high_c in (peak, (peak - 32.0) / 1.8))
    planned = f"its plan's highest is {format_temperature(schedule.peak_c, schedule.unit)}"
    if off_c > limit.UNRELATED_PEAK_C or off_f <= limit.UNRELATED_PEAK_C:
        first, other = ("F", "C") if off_f < off_c else ("C", "F")
        raise FiringError(
            f"{log.name}: no unit is stated, and its highest reading, {peak:.0f}, may be °C or °F; "
            f"{planned}; say --unit {first} or --unit {other}"
        )
    settled = f"no unit is stated; {planned}, so °C are taken; say --unit F if the log is in °F"
    return replace(log, notes=tuple(settled if n == UNIT_NOTE else n for n in log.notes))
