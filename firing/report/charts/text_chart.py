"""A temperature chart in text: lines on a braille canvas between labelled axes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from firing.clock import after
from firing.report.charts.canvas import Canvas, LineStyle
from firing.report.formatting import WEEKDAYS
from firing.report.sanitize import display_width, plain, shorten, to_ascii
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, TemperatureUnit, from_celsius

# The palette of Okabe and Ito (2008), readable with every common colour vision, as the nearest of
# the 256 terminal colours: blue, vermillion, bluish green, orange, reddish purple.
_PALETTE = (25, 166, 36, 178, 175)
_RESET = "\x1b[0m"
_HOUR_STEPS = (0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0, 24.0, 48.0, 96.0, 168.0)
_LEGEND_CELLS = 4
_LEGEND_GAP = "   "
_MINIMUM = (24, 5)
_FAR_ABOVE_ZERO = 0.85


@dataclass(frozen=True, eq=False)
class ChartSeries:
    """One line of a chart: its name in the legend, and temperatures over increasing times.

    NaN breaks the line.  Its style tells it from the others without colour; the colour is a place
    in the palette, None for the terminal's own.
    """

    name: str
    time_s: FloatArray
    temperature_c: FloatArray
    style: LineStyle = "solid"
    colour: int | None = None

    def escape(self, colour: bool) -> str:
        """Return the escape sequence that starts this line's colour; empty without colour."""
        if not colour or self.colour is None:
            return ""
        return f"\x1b[38;5;{_PALETTE[self.colour % len(_PALETTE)]}m"


