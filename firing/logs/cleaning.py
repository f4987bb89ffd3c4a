"""Marking the readings of a log that no kiln can have given; nothing is taken away or mended."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firing.logs.flags import FLAG_TEXT, Flag, FlagArray
from firing.logs.jump_filter import flag_jumps, lone_spikes
from firing.logs.plausibility_limits import (
    LOG_RISE_C_PER_S,
    LOG_STEP_C,
    LOG_STILL_READINGS,
    LOG_STILL_S,
    LOG_TURNING_READINGS,
    LOG_USUAL_C_PER_S,
    ROOM_COLDEST_C,
    ROOM_HOTTEST_C,
    TURNING_SHARE,
)
from firing.trace import FloatArray, Trace, median, quantile
from firing.units import format_duration

_LEAP_C = 5.0
_LEAP_STEPS = 4.0  # times what the channel does from one reading to the next beside the run
_OTHER_C = 60.0  # another channel went this far meanwhile
_OTHER_S = 1800.0
_SAMPLED = 64

Runs = list[tuple[int, int]]


def still_runs(time_s: FloatArray, steps_c: FloatArray) -> Runs:
    """Return the stretches (first, after the last) of like readings that are long enough.

    `steps_c` are the readings' differences, shape (n - 1,).
    """
    moves = np.flatnonzero(steps_c)
    begin = np.concatenate([[0], moves + 1])
    last = np.concatenate([moves, [steps_c.size]])
    # counting first: most logs have no run of this length, and times need not be looked up
    few = last - begin + 1 >= LOG_STILL_READINGS
    begin, last = begin[few], last[few]
    keep = time_s[last] - time_s[begin] >= LOG_STILL_S
    return list(zip(begin[keep].tolist(), (last[keep] + 1).tolist(), strict=True))


def stuck_runs(
    time_s: FloatArray, values: FloatArray, steps_c: FloatArray, others: FloatArray
) -> Runs:
    """Return the stretches in which one channel, finite, was stuck.

    `others`, shape (n, k), are the other channels at the same times, NaN where they have no
    reading.
    """
    runs = still_runs(time_s, steps_c)
    if not runs:
        return []
    found = []
    for begin, end in runs:
        if begin and not _begins_without_a_step(steps_c, begin):
            continue
        if (
            (
                _ends_with_a_leap(values, steps_c, begin, end)
                and not _waits_in_the_cold(time_s, values, steps_c, end)
            )
            or _others_moved_on(time_s, others, begin, end)
            or (end == values.size and _was_noisy_before(values, steps_c, begin, end))
        ):
            found.append((begin, end))
    return found


def _begins_without_a_step(steps_c: FloatArray, begin: int) -> bool:
    """Tell whether a run goes on from the reading before it; else it is a dropout or overload."""
    before = np.abs(steps_c[max(0, begin - 6) : begin - 1])
    usual_c = median(before) if before.size else 0.0
    return abs(float(steps_c[begin - 1])) <= _LEAP_C + _LEAP_STEPS * usual_c


def _ends_with_a_leap(values: FloatArray, steps_c: FloatArray, begin: int, end: int) -> bool:
    """Tell whether the channel catches up in one leap when a run ends."""
    if end >= values.size:
        return False
    leap_c = abs(float(steps_c[end - 1]))
    if leap_c <= _LEAP_C:
        return False
    if not steps_c[end : end + max(2, (end - begin) // 2)].any():
        return False  # still again: a sensor that is read more seldom than it is logged
    after = np.abs(steps_c[end : end + 5])
    before = np.abs(steps_c[max(0, begin - 6) : max(0, begin - 1)])
    usual_c = max((median(part) for part in (before, after) if part.size), default=0.0)
    largest_c = float(after.max()) if after.size else 0.0
    return leap_c > _LEAP_C + _LEAP_STEPS * usual_c and leap_c > 2.0 * largest_c


def _waits_in_the_cold(
    time_s: FloatArray, values: FloatArray, steps_c: FloatArray, end: int
) -> bool:
    """Tell whether a run is a cold kiln before it is heated: its leap is the first of the climb."""
    most_c = LOG_STEP_C + LOG_USUAL_C_PER_S * float(time_s[end] - time_s[end - 1])
    cold = ROOM_COLDEST_C <= float(values[end - 1]) <= ROOM_HOTTEST_C
    return cold and abs(float(steps_c[end - 1])) <= most_c


def _others_moved_on(time_s: FloatArray, others: FloatArray, begin: int, end: int) -> bool:
    """Tell whether another channel went far while this one stood still."""
    if not others.shape[1] or time_s[end - 1] - time_s[begin] < _OTHER_S:
        return False
    taken = others[begin : end : max(1, (end - begin) // _SAMPLED)]
    for column in taken.T:
        known = column[np.isfinite(column)]
        if known.size >= LOG_STILL_READINGS:
            low_c, high_c = quantile(known, 0.1), quantile(known, 0.9)
            if high_c - low_c >= _OTHER_C:
                return True
    return False


def _was_noisy_before(values: FloatArray, steps_c: FloatArray, begin: int, end: int) -> bool:
    """Tell whether a channel that ends standing still had noise in every digit until then."""
    if end - begin < LOG_TURNING_READINGS or values[begin] <= 100.0:
        return False
    before: npt.NDArray[np.float64] = steps_c[max(0, begin - (end - begin)) : begin]
    if before.size < LOG_TURNING_READINGS:
        return False
    turns = np.count_nonzero(before[1:] * before[:-1] < 0)
    return bool(turns >= TURNING_SHARE * before.size)


LEAST_READINGS = 20
"""A channel with fewer readings is not judged: too little shows what is usual for it."""
_MOST_JUMPS_SHARE = 0.5
_NOISY_SHARE = 0.05
_WARM_C = 100.0
_LONG_HOLD_S = 7200.0


@dataclass(frozen=True, eq=False)
class Cleaning:
    """What is held against the readings of a log: a `Flag` for each, shape (n, channels)."""

    marks: FlagArray
    channels: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def used(self) -> tuple[float, ...]:
        """Share of each channel's readings that is used, 0 to 1."""
        return tuple((self.marks == Flag.USED).mean(axis=0).tolist())

    def count(self, mark: Flag, channel: int | None = None) -> int:
        """Return how many readings, of one channel or of all, bear a mark."""
        marks = self.marks if channel is None else self.marks[:, channel]
        return int(np.count_nonzero(marks == mark))

    def applied(self, temperature_c: FloatArray) -> FloatArray:
        """Return temperatures (n, channels) with NaN where a reading is marked."""
        if not self.marks.any():
            return temperature_c
        return np.where(self.marks == Flag.USED, temperature_c, np.nan)


