"""A log in the terms of a fit: an even course, the duty that was logged or can be seen, a meter.

Duty can be seen where elements were surely fully on, or surely off.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.kiln.residuals import FiringRecord
from firing.logs.reader import Log, pick_channel
from firing.review import thresholds as limit
from firing.review.alignment import AnalysedLog, AnalysedSegment, align, analyse
from firing.review.ramp import RampRun, interruptions
from firing.review.resample import ResampledTrace, moving_mean, resampled
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray, median
from firing.units import ROOM_C
from firing.ware.load import Load

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


def fit_input_of(
    log: Log,
    *,
    schedule: Schedule | None = None,
    load: Load | None = None,
    kwh: float | None = None,
    channel: str | int | None = None,
    room_c: float | None = None,
    analysed: AnalysedLog | None = None,
) -> FiringRecord:
    """Return a log as a fit takes it.

    Where the log has no duty, `schedule` shows where power ran out.  `kwh` is what a meter counted
    over the firing.  The room is at the log's first reading unless told, or at 20 °C where that is
    above 35 °C.  `analysed` is the same channel with its plan laid along it, where a review has
    done that.
    """
    place = pick_channel(log, channel)
    temperature_c = log.trace.channel_c(place)
    try:
        even = analysed.trace if analysed else resampled(log.trace.time_s, temperature_c)
    except FiringError as error:
        raise FiringError(f"{log.name}: {error}") from None
    begins_c = median(even.temperature_c[:5])
    if room_c is None:
        room_c = begins_c if begins_c <= limit.ROOM_MOST_C else ROOM_C
    notes: list[str] = []
    logged = _logged_duty(log, notes)
    if logged is not None:
        grid = _grid(even, _cools_from_s(log.trace.time_s, logged))
        duty = _means(log.trace.time_s, logged, grid)
    else:
        seen = known_duty(even, schedule, _set_point(log, even), analysed)
        grid = _grid(even, _cools_from_s(even.time_s, seen))
        duty = _agreed(even, seen, grid)
    finite_s = log.trace.time_s[np.isfinite(temperature_c)]
    for begin in np.flatnonzero(np.diff(finite_s) > limit.GAP_S):
        duty[(grid[1:] > finite_s[begin]) & (grid[:-1] < finite_s[begin + 1])] = np.nan
    half = max(1, round(0.5 * limit.FIT_STEP_S / even.step_s))
    return FiringRecord(
        name=log.name,
        time_s=grid,
        chamber_c=np.interp(grid, even.time_s, moving_mean(even.temperature_c, half)),
        duty=duty,
        logged=logged is not None,
        kwh=kwh,
        load=load,
        raw=None if schedule is None else schedule.purpose not in ("glaze", "decal"),
        room_c=room_c,
        started=log.trace.started,
        notes=tuple(notes),
    )


def _logged_duty(log: Log, notes: list[str]) -> FloatArray | None:
    """Return the logged duty if it can be one of a firing."""
    duty = log.trace.duty
    if duty is None:
        return None
    finite = np.isfinite(duty)
    if finite.mean() < limit.LOGGED_SHARE:
        notes.append(f"{log.name}: its output is missing in most rows and is left out")
        return None
    values = duty[finite]
    if (
        float(values.mean()) < limit.LEAST_DUTY
        or float(values.max() - values.min()) < limit.LEAST_DUTY
    ):
        notes.append(
            f"{log.name}: its output stands at {100.0 * float(values.mean()):.0f} % throughout, "
            "which cannot have fired a kiln, and is left out"
        )
        return None
    return duty


def _set_point(log: Log, even: ResampledTrace) -> FloatArray | None:
    if log.setpoint_c is None:
        return None
    finite = np.isfinite(log.setpoint_c)
    if np.count_nonzero(finite) < 2:
        return None
    time_s = log.trace.time_s[finite]
    values: FloatArray = np.interp(even.time_s, time_s, log.setpoint_c[finite])
    # Before its first and after its last value there is no set-point.
    values[(even.time_s < time_s[0]) | (even.time_s > time_s[-1])] = -np.inf
    return values


def _cools_from_s(time_s: FloatArray, duty: FloatArray) -> float | None:
    """Return since when the elements are known to be off to the end [s]; None if they are not."""
    off = np.flatnonzero(duty < limit.LEAST_DUTY)
    if off.size == 0:
        return None
    breaks = np.flatnonzero(np.diff(off) > 1)
    return float(time_s[off[breaks[-1] + 1] if breaks.size else off[0]])


def _grid(even: ResampledTrace, cools_from_s: float | None) -> FloatArray:
    first, last = float(even.time_s[0]), float(even.time_s[-1])
    step = max(
        limit.FIT_STEP_S if last - first >= limit.FIT_SHORT_S else limit.FIT_SHORT_STEP_S,
        even.step_s,
    )
    # Below that the cooling tells of draughts and lids.
    peak = int(np.argmax(even.temperature_c))
    low = np.flatnonzero(even.temperature_c[peak:] < limit.LOWEST_C)
    if low.size:
        last = float(even.time_s[peak + int(low[0])])
    coarse_s = last if cools_from_s is None else min(cools_from_s + limit.FIT_COARSE_AFTER_S, last)
    # A log of a minute that never left the room's warmth still has its first moment.
    fine = np.arange(first, max(coarse_s, first + 1.0), step)
    grid = np.concatenate(
        (fine, np.arange(fine[-1] + limit.FIT_COOLING_STEP_S, last, limit.FIT_COOLING_STEP_S))
    )
    if last - grid[-1] > 0.5 * step or grid.size < 2:
        grid = np.append(grid, max(last, grid[-1] + 1.0))
    return grid


def _means(time_s: FloatArray, values: FloatArray, grid: FloatArray) -> FloatArray:
    """Return the mean over each step of the grid; NaN where less than half of it has values."""
    finite = np.isfinite(values)
    # A logged output is that of the time since the row before.
    span_s = np.diff(time_s, prepend=time_s[0])
    covered = np.cumsum(np.where(finite, span_s, 0.0))
    total = np.cumsum(np.where(finite, np.nan_to_num(values) * span_s, 0.0))
    seconds = np.diff(np.interp(grid, time_s, covered))
    energy = np.diff(np.interp(grid, time_s, total))
    known = seconds > 0.5 * np.diff(grid)
    return np.where(known, energy / np.where(known, seconds, 1.0), np.nan)


def _agreed(even: ResampledTrace, seen: FloatArray, grid: FloatArray) -> FloatArray:
    """Return the duty of each step of the grid that all its samples agree on."""
    duty = np.full(grid.size - 1, np.nan)
    bounds = np.searchsorted(even.time_s, grid)
    for i in range(duty.size):
        part = seen[bounds[i] : bounds[i + 1] + 1]
        if part.size and np.all(part == part[0]):
            duty[i] = part[0]
    return duty
