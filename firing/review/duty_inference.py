"""Where a log shows what drove the kiln: elements surely fully on, or surely off."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from firing.review import thresholds as limit
from firing.review.alignment import align
from firing.review.ramp import RampRun, interruptions
from firing.review.resample import ResampledTrace, moving_mean
from firing.review.segment_analysis import AnalysedLog, AnalysedSegment, analyse
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.units import ROOM_C

Mask = npt.NDArray[np.bool_]


def known_duty(
    trace: ResampledTrace,
    schedule: Schedule | None,
    set_point_c: FloatArray | None,
    analysed: AnalysedLog | None = None,
) -> FloatArray:
    """Return the share of full power at each sample as far as a log without duty shows it.

    1 where the kiln was behind its program, 0 where it cooled by itself, NaN elsewhere.
    `set_point_c` is the logged set-point at the samples of the trace; `analysed` is the plan laid
    along it, where that was done before.
    """
    full = np.zeros(trace.time_s.size, dtype=bool)
    off = np.zeros_like(full)
    if set_point_c is not None:
        behind = set_point_c - trace.temperature_c > limit.BEHIND_SET_POINT_C
        full |= _sustained(trace, behind & (trace.rate_c_per_h > 0.0))
    if schedule is None and analysed is None:
        off |= _free_cooling(trace, int(np.argmax(trace.temperature_c)))
    else:
        if analysed is None:
            assert schedule is not None
            analysed = analyse(schedule, trace, align(schedule, trace))
        alignment = analysed.alignment
        for segment in analysed.segments:
            on, without = _segment(segment)
            full |= on
            off |= without
        if alignment.complete or alignment.aborted:
            off |= _free_cooling(trace, trace.index(alignment.end_s + limit.DUTY_COOLING_SETTLE_S))
    duty = np.full(trace.time_s.size, np.nan)
    duty[off] = 0.0
    duty[full & ~off] = 1.0
    return duty


def _segment(analysed: AnalysedSegment) -> tuple[Mask, Mask]:
    """Return where a segment's ramp shows full power, and where none."""
    trace, segment, end_s = analysed.trace, analysed.segment, analysed.ramp_until_s
    nothing, start_s = np.zeros(trace.time_s.size, dtype=bool), analysed.passage.start_s
    if start_s is None or end_s - start_s < limit.DUTY_STRETCH_S:
        return nothing, nothing
    inside = (trace.time_s >= start_s) & (trace.time_s <= end_s)
    if not analysed.heats:
        late = inside & (trace.time_s > start_s + limit.DUTY_COOLING_SETTLE_S)
        if segment.drive != "off":
            assert segment.rate_c_per_h is not None
            late &= -trace.rate_c_per_h < limit.DUTY_BEHIND_SHARE * segment.rate_c_per_h
        return nothing, _sustained(trace, late & (trace.temperature_c > limit.LOWEST_C))
    full = inside & (trace.time_s > start_s + limit.DUTY_SETTLE_S) & (trace.rate_c_per_h > 0.0)
    full &= trace.temperature_c < segment.target_c - limit.NEAR_TARGET_C
    run, beside_s = analysed.run, limit.SLOPE_HALF_WINDOW_S
    for gap in interruptions(trace, start_s, end_s) if run is None else run.interruptions:
        full &= (trace.time_s < gap.start_s - beside_s) | (trace.time_s > gap.end_s + beside_s)
    slow = trace.rate_c_per_h < limit.DUTY_BEHIND_SHARE * _wanted_c_per_h(segment, run)
    return _sustained(trace, full & slow), nothing


def _wanted_c_per_h(segment: Segment, run: RampRun | None) -> float:
    """Return the rate a ramp was run at: the planned, unless it kept another one."""
    if segment.rate_c_per_h is None:
        return float("inf")
    kept = None if run is None else run.kept_c_per_h
    if kept is None or abs(kept / segment.rate_c_per_h - 1.0) <= limit.DUTY_SAME_RATE:
        return segment.rate_c_per_h
    return kept


def _sustained(trace: ResampledTrace, mask: Mask) -> Mask:
    """Keep stretches of half an hour or more, less five minutes at both ends."""
    result = np.zeros_like(mask)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    trim = int(np.ceil(limit.SLOPE_HALF_WINDOW_S / trace.step_s))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        if (end - begin) * trace.step_s >= limit.DUTY_STRETCH_S:
            result[begin + trim : end - trim] = True
    return result


def _free_cooling(trace: ResampledTrace, first: int) -> Mask:
    """Return where the kiln cools by itself, from a sample on."""
    half = max(1, round(0.5 * limit.DUTY_STRETCH_S / trace.step_s))
    temperature_c, falls = trace.temperature_c, -moving_mean(trace.rate_c_per_h, half)
    free = np.zeros(temperature_c.size, dtype=bool)
    settle = max(1, round(limit.DUTY_STRETCH_S / trace.step_s))
    ahead = max(1, round(limit.EVEN_S / trace.step_s))
    begin, end = _quickest(falls, first, settle), temperature_c.size
    # The slowest so far; quickening means that something had held the cooling back, or a lid.
    slowest = np.inf
    i = begin
    while i < end:
        if falls[i] > limit.QUICKER_FACTOR * slowest + limit.QUICKER_C_PER_H:
            if temperature_c[i] < limit.LID_BELOW_C:
                end = i
                break
            begin, slowest = _quickest(falls, i, settle), np.inf
            i = begin
        slowest = min(slowest, float(falls[i]))
        i += 1
    held = [
        (i, j)
        for i, j in _later(temperature_c, begin, end, ahead)
        if temperature_c[i] > limit.LID_BELOW_C
        and falls[j] > _held_share(temperature_c[i], temperature_c[j]) * falls[i]
    ]
    if held:
        begin = held[-1][1]
    free[begin:end] = True
    free &= (temperature_c > limit.LOWEST_C) & (falls > 0.0)
    return _sustained(trace, free)


def _later(
    temperature_c: FloatArray, begin: int, end: int, ahead: int
) -> Iterator[tuple[int, int]]:
    """Yield each sample of a cooling with the one to hold its pace against."""
    # A slow kiln needs longer than a quick one before its slowing stands clear of noise.
    lowest = -np.minimum.accumulate(temperature_c[begin:end])
    fallen = np.searchsorted(lowest, lowest + limit.EVEN_C)
    for i in range(end - begin):
        j = max(i + ahead, int(fallen[i]))
        if j < end - begin:
            yield begin + i, begin + j


def _held_share(from_c: float, to_c: float) -> float:
    """Return the share of its rate that a kiln left to itself does not keep.

    It slows at least as its degrees above the room shrink; controlled cooling keeps its rate. The
    share lies half-way between.
    """
    return 0.5 * (1.0 + (to_c - ROOM_C) / (from_c - ROOM_C))


def _quickest(falls: FloatArray, first: int, within: int) -> int:
    part = falls[first : first + within]
    return first + int(np.argmax(part)) if part.size else first
