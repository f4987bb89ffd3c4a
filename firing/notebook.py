"""The results in a notebook: as small HTML tables, as pandas data frames and as plotly figures.

Reached from below by name (:mod:`firing.viewable`), so that the results need not know it.  Times
in a frame's index are seconds, as everywhere in the library; where the start is known, a column
``at`` has the moments themselves.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import singledispatch
from typing import TYPE_CHECKING, Any, Final

from firing.cones.equivalence import ConeVerdict
from firing.design.result import Design
from firing.design.resume import Resumption
from firing.forecast.result import Forecast
from firing.kiln.fit_result import KilnFit
from firing.logs.reader import Log
from firing.report import html as markup
from firing.report.formatting import hours_minutes
from firing.report.rows import Rows, account, forecast_segments, review_segments
from firing.report.summary import forecast_answer, review_answer
from firing.review.result import Review
from firing.schedule.schedule import Schedule, Segment
from firing.schedule.timeline import set_point_over_time
from firing.trace import Trace
from firing.units import TemperatureUnit, format_duration, from_celsius, rate_from_celsius
from firing.viewable import Plottable, Tabular

if TYPE_CHECKING:
    from datetime import datetime

    import pandas as pd

    from firing.trace import FloatArray

_MULTIPLIERS: Final = ("power", "loss", "capacity", "power_over_capacity", "loss_over_capacity")
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


@singledispatch
def html(result: Tabular) -> str:
    """Return a result as a few lines and a small table of HTML."""
    raise TypeError(f"{type(result).__name__} has no table")


@html.register(Schedule)
def _(schedule: Schedule) -> str:
    return _shown([repr(schedule)], [("Segments", _segments(schedule))])


@html.register(Forecast)
def _(forecast: Forecast) -> str:
    lines = [forecast.schedule.title, *forecast_answer(forecast)]
    return _shown(lines, [("Segments", forecast_segments(forecast))])


@html.register(Review)
def _(review: Review) -> str:
    tables = []
    if not review.refused:
        tables = [("Segments, planned and actual", review_segments(review))]
        if review.causes:
            tables.append(("Where the time went", account(review.causes)))
    lines = [review.schedule.title, *review_answer(review)]
    return _shown(lines, tables)


@html.register(Design)
def _(design: Design) -> str:
    lines = [repr(design), design.advice, *design.problems]
    table = _segments(design.schedule)
    table = Rows(
        (*table.headers, "why"),
        table.align + "l",
        [
            (*row, " ".join(reason.sentences))
            for row, reason in zip(table.rows, design.reasons, strict=True)
        ],
    )
    return _shown(lines, [("Segments", table)])


@html.register(Resumption)
def _(resumption: Resumption) -> str:
    lines = [repr(resumption), *resumption.problems, *resumption.notes]
    schedule = resumption.schedule
    return _shown(lines, [] if schedule is None else [("Key in now", _segments(schedule))])


@html.register(Log)
def _(log: Log) -> str:
    return _shown([repr(log), *log.notes], [("Channels", _channels(log.trace))])


@html.register(Trace)
def _(trace: Trace) -> str:
    return _shown([repr(trace)], [("Channels", _channels(trace))])


@html.register(KilnFit)
def _(fit: KilnFit) -> str:
    table = Rows(("multiplier", "value", "±", "logs show it", "note"), "lrrll")
    for name in _MULTIPLIERS:
        value = getattr(fit, name)
        shown = "yes" if value.identifiable else "no"
        words = name.replace("_", " ")
        table.rows.append((words, f"{value.value:.3f}", f"{value.se:.3f}", shown, value.note))
    return _shown([fit.basis, *fit.warnings, *fit.cannot_tell], [("Multipliers", table)])


@html.register(ConeVerdict)
def _(verdict: ConeVerdict) -> str:
    table = Rows(("cone", "heat-work", "down after"), "rrr")
    for progress in verdict.by_cone.values():
        if _NEAR[0] <= progress.heatwork <= _NEAR[1]:
            down = "–" if progress.reached_s is None else format_duration(progress.reached_s)
            table.rows.append((progress.cone, f"{progress.heatwork:.2f}", down))
    return _shown([repr(verdict), *verdict.warnings], [("Cones near the one reached", table)])


def _shown(lines: Sequence[str], tables: Sequence[tuple[str, Rows]]) -> str:
    parts = [markup.paragraph(line) for line in lines if line]
    parts += [markup.table(name, t.headers, t.rows, t.align) for name, t in tables]
    return "\n".join(parts)


def _segments(schedule: Schedule) -> Rows:
    unit = schedule.unit
    headers = ("#", "segment", f"°{unit}/h", f"to °{unit}", "hold", "at the kiln")
    table = Rows(headers, "rlrrrl")
    for index, segment in enumerate(schedule.segments):
        table.rows.append(
            (
                str(index + 1),
                segment.name,
                _rate(segment, schedule.from_c(index), unit),
                f"{from_celsius(segment.target_c, unit):.0f}",
                hours_minutes(segment.hold_s) if segment.hold_s else "–",
                segment.action,
            )
        )
    return table


def _rate(segment: Segment, from_c: float, unit: TemperatureUnit) -> str:
    if segment.rate_c_per_h is None:
        return "full power" if segment.drive == "unlimited" else "off"
    sign = "−" if segment.target_c < from_c else ""
    return f"{sign}{rate_from_celsius(segment.rate_c_per_h, unit):.0f}"


def _channels(trace: Trace) -> Rows:
    import numpy as np

    table = Rows(("channel", "readings", "lowest °C", "highest °C"), "lrrr")
    for name in trace.channels:
        kept = trace.channel_c(name)
        kept = kept[np.isfinite(kept)]
        ends = (f"{kept.min():.0f}", f"{kept.max():.0f}") if kept.size else ("–", "–")
        table.rows.append((name, str(kept.size), *ends))
    return table


# -- figures ----------------------------------------------------------------------------------


@singledispatch
def figure(result: Plottable) -> Any:
    """Return a result's course as a plotly figure."""
    raise TypeError(f"{type(result).__name__} has no course to draw")


