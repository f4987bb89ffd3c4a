"""A log in the terms of a fit: an even course, the duty that was logged or can be seen, a meter."""

from __future__ import annotations

import numpy as np

from firing.errors import FiringError
from firing.kiln.firing_record import FiringRecord
from firing.logs.reader import Log, pick_channel
from firing.review import thresholds as limit
from firing.review.duty_inference import known_duty
from firing.review.resample import ResampledTrace, moving_mean, resampled
from firing.review.segment_analysis import AnalysedLog
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray, median
from firing.units import ROOM_C
from firing.ware.load import Load


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
    fine = np.arange(first, coarse_s, step)
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
