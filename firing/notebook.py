"""The results in a notebook: as small HTML tables, as pandas data frames and as plotly figures.

Reached from below by name (:mod:`firing.viewable`), so that the results need not know it.  Times
in a frame's index are seconds, as everywhere in the library; where the start is known, a column
``at`` has the moments themselves.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace
from functools import singledispatch
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from firing.cones.equivalence import ConeVerdict
from firing.cones.ways import Way, WaysToCone
from firing.design.result import Design
from firing.design.resume import Resumption
from firing.forecast.result import Forecast
from firing.kiln.fit_result import KilnFit
from firing.logs.reader import Log
from firing.report.charts import figure as fig
from firing.report.charts.course import forecast_course, overlaid_courses, plan_and_actual
from firing.report.charts.figure import Drawing
from firing.report.charts.text_chart import ChartSeries
from firing.report.document import Block, Bullets, Paragraph, Table
from firing.report.forecast import forecast_answer, forecast_segments, rate_words
from firing.report.page import render_parts
from firing.report.review import overlaid_segments, overlaid_table, review_answer
from firing.report.review_time import attribution_table, segments_section
from firing.review.overlay import Overlay
from firing.review.result import Review
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import set_point_over_time
from firing.trace import Trace
from firing.units import (
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
    hours_minutes,
    temperature_figure,
)
from firing.viewable import Plottable, Tabular

if TYPE_CHECKING:
    from datetime import datetime

    import pandas as pd

    from firing.trace import FloatArray

_MULTIPLIERS: Final = (
    "power",
    "loss",
    "capacity",
    "leak",
    "losses",
    "power_over_capacity",
    "loss_over_capacity",
    "leak_over_capacity",
)
_HEIGHT_PX = 400
_NEAR = (0.02, 20.0)
"""Between these heat-works a cone is worth a line of a small table."""


# -- data frames ------------------------------------------------------------------------------


@singledispatch
def frame(result: Tabular) -> pd.DataFrame:
    """Return a result as a data frame."""
    raise TypeError(f"{type(result).__name__} has no data frame")


@frame.register(Schedule)
def _(schedule: Schedule) -> pd.DataFrame:
    return _numbered(
        {
            "name": segment.name,
            "from_c": schedule.from_c(index),
            "target_c": segment.target_c,
            "rate_c_per_h": segment.rate_c_per_h,
            "drive": segment.drive,
            "hold_s": segment.hold_s,
            "action": segment.action,
        }
        for index, segment in enumerate(schedule.segments)
    )


@frame.register(Trace)
def _(trace: Trace) -> pd.DataFrame:
    columns = {
        f"{name}_c": trace.temperature_c[:, place] for place, name in enumerate(trace.channels)
    }
    if trace.duty is not None:
        columns["duty"] = trace.duty
    return _over_time(trace.time_s, trace.started, columns)


@frame.register(Forecast)
def _(forecast: Forecast) -> pd.DataFrame:
    columns = {"temperature_c": forecast.trace.channel_c()}
    if forecast.core is not None:
        columns["core_c"] = forecast.core.channel_c()
    return _over_time(forecast.trace.time_s, forecast.started, columns)


@frame.register(Log)
def _(log: Log) -> pd.DataFrame:
    found = frame(log.trace)
    if log.setpoint_c is not None:
        found["set_point_c"] = log.setpoint_c
    return found


@frame.register(Review)
def _(review: Review) -> pd.DataFrame:
    """One row a segment; the columns of the causes add up to ``excess_s``."""
    causes = dict.fromkeys(share.cause for s in review.segments for share in s.causes)
    rows = []
    for segment in review.segments:
        row = {k: v for k, v in segment.to_dict().items() if k not in ("index", "causes")}
        for cause in causes:
            row[f"{cause}_s"] = sum(c.seconds for c in segment.causes if c.cause == cause)
        rows.append(row)
    return _numbered(rows)


@frame.register(Overlay)
def _(overlay: Overlay) -> pd.DataFrame:
    """One row a segment, a column a firing."""
    rows = []
    for segment in overlay.segments:
        row = {"name": segment.name, "planned_s": segment.planned_s}
        took = zip(overlay.firings, segment.took_s, strict=True)
        rows.append(row | {f"{firing.letter}_s": took_s for firing, took_s in took})
    return _numbered(rows)


@frame.register(Design)
def _(design: Design) -> pd.DataFrame:
    found = frame(design.schedule)
    reasons = design.reasons
    found["reason"] = [" ".join(reason.sentences) for reason in reasons]
    found["sources"] = [", ".join(reason.sources) for reason in reasons]
    return found


@frame.register(Resumption)
def _(resumption: Resumption) -> pd.DataFrame:
    return _numbered([]) if resumption.schedule is None else frame(resumption.schedule)


@frame.register(KilnFit)
def _(fit: KilnFit) -> pd.DataFrame:
    import pandas as pd

    rows = {name: getattr(fit, name).to_dict() for name in _MULTIPLIERS}
    return pd.DataFrame.from_dict(rows, orient="index")


@frame.register(ConeVerdict)
def _(verdict: ConeVerdict) -> pd.DataFrame:
    import pandas as pd

    rows = {
        cone: {
            "heatwork": progress.heatwork,
            "approach_rate_c_per_h": progress.approach_rate_c_per_h,
            "reached_s": progress.reached_s,
        }
        for cone, progress in verdict.by_cone.items()
    }
    return pd.DataFrame.from_dict(rows, orient="index", dtype="float64").rename_axis("cone")


@frame.register(WaysToCone)
def _(ways: WaysToCone) -> pd.DataFrame:
    """One row a way; the keys of a way say their units."""
    import pandas as pd

    columns = [one.name for one in fields(Way)]
    rows = [[getattr(way, name) for name in columns] for way in ways.ways]
    return pd.DataFrame(rows, columns=columns, dtype="float64")


def _numbered(rows: Iterable[dict[str, Any]]) -> pd.DataFrame:
    """Return rows of segments, numbered from 1 as on the controller; None becomes NaN."""
    import pandas as pd

    found = pd.DataFrame(list(rows))
    for name in found.columns:
        if name.endswith(("_s", "_c", "_c_per_h")):
            found[name] = found[name].astype("float64")
    found.index = pd.RangeIndex(1, len(found) + 1, name="segment")
    return found


def _over_time(
    time_s: FloatArray, started: datetime | None, columns: dict[str, FloatArray]
) -> pd.DataFrame:
    import pandas as pd

    found = pd.DataFrame(columns, index=pd.Index(time_s, name="time_s"))
    if started is not None:
        zero = pd.Timestamp(started).tz_convert("UTC")
        moments = zero + pd.to_timedelta(time_s, unit="s").round("ms")
        found.insert(0, "at", moments.tz_convert(started.tzinfo))
    return found


# -- tables -----------------------------------------------------------------------------------


def html(result: Tabular) -> str:
    """Return a result as a few lines and a small table of HTML, every text in it escaped."""
    return render_parts(_parts(result))


@singledispatch
def _parts(result: Tabular) -> list[Block]:
    raise TypeError(f"{type(result).__name__} has no table")


@_parts.register(Schedule)
def _(schedule: Schedule) -> list[Block]:
    return [Paragraph(_headline(schedule)), _segments(schedule)]


@_parts.register(Forecast)
def _(forecast: Forecast) -> list[Block]:
    lines = [forecast.schedule.title, *forecast_answer(forecast)]
    return [*map(Paragraph, lines), *forecast_segments(forecast)]


@_parts.register(Review)
def _(review: Review) -> list[Block]:
    lines = (review.schedule.title, *review_answer(review))
    causes = [attribution_table(review)] if review.causes else []
    return [*map(Paragraph, lines), segments_section(review), *causes]


@_parts.register(Overlay)
def _(overlay: Overlay) -> list[Block]:
    tables = [overlaid_table(overlay), overlaid_segments(overlay)]
    return [Paragraph(overlay.schedule.title), Bullets(overlay.remarks), *filter(None, tables)]


@_parts.register(Design)
def _(design: Design) -> list[Block]:
    lines = (_headline(design), design.advice, *design.problems)
    table = _segments(design.schedule)
    rows = [
        (*row, " ".join(reason.sentences))
        for row, reason in zip(table.rows, design.reasons, strict=True)
    ]
    whole = replace(table, headers=(*table.headers, "why"), align=f"{table.align}l", rows=rows)
    return [*map(Paragraph, lines), whole]


@_parts.register(Resumption)
def _(resumption: Resumption) -> list[Block]:
    lines = (_headline(resumption), *resumption.problems, *resumption.notes)
    table = [] if resumption.schedule is None else [_segments(resumption.schedule)]
    return [*map(Paragraph, lines), *table]


@_parts.register(Log)
def _(log: Log) -> list[Block]:
    return [Paragraph(_headline(log)), Bullets(log.notes), _channels(log.trace)]


@_parts.register(Trace)
def _(trace: Trace) -> list[Block]:
    return [Paragraph(_headline(trace)), _channels(trace)]


@_parts.register(KilnFit)
def _(fit: KilnFit) -> list[Block]:
    rows = []
    for name in _MULTIPLIERS:
        value = getattr(fit, name)
        shown = "yes" if value.identifiable else "no"
        words = name.replace("_", " ")
        rows.append((words, f"{value.value:.3f}", f"{value.se:.3f}", shown, value.note))
    headers = ("multiplier", "value", "±", "logs show it", "note")
    return [
        Paragraph(fit.basis),
        Bullets((*fit.warnings, *fit.cannot_tell)),
        Table(headers, "lrrll", rows, "Multipliers"),
    ]


@_parts.register(ConeVerdict)
def _(verdict: ConeVerdict) -> list[Block]:
    rows = [
        (
            progress.cone,
            f"{progress.heatwork:.2f}",
            "–" if progress.reached_s is None else format_duration(progress.reached_s),
        )
        for progress in verdict.by_cone.values()
        if _NEAR[0] <= progress.heatwork <= _NEAR[1]
    ]
    headers = ("cone", "heat-work", "down after")
    near = Table(headers, "rrr", rows, "Cones near the one reached")
    return [Paragraph(_headline(verdict)), Bullets(verdict.warnings), near]


@_parts.register(WaysToCone)
def _(ways: WaysToCone) -> list[Block]:
    rows = [
        (
            format_rate(way.rate_c_per_h, ways.unit),
            format_temperature(way.peak_c, ways.unit),
            format_duration(way.hold_s),
            f"{format_duration(way.low_s)} to {format_duration(way.high_s)}",
        )
        for way in ways.ways
    ]
    headers = ("rate", "peak", "hold", "range")
    table = Table(headers, "rrrr", rows, f"Ways to cone {ways.cone}")
    return [Paragraph(_headline(ways)), Bullets(ways.warnings), table]


def _headline(result: Tabular) -> str:
    """Return what the result's repr says, without the brackets that mark it as one."""
    return repr(result)[1:-1]