def clean(trace: Trace, *, where: Callable[[int], str] | None = None) -> Cleaning:
    """Flag the readings of a trace that no kiln can have given.

    Spikes, stretches that are stuck, dropouts to room temperature, overloads, jumps faster than any
    kiln, and stretches that look like °F among °C.  A channel of fewer than 20 readings is not
    judged.  `where` gives words for the place of a reading, by its number from 0; default its time.
    """
    temperature_c = trace.temperature_c
    marks = np.zeros(temperature_c.shape, dtype=np.uint8)
    for channel in range(temperature_c.shape[1]):
        values = np.ascontiguousarray(temperature_c[:, channel])
        finite = np.isfinite(values)
        codes = _codes(values)
        if codes is not None:
            marks[codes != Flag.USED, channel] = codes[codes != Flag.USED]
            finite &= codes == Flag.USED
        elif finite.all():
            found = _flags_of_channel(trace.time_s, values, _other_channels(temperature_c, channel))
            if found is not None:
                marks[:, channel] = found
            continue
        marks[np.isnan(values), channel] = Flag.MISSING
        rows = np.flatnonzero(finite)
        found = _flags_of_channel(
            trace.time_s[rows], values[rows], _other_channels(temperature_c, channel)[rows]
        )
        if found is not None:
            marks[rows, channel] = found
    where = where or (lambda row: f"{trace.time_s[row]:.0f} s")
    notes: list[str] = []
    for channel, name in enumerate(trace.channels):
        notes += _flag_notes(name, marks[:, channel], temperature_c[:, channel], where)
        notes += _noise_notes(name, marks[:, channel], trace.time_s, temperature_c[:, channel])
        notes += _standstill_notes(name, marks[:, channel], trace.time_s, temperature_c[:, channel])
    return Cleaning(marks, trace.channels, tuple(notes))


_CODE_EDGES, _CODE_LEAP_C, _MOST_CODES = 6, 30.0, 0.2


def _codes(values: FloatArray) -> FlagArray | None:
    """Mark a number that stands for no reading: the extreme one, reached by leaps ever again."""
    marks: FlagArray | None = None
    if values.size < LEAST_READINGS or np.isnan(values).all():
        return marks
    for extreme, mark in ((np.nanmax(values), Flag.FULL_SCALE), (np.nanmin(values), Flag.DROPOUT)):
        same = values == extreme
        edges = np.flatnonzero(same[1:] != same[:-1])
        if edges.size < _CODE_EDGES or np.count_nonzero(same) > _MOST_CODES * values.size:
            continue
        leaps_c = np.abs(values[edges + 1] - values[edges])
        if np.count_nonzero(leaps_c > _CODE_LEAP_C) >= 0.8 * edges.size:
            marks = np.zeros(values.size, dtype=np.uint8) if marks is None else marks
            marks[same] = mark
    return marks