@figure.register(Schedule)
def _(schedule: Schedule) -> Any:
    return _drawn(set_point_over_time(schedule)[0], schedule.unit)


@figure.register(Trace)
def _(trace: Trace) -> Any:
    return _drawn(trace, "C")


@figure.register(Log)
def _(log: Log) -> Any:
    return _drawn(log.trace, "F" if log.dialect.unit == "F" else "C")


@figure.register(Forecast)
def _(forecast: Forecast) -> Any:
    import plotly.graph_objects as go

    from firing.report.drawings import forecast_drawings

    return go.Figure(forecast_drawings(forecast)[0].figure)


@figure.register(Review)
def _(review: Review) -> Any:
    import plotly.graph_objects as go

    from firing.report.review_drawings import review_drawings

    return go.Figure(review_drawings(review)[0].figure)


@figure.register(Design)
def _(design: Design) -> Any:
    return figure(design.forecast)


def _drawn(trace: Trace, unit: TemperatureUnit) -> Any:
    """Return every channel of a trace over the hours, or over the clock where it is known."""
    import plotly.graph_objects as go

    from firing.report import figures as fig
    from firing.report.chart import temperatures_in

    colours = (fig.BLUE, fig.VERMILLION, fig.GREEN, fig.ORANGE, fig.PURPLE, fig.SKY)
    dashes = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
    axis = fig.TimeAxis.over(trace.started, float(trace.time_s[-1]) if trace.time_s.size else 0.0)
    lines = [
        fig.line(
            name,
            axis,
            trace.time_s,
            temperatures_in(trace.temperature_c[:, place], unit),
            f"°{unit}",
            colour=colours[place % len(colours)],
            dash=dashes[place % len(dashes)],
            most=fig.MOST_POINTS // len(trace.channels),
        )
        for place, name in enumerate(trace.channels)
    ]
    return go.Figure(
        fig.build(
            lines,
            _HEIGHT_PX,
            xaxis=axis.part(),
            yaxis=fig.axis(f"temperature, °{unit}", rangemode="tozero"),
        )
    )
