"""One channel on an even time grid: what alignment and the account look at."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from firing.errors import FiringError
from firing.review import thresholds as limit
from firing.trace import FloatArray, median
from firing.units import SECONDS_PER_HOUR


@dataclass(frozen=True, eq=False)
class ResampledTrace:
    """A channel sampled every `step_s` seconds from `time_s[0]`.

    Attributes
    ----------
    time_s, temperature_c : ndarray, shape (n,)
        Grid times of the log's own clock [s] and temperatures freed of lone spikes [°C].
    rate_c_per_h : ndarray, shape (n,)
        Slope of the straight line through the five minutes on either side [°C/h].
    noise_c : float
        Scatter about that line (robust standard deviation) [°C].
    duty : ndarray, shape (n,), optional
        Share of full power switched on, 0 to 1, where the log tells it.
    behind : ndarray of bool, shape (n,), optional
        Where the logged set-point stood well above the reading, so that a controller gave all it
        had; None without a set-point.
    """

    time_s: FloatArray
    temperature_c: FloatArray
    rate_c_per_h: FloatArray
    noise_c: float
    step_s: float
    duty: FloatArray | None = None
    behind: npt.NDArray[np.bool_] | None = None

    @property
    def rate_error_c_per_h(self) -> float:
        """What scatter leaves in a slope (standard error of a line through even points) [°C/h]."""
        points = 2.0 * max(1, round(limit.SLOPE_HALF_WINDOW_S / self.step_s)) + 1.0
        per_step = self.noise_c * math.sqrt(12.0 / points**3)
        return per_step / self.step_s * SECONDS_PER_HOUR

    def index(self, moment_s: float) -> int:
        """Return the number of the grid point nearest to a moment of the log's clock."""
        position = round((moment_s - float(self.time_s[0])) / self.step_s)
        return int(min(max(position, 0), self.time_s.size - 1))

    def at(self, moment_s: float) -> float:
        """Return the temperature [°C] at a moment of the log's clock."""
        return float(np.interp(moment_s, self.time_s, self.temperature_c))


def resampled(
    time_s: FloatArray,
    temperature_c: FloatArray,
    duty: FloatArray | None = None,
    set_point_c: FloatArray | None = None,
) -> ResampledTrace:
    """Put one channel on an even grid: medians against spikes, means within a step, lines in gaps.

    The log has NaN where there is no reading, duty or set-point.
    """
    log_s = time_s
    usable = np.isfinite(temperature_c)
    time_s, temperature_c = time_s[usable], temperature_c[usable]
    if time_s.size < 2:
        raise FiringError(
            f"this channel has {'no' if time_s.size == 0 else 'one'} usable reading; a firing "
            "needs two"
        )
    if time_s.size >= 5:
        temperature_c = _without_spikes(temperature_c)
    step_s = max(limit.GRID_S, median(np.diff(time_s)))
    grid = np.arange(time_s[0], time_s[-1] + 0.5 * step_s, step_s)
    if grid.size < 2:
        grid = np.array([time_s[0], time_s[0] + step_s])
    number = np.floor((time_s - grid[0]) / step_s + 0.5).astype(np.int64)
    number = np.minimum(number, grid.size - 1)
    count = np.bincount(number, minlength=grid.size)
    filled = np.flatnonzero(count)
    mean_t = np.bincount(number, weights=time_s, minlength=grid.size)[filled] / count[filled]
    mean_c = np.bincount(number, weights=temperature_c, minlength=grid.size)[filled] / count[filled]
    even_c = np.interp(grid, mean_t, mean_c)
    rate, noise_c = _slopes(even_c, step_s)
    return ResampledTrace(
        grid,
        even_c,
        rate,
        noise_c,
        step_s,
        _even_duty(grid, step_s, log_s, duty),
        _behind(grid, even_c, log_s, set_point_c),
    )


def moving_mean(values: FloatArray, half: int) -> FloatArray:
    """Return the mean over `half` samples on either side, over fewer near the ends."""
    here = np.arange(values.size)
    reach = np.minimum(np.minimum(here, here[::-1]), half)
    total = np.concatenate(([0.0], np.cumsum(values)))
    mean: FloatArray = (total[here + reach + 1] - total[here - reach]) / (2 * reach + 1)
    return mean


def _behind(
    grid: FloatArray, even_c: FloatArray, time_s: FloatArray, set_point_c: FloatArray | None
) -> npt.NDArray[np.bool_] | None:
    if set_point_c is None or np.count_nonzero(np.isfinite(set_point_c)) < 2:
        return None
    told = np.isfinite(set_point_c)
    set_c = np.interp(grid, time_s[told], set_point_c[told], left=-np.inf, right=-np.inf)
    return np.asarray(set_c - even_c > limit.BEHIND_SET_POINT_C)


def _even_duty(
    grid: FloatArray, step_s: float, time_s: FloatArray, duty: FloatArray | None
) -> FloatArray | None:
    if duty is None:
        return None
    told = np.isfinite(duty)
    number = np.floor((time_s[told] - grid[0]) / step_s + 0.5).astype(np.int64)
    inside = (number >= 0) & (number < grid.size)
    number, values = number[inside], duty[told][inside]
    count = np.bincount(number, minlength=grid.size)
    if not count.any():
        return None
    filled = np.flatnonzero(count)
    mean = np.bincount(number, weights=values, minlength=grid.size)[filled] / count[filled]
    even: FloatArray = np.interp(grid, grid[filled], mean)
    return even


def _without_spikes(temperature_c: FloatArray) -> FloatArray:
    # Medians are dear and spikes rare: only where a reading jumps is one looked for.
    jumps = np.flatnonzero(np.abs(np.diff(temperature_c)) > limit.SPIKE_C)
    if jumps.size == 0:
        return temperature_c
    suspects = np.unique(np.concatenate((jumps, jumps + 1)))
    around = np.clip(suspects[:, np.newaxis] + np.arange(-2, 3), 0, temperature_c.size - 1)
    median_c = np.sort(temperature_c[around], axis=1)[:, 2]
    lone = np.abs(temperature_c[suspects] - median_c) > limit.SPIKE_C
    cleaned = temperature_c.copy()
    cleaned[suspects[lone]] = median_c[lone]
    return cleaned


def _slopes(temperature_c: FloatArray, step_s: float) -> tuple[FloatArray, float]:
    half = max(1, round(limit.SLOPE_HALF_WINDOW_S / step_s))
    if temperature_c.size < 2 * half + 1:
        rate = np.gradient(temperature_c, step_s) * SECONDS_PER_HOUR
        return rate, 0.0
    offsets = np.arange(-half, half + 1, dtype=np.float64)
    # Beyond the ends the line through the outermost window goes on, so edges are not flattened.
    windows = sliding_window_view(temperature_c, 2 * half + 1)
    slope = windows @ offsets / float(offsets @ offsets)
    residual = windows[:, half] - windows.mean(axis=1)
    noise_c = 1.4826 * median(np.abs(residual - median(residual)))
    rate = np.concatenate((np.full(half, slope[0]), slope, np.full(half, slope[-1])))
    return rate / step_s * SECONDS_PER_HOUR, noise_c
