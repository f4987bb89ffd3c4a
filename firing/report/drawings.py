"""What the pages draw: the course of a firing, heat-work cone by cone, and the account."""

import numpy as np

from firing.forecast import Forecast
from firing.report import figures as fig
from firing.report.chart import temperatures_in
from firing.report.decimate import MOST_POINTS
from firing.report.figures import Drawing, TimeAxis
from firing.report.heatwork_drawing import heatwork_drawing
from firing.report.words import Timekeeper
from firing.review.verdict import CAUSE_NAMES, Review
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_MINUTE,
    format_duration,
    format_temperature,
    rate_from_celsius,
)

_OTHER_LINES = (
    (fig.ORANGE, "dot"),
    (fig.GREEN, "dashdot"),
    (fig.PURPLE, "longdash"),
    (fig.SKY, "longdashdot"),
)
_SMALLEST_CAUSE_S = 30.0
_WORTH_TELLING_C = 5.0


def review_drawings(review: Review) -> list[Drawing]:
    """Return the drawings of a review: plan and actual, heat-work, and the account."""
    drawings = [_plan_and_actual(review)]
    times_s = review.log.trace.time_s
    axis = TimeAxis.over(review.log.trace.started, float(times_s[-1]))
    heat = heatwork_drawing(
        axis,
        times_s,
        review.temperature_c,
        (review.cones, review.cones_planned),
        f"the log, channel {review.log.trace.channels[review.channel]}",
    )
    account = _account(review)
    return drawings + [drawing for drawing in (heat, account) if drawing is not None]


def _plan_and_actual(review: Review) -> Drawing:
    unit = review.schedule.unit
    trace = review.log.trace
    axis = TimeAxis.over(trace.started, max(float(trace.time_s[-1]), float(review.plan_time_s[-1])))
    others = [i for i in range(len(trace.channels)) if i != review.channel]
    # The upper panel shares its points out: half to the channel under review.
    share = MOST_POINTS // 2
    lines = [
        fig.line(
            f"actual, {trace.channels[review.channel]}",
            axis,
            trace.time_s,
            temperatures_in(review.temperature_c, unit),
            f"°{unit}",
            colour=fig.BLUE,
            width=2.4,
            most=share // 2,
        ),
        fig.line(
            "plan",
            axis,
            review.plan_time_s,
            temperatures_in(review.plan_c, unit),
            f"°{unit}",
            colour=fig.GREY,
            dash="dash",
            most=share // 4,
        ),
    ]
    for number, channel in enumerate(others):
        colour, dash = _OTHER_LINES[number % len(_OTHER_LINES)]
        lines.append(
            fig.line(
                trace.channels[channel],
                axis,
                trace.time_s,
                temperatures_in(trace.channel_c(channel), unit),
                f"°{unit}",
                colour=colour,
                dash=dash,
                width=1.4,
                most=max(share // 2 // len(others), 40),
            )
        )
    off_c = review.temperature_c - review.aligned_plan_c
    deviation = fig.line(
        "actual less plan",
        axis,
        trace.time_s,
        off_c * rate_from_celsius(1.0, unit),
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
    height_px = 580
    figure = fig.build(
        [*lines, deviation],
        height_px,
        xaxis=axis.part(anchor="y2", domain=[0, 1]),
        yaxis=fig.axis(f"temperature, °{unit}", domain=[0.36, 1], rangemode="tozero"),
        yaxis2=fig.axis(
            f"actual less<br>plan, °{unit}",
            domain=[0, 0.27],
            zeroline=True,
            zerolinecolor=fig.GREY,
        ),
        shapes=marks,
        annotations=[*numbers, *_line_names(review, axis)],
    )
    return Drawing("course", figure, _deviation_caption(review, off_c), height_px)


def _line_names(review: Review, axis: TimeAxis) -> list[fig.Part]:
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


def _account(review: Review) -> Drawing | None:
    shown = [cause for cause in review.causes if abs(cause.seconds) >= _SMALLEST_CAUSE_S]
    if not shown:
        return None
    words = [format_duration(cause.seconds, signed=True) for cause in shown]
    causes = [CAUSE_NAMES[cause.cause] for cause in shown]
    # The figure stands under the name, where no bar and no narrow screen can cut it off.
    names = [f"{cause}<br>{text}" for cause, text in zip(causes, words, strict=True)]
    height_px = 100 + 42 * len(shown)
    bars: list[fig.Part] = []
    for longer in (True, False):
        chosen = [i for i, cause in enumerate(shown) if (cause.seconds > 0) == longer]
        bars.append(
            {
                "type": "bar",
                "orientation": "h",
                "x": [round(shown[i].seconds / SECONDS_PER_MINUTE, 2) for i in chosen],
                "y": [names[i] for i in chosen],
                "marker": {
                    "color": fig.VERMILLION if longer else fig.BLUE,
                    "pattern": {"shape": "" if longer else "/"},
                },
                "hovertemplate": "%{y}<extra></extra>",
            }
        )
    figure = fig.build(
        bars,
        height_px,
        barmode="overlay",
        margin={"l": 20, "r": 18, "t": 12, "b": 52},
        xaxis=fig.axis("minutes against the plan", zeroline=True),
        # The largest, which comes first, belongs at the top.
        yaxis=fig.axis(
            showgrid=False,
            ticks="",
            autorange="reversed",
            categoryorder="array",
            categoryarray=names,
        ),
        showlegend=False,
    )
    parts = [f"{cause} {text}" for cause, text in zip(causes, words, strict=True)]
    caption = f"Where the time went, a bar for each cause: {'; '.join(parts)}."
    return Drawing("account", figure, caption, height_px)


def forecast_drawings(forecast: Forecast) -> list[Drawing]:
    """Return the drawings of a forecast: its course, and heat-work up to the cones it reaches."""
    trace = forecast.trace
    axis = TimeAxis.over(forecast.started, float(trace.time_s[-1]))
    heat = heatwork_drawing(
        axis, trace.time_s, trace.channel_c(), (forecast.cones,), "the forecast"
    )
    course = _course(forecast, axis)
    return [course] if heat is None else [course, heat]


def _course(forecast: Forecast, axis: TimeAxis) -> Drawing:
    unit = forecast.schedule.unit
    trace = forecast.trace
    temperature = temperatures_in(trace.channel_c(), unit)
    program = trace.time_s <= forecast.program_s + 1e-6
    cooling = trace.time_s >= forecast.program_s - 1e-6
    lines = [
        fig.line(
            "program",
            axis,
            trace.time_s[program],
            temperature[program],
            f"°{unit}",
            colour=fig.BLUE,
            width=2.4,
        ),
    ]
    if np.count_nonzero(cooling) > 1:
        lines.append(
            fig.line(
                "cooling by itself",
                axis,
                trace.time_s[cooling],
                temperature[cooling],
                f"°{unit}",
                colour=fig.GREY,
                dash="dash",
            )
        )
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
    height_px = 440
    figure = fig.build(
        lines,
        height_px,
        xaxis=axis.part(),
        yaxis=fig.axis(f"temperature, °{unit}", rangemode="tozero"),
        shapes=marks,
        annotations=numbers,
    )
    keeper = Timekeeper(forecast.started, float(trace.time_s[-1]))
    caption = (
        "The forecast temperature over time: the program solid, natural cooling after it dashed; "
        "upright lines end the segments, which are numbered along the top. The highest point is "
        f"{format_temperature(forecast.peak_c, unit)}, and the program ends "
        f"{keeper.when(forecast.program_s)}."
    )
    return Drawing("course", figure, caption, height_px)
