"""How far the last readings lie off the line before them, set beside every earlier look like it.

A kiln that a relay switches, a noisy thermocouple, a line drawn through swings: each puts readings
off the line through the time before them by an amount of its own.  The same look taken at every
earlier moment shows that amount, so that nothing need be known of noise or swing.  Means over
several readings are looked at, too: a swing comes back within its period, and what is lost does
not.

Shares and distances were chosen on made firings, no source.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray
from firing.watch.recent_course import BEFORE_POINTS

SPANS_S = (60.0, 120.0, 180.0, 240.0, 480.0, 900.0)
"""Means are taken over so long, or over so many readings as the place in the row [s]."""
MOST_RARE_READINGS = 3
BEFORE_S, BEFORE_READINGS = 1200.0, 6
"""The line is drawn through so long before them, or so many readings [s, -]."""
LEAST_SPAN_SHARE = 0.6
PAST_S, PAST_LOOKS = 1800.0, 6
"""The past is known from looks over so long, and so many [s, -]."""
PAST_SHARE, PAST_MORE_C = 1.35, 2.0
"""A change counts that is so many times the largest of the past, and a little more [-, °C] …"""
PAST_ERRORS, NOISE_SHARE = 5.0, 1.9
"""… and so many times what its looks scatter, or so many times the largest [-, -] …"""
SWING_PEAK, SWING_LOOKS = 1.8, 20
"""… unless they swing: a swing's largest is less than so many times its scatter, and noise's is
more in so many looks that share no reading [-, -]."""

TURNS_S = 600.0
"""What swings about its line is on the other side within so long [s]: its autocorrelation is
negative by many errors of white noise's, each 1/√n (Bartlett 1946, doi:10.2307/2983611)."""


@dataclass(frozen=True, slots=True)
class Look:
    """A mean of the last readings beside the line before them.

    `away_c` is how far above it, `past_c` earlier looks' (n,), `due_c` what the line rises from its
    end to the mean, and `from_s`, `from_c` its end.
    """

    away_c: float
    past_c: FloatArray
    count: int
    due_c: float
    slope_c_per_s: float
    from_s: float
    from_c: float

    def allowed_c(self, sign: float) -> float:
        """Return by how much a change of a sign has to be away to be none of its habits [°C]."""
        most_c = max(float(np.max(sign * self.past_c)), 0.0)
        scatter_c = float(np.sqrt(np.mean(self.past_c**2)))
        allowed_c = PAST_SHARE * most_c + PAST_MORE_C
        looks = self.past_c.size / self.count
        if looks >= SWING_LOOKS and self.most_c < SWING_PEAK * scatter_c:
            return allowed_c
        few = 1.0 + 2.0 / looks
        return max(allowed_c, few * min(PAST_ERRORS * scatter_c, NOISE_SHARE * most_c))

    @property
    def most_c(self) -> float:
        """The furthest that any earlier look was away [°C]."""
        return float(np.max(np.abs(self.past_c)))


class LineScan:
    """All looks at a course whose readings are of one stretch of its plan.

    A line that is steeper than `most_c_per_s` goes on at that: one that catches up with its program
    slows down to the pace of that, and has lost nothing.  One that is less steep than
    `least_c_per_s` likewise: one that had waited for a kiln may go on at its program's pace.
    """

    def __init__(
        self,
        time_s: FloatArray,
        values_c: FloatArray,
        most_c_per_s: float = math.inf,
        least_c_per_s: float = -math.inf,
    ) -> None:
        self._time_s, self._most_c_per_s = time_s, most_c_per_s
        self._least_c_per_s = least_c_per_s
        self._middle_s, self._middle_c = float(np.mean(time_s)), float(np.mean(values_c))
        t, y = time_s - self._middle_s, values_c - self._middle_c
        self._sums = np.zeros((4, time_s.size + 1))
        np.cumsum(np.stack([t, y, t * t, t * y]), axis=1, out=self._sums[:, 1:])

    @cached_property
    def _interval_s(self) -> float:
        return float(np.median(np.diff(self._time_s)))

    @property
    def counts(self) -> list[int]:
        """How many readings the means are of."""
        counts = {
            max(place, round(span_s / self._interval_s))
            for place, span_s in enumerate(SPANS_S, 1)
            if place <= MOST_RARE_READINGS or span_s >= place * self._interval_s
        }
        return sorted(counts)

    @cached_property
    def turning(self) -> float:
        """How surely it swings about its line, in standard errors.

        What gets all the power there is, or none, does not.
        """
        look = self.look(self.counts[0], 1.0, -math.inf)
        if look is None:
            return 0.0
        away_c = look.past_c - np.mean(look.past_c)
        power = max(float(away_c @ away_c), 1e-9)
        lags = range(1, min(round(TURNS_S / self._interval_s), away_c.size // 2) + 1)
        least = min((float(away_c[lag:] @ away_c[:-lag]) for lag in lags), default=0.0)
        return -least / power * math.sqrt(away_c.size / look.count)  # means over some readings

    def look(self, count: int, sign: float, least_c: float) -> Look | None:
        """Return the mean of the last readings beside the line before them.

        None where it is away by less than `least_c` on the side of a sign, or little is known.
        """
        size = self._time_s.size
        before_s = max(BEFORE_S, BEFORE_READINGS * self._interval_s)
        if size < count + BEFORE_POINTS or self._time_s[-1] - self._time_s[0] < before_s:
            return None
        now = self._at(np.array([size - count]), count, before_s)
        if not now[0].size or sign * now[0][0] < least_c:
            return None
        firsts = np.arange(BEFORE_POINTS, size - 2 * count + 1)
        past_c, *_, past_s = self._at(firsts, count, before_s)
        if past_c.size < PAST_LOOKS or past_s[-1] - past_s[0] < PAST_S:
            return None
        away_c, due_c, slope, from_c, from_s = (float(one[0]) for one in now)
        return Look(away_c, past_c, count, due_c, slope, from_s, from_c)

    def _at(
        self, firsts: npt.NDArray[np.int64], count: int, before_s: float
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return the looks whose means begin at some readings, where there is line enough."""
        time_s = self._time_s
        lows = np.searchsorted(time_s, time_s[firsts] - before_s)
        span_s = time_s[firsts - 1] - time_s[lows]
        known = (firsts - lows >= BEFORE_POINTS) & (span_s >= LEAST_SPAN_SHARE * before_s)
        firsts, lows = firsts[known], lows[known]
        n = firsts - lows
        t, y, tt, ty = self._sums[:, firsts] - self._sums[:, lows]
        slope = (n * ty - t * y) / np.maximum(n * tt - t * t, 1e-9)
        last_s = time_s[firsts - 1]
        from_c = y / n + slope * (last_s - self._middle_s - t / n)
        mean_s, mean_c, *_ = (self._sums[:2, firsts + count] - self._sums[:2, firsts]) / count
        pace = np.clip(slope, self._least_c_per_s, self._most_c_per_s)
        due_c = pace * (mean_s + self._middle_s - last_s)
        return mean_c - from_c - due_c, due_c, slope, from_c + self._middle_c, last_s
