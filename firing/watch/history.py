"""What the kiln has done so far, kept small: means on a grid, and the last hour or two by readings.

All moments of a running firing lie on whole milliseconds.  Sums and stretches of seconds as floats
differ in their last digits, so that two moments which are one may come out a millionth of a
millionth apart, in either order.  As whole numbers they are equal or apart by a millisecond, which
a sum of seconds keeps over any firing.
"""

import math
from array import array
from collections import deque

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR

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


BIN_S = 10.0
"""Readings that come faster are averaged over so long [s]."""
KNOWN_POINTS = 8
"""So many points are needed for their noise [-]."""
UNKNOWN_NOISE_C, UNKNOWN_ERRORS, FEW_POINTS = 3.0, 3.8, 11
"""As long as it is not known it is taken for large; a line through a few readings is believed at so
many of its standard errors [°C, -, -]."""
LEAST_NOISE_C = 0.2
MEAN_S = 120.0
MAD_TO_SIGMA = 1.4826


class RecentReadings:
    """How the kiln moves within minutes, and how surely: a window of points that ends now.

    The last `KNOWN_POINTS` + 4 are kept however old.
    """

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
        long as the noise is not known, if it fell from reading to reading or the last two do.
        """
        time_s, celsius = self.points()
        if time_s.size < 3:
            return False
        known = time_s.size >= KNOWN_POINTS
        sigma_c = self.noise_c()
        if known:  # few bends tell it badly; the last points may have begun to fall
            unsure = 1.0 + KNOWN_POINTS / time_s.size
            sigma_c = max(sigma_c, unsure * _scatter_c(time_s[:-3], celsius[:-3]))
        age_s = time_s[-1] - time_s
        inside = (age_s <= window_s) | (np.arange(time_s.size)[::-1] < 3)
        time_s, celsius = time_s[inside], celsius[inside]
        # A line through all of it tells of a fall sooner than its ends do.
        about_s, span_s = time_s - np.mean(time_s), float(time_s[-1] - time_s[0])
        spread = float(about_s @ about_s)
        errors, line_sigma_c = noises, sigma_c
        if time_s.size < FEW_POINTS:
            errors, line_sigma_c = UNKNOWN_ERRORS, max(sigma_c, UNKNOWN_NOISE_C)
        error_c = line_sigma_c * span_s / math.sqrt(spread)
        if -float(about_s @ celsius) / spread * span_s > max(least_c, errors * error_c):
            return True
        if not known:
            falls = bool(np.all(np.diff(celsius[-3:]) < 0.0))
            # A relay's kiln climbs in steps, and falls in them where its leads are reversed.
            two_c = float(np.max(celsius) - np.mean(celsius[-2:]))
            return (falls and float(celsius[-3] - celsius[-1]) > unknown_c) or two_c > unknown_c
        number = ((time_s[-1] - time_s) // MEAN_S).astype(np.int64)
        count = np.bincount(number)
        means = np.bincount(number, weights=celsius)[count > 0] / count[count > 0]
        fewest = int(np.min(count[count > 0]))
        enough = max(least_c, noises * sigma_c * math.sqrt(2.0 / fewest))
        return float(np.max(means) - means[0]) > enough


def _scatter_c(time_s: FloatArray, celsius: FloatArray) -> float:
    """Return how far points scatter about a line through them [°C]."""
    about_s = time_s - np.mean(time_s)
    slope = float(about_s @ celsius) / float(about_s @ about_s)
    left_c = celsius - np.mean(celsius) - slope * about_s
    return math.sqrt(float(left_c @ left_c) / max(time_s.size - 2, 1))
