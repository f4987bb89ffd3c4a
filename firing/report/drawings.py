"""What the page of a forecast draws: its course, and heat-work cone by cone."""

import numpy as np

from firing.forecast.result import Forecast
from firing.report import figures as fig
from firing.report.chart import temperatures_in
from firing.report.figures import Drawing, TimeAxis
from firing.report.formatting import Timekeeper
from firing.report.heatwork_drawing import heatwork_drawing
from firing.units import format_temperature


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
