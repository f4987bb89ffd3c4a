"""The one grid that the moments of a running firing lie on: whole milliseconds.

Sums and stretches of seconds as floats differ in their last digits, so that two moments which are
one may come out a millionth of a millionth apart, in either order.  As whole numbers they are equal
or apart by a millisecond, which a sum of seconds keeps over any firing.
"""

import math

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray

TICKS_PER_S = 1000


def nearest_ticks(time_s: FloatArray) -> npt.NDArray[np.int64]:
    """Return the nearest ticks of moments, (n,)."""
    return np.rint(np.asarray(time_s) * TICKS_PER_S).astype(np.int64)


def floor_tick_s(moment_s: float) -> float:
    """Return the last tick at or before a moment [s]."""
    return math.floor(moment_s * TICKS_PER_S) / TICKS_PER_S


def is_last_at_its_tick(at: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Tell which of ticks in order are the last at their moment, (n,)."""
    return np.append(at[1:] > at[:-1], True)


def course_on_grid(time_s: FloatArray, temperature_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a course on ticks: the first point, and the last at every later tick."""
    at = nearest_ticks(time_s)
    kept = is_last_at_its_tick(at) & (at > at[0])
    kept[0] = True
    return at[kept] / TICKS_PER_S, temperature_c[kept]
