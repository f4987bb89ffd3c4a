"""Says when the readings are not of the plan that a watch was given."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from firing.review.other_program import other_program
from firing.review.resample import resampled
from firing.review.which_plan import which_plan_so_far
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.watch.events import WatchEvent

LOOK_EVERY_S = 600.0
LEAST_POINTS = 20
"""Readings on the half-minute that a look asks for at the least."""

PlanChoice = Callable[[], Mapping[str, Schedule]]
"""Finds other plans that may have been meant, by their names."""


def no_choice() -> Mapping[str, Schedule]:
    """Return no other plan."""
    return {}


class PlanDoubt:
    """Looks whether the readings so far can be of the plan, and says once that they cannot."""

    def __init__(self, schedule: Schedule, choice: PlanChoice = no_choice) -> None:
        self._schedule = schedule
        self._choice = choice
        self._looked_s: float | None = None
        self.why = ""

    def look(self, now_s: float, time_s: FloatArray, temperature_c: FloatArray) -> list[WatchEvent]:
        """Look, if it is time; return what has to be told."""
        if self.why or time_s.size < LEAST_POINTS:
            return []
        if self._looked_s is not None and now_s - self._looked_s < LOOK_EVERY_S:
            return []
        self._looked_s = now_s
        trace = resampled(time_s, temperature_c)
        self.why = other_program(self._schedule, trace)
        if not self.why:
            return []
        better = which_plan_so_far(trace, self._choice())
        named = f'; "{better}" fits' if better else ""
        message = (
            f"this looks like another program than the plan given: {self.why}{named}; check which "
            "plan you gave this watch, and which program runs"
        )
        return [WatchEvent("other-program", "note", "told", now_s, message)]
