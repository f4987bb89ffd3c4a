"""How a running firing goes on: as expected, at its quickest and at its slowest.

`Predictor` is the seam: whoever knows the kiln better, from a fitted model, answers the same
question.  What is here takes the rest of the forecast and stretches it by how the kiln lags.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from firing.errors import FiringError
from firing.forecast.result import Forecast
from firing.review.position import Plan, Position
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.watch.history import TICKS_PER_S, is_last_at_its_tick, nearest_ticks
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
PACE_S = 600.0
ON_PACE_SHARE = 0.95


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
    ) -> RemainingCourse:
        """Return the rest of a firing that stands at `position` at `now_s`, on the same clock.

        `slower_now` and `slower_later` are how many times longer heating takes than forecast, in
        this ramp and in those after it.
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
    ) -> RemainingCourse:
        """Return the rest of the firing; see `Predictor`."""
        course = _CourseBuilder(temperature_c)
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
        self, course: "_CourseBuilder", index: int, temperature_c: float, slower: float
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

    def __init__(self, temperature_c: float) -> None:
        self._ticks = [np.array([0])]
        self._temperature_c = [np.array([temperature_c])]
        self._now = 0
        self.now_c = temperature_c

    @property
    def now_s(self) -> float:
        return self._now / TICKS_PER_S

    def add(self, time_s: FloatArray, temperature_c: FloatArray, slower: float) -> None:
        elapsed = nearest_ticks((time_s - time_s[0]) * slower)
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
    """How a firing goes now; `deviation_c` is above the plan, or below (negative)."""

    schedule: Schedule
    position: Position
    now_s: float
    now_c: float
    rate_c_per_h: float | None
    deviation_c: float | None

    def slower(self, due: RemainingCourse) -> float:
        """Return how many times longer this ramp takes than is due; 1 if it keeps up.

        `due` is how it would go on if it did: a kiln model knows of a lag, the plan does not.
        """
        position, rate = self.position, self.rate_c_per_h
        if position.phase != "ramp" or position.segment is None:
            return 1.0
        late = self.deviation_c is not None and self.deviation_c < 0.0
        if self.schedule.segments[position.segment].rate_c_per_h is None or not late:
            return 1.0
        pace = _pace_c_per_h(due)
        if rate is None or pace <= 0.0 or rate > ON_PACE_SHARE * pace:
            return 1.0
        return min(pace / max(rate, pace / MOST_SLOWDOWN), MOST_SLOWDOWN)

    @property
    def lags(self) -> bool:
        """Whether it is so far behind its plan that it counts."""
        return self.deviation_c is not None and self.deviation_c < -LAGGING_C


def _pace_c_per_h(due: RemainingCourse) -> float:
    then_s = min(PACE_S, min(due.segment_ends_s.values(), default=PACE_S), due.program_s)
    if then_s < 1.0:
        return 0.0
    then_c = float(np.interp(then_s, due.time_s, due.temperature_c))
    return abs(then_c - float(due.temperature_c[0])) / then_s * SECONDS_PER_HOUR


def predict(
    predictor: Predictor, model: KilnPredictor | None, progress: FiringProgress
) -> Prediction | None:
    """Return how a firing goes on; None where nobody can tell.

    `predictor` says how it goes on as expected, `model` also how far off that may be.
    """
    position, now_s, now_c = progress.position, progress.now_s, progress.now_c
    try:
        due = predictor.remaining(position, now_s, now_c)
        slower = progress.slower(due)
        expected = due
        if progress.lags and slower > 1.0:
            expected = predictor.remaining(position, now_s, now_c, slower_now=slower)
        quickest = due
        if model is not None:
            quickest = model.remaining(position, now_s, now_c, side=AT_ITS_BEST)
    except FiringError:
        return None  # a course that no curve answers for: nothing is told rather than guessed
    slowest: RemainingCourse | None
    try:
        if model is not None:
            slowest = model.remaining(
                position,
                now_s,
                now_c,
                slower_now=slower,
                slower_later=slower,
                side=AT_ITS_WORST,
            )
        else:
            slowest = predictor.remaining(
                position, now_s, now_c, slower_now=slower, slower_later=slower
            )
    except FiringError:
        slowest = None
    return Prediction(expected, quickest, slowest)
