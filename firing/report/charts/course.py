"""The drawings of courses: a forecast beside its plan, a review with its causes, several firings.

The account of a review is a waterfall from the planned hours to the actual ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from firing.forecast.result import Forecast
from firing.report.charts import figure as fig
from firing.report.charts.figure import MOST_POINTS, Drawing, TimeAxis
from firing.report.charts.text_chart import ChartSeries, LineStyle, temperatures_in
from firing.report.words import Timekeeper
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_MINUTE,
    format_duration,
    format_temperature,
    minutes_adding_up,
    rate_from_celsius,
)

if TYPE_CHECKING:
    from firing.review.overlay import Overlay
    from firing.review.result import Review

_OTHER_LINES = (
    (fig.ORANGE, "dot"),
    (fig.GREEN, "dashdot"),
    (fig.PURPLE, "longdash"),
    (fig.SKY, "longdashdot"),
)
_WORTH_TELLING_C = 5.0
_FOOT = 0.36
_LEAST_MARKED_S = 300.0
_MOST_MARKED = 6
_BAND = 0.012
_LETTERS = "ABCDEFGH"
_COMPARED_POINTS = 500


def review_series(review: Review) -> list[ChartSeries]:
    """Return the plan, unless it belongs to another firing, and on it the actual course."""
    trace = review.log.trace
    plan = ChartSeries("plan", review.plan_time_s, review.plan_c, "dotted")
    name = f"actual, {trace.channels[review.channel]}"
    actual = ChartSeries(name, *_open_at_gaps(review, review.temperature_c), "solid", 0)
    return [actual] if review.refused else [plan, actual]


def _open_at_gaps(review: Review, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a course with a missing value inside every gap: no line is drawn across it."""
    time_s = review.log.trace.time_s
    if not review.gaps:
        return time_s, values
    middles = np.array([0.5 * (gap.start_s + gap.end_s) for gap in review.gaps])
    at = np.searchsorted(time_s, middles)
    return np.insert(time_s, at, middles), np.insert(values, at, np.nan)


