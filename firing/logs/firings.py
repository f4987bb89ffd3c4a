"""How many firings one log holds, and where each of them begins."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray

HOT_C = 300.0
"""A firing goes above this [°C] …"""
COLD_C = 100.0
"""… and between two of them the kiln, to be opened and filled, is below this [°C]."""
_LEAST_HOT = 10  # readings; fewer are no firing
_LEAST_HOT_S = 1800.0  # nor is a shorter time in the heat


def firing_starts(time_s: FloatArray, temperature_c: FloatArray) -> list[int]:
    """Return where each firing begins, 0 for the first.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times [s].
    temperature_c : ndarray, shape (n, channels)
        Cleaned readings [°C], NaN where there is none.  The kiln is as hot as its hottest channel.
    """
    hottest_c = temperature_c[:, 0] if temperature_c.shape[1] == 1 else _hottest(temperature_c)
    with np.errstate(invalid="ignore"):
        hot = hottest_c > HOT_C
        turns = np.flatnonzero(hot | (hottest_c < COLD_C))
    is_hot = hot[turns]
    heats = np.flatnonzero(is_hot[1:] & ~is_hot[:-1]) + 1
    starts = [0]
    seen_hot = bool(is_hot.size and is_hot[0])
    for heat in heats.tolist():
        if not seen_hot:
            seen_hot = True
            continue
        # the cold stretch before this heat: from the last hot reading to the first one again
        earlier = np.flatnonzero(is_hot[:heat])
        first_cold = int(turns[earlier[-1] + 1])
        begin = _border(time_s, hottest_c, first_cold, int(turns[heat]))
        if _is_firing(time_s, hot, starts[-1], begin):
            starts.append(begin)
    if len(starts) > 1 and not _is_firing(time_s, hot, starts[-1], hot.size):
        starts.pop()
    return starts


def _is_firing(time_s: FloatArray, hot: npt.NDArray[np.bool_], begin: int, end: int) -> bool:
    rows = np.flatnonzero(hot[begin:end])
    if rows.size < _LEAST_HOT:
        return False
    return bool(time_s[begin + rows[-1]] - time_s[begin + rows[0]] >= _LEAST_HOT_S)


def _hottest(temperature_c: FloatArray) -> FloatArray:
    hottest_c: FloatArray = np.fmax.reduce(temperature_c, axis=1)
    return hottest_c


def _border(time_s: FloatArray, hottest_c: FloatArray, first_cold: int, hot: int) -> int:
    """Return where the second of two firings begins: after the longest gap, or at its coldest."""
    pauses_s = np.diff(time_s[first_cold : hot + 1])
    longest = int(np.argmax(pauses_s))
    if pauses_s[longest] > 10.0 * float(np.median(pauses_s)) + 600.0:
        return first_cold + longest + 1
    stretch = hottest_c[first_cold:hot]
    coldest = float(np.nanmin(stretch))
    # the last moment of the cold: heating begins after it
    return first_cold + int(np.flatnonzero(stretch <= coldest + 1.0)[-1])


def stretches(starts: Sequence[int], total: int) -> list[tuple[int, int]]:
    """Return the stretches (first, after the last) that begin at `starts`."""
    return list(zip(starts, [*starts[1:], total], strict=True))
