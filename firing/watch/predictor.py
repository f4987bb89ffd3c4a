"""How a running firing goes on: as expected, at its quickest and at its slowest.

`Predictor` is the seam: whoever knows the kiln better, from a fitted model, answers the same
question.  What is here takes the rest of the forecast and stretches it by how the kiln lags.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Protocol

import numpy as np

from firing.errors import FiringError
from firing.forecast.result import Forecast
from firing.heat import default_kiln
from firing.kiln.controller_model import WAIT_BAND_C
from firing.review.position import Plan, Position
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, TemperatureUnit, format_duration, format_rate
from firing.watch.clock_waits import WAITS_PRIOR, ClockEvidence
from firing.watch.cooling import CoolingPace, as_it_cools
from firing.watch.events import WatchEvent
from firing.watch.full_power import (
    DRY_C,
    LEAST_CLIMB_C_PER_H,
    OUTDONE,
    CourseLeader,
    FullPower,
    FullPowerClimb,
    LedCourse,
    ShownPace,
    full_power,
    shown_pace,
)
from firing.watch.history import (
    TICKS_PER_S,
    course_on_grid,
    floor_tick_s,
    is_last_at_its_tick,
    nearest_ticks,
)
from firing.watch.state import (
    AS_EXPECTED,
    AT_ITS_BEST,
    AT_ITS_WORST,
    Prediction,
    RemainingCourse,
)

LAGGING_C = 10.0
"""A ramp this far behind its plan goes on as it went, not as it was meant to [°C]."""
MOST_SLOWDOWN = 10.0
"""A kiln that goes slower still has stalled, and no time can be told."""
PACE_S, ARRIVED_C, STALL_NEAR_C = 600.0, 5.0, 60.0
ON_PACE_SHARE = 0.95
CLIMB_STEP_C, CLOCK_STEP_S, CLIMB_POINTS = 10.0, 120.0, 33


DRAG_LEAST, DRAG_MOST = 0.01, 0.25
"""A clock that waits in every swing of a relay goes slower by a share between these, for good."""
AT_LIMIT_SHARE = 0.93
"""A ramp that climbs at less than this share of its rate, and lags, has all the power there is."""
LEAST_POWER_SHARE, LEAST_COLD_SHARE, COLD_C = 0.35, 0.6, 450.0
"""A kiln with less power than this is no kiln that lacks some: something else holds it up.  A cold
one climbs fast even with half of its power: there it is the waits of a clock in the swings of a
relay, or water [-, -, °C]."""
STEADY_SPAN_C, STEADY_SHARE = 90.0, 0.25
"""A pace that over so many degrees falls by less than this share of what full power loses there is
a rate that something sets, and no lack of power [°C, -]."""
TAKES_UP_C = (480.0, 720.0)
"""Where raw ware gives off its water a kiln at full power climbs no faster than above [°C]."""
DRAG_FROM_C = 250.0
LED_DOWN_SHARE, LED_DOWN_S = 0.4, 2700.0
"""A clock that waits may stand still for such a share of a cooling's first part, before the kiln
falls as fast as it is led; chosen on made firings [-, s]."""
QUICK, LIKELY, SLOW = 0.1, 0.5, 0.9
"""So likely a kiln is faster than its quickest, than expected and than its slowest: the ends of an
80 % range."""
SURELY = 0.98
"""No end of a range is looked for beyond this."""
PACE_ERROR_SHARE = 0.08
"""A pace at full power of which too little was seen for more may be off by this share [-]."""


class ClimbLimit(Protocol):
    """How fast a kiln can climb."""

    def c_per_h(self, temperature_c: FloatArray) -> FloatArray:
        """Return the pace it has at temperatures [°C/h]."""


@dataclass(frozen=True, slots=True)
class UsualClimb:
    """A pace at full power, `pace_c_per_h` at `at_c`, that falls as the default kiln's does."""

    at_c: float
    pace_c_per_h: float

    def c_per_h(self, temperature_c: FloatArray) -> FloatArray:
        """Return the pace it still has at temperatures [°C/h]."""
        lost = default_kiln.full_power_rate_c_per_h(np.array([self.at_c]))
        now = default_kiln.full_power_rate_c_per_h(temperature_c)
        return np.maximum(self.pace_c_per_h + now - lost, LEAST_CLIMB_C_PER_H)


class Predictor(Protocol):
    """Says how a firing goes on."""

    def remaining(
        self,
        position: Position,
        now_s: float,
        temperature_c: float,
        *,
        slower_now: float = 1.0,
        slower_later: float = 1.0,
        climb: ClimbLimit | None = None,
    ) -> RemainingCourse:
        """Return the rest of a firing that stands at `position` at `now_s`, on the same clock.

        `slower_now` and `slower_later` are how many times longer heating takes than forecast, in
        this ramp and in those after it; `climb` is what the kiln can do, where no model knows.
        """


class KilnPredictor(Predictor, Protocol):
    """A predictor whose figures may be off to one side."""

    def remaining(
        self,
        position: Position,
        now_s: float,
        temperature_c: float,
        *,
        slower_now: float = 1.0,
        slower_later: float = 1.0,
        climb: ClimbLimit | None = None,
        side: int = AS_EXPECTED,
    ) -> RemainingCourse:
        """As `Predictor`; `side` is `AS_EXPECTED`, `AT_ITS_BEST` or `AT_ITS_WORST`."""