def render_chart(
    series: Sequence[ChartSeries],
    *,
    width: int = 78,
    height: int = 16,
    unit: TemperatureUnit = "C",
    x_label: str = "hours",
    started: datetime | None = None,
    ascii_only: bool = False,
    colour: bool = False,
) -> str:
    """Draw temperatures over time as text, later lines on top; no row ends in spaces.

    Legend and labels are within `width` and `height` [characters], which are made 24 by 5 at
    least.  With the moment of time 0 in `started` the axis shows the clock, else it counts hours.
    """
    width, height = max(width, _MINIMUM[0]), max(height, _MINIMUM[1])
    legend = _legend(series, width, ascii_only=ascii_only, colour=colour)
    span = _span(series)
    if span is None:
        return "\n".join([*legend, "(no temperatures to draw)"])
    (from_s, to_s), (low, high) = span[0], _in_unit(span[1], unit)
    plot_height = max(height - len(legend) - 2, 2)
    ticks = _round_values(low, high, max(2 * plot_height // 3, 2))
    bottom, top = min(ticks[0], low), max(ticks[-1], high)
    labels = {_cell_row(tick, bottom, top, plot_height): f"{tick:.0f}" for tick in ticks}
    gutter = max(len(f"°{unit}"), *(len(label) for label in labels.values()))
    plot_width = width - gutter - 1
    canvas = Canvas(plot_width, plot_height)
    for line in series:
        canvas.draw(
            (line.time_s - from_s) / (to_s - from_s),
            (temperatures_in(line.temperature_c, unit) - bottom) / (top - bottom),
            line.style,
        )
    drawn = canvas.lines(
        ascii_only=ascii_only, colours=tuple(line.escape(colour) for line in series)
    )
    rows = [
        f"{labels.get(number, ''):>{gutter}}{'┤' if number in labels else '│'}{row}".rstrip()
        for number, row in enumerate(drawn)
    ]
    if 0 not in labels:
        rows[0] = f"{f'°{unit}':>{gutter}}" + rows[0][gutter:]
    marks = _time_marks(from_s, to_s, plot_width, started)
    lines = [*legend, *rows, *_time_axis(marks, gutter, plot_width, "" if started else x_label)]
    return "\n".join(to_ascii(line) if ascii_only else line for line in lines)


def _legend(
    series: Sequence[ChartSeries], width: int, *, ascii_only: bool, colour: bool
) -> list[str]:
    lines: list[str] = []
    used = 0
    for line in series:
        sample = Canvas(_LEGEND_CELLS, 1)
        sample.draw(np.array([0.0, 1.0]), np.array([0.45, 0.45]), line.style)
        drawn = sample.lines(ascii_only=ascii_only, colours=(line.escape(colour),))[0]
        name = shorten(plain(line.name), width - _LEGEND_CELLS - 1)
        needed = _LEGEND_CELLS + 1 + display_width(name)
        if not lines or used + len(_LEGEND_GAP) + needed > width:
            lines.append(f"{drawn} {name}")
            used = needed
        else:
            lines[-1] += f"{_LEGEND_GAP}{drawn} {name}"
            used += len(_LEGEND_GAP) + needed
    return lines


def _span(
    series: Sequence[ChartSeries],
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    times = [line.time_s for line in series if line.time_s.size]
    values = [line.temperature_c[np.isfinite(line.temperature_c)] for line in series]
    values = [value for value in values if value.size]
    if not times or not values:
        return None
    from_s = min(float(time[0]) for time in times)
    to_s = max(float(time[-1]) for time in times)
    low_c = min(float(value.min()) for value in values)
    high_c = max(float(value.max()) for value in values)
    return (from_s, max(to_s, from_s + 1.0)), (low_c, max(high_c, low_c + 1.0))


def _in_unit(span_c: tuple[float, float], unit: TemperatureUnit) -> tuple[float, float]:
    return from_celsius(span_c[0], unit), from_celsius(span_c[1], unit)


def temperatures_in(temperature_c: FloatArray, unit: TemperatureUnit) -> FloatArray:
    """Return temperatures in °C, shape (n,), as numbers in `unit`."""
    zero = from_celsius(0.0, unit)
    return temperature_c * (from_celsius(1.0, unit) - zero) + zero


def _round_values(low: float, high: float, at_most: int) -> list[float]:
    """Return round numbers, evenly spaced, the first at or below `low`.

    Steps are as wide as for an axis from zero, unless all values lie close together far above it.
    """
    from_value = low if low > _FAR_ABOVE_ZERO * high else min(low, 0.0)
    rough = max(high - from_value, 1e-9) / at_most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= rough * 0.999)
    step = max(step, 1.0)
    first = math.floor(low / step)
    return [step * n for n in range(first, math.floor(high / step) + 1)]


def _cell_row(value: float, bottom: float, top: float, height: int) -> int:
    # The same rounding as the canvas: the cell that a line at this value runs through.
    return min(int((top - value) / (top - bottom) * height), height - 1)


def _time_marks(
    from_s: float, to_s: float, columns: int, started: datetime | None
) -> list[tuple[int, str]]:
    """Return (column, label) of the time axis's marks, left to right."""
    room = max(columns // (8 if started else 7), 1)
    hours = (to_s - from_s) / SECONDS_PER_HOUR
    step_s = next((h for h in _HOUR_STEPS if hours / h <= room), _HOUR_STEPS[-1]) * SECONDS_PER_HOUR
    offset_s = 0.0
    if started is not None:
        first = after(started, from_s)
        since_midnight_s = first.hour * 3600.0 + first.minute * 60.0 + first.second
        offset_s = since_midnight_s - from_s
    marks: list[tuple[int, str]] = []
    number = math.ceil((from_s + offset_s) / step_s - 1e-9)
    while (at_s := number * step_s - offset_s) <= to_s:
        column = min(int((at_s - from_s) / (to_s - from_s) * columns), columns - 1)
        marks.append((column, _mark_label(at_s, step_s, started)))
        number += 1
    return marks


def _mark_label(at_s: float, step_s: float, started: datetime | None) -> str:
    if started is None:
        digits = 0 if step_s >= SECONDS_PER_HOUR else 2
        return f"{at_s / SECONDS_PER_HOUR:.{digits}f}"
    moment = after(started, at_s)
    if moment.hour == 0 and moment.minute == 0:
        return WEEKDAYS[moment.weekday()]
    return f"{moment:%H:%M}"


def _time_axis(marks: list[tuple[int, str]], gutter: int, columns: int, x_label: str) -> list[str]:
    rule = ["─"] * columns
    name = plain(x_label)
    width = gutter + 1 + columns
    labels = [" "] * (width - display_width(name))
    taken = -1
    for column, label in marks:
        rule[column] = "┬"
        start = max(gutter + 1 + column - (len(label) - 1) // 2, 0)
        end = start + len(label)
        # Labels give way to one another, and to what the axis counts, never the other way round.
        if start > taken and end <= len(labels) - bool(name):
            labels[start:end] = label
            taken = end
    return [" " * gutter + "└" + "".join(rule), ("".join(labels) + name).rstrip()]
