"""What the page of a review draws: plan and actual with the causes marked, and more beside."""

import numpy as np

from firing.report import figures as fig
from firing.report.account_drawing import (
    account_drawing,
    cause_bands,
    cause_letters,
    caused_words,
    marked_causes,
)
from firing.report.chart import temperatures_in
from firing.report.figures import MOST_POINTS, Drawing, TimeAxis
from firing.report.formatting import Timekeeper
from firing.report.heatwork_drawing import heatwork_drawing
from firing.review.result import Review
from firing.trace import FloatArray
from firing.units import rate_from_celsius

_HEIGHT_PX = 400
_POINTS = 500


def comparison_drawing(review: Review) -> Drawing | None:
    """Return both courses over the hours since heating began; None without a second firing."""
    comparison = review.comparison
    if comparison is None:
        return None
    unit = review.schedule.unit
    axis = TimeAxis(None)
    lines = [
        fig.line(
            name,
            axis,
            shown.log.trace.time_s - shown.lead_in_s,
            temperatures_in(shown.temperature_c, unit),
            f"°{unit}",
            colour=colour,
            dash=dash,
            most=_POINTS,
        )
        for name, shown, colour, dash in (
            ("this firing", review, fig.BLUE, "solid"),
            ("the other firing", comparison.other, fig.ORANGE, "dot"),
        )
    ]
    figure = fig.build(
        lines,
        _HEIGHT_PX,
        xaxis=axis.part(),
        yaxis=fig.axis(f"temperature, °{unit}", rangemode="tozero"),
    )
    caption = (
        "Both firings over the hours since each began to heat: this one solid, the other, "
        f"{comparison.other.log.name}, dotted."
    )
    return Drawing("comparison", figure, caption, _HEIGHT_PX)


_OTHER_LINES = (
    (fig.ORANGE, "dot"),
    (fig.GREEN, "dashdot"),
    (fig.PURPLE, "longdash"),
    (fig.SKY, "longdashdot"),
)
_WORTH_TELLING_C = 5.0
_FOOT = 0.36


def review_drawings(review: Review) -> list[Drawing]:
    """Return the drawings of a review: its course, heat-work, the account, and a comparison."""
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
    others = (heat, account_drawing(review), comparison_drawing(review))
    return drawings + [drawing for drawing in others if drawing is not None]


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
    ]
    if not review.refused:
        lines.append(
            fig.line(
                "plan",
                axis,
                review.plan_time_s,
                temperatures_in(review.plan_c, unit),
                f"°{unit}",
                colour=fig.GREY,
                dash="dash",
                most=share // 4,
            )
        )
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
    causes = marked_causes(review)
    height_px = 580
    figure = fig.build(
        [*lines, deviation],
        height_px,
        xaxis=axis.part(anchor="y2", domain=[0, 1]),
        yaxis=fig.axis(f"temperature, °{unit}", domain=[_FOOT, 1], rangemode="tozero"),
        yaxis2=fig.axis(
            f"actual less<br>plan, °{unit}",
            domain=[0, 0.27],
            zeroline=True,
            zerolinecolor=fig.GREY,
        ),
        shapes=[*marks, *cause_bands(causes, axis, _FOOT)],
        annotations=[
            *numbers,
            *([] if review.refused else _line_names(review, axis)),
            *cause_letters(causes, axis, review),
        ],
    )
    caption = f"{_deviation_caption(review, off_c)}{caused_words(causes)}"
    return Drawing("course", figure, caption, height_px)


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