class ForecastPredictor:
    """The rest of a forecast, whether by the plan's arithmetic or by a kiln model."""

    def __init__(self, forecast: Forecast) -> None:
        self._forecast = forecast
        self._plan = Plan(forecast.schedule, forecast.trace, forecast.segments)

    def remaining(
        self,
        position: Position,
        now_s: float,
        temperature_c: float,
        *,
        slower_now: float = 1.0,
        slower_later: float = 1.0,
        climb: ClimbLimit | None = None,
    ) -> RemainingCourse:
        """Return the rest of the firing; see `Predictor`."""
        course = _CourseBuilder(temperature_c, climb)
        plan, forecast = self._plan, self._forecast
        first = 0
        segment_ends_s: dict[int, float] = {}
        if position.segment is not None:
            first = position.segment + 1
            if position.phase in ("ramp", "left"):
                self._ramp(course, position.segment, temperature_c, slower_now)
            if position.phase != "done":
                hold_s = plan.schedule.segments[position.segment].hold_s
                course.stay(max(position.hold_left_s(now_s, hold_s), 0.0))
                segment_ends_s[position.segment] = course.now_s
        for index in range(first, len(plan.segments)):
            part = plan.segments[index]
            course.add(
                *plan.stretch(part.start_s, part.ramp_end_s),
                slower_later if plan.heats(index) else 1.0,
            )
            course.stay(part.end_s - part.ramp_end_s)
            segment_ends_s[index] = course.now_s
        program_s = course.now_s
        ends_s, total_s = plan.segments[-1].end_s, float(plan.time_s[-1])
        if total_s > ends_s:
            cooling_s, cooling_c = plan.stretch(ends_s, total_s)
            from_s = float(np.interp(-course.now_c, -cooling_c, cooling_s))
            course.add(*plan.stretch(min(from_s, total_s), total_s), 1.0)
        time_s, course_c = course.arrays()
        cooled_s = course.now_s - program_s
        low, high = forecast.cooling_range
        return RemainingCourse(
            time_s,
            course_c,
            program_s,
            course.now_s,
            program_s + low * cooled_s,
            program_s + high * cooled_s,
            segment_ends_s,
        )

    def _ramp(
        self, course: _CourseBuilder, index: int, temperature_c: float, slower: float
    ) -> None:
        plan, part = self._plan, self._plan.segments[index]
        slower = slower if plan.heats(index) else 1.0
        at_s = plan.ramp_s(index, temperature_c)
        begins_c = plan.at_c(at_s)
        ramp_s, whole_c = part.ramp_end_s - part.start_s, abs(part.end_c - plan.at_c(part.start_s))
        sign = 1.0 if plan.heats(index) else -1.0
        missing_c = sign * (begins_c - temperature_c)
        if missing_c > 0.0 and whole_c > 0.0:
            # Further back than the ramp ever was (after an outage): as fast as the ramp itself.
            rate_c_per_h = whole_c / max(ramp_s, 1.0) * SECONDS_PER_HOUR
            extra_s = missing_c / rate_c_per_h * SECONDS_PER_HOUR
            course.add(np.array([0.0, extra_s]), np.array([temperature_c, begins_c]), slower)
        course.add(*plan.stretch(at_s, max(part.ramp_end_s, at_s)), slower)


class _CourseBuilder:
    """Stretches put one after the other, from now on, each a whole number of ticks long."""

    def __init__(self, temperature_c: float, climb: ClimbLimit | None = None) -> None:
        self._climb = climb
        self._ticks = [np.array([0])]
        self._temperature_c = [np.array([temperature_c])]
        self._now = 0
        self.now_c = temperature_c

    @property
    def now_s(self) -> float:
        return self._now / TICKS_PER_S

    def add(self, time_s: FloatArray, temperature_c: FloatArray, slower: float) -> None:
        since_s = (time_s - time_s[0]) * slower
        if self._climb is not None and temperature_c[-1] > temperature_c[0]:
            count = max(2, math.ceil(float(temperature_c[-1] - temperature_c[0]) / CLIMB_STEP_C))
            finer_s = np.linspace(since_s[0], since_s[-1], count + 1)
            temperature_c = np.interp(finer_s, since_s, temperature_c)
            risen_c = np.diff(temperature_c)
            pace = self._climb.c_per_h(temperature_c[:-1] + 0.5 * risen_c)
            least_s = np.maximum(np.diff(finer_s), risen_c / pace * SECONDS_PER_HOUR)
            planned_s, since_s = finer_s[-1], np.concatenate(([0.0], np.cumsum(least_s)))
            # The clock of a kiln that lags is at the target as soon as the kiln is near it.
            near_s = float(np.interp(temperature_c[-1] - WAIT_BAND_C, temperature_c, since_s))
            since_s = np.minimum(since_s, max(near_s, planned_s))
        elapsed = nearest_ticks(since_s)
        later = is_last_at_its_tick(elapsed) & (elapsed > 0)
        if not later.any():
            return
        self._ticks.append(self._now + elapsed[later])
        self._temperature_c.append(temperature_c[later])
        self._now += int(elapsed[-1])
        self.now_c = float(temperature_c[-1])

    def stay(self, duration_s: float) -> None:
        if duration_s > 0.0:
            self.add(np.array([0.0, duration_s]), np.full(2, self.now_c), 1.0)

    def arrays(self) -> tuple[FloatArray, FloatArray]:
        return np.concatenate(self._ticks) / TICKS_PER_S, np.concatenate(self._temperature_c)


