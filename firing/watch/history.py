"""What the kiln has done so far, kept small: means on a grid, however fast readings come in."""

import math
from array import array
from collections import deque

import numpy as np

from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.watch.time_grid import TICKS_PER_S, floor_tick_s

GRID_S = 30.0
"""A cone's heat-work from means over half a minute is good to 1e-4 at 300 °C/h."""
RATE_WINDOW_S = 600.0
WIDEST_WINDOW_S = 1800.0
"""The rate is taken over the shorter window, or over one up to the wider if readings are rare."""
LEAST_POINTS = 5
SMOOTH_S = 15.0
SMOOTH_READINGS = 15


class History:
    """The kiln channel of a running firing."""

    def __init__(self) -> None:
        self._time_s = array("d")
        self._temperature_c = array("d")
        self._duty = array("d")
        self._number: int | None = None
        self._sum_s = self._sum_c = 0.0
        self._count = 0
        self._sum_duty, self._duties = 0.0, 0
        self._recent: deque[tuple[float, float]] = deque(maxlen=SMOOTH_READINGS)
        self.highest_c = -np.inf

    def add(self, time_s: float, temperature_c: float, duty: float = math.nan) -> None:
        """Take a usable reading in; one from before the last counts as of the last's moment.

        The duty is NaN where it is not known.
        """
        # A recording that somebody joined by hand may turn back; the course may not.
        if self._recent:
            time_s = max(time_s, self._recent[-1][0])
        number = int(time_s // GRID_S)
        if number != self._number:
            self._close_bin()
            self._number = number
        self._sum_s += time_s
        self._sum_c += temperature_c
        self._count += 1
        if duty == duty:
            self._sum_duty += duty
            self._duties += 1
        self._recent.append((time_s, temperature_c))

    def _close_bin(self) -> None:
        if self._count:
            mean_c = self._sum_c / self._count
            self._time_s.append(self._mean_s())
            self._temperature_c.append(mean_c)
            self._duty.append(self._mean_duty())
            self.highest_c = max(self.highest_c, mean_c)
        self._sum_s = self._sum_c = self._sum_duty = 0.0
        self._count = self._duties = 0

    def _mean_s(self) -> float:
        # Inside its own bin whatever the rounding, and so apart from the mean of any other.
        assert self._number is not None
        begin_s = self._number * GRID_S
        mean_s = floor_tick_s(self._sum_s / self._count)
        return min(max(mean_s, begin_s), begin_s + GRID_S - 1.0 / TICKS_PER_S)

    def _mean_duty(self) -> float:
        return self._sum_duty / self._duties if self._duties else math.nan

    @property
    def points(self) -> int:
        """How many points `trace` has."""
        return len(self._time_s) + (self._count > 0)

    @property
    def last_s(self) -> float | None:
        """When the last reading was taken in [s]."""
        return self._recent[-1][0] if self._recent else None

    def now_c(self) -> float:
        """Return the median of the last seconds' readings [°C]; NaN if there is none."""
        if not self._recent:
            return float("nan")
        since_s = self._recent[-1][0] - SMOOTH_S
        latest = sorted(value for moment, value in self._recent if moment >= since_s)
        return latest[len(latest) // 2]

    def trace(self) -> tuple[FloatArray, FloatArray]:
        """Return times [s] and temperatures [°C] so far, both shape (n,)."""
        time_s, temperature_c = np.array(self._time_s), np.array(self._temperature_c)
        if self._count:
            time_s = np.append(time_s, self._mean_s())
            temperature_c = np.append(temperature_c, self._sum_c / self._count)
        return time_s, temperature_c

    def duty(self) -> FloatArray:
        """Return the share of full power at the points of `trace`, (n,); NaN where not known."""
        duty = np.array(self._duty)
        return np.append(duty, self._mean_duty()) if self._count else duty

    def rate_c_per_h(self) -> float | None:
        """Return how fast the temperature moves [°C/h]; None if too little is known.

        The median of the slopes between all pairs of points (Theil 1950, Sen 1968,
        doi:10.1080/01621459.1968.10480934): a third of them may be wrong.
        """
        # No more points than a window can hold are copied, however long the firing is.
        most = int(WIDEST_WINDOW_S / GRID_S) + 2
        time_s, temperature_c = (
            np.array(self._time_s[-most:]),
            np.array(self._temperature_c[-most:]),
        )
        if self._count:
            time_s = np.append(time_s, self._mean_s())
            temperature_c = np.append(temperature_c, self._sum_c / self._count)
        if time_s.size < 3:
            return None
        age_s = time_s[-1] - time_s
        inside = age_s <= RATE_WINDOW_S
        if np.count_nonzero(inside) < LEAST_POINTS:
            inside = (age_s <= WIDEST_WINDOW_S) & (np.arange(time_s.size)[::-1] < LEAST_POINTS)
        time_s, temperature_c = time_s[inside], temperature_c[inside]
        if time_s.size < 3:
            return None
        first, second = np.triu_indices(time_s.size, 1)
        slopes = (temperature_c[second] - temperature_c[first]) / (time_s[second] - time_s[first])
        return float(np.median(slopes)) * SECONDS_PER_HOUR
