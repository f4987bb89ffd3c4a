"""The causes marked on the curve: a band over the segment that most of one fell into, a letter."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firing.report import figures as fig
from firing.report.chart import temperatures_in
from firing.report.figures import Drawing, TimeAxis
from firing.report.formatting import hours_minutes
from firing.review.result import Review
from firing.units import SECONDS_PER_HOUR, format_duration, format_temperature

_SMALLEST_CAUSE_S = 30.0
_MARGIN = 0.15


def account_drawing(review: Review) -> Drawing | None:
    """Return the waterfall of a review; None where nothing is accounted for.

    Causes too small to see are drawn together as one step where together they can be seen, so that
    the last one ends where the actual hours do.
    """
    actual_s = review.actual_s
    shown = [cause for cause in review.causes if abs(cause.seconds) >= _SMALLEST_CAUSE_S]
    if actual_s is None or not shown:
        return None
    steps = [(cause.name, cause.seconds) for cause in shown]
    rest_s = actual_s - review.planned_s - sum(seconds for _, seconds in steps)
    if abs(rest_s) >= _SMALLEST_CAUSE_S:
        steps.append(("smaller causes", rest_s))
    words = [format_duration(seconds, signed=True) for _, seconds in steps]
    planned, actual = (format_duration(s) for s in (review.planned_s, actual_s))
    # The figure stands under the name, where no bar and no narrow screen can cut it off.
    names = [f"{name}<br>{text}" for (name, _), text in zip(steps, words, strict=True)]
    ends_s = [review.planned_s]
    for _, seconds in steps:
        ends_s.append(ends_s[-1] + seconds)
    low_h, high_h = (choose(ends_s) / SECONDS_PER_HOUR for choose in (min, max))
    pad_h = _MARGIN * max(high_h - low_h, 0.1)
    from_h = max(low_h - pad_h, 0.0)
    first, last = f"planned<br>{planned}", f"actual<br>{actual}"
    bars = [_bar("whole", [(first, 0.0, ends_s[0]), (last, 0.0, ends_s[-1])], fig.GREY, "")]
    for longer, name, colour, pattern in (
        (True, "longer", fig.VERMILLION, ""),
        (False, "shorter", fig.BLUE, "/"),
    ):
        chosen = [
            (names[i], ends_s[i], steps[i][1])
            for i in range(len(steps))
            if (steps[i][1] > 0) == longer
        ]
        bars.append(_bar(name, chosen, colour, pattern))
    # Thin lines carry each end over to the next bar.
    order = [first, *names, last]
    level_h = [round(end_s / SECONDS_PER_HOUR, 4) for end_s in ends_s]
    links = [
        {
            "type": "line",
            "x0": level_h[i],
            "x1": level_h[i],
            "y0": i,
            "y1": i + 1,
            "layer": "below",
            "line": {"color": fig.GREY, "width": 1, "dash": "dot"},
        }
        for i in range(len(ends_s))
    ]
    height_px = 110 + 42 * len(order)
    figure = fig.build(
        bars,
        height_px,
        barmode="overlay",
        margin={"l": 20, "r": 18, "t": 12, "b": 52},
        xaxis=fig.axis("hours of the program", range=[round(from_h, 4), round(high_h + pad_h, 4)]),
        yaxis=fig.axis(
            showgrid=False,
            ticks="",
            autorange="reversed",
            categoryorder="array",
            categoryarray=order,
        ),
        shapes=links,
        showlegend=False,
    )
    parts = [f"{name} {text}" for (name, _), text in zip(steps, words, strict=True)]
    begins = f" The axis begins at {hours_minutes(from_h * SECONDS_PER_HOUR)} h." if from_h else ""
    caption = (
        f"Where the time went, from the planned {planned} at the top to the actual {actual} at the "
        "bottom, a step for each cause (longer solid, shorter hatched): "
        f"{'; '.join(parts)}.{begins}"
    )
    return Drawing("account", figure, caption, height_px)


def _bar(name: str, steps: list[tuple[str, float, float]], colour: str, pattern: str) -> fig.Part:
    return {
        "type": "bar",
        "orientation": "h",
        "name": name,
        "base": [round(base_s / SECONDS_PER_HOUR, 4) for _, base_s, _ in steps],
        "x": [round(seconds / SECONDS_PER_HOUR, 4) for _, _, seconds in steps],
        "y": [label for label, _, _ in steps],
        "marker": {"color": colour, "pattern": {"shape": pattern}},
        "hovertemplate": "%{y}<extra></extra>",
    }


_LEAST_S = 300.0
_MOST = 6
_BAND = 0.012
_LETTERS = "ABCDEFGH"


@dataclass(frozen=True, slots=True)
class CauseMark:
    """One mark: its letter, the stretch of the log it is about [s], and what it stands for."""

    letter: str
    from_s: float
    to_s: float
    words: str


def marked_causes(review: Review) -> list[CauseMark]:
    """Return what is marked: the telling causes, largest first, and where cooling quickened."""
    stretches: list[tuple[float, float, str]] = []
    for cause in review.causes:
        if abs(cause.seconds) < _LEAST_S or cause.cause == "unexplained":
            continue
        place = _place(review, cause.cause)
        if place is not None:
            size = format_duration(cause.seconds, signed=True)
            stretches.append((*place, f"{cause.name} {size}"))
    stretches = stretches[:_MOST]
    quicker = review.quickening
    if quicker is not None:
        at = format_temperature(quicker.at_c, review.schedule.unit)
        stretches.append((quicker.at_s, quicker.at_s, f"cooled faster from {at} on"))
    return [
        CauseMark(letter, *stretch) for letter, stretch in zip(_LETTERS, stretches, strict=False)
    ]


def _place(review: Review, cause: str) -> tuple[float, float] | None:
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


def cause_bands(marks: Sequence[CauseMark], axis: TimeAxis, foot: float) -> list[fig.Part]:
    """Return a light band along the foot of the upper panel for every mark with a stretch."""
    bands: list[fig.Part] = []
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


def cause_letters(marks: Sequence[CauseMark], axis: TimeAxis, review: Review) -> list[fig.Part]:
    """Return every mark's letter with an arrow to the curve, in the middle of its stretch."""
    usable = np.isfinite(review.temperature_c)
    time_s, temperature_c = review.log.trace.time_s[usable], review.temperature_c[usable]
    letters: list[fig.Part] = []
    for number, mark in enumerate(marks):
        middle_s = 0.5 * (mark.from_s + mark.to_s)
        at_c = np.array([np.interp(middle_s, time_s, temperature_c)])
        letters.append(
            {
                "text": mark.letter,
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


def caused_words(marks: Sequence[CauseMark]) -> str:
    """Return what the letters stand for, for the caption; empty without any."""
    if not marks:
        return ""
    return f" Marked on the curve: {'; '.join(f'{m.letter} {m.words}' for m in marks)}."