@dataclass(frozen=True, slots=True)
class FiringProgress:
    """How a firing goes now; `deviation_c` is above the plan, or below (negative).

    `paces` is what its ramps have shown, `waits` whether the controller's clock waits, `cooling`
    how it cools by itself; None where not known.  `plan` is the program on its own clock;
    `power_gone` where the kiln falls that should be heated.
    """

    schedule: Schedule
    position: Position
    now_s: float
    now_c: float
    deviation_c: float | None
    paces: PaceKeeper | None = None
    waits: bool | None = None
    cooling: CoolingPace | None = None
    plan: Plan | None = None
    power_gone: bool = False

    @property
    def not_before_its_clock(self) -> FiringProgress:
        """The same, its hold begun no sooner than the set point can have been there.

        A cold kiln swings past its set point, and no clock runs ahead; further ahead than a swing
        it is another program.
        """
        position = self.position
        if position.phase != "hold" or position.arrived_s is None or position.segment is None:
            return self
        rate_c_per_h = self.schedule.segments[position.segment].rate_c_per_h
        if rate_c_per_h is None:
            return self
        early_s = max(-(position.late_s or 0.0), 0.0)
        early_s = min(early_s, COLD_SWING_C / rate_c_per_h * SECONDS_PER_HOUR)
        return replace(self, position=replace(position, arrived_s=position.arrived_s + early_s))

    @property
    def regains_c(self) -> float | None:
        """Where it was before it fell, and a clock that waits has stood since [°C]; or None."""
        index, paces = self.position.segment, self.paces
        if index is None or paces is None or self.position.phase not in ("ramp", "left"):
            return None
        target_c = self.schedule.segments[index].target_c
        ramp, highest_c = paces.top_of_ramp
        before_c = min(highest_c, target_c)
        heats = ramp == index and target_c > self.schedule.from_c(index)
        return before_c if heats and self.now_c < before_c - OLD_GROUND_C else None

    def regaining(self, to_c: float, likely: float) -> tuple[FloatArray, FloatArray] | None:
        """Return its course back to a temperature at full power, as times from now and °C."""
        found = None if self.paces is None else self.paces.full_power(self.now_c)
        if found is None:
            return None
        climb = found.climb(likely, to_c)
        at_c = np.linspace(self.now_c, to_c, CLIMB_POINTS)
        pace = climb.c_per_h(0.5 * (at_c[1:] + at_c[:-1]))
        took_s = np.cumsum(np.diff(at_c) / pace * SECONDS_PER_HOUR)
        return np.concatenate(([0.0], took_s)), at_c

    @property
    def at_limit(self) -> bool:
        """Whether it climbs more slowly than planned, behind its plan: with all its power."""
        pace = self._slow_pace_c_per_h
        if pace is None or self.paces is None or self.paces.steady or self.paces.swings:
            return False
        return _is_power(pace, self.now_c)

    @property
    def _slow_pace_c_per_h(self) -> float | None:
        """The pace of a ramp that climbs more slowly than planned, behind its plan, or None."""
        position = self.position
        pace = None if self.paces is None else self.paces.pace_c_per_h
        if position.phase != "ramp" or position.segment is None or pace is None:
            return None
        rate = self.schedule.segments[position.segment].rate_c_per_h
        heats = self.schedule.segments[position.segment].target_c > self.now_c
        slow = heats and rate is not None and self.lags and pace < AT_LIMIT_SHARE * rate
        return pace if slow else None

    @property
    def held_back(self) -> float:
        """How many times longer this ramp takes where it is slow, and not for want of power.

        Nothing says that the ramps after it are slow as well, but where a relay swings so far that
        the clock waits, or those before it were: `held_back_later`.
        """
        if self.paces is None or self.position.phase != "ramp":
            return 1.0
        if self.paces.pace_c_per_h is None:
            return self.paces.lasting_habit
        slow = self._slow_pace_c_per_h is not None and not self.at_limit
        return self.pace_slower if slow else 1.0

    @property
    def held_back_later(self) -> float:
        """How many times longer the ramps after it take for that."""
        if self.paces is None:
            return 1.0
        if self.position.phase != "ramp":
            return self.paces.lasting_habit
        return self.held_back if self.paces.swings else min(self.held_back, self.paces.habit)

    def stalls(self, climb: ClimbLimit | None, below_c: float = ARRIVED_C) -> bool:
        """Tell whether a kiln at full power, by what it has shown, stays so far below its top."""
        if not isinstance(climb, FullPowerClimb) or climb.stalls_c is None:
            return False
        first = self.position.segment or 0
        to_c = max((one.target_c for one in self.schedule.segments[first:]), default=0.0)
        return max(climb.stalls_c, self.now_c) < to_c - below_c

    @property
    def pace_slower(self) -> float:
        """How many times longer this ramp takes at the pace it has now."""
        pace, segment = self._slow_pace_c_per_h, self.position.segment
        if pace is None or segment is None:
            return self.dragged
        rate = self.schedule.segments[segment].rate_c_per_h or pace
        return rate / max(pace, rate / MOST_SLOWDOWN)

    @property
    def slower_so_far(self) -> float:
        """How many times longer it took so far than planned: a relay's waits come again."""
        late_s, planned_s = self.position.late_s or 0.0, self.position.program_s
        return 1.0 + late_s / planned_s if 0.0 < late_s < planned_s else 1.0

    @property
    def lags(self) -> bool:
        """Whether it is so far behind its plan that it counts."""
        return self.deviation_c is not None and self.deviation_c < -LAGGING_C

    def slower(self, due: RemainingCourse) -> float:
        """Return how many times longer this ramp takes than a kiln model has it: 1 if it keeps up.

        `due` is how it would go on if it did: a model knows of a lag, the plan does not.
        """
        if self.paces is not None and self.paces.pace_c_per_h is None:
            return max(self.dragged, self.held_back)
        pace = _pace_c_per_h(due)
        slow = self.at_limit or self.held_back > 1.0
        if not slow or self.paces is None or pace <= 0.0:
            return self.dragged
        shown = max(self.paces.pace_c_per_h or 0.0, pace / MOST_SLOWDOWN)
        return max(pace / shown, 1.0) if shown < ON_PACE_SHARE * pace else 1.0

    def as_shown(self, due: RemainingCourse, likely: float = LIKELY) -> tuple[float, float] | None:
        """Return how many times longer this ramp and those after it take than `due` has them.

        By the pace that full power had last, so `likely` to be this fast or faster; None where it
        was not at full power, or has done more since.  A pace that stays may be a rate keyed
        wrong: it says as well how long the ramp takes.
        """
        index, doubted = self.position.segment, likely > LIKELY or self.held_back > 1.0
        shown = None if self.paces is None else self.paces.shown_pace(doubted=doubted)
        if shown is None or index is None or self.position.phase not in ("ramp", "hold"):
            return None
        limit = shown.climb(likely, self.now_c, self.schedule.peak_c)
        from_c, from_s, took, taken = self.now_c, 0.0, [0.0, 0.0], [0.0, 0.0]
        for later, segment in enumerate(self.schedule.segments[index:]):
            if segment.target_c > from_c + WAIT_BAND_C and segment.rate_c_per_h is not None:
                levels_c = np.linspace(from_c, segment.target_c - WAIT_BAND_C, CLIMB_POINTS)
                pace = np.minimum(limit.c_per_h(levels_c), segment.rate_c_per_h)
                took[later > 0] += SECONDS_PER_HOUR * float(np.trapezoid(1.0 / pace, levels_c))
                taken[later > 0] += due.segment_ends_s[index + later] - segment.hold_s - from_s
            from_c, from_s = segment.target_c, due.segment_ends_s[index + later]
        if min(taken[0], took[0]) <= 0.0:
            return None
        return took[0] / taken[0], took[1] / taken[1] if taken[1] > 0.0 else 1.0

    @property
    def dragged(self) -> float:
        """How many times longer heating takes for a clock that waits a little all the time."""
        drag = 0.0 if self.paces is None or self.waits_share < LIKELY else self.paces.drag
        if self.now_c < DRAG_FROM_C:
            return 1.0  # ware that dries, and the first swings of a cold kiln
        return 1.0 + drag if DRAG_LEAST < drag < DRAG_MOST and not self.at_limit else 1.0

    @property
    def own_slower(self) -> tuple[float, float]:
        """How many times longer this ramp and those after it take, and not for want of power."""
        return max(self.dragged, self.held_back), max(self.dragged, self.held_back_later)

    @property
    def waits_share(self) -> float:
        """How likely the clock waits: as said, or by what was shown."""
        if self.waits is not None:
            return float(self.waits)
        return WAITS_PRIOR if self.paces is None else self.paces.clock.waits_share

    @property
    def clock_s(self) -> float | None:
        """Which moment of the plan a clock that never waited has now [s]; None if not known."""
        late_s, phase = self.position.late_s, self.position.phase
        if self.plan is None:
            return None
        if late_s is not None and phase in ("ramp", "hold"):
            return self.position.program_s + late_s
        began_s = None if self.paces is None else self.paces.clock.began_s
        return self.now_s - began_s if began_s is not None and phase == "left" else None

    @property
    def ends_likely(self) -> tuple[float, float]:
        """How likely a kiln is faster than the ends of the range of clocks that wait."""
        return max(self.of_waiting(QUICK), 1.0 - SURELY), max(self.of_waiting(SLOW), LIKELY)

    def of_waiting(self, likely: float) -> float:
        """Return how likely it is among ends of clocks that wait what is so likely among all.

        A clock that does not wait ends the program first.
        """
        if self.clock_s is None:
            return likely
        other = 1.0 - self.waits_share
        return (likely - other) / (1.0 - other) if likely > other else 0.0

    def on_its_clock(
        self,
        expected: RemainingCourse,
        quickest: RemainingCourse,
        slowest: RemainingCourse | None,
    ) -> tuple[RemainingCourse, RemainingCourse, RemainingCourse | None]:
        """Return three courses as a clock that does not wait has them, where it may be one."""
        clock_s, plan = self.clock_s, self.plan
        if plan is None or clock_s is None:
            return expected, quickest, slowest
        left_s = max(plan.segments[-1].end_s - clock_s, CLOCK_STEP_S)
        other = 1.0 - self.waits_share

        def by_the_clock(rest: RemainingCourse) -> RemainingCourse:
            return _by_the_clock(rest, plan, clock_s, left_s)

        if other >= QUICK and left_s < quickest.program_s:
            quickest = by_the_clock(quickest)
        if other > LIKELY:
            expected = by_the_clock(expected)
        if other >= SLOW:
            slowest = by_the_clock(expected if slowest is None else slowest)
        return expected, quickest, slowest

    @property
    def _heats_on(self) -> bool:
        """Whether anything is left to be heated, or held."""
        position, schedule = self.position, self.schedule
        first = position.segment or 0
        return position.phase != "done" and any(
            segment.target_c > schedule.from_c(index)
            for index, segment in enumerate(schedule.segments[first:], first)
        )

    def climb(self, likely: float = LIKELY) -> ClimbLimit | None:
        """Return what it can do at the most, so `likely` to be this fast or faster.

        That is what it has shown; where it has shown nothing, as little as it may have for its
        plan, and as much as its plan asks for.
        """
        paces, slow = self.paces, likely > LIKELY
        if paces is None or not self._heats_on:
            return None
        to_c = self.schedule.peak_c
        pace = paces.shown_pace(doubted=slow)
        if pace is not None:
            return pace.climb(likely, self.now_c, to_c)
        found = paces.full_power(self.now_c, doubted=slow)
        keeps_up = paces.pace_c_per_h is not None and self._slow_pace_c_per_h is None
        if found is not None and (slow or (found.shown and not keeps_up)):
            ahead = found if likely == LIKELY else found.ranked(to_c, likely)
            climb = ahead.climb(likely, to_c)
            # Nobody has seen it stall.
            return climb if found.shown else replace(climb, stalls_c=None)
        if self.at_limit and paces.pace_c_per_h is not None:
            share = 1.0 - PACE_ERROR_SHARE * NormalDist().inv_cdf(likely)
            return UsualClimb(paces.pace_at_c, share * paces.pace_c_per_h)
        return None