def _other_channels(temperature_c: FloatArray, channel: int) -> FloatArray:
    if channel == 0:
        return temperature_c[:, 1:]
    return np.concatenate([temperature_c[:, :channel], temperature_c[:, channel + 1 :]], axis=1)


def _flags_of_channel(
    time_s: FloatArray, values: FloatArray, others: FloatArray
) -> FlagArray | None:
    """Flag one channel's finite readings; None where there is nothing to mark."""
    if values.size < LEAST_READINGS:
        return None
    steps_c = np.diff(values)
    marks: FlagArray | None = None
    stuck = stuck_runs(time_s, values, steps_c, others)
    lone = lone_spikes(values, steps_c)
    if stuck or lone.size:
        marks = np.zeros(values.size, dtype=np.uint8)
        for begin, end in stuck:
            marks[begin:end] = Flag.STUCK
        marks[lone] = Flag.SPIKE
        rest = np.flatnonzero(marks == Flag.USED)
        if rest.size < LEAST_READINGS:
            return marks
        time_s, values = time_s[rest], values[rest]
        steps_c = np.diff(values)
    jumps = flag_jumps(time_s, values, steps_c)
    if jumps is None:
        return marks
    doubtful = (jumps == Flag.SPIKE) | (jumps == Flag.JUMP)
    if np.count_nonzero(doubtful) > _MOST_JUMPS_SHARE * values.size:
        return marks  # what is unlike most of its readings cannot be told for this channel
    if marks is None:
        return jumps
    marks[rest] = jumps
    return marks


def _standstill_notes(
    name: str, marks: FlagArray, time_s: FloatArray, values: FloatArray
) -> list[str]:
    """Say where a log ends in a long standstill in the heat: a hold, or a sensor that was stuck."""
    rows = np.flatnonzero(marks == Flag.USED)
    if rows.size < LEAST_READINGS or values[rows[-1]] <= _WARM_C:
        return []
    moved = np.flatnonzero(values[rows] != values[rows[-1]])
    since = rows[moved[-1] + 1] if moved.size else rows[0]
    still_s = float(time_s[rows[-1]] - time_s[since])
    if still_s < _LONG_HOLD_S:
        return []
    return [
        f"{name}: the last {format_duration(still_s)} stand still at {values[rows[-1]]:.2f} °C; if "
        "the kiln did not hold there, the sensor was stuck"
    ]


def _noise_notes(name: str, marks: FlagArray, time_s: FloatArray, values: FloatArray) -> list[str]:
    """Say where even the readings that are used cannot all be those of one kiln."""
    used = marks == Flag.USED
    if not used.all():
        time_s, values = time_s[used], values[used]
    if values.size < LEAST_READINGS:
        return []
    far = np.flatnonzero(np.abs(np.diff(values)) > LOG_STEP_C)
    if far.size <= _NOISY_SHARE * values.size:
        return []
    limit_c = LOG_STEP_C + LOG_RISE_C_PER_S * (time_s[far + 1] - time_s[far])
    wild = np.count_nonzero(np.abs(values[far + 1] - values[far]) > limit_c)
    if wild <= _NOISY_SHARE * values.size:
        return []
    return [
        f"{name}: {100.0 * wild / values.size:.0f} % of its used readings lie further from the one "
        "before than any kiln goes, so the log can't show which are right"
    ]


def _flag_notes(
    name: str, marks: FlagArray, values: FloatArray, where: Callable[[int], str]
) -> list[str]:
    counts = np.bincount(marks, minlength=len(Flag))
    judged = int(counts[Flag.SPIKE :].sum())
    if not judged:
        return []
    found = []
    for mark, words in FLAG_TEXT.items():
        if mark == Flag.MISSING or not counts[mark]:
            continue
        row = int(np.argmax(marks == mark))
        verb = "is" if counts[mark] == 1 else "are"
        found.append(
            f"{name}: {counts[mark]} of {marks.size} readings {verb} {words} "
            f"(first {where(row)}: {values[row]:.2f} °C)"
        )
    missing = f" ({counts[Flag.MISSING]} more are missing)" if counts[Flag.MISSING] else ""
    share = 100.0 * counts[Flag.USED] / marks.size
    shown = f"{min(share, 99.99):.2f}" if share > 99.0 else f"{share:.1f}"
    found.append(f"{name}: {shown} % of its readings are used; marked ones are left out{missing}")
    return found