def _segments(schedule: Schedule) -> Table:
    unit = schedule.unit
    rows = [
        (
            str(index + 1),
            segment.name,
            rate_words(segment, schedule.from_c(index), unit),
            temperature_figure(segment.target_c, unit),
            hours_minutes(segment.hold_s) if segment.hold_s else "–",
            segment.action,
        )
        for index, segment in enumerate(schedule.segments)
    ]
    headers = ("#", "segment", f"°{unit}/h", f"to °{unit}", "hold", "at the kiln")
    return Table(headers, "rlrrrl", rows, "Segments")


def _channels(trace: Trace) -> Table:
    rows = []
    for name in trace.channels:
        kept = trace.channel_c(name)
        kept = kept[np.isfinite(kept)]
        ends = (f"{kept.min():.0f}", f"{kept.max():.0f}") if kept.size else ("–", "–")
        rows.append((name, str(kept.size), *ends))
    return Table(("channel", "readings", "lowest °C", "highest °C"), "lrrr", rows, "Channels")


# -- figures ----------------------------------------------------------------------------------


def figure(result: Plottable) -> Any:
    """Return a result's course as a plotly figure."""
    import plotly.graph_objects as go

    return go.Figure(_drawing(result).figure)


@singledispatch
def _drawing(result: Plottable) -> Drawing:
    raise TypeError(f"{type(result).__name__} has no course to draw")


