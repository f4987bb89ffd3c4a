"""Two firings of one plan over each other, both from where heating began."""

from firing.report import figures as fig
from firing.report.chart import temperatures_in
from firing.report.figures import Drawing, TimeAxis
from firing.review.result import Review

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
