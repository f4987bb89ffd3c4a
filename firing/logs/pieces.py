"""A channel cut wherever two neighbouring readings lie further apart than any kiln goes."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firing.logs.marks import RISE_LIMIT_C_PER_S
from firing.trace import FloatArray

SPIKE_READINGS = 3
"""What is away for no more readings than this is a spike."""

_COLD_C = 60.0
_COLD_FALL_C = 200.0  # from hot to below 60 °C between two readings: no kiln
_COLD_FALL_S = 600.0
_FLAT_C = 0.5
_OVER_C = 20.0


@dataclass(frozen=True, eq=False)
class Pieces:
    """Stretches of a channel without a jump inside; arrays of shape (pieces,).

    Attributes
    ----------
    begin, end : ndarray of int
        First reading, and the one after the last.
    first_s, last_s, first_c, last_c, lowest_c, highest_c : ndarray
        Times [s] and temperatures [°C] at their ends, and their extremes.
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


def cut(time_s: FloatArray, values: FloatArray, steps_c: FloatArray, margin_c: float) -> Pieces:
    """Cut a channel wherever it goes faster than a kiln."""
    far = np.flatnonzero(np.abs(steps_c) > margin_c)
    allowed_c = margin_c + RISE_LIMIT_C_PER_S * (time_s[far + 1] - time_s[far])
    far = far[np.abs(steps_c[far]) > allowed_c]
    begin = np.concatenate([[0], far + 1])
    end = np.concatenate([far + 1, [values.size]])
    return Pieces(
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
    """Return, for every piece, the nearest usable piece before and after it, −1 for none."""
    places = np.arange(usable.size)
    before = np.maximum.accumulate(np.where(usable, places, -1))
    before = np.concatenate([[-1], before[:-1]])
    after = np.minimum.accumulate(np.where(usable, places, usable.size)[::-1])[::-1]
    after = np.concatenate([after[1:], [usable.size]])
    return before, np.where(after == usable.size, -1, after)


def cold_pieces(pieces: Pieces) -> npt.NDArray[np.bool_]:
    """Tell which pieces lie at room temperature or below, a step away from the heat."""
    low = pieces.highest_c <= _COLD_C
    if not low.any() or low.all():
        return np.zeros(pieces.count, dtype=np.bool_)
    before, after = neighbours(~low)
    fell = (
        (before >= 0)
        & (pieces.last_c[before] - pieces.first_c >= _COLD_FALL_C)
        & (pieces.first_s - pieces.last_s[before] <= _COLD_FALL_S)
    )
    rose = (
        (after >= 0)
        & (pieces.first_c[after] - pieces.last_c >= _COLD_FALL_C)
        & (pieces.first_s[after] - pieces.last_s <= _COLD_FALL_S)
    )
    found: npt.NDArray[np.bool_] = low & (fell | rose)
    # several cold pieces in a row share the fate of those at their ends
    for place in range(1, pieces.count):
        if low[place] and found[place - 1]:
            found[place] = True
    for place in range(pieces.count - 2, -1, -1):
        if low[place] and found[place + 1]:
            found[place] = True
    return found


def overloaded_pieces(pieces: Pieces) -> npt.NDArray[np.bool_]:
    """Tell which pieces stand still above all that the sensor read otherwise."""
    flat = (pieces.highest_c - pieces.lowest_c <= _FLAT_C) & (pieces.size >= SPIKE_READINGS)
    rest = ~flat
    if not rest.any() or not flat.any():
        return np.zeros(pieces.count, dtype=np.bool_)
    top_c = float(pieces.highest_c[rest].max())
    found: npt.NDArray[np.bool_] = flat & (pieces.lowest_c > top_c + _OVER_C)
    return found