@_drawing.register(Schedule)
def _(schedule: Schedule) -> Drawing:
    return _course(set_point_over_time(schedule)[0], schedule.unit)


@_drawing.register(Trace)
def _(trace: Trace) -> Drawing:
    return _course(trace, "C")


@_drawing.register(Log)
def _(log: Log) -> Drawing:
    return _course(log.trace, "F" if log.dialect.unit == "F" else "C")


@_drawing.register(Forecast)
def _(forecast: Forecast) -> Drawing:
    return forecast_course(forecast)


@_drawing.register(Review)
def _(review: Review) -> Drawing:
    return plan_and_actual(review)


@_drawing.register(Overlay)
def _(overlay: Overlay) -> Drawing:
    return overlaid_courses(overlay)


@_drawing.register(Design)
def _(design: Design) -> Drawing:
    return forecast_course(design.forecast)


def _course(trace: Trace, unit: TemperatureUnit) -> Drawing:
    """Return every channel of a trace over the hours, or over the clock where it is known."""
    colours = (fig.BLUE, fig.VERMILLION, fig.GREEN, fig.ORANGE, fig.PURPLE, fig.SKY)
    dashes = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
    axis = fig.TimeAxis.over(trace.started, float(trace.time_s[-1]) if trace.time_s.size else 0.0)
    lines = [
        fig.course(
            ChartSeries(name, trace.time_s, trace.temperature_c[:, place]),
            axis,
            unit,
            colours[place % len(colours)],
            dash=dashes[place % len(dashes)],
            most=fig.MOST_POINTS // len(trace.channels),
        )
        for place, name in enumerate(trace.channels)
    ]
    return fig.drawing(
        "course",
        lines,
        "The temperature over time.",
        _HEIGHT_PX,
        xaxis=axis.part(),
        yaxis=fig.axis(f"temperature, °{unit}", rangemode="tozero"),
    )