def _is_power(pace_c_per_h: float, at_c: float) -> bool:
    """Tell whether a pace may be that of a kiln at full power, which lacks some of it."""
    usual = default_kiln.full_power_rate_c_per_h(np.array([at_c, 20.0]))
    share = 1.0 + (pace_c_per_h - float(usual[0])) / float(usual[1])
    return share > (LEAST_COLD_SHARE if at_c < COLD_C else LEAST_POWER_SHARE)


def _swings(left_c: FloatArray) -> bool:
    """Tell whether what a smooth course leaves of readings swings, as a relay does; noise does not.

    A kiln at full power does not swing, nor does it fall and rise as in an outage.
    """
    square = float(left_c @ left_c)
    alike = float(left_c[1:] @ left_c[:-1]) > SWING_ALIKE * square and left_c.size >= SWING_POINTS
    return square > (SWING_C if alike else FALL_C) ** 2 * left_c.size


def _calmed(about_s: FloatArray, left_c: FloatArray) -> FloatArray:
    """Return means over two minutes, of which noise makes less than of single readings."""
    each = math.floor(CALM_S * about_s.size / (about_s[-1] - about_s[0]))
    if each < 2:
        return left_c
    whole = left_c.size // each
    return np.asarray(left_c[-whole * each :].reshape(whole, each).mean(axis=1))


