"""Thin long traces for drawing without losing what they did in between."""

import numpy as np

from firing.trace import FloatArray

MOST_POINTS = 4000
"""Points a figure draws at most, over all its lines together."""


def decimate(
    time_s: FloatArray, values: FloatArray, most: int = MOST_POINTS
) -> tuple[FloatArray, FloatArray]:
    """Keep the first, lowest, highest and last sample of each bucket.

    A spike of one reading therefore still shows, and every kept point is a reading.

    Parameters
    ----------
    time_s, values : ndarray, shape (n,)
        The line; NaN marks gaps, which stay where they fill a bucket.
    most : int
        Points to keep at most, at least 4.

    Returns
    -------
    time_s, values : ndarray, shape (m,)
        ``m <= max(most, 4)`` of the samples, in order; all of them if they are few enough.
    """
    count = time_s.size
    if count <= most:
        return time_s, values
    buckets = max(most // 4, 1)
    size = -(-count // buckets)
    starts = np.arange(0, count, size)
    padded = np.full(starts.size * size, np.nan)
    padded[:count] = values
    rows = padded.reshape(starts.size, size)
    gap = np.isnan(rows)
    lowest = starts + np.argmin(np.where(gap, np.inf, rows), axis=1)
    highest = starts + np.argmax(np.where(gap, -np.inf, rows), axis=1)
    last = np.minimum(starts + size, count) - 1
    kept = np.unique(np.concatenate((starts, lowest, highest, last)))
    return time_s[kept], values[kept]