def plan_and_actual(review: Review) -> Drawing:
    """Return the actual course on the plan's, and below how far it was off, with the causes."""
    unit = review.schedule.unit
    trace = review.log.trace
    axis = TimeAxis.over(trace.started, max(float(trace.time_s[-1]), float(review.plan_time_s[-1])))
    others = [i for i in range(len(trace.channels)) if i != review.channel]
    # The upper panel shares its points out: half to the channel under review.
    share = MOST_POINTS // 2
    *plan, actual = review_series(review)
    lines = [fig.course(actual, axis, unit, fig.BLUE, width=2.4, most=share // 2)]
    lines += [fig.course(line, axis, unit, fig.GREY, dash="dash", most=share // 4) for line in plan]
    for number, channel in enumerate(others):
        colour, dash = _OTHER_LINES[number % len(_OTHER_LINES)]
        name = trace.channels[channel]
        other = ChartSeries(name, *_open_at_gaps(review, trace.channel_c(channel)))
        most = max(share // 2 // len(others), 40)
        lines.append(fig.course(other, axis, unit, colour, dash=dash, width=1.4, most=most))
    off_c = review.temperature_c - review.aligned_plan_c
    deviation = fig.line(
        "actual less plan",
        axis,
        *_open_at_gaps(review, off_c * rate_from_celsius(1.0, unit)),
        f"°{unit} off the plan",
        colour=fig.VERMILLION,
        width=1.6,
        most=share // 2,
        xaxis="x",
        yaxis="y2",
        showlegend=False,
    )
    marks, numbers = fig.segment_marks(
        [(s.index, s.start_s, s.end_s) for s in review.segments], axis
    )
    causes = marked_causes(review)
    cooling_from_s = max(_heated_until_s(review), float(review.planned_s + review.lead_in_s))
    return fig.drawing(
        "course",
        [*lines, deviation],
        f"{_deviation_caption(review, off_c)}{_caused_words(causes)}",
        580,
        xaxis=axis.part(anchor="y2", domain=[0, 1]),
        yaxis=fig.axis(f"temperature, °{unit}", domain=[_FOOT, 1], rangemode="tozero"),
        yaxis2=fig.axis(
            f"actual less<br>plan, °{unit}",
            domain=[0, 0.27],
            zeroline=True,
            zerolinecolor=fig.GREY,
        ),
        meta={"cooling_from": axis.x([1.02 * cooling_from_s])[0]},
        shapes=[*marks, *_cause_bands(causes, axis, _FOOT)],
        annotations=[
            *numbers,
            *([] if review.refused else _line_names(review, axis)),
            *_cause_letters(causes, axis, review),
        ],
    )


def _heated_until_s(review: Review) -> float:
    """Return when the heating was over: the program's end, else the highest reading [s]."""
    if review.end_s is not None and not review.refused:
        return review.end_s
    return float(review.log.trace.time_s[int(np.nanargmax(review.temperature_c))])


def _line_names(review: Review, axis: TimeAxis) -> list[fig.Spec]:
    """Return the lines' names beside them, halfway up: the earlier's left, the later's right."""
    level_c = 0.55 * review.schedule.peak_c
    crossings: list[tuple[float, str]] = []
    for name, time_s, temperature_c in (
        ("plan", review.plan_time_s, review.plan_c),
        ("actual", review.log.trace.time_s, review.temperature_c),
    ):
        above = np.flatnonzero(temperature_c >= level_c)
        if above.size and above[0] > 0:
            i = int(above[0])
            share = (level_c - temperature_c[i - 1]) / (temperature_c[i] - temperature_c[i - 1])
            at_s = time_s[i - 1] + share * (time_s[i] - time_s[i - 1])
            crossings.append((float(at_s), name))
    level = round(float(temperatures_in(np.array([level_c]), review.schedule.unit)[0]), 1)
    return [
        {
            "text": name,
            "x": axis.x([at_s])[0],
            "y": level,
            "showarrow": False,
            "xanchor": "right" if number == 0 else "left",
            "xshift": -10 if number == 0 else 10,
        }
        for number, (at_s, name) in enumerate(sorted(crossings))
    ]


def _deviation_caption(review: Review, off_c: FloatArray) -> str:
    unit = review.schedule.unit
    if review.refused:
        return "The actual temperature over time; the plan belongs to another firing."
    words = [
        "Above: the actual temperature (solid) and the plan (dashed) over time; upright lines end "
        "the segments, which are numbered along the top. Below: actual less plan, the plan laid "
        "over the firing segment by segment."
    ]
    keeper = Timekeeper(review.log.trace.started, float(review.log.trace.time_s[-1]))
    if np.any(np.isfinite(off_c)):
        for most, word in (
            (int(np.nanargmin(off_c)), "below"),
            (int(np.nanargmax(off_c)), "above"),
        ):
            size_c = abs(float(off_c[most]))
            if (off_c[most] < 0) == (word == "below") and size_c >= _WORTH_TELLING_C:
                size = f"{rate_from_celsius(size_c, unit):.0f} °{unit}"
                when = keeper.when(float(review.log.trace.time_s[most]))
                words.append(f"It was furthest {word} the plan, by {size}, {when}.")
    return " ".join(words)


@dataclass(frozen=True, slots=True, eq=False)
class CauseMark:
    """One mark: its letter, the stretch of the log it is about [s], what it stands for, its cause.

    The cause is empty for what is none.
    """

    letter: str
    from_s: float
    to_s: float
    words: str
    cause: str = ""


def marked_causes(review: Review) -> list[CauseMark]:
    """Return what is marked: the telling causes, largest first, and where cooling quickened."""
    stretches: list[tuple[float, float, str, str]] = []
    for cause in review.causes:
        if abs(cause.seconds) < _LEAST_MARKED_S or cause.cause == "unexplained":
            continue
        place = place_of_cause(review, cause.cause)
        if place is not None:
            size = format_duration(review.printed_cause_s[cause.cause], signed=True)
            stretches.append((*place, f"{cause.name} {size}", cause.cause))
    stretches = stretches[:_MOST_MARKED]
    quicker = review.quickening
    if quicker is not None:
        at = format_temperature(quicker.at_c, review.schedule.unit)
        stretches.append((quicker.at_s, quicker.at_s, f"cooled faster from {at} on", ""))
    return [
        CauseMark(letter, *stretch) for letter, stretch in zip(_LETTERS, stretches, strict=False)
    ]


def place_of_cause(review: Review, cause: str) -> tuple[float, float] | None:
    """Return the stretch of the log [s] that most of a cause fell into; None if it has none."""
    if cause == "late_start":
        return (0.0, review.lead_in_s) if review.lead_in_s > 0 else None
    best: tuple[float, tuple[float, float]] | None = None
    for segment in review.segments:
        share_s = sum(abs(part.seconds) for part in segment.causes if part.cause == cause)
        start_s, end_s = segment.start_s, segment.end_s
        if start_s is None or end_s is None or share_s <= 0:
            continue
        if cause in ("longer_hold", "shorter_hold") and segment.ramp_end_s is not None:
            start_s = segment.ramp_end_s
        if best is None or share_s > best[0]:
            best = share_s, (start_s, end_s)
    return None if best is None else best[1]


def _cause_bands(marks: Sequence[CauseMark], axis: TimeAxis, foot: float) -> list[fig.Spec]:
    """Return a light band along the foot of the upper panel for every mark with a stretch."""
    bands: list[fig.Spec] = []
    until_s: list[float] = []
    for mark in sorted(marks, key=lambda mark: mark.from_s):
        if mark.to_s <= mark.from_s:
            continue
        x0, x1 = axis.x([mark.from_s, mark.to_s])
        # Stretches that overlap lie one above the other.
        row = next((i for i, end_s in enumerate(until_s) if end_s <= mark.from_s), len(until_s))
        until_s[row : row + 1] = [mark.to_s]
        level = foot + (row + 1) * (_BAND + 0.004)
        bands.append(
            {
                "type": "rect",
                "xref": "x",
                "yref": "paper",
                "x0": x0,
                "x1": x1,
                "y0": level - _BAND,
                "y1": level,
                "line": {"width": 0},
                "fillcolor": fig.VERMILLION,
                "opacity": 0.55,
            }
        )
    return bands


def _cause_letters(marks: Sequence[CauseMark], axis: TimeAxis, review: Review) -> list[fig.Spec]:
    """Return every mark's letter with an arrow to the curve, in the middle of its stretch."""
    usable = np.isfinite(review.temperature_c)
    time_s, temperature_c = review.log.trace.time_s[usable], review.temperature_c[usable]
    letters: list[fig.Spec] = []
    for number, mark in enumerate(marks):
        middle_s = 0.5 * (mark.from_s + mark.to_s)
        at_c = np.array([np.interp(middle_s, time_s, temperature_c)])
        letters.append(
            {
                "text": f"{mark.letter} {mark.words}",
                "x": axis.x([middle_s])[0],
                "y": round(float(temperatures_in(at_c, review.schedule.unit)[0]), 1),
                "showarrow": True,
                "arrowhead": 2,
                "arrowcolor": fig.GREY,
                "ax": 28,
                "ay": 30 + 14 * (number % 2),
            }
        )
    return letters


def _caused_words(marks: Sequence[CauseMark]) -> str:
    """Return what the letters stand for, for the caption; empty without any."""
    if not marks:
        return ""
    return f" Marked on the curve: {'; '.join(f'{m.letter} {m.words}' for m in marks)}."


def both_courses(this: Review, other: Review) -> Drawing:
    """Return the courses of two firings over the hours since each began to heat."""
    unit, axis = this.schedule.unit, TimeAxis(None)
    lines = []
    for name, shown, colour, dash in (
        ("this firing", this, fig.BLUE, "solid"),
        ("the other firing", other, fig.ORANGE, "dot"),
    ):
        time_s, temperature_c = _open_at_gaps(shown, shown.temperature_c)
        series = ChartSeries(name, time_s - shown.lead_in_s, temperature_c)
        lines.append(fig.course(series, axis, unit, colour, dash=dash, most=_COMPARED_POINTS))
    return fig.drawing(
        "comparison",
        lines,
        "Both firings over the hours since each began to heat: this one solid, the other, "
        f"{other.log.name}, dotted.",
        400,
        xaxis=axis.part(),
        yaxis=fig.axis(f"temperature, °{unit}", rangemode="tozero"),
    )


_OVERLAID = (
    (fig.BLUE, "solid"),
    (fig.VERMILLION, "dot"),
    (fig.GREEN, "dashdot"),
    (fig.ORANGE, "longdash"),
    (fig.PURPLE, "longdashdot"),
    (fig.SKY, fig.DASH_DOT_DOT),
)


_TEXT_STYLES: tuple[LineStyle, ...] = (
    "solid", "dash-dotted", "dotted", "short-dashed", "dash-dot-dotted", "long-dashed",
)  # fmt: skip


def overlaid_series(found: Overlay) -> list[ChartSeries]:
    """Return the plan and on it every firing under its letter, in styles of their own."""
    styles = [(style, 0 if number < 3 else 3) for number, style in enumerate(_TEXT_STYLES)]
    plan = ChartSeries("plan", found.plan_time_s, found.plan_c, "dashed", 1)
    return [plan] + [
        ChartSeries(f"{firing.letter} {firing.name}", firing.time_s, firing.temperature_c, *style)
        for firing, style in zip(found.firings, styles, strict=False)
    ]


def overlaid_courses(found: Overlay) -> Drawing:
    """Return the courses of several firings over each other, on the plan's."""
    unit, axis = found.schedule.unit, TimeAxis(None)
    plan, *firings = overlaid_series(found)
    lines = [fig.course(plan, axis, unit, fig.GREY, dash="dash", most=_COMPARED_POINTS)]
    lines += [
        fig.course(series, axis, unit, colour, dash=dash, most=_COMPARED_POINTS)
        for series, (colour, dash) in zip(firings, _OVERLAID, strict=False)
    ]
    letters = []
    for number, firing in enumerate(found.firings):
        # One after the other along the lines, so that no letter hides another.
        at = int((0.15 + 0.12 * number) * firing.time_s.size)
        at += int(np.argmax(np.isfinite(firing.temperature_c[at:])))
        (x,), (y,) = axis.x(firing.time_s[[at]]), temperatures_in(firing.temperature_c[[at]], unit)
        letters.append({"x": x, "y": float(y), "text": firing.letter, "showarrow": False})
    how = (
        "Every segment begins at one place for all firings; a line is open where a segment waits "
        "for the longest."
        if found.align == "segment"
        else "Over the hours since each began to heat."
    )
    names = ", ".join(series.name for series in firings)
    return fig.drawing(
        "overlay",
        lines,
        f"{how} The plan is dashed; {names}.",
        480,
        annotations=letters,
        xaxis=axis.part(),
        yaxis=fig.axis(f"temperature, °{unit}", rangemode="tozero"),
    )


_SMALLEST_CAUSE_S = 30.0


def attribution_drawing(review: Review) -> Drawing | None:
    """Return a bar a cause, from zero to the minutes it took or saved; None without any.

    Causes too small to see are drawn together as one bar where together they can be seen.
    """
    actual_s = review.actual_s
    shown = [cause for cause in review.causes if abs(cause.seconds) >= _SMALLEST_CAUSE_S]
    if actual_s is None or not shown:
        return None
    steps = [(cause.name, cause.seconds) for cause in shown]
    rest_s = actual_s - review.planned_s - sum(seconds for _, seconds in steps)
    if abs(rest_s) >= _SMALLEST_CAUSE_S:
        steps.append(("smaller causes", rest_s))
    excess_s = review.printed_excess_s
    printed = minutes_adding_up([s for _, s in steps], round((excess_s or 0.0) / 60.0))
    words = [format_duration(60.0 * minutes, signed=True) for minutes in printed]
    # The figure stands under the name, where no bar and no narrow screen can cut it off.
    names = [f"{name}<br>{text}" for (name, _), text in zip(steps, words, strict=True)]
    bars = []
    for longer, name, colour, pattern in (
        (True, "longer", fig.VERMILLION, ""),
        (False, "shorter", fig.BLUE, "/"),
    ):
        chosen = [
            (names[i], seconds / SECONDS_PER_MINUTE)
            for i, (_, seconds) in enumerate(steps)
            if (seconds > 0) == longer
        ]
        bars.append(_bar(name, chosen, colour, pattern))
    planned, actual = (format_duration(s) for s in (review.planned_s, actual_s))
    parts = [f"{name} {text}" for (name, _), text in zip(steps, words, strict=True)]
    caption = (
        f"Minutes longer (solid) or shorter (pale) than planned, a bar for each cause: "
        f"{'; '.join(parts)}. Planned {planned}, actual {actual}."
    )
    return fig.drawing(
        "account",
        bars,
        caption,
        100 + 42 * len(names),
        barmode="overlay",
        margin={"l": 20, "r": 18, "t": 12, "b": 52},
        xaxis=fig.axis("minutes", zeroline=True, zerolinecolor=fig.GREY),
        yaxis=fig.axis(
            showgrid=False,
            ticks="",
            autorange="reversed",
            categoryorder="array",
            categoryarray=names,
        ),
        showlegend=False,
    )


def _bar(name: str, steps: list[tuple[str, float]], colour: str, pattern: str) -> fig.Spec:
    return {
        "type": "bar",
        "orientation": "h",
        "name": name,
        "x": [round(minutes, 2) for _, minutes in steps],
        "y": [label for label, _ in steps],
        "marker": {"color": colour, "pattern": {"shape": pattern}},
        "hovertemplate": "%{y}<extra></extra>",
    }


def forecast_series(forecast: Forecast) -> list[ChartSeries]:
    """Return the program, and the cooling after it if there is any."""
    time_s, temperature_c = forecast.trace.time_s, forecast.trace.channel_c()
    run = time_s <= forecast.program_s + 1e-6
    after = time_s >= forecast.program_s - 1e-6
    series = [ChartSeries("program", time_s[run], temperature_c[run], "solid", 0)]
    if np.count_nonzero(after) > 1:
        series.append(
            ChartSeries("cooling by itself", time_s[after], temperature_c[after], "dotted")
        )
    return series


def forecast_course(forecast: Forecast) -> Drawing:
    """Return the course of a forecast, with its segments and what is done by hand."""
    unit, trace = forecast.schedule.unit, forecast.trace
    axis = TimeAxis.over(forecast.started, float(trace.time_s[-1]))
    looks = ((fig.BLUE, "solid", 2.4), (fig.GREY, "dash", 2.0))
    lines = [
        fig.course(series, axis, unit, colour, dash=dash, width=width)
        for series, (colour, dash, width) in zip(forecast_series(forecast), looks, strict=False)
    ]
    acts = [segment for segment in forecast.segments if segment.action]
    if acts:
        at_c = np.array([segment.end_c for segment in acts])
        lines.append(
            {
                "type": "scatter",
                "mode": "markers",
                "x": axis.x([segment.end_s for segment in acts]),
                "y": fig.values(temperatures_in(at_c, unit), 1),
                "name": "something to do by hand",
                "marker": {"symbol": "diamond", "size": 11, "color": fig.VERMILLION},
                "text": [fig.label(segment.action) for segment in acts],
                "hovertemplate": f"{axis.hover}<br>%{{text}}<extra></extra>",
            }
        )
    marks, numbers = fig.segment_marks(
        [(s.index, s.start_s, s.end_s) for s in forecast.segments], axis
    )
    keeper = Timekeeper(forecast.started, float(trace.time_s[-1]))
    caption = (
        "The forecast temperature over time: the program solid, natural cooling after it dashed; "
        "upright lines end the segments, which are numbered along the top. The highest point is "
        f"{format_temperature(forecast.peak_c, unit)}, and the program ends "
        f"{keeper.when(forecast.program_s)}."
    )
    return fig.drawing(
        "course",
        lines,
        caption,
        440,
        xaxis=axis.part(),
        yaxis=fig.axis(f"temperature, °{unit}", rangemode="tozero"),
        shapes=marks,
        annotations=numbers,
    )
