"""A temperature chart in text: lines on a braille canvas between labelled axes.

The canvas has two by four dots in a character.  Drawing is vectorised over columns: a line of a
hundred thousand samples costs about as much as one pass over them, because each column only keeps
its lowest and highest point.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
import numpy.typing as npt

from firing.clock import after
from firing.report.sanitize import display_width, plain, shorten, to_ascii
from firing.report.words import WEEKDAYS
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, TemperatureUnit, from_celsius

LineStyle = Literal[
    "solid", "dashed", "dotted", "dash-dotted", "short-dashed", "dash-dot-dotted", "long-dashed",
    "faint",
]  # fmt: skip

DOTS_ACROSS, DOTS_DOWN = 2, 4
"""Dots in one character cell."""

_BLANK = 0x2800
# Bit of each dot, row by row (Unicode, block Braille Patterns: dots 1-3 and 7 left, 4-6 and 8).
_BITS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], dtype=np.int64)
# The dots of a period that are drawn, counted along the line so that steep parts are broken too.
_PATTERNS: dict[LineStyle, str] = {
    "solid": "#",
    "dashed": "#####    ",
    "dotted": "#  ",
    "dash-dotted": "###  #  ",
    "short-dashed": "## ",
    "dash-dot-dotted": "#### # # ",
    "long-dashed": "  ######",
    "faint": "#    ",
}
_DRAWN = {style: np.array([dot == "#" for dot in dots]) for style, dots in _PATTERNS.items()}
ASCII_MARK: dict[LineStyle, str] = {
    "solid": "*", "dashed": "-", "dotted": ".", "dash-dotted": "+", "faint": ":",
    "short-dashed": "=", "dash-dot-dotted": "%", "long-dashed": "~",
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Layer:
    dots: npt.NDArray[np.bool_]
    style: LineStyle


class Canvas:
    """A grid of `width` by `height` character cells.

    Lines are kept one layer each, so that a cell knows which of them it belongs to.
    """

    def __init__(self, width: int, height: int) -> None:
        self.width = width
        self.height = height
        self._layers: list[_Layer] = []

    @property
    def columns(self) -> int:
        """Dots across."""
        return self.width * DOTS_ACROSS

    @property
    def rows(self) -> int:
        """Dots down."""
        return self.height * DOTS_DOWN

    def draw(self, x: FloatArray, y: FloatArray, style: LineStyle = "solid") -> None:
        """Draw a line through points given as shares of the canvas, shape (n,) each.

        `x` runs from 0 at the left edge to 1 at the right and never decreases, `y` from 0 at the
        bottom to 1 at the top; NaN in it breaks the line.
        """
        dots = np.zeros((self.rows, self.columns), dtype=np.bool_)
        if x.size:
            self._fill(dots, x * self.columns, (1.0 - y) * self.rows, style)
        self._layers.append(_Layer(dots, style))

    def _fill(
        self, dots: npt.NDArray[np.bool_], across: FloatArray, down: FloatArray, style: LineStyle
    ) -> None:
        edges = np.arange(self.columns + 1, dtype=np.float64)
        at_edge = np.interp(edges, across, down, left=np.nan, right=np.nan)
        top = np.fmin(at_edge[:-1], at_edge[1:])
        bottom = np.fmax(at_edge[:-1], at_edge[1:])
        # Samples are sorted, so each column's own are a slice; the last column also owns its right
        # edge, where the last sample of a full line lies.
        starts = np.searchsorted(across, edges[:-1])
        ends = np.append(starts[1:], np.searchsorted(across, edges[-1], side="right"))
        held = np.flatnonzero(ends > starts)
        if held.size:
            value = down[: ends[-1]]
            top[held] = np.fmin(top[held], np.fmin.reduceat(value, starts[held]))
            bottom[held] = np.fmax(bottom[held], np.fmax.reduceat(value, starts[held]))
        drawn = np.isfinite(top) & (bottom >= 0.0) & (top <= self.rows)
        top_row = np.clip(np.floor(np.where(drawn, top, 0.0)), 0, self.rows - 1)
        bottom_row = np.clip(np.floor(np.where(drawn, bottom, 0.0)), 0, self.rows - 1)
        # Neighbours share the row of their common edge; one of them suffices on a slope.
        shared = (bottom_row > top_row) & drawn
        bottom_row = np.where(shared & np.append(shared[1:], False), bottom_row - 1, bottom_row)
        row = np.arange(self.rows)[:, np.newaxis]
        lit = drawn & (row >= top_row) & (row <= bottom_row)
        pattern = _DRAWN[style]
        if pattern.size > 1:
            length = np.where(drawn, bottom_row - top_row + 1.0, 0.0)
            before = np.cumsum(length) - length
            falling = at_edge[1:] >= at_edge[:-1]
            along = before + np.where(falling, row - top_row, bottom_row - row)
            lit &= pattern[np.mod(along, pattern.size).astype(np.int64)]
        dots |= lit

    def lines(self, *, ascii_only: bool = False, colours: tuple[str, ...] = ()) -> list[str]:
        """Return the drawing as `height` strings of `width` characters.

        `colours` holds an escape sequence a line drawn, empty for none; a cell takes that of the
        last line through it.
        """
        shape = (self.height, DOTS_DOWN, self.width, DOTS_ACROSS)
        owner = np.full((self.height, self.width), -1, dtype=np.int64)
        bits = np.zeros((self.height, self.width), dtype=np.int64)
        for number, layer in enumerate(self._layers):
            cells = layer.dots.reshape(shape)
            bits |= np.einsum("hdwa,da->hw", cells, _BITS)
            owner[cells.any(axis=(1, 3))] = number
        if ascii_only:
            marks = [*(ASCII_MARK[layer.style] for layer in self._layers), " "]
            rows = [[marks[cell] for cell in row] for row in owner]
        else:
            rows = [[chr(_BLANK + bit) if bit else " " for bit in row] for row in bits]
        if not any(colours):
            return ["".join(row) for row in rows]
        return [_coloured(row, owner[y], colours) for y, row in enumerate(rows)]


def _coloured(row: list[str], owner: npt.NDArray[np.int64], colours: tuple[str, ...]) -> str:
    parts: list[str] = []
    current = ""
    for character, number in zip(row, owner, strict=True):
        wanted = colours[number] if number >= 0 else ""
        if wanted != current:
            parts.append("\x1b[0m" if current else "")
            parts.append(wanted)
            current = wanted
        parts.append(character)
    parts.append("\x1b[0m" if current else "")
    return "".join(parts)


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