def _calm(temperature_c: FloatArray) -> FloatArray:
    """Return the means of a few readings in a row; none of fewer."""
    if temperature_c.size < FELL_READINGS:
        return np.zeros(0)
    return np.convolve(temperature_c, np.full(FELL_READINGS, 1.0 / FELL_READINGS), "valid")


def _fell_from_s(time_s: FloatArray, temperature_c: FloatArray) -> float | None:
    """Return since when readings fall that rose, as at full power none do; or None."""
    calm_c = _calm(temperature_c)
    top = int(np.argmax(calm_c))
    least_c = OLD_GROUND_C if calm_c[top] > DRAG_FROM_C else COLD_SWING_C
    return float(time_s[top]) if calm_c[top] - calm_c[-1] > least_c else None


def _rose_s(at_s: FloatArray, level_c: FloatArray) -> float:
    """Return since when a pace falls that rose before: until then it was no full power [s].

    A kiln at full power climbs more slowly the hotter it is, once its ware is dry.
    """
    hour = (at_s >= at_s[0] + SECONDS_PER_HOUR) & (level_c > DRY_C)
    then_c = np.interp(at_s[hour] - SECONDS_PER_HOUR, at_s, level_c)
    dry = then_c > DRY_C
    if not dry.any():
        return -math.inf
    risen_c = level_c[hour][dry] - then_c[dry]
    most = int(np.argmax(risen_c))
    rose = risen_c[most] > ROSE * float(np.min(risen_c[: most + 1]))
    return float(at_s[hour][dry][most]) - 0.5 * SECONDS_PER_HOUR if rose else -math.inf


SWING_C, FALL_C, SWING_ALIKE, SWING_POINTS = 1.0, 8.0, 0.4, 12
CALM_S, ROSE, SHOWN_MOST_S, HABIT_S = 120.0, 1.12, 7200.0, 3600.0
"""Noise is told from a swing by means over so long; a pace that rose so many times in an hour was
no full power; what was shown counts so long after; a ramp of so long shows a habit.  These and the
next two are chosen on made firings [s, -, s, s]."""
OLD_GROUND_C = 8.0
"""A kiln that was so much hotter before climbs the faster there, and not by its clock [°C]."""
COLD_SWING_C = 25.0
"""A relay makes a cold kiln swing by less [°C]."""
PACE_WINDOW_S, PACE_SETTLED_S, PACE_POINTS, FELL_READINGS = 1800.0, 600.0, 4, 3
OFF_ITS_RAMP_C, LAG_BEGINS_C = 12.0, 3.0
SURELY_SLOW_S = 600.0
"""A line through half an hour that is too slow has been so this long at the least [s]."""
KEPT_SHARE = 0.97
DRAG_WINDOW_S, DRAG_LEAST_S, DRAG_POINTS = 5400.0, 2700.0, 8


