"""The common parts of the pages' drawings, described in plotly's vocabulary but without plotly.

Every line differs from its neighbours in its dashes as well as in its colour, and captions say in
words what a drawing shows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import numpy.typing as npt

from firing.clock import after
from firing.report.charts.text_chart import ChartSeries, temperatures_in
from firing.report.sanitize import plain
from firing.trace import FloatArray, median
from firing.units import SECONDS_PER_HOUR, TemperatureUnit

MOST_POINTS = 4000
"""Points a figure draws at most, over all its lines together."""
_GAP_STEPS = 2.0
"""Missing values are a gap where they span more of a channel's usual intervals."""


def decimate(
    time_s: FloatArray, values: FloatArray, most: int = MOST_POINTS
) -> tuple[FloatArray, FloatArray]:
    """Return the first, lowest, highest and last sample of each bucket, `most` (4 or more) in all.

    A spike of one reading therefore still shows, and every kept point is a reading.  A gap, which
    NaN marks, stays open from the reading before it to the one after.
    """
    count = time_s.size
    if count <= most:
        return time_s, values
    gaps = _gaps(time_s, values)[: most // 8]
    buckets = max((most - gaps.size) // 4, 1)
    size = -(-count // buckets)
    starts = np.arange(0, count, size)
    padded = np.full(starts.size * size, np.nan)
    padded[:count] = values
    rows = padded.reshape(starts.size, size)
    gap = np.isnan(rows)
    lowest = starts + np.argmin(np.where(gap, np.inf, rows), axis=1)
    highest = starts + np.argmax(np.where(gap, -np.inf, rows), axis=1)
    last = np.minimum(starts + size, count) - 1
    kept = np.unique(np.concatenate((starts, lowest, highest, last, gaps.ravel())))
    return time_s[kept], values[kept]


def _gaps(time_s: FloatArray, values: FloatArray) -> npt.NDArray[np.int_]:
    """Return the reading before, a NaN in, and the reading after every gap, the longest first.

    A channel that is read on every other row only has no gaps there.
    """
    read = np.flatnonzero(~np.isnan(values))
    step_s = np.diff(time_s[read])
    wide = np.flatnonzero((np.diff(read) > 1) & (step_s > _GAP_STEPS * median(step_s)))
    wide = wide[np.argsort(-step_s[wide], kind="stable")]
    return np.stack((read[wide], read[wide] + 1, read[wide + 1]), axis=1)


# Okabe and Ito (2008), a palette that common kinds of colour blindness keep apart.
BLUE, VERMILLION, GREEN = "#0072B2", "#D55E00", "#009E73"
ORANGE, PURPLE, SKY = "#E69F00", "#CC79A7", "#56B4E9"
# Neutral grey, of enough contrast on white paper and on a dark screen alike.
GREY = "#767676"
DASH_DOT_DOT = "9px,3px,2px,3px,2px,3px"
"""A dash that has no name in that vocabulary, beside the six that have."""
_FONT = 'ui-sans-serif, system-ui, "Liberation Sans", sans-serif'
_INK, _PAPER, _GRID = "#1f1b16", "#fffdf9", "#e6dfd4"

Spec = dict[str, Any]
"""A piece of a figure: a line, an axis, a layout, in plotly's own vocabulary."""


@dataclass(frozen=True, eq=False)
class Drawing:
    """A drawing of a page: the id of its place, data and layout as JSON values, and its caption."""

    name: str
    figure: Spec
    caption: str
    height_px: int


def label(raw: str) -> str:
    """Return user text for a plotly label, which reads a few HTML tags and entities itself."""
    return plain(raw).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """Hours from the start, or the clock where it is known and does not change over the span."""

    started: datetime | None

    @classmethod
    def over(cls, started: datetime | None, to_s: float) -> "TimeAxis":
        """Return the axis for second 0, at `started`, to `to_s`."""
        if started is None:
            return cls(None)
        first, last = after(started, 0.0), after(started, to_s)
        # A change to or from summer time would fold a clock axis over itself.
        return cls(first if first.utcoffset() == last.utcoffset() else None)

    def x(self, time_s: FloatArray | Sequence[float]) -> list[Any]:
        """Return positions for times [s]."""
        seconds = np.asarray(time_s, dtype=np.float64)
        if self.started is None:
            return [round(float(value), 5) for value in seconds / SECONDS_PER_HOUR]
        zero = np.datetime64(self.started.replace(tzinfo=None), "s")
        moments = zero + np.round(seconds).astype("timedelta64[s]")
        return [str(moment) for moment in moments]

    @property
    def hover(self) -> str:
        """How a position reads under the pointer."""
        return "%{x:.2f} h" if self.started is None else "%{x|%a %H:%M}"

    def part(self, **more: Any) -> Spec:
        """Return the axis for a layout."""
        if self.started is None:
            return axis("hours", **more)
        return axis(type="date", tickformat="%H:%M\n%a", tickangle=0, nticks=6, **more)


def axis(title: str = "", **more: Any) -> Spec:
    """Return one axis of a layout."""
    return {
        "title": {"text": title, "standoff": 6, "font": {"size": 13}},
        "showgrid": True,
        "gridcolor": _GRID,
        "zeroline": False,
        "ticks": "outside",
        "tickcolor": GREY,
        "automargin": True,
        **more,
    }


def values(numbers: FloatArray, digits: int) -> list[float | None]:
    """Return numbers for JSON, rounded, with None for gaps."""
    return [round(float(v), digits) if np.isfinite(v) else None for v in numbers]


def line(
    name: str,
    time_axis: TimeAxis,
    time_s: FloatArray,
    numbers: FloatArray,
    unit_words: str,
    *,
    colour: str,
    dash: str = "solid",
    width: float = 2.0,
    most: int = MOST_POINTS,
    digits: int = 1,
    **more: Any,
) -> Spec:
    """Return a line over time, thinned to `most` points."""
    kept_s, kept = decimate(time_s, numbers, most)
    return {
        "type": "scatter",
        "mode": "lines",
        "x": time_axis.x(kept_s),
        "y": values(kept, digits),
        "name": label(name),
        "line": {"color": colour, "dash": dash, "width": width},
        "hovertemplate": f"{time_axis.hover}<br>%{{y:.{digits}f}} {unit_words}",
        **more,
    }


def course(
    series: ChartSeries, time_axis: TimeAxis, unit: TemperatureUnit, colour: str, **style: Any
) -> Spec:
    """Return the line of temperatures over time."""
    temperature = temperatures_in(series.temperature_c, unit)
    return line(
        series.name, time_axis, series.time_s, temperature, f"°{unit}", colour=colour, **style
    )


def segment_marks(
    spans: Sequence[tuple[int, float | None, float | None]], time_axis: TimeAxis
) -> tuple[list[Spec], list[Spec]]:
    """Return an upright line at every segment's end, and its number above its middle.

    `spans` holds the numbers from 0, with start and end [s]; one without both is left out.
    """
    lines: list[Spec] = []
    numbers: list[Spec] = []
    total_s = max((end for _, _, end in spans if end is not None), default=0.0)
    for index, start_s, end_s in spans:
        if start_s is None or end_s is None:
            continue
        end, middle = time_axis.x([end_s, (start_s + end_s) / 2.0])
        upright = {"type": "line", "xref": "x", "yref": "paper", "x0": end, "x1": end}
        lines.append(
            {**upright, "y0": 0, "y1": 1, "line": {"color": GREY, "width": 0.8, "dash": "dot"}}
        )
        if end_s - start_s >= 0.015 * total_s:  # narrower than its own number
            place = {"x": middle, "y": 1.0, "xref": "x", "yref": "paper", "yanchor": "bottom"}
            numbers.append({**place, "text": str(index + 1), "showarrow": False})
    return lines, numbers


def drawing(
    name: str, data: Sequence[Spec], caption: str, height_px: int, **layout: Any
) -> Drawing:
    """Return a drawing of lines, bars and marks; `layout` holds axes, shapes and annotations."""
    common = {
        "template": {"data": {}, "layout": {}},
        "height": height_px,
        "autosize": True,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": _FONT, "size": 13, "color": _INK},
        "margin": {"l": 62, "r": 18, "t": 48, "b": 52},
        "legend": {"orientation": "h", "x": 0, "y": 1.07, "yanchor": "bottom"},
        "hoverlabel": {"bgcolor": _PAPER, "bordercolor": GREY, "font": {"color": _INK}},
        "hovermode": "closest",
    }
    figure = {"data": list(data), "layout": {**common, **layout}}
    return Drawing(name, figure, caption, height_px)
