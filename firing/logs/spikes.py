"""Lone spikes, and how far noise alone takes neighbouring readings apart."""

import math

import numpy as np
import numpy.typing as npt

from firing.logs.marks import LEAST_JUMP_C
from firing.trace import FloatArray

_SPIKE_STEPS = 4.0  # times the steps before and after it


def noise_margin_c(values: FloatArray) -> float:
    """Return by how much neighbouring readings may differ for noise alone [°C], 10 at least."""
    stride = max(1, values.size // 4000)
    starts = np.arange(0, values.size - 2, stride)
    bend = np.abs(values[starts] - 2.0 * values[starts + 1] + values[starts + 2])
    # six standard deviations of a difference, from the median bend of straight stretches
    return max(LEAST_JUMP_C, 6.0 * 1.4826 * float(np.median(bend)) * math.sqrt(2.0 / 3.0))


def lone_spikes(values: FloatArray, steps_c: FloatArray) -> npt.NDArray[np.intp]:
    """Return the single readings that stand out from those around them and are left at once.

    Where a log is coarse, a kiln may rightly go far between two readings, so a spike is measured
    by the steps before and after it.
    """
    far = np.flatnonzero(np.abs(steps_c[:-1]) > LEAST_JUMP_C)
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