class PaceKeeper:
    """What the ramps so far have shown: the pace now, full power, and how it falls behind."""

    def __init__(self, schedule: Schedule) -> None:
        self._schedule = schedule
        self.pace_c_per_h: float | None = None
        self.pace_at_c = self._level_c = math.nan
        self.drag = 0.0
        self.steady = self.swings = False
        self._at_limit: list[tuple[float, float, float]] = []
        self._full: list[tuple[float, float]] = []
        self._kept_s = self._swung_s = -math.inf
        self._earlier_full: tuple[tuple[float, float], ...] = ()
        self._course: tuple[FloatArray, FloatArray] = np.zeros(0), np.zeros(0)
        self._segment: int | None = None
        self._late: list[tuple[float, float]] = []
        self._leader = CourseLeader(schedule.room_c)
        self._planned: tuple[LedCourse, ...] = ()
        self._power: dict[bool, FullPower] = {}
        self._rose_s = -math.inf
        self.clock = ClockEvidence()
        self.top_of_ramp = -1, -math.inf  # the ramp last seen, and its highest temperature [°C]
        self._slow: list[tuple[float, float]] = []
        self._habits: dict[int, float] = {}
        self._shown: dict[tuple[float, float], ShownPace | None] = {}

    def update(
        self, time_s: FloatArray, temperature_c: FloatArray, position: Position, behind_c: float
    ) -> None:
        """Take in where the firing stands, by the course so far; `behind_c` is below the plan."""
        self.pace_c_per_h, self._course = None, (time_s, temperature_c)
        self._power = {}
        index, begun_s, late_s = position.segment, position.begun_s, position.late_s
        if late_s is not None and position.phase in ("ramp", "hold"):
            self.clock.began_s = float(time_s[-1]) - position.program_s - late_s
        if position.phase != "ramp" or index is None:
            return
        segment = self._schedule.segments[index]
        if segment.target_c <= self._schedule.from_c(index):
            return
        now_s = float(time_s[-1])
        calm_c = _calm(temperature_c[time_s >= (-math.inf if begun_s is None else begun_s)])
        self.top_of_ramp = index, float(np.max(calm_c, initial=-math.inf))
        from_s = now_s - PACE_WINDOW_S
        if begun_s is not None:
            from_s = max(from_s, begun_s + PACE_SETTLED_S)
        inside = time_s >= from_s
        enough = np.count_nonzero(inside) >= PACE_POINTS
        if enough and now_s - from_s >= 0.6 * PACE_WINDOW_S:
            about_s, ramp_c = time_s[inside] - now_s, temperature_c[inside]
            line = np.polyfit(about_s, ramp_c, 1)
            left_c = ramp_c - np.polyval(np.polyfit(about_s, ramp_c, 2), about_s)
            self.swings = _swings(_calmed(about_s, left_c))
            if self.swings:
                self._swung_s = now_s
            self.pace_c_per_h = pace = float(line[0]) * SECONDS_PER_HOUR
            self._level_c = float(line[1])
            self.pace_at_c = float(np.mean(ramp_c))
            rate, slower, power = segment.rate_c_per_h, 1.0, True
            fell_from_s = _fell_from_s(time_s[inside], ramp_c)
            if fell_from_s is not None:
                self._end_full(fell_from_s)
                self.pace_c_per_h = None
            elif rate is not None and pace < AT_LIMIT_SHARE * rate and behind_c > LAGGING_C:
                self._at_limit.append((now_s, self.pace_at_c, pace))
                self._update_steady()
                power = _is_power(pace, float(temperature_c[-1]))
                if self.swings or self.steady or not power:
                    slower = rate / max(pace, 1.0)
                if not self.swings and power:
                    self._mark_full(now_s, (begun_s or -math.inf) + PACE_SETTLED_S)
                self._late, self.drag = [], 0.0
            elif (position.set_point_c or -math.inf) - self._level_c < LAG_BEGINS_C:
                self._kept_s = now_s
            if rate is not None and pace > KEPT_SHARE * rate:
                self._kept_s = now_s
            self._slow.append((now_s, slower))
            if rate is not None and late_s is not None and fell_from_s is None:
                high_c = float(np.max(temperature_c[~inside], initial=DRAG_FROM_C))
                begin_c = float(np.polyval(line, about_s[0]))
                # Where it was never as hot, before this window and in it.
                if max(high_c - begin_c, float(np.max(ramp_c)) - self._level_c) < OLD_GROUND_C:
                    over_c = self._level_c - float(temperature_c[-1])
                    behind_c = late_s * rate / SECONDS_PER_HOUR - over_c
                    slow = pace < AT_LIMIT_SHARE * rate
                    regulated = slow and (self.swings or not power)
                    self.clock.add(behind_c, pace / rate, regulated=regulated)
        self._fall_behind(index, now_s, late_s)

    def on_its_ramp_c(self, now_s: float, now_c: float) -> float:
        """Return where its ramp has come to, freed of swings and of the age of a reading [°C].

        That is `now_c` where no ramp is settled, or the last reading has left it.
        """
        if self.pace_c_per_h is None or abs(self._level_c - now_c) > OFF_ITS_RAMP_C:
            return now_c
        since_s = now_s - float(self._course[0][-1])
        return self._level_c + self.pace_c_per_h * since_s / SECONDS_PER_HOUR

    def _update_steady(self) -> None:
        """Take in how the pace has fallen since there is no power left."""
        at_s, level_c, paces = np.array(self._at_limit).T
        self._rose_s = max(self._rose_s, _rose_s(at_s, level_c))
        since = int(np.searchsorted(at_s, self._rose_s))
        to_c, now = float(level_c[-1]), float(paces[-1])
        dry = (level_c <= TAKES_UP_C[0]) | (level_c >= TAKES_UP_C[1])
        dry &= (to_c - level_c > STEADY_SPAN_C) & (at_s >= self._rose_s)
        first = int(np.argmax(dry)) if dry.any() else min(since, at_s.size - 1)
        from_c, begin = float(level_c[first]), float(paces[first])
        usual = default_kiln.full_power_rate_c_per_h(np.array([from_c, to_c]))
        lost = float(usual[0] - usual[1])
        self.steady = to_c - from_c > STEADY_SPAN_C and begin - now < STEADY_SHARE * lost
        if not dry.any() and self.habit > 1.0:
            self.steady = math.isinf(self._rose_s)

    def _end_full(self, fell_from_s: float) -> None:
        """Take back what looked like full power since the kiln began to fall."""
        self._at_limit = [one for one in self._at_limit if one[0] < fell_from_s]
        self._full = [
            (since_s, min(to_s, fell_from_s))
            for since_s, to_s in self._full
            if since_s < fell_from_s
        ]

    def _mark_full(self, now_s: float, settled_s: float) -> None:
        if self._full and self._full[-1][1] >= now_s - SURELY_SLOW_S:
            since_s = self._full.pop()[0]
        else:  # since it began to lag
            since_s = max(settled_s, self._kept_s, self._swung_s)
        self._full.append((min(now_s - SURELY_SLOW_S, max(since_s, self._rose_s)), now_s))

    @property
    def habit(self) -> float:
        """How many times longer each ramp before took at the least, and not for want of power."""
        return min(self._habits.values(), default=1.0)

    @property
    def lasting_habit(self) -> float:
        """The same, where there were several: the rate of one may have been keyed wrong."""
        return self.habit if len(self._habits) > 1 else 1.0

    def shown_pace(self, *, doubted: bool = False) -> ShownPace | None:
        """Return the pace at full power that it had last; None where it does more since.

        A pace that stays is taken for a set rate, unless that is `doubted`.
        """
        full = self._full if doubted or not self.steady else []
        full = full or list(self._earlier_full)
        if not full:
            return None
        key = full[-1]
        if key not in self._shown:
            self._shown = {key: shown_pace(*self._course, *key)}
        found = self._shown[key]
        time_s = self._course[0]
        if found is None or time_s[-1] - key[1] > SHOWN_MOST_S:
            return None
        if time_s[-1] - key[1] > SURELY_SLOW_S and self.pace_c_per_h is not None:
            had = found.pace_c_per_h - found.fall_per_h * (self.pace_at_c - found.at_c)
            if self.pace_c_per_h > OUTDONE * had:
                return None
        return found

    def full_power(self, now_c: float, *, doubted: bool = False) -> FullPower | None:
        """Return what the kiln may have by its plan, and by what its ramps so far have shown.

        A pace that stays is taken for a set rate, unless that is `doubted`.
        """
        if self._course[0].size < 2:
            return None
        room_c = self._schedule.room_c
        if not self._planned:
            plan = Plan(self._schedule)
            self._planned = CourseLeader(room_c).along(plan.time_s, plan.temperature_c)
        steady = self.steady and not doubted
        if steady not in self._power:
            full = [*self._earlier_full, *(() if steady else self._full)]
            self._power[steady] = full_power(
                *self._course, full, now_c, room_c, self._schedule.peak_c, self._planned,
                self._leader,
            )  # fmt: skip
        return self._power[steady]

    def _fall_behind(self, index: int, now_s: float, late_s: float | None) -> None:
        if index != self._segment:
            self._late = []
            long = self._slow and self._slow[-1][0] - self._slow[0][0] > HABIT_S
            if self._segment is not None and long:
                self._habits[self._segment] = float(np.median(self._slow, axis=0)[1])
            if not self.steady and self._habits.get(self._segment or 0, 1.0) == 1.0:
                self._earlier_full += tuple(self._full)
            self._segment, self._slow = index, []
            self._at_limit, self._full, self.steady = [], [], False
            self._rose_s = -math.inf
            self.clock.begin_ramp()
        if late_s is None:
            return
        self._late = [one for one in self._late if now_s - one[0] < DRAG_WINDOW_S]
        self._late.append((now_s, late_s))
        since_s, late = np.array(self._late).T
        since_s = since_s - now_s
        if -since_s[0] < DRAG_LEAST_S or since_s.size < DRAG_POINTS:
            return
        slope, level = np.polyfit(since_s, late, 1)
        left = late - level - slope * since_s
        spread = float(np.sum((since_s - since_s.mean()) ** 2))
        error = math.sqrt(float(left @ left) / (since_s.size - 2) / spread)
        self.drag = float(slope) if slope > 2.0 * error else 0.0


