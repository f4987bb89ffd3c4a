"""The readings of one channel that one kiln could have made, one after another.

Of the stretches of a channel, those are kept that make the longest sequence a kiln could have gone
through; what does not fit into it is marked.  A jump that never comes back costs the sequence
something, but does not end it: half a log is not thrown away for a thermocouple that slipped.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from firing.logs.flags import Flag, FlagArray
from firing.logs.plausibility_limits import (
    LOG_DROPOUT_FALL_C,
    LOG_DROPOUT_FALL_S,
    LOG_FALL_TIME_CONSTANT_S,
    LOG_RISE_C_PER_S,
    LOG_SPIKE_READINGS,
    LOG_SPIKE_S,
    LOG_STEP_C,
    LOG_USUAL_C_PER_S,
    TERMINALS_MOST_C,
)
from firing.trace import FloatArray, median
from firing.units import ROOM_C

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
