"""The kiln's last hour or two, reading by reading: how it moves within minutes, and how surely."""

import math
from collections import deque

import numpy as np

from firing.trace import FloatArray

BIN_S = 10.0
"""Readings that come faster are averaged over so long [s]."""
KNOWN_POINTS = 8
"""So many points are needed for their noise [-]."""
UNKNOWN_NOISE_C = 3.0
LEAST_NOISE_C = 0.2
MEAN_S = 120.0
MAD_TO_SIGMA = 1.4826


class RecentReadings:
    """A window of points that ends now; the last `KNOWN_POINTS` + 4 are kept however old."""

    def __init__(self, keep_s: float) -> None:
        self._keep_s = keep_s
        self._time_s: deque[float] = deque()
        self._celsius: deque[float] = deque()
        self._count = 0
        self._bin = -1
        # Many ask for them between two readings.
        self._interval_s: float | None = None
        self._noise_c: float | None = None

    def add(self, time_s: float, value_c: float) -> bool:
        """Take a reading in, and return whether it begins a point; times never go back."""
        self._interval_s = self._noise_c = None
        number = int(time_s // BIN_S)
        if number == self._bin and self._time_s:
            self._count += 1
            self._time_s[-1] += (time_s - self._time_s[-1]) / self._count
            self._celsius[-1] += (value_c - self._celsius[-1]) / self._count
            return False
        self._bin, self._count = number, 1
        self._time_s.append(time_s)
        self._celsius.append(value_c)
        while len(self._time_s) > KNOWN_POINTS + 4 and time_s - self._time_s[0] > self._keep_s:
            self._time_s.popleft()
            self._celsius.popleft()
        return True

    def points(self) -> tuple[FloatArray, FloatArray]:
        """Return times [s] and temperatures [°C], both shape (n,)."""
        return np.array(self._time_s), np.array(self._celsius)

    def oldest_c(self) -> float:
        """Return the oldest temperature [°C]; NaN if there is none."""
        return self._celsius[0] if self._celsius else math.nan

    def interval_s(self) -> float:
        """Return the usual time between two points [s]; NaN if there are none."""
        if self._interval_s is None:
            steps_s = np.diff(np.array(self._time_s))
            self._interval_s = float(np.median(steps_s)) if steps_s.size else math.nan
        return self._interval_s

    def noise_c(self) -> float:
        """Return the scatter of a point (robust standard deviation) [°C]."""
        if len(self._celsius) < KNOWN_POINTS:
            return UNKNOWN_NOISE_C
        if self._noise_c is None:
            # A ramp has no second difference; that of noise is √6 of it.
            bends = np.abs(np.diff(np.array(self._celsius), 2))
            sigma = MAD_TO_SIGMA * float(np.median(bends)) / math.sqrt(6.0)
            self._noise_c = max(sigma * (1.0 + 4.0 / bends.size), LEAST_NOISE_C)
        return self._noise_c

    def fell(self, window_s: float, least_c: float, noises: float, unknown_c: float) -> bool:
        """Tell whether it fell within a window, more surely than noise would have it.

        The fall is `least_c` at least and so many standard errors (`noises`); `unknown_c` counts as
        long as the noise is not known, if it fell from reading to reading.
        """
        time_s, celsius = self.points()
        if time_s.size < 3:
            return False
        age_s = time_s[-1] - time_s
        inside = (age_s <= window_s) | (np.arange(time_s.size)[::-1] < 3)
        time_s, celsius = time_s[inside], celsius[inside]
        if len(self._time_s) < KNOWN_POINTS:
            falls = np.diff(celsius[-3:]) < 0.0
            return bool(np.all(falls)) and float(celsius[-3] - celsius[-1]) > unknown_c
        number = ((time_s[-1] - time_s) // MEAN_S).astype(np.int64)
        count = np.bincount(number)
        means = np.bincount(number, weights=celsius)[count > 0] / count[count > 0]
        fewest = int(np.min(count[count > 0]))
        enough = max(least_c, noises * self.noise_c() * math.sqrt(2.0 / fewest))
        return float(np.max(means) - means[0]) > enough
