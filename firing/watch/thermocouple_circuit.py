"""Whether the readings can be a kiln's at all, and what the thermocouple's circuit has if not.

A kiln moves slowly: its bricks and ware hold the heat.  A reading that falls or jumps faster than
any kiln is no temperature, and its course says where to look.  Such readings are kept from the
estimates: a kiln whose leads are shorted is neither cold nor done.

The limits stand in `firing.logs.plausibility_limits`.
"""

import math
from collections import deque
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firing.capture.reading import Status
from firing.logs.plausibility_limits import (
    CIRCUIT_COLD_FALL_C,
    CIRCUIT_COLD_FALL_S,
    CIRCUIT_COLD_KILN_C,
    CIRCUIT_FALL_TIME_CONSTANT_S,
    CIRCUIT_FAULT_READINGS,
    CIRCUIT_FAULT_S,
    CIRCUIT_OPENED_BELOW_C,
    CIRCUIT_OPENED_FALL_C,
    CIRCUIT_REVERSED_BELOW_C,
    CIRCUIT_RISE_C_PER_S,
    CIRCUIT_STEP_C,
    CIRCUIT_STILL_S,
    FLICKER_DIGITS,
    TERMINALS_MOST_C,
    TURNING_SHARE,
    digit_taken_c,
)
from firing.units import ROOM_C
from firing.watch.history import RecentReadings

CircuitFaultKind = Literal["shorted", "reversed", "pulled-out", "open"]

BACK_C = 300.0
"""Readings that are back are a kiln's again within this of where they left it, or below [°C]."""
WINDOW_S = 300.0
THINNED_S = 5.0
REWARMING_S = 900.0
"""A thermocouple put back takes this long to be warm again [s]."""
AT_ONCE_SHARE = 0.9
"""A short shows this share of its fall in the first reading; a sheath takes minutes."""
NEVER_HOT_C = 100.0
COLD_NOISE = 5.0
COLD_UNKNOWN_C = 15.0
"""A fall in a cold kiln counts at so many standard errors; at so much as long as the noise is not
known [-, °C]."""

STILL_CHANCE = 1e-7
STILL_RISE_C = 3.0
"""A reading stands still if its own noise would do so as seldom as this, or if the plan has it
rise so far meanwhile [°C]."""
STILL_DIGITS, WIDEST_DIGIT_C = 5.0, 1.0
"""Or by so many of its digits, whichever is more [-]; loggers have digits as wide as that [°C]."""
STILL_BY_PLAN_CHANCE, STILL_BY_NOISE_CHANCE = 1e-4, 3e-6
"""Of a noisy reading that stands still where the plan rises: by how often it did, and by what noise
such as its own takes back of the rise [-, -]."""
NOISE_READINGS, NOISE_LEAST = 40, 10
"""Noise is known by so many readings that moved, and by no fewer [-, -]."""
SUSPICIOUS_CHANCE, SUSPICIOUS_S = 1e-2, 300.0
"""As seldom as this, and for so long, it may be stuck [-, s]; then it is, or the kiln stands."""
FADING_READINGS = 60
STANDS_DIGITS = 2.0
"""One that moved by no more than this in a stretch as long, before, may stand through one [-]."""
FEW_S, SWING_MOVES, SWING_SHARE = 100.0, 20, 1.2
"""Readings further apart miss a swing's slow top; so many show how far it goes, and it may go so
many times that [s, -, -]."""


@dataclass(frozen=True, slots=True)
class CircuitFault:
    """A course no kiln takes, from the last believed reading to the one now.

    NaN where there is none.
    """

    fault: CircuitFaultKind
    from_c: float
    to_c: float


