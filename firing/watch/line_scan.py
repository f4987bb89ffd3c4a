"""How far the last readings lie off the line before them, set beside every earlier look like it.

A kiln that a relay switches, a noisy thermocouple, a line drawn through swings: each puts readings
off the line through the time before them by an amount of its own.  The same look taken at every
earlier moment shows that amount, so that nothing need be known of noise or swing.  Means over
several readings are looked at, too: a swing comes back within its period, and what is lost does
not.  Between the line and the mean a gap is left, too: what goes bit by bit bends the line that
ends beside it.

Shares and distances were chosen on made firings, no source.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray
from firing.watch.history import MAD_TO_SIGMA
from firing.watch.recent_course import BEFORE_POINTS

SPANS_S = (60.0, 120.0, 180.0, 240.0, 480.0, 900.0)
"""Means are taken over so long, or over so many readings as the place in the row [s]."""
MOST_RARE_READINGS = 3
GAPS_S = (0.0, 120.0, 240.0, 420.0)
"""So long is left between the line and the mean [s]."""
BEFORE_S, BEFORE_READINGS = 1200.0, 6
"""The line is drawn through so long before them, or so many readings [s, -]."""
LEAST_SPAN_SHARE = 0.6
KEEPS_PACE_ERRORS = 2.0
"""A line whose pace is the plan's to within so many standard errors is drawn at that [-]."""
PAST_S, PAST_LOOKS = 1800.0, 8
"""The past is known from looks over so long, and so many that share no reading [s, -]."""
PAST_SHARE, PAST_MORE_C = 1.3, 1.5
"""A change counts that is so many times the largest of the past, and a little more [-, °C] …"""
BRIEF_SHARE = 1.25
"""… and so many times the largest of a third as many readings: a mean over whole swings hides them,
but for one that is longer or shorter [-] …"""
PAST_ERRORS, NOISE_SHARE = 4.5, 1.9
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

    `away_c` is how far above it, `past_c` earlier looks' (n,), `brief_c` those of a third as many
    readings, `due_c` what the line rises from its end to the mean, and `from_s`, `from_c` its end.
    `error_c` is what noise alone puts between line and mean (standard error).
    """

    away_c: float
    past_c: FloatArray
    brief_c: FloatArray
    count: int
    due_c: float
    slope_c_per_s: float
    from_s: float
    from_c: float
    error_c: float

    def allowed_c(self, sign: float) -> float:
        """Return by how much a change of a sign has to be away to be none of its habits [°C]."""
        most_c = max(float(np.max(sign * self.past_c)), 0.0)
        scatter_c = float(np.sqrt(np.mean(self.past_c**2)))
        looks = self.past_c.size / self.count
        few = 1.0 + 2.0 / looks  # tell the largest badly
        brief_c = max(float(np.max(sign * self.brief_c)), 0.0)
        allowed_c = few * max(PAST_SHARE * most_c + PAST_MORE_C, BRIEF_SHARE * brief_c)
        # A few looks tell badly what all the readings' noise tells well, but for a swing that
        # readings minutes apart take for it.
        error_c = min(self.error_c, scatter_c * (1.0 + math.sqrt(2.0 / looks)))
        error_c = error_c if self.count > 1 else 0.0
        allowed_c = max(allowed_c, PAST_ERRORS * error_c)
        if looks >= SWING_LOOKS and self.most_c < SWING_PEAK * scatter_c:
            return allowed_c
        return max(allowed_c, few * min(PAST_ERRORS * scatter_c, NOISE_SHARE * self.most_c))

    @property
    def most_c(self) -> float:
        """The furthest that any earlier look was away [°C]."""
        return float(np.max(np.abs(self.past_c)))


TEETH_SHARE = 0.5
"""What varies by less than this share of the least step of a reading is its last digit."""


class LineScan:
    """All looks at a course whose readings are of one stretch of its plan.

    A line that is steeper than `pace_c_per_s` goes on at that: one that catches up with its program
    slows down to the pace of that, and has lost nothing.  For `gains` one that is less steep does:
    its program may have waited.  `earlier` looked at the stretch before; what came after
    `past_until_s` is no past.
    """

    def __init__(
        self,
        time_s: FloatArray,
        values_c: FloatArray,
        pace_c_per_s: float = math.inf,
        earlier: "LineScan | None" = None,
        past_until_s: float = math.inf,
        *,
        gains: bool = False,
    ) -> None:
        self._goes_on = np.maximum if gains else np.minimum
        self._time_s, self._pace_c_per_s, self._earlier = time_s, pace_c_per_s, earlier
        self._past_until = int(np.searchsorted(time_s, past_until_s))
        self._values_c = values_c
        self._middle_s = self._middle_c = 0.0
        self._sums = np.zeros((5, time_s.size + 1))
        if time_s.size:
            self._middle_s, self._middle_c = float(np.mean(time_s)), float(np.mean(values_c))
            t, y = time_s - self._middle_s, values_c - self._middle_c
            np.cumsum(np.stack([t, y, t * t, t * y, y * y]), axis=1, out=self._sums[:, 1:])

    @cached_property
    def _interval_s(self) -> float:
        return float(np.median(np.diff(self._time_s)))

    @cached_property
    def _noise_c(self) -> float:
        """The readings' noise, or less; a swing leaves little in a fourth difference [°C]."""
        bends = np.abs(np.diff(self._values_c, 4))
        return MAD_TO_SIGMA * float(np.median(bends)) / math.sqrt(70.0) if bends.size else 0.0

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
        if self._time_s.size <= BEFORE_POINTS:
            return 0.0
        count = self.counts[0]
        before_s = max(BEFORE_S, BEFORE_READINGS * self._interval_s)
        _, away_c = self._past(count, 0.0, before_s, self._time_s.size)
        if away_c.size < PAST_LOOKS:
            return 0.0
        away_c = away_c - np.mean(away_c)
        # Whole degrees of a slow climb are a saw's teeth, of 0.3 of a digit.
        steps_c = np.abs(np.diff(self._values_c))
        digit_c = float(np.min(steps_c, where=steps_c > 0.0, initial=math.inf))
        if float(np.std(away_c)) < TEETH_SHARE * digit_c:
            return 0.0
        lags = range(1, min(round(TURNS_S / self._interval_s), away_c.size // 2) + 1)
        least = min((float(away_c[lag:] @ away_c[:-lag]) for lag in lags), default=0.0)
        power = max(float(away_c @ away_c), 1e-9)
        return -least / power * math.sqrt(away_c.size / count)  # means over some readings

    def looks(
        self,
        sign: float,
        least_c: float,
        most_c: float = math.inf,
        gaps_s: tuple[float, ...] = (0.0,),
    ) -> Iterator[Look]:
        """Yield the means of the last readings that are away from the line before them.

        By `least_c` at the least, on the side of a sign; more than `most_c` is never due.
        """
        last = self._time_s.size - 1
        if last < BEFORE_POINTS:
            return
        pairs = [
            (count, gap_s)
            for gap_s in gaps_s
            if gap_s == 0.0 or gap_s >= self._interval_s
            for count in self.counts
            if count < last
        ]
        counts, all_gaps_s = np.array(pairs).T.reshape(2, -1)
        before_s = max(BEFORE_S, BEFORE_READINGS * self._interval_s)
        now = self._at(np.full(counts.size, last), counts.astype(np.int64), all_gaps_s, before_s)
        over_c = np.maximum(now.from_c + now.due_c - most_c, 0.0)
        away_c = now.away_c + over_c
        for k in np.flatnonzero(sign * away_c >= least_c).tolist():
            count, gap_s = pairs[now.place[k]]
            past_s, past_c = self._past(count, gap_s, before_s, int(now.stop[k]))
            if past_c.size < PAST_LOOKS * count or past_s[-1] - past_s[0] < PAST_S:
                continue
            _, brief_c = self._past(max(count // 3, 1), gap_s, before_s, int(now.stop[k]))
            due_c = max(float(now.due_c[k] - over_c[k]), 0.0)
            from_s = float(self._time_s[now.stop[k] - 1])
            slope, from_c = float(now.slope_c_per_s[k]), float(now.from_c[k])
            error_c = self._noise_c * float(now.error_share[k])
            yield Look(
                float(away_c[k]),
                past_c,
                brief_c,
                count,
                due_c,
                slope,
                from_s,
                from_c,
                error_c,
            )

    def _past(
        self, count: int, gap_s: float, before_s: float, stop: int
    ) -> tuple[FloatArray, FloatArray]:
        """Return when the same look was taken before a place in the row, how far off [s, °C]."""
        ends = np.arange(count, min(stop, self._past_until))
        past = self._at(ends, np.full(ends.size, count), np.full(ends.size, gap_s), before_s)
        past_s, past_c = self._time_s[ends[past.place]], past.away_c
        if self._earlier is None:
            return past_s, past_c
        earlier_s, earlier_c = self._earlier._past(
            count, gap_s, before_s, self._earlier._time_s.size
        )
        return np.concatenate([earlier_s, past_s]), np.concatenate([earlier_c, past_c])

    def _at(
        self,
        ends: npt.NDArray[np.int64],
        counts: npt.NDArray[np.int64],
        gaps_s: FloatArray,
        before_s: float,
    ) -> "_Looks":
        """Return the looks whose means end with some readings, where there is line enough."""
        time_s, place = self._time_s, np.arange(ends.size)
        firsts = ends - counts + 1
        stops = np.searchsorted(time_s, time_s[firsts] - gaps_s)
        lows = np.searchsorted(time_s, time_s[np.minimum(stops, time_s.size - 1)] - before_s)
        span_s = time_s[stops - 1] - time_s[lows]
        known = (stops - lows >= BEFORE_POINTS) & (span_s >= LEAST_SPAN_SHARE * before_s)
        place, ends, counts = place[known], ends[known], counts[known]
        firsts, stops, lows = firsts[known], stops[known], lows[known]
        n = stops - lows
        t, y, tt, ty, yy = self._sums[:, stops] - self._sums[:, lows]
        spread = np.maximum(tt - t * t / n, 1e-9)
        slope = (ty - t * y / n) / spread
        scatter = np.maximum(yy - y * y / n - slope * slope * spread, 0.0) / np.maximum(n - 2, 1)
        keeps = np.abs(slope - self._pace_c_per_s) < KEEPS_PACE_ERRORS * np.sqrt(scatter / spread)
        slope = np.where(keeps, self._pace_c_per_s, slope)
        last_s = time_s[stops - 1]
        from_c = y / n + slope * (last_s - self._middle_s - t / n)
        mean_s, mean_c = (self._sums[:2, ends + 1] - self._sums[:2, firsts]) / counts
        due_c = self._goes_on(slope, self._pace_c_per_s) * (mean_s + self._middle_s - last_s)
        # What is drawn at the plan's pace has that only to within the errors of its own.
        away_s = mean_s - t / n
        share = np.sqrt(1.0 / counts + 1.0 / n + away_s * away_s / spread)
        away_c = mean_c - from_c - due_c
        return _Looks(place, away_c, due_c, slope, from_c + self._middle_c, stops, share)


class _Looks(NamedTuple):
    """Several looks: which of those asked for, and where in the row their lines stop, (n,).

    `error_share` is what a reading's noise of one puts between line and mean.
    """

    place: npt.NDArray[np.int64]
    away_c: FloatArray
    due_c: FloatArray
    slope_c_per_s: FloatArray
    from_c: FloatArray
    stop: npt.NDArray[np.int64]
    error_share: FloatArray
