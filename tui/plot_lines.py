"""Forecasts, reviews and running firings as lines to draw, and what a moment of them reads as."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import cycle
from typing import TYPE_CHECKING

import numpy as np

from firing.forecast.result import Forecast
from firing.report.charts.text_chart import ChartSeries, LineStyle
from firing.report.sanitize import display_width
from firing.report.words import Timekeeper
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import TemperatureUnit, format_temperature, hours_minutes

from .equipment import plan_times
from .plot import Mark

if TYPE_CHECKING:
    from firing.review.overlay import Overlay
    from firing.review.result import Review
    from firing.watch.snapshot import WatchState

# Places in the palette of the curve (see tui/app.py).
FORECAST, SET_POINT, CORE = 0, 1, 3
NOW = CORE
"""The colour of what is still to come."""


ASIDE: tuple[LineStyle, ...] = ("dash-dotted", "short-dashed", "dash-dot-dotted", "long-dashed")
"""The styles of what is measured beside the kiln, one after the other."""


@dataclass(frozen=True, eq=False)
class PlotLines:
    """What a curve shows."""

    lines: tuple[ChartSeries, ...]
    """The later ones lie on top."""
    unit: TemperatureUnit
    """Of the temperature axis."""
    keeper: Timekeeper
    """The clock of the time axis."""
    corners_s: FloatArray
    """Moments worth stepping to [s]."""
    place: Callable[[float], str]
    """Tells in words what the moment [s] belongs to."""
    marks: tuple[Mark, ...] = ()
    """What is marked along the foot, with letters on the topmost line there."""
    key: tuple[str, ...] = ()
    """What each letter means, in short."""

    def readout(self, at_s: float, width: int | None = None) -> str:
        """Return the moment and every line's temperature there, in one line.

        In fewer words where that would be wider than `width`: without the place, without the lines
        that are there on the side, with the unit told once; then line by line.
        """
        when = hours_minutes(at_s) if self.keeper.started is None else self.keeper.at(at_s)
        # Another course of the same plan is to be seen, not read off.
        found = [(line.name, value_at(line, at_s)) for line in self.lines if line.style != "faint"]
        values = [
            f"{name} {format_temperature(value_c, self.unit)}"
            for name, value_c in found
            if value_c is not None
        ]
        place = self.place(at_s)
        bare = " · ".join((when, *values))
        whole = f"{bare} · {place}" if place else bare
        if width is None or display_width(whole) <= width or not values:
            return whole
        if display_width(bare) <= width:
            return bare
        main = tuple(line for line in self.lines if line.style not in (*ASIDE, "faint"))
        if 0 < len(main) < len(self.lines):
            return replace(self, lines=main).readout(at_s, width)
        unit = f" °{self.unit}"
        *others, last = (value.removesuffix(unit) for value in values)
        # A line gives way as a whole, the lowest first; a name never stands without its figure.
        while True:
            shorter = " ".join((when, *others, f"{last}{unit}"))
            if not others or display_width(shorter) <= width:
                return shorter
            del others[0]


def value_at(line: ChartSeries, at_s: float) -> float | None:
    """Return a line's temperature at a moment [°C], straight between samples; None outside it."""
    if not line.time_s.size or not line.time_s[0] <= at_s <= line.time_s[-1]:
        return None
    value = float(np.interp(at_s, line.time_s, line.temperature_c))
    return value if np.isfinite(value) else None


STAGES = {
    "candling": ("C", "candle"),
    "chemical water": ("W", "water"),
    "quartz inversion": ("Q", "quartz"),
    "burn-out": ("B", "burn"),
    "cone range": ("H", "cone"),
    "power limits": ("P", "power"),
}
"""The letters of what happens along a course, and a short word for each."""
BY_HAND = "!"


