"""Whether a log is a firing of the plan at all, or has nothing to do with it.

A firing that was stopped early kept to the plan up to where it stopped; so did one whose kiln could
not go on, and one that went too far.  A log of another firing tops out far from the plan's highest
target and shares little else with it.  So both are asked for: a peak far off, and fewer signs of
the plan on the way than signs against it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from firing.review.alignment import Alignment, Passage
from firing.review.ramp import ramp_run
from firing.review.resample import ResampledTrace
from firing.schedule.schedule import Schedule
from firing.units import format_duration, format_rate, format_temperature

FAR_PEAK_C = 100.0
"""No thermocouple's error, overshoot or missing hold moves a peak so far [°C]."""
SAME_RATE = 0.15
LEAST_SPAN_C = 50.0
"""A ramp is judged by its rate if the log shows so much of it [°C]."""
HOLD_S = 900.0
HOLD_SHARE = 0.5
"""A planned hold of a quarter of an hour or more is there if half of it is."""
OWN_HOLD_S = 1200.0
OWN_HOLD_C = 5.0
OFF_TARGET_C = 25.0
"""Twenty minutes within 5 °C of the log's highest reading, far from every target, were meant."""
SLOWING = 0.7
"""A kiln at its limit crawls to its peak; a hold begins from a ramp that had hardly slowed."""
IDLE_C = 30.0
IDLE_FACTOR = 2.0


@dataclass(frozen=True, slots=True)
class _Sign:
    speaks_for: bool
    words: str


def unrelated_to_plan(schedule: Schedule, trace: ResampledTrace, alignment: Alignment) -> str:
    """Return why a log is none of the plan's, as a clause; empty if it may be one.

    Parameters
    ----------
    schedule : Schedule
        The plan.
    trace : ResampledTrace
        The kiln's channel of the log.
    alignment : Alignment
        The plan laid along it.
    """
    peak_c = float(np.max(trace.temperature_c))
    if abs(peak_c - schedule.peak_c) <= FAR_PEAK_C:
        return ""
    if _idle(schedule, trace):
        return _peaks(schedule, peak_c)
    signs = list(_signs(schedule, trace, alignment, peak_c))
    against = [sign for sign in signs if not sign.speaks_for]
    if not against or len(signs) - len(against) >= len(against):
        return ""
    return f"{_peaks(schedule, peak_c)}; {'; '.join(sign.words for sign in against[:2])}"


def _peaks(schedule: Schedule, peak_c: float) -> str:
    unit = schedule.unit
    highest = format_temperature(peak_c, unit)
    if peak_c > schedule.peak_c:
        return (
            f"this log went up to {highest}; the plan's highest target is "
            f"{format_temperature(schedule.peak_c, unit)}"
        )
    index = next(i for i, s in enumerate(schedule.segments) if s.target_c > peak_c)
    ordinal = ("first", "second", "third", "fourth", "fifth")
    which = f"{ordinal[index]} segment" if index < len(ordinal) else f"segment {index + 1}"
    target = format_temperature(schedule.segments[index].target_c, unit)
    return f"this log never went above {highest}; the plan's {which} ends at {target}"


def _idle(schedule: Schedule, trace: ResampledTrace) -> bool:
    """Return whether nothing was fired at all, though the log is long enough for it."""
    risen_c = float(np.max(trace.temperature_c) - trace.temperature_c[0])
    first = schedule.segments[0]
    ramp_s = first.ramp_s(schedule.from_c(0)) or 3600.0
    long = float(trace.time_s[-1] - trace.time_s[0]) > IDLE_FACTOR * ramp_s
    return long and risen_c < min(IDLE_C, 0.5 * (first.target_c - schedule.from_c(0)))


def _signs(
    schedule: Schedule, trace: ResampledTrace, alignment: Alignment, peak_c: float
) -> Iterator[_Sign]:
    for index, passage in enumerate(alignment.passages):
        if passage.start_s is None:
            continue
        yield from _ramp_sign(schedule, index, trace, passage, alignment)
        yield from _hold_sign(schedule, index, passage, alignment)
    yield from _own_hold(schedule, trace, peak_c)


def _ramp_sign(
    schedule: Schedule, index: int, trace: ResampledTrace, passage: Passage, alignment: Alignment
) -> Iterator[_Sign]:
    """Yield what the rate of a ramp says; nothing where power or the start may explain it."""
    segment = schedule.segments[index]
    if segment.rate_c_per_h is None or segment.target_c <= schedule.from_c(index):
        return
    assert passage.start_s is not None
    end_s = alignment.end_s if passage.ramp_end_s is None else passage.ramp_end_s
    top_s = float(trace.time_s[int(np.argmax(trace.temperature_c))])
    end_s = min(end_s, max(top_s, passage.start_s))
    if end_s - passage.start_s < 600.0:
        return
    if trace.at(end_s) - trace.at(passage.start_s) < LEAST_SPAN_C:
        return
    run = ramp_run(trace, passage.start_s, end_s, segment.rate_c_per_h, heats=True)
    rate = run.mean_c_per_h if run.kept_c_per_h is None else run.kept_c_per_h
    ratio = rate / segment.rate_c_per_h
    if abs(ratio - 1.0) <= SAME_RATE:
        yield _Sign(True, "")
    elif ratio > 1.0 or (run.kept_c_per_h is not None and not run.fades):
        unit = schedule.unit
        yield _Sign(
            False,
            f"where segment {index + 1} is to rise at {format_rate(segment.rate_c_per_h, unit)} "
            f"it rose at {format_rate(rate, unit)}",
        )


def _hold_sign(
    schedule: Schedule, index: int, passage: Passage, alignment: Alignment
) -> Iterator[_Sign]:
    hold_s = schedule.segments[index].hold_s
    if hold_s < HOLD_S or passage.ramp_end_s is None or passage.end_s is None:
        return
    held_s = passage.end_s - passage.ramp_end_s
    if held_s >= HOLD_SHARE * hold_s:
        yield _Sign(True, "")
    else:
        target = format_temperature(schedule.segments[index].target_c, schedule.unit)
        yield _Sign(False, f"the hold of {format_duration(hold_s)} at {target} is not in it")


def _own_hold(schedule: Schedule, trace: ResampledTrace, peak_c: float) -> Iterator[_Sign]:
    """Yield a hold at the log's top where the plan has no target."""
    if any(abs(segment.target_c - peak_c) <= OFF_TARGET_C for segment in schedule.segments):
        return
    near = np.flatnonzero(trace.temperature_c >= peak_c - OWN_HOLD_C)
    first, last = int(near[0]), int(near[-1])
    held_s = float(trace.time_s[last] - trace.time_s[first])
    if held_s < OWN_HOLD_S or first == 0:
        return
    before = max(first - max(1, round(1800.0 / trace.step_s)), 0)
    earlier = max(before - max(1, round(1800.0 / trace.step_s)), 0)
    late = float(trace.temperature_c[first] - trace.temperature_c[before])
    early = float(trace.temperature_c[before] - trace.temperature_c[earlier])
    if late < SLOWING * early:
        return
    yield _Sign(
        False,
        f"it held {format_temperature(peak_c, schedule.unit)} for {format_duration(held_s)}, "
        "where the plan has no hold",
    )