class CircuitMonitor:
    """Judges the kiln's readings one after the other; `broken` is what the circuit has."""

    def __init__(self) -> None:
        self.broken: CircuitFault | None = None
        self._believed: deque[tuple[float, float]] = deque()
        self._faulty: deque[tuple[float, float]] = deque()
        self._odd: list[tuple[float, float]] = []
        self._back: list[tuple[float, float]] = []
        self._open: list[tuple[float, float]] = []
        self._cold = RecentReadings(1800.0)
        self._highest_c = -math.inf
        self._back_s = -math.inf

    @property
    def doubtful(self) -> bool:
        """Whether the last reading is none to go by."""
        return self.broken is not None or bool(self._odd) or bool(self._open)

    def add_reading(self, time_s: float, value_c: float, status: Status) -> bool:
        """Take a reading in, and return whether it may be a kiln's temperature.

        `value_c` is the number whatever is held against it; NaN where there is none.
        """
        by_instrument = self._fault_by_instrument(status, value_c)
        if by_instrument is not None:
            self._open.append((time_s, value_c))
            if self.broken is None and _is_lasting(self._open):
                self.broken = CircuitFault(by_instrument, self._last_c(), value_c)
            return False
        if math.isnan(value_c) or status not in (Status.OK, Status.STEP, Status.STUCK):
            return False
        self._open.clear()
        if self.broken is not None:
            return self._take_broken(time_s, value_c)
        if self._is_odd(time_s, value_c):
            self._odd.append((time_s, value_c))
            last_c = self._last_c()
            # A cold kiln's leads need no third reading where two fall out of its course.
            cold = value_c < last_c and self._falls_in_cold_kiln(time_s, value_c)
            if _is_lasting(self._odd) or (cold and len(self._odd) > 1):
                kind = "reversed" if cold else self._kind_of_fault(last_c)
                self.broken = CircuitFault(kind, last_c, value_c)
                self._faulty = deque(self._odd)
                self._odd = []
            return False
        self._odd.clear()
        self._believe(time_s, value_c)
        if self._falls_in_cold_kiln(time_s, value_c):
            self.broken = CircuitFault("reversed", self._cold.oldest_c(), value_c)
            self._faulty = deque([(time_s, value_c)])
            return False
        return True

    def _fault_by_instrument(self, status: Status, value_c: float) -> CircuitFaultKind | None:
        """Return what the instrument itself, or its scale, says of the circuit."""
        if status in (Status.OPEN, Status.OVERLOAD):
            return "open"
        if status is Status.REVERSED:
            return "reversed"
        if status is Status.OUT_OF_SPAN:
            return "reversed" if value_c < 0.0 else "open"
        return None

    def _last_c(self) -> float:
        return self._believed[-1][1] if self._believed else math.nan

    def _believe(self, time_s: float, value_c: float) -> None:
        self._highest_c = max(self._highest_c, value_c)
        _remember(self._believed, time_s, value_c)

    def _is_odd(self, time_s: float, value_c: float) -> bool:
        kept = [then_c for _, then_c in self._believed]
        if kept and max(kept) - CIRCUIT_STEP_C <= value_c <= min(kept) + CIRCUIT_STEP_C:
            return False
        warms_again = time_s - self._back_s < REWARMING_S
        for then_s, then_c in self._believed:
            if then_c - value_c > self._may_fall_c(time_s - then_s, then_c):
                return True
            if (
                value_c - then_c > CIRCUIT_STEP_C + CIRCUIT_RISE_C_PER_S * (time_s - then_s)
                and not warms_again
            ):
                return True
        return False

    def _may_fall_c(self, elapsed_s: float, from_c: float) -> float:
        above_c = max(from_c - ROOM_C, 0.0)
        scatter_c = CIRCUIT_STEP_C
        if from_c < CIRCUIT_OPENED_BELOW_C and self._highest_c > from_c + CIRCUIT_OPENED_FALL_C:
            scatter_c = CIRCUIT_OPENED_FALL_C
        return scatter_c + above_c * (1.0 - math.exp(-elapsed_s / CIRCUIT_FALL_TIME_CONSTANT_S))

    def _kind_of_fault(self, from_c: float) -> CircuitFaultKind:
        first_c, last_c = self._odd[0][1], self._odd[-1][1]
        if last_c > from_c:
            return "open"
        if last_c < CIRCUIT_REVERSED_BELOW_C:
            return "reversed"
        at_once = from_c - first_c > AT_ONCE_SHARE * (from_c - last_c)
        return "shorted" if at_once and last_c <= TERMINALS_MOST_C else "pulled-out"

    def _take_broken(self, time_s: float, value_c: float) -> bool:
        """Take a reading while the circuit is not believed: it has to step back to be again."""
        assert self.broken is not None
        fell = self.broken.fault != "open"
        from_c = self.broken.from_c
        moved_c = 0.0
        for then_s, then_c in self._faulty:
            free_c = CIRCUIT_STEP_C + CIRCUIT_RISE_C_PER_S * (time_s - then_s)
            change_c = value_c - then_c if fell else then_c - value_c
            moved_c = max(moved_c, change_c - free_c)
        # One that only the instrument called open has no course to step back from.
        stepped = moved_c > 0.0 or not self._faulty
        if stepped and not value_c > from_c + BACK_C:
            self._back.append((time_s, value_c))
            if _is_lasting(self._back):
                self.broken = None
                self._back_s = time_s
                self._believed.clear()
                self._back.clear()
                self._faulty.clear()
                self._cold = RecentReadings(1800.0)
                self._highest_c = max(self._highest_c, value_c)
                self._believe(time_s, value_c)
                return True
            return False
        self._back.clear()
        _remember(self._faulty, time_s, value_c)
        return False

    def _falls_in_cold_kiln(self, time_s: float, value_c: float) -> bool:
        """Tell whether a kiln that was never hot reads colder and colder: reversed leads."""
        if self._highest_c > NEVER_HOT_C:
            return False
        self._cold.add(time_s, value_c)
        if value_c > CIRCUIT_COLD_KILN_C:
            return False
        if value_c >= self._cold.oldest_c():
            return False  # one that climbs in steps falls between them
        return self._cold.fell(CIRCUIT_COLD_FALL_S, CIRCUIT_COLD_FALL_C, COLD_NOISE, COLD_UNKNOWN_C)


