"""The drawing of a forecast: its course, with what is done by hand."""

import numpy as np

from firing.forecast.result import Forecast
from firing.report.charts import figure as fig
from firing.report.charts.figure import Drawing, TimeAxis
from firing.report.charts.text_chart import ChartSeries, temperatures_in
from firing.report.words import Timekeeper
from firing.units import format_temperature


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
