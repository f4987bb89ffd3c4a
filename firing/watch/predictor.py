"""How the firing goes on from here, if the plan goes on.

`Predictor` is the seam: whoever knows the kiln better, from a fitted model, answers the same
question.  What is here takes the rest of the forecast and stretches it by how the kiln lags.
"""

from typing import Protocol

import numpy as np

from firing.forecast.result import Forecast
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.watch.position import Plan, Position
from firing.watch.state import Rest
from firing.watch.ticks import TICKS_PER_S, last_of_each, ticks


class Predictor(Protocol):
    """Says how a firing goes on."""

    def rest(
        self,
        position: Position,
        now_s: float,
        temperature_c: float,
        *,
        slower_now: float = 1.0,
        slower_later: float = 1.0,
    ) -> Rest:
        """Return the rest of a firing.

        Parameters
        ----------
        position : Position
            Where it stands.
        now_s : float
            On the same clock as the position [s].
        temperature_c : float
            The kiln's temperature now [°C].
        slower_now, slower_later : float
            How many times longer heating takes than forecast, in this ramp and in those after it.
        """


class ForecastPredictor:
    """The rest of a forecast, whether by the plan's arithmetic or by a kiln model.

    Parameters
    ----------
    forecast : Forecast
        The whole firing.
    """

    def __init__(self, forecast: Forecast) -> None:
        self._forecast = forecast
        self._plan = Plan(forecast.schedule, forecast.trace, forecast.segments)

    def rest(
        self,
        position: Position,
        now_s: float,
        temperature_c: float,
        *,
        slower_now: float = 1.0,
        slower_later: float = 1.0,
    ) -> Rest:
        """Return the rest of the firing; see `Predictor`."""
        course = _Course(temperature_c)
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
        whole_s = max(forecast.total_s - forecast.program_s, 1.0)
        low = (forecast.total_low_s - forecast.program_s) / whole_s
        high = (forecast.total_high_s - forecast.program_s) / whole_s
        return Rest(
            time_s,
            course_c,
            program_s,
            course.now_s,
            program_s + low * cooled_s,
            program_s + high * cooled_s,
            segment_ends_s,
        )

    def _ramp(self, course: "_Course", index: int, temperature_c: float, slower: float) -> None:
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


class _Course:
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
        elapsed = ticks((time_s - time_s[0]) * slower)
        later = last_of_each(elapsed) & (elapsed > 0)
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
