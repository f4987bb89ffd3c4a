"""Readings that stand still to the last digit while the kiln goes on.

A well-regulated hold of a coarse logger stands still too.  So it is not the stillness that tells,
but what follows: a hold is left by the smallest step the logger knows, a stuck sensor catches up
in one leap.  Where nothing follows, the other channels may tell, or a reading that was never twice
the same before.
"""

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray

LEAST_S = 600.0
"""A reading has to stand still for this long [s] …"""
LEAST_READINGS = 4
"""… and for so many readings."""
_LEAP_C = 5.0
_LEAP_STEPS = 4.0  # times what the channel does from one reading to the next beside the run
_OTHER_C = 60.0  # another channel went this far meanwhile
_OTHER_S = 1800.0
_RESTLESS_SHARE = 0.3  # of readings that turn back on the one before: noise above the digits
_RESTLESS_READINGS = 100
_SAMPLED = 64

Runs = list[tuple[int, int]]


def still_runs(time_s: FloatArray, steps_c: FloatArray) -> Runs:
    """Return the stretches (first, after the last) of like readings that are long enough.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times [s].
    steps_c : ndarray, shape (n - 1,)
        Differences of the readings [°C].
    """
    moves = np.flatnonzero(steps_c)
    begin = np.concatenate([[0], moves + 1])
    last = np.concatenate([moves, [steps_c.size]])
    # counting first: most logs have no run of this length, and times need not be looked up
    few = last - begin + 1 >= LEAST_READINGS
    begin, last = begin[few], last[few]
    keep = time_s[last] - time_s[begin] >= LEAST_S
    return list(zip(begin[keep].tolist(), (last[keep] + 1).tolist(), strict=True))


def stuck_runs(
    time_s: FloatArray, values: FloatArray, steps_c: FloatArray, others: FloatArray
) -> Runs:
    """Return the stretches in which one channel was stuck.

    Parameters
    ----------
    time_s, values : ndarray, shape (n,)
        One channel's readings [°C], finite.
    steps_c : ndarray, shape (n - 1,)
        Their differences.
    others : ndarray, shape (n, k)
        The other channels at the same times, NaN where they have no reading.
    """
    runs = still_runs(time_s, steps_c)
    if not runs:
        return []
    found = []
    for begin, end in runs:
        if begin and not _walks_in(steps_c, begin):
            continue
        if (
            _leaps(values, steps_c, begin, end)
            or _left_behind(time_s, others, begin, end)
            or (end == values.size and _was_restless(values, steps_c, begin, end))
        ):
            found.append((begin, end))
    return found


def _walks_in(steps_c: FloatArray, begin: int) -> bool:
    """Tell whether a run goes on from the reading before it; else it is a dropout or overload."""
    before = np.abs(steps_c[max(0, begin - 6) : begin - 1])
    usual_c = float(np.median(before)) if before.size else 0.0
    return abs(float(steps_c[begin - 1])) <= _LEAP_C + _LEAP_STEPS * usual_c


def _leaps(values: FloatArray, steps_c: FloatArray, begin: int, end: int) -> bool:
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
    usual_c = max((float(np.median(part)) for part in (before, after) if part.size), default=0.0)
    largest_c = float(after.max()) if after.size else 0.0
    return leap_c > _LEAP_C + _LEAP_STEPS * usual_c and leap_c > 2.0 * largest_c


def _left_behind(time_s: FloatArray, others: FloatArray, begin: int, end: int) -> bool:
    """Tell whether another channel went far while this one stood still."""
    if not others.shape[1] or time_s[end - 1] - time_s[begin] < _OTHER_S:
        return False
    taken = others[begin : end : max(1, (end - begin) // _SAMPLED)]
    for column in taken.T:
        known = column[np.isfinite(column)]
        if known.size >= LEAST_READINGS:
            low_c, high_c = np.percentile(known, (10.0, 90.0))
            if high_c - low_c >= _OTHER_C:
                return True
    return False


def _was_restless(values: FloatArray, steps_c: FloatArray, begin: int, end: int) -> bool:
    """Tell whether a channel that ends standing still had noise in every digit until then."""
    if end - begin < _RESTLESS_READINGS or values[begin] <= 100.0:
        return False
    before: npt.NDArray[np.float64] = steps_c[max(0, begin - (end - begin)) : begin]
    if before.size < _RESTLESS_READINGS:
        return False
    turns = np.count_nonzero(before[1:] * before[:-1] < 0)
    return bool(turns >= _RESTLESS_SHARE * before.size)