def forecast_lines(
    result: Forecast,
    then: Forecast | None = None,
    was: Forecast | None = None,
    *,
    marked: bool = True,
) -> PlotLines:
    """Return a forecast's lines: set-point dashed, forecast solid, cooling by itself dotted.

    With the thickest ware's core there are four, and shorter words for them.  Faintly below them
    lies what a change would make of it: `then`; or what it `was`.  What happens is `marked`.
    """
    trace = result.trace
    time_s, temperature_c = trace.time_s, trace.channel_c()
    run, after = time_s <= result.program_s, time_s >= result.program_s
    set_s, set_c = set_point(result)
    ghosts = (("then", then),) if then is not None else (("was", was),)
    lines = [_faint(name, other) for name, other in ghosts if other is not None]
    lines += [
        ChartSeries("set", set_s, set_c, "dashed", SET_POINT),
    ]
    core = result.core
    if core is not None:
        lines.append(ChartSeries("core", core.time_s, core.channel_c(), "dash-dotted", CORE))
    name = "forecast" if core is None else "kiln"
    lines.append(ChartSeries(name, time_s[run], temperature_c[run], "solid", FORECAST))
    if np.count_nonzero(after) > 1:
        name = "cooling" if core is None else "cool"
        lines.append(ChartSeries(name, time_s[after], temperature_c[after], "dotted"))
    corners = [0.0]
    for segment in result.segments:
        corners += [segment.ramp_end_s, segment.end_s]
    corners.append(float(time_s[-1]))

    marks = [
        Mark(STAGES[stage.name][0], stage.from_s, stage.to_s, stage.name)
        for stage in (result.stages if marked else ())
    ]
    marks += [Mark(BY_HAND, s.end_s, s.end_s, s.action) for s in result.segments if s.action]

    def place(at_s: float) -> str:
        index = segment_at(result, at_s)
        words = [] if index is None else [result.schedule.label(index)]
        words += [mark.words for mark in marks if mark.from_s <= at_s <= mark.to_s]
        return " · ".join(words)

    letters = dict.fromkeys(mark.letter for mark in marks)
    short = {**dict(STAGES.values()), BY_HAND: "by hand"}
    return PlotLines(
        tuple(lines),
        result.schedule.unit,
        plan_times(result),
        rising(corners),
        place,
        tuple(marks),
        tuple(f"{letter} {short[letter]}" for letter in letters),
    )


def _faint(name: str, result: Forecast) -> ChartSeries:
    return ChartSeries(name, result.trace.time_s, result.trace.channel_c(), "faint")


def rising(moments: list[float]) -> FloatArray:
    """Return moments in order, each once [s]."""
    # numpy's own would load a part of it that nothing else here needs.
    return np.array(sorted(set(moments)))


def set_point(result: Forecast) -> tuple[FloatArray, FloatArray]:
    """Return the set-point on the forecast's clock, [s] and [°C]; NaN with the elements off.

    At full power it stands at the target from the start; while a kiln lags it waits there.
    """
    times: list[float] = []
    values: list[float] = []
    for timed in result.segments:
        segment = result.schedule.segments[timed.index]
        ramp_s = segment.ramp_s(result.schedule.from_c(timed.index))
        if segment.drive == "off":
            times += [timed.start_s, timed.ramp_end_s]
            values += [np.nan, np.nan]
        else:
            arrives_s = timed.start_s + (ramp_s or 0.0)
            times += [timed.start_s, min(arrives_s, timed.end_s)]
            values += [result.schedule.from_c(timed.index), segment.target_c]
        times.append(timed.end_s)
        values.append(segment.target_c if segment.drive != "off" or segment.hold_s else np.nan)
    return np.array(times), np.array(values)


def segment_at(result: Forecast, at_s: float) -> int | None:
    """Return the segment, from 0, that a moment of the forecast falls into; None after the last."""
    return next((s.index for s in result.segments if s.start_s <= at_s <= s.end_s), None)


def review_lines(review: Review) -> PlotLines:
    """Return a review's lines: the plan dashed, the kiln's channel solid, others dash-dotted.

    What made it longer or shorter is marked with its letter.
    """
    from firing.report.charts.course import marked_causes

    trace = review.log.trace
    name = trace.channels[review.channel]
    corners = [0.0]
    for segment in review.segments:
        corners += [at for at in (segment.start_s, segment.ramp_end_s, segment.end_s) if at]
    corners.append(float(trace.time_s[-1]))
    marks = tuple(Mark(m.letter, m.from_s, m.to_s, m.words) for m in marked_causes(review))

    def place(at_s: float) -> str:
        index = reviewed_at(review, at_s)
        words = [] if index is None else [review.schedule.label(index)]
        return " · ".join(
            words + [f"{m.letter} {m.words}" for m in marks if m.from_s <= at_s <= m.to_s]
        )

    return PlotLines(
        (
            ChartSeries("plan", review.plan_time_s, review.plan_c, "dashed", SET_POINT),
            *(
                ChartSeries(other, trace.time_s, trace.channel_c(other), style)
                for other, style in zip(
                    (other for other in trace.channels if other != name), cycle(ASIDE)
                )
            ),
            ChartSeries(name, trace.time_s, review.temperature_c, "solid", FORECAST),
        ),
        review.schedule.unit,
        Timekeeper(trace.started, float(trace.time_s[-1])),
        rising(corners),
        place,
        marks,
    )


