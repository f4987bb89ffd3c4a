"""Where a log shows what drove the kiln: elements surely fully on, or surely off."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from firing.review.alignment import Alignment, align
from firing.review.ramp import interruptions, ramp_run
from firing.review.resample import BEHIND_SET_POINT_C, ResampledTrace
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray

Mask = npt.NDArray[np.bool_]

BEHIND_SHARE = 0.92
"""A climb slower than this share of its rate is all the kiln can do: controllers hold a rate to 1 %
or 2 %, and ten minutes of 1 °C readings tell it to about 2 %."""
SAME_RATE = 0.06
SETTLE_S = 900.0
"""At the begin of a ramp the kiln lags though its elements are not yet fully on [s]."""
LEAST_STRETCH_S = 1800.0
EDGE_S = 300.0
"""The slope looks five minutes either way: so much is left out at the ends of a stretch [s]."""
NEAR_TARGET_C = 8.0
COOLING_SETTLE_S = 600.0
LID_BELOW_C = 350.0
"""Above this nobody props a lid: a cooling that quickens there had been held back before [°C]."""
QUICKER = 1.3
EVEN_S = 5400.0
EVEN_SHARE = 0.92
"""Natural cooling slows by more than a tenth in an hour and a half, controlled cooling does not."""
LOWEST_C = 130.0
"""Below this the cooling says little about the kiln, and draughts and lids much [°C]."""


def known_duty(
    trace: ResampledTrace, schedule: Schedule | None, set_point_c: FloatArray | None
) -> FloatArray:
    """Return the share of full power at each sample as far as a log without duty shows it.

    Parameters
    ----------
    trace : ResampledTrace
        The kiln's channel.
    schedule : Schedule, optional
        The program that was run.
    set_point_c : ndarray, shape (n,), optional
        The logged set-point at the samples of the trace [°C].

    Returns
    -------
    ndarray, shape (n,)
        1 where the kiln was behind its program, 0 where it cooled by itself, NaN elsewhere.
    """
    full = np.zeros(trace.time_s.size, dtype=bool)
    off = np.zeros_like(full)
    if set_point_c is not None:
        behind = set_point_c - trace.temperature_c > BEHIND_SET_POINT_C
        full |= _sustained(trace, behind & (trace.rate_c_per_h > 0.0))
    if schedule is None:
        off |= _free_cooling(trace, int(np.argmax(trace.temperature_c)))
    else:
        alignment = align(schedule, trace)
        for index in range(len(schedule.segments)):
            on, without = _segment(trace, schedule, index, alignment)
            full |= on
            off |= without
        if alignment.complete or alignment.aborted:
            off |= _free_cooling(trace, trace.index(alignment.end_s + COOLING_SETTLE_S))
    duty = np.full(trace.time_s.size, np.nan)
    duty[off] = 0.0
    duty[full & ~off] = 1.0
    return duty


def _segment(
    trace: ResampledTrace, schedule: Schedule, index: int, alignment: Alignment
) -> tuple[Mask, Mask]:
    """Return where a segment's ramp shows full power, and where none."""
    nothing = np.zeros(trace.time_s.size, dtype=bool)
    segment, passage = schedule.segments[index], alignment.passages[index]
    if passage.start_s is None:
        return nothing, nothing
    end_s = alignment.end_s if passage.ramp_end_s is None else passage.ramp_end_s
    if end_s - passage.start_s < LEAST_STRETCH_S:
        return nothing, nothing
    inside = (trace.time_s >= passage.start_s) & (trace.time_s <= end_s)
    if segment.target_c < schedule.from_c(index):
        late = inside & (trace.time_s > passage.start_s + COOLING_SETTLE_S)
        if segment.drive != "off":
            assert segment.rate_c_per_h is not None
            late &= -trace.rate_c_per_h < BEHIND_SHARE * segment.rate_c_per_h
        return nothing, _sustained(trace, late & (trace.temperature_c > LOWEST_C))
    full = inside & (trace.time_s > passage.start_s + SETTLE_S) & (trace.rate_c_per_h > 0.0)
    full &= trace.temperature_c < segment.target_c - NEAR_TARGET_C
    for gap in interruptions(trace, passage.start_s, end_s):
        full &= (trace.time_s < gap.start_s - EDGE_S) | (trace.time_s > gap.end_s + EDGE_S)
    wanted = _wanted_c_per_h(trace, segment, passage.start_s, end_s)
    return _sustained(trace, full & (trace.rate_c_per_h < BEHIND_SHARE * wanted)), nothing


def _wanted_c_per_h(trace: ResampledTrace, segment: Segment, start_s: float, end_s: float) -> float:
    """Return the rate a ramp was run at: the planned, unless it kept another one."""
    if segment.rate_c_per_h is None:
        return float("inf")
    run = ramp_run(trace, start_s, end_s, segment.rate_c_per_h, heats=True)
    kept = run.kept_c_per_h
    if kept is None or abs(kept / segment.rate_c_per_h - 1.0) <= SAME_RATE:
        return segment.rate_c_per_h
    return kept


def _sustained(trace: ResampledTrace, mask: Mask) -> Mask:
    """Keep stretches of half an hour or more, less five minutes at both ends."""
    result = np.zeros_like(mask)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    trim = int(np.ceil(EDGE_S / trace.step_s))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        if (end - begin) * trace.step_s >= LEAST_STRETCH_S:
            result[begin + trim : end - trim] = True
    return result


def _free_cooling(trace: ResampledTrace, first: int) -> Mask:
    """Return where the kiln cools by itself, from a sample on."""
    temperature_c, falls = trace.temperature_c, -_calm(trace)
    free = np.zeros(temperature_c.size, dtype=bool)
    settle = max(1, round(LEAST_STRETCH_S / trace.step_s))
    ahead = max(1, round(EVEN_S / trace.step_s))
    begin, end = _quickest(falls, first, settle), temperature_c.size
    # The slowest so far; quickening means that something had held the cooling back, or a lid.
    slowest = np.inf
    i = begin
    while i < end:
        if falls[i] > QUICKER * slowest + 8.0:
            if temperature_c[i] < LID_BELOW_C:
                end = i
                break
            begin, slowest = _quickest(falls, i, settle), np.inf
            i = begin
        slowest = min(slowest, float(falls[i]))
        i += 1
    held = [
        i
        for i in range(begin, min(end, temperature_c.size - ahead))
        if falls[i + ahead] > EVEN_SHARE * falls[i] and temperature_c[i] > LID_BELOW_C
    ]
    if held:
        begin = held[-1] + ahead
    free[begin:end] = True
    free &= (temperature_c > LOWEST_C) & (falls > 0.0)
    return _sustained(trace, free)


def _calm(trace: ResampledTrace) -> FloatArray:
    """Return the rate over half an hour [°C/h]; over less near the ends."""
    half = max(1, round(0.5 * LEAST_STRETCH_S / trace.step_s))
    here = np.arange(trace.time_s.size)
    reach = np.minimum(np.minimum(here, here[::-1]), half)
    total = np.concatenate(([0.0], np.cumsum(trace.rate_c_per_h)))
    calm: FloatArray = (total[here + reach + 1] - total[here - reach]) / (2 * reach + 1)
    return calm


def _quickest(falls: FloatArray, first: int, within: int) -> int:
    part = falls[first : first + within]
    return first + int(np.argmax(part)) if part.size else first
