"""The drawing of the account: a waterfall from the planned hours to the actual ones."""

from firing.report.charts import figure as fig
from firing.report.charts.figure import Drawing
from firing.report.formatting import hours_minutes
from firing.review.result import Review
from firing.units import SECONDS_PER_HOUR, format_duration

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
    parts = [f"{name} {text}" for (name, _), text in zip(steps, words, strict=True)]
    begins = f" The axis begins at {hours_minutes(from_h * SECONDS_PER_HOUR)} h." if from_h else ""
    caption = (
        f"Where the time went, from the planned {planned} at the top to the actual {actual} at the "
        "bottom, a step for each cause (longer solid, shorter hatched): "
        f"{'; '.join(parts)}.{begins}"
    )
    return fig.drawing(
        "account",
        bars,
        caption,
        110 + 42 * len(order),
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


def _bar(name: str, steps: list[tuple[str, float, float]], colour: str, pattern: str) -> fig.Spec:
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
