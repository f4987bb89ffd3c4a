"""The course of the last hours as it stands: how hot it is, how high it was, and how surely.

A relay makes a kiln swing, noise hides what it does, and readings minutes apart take the one for
the other: what is believed here is beyond all three.

Patience and distances are common practice, no source.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray
from firing.watch.history import LEAST_NOISE_C, MAD_TO_SIGMA

NOW_S = 60.0
"""The temperature now is the mean over so long [s]."""
HIGH_S = 900.0
FALL_C = 6.0
"""A controller settles by less than this after a corner [°C]."""
LEVEL_C, LEVEL_ERRORS = 2.0, 3.0
"""Within so much, and so many standard errors, of its highest it has not begun to fall [°C, -]."""
SWING_S, SWING_POINTS = 3600.0, 5
SWING_READINGS, NOISE_RANGE = 24, 4.5
"""Of readings minutes apart an hour holds too few to tell a swing by; so many range over so many
times their noise [-, -]."""
SWING_SHARE, SWING_MORE_C, SWING_ERRORS = 1.5, 1.5, 2.5
"""A relay that switches a kiln on and off makes it swing: a fall counts that is so many times the
deepest of the hour before, and a little more, and what noise adds [s, -, -, °C, -]."""
NOISE_SWING, PACE_NOISE_SWING = 3.0, 2.0
"""Noise alone swings by so many times itself from lowest to highest; of a pace's swing less is put
down to it, as readings minutes apart take a relay's for noise [-, -]."""
HABIT_S, HABIT_SHARE, HABIT_MORE_C = 2400.0, 1.5, 2.5
"""Where the same look was taken at earlier moments over so long, a change counts that is so many
times the largest it ever saw, and a little more [s, -, °C]."""
SIGNIFICANT_ERRORS, RARELY_SIGNIFICANT = 5.0, 4.3
"""A change is believed at so many standard errors; of readings minutes apart, which are fewer to
mislead, at the second."""
SINKS = ((300.0, 2.5), (600.0, 2.0), (1200.0, 2.0), (1800.0, 2.0))
"""A hold's level is left by so much in the mean over so long [s, °C] …"""
SINK_BLOCKS, SINK_ERRORS = 5, 5.0
"""… and by so many times what the means before it scatter, of which there are some [-]."""
FLOORS = ((60.0, 1), (120.0, 2), (360.0, 3))
"""A hold's floor is that of sliding means over so long, or so many readings at the least [s, -]."""
FLOOR_BLOCKS, STEADY_C, BELOW_FLOOR_C, FLOOR_ERRORS = 8, 3.0, 1.5, 3.5
"""A floor is known from so many means; a steady course varies by so much; below is by so much, and
by so many standard errors of a mean [-, °C, °C, -]."""
MISSED_SCATTERS, SEEN_SHARE = 2.5, 0.8
"""A swing's low lies so many standard deviations below its middle, and a sine's 1.4; a hold that
scatters by this share of its ramp shows the swing whole [-, -]."""
LAST_LOWS = 4
"""So many lows of a swing are those of its hold; the first are on the way there [-]."""
RARE_S, RARE_POINTS = 100.0, 8
BEFORE_POINTS = 4
SETTLED_S = 600.0
"""A ramp has its own pace so long after its begin [s]."""
SWINGS_C = 5.0
RISES_FROM_S, RISES_C = 120.0, 2.0
"""So long after its power went a kiln rises no more, by more than this [s, °C]."""


@dataclass(frozen=True, slots=True)
class Habit:
    """How far off a course was at earlier moments [°C]: noise, and whatever makes it swing."""

    aways_c: FloatArray

    def allows_c(self, sign: float, errors: float, error_c: float) -> float:
        """Return from where on a change is none of its habits [°C]; `sign` is the change's.

        Readings minutes apart take a swing for noise: `error_c`, or what it scattered by.
        """
        scatter_c = float(np.sqrt(np.mean(self.aways_c**2))) * (1.0 + 2.0 / self.aways_c.size)
        most_c = max(float(np.max(sign * self.aways_c)), 0.0)
        return max(errors * min(error_c, scatter_c), HABIT_SHARE * most_c + HABIT_MORE_C)


