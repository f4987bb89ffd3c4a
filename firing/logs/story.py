"""The readings of one channel that one kiln could have made, one after another.

Of the pieces of a channel, those are kept that make the longest story a kiln could have lived
through; what does not fit into it is marked.  A jump that never comes back costs the story
something, but does not end it: half a log is not thrown away for a thermocouple that slipped.
"""

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from firing.logs.marks import RISE_LIMIT_C_PER_S, ROOM_C, SHEATH_TAU_S, Mark, MarkArray
from firing.logs.pieces import (
    SPIKE_READINGS,
    Pieces,
    cold_pieces,
    cut,
    neighbours,
    overloaded_pieces,
)
from firing.logs.spikes import noise_margin_c
from firing.trace import FloatArray

_JUMP_COST_S = 7200.0  # what leaves and comes back within two hours a jump is an excursion
_LEAST_JUMP_COST = 20  # readings
_LOOK_BACK = 64  # pieces
_MOST_PIECES = 20_000
_SPIKE_S = 120.0  # what is away for longer is a jump there and back
_STOPS_AT_ONCE = 0.1
_USUAL_C_PER_S = 0.1  # 6 °C a minute


def _possible(pieces: Pieces, earlier: slice, later: int, margin_c: float) -> FloatArray:
    """Tell which of some earlier pieces a kiln could have gone on from, as 1 and 0."""
    pause_s = pieces.first_s[later] - pieces.last_s[earlier]
    change_c = pieces.first_c[later] - pieces.last_c[earlier]
    rise_c = margin_c + RISE_LIMIT_C_PER_S * pause_s
    height_c = np.maximum(pieces.last_c[earlier] - ROOM_C, 0.0)
    fall_c = np.maximum(rise_c, margin_c + height_c * -np.expm1(-pause_s / SHEATH_TAU_S))
    possible: FloatArray = ((change_c <= rise_c) & (change_c >= -fall_c)).astype(np.float64)
    return possible


def _story(
    pieces: Pieces, usable: npt.NDArray[np.bool_], margin_c: float, jump_cost: float
) -> tuple[list[int], list[int]]:
    """Return the pieces of the best story, and those of them that begin with a jump."""
    weight = np.where(usable, pieces.size.astype(np.float64), -np.inf)
    best = weight.copy()
    previous = np.full(pieces.count, -1)
    jumps = np.zeros(pieces.count, dtype=np.bool_)
    for place in range(1, pieces.count):
        if not usable[place]:
            continue
        earlier = slice(max(0, place - _LOOK_BACK), place)
        possible = _possible(pieces, earlier, place, margin_c)
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
    return abs(high - expected) <= max(4.0, 0.02 * expected) + 1.8 * _USUAL_C_PER_S * pause_s


def mark_jumps(time_s: FloatArray, values: FloatArray, steps_c: FloatArray) -> MarkArray | None:
    """Mark what no kiln could have done; None where there is nothing, or no order to be found.

    Parameters
    ----------
    time_s, values : ndarray, shape (n,)
        One channel's readings, finite, in order.
    steps_c : ndarray, shape (n - 1,)
        Their differences.
    """
    margin_c = noise_margin_c(values)
    pieces = cut(time_s, values, steps_c, margin_c)
    if pieces.count == 1:
        return None
    cold = cold_pieces(pieces)
    if cold.any():
        # a loose contact may drop out thousands of times; without that, what is left hangs together
        marks = np.repeat(np.where(cold, np.uint8(Mark.DROPOUT), np.uint8(0)), pieces.size)
        rest = np.flatnonzero(marks == Mark.USED)
        more = mark_jumps(time_s[rest], values[rest], np.diff(values[rest]))
        if more is not None:
            marks[rest] = more
        return marks
    if pieces.count > _MOST_PIECES:
        return None
    marks = np.zeros(values.size, dtype=np.uint8)
    over = overloaded_pieces(pieces)
    interval_s = float(np.median(np.diff(time_s[:2001])))
    jump_cost = max(float(_LEAST_JUMP_COST), _JUMP_COST_S / interval_s)
    chosen, jumped = _story(pieces, ~over, margin_c, jump_cost)
    inside = np.zeros(pieces.count, dtype=np.bool_)
    inside[chosen] = True
    before, after = neighbours(inside)
    for place in np.flatnonzero(~inside).tolist():
        stretch = slice(int(pieces.begin[place]), int(pieces.end[place]))
        if over[place]:
            marks[stretch] = Mark.FULL_SCALE
        else:
            marks[stretch] = _excursion(pieces, place, before, after)
    _mark_kept_jumps(pieces, values, chosen, jumped, margin_c, marks)
    return marks


def _excursion(
    pieces: Pieces, place: int, before: npt.NDArray[np.intp], after: npt.NDArray[np.intp]
) -> Mark:
    """Name a piece that is not part of the story."""
    size = int(pieces.size[place])
    first_c, last_c = float(pieces.first_c[place]), float(pieces.last_c[place])
    one, two = int(before[place]), int(after[place])
    from_c, to_c = float(pieces.last_c[one]), float(pieces.first_c[two])
    since_s = float(pieces.first_s[place] - pieces.last_s[one])
    until_s = float(pieces.first_s[two] - pieces.last_s[place])
    if size > SPIKE_READINGS and (
        (one >= 0 and _is_fahrenheit(from_c, first_c, since_s))
        or (two >= 0 and _is_fahrenheit(to_c, last_c, until_s))
    ):
        return Mark.FAHRENHEIT
    long_s = float(pieces.last_s[place] - pieces.first_s[place])
    return Mark.SPIKE if size <= SPIKE_READINGS or long_s <= _SPIKE_S else Mark.JUMP


def _mark_kept_jumps(
    pieces: Pieces,
    values: FloatArray,
    chosen: list[int],
    jumped: list[int],
    margin_c: float,
    marks: MarkArray,
) -> None:
    """Mark the first reading after a jump that stays, and stretches that look like °F."""
    order = {place: index for index, place in enumerate(chosen)}
    suspects = list(jumped)
    for one, two in pairwise(chosen):
        # a fall a sheath could follow, that stops at once, is no opened kiln either
        fall_c = float(pieces.last_c[one] - pieces.first_c[two])
        pause_s = float(pieces.first_s[two] - pieces.last_s[one])
        soon = min(int(pieces.begin[two]) + SPIKE_READINGS, values.size - 1)
        goes_on_c = float(pieces.first_c[two] - values[soon])
        if (
            fall_c > margin_c + RISE_LIMIT_C_PER_S * pause_s
            and pieces.size[two] > SPIKE_READINGS
            and goes_on_c < _STOPS_AT_ONCE * fall_c
        ):
            suspects.append(two)
    borders = sorted({order[place] for place in suspects})
    for number, index in enumerate(borders):
        one, two = chosen[index - 1], chosen[index]
        low_c, high_c = float(pieces.last_c[one]), float(pieces.first_c[two])
        until = borders[number + 1] if number + 1 < len(borders) else len(chosen)
        since = borders[number - 1] if number else 0
        pause_s = float(pieces.first_s[two] - pieces.last_s[one])
        if _is_fahrenheit(low_c, high_c, pause_s):
            _fill(pieces, chosen[index:until], marks)
        elif _is_fahrenheit(high_c, low_c, pause_s):
            _fill(pieces, chosen[since:index], marks)
        else:
            marks[pieces.begin[two]] = Mark.JUMP


def _fill(pieces: Pieces, places: list[int], marks: MarkArray) -> None:
    for place in places:
        marks[pieces.begin[place] : pieces.end[place]] = Mark.FAHRENHEIT