class StuckReadingDetector:
    """Tells a reading that stands still in every digit where no kiln's does."""

    def __init__(self) -> None:
        self._last_c = math.nan
        self._since_s = 0.0
        self._equal = 0
        self._rose = False
        self._seen = self._seen_equal = self._turns = 0
        self._digit_c = math.inf
        self._change_c = self._stood_s = 0.0
        self._moves: deque[tuple[float, float]] = deque(maxlen=FADING_READINGS)
        self._lately: deque[float] = deque(maxlen=NOISE_READINGS)
        self.stuck = False

    @property
    def suspicious(self) -> bool:
        """Whether it stands still as it seldom did: a slow climb may be none."""
        soon = self._stood_s <= SUSPICIOUS_S or self._equal <= CIRCUIT_FAULT_READINGS
        seldom = self._equal >= 2 and self._share() ** self._equal < SUSPICIOUS_CHANCE
        return self.stuck or (soon and seldom)

    def _share(self) -> float:
        return (self._seen_equal + 1.0) / (self._seen + 2.0)

    def add_reading(self, time_s: float, value_c: float, rising_c_per_h: float | None) -> None:
        """Take a reading in; the plan has it rise so fast, or None where it may stand."""
        if rising_c_per_h is None:
            self._moves.clear()  # a hold's standing is no habit of a ramp
        if value_c != self._last_c:
            rises = value_c > self._last_c
            if not math.isnan(self._last_c):
                change_c = abs(value_c - self._last_c)
                self._digit_c = min(self._digit_c, change_c)
                if rises != self._rose:  # a ramp's steps say nothing of noise
                    self._change_c += (change_c - self._change_c) / FADING_READINGS
            self._turns += rises != self._rose
            self._rose = rises
            self._seen += 1 + self._equal
            self._seen_equal += self._equal
            if self._seen > FADING_READINGS:
                # Old habits fade, as a kiln's pace changes.
                self._seen //= 2
                self._seen_equal //= 2
                self._turns //= 2
            self._moves.append((time_s, value_c))
            self._lately.append(value_c)
            self._last_c, self._since_s, self._equal, self.stuck = value_c, time_s, 0, False
            self._stood_s = 0.0
            return
        self._equal += 1
        stood_s = self._stood_s = time_s - self._since_s
        if self._equal < CIRCUIT_FAULT_READINGS - 1 or stood_s < CIRCUIT_STILL_S:
            return
        chance = self._share() ** self._equal
        restless = self._seen and self._turns >= TURNING_SHARE * self._seen
        # One that flickers by its last digit stands still wherever it is far from the next.
        digit_c = digit_taken_c(self._digit_c)
        in_digits = self._change_c > FLICKER_DIGITS * digit_c
        by_noise = restless and in_digits and chance < STILL_CHANCE
        # A relay's swing stands at its top while whole degrees do not move.
        digits_c = STILL_DIGITS * min(digit_c, WIDEST_DIGIT_C)
        by_plan = (
            rising_c_per_h is not None
            and rising_c_per_h * stood_s / 3600.0 >= max(STILL_RISE_C, digits_c)
            and chance < (STILL_BY_PLAN_CHANCE if restless else SUSPICIOUS_CHANCE)
            and (restless or self._least_move_c() > STANDS_DIGITS * min(digit_c, WIDEST_DIGIT_C))
            and (restless or rising_c_per_h * stood_s / 3600.0 > self._swing_c())
            and self._chance_by_noise(digit_c, rising_c_per_h * stood_s / 3600.0)
            < STILL_BY_NOISE_CHANCE
        )
        self.stuck = self.stuck or bool(by_noise) or by_plan

    def _swing_c(self) -> float:
        """Return by how much readings minutes apart swing about their line [°C].

        Such a swing goes down while the plan rises, so that they stand as long as both cancel.
        """
        if self._stood_s < FEW_S * self._equal or len(self._moves) < NOISE_LEAST:
            return 0.0
        time_s, celsius = np.array(self._moves)[-SWING_MOVES:].T
        about_s = time_s - np.mean(time_s)
        slope = float(about_s @ celsius) / float(about_s @ about_s)
        return SWING_SHARE * float(np.ptp(celsius - slope * about_s))

    def _chance_by_noise(self, digit_c: float, rise_c: float) -> float:
        """Return how seldom noise such as its own holds readings at one digit while they rise.

        The density of normal readings at equal values, each a step above the one before, times
        their digits: n of them are `n` - 1 differences of the inverse covariance min(i, j) -
        ij / n.  None of a reading that follows its rise: it needs no chance to stand still.
        """
        if len(self._lately) < NOISE_LEAST:
            return 0.0
        bends = np.abs(np.diff(np.array(self._lately), 2))
        noise_c = float(np.sqrt(np.mean(np.minimum(bends, 3.0 * np.median(bends)) ** 2) / 6.0))
        if noise_c <= digit_c:
            return 0.0
        steps = self._equal
        apart = (rise_c / steps) ** 2 * steps * (steps + 1) * (steps + 2) / 12.0
        density = math.exp(-0.5 * apart / noise_c**2) / math.sqrt(steps + 1.0)
        return density * (digit_c / (math.sqrt(2.0 * math.pi) * noise_c)) ** steps

    def _least_move_c(self) -> float:
        """Return the least it moved in an earlier stretch as long as it stands now [°C].

        Infinite where there is none.  A relay's swing has a slow top, and a kiln that hardly gains
        on its losses crawls from digit to digit, whatever its plan has it rise.
        """
        time_s, celsius = np.array(self._moves).T
        last = np.searchsorted(time_s, time_s + self._stood_s, side="right")
        whole = np.flatnonzero(time_s + self._stood_s <= self._since_s)
        moves_c = [float(np.ptp(celsius[first : last[first]])) for first in whole]
        return min(moves_c, default=math.inf)


def _is_lasting(readings: list[tuple[float, float]]) -> bool:
    """Tell whether no disturbance lasts so long: of readings minutes apart, two are enough."""
    over_s = readings[-1][0] - readings[0][0]
    several = len(readings) >= CIRCUIT_FAULT_READINGS and over_s >= CIRCUIT_FAULT_S
    return several or over_s >= CIRCUIT_STILL_S


def _remember(kept: deque[tuple[float, float]], time_s: float, value_c: float) -> None:
    if len(kept) >= 2 and time_s - kept[-2][0] < THINNED_S:
        kept[-1] = (time_s, value_c)
    else:
        kept.append((time_s, value_c))
    while len(kept) > CIRCUIT_FAULT_READINGS and time_s - kept[0][0] > WINDOW_S:
        kept.popleft()
