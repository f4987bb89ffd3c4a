"""Marking the readings of a log that no kiln can have given; nothing is taken away or mended.

Of the stretches of a channel, those are kept that make the longest sequence a kiln could have gone
through; what does not fit into it is marked.  A jump that never comes back costs the sequence
something, but does not end it: half a log is not thrown away for a thermocouple that slipped.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from firing.logs.plausibility_limits import (
    LOG_DROPOUT_FALL_C,
    LOG_DROPOUT_FALL_S,
    LOG_FALL_TIME_CONSTANT_S,
    LOG_RISE_C_PER_S,
    LOG_SPIKE_READINGS,
    LOG_SPIKE_S,
    LOG_STEP_C,
    LOG_STILL_READINGS,
    LOG_STILL_S,
    LOG_TURNING_READINGS,
    LOG_USUAL_C_PER_S,
    ROOM_COLDEST_C,
    ROOM_HOTTEST_C,
    TERMINALS_MOST_C,
    TURNING_SHARE,
)
from firing.trace import FloatArray, Trace, median, quantile
from firing.units import ROOM_C, format_duration

FlagArray = npt.NDArray[np.uint8]


class Flag(IntEnum):
    """What is held against a reading; 0 means nothing."""

    USED = 0
    MISSING = 1
    SPIKE = 2
    STUCK = 3
    DROPOUT = 4
    FULL_SCALE = 5
    JUMP = 6
    FAHRENHEIT = 7


FLAG_TEXT: dict[Flag, str] = {
    Flag.MISSING: "no temperature",
    Flag.SPIKE: "marked as spikes, away from the readings around them and back",
    Flag.STUCK: "marked as stuck, the same to the last digit while the kiln went on",
    Flag.DROPOUT: "marked as dropouts, at room temperature or below in the middle of the heat",
    Flag.FULL_SCALE: "marked as overload, stuck above everything else the sensor read",
    Flag.JUMP: (
        "marked as a jump faster than any kiln (60 °C a minute); what follows one that stays "
        "is used"
    ),
    Flag.FAHRENHEIT: (
        "marked as probably °F among °C, 1.8 times the readings beside them plus 32; if so, take "
        "that part of the log by itself with --unit F"
    ),
}


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


_FLAT_C = 0.5
_OVER_C = 20.0


@dataclass(frozen=True, eq=False)
class Stretches:
    """Stretches of a channel without a jump inside: first reading, and the one after the last.

    Times and temperatures are those at their ends, and the extremes between.
    """

    begin: npt.NDArray[np.intp]
    end: npt.NDArray[np.intp]
    first_s: FloatArray
    last_s: FloatArray
    first_c: FloatArray
    last_c: FloatArray
    lowest_c: FloatArray
    highest_c: FloatArray

    @property
    def count(self) -> int:
        """How many there are."""
        return int(self.begin.size)

    @property
    def size(self) -> npt.NDArray[np.intp]:
        """Readings in each."""
        return self.end - self.begin


def cut_at_jumps(
    time_s: FloatArray, values: FloatArray, steps_c: FloatArray, margin_c: float
) -> Stretches:
    """Cut a channel wherever it goes faster than a kiln."""
    far = np.flatnonzero(np.abs(steps_c) > margin_c)
    allowed_c = margin_c + LOG_RISE_C_PER_S * (time_s[far + 1] - time_s[far])
    far = far[np.abs(steps_c[far]) > allowed_c]
    begin = np.concatenate([[0], far + 1])
    end = np.concatenate([far + 1, [values.size]])
    return Stretches(
        begin=begin,
        end=end,
        first_s=time_s[begin],
        last_s=time_s[end - 1],
        first_c=values[begin],
        last_c=values[end - 1],
        lowest_c=np.minimum.reduceat(values, begin),
        highest_c=np.maximum.reduceat(values, begin),
    )


def neighbours(usable: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.intp], ...]:
    """Return, for every stretch, the nearest usable stretch before and after it, −1 for none."""
    places = np.arange(usable.size)
    before = np.maximum.accumulate(np.where(usable, places, -1))
    before = np.concatenate([[-1], before[:-1]])
    after = np.minimum.accumulate(np.where(usable, places, usable.size)[::-1])[::-1]
    after = np.concatenate([after[1:], [usable.size]])
    return before, np.where(after == usable.size, -1, after)


def cold_stretches(stretches: Stretches) -> npt.NDArray[np.bool_]:
    """Tell which stretches lie at room temperature or below, a step away from the heat."""
    low = stretches.highest_c <= TERMINALS_MOST_C
    if not low.any() or low.all():
        return np.zeros(stretches.count, dtype=np.bool_)
    before, after = neighbours(~low)
    fell = (
        (before >= 0)
        & (stretches.last_c[before] - stretches.first_c >= LOG_DROPOUT_FALL_C)
        & (stretches.first_s - stretches.last_s[before] <= LOG_DROPOUT_FALL_S)
    )
    rose = (
        (after >= 0)
        & (stretches.first_c[after] - stretches.last_c >= LOG_DROPOUT_FALL_C)
        & (stretches.first_s[after] - stretches.last_s <= LOG_DROPOUT_FALL_S)
    )
    found: npt.NDArray[np.bool_] = low & (fell | rose)
    # several cold stretches in a row share the fate of those at their ends
    for place in range(1, stretches.count):
        if low[place] and found[place - 1]:
            found[place] = True
    for place in range(stretches.count - 2, -1, -1):
        if low[place] and found[place + 1]:
            found[place] = True
    return found


def overloaded_stretches(stretches: Stretches) -> npt.NDArray[np.bool_]:
    """Tell which stretches stand still above all that the sensor read otherwise."""
    flat = (stretches.highest_c - stretches.lowest_c <= _FLAT_C) & (
        stretches.size >= LOG_SPIKE_READINGS
    )
    rest = ~flat
    if not rest.any() or not flat.any():
        return np.zeros(stretches.count, dtype=np.bool_)
    top_c = float(stretches.highest_c[rest].max())
    found: npt.NDArray[np.bool_] = flat & (stretches.lowest_c > top_c + _OVER_C)
    return found


_SPIKE_STEPS = 4.0  # times the steps before and after it


def noise_margin_c(values: FloatArray) -> float:
    """Return by how much neighbouring readings may differ for noise alone [°C], 10 at least."""
    stride = max(1, values.size // 4000)
    starts = np.arange(0, values.size - 2, stride)
    bend = np.abs(values[starts] - 2.0 * values[starts + 1] + values[starts + 2])
    # six standard deviations of a difference, from the median bend of straight stretches
    return max(LOG_STEP_C, 6.0 * 1.4826 * median(bend) * math.sqrt(2.0 / 3.0))


def lone_spikes(values: FloatArray, steps_c: FloatArray) -> npt.NDArray[np.intp]:
    """Return the single readings that stand out from those around them and are left at once.

    Where a log is coarse, a kiln may rightly go far between two readings, so a spike is measured
    by the steps before and after it.
    """
    far = np.flatnonzero(np.abs(steps_c[:-1]) > LOG_STEP_C)
    far = far[steps_c[far] * steps_c[far + 1] < 0]
    if not far.size:
        return far
    height_c = np.minimum(np.abs(steps_c[far]), np.abs(steps_c[far + 1]))
    tall = height_c > noise_margin_c(values)
    far, height_c = far[tall], height_c[tall]
    padded = np.pad(np.abs(steps_c), 2)
    # the steps before and after; beyond the ends there are none
    around_c = np.maximum(padded[far + 1], padded[far + 4])
    # what remains where the spike is taken out: nothing much, or it was the end of a step
    across_c = np.abs(values[far + 2] - values[far])
    found: npt.NDArray[np.intp] = far[
        (height_c > _SPIKE_STEPS * around_c) & (height_c > 2.0 * across_c)
    ]
    return found + 1


_JUMP_COST_S = 7200.0  # what leaves and comes back within two hours a jump is an excursion
_LEAST_JUMP_COST = 20  # readings
_LOOK_BACK = 64  # stretches
_MOST_STRETCHES = 20_000
_STOPS_AT_ONCE = 0.1


def _possible(stretches: Stretches, earlier: slice, later: int, margin_c: float) -> FloatArray:
    """Tell which of some earlier stretches a kiln could have gone on from, as 1 and 0."""
    pause_s = stretches.first_s[later] - stretches.last_s[earlier]
    change_c = stretches.first_c[later] - stretches.last_c[earlier]
    rise_c = margin_c + LOG_RISE_C_PER_S * pause_s
    height_c = np.maximum(stretches.last_c[earlier] - ROOM_C, 0.0)
    fall_c = np.maximum(
        rise_c, margin_c + height_c * -np.expm1(-pause_s / LOG_FALL_TIME_CONSTANT_S)
    )
    possible: FloatArray = ((change_c <= rise_c) & (change_c >= -fall_c)).astype(np.float64)
    return possible


def _best_sequence(
    stretches: Stretches, usable: npt.NDArray[np.bool_], margin_c: float, jump_cost: float
) -> tuple[list[int], list[int]]:
    """Return the stretches of the best sequence, and those of them that begin with a jump."""
    weight = np.where(usable, stretches.size.astype(np.float64), -np.inf)
    best = weight.copy()
    previous = np.full(stretches.count, -1)
    jumps = np.zeros(stretches.count, dtype=np.bool_)
    for place in range(1, stretches.count):
        if not usable[place]:
            continue
        earlier = slice(max(0, place - _LOOK_BACK), place)
        possible = _possible(stretches, earlier, place, margin_c)
        gain = best[earlier] - jump_cost * (1.0 - possible)
        at = gain.size - 1 - int(np.argmax(gain[::-1]))  # of equals the nearest
        if gain[at] > 0.0:
            best[place] = weight[place] + gain[at]
            previous[place] = earlier.start + at
            jumps[place] = possible[at] == 0.0
    place = int(np.argmax(best))
    chosen, jumped = [], []
    while place >= 0:
        chosen.append(place)
        if jumps[place]:
            jumped.append(place)
        place = int(previous[place])
    return chosen[::-1], jumped[::-1]


def _is_fahrenheit(low_c: float, high: float, pause_s: float) -> bool:
    """Tell whether a reading is about what another, so long before or after it, is in °F."""
    expected = 1.8 * low_c + 32.0
    return abs(high - expected) <= max(4.0, 0.02 * expected) + 1.8 * LOG_USUAL_C_PER_S * pause_s


def flag_jumps(time_s: FloatArray, values: FloatArray, steps_c: FloatArray) -> FlagArray | None:
    """Flag what no kiln could have done; None where there is nothing, or no order to be found.

    The readings of one channel are finite and in order; `steps_c` are their differences.
    """
    margin_c = noise_margin_c(values)
    stretches = cut_at_jumps(time_s, values, steps_c, margin_c)
    if stretches.count == 1:
        return None
    cold = cold_stretches(stretches)
    if cold.any():
        # a loose contact may drop out thousands of times; without that, what is left hangs together
        marks = np.repeat(np.where(cold, np.uint8(Flag.DROPOUT), np.uint8(0)), stretches.size)
        rest = np.flatnonzero(marks == Flag.USED)
        more = flag_jumps(time_s[rest], values[rest], np.diff(values[rest]))
        if more is not None:
            marks[rest] = more
        return marks
    if stretches.count > _MOST_STRETCHES:
        return None
    marks = np.zeros(values.size, dtype=np.uint8)
    over = overloaded_stretches(stretches)
    interval_s = median(np.diff(time_s[:2001]))
    jump_cost = max(float(_LEAST_JUMP_COST), _JUMP_COST_S / interval_s)
    chosen, jumped = _best_sequence(stretches, ~over, margin_c, jump_cost)
    inside = np.zeros(stretches.count, dtype=np.bool_)
    inside[chosen] = True
    before, after = neighbours(inside)
    for place in np.flatnonzero(~inside).tolist():
        stretch = slice(int(stretches.begin[place]), int(stretches.end[place]))
        if over[place]:
            marks[stretch] = Flag.FULL_SCALE
        else:
            marks[stretch] = _excursion(stretches, place, before, after)
    _mark_kept_jumps(stretches, values, chosen, jumped, margin_c, marks)
    return marks


def _excursion(
    stretches: Stretches, place: int, before: npt.NDArray[np.intp], after: npt.NDArray[np.intp]
) -> Flag:
    """Name a stretch that is not part of the sequence."""
    size = int(stretches.size[place])
    first_c, last_c = float(stretches.first_c[place]), float(stretches.last_c[place])
    one, two = int(before[place]), int(after[place])
    from_c, to_c = float(stretches.last_c[one]), float(stretches.first_c[two])
    since_s = float(stretches.first_s[place] - stretches.last_s[one])
    until_s = float(stretches.first_s[two] - stretches.last_s[place])
    if size > LOG_SPIKE_READINGS and (
        (one >= 0 and _is_fahrenheit(from_c, first_c, since_s))
        or (two >= 0 and _is_fahrenheit(to_c, last_c, until_s))
    ):
        return Flag.FAHRENHEIT
    long_s = float(stretches.last_s[place] - stretches.first_s[place])
    return Flag.SPIKE if size <= LOG_SPIKE_READINGS or long_s <= LOG_SPIKE_S else Flag.JUMP


def _mark_kept_jumps(
    stretches: Stretches,
    values: FloatArray,
    chosen: list[int],
    jumped: list[int],
    margin_c: float,
    marks: FlagArray,
) -> None:
    """Flag the first reading after a jump that stays, and stretches that look like °F."""
    order = {place: index for index, place in enumerate(chosen)}
    suspects = list(jumped)
    for one, two in pairwise(chosen):
        # a fall a sheath could follow, that stops at once, is no opened kiln either
        fall_c = float(stretches.last_c[one] - stretches.first_c[two])
        pause_s = float(stretches.first_s[two] - stretches.last_s[one])
        soon = min(int(stretches.begin[two]) + LOG_SPIKE_READINGS, values.size - 1)
        goes_on_c = float(stretches.first_c[two] - values[soon])
        if (
            fall_c > margin_c + LOG_RISE_C_PER_S * pause_s
            and stretches.size[two] > LOG_SPIKE_READINGS
            and goes_on_c < _STOPS_AT_ONCE * fall_c
        ):
            suspects.append(two)
    borders = sorted({order[place] for place in suspects})
    for number, index in enumerate(borders):
        one, two = chosen[index - 1], chosen[index]
        low_c, high_c = float(stretches.last_c[one]), float(stretches.first_c[two])
        until = borders[number + 1] if number + 1 < len(borders) else len(chosen)
        since = borders[number - 1] if number else 0
        pause_s = float(stretches.first_s[two] - stretches.last_s[one])
        if _is_fahrenheit(low_c, high_c, pause_s):
            _fill(stretches, chosen[index:until], marks)
        elif _is_fahrenheit(high_c, low_c, pause_s):
            _fill(stretches, chosen[since:index], marks)
        else:
            marks[stretches.begin[two]] = Flag.JUMP


def _fill(stretches: Stretches, places: list[int], marks: FlagArray) -> None:
    for place in places:
        marks[stretches.begin[place] : stretches.end[place]] = Flag.FAHRENHEIT
