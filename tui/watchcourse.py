"""A running firing as lines to draw: its plan, its readings so far, and how it will go on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from firing.report.chart import ChartSeries
from firing.report.formatting import Timekeeper
from firing.units import TemperatureUnit
from firing.watch.position import Plan

from .course import CORE, FORECAST, SET_POINT, Course

if TYPE_CHECKING:
    from firing.schedule.schedule import Schedule
    from firing.trace import FloatArray

    from .watch_state import WatchState

NOW = CORE
"""The colour of what is still to come."""


class WatchLines:
    """Draws a watch on top of its plan.

    Parameters
    ----------
    schedule : Schedule or None
        The plan it goes by.
    """

    def __init__(self, schedule: Schedule | None) -> None:
        self._schedule = schedule
        self._plan = None if schedule is None else Plan(schedule)
        self._began_s: float | None = None

    def course(self, seen: WatchState, unit: TemperatureUnit) -> Course:
        """Return the plan dashed, the readings solid, and what is to come dotted."""
        lines: list[ChartSeries] = []
        corners: list[float] = []
        plan_s = self._origin_s(seen)
        if self._plan is not None:
            plan = self._plan
            run = plan.time_s <= plan.segments[-1].end_s
            time_s = plan.time_s[run] + plan_s
            lines.append(ChartSeries("plan", time_s, plan.temperature_c[run], "dashed", SET_POINT))
            for part in plan.segments:
                corners += [plan_s + part.start_s, plan_s + part.ramp_end_s, plan_s + part.end_s]
        rest, estimate = seen.rest, seen.estimate
        if rest is not None and estimate is not None:
            to_come = rest.time_s + estimate.now_s
            lines.append(ChartSeries("to come", to_come, rest.temperature_c, "dotted", NOW))
            corners += [estimate.now_s, float(to_come[-1])]
        if seen.time_s.size:
            name = seen.names[seen.channel] if seen.names else "kiln"
            lines.append(ChartSeries(name, seen.time_s, seen.course_c, "solid", FORECAST))
            corners.append(float(seen.time_s[0]))
        last_s = max((float(line.time_s[-1]) for line in lines if line.time_s.size), default=0.0)
        return Course(
            tuple(lines),
            unit,
            Timekeeper(seen.began, last_s),
            _in_order(corners),
            lambda at_s: self._place(seen, at_s),
        )

    def _origin_s(self, seen: WatchState) -> float:
        """Return where the plan begins on the recording's clock, as the firing really began [s]."""
        estimate = seen.estimate
        position = None if estimate is None else estimate.position
        if estimate is None or position is None or position.segment is None:
            return seen.now_s  # not heating yet: at the earliest, now
        at_s = estimate.now_s
        if position.phase == "done" and position.arrived_s is not None:
            at_s = position.arrived_s
        if position.late_s is not None:
            self._began_s = at_s - position.late_s - position.program_s
        elif self._began_s is None:
            # Its beginning was not seen: as if it had kept to the plan up to here.
            self._began_s = at_s - position.program_s
        return self._began_s

    def _place(self, seen: WatchState, at_s: float) -> str:
        """Tell which segment a moment still to come falls into."""
        rest, estimate = seen.rest, seen.estimate
        if self._schedule is None or rest is None or estimate is None or at_s < estimate.now_s:
            return ""
        for index, left_s in rest.segment_ends_s.items():
            if at_s <= estimate.now_s + left_s:
                return self._schedule.label(index)
        return "cooling" if rest.time_s.size else ""


def _in_order(moments: list[float]) -> FloatArray:
    return np.array(sorted(set(moments)))
