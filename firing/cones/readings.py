"""What heat-work accepts as a temperature trace."""

import numpy as np

from firing.cones.kinetics import FloatArray
from firing.errors import FiringError

_READINGS_C = (-100.0, 3000.0)


def readings(time_s: FloatArray, temperature_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Check a trace and bridge its gaps.

    Parameters
    ----------
    time_s, temperature_c : ndarray, shape (n,)
        Times [s], increasing, and temperatures [°C]; NaN where there is no reading.

    Returns
    -------
    tuple of ndarray, shape (m,)
        From the first to the last reading, NaN replaced by the straight line between neighbours.

    Raises
    ------
    FiringError
        If there are fewer than two readings, or one that is no temperature of a kiln.
    """
    time_s = np.ascontiguousarray(time_s, dtype=np.float64)
    temperature_c = np.ascontiguousarray(temperature_c, dtype=np.float64)
    if time_s.ndim != 1 or time_s.shape != temperature_c.shape:
        raise FiringError(
            f"heat-work needs one temperature for each time, not {temperature_c.shape} for "
            f"{time_s.shape}"
        )
    with np.errstate(all="ignore"):
        finite = bool(np.isfinite(temperature_c @ temperature_c))
    if not finite:
        known = np.flatnonzero(~np.isnan(temperature_c))
        if known.size:
            inside = slice(known[0], known[-1] + 1)
            bridged = np.interp(time_s[inside], time_s[known], temperature_c[known])
            time_s, temperature_c = time_s[inside], bridged
        else:
            time_s, temperature_c = time_s[:0], temperature_c[:0]
    if time_s.size < 2:
        raise FiringError(
            f"heat-work needs at least 2 temperature readings over time, and there "
            f"{'is 1' if time_s.size else 'are none'}"
        )
    for extreme in (float(temperature_c.max()), float(temperature_c.min())):
        if not _READINGS_C[0] <= extreme <= _READINGS_C[1]:
            raise FiringError(
                f"{extreme:g} °C is no temperature of a kiln; heat-work is computed from "
                f"{_READINGS_C[0]:g} to {_READINGS_C[1]:g} °C, so mark other readings as missing"
            )
    return time_s, temperature_c