def reviewed_at(review: Review, at_s: float) -> int | None:
    """Return the segment, from 0, that a moment of a log falls into; None outside all."""
    for segment in review.segments:
        end_s = review.log.trace.time_s[-1] if segment.end_s is None else segment.end_s
        if segment.start_s is not None and segment.start_s <= at_s <= end_s:
            return segment.index
    return None


def overlay_lines(found: Overlay) -> PlotLines:
    """Return the lines of several firings on the plan's, a letter on each."""
    from firing.report.charts.course import overlaid_series

    lines = tuple(overlaid_series(found))
    marks = []
    for number, firing in enumerate(found.firings):
        hottest_s = float(firing.time_s[int(np.nanargmax(firing.temperature_c))])
        # Each a little later than the one before, so that no letter hides another.
        at_s = hottest_s * (number + 1) / (len(found.firings) + 1)
        marks.append(Mark(firing.letter, at_s, at_s, firing.name, number + 1))
    starts = [at_s for firing in found.firings for at_s in firing.at_s if at_s is not None]
    slots = sorted(set(starts)) if found.align == "segment" else []

    def place(at_s: float) -> str:
        begun = [index for index, start_s in enumerate(slots) if start_s <= at_s]
        return found.schedule.label(begun[-1]) if begun else ""

    return PlotLines(
        lines, found.schedule.unit, Timekeeper(None, 0.0), rising([0.0, *starts]), place,
        tuple(marks),
    )  # fmt: skip


def no_lines(schedule: Schedule) -> PlotLines:
    """Return no lines, for a schedule that cannot be forecast."""
    return PlotLines((), schedule.unit, Timekeeper(None, 0.0), np.array([]), lambda _: "")


class WatchLines:
    """Draws a watch on top of the plan it goes by, if it has one."""

    def __init__(self, schedule: Schedule | None) -> None:
        from firing.review.position import Plan
        from firing.watch.snapshot import PlanStart

        self._schedule = schedule
        self._plan = None if schedule is None else Plan(schedule)
        self._start = PlanStart()

    def plot_lines(self, seen: WatchState, unit: TemperatureUnit) -> PlotLines:
        """Return the plan dashed, the kiln solid, other channels dash-dotted, the rest dotted."""
        lines: list[ChartSeries] = []
        corners: list[float] = []
        plan_s = self._start.at_s(seen)
        if self._plan is not None:
            plan = self._plan
            run = plan.time_s <= plan.segments[-1].end_s
            time_s = plan.time_s[run] + plan_s
            lines.append(ChartSeries("plan", time_s, plan.temperature_c[run], "dashed", SET_POINT))
            for part in plan.segments:
                corners += [plan_s + part.start_s, plan_s + part.ramp_end_s, plan_s + part.end_s]
        for (name, time_s, course_c), style in zip(seen.others, cycle(ASIDE)):
            lines.append(ChartSeries(name, time_s, course_c, style))
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
        return PlotLines(
            tuple(lines),
            unit,
            Timekeeper(seen.began, last_s),
            rising(corners),
            lambda at_s: self._place(seen, at_s),
        )

    def _place(self, seen: WatchState, at_s: float) -> str:
        """Tell which segment a moment still to come falls into."""
        rest, estimate = seen.rest, seen.estimate
        if self._schedule is None or rest is None or estimate is None or at_s < estimate.now_s:
            return ""
        for index, left_s in rest.segment_ends_s.items():
            if at_s <= estimate.now_s + left_s:
                return self._schedule.label(index)
        return "cooling" if rest.time_s.size else ""