def _pace_c_per_h(due: RemainingCourse) -> float:
    then_s = min(PACE_S, min(due.segment_ends_s.values(), default=PACE_S), due.program_s)
    if then_s < 1.0:
        return 0.0
    then_c = float(np.interp(then_s, due.time_s, due.temperature_c))
    return abs(then_c - float(due.temperature_c[0])) / then_s * SECONDS_PER_HOUR


def _by_the_clock(
    rest: RemainingCourse, plan: Plan, clock_s: float, left_s: float
) -> RemainingCourse:
    """Return a course on a clock that does not wait: never above it, and over when it is over."""
    time_s = np.append(np.arange(0.0, left_s, CLOCK_STEP_S), left_s)
    set_c = np.interp(clock_s + time_s, plan.time_s, plan.temperature_c)
    course_c = np.minimum(np.interp(time_s, rest.time_s, rest.temperature_c), set_c)
    course_c[0] = rest.temperature_c[0]
    cools = (rest.time_s >= rest.program_s) & (rest.temperature_c < course_c[-1])
    after_s = rest.time_s[cools]
    from_s = rest.program_s
    if after_s.size and rest.temperature_c[rest.time_s >= rest.program_s][0] > course_c[-1]:
        from_s = float(after_s[0])
    later_s = left_s - from_s
    ticks = nearest_ticks(np.concatenate((time_s, after_s + later_s)))
    course_c = np.concatenate((course_c, rest.temperature_c[cools]))
    kept = np.append(True, np.diff(ticks) > 0)
    cooling_s = max(float(rest.time_s[-1]) - from_s, 0.0)
    whole_s = max(rest.unload_s - rest.program_s, 1.0)
    low, high = (
        (end_s - rest.program_s) / whole_s for end_s in (rest.unload_low_s, rest.unload_high_s)
    )
    ends_s = {
        index: max(plan.segments[index].end_s - clock_s, 0.0) for index in rest.segment_ends_s
    }
    return RemainingCourse(
        ticks[kept] / TICKS_PER_S,
        course_c[kept],
        left_s,
        left_s + cooling_s,
        left_s + low * cooling_s,
        left_s + high * cooling_s,
        ends_s,
    )


_Ends = tuple[RemainingCourse, RemainingCourse, RemainingCourse | None]


class _AfterAFall:
    """The rest of a firing that fell: first it regains at full power what it had."""

    def __init__(self, predictor: Predictor, progress: FiringProgress) -> None:
        self._predictor, self._progress = predictor, progress

    def remaining(
        self,
        likely: float = LIKELY,
        *,
        slower_now: float = 1.0,
        slower_later: float = 1.0,
        climb: ClimbLimit | None = None,
    ) -> RemainingCourse:
        """Return the rest; see `Predictor`."""
        one = self._progress
        to_c = one.regains_c
        way = None if to_c is None else one.regaining(to_c, likely)
        rest = self._predictor.remaining(
            one.position,
            one.now_s,
            one.now_c if way is None or to_c is None else to_c,
            slower_now=slower_now,
            slower_later=slower_later,
            climb=climb,
        )
        if way is None:
            return rest
        by_s = floor_tick_s(float(way[0][-1]))
        time_s, course_c = course_on_grid(
            np.concatenate((way[0][:-1], rest.time_s + by_s)),
            np.concatenate((way[1][:-1], rest.temperature_c)),
        )
        return RemainingCourse(
            time_s,
            course_c,
            rest.program_s + by_s,
            rest.unload_s + by_s,
            rest.unload_low_s + by_s,
            rest.unload_high_s + by_s,
            {index: end_s + by_s for index, end_s in rest.segment_ends_s.items()},
        )


def _let_down_late(rest: RemainingCourse, schedule: Schedule) -> RemainingCourse:
    """Return a course whose clock waits at first for a kiln that it leads down."""
    for index in sorted(rest.segment_ends_s)[1:]:
        segment, from_c = schedule.segments[index], schedule.from_c(index)
        if segment.rate_c_per_h is None or segment.target_c > from_c - ARRIVED_C:
            continue
        whole_s = (from_c - segment.target_c) / segment.rate_c_per_h * SECONDS_PER_HOUR
        by_s = floor_tick_s(LED_DOWN_SHARE * min(whole_s, LED_DOWN_S))
        from_s = rest.segment_ends_s[index - 1]
        ends_s = {i: end_s + by_s * (i >= index) for i, end_s in rest.segment_ends_s.items()}
        return RemainingCourse(
            rest.time_s + by_s * (rest.time_s > from_s),
            rest.temperature_c,
            rest.program_s + by_s,
            rest.unload_s + by_s,
            rest.unload_low_s + by_s,
            rest.unload_high_s + by_s,
            ends_s,
        )
    return rest