class RecentCourse:
    """The course as it stands: how hot it is now, how high it was, and how surely."""

    def __init__(self, time_s: FloatArray, values_c: FloatArray, noise_c: float) -> None:
        self.time_s, self.values_c, self.noise_c = time_s, values_c, noise_c
        self.at_s = float(time_s[-1])
        age_s = self.at_s - time_s
        last = age_s < NOW_S
        self.count = int(np.count_nonzero(last))
        self.celsius = float(np.mean(values_c[last]))
        self.mean_s = float(np.mean(time_s[last]))
        self.error_c = noise_c / math.sqrt(self.count)
        self._in_a_minute = max(NOW_S / max(float(np.median(np.diff(time_s))), 1.0), 1.0)
        self.minute_noise_c = noise_c / math.sqrt(self._in_a_minute)
        self.is_rare = float(np.median(np.diff(time_s))) >= RARE_S
        self.errors = RARELY_SIGNIFICANT if self.is_rare else SIGNIFICANT_ERRORS
        number = (age_s // NOW_S).astype(np.int64)
        count = np.bincount(number)
        sums = np.asarray(np.bincount(number, weights=values_c), dtype=np.float64)
        recent = (count > 0) & (
            np.arange(count.size) * NOW_S <= max(HIGH_S, _age_of_last_four_s(age_s))
        )
        means = sums[recent] / count[recent]
        self.highest_c = float(np.max(means))
        self.fallen_c = self.highest_c - self.celsius
        fewest = int(np.min(count[recent]))
        self.fall_error_c = noise_c * math.sqrt(1.0 / self.count + 1.0 / fewest)
        self.high_s = self.at_s - (float(np.flatnonzero(recent)[np.argmax(means)]) + 0.5) * NOW_S
        self.usual_fall_c = _usual_fall_c(sums, count, self.high_s - self.at_s)
        # A level is high for a while, and a swing each time anew: a fall began at the last of it.
        near_c = self.highest_c - max(
            self.usual_fall_c, LEVEL_C, LEVEL_ERRORS * self.minute_noise_c
        )
        ages_s = np.flatnonzero(recent)[means >= near_c] * NOW_S
        self.left_high_s = self.at_s - float(ages_s[0]) - 0.5 * NOW_S

    @cached_property
    def deepest_fall_c(self) -> float:
        """What is no noise of the deepest fall before its high, by as many readings as show a
        swing, or an hour [°C].
        """
        over_s = max(SWING_S, SWING_READINGS * float(np.median(np.diff(self.time_s))))
        before = (self.time_s < self.high_s) & (self.time_s > self.high_s - over_s)
        before_c = self.values_c[before]
        fall_c = float(np.max(np.maximum.accumulate(before_c) - before_c, initial=0.0))
        return math.sqrt(max(fall_c**2 - (NOISE_RANGE * self.calm_noise_c) ** 2, 0.0))

    @cached_property
    def calm_noise_c(self) -> float:
        """The noise where a swing that takes some readings is not taken for it [°C].

        Of white noise the fourth difference is √70 of it; of what is smooth it leaves less than the
        second.
        """
        bends = np.abs(np.diff(self.values_c, 4))
        if bends.size < 3 * SWING_POINTS:
            return self.noise_c
        sigma_c = MAD_TO_SIGMA * float(np.median(bends)) / math.sqrt(70.0)
        return min(self.noise_c, max(sigma_c * (1.0 + 6.0 / bends.size), LEAST_NOISE_C))

    @property
    def swings(self) -> bool:
        """Whether a relay makes it swing by more than its noise looks like."""
        minute_noise_c = self.calm_noise_c / math.sqrt(self._in_a_minute)
        return self.usual_fall_c > max(SWINGS_C, 4.5 * minute_noise_c)

    @property
    def falls(self) -> bool:
        """Whether it fell further than noise, and than a relay's swing in the hour before."""
        return self.fallen_c >= self.believed_c(FALL_C, self.fall_error_c)

    def highest_of_c(self, those: npt.NDArray[np.bool_]) -> float:
        """Return the highest of the means over a minute of some points [°C]."""
        number = ((self.at_s - self.time_s[those]) // NOW_S).astype(np.int64)
        count = np.bincount(number)
        sums = np.bincount(number, weights=self.values_c[those])
        return float(np.max(sums[count > 0] / count[count > 0]))

    def last_above_s(self, limit_c: float) -> float:
        """Return when a mean over a minute was above a temperature for the last time [s]."""
        number = ((self.at_s - self.time_s) // NOW_S).astype(np.int64)
        count = np.bincount(number)
        sums = np.bincount(number, weights=self.values_c)
        above = np.flatnonzero((count > 0) & (sums > limit_c * count))
        return self.at_s - float(above[0]) * NOW_S if above.size else -math.inf

    def is_above(self, limit_c: float) -> bool:
        """Tell whether it is surely above a temperature."""
        error_c = self.calm_noise_c / math.sqrt(self.count)
        return self.celsius > limit_c + max(RISES_C, self.errors * error_c)

    def habit(self, since_s: float, pace_s: float, before_s: float) -> Habit | None:
        """Return how far off the line through the time before it was at earlier moments.

        None where there are not enough of them.
        """
        step_s = max(NOW_S, float(np.median(np.diff(self.time_s))))
        first_s = max(since_s, float(self.time_s[0])) + before_s + pace_s
        moments_s = np.arange(self.at_s - pace_s, first_s, -step_s)
        if not moments_s.size or moments_s[0] - moments_s[-1] < HABIT_S:
            return None
        edges_s = moments_s[:, None] - np.array([pace_s + before_s, pace_s, NOW_S, 0.0])
        aways_c = []
        for low, high, last, end in np.searchsorted(self.time_s, edges_s, side="right").tolist():
            if high - low >= BEFORE_POINTS and end:
                line = LeastSquaresLine(self.time_s[low:high], self.values_c[low:high])
                now = slice(min(last, end - 1), end)
                at_s, now_c = float(np.mean(self.time_s[now])), float(np.mean(self.values_c[now]))
                aways_c.append(now_c - line.at_c(at_s))
        return Habit(np.array(aways_c)) if len(aways_c) >= BEFORE_POINTS else None

    def rises_since(self, moment_s: float) -> bool:
        """Tell whether it has risen from a low after a moment: without power nothing does."""
        since = self.time_s > moment_s
        if np.count_nonzero(since) < 2:
            return False
        number = ((self.at_s - self.time_s[since]) // NOW_S).astype(np.int64)
        count = np.bincount(number)
        sums = np.bincount(number, weights=self.values_c[since])
        means = sums[count > 0] / count[count > 0]
        error_c = self.calm_noise_c * math.sqrt(2.0 / float(np.min(count[count > 0])))
        return float(means[0] - np.min(means)) > max(RISES_C, self.errors * error_c)

    def sinks_from(self, arrived_s: float) -> bool:
        """Tell whether it has left the level of a hold, by means over minutes.

        A warm kiln falls slowly: less than a relay's swing, more than the mean of one.
        """
        age_s = self.at_s - self.time_s
        for window_s, least_c in SINKS:
            level = (self.time_s > arrived_s + SETTLED_S) & (age_s >= window_s)
            last = age_s < window_s
            number = (age_s[level] // window_s).astype(np.int64)
            if number.size < 3 or np.count_nonzero(last) < 2:
                continue
            count = np.bincount(number)
            sums = np.bincount(number, weights=self.values_c[level])
            means = sums[count > 1] / count[count > 1]
            if self._rare_ones_sank(level, last, least_c):
                return True
            if means.size < SINK_BLOCKS:
                continue
            # From one to the next, newest first, and robust: a level drifts for hours, and what has
            # begun to fall is among them.
            steps = np.abs(np.diff(means))
            scatter_c = MAD_TO_SIGMA * float(np.median(steps)) / math.sqrt(2.0)
            scatter_c = max(scatter_c * (1.0 + 3.0 / steps.size), 0.3 * float(np.max(steps)))
            by_noise_c = self.noise_c / math.sqrt(float(np.count_nonzero(last)))
            earlier = means[:1:-1]  # a warm kiln on a relay falls for half an hour in each swing
            swing_c = float(np.max(np.maximum.accumulate(earlier) - earlier))
            enough_c = max(
                least_c,
                SINK_ERRORS * max(scatter_c, 0.5 * by_noise_c),
                SWING_SHARE * swing_c + SWING_MORE_C,
                0.5 * self.usual_fall_c,
            )
            last_c = float(np.mean(self.values_c[last]))
            sunk_c = float(np.median(means[:SINK_BLOCKS])) - last_c
            if sunk_c > enough_c and not self._beats_so_low(earlier, last_c, sunk_c):
                return True
        return False

    def _beats_so_low(self, earlier_c: FloatArray, last_c: float, sunk_c: float) -> bool:
        """Tell whether readings minutes apart have been as low, from which no relay let it fall.

        A swing not much slower than they come shows them a beat, that goes up and down for hours.
        """
        beat_c = float(np.ptp(earlier_c))
        within = sunk_c <= SWING_SHARE * beat_c + SWING_MORE_C
        return self.is_rare and within and last_c >= float(np.min(earlier_c)) - BELOW_FLOOR_C

    def is_below_floor(self, arrived_s: float, ramp_scatter_c: float = math.inf) -> bool:
        """Tell whether it lies below the lowest that its hold came to and rose from.

        Whatever a relay swings by, it switches on at the same low each time.  Readings minutes
        apart may miss that for as long as they come in step with it; what they scattered by about
        the ramp, if that is known, says how deep it is.
        """
        missed_c = 0.0
        held_c = self.values_c[self.time_s > arrived_s + SETTLED_S]
        seen = held_c.size and float(np.std(held_c)) >= SEEN_SHARE * ramp_scatter_c
        if self.is_rare and ramp_scatter_c < math.inf and not seen:
            missed_c = MISSED_SCATTERS * ramp_scatter_c
        interval_s = (self.time_s[-1] - self.time_s[0]) / (self.time_s.size - 1)
        for window_s, readings in FLOORS:
            in_window = max(readings, round(window_s / interval_s))
            if held_c.size < (FLOOR_BLOCKS + 1) * in_window:
                continue
            sums_c = np.cumsum(np.concatenate(([0.0], held_c)))
            means = (sums_c[in_window:] - sums_c[:-in_window]) / in_window
            before, last_c = means[:-in_window], float(means[-1])
            middle_c = float(np.median(before))
            scatter_c = MAD_TO_SIGMA * float(np.median(np.abs(before - middle_c)))
            scatter_c *= 1.0 + 4.0 * in_window / before.size
            error_c = min(scatter_c, self.noise_c / math.sqrt(in_window))
            floor_c = _floor_c(before, STEADY_C + 4.0 * error_c)
            floor_c -= BELOW_FLOOR_C + FLOOR_ERRORS * error_c
            if last_c < min(floor_c, middle_c - missed_c):
                return True
        return False

    def is_within_swing(self, due_c: FloatArray) -> bool:
        """Tell whether it lies no lower beside what is due (n,) than where it twice rose from.

        A controller that has its power catches a kiln at the same lows each time.
        """
        number = ((self.at_s - self.time_s) // NOW_S).astype(np.int64)
        count = np.bincount(number)
        sums = np.bincount(number, weights=self.values_c - due_c)
        ages = np.flatnonzero(count)[::-1]
        means = sums[ages] / count[ages]
        last_hour = means[ages * NOW_S < SWING_S]
        lows = sorted(_lows_c(means[:-1], 0.5 * float(np.ptp(last_hour))))
        return len(lows) > 1 and bool(means[-1] >= lows[1] - SWING_ERRORS * self.error_c)

    def _rare_ones_sank(
        self, level: npt.NDArray[np.bool_], last: npt.NDArray[np.bool_], least_c: float
    ) -> bool:
        """Tell whether the last of readings minutes apart lie below the earlier ones.

        So far apart, a relay's swing is as noise to them.
        """
        before, now = self.values_c[level], self.values_c[last]
        apart_s = (self.time_s[-1] - self.time_s[0]) / (self.time_s.size - 1)
        if apart_s < RARE_S or before.size < RARE_POINTS:
            return False
        middle_c = float(np.median(before))
        scatter_c = MAD_TO_SIGMA * float(np.median(np.abs(before - middle_c)))
        # A few tell it badly; by what all of them bend it is no less, but for a swing from one
        # reading to the next, which bends by more than it scatters.
        by_bends_c = min(self.calm_noise_c, float(np.std(before)))
        scatter_c = max(scatter_c * (1.0 + 4.0 / before.size), by_bends_c)
        error_c = scatter_c / math.sqrt(now.size)
        return middle_c - float(np.mean(now)) > max(2.0 * least_c, SINK_ERRORS * error_c)

    def believed_c(self, least_c: float, error_c: float) -> float:
        """Return from where on a change of so large an error is believed [°C]."""
        by_noise_c = NOISE_SWING * self.minute_noise_c
        clean_c = math.sqrt(max(self.usual_fall_c**2 - by_noise_c**2, 0.0))
        swing_c = 0.0
        if clean_c > 0.0:
            swing_c = SWING_SHARE * clean_c + SWING_MORE_C + SWING_ERRORS * error_c
        return max(least_c, self.errors * error_c, swing_c)


def _floor_c(means: FloatArray, steady_c: float) -> float:
    """Return the lowest of a steady course, or of the lows that a swing rose from twice [°C].

    -inf where a swing has not shown them yet.  It may have been lower between two readings; the
    first lows are on the way to the hold.
    """
    span_c = float(np.max(means) - np.min(means))
    if span_c <= steady_c:
        return float(np.min(means))
    steps_c = np.diff(means)
    steps_c = steps_c[steps_c < 0.0]
    if not steps_c.size:
        return -math.inf
    step_c = max(-float(np.median(steps_c)) - BELOW_FLOOR_C, 0.0)
    lows = _lows_c(means, 0.5 * span_c)
    return min(lows) - step_c if len(lows) > 1 else -math.inf


def _lows_c(means: FloatArray, depth_c: float) -> list[float]:
    """Return the last lows that a course fell to and rose from by a depth [°C]."""
    lows: list[float] = []
    low_c = high_c = float(means[0])
    falls = False
    for value_c in means.tolist():
        if falls:
            low_c = min(low_c, value_c)
            if value_c > low_c + depth_c:
                lows.append(low_c)
                falls, high_c = False, value_c
        else:
            high_c = max(high_c, value_c)
            if value_c < high_c - depth_c:
                falls, low_c = True, value_c
    return lows[-LAST_LOWS:]


def _usual_fall_c(sums: FloatArray, count: npt.NDArray[np.signedinteger], until_s: float) -> float:
    """Return how deep it falls between two highs, by the hour before a moment [°C].

    On a ramp the rise hides a part of a swing; what bends shows it whole, and at a corner, where
    everything bends, only for a while.
    """
    age = np.flatnonzero(count > 0)[::-1]
    ages_s = age * NOW_S
    means = (sums[age] / count[age])[(ages_s > -until_s) & (ages_s < SWING_S - until_s)]
    if means.size < SWING_POINTS:
        return 0.0
    deepest_c = float(np.max(np.maximum.accumulate(means) - means))
    bends_c = [
        _upper_fifth(np.abs(means[k:-k] - 0.5 * (means[: -2 * k] + means[2 * k :])))
        for k in (1, 2, 4)
        if means.size > 2 * k + SWING_POINTS
    ]
    return max(deepest_c, *bends_c, 0.0)


def _upper_fifth(values: FloatArray) -> float:
    """Return what a fifth lies above; `np.quantile` takes longer than all else at a reading."""
    ordered = np.sort(values)
    place = 0.8 * (ordered.size - 1)
    first = int(place)
    last = min(first + 1, ordered.size - 1)
    return float(ordered[first] + (place - first) * (ordered[last] - ordered[first]))


def _age_of_last_four_s(age_s: FloatArray) -> float:
    """Return how far back the last four readings lie [s]."""
    return float(age_s[max(age_s.size - 4, 0)])


class LeastSquaresLine:
    """A straight line through points, least squares."""

    def __init__(self, time_s: FloatArray, values_c: FloatArray) -> None:
        self._middle_s, self._middle_c = float(np.mean(time_s)), float(np.mean(values_c))
        from_middle_s = time_s - self._middle_s
        self._count = time_s.size
        self._spread = float(from_middle_s @ from_middle_s)
        self.span_s = float(time_s[-1] - time_s[0])
        self.slope_c_per_s = float(from_middle_s @ (values_c - self._middle_c)) / max(
            self._spread, 1e-9
        )

    def at_c(self, moment_s: float) -> float:
        return self._middle_c + self.slope_c_per_s * (moment_s - self._middle_s)

    def slope_error_c_per_s(self, noise_c: float) -> float:
        """Return the standard error of the slope [°C/s]."""
        return noise_c / math.sqrt(max(self._spread, 1e-9))

    def swing_c(self, time_s: FloatArray, values_c: FloatArray) -> float:
        """Return how far means over a minute swing about the line, from lowest to highest [°C]."""
        number = ((time_s - time_s[0]) // NOW_S).astype(np.int64)
        away_c = values_c - (self._middle_c + self.slope_c_per_s * (time_s - self._middle_s))
        count = np.bincount(number)
        means = np.bincount(number, weights=away_c)[count > 0] / count[count > 0]
        return float(np.max(means) - np.min(means)) if means.size >= SWING_POINTS else 0.0

    def meets_s(self, target_c: float) -> float:
        """Return when the line comes to a temperature [s]."""
        return self._middle_s + (target_c - self._middle_c) / self.slope_c_per_s

    def scatter_c(self, time_s: FloatArray, values_c: FloatArray) -> float:
        """Return how far points scatter about the line (standard deviation) [°C]."""
        away_c = values_c - (self._middle_c + self.slope_c_per_s * (time_s - self._middle_s))
        return math.sqrt(float(away_c @ away_c) / max(self._count - 2, 1))

    def error_c(self, moment_s: float, noise_c: float) -> float:
        """Return the standard error of what the line says of a moment [°C]."""
        away_s = moment_s - self._middle_s
        return noise_c * math.sqrt(1.0 / self._count + away_s * away_s / max(self._spread, 1e-9))