def predict(
    predictor: Predictor, model: KilnPredictor | None, progress: FiringProgress
) -> Prediction | None:
    """Return how a firing goes on; None where nobody can tell.

    `predictor` says how it goes on as expected, `model` also how far off that may be.
    """
    progress = progress.not_before_its_clock
    position = progress.position
    try:
        if model is None:
            found = _without_kiln(_AfterAFall(predictor, progress), progress)
        else:
            found = _by_kiln(predictor, model, progress)
    except FiringError:
        return None  # a course that no curve answers for: nothing is told rather than guessed
    expected, quickest, slowest = found
    if progress.power_gone:
        slowest = None  # nobody knows when it is back
    elif slowest is not None:
        slowest = _let_down_late(slowest, progress.schedule)
    expected, quickest, slowest = progress.on_its_clock(expected, quickest, slowest)
    if progress.cooling is not None and position.phase == "done":
        expected = as_it_cools(expected, progress.cooling, progress.schedule.room_c)
        quickest = slowest = expected
    return Prediction(expected, quickest, slowest)


def _without_kiln(predictor: _AfterAFall, progress: FiringProgress) -> _Ends:
    """Return how it goes on by its plan and what it has shown: expected, quickest, slowest."""
    quick, slow = progress.ends_likely
    limit, quick_limit = progress.climb(), progress.climb(quick)
    slower, later = progress.own_slower
    never = progress.stalls(limit)
    if never and progress.stalls(limit, STALL_NEAR_C):
        # Told as the pace now has it, and as an end that may never be.
        limit, slower, later = None, progress.pace_slower, progress.pace_slower
    expected = predictor.remaining(slower_now=slower, slower_later=later, climb=limit)
    quickest = predictor.remaining(quick, climb=quick_limit)
    worst, so_far = progress.climb(slow), max(slower, progress.slower_so_far)
    if never or progress.stalls(worst):
        return expected, quickest, None
    try:
        slowest = predictor.remaining(slow, slower_now=slower, slower_later=so_far, climb=worst)
    except FiringError:
        return expected, quickest, None
    return expected, quickest, slowest


def _by_kiln(predictor: Predictor, model: KilnPredictor, progress: FiringProgress) -> _Ends:
    """Return how it goes on by a kiln's model: expected, quickest, slowest."""
    position, now_s, now_c = progress.position, progress.now_s, progress.now_c
    quick, slow = progress.ends_likely
    due = predictor.remaining(position, now_s, now_c)

    def stretched(by: tuple[float, float]) -> RemainingCourse:
        return predictor.remaining(position, now_s, now_c, slower_now=by[0], slower_later=by[1])

    shown = progress.as_shown(due)
    slower, later = progress.slower(due), progress.own_slower[1]
    if progress.at_limit:
        later = 1.0
    if shown is not None:
        slower, later = shown
    expected = due if shown is None and slower == 1.0 else stretched((slower, later))
    at_best, at_worst = progress.as_shown(due, quick), progress.as_shown(due, slow)
    if at_best is None:
        quickest = model.remaining(position, now_s, now_c, side=AT_ITS_BEST)
    else:
        quickest = stretched(at_best)
    try:
        if at_worst is not None and not progress.stalls(progress.climb(slow)):
            slowest = stretched(at_worst)
        else:
            slowest = model.remaining(
                position, now_s, now_c, slower_now=slower, slower_later=slower, side=AT_ITS_WORST
            )
    except FiringError:
        return expected, quickest, None
    return expected, quickest, slowest


LATE_S, LATE_OF_WHOLE, LATE_MORE = 1800.0, 0.05, 1.5
"""An end so much later than planned, and by this share of the program, is told; once more when it
is so many times as much [s, -, -]."""
LATE_LOOKS, LATE_AGAIN_LOOKS = 3, 4
"""So many looks in a row show it, and that it has grown: the pace of a kiln that has paused, or
comes to its limit, is known badly at first."""
ON_THE_WAY_S = 900.0


class Lateness:
    """Tells of an end that comes later than planned, with its reason."""

    def __init__(self, unit: TemperatureUnit) -> None:
        self._unit = unit
        self._told_s = 0.0
        self._looks_s: list[float] = []

    def events(
        self, now_s: float, late_s: float, whole_s: float, progress: FiringProgress
    ) -> list[WatchEvent]:
        """Take in how late the end will be; return what is to be told of it."""
        least_s = max(LATE_S, LATE_OF_WHOLE * whole_s, LATE_MORE * self._told_s)
        self._looks_s = [*self._looks_s, late_s] if late_s > least_s else []
        if len(self._looks_s) < (LATE_AGAIN_LOOKS if self._told_s else LATE_LOOKS):
            return []
        late_s = min(self._looks_s)
        self._told_s, self._looks_s = late_s, []
        message = (
            f"the program ends about {format_duration(round(late_s, -2))} later than planned: "
            f"{self._reason(progress)}"
        )
        return [WatchEvent("late", "note", "told", now_s, message)]

    def _reason(self, progress: FiringProgress) -> str:
        position, paces = progress.position, progress.paces
        label = "" if position.segment is None else progress.schedule.label(position.segment)
        slow = progress.at_limit or progress.held_back > 1.0
        pace_c_per_h = None if paces is None else paces.pace_c_per_h
        if slow and pace_c_per_h is not None and position.segment is not None:
            planned = format_rate(
                progress.schedule.segments[position.segment].rate_c_per_h or 0.0, self._unit
            )
            pace = format_rate(pace_c_per_h, self._unit)
            check = (
                "look at elements and supply"
                if progress.at_limit
                else "check the rate keyed, then elements and supply"
            )
            return (
                f"in segment {label} the kiln climbs {pace}, planned {planned}; {check}, or plan "
                "on the later hour"
            )
        if progress.dragged > 1.0:
            return (
                f"segment {label} takes {100.0 * (progress.dragged - 1.0):.0f} % longer than its "
                "rate says; plan on the later hour"
            )
        if (position.late_s or 0.0) > ON_THE_WAY_S:
            lost = format_duration(round(position.late_s or 0.0, -2))
            return f"{lost} were lost on the way here; the rest goes as planned"
        return "by the kiln's model it has too little power for the ramps to come"
