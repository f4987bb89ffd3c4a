"""A chart with a window on it: what of its lines is seen, as rows of marked pieces of text."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firing.report.charts.text_chart import (
    ASCII_MARK,
    Canvas,
    ChartSeries,
    LineStyle,
    temperatures_in,
)
from firing.report.sanitize import display_width, plain, shorten
from firing.report.words import Timekeeper
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, TemperatureUnit, from_celsius

AXIS, TEXT, CROSS, MARK = -1, -2, -3, -4
"""What a piece of text is, besides the number of the line it is drawn for."""

Piece = tuple[str, int]
"""A piece of text and what it is."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A stretch of time [s], and the letter that stands on a line for what is said of it."""

    letter: str
    from_s: float
    to_s: float
    words: str = ""
    line: int = -1
    """The line's place among them all; -1 for the topmost that is drawn there."""


GUTTER = 5
SHORTEST_S = 300.0
"""The least that a window shows: less is finer than a firing is logged [s]."""
_LEAST_SPAN_C = 8.0
_STEPS_S = tuple(60.0 * m for m in (1, 2, 5, 10, 15, 30)) + tuple(
    SECONDS_PER_HOUR * h for h in (1, 2, 3, 4, 6, 12, 24, 48, 96, 168)
)
_MARK = re.compile(r"\x1b\[(\d+)m")


@dataclass(frozen=True, slots=True)
class Window:
    """The stretch of time seen, of a whole from `first_s` to `last_s` [s]."""

    first_s: float
    last_s: float
    from_s: float
    to_s: float

    @property
    def whole(self) -> bool:
        """Whether everything is seen."""
        return self.from_s <= self.first_s and self.to_s >= self.last_s

    def everything(self) -> "Window":
        """Return the window on everything."""
        return replace(self, from_s=self.first_s, to_s=self.last_s)

    def zoomed(self, factor: float, at_s: float) -> "Window":
        """Return a window `factor` times as wide in which `at_s` keeps its place."""
        span_s = self.to_s - self.from_s
        all_s = self.last_s - self.first_s
        wanted_s = min(max(span_s * factor, min(SHORTEST_S, all_s)), all_s)
        share = (at_s - self.from_s) / span_s
        return self._at(at_s - share * wanted_s, wanted_s)

    def panned(self, share: float) -> "Window":
        """Return a window moved by a share of its own width, later if positive."""
        span_s = self.to_s - self.from_s
        return self._at(self.from_s + share * span_s, span_s)

    def around(self, from_s: float, to_s: float) -> "Window":
        """Return a window on a stretch, with as much again around it."""
        all_s = self.last_s - self.first_s
        span_s = min(max(2.0 * (to_s - from_s), min(3600.0, all_s)), all_s)
        return self._at((from_s + to_s - span_s) / 2.0, span_s)

    def between(self, from_s: float, to_s: float) -> "Window":
        """Return a window on a stretch, moved so that it lies inside the whole."""
        return self._at(from_s, min(to_s - from_s, self.last_s - self.first_s))

    def seeing(self, at_s: float) -> "Window":
        """Return a window moved just so far that a moment is in it."""
        span_s = self.to_s - self.from_s
        if at_s < self.from_s:
            return self._at(at_s - 0.1 * span_s, span_s)
        return self._at(at_s - 0.9 * span_s, span_s) if at_s > self.to_s else self

    def _at(self, from_s: float, span_s: float) -> "Window":
        start_s = min(max(from_s, self.first_s), self.last_s - span_s)
        return replace(self, from_s=start_s, to_s=start_s + span_s)


def window_on(lines: Sequence[ChartSeries]) -> Window | None:
    """Return the window on all of the lines; None if there is nothing to see."""
    times = [line.time_s for line in lines if line.time_s.size]
    if not times:
        return None
    first_s = min(float(time[0]) for time in times)
    last_s = max(max(float(time[-1]) for time in times), first_s + 1.0)
    return Window(first_s, last_s, first_s, last_s)


def time_at(window: Window, column: int, width: int) -> float:
    """Return the moment in the middle of a plot column [s]; `width` counts the gutter."""
    columns = max(width - GUTTER, 1)
    share = (column - GUTTER + 0.5) / columns
    return window.from_s + min(max(share, 0.0), 1.0) * (window.to_s - window.from_s)


def column_at(window: Window, at_s: float, width: int) -> int | None:
    """Return the column of a moment; None if it is not seen."""
    columns = max(width - GUTTER, 1)
    share = (at_s - window.from_s) / (window.to_s - window.from_s)
    if not 0.0 <= share <= 1.0:
        return None
    return GUTTER + min(int(share * columns), columns - 1)


def draw(
    lines: Sequence[ChartSeries],
    window: Window,
    *,
    width: int,
    height: int,
    unit: TemperatureUnit,
    keeper: Timekeeper,
    cross_s: float | None = None,
    marks: Sequence[Mark] = (),
    ascii_only: bool = False,
) -> list[list[Piece]]:
    """Draw what is seen of the lines.

    Parameters
    ----------
    lines : sequence of ChartSeries
        The later ones lie on top.
    window : Window
        What is seen.
    width, height : int
        Of the whole, legend and axes included [cells].
    unit : {"C", "F"}
        Of the temperature axis.
    keeper : Timekeeper
        Whether the time axis shows the clock, and which.
    cross_s : float, optional
        Where the cross-hair stands [s].
    marks : sequence of Mark
        Stretches to be marked along the foot, their letters on their line, or the topmost there.
    ascii_only : bool
        Whether lines are told apart by characters of ASCII, for want of dots.

    Returns
    -------
    list of list of (str, int)
        `height` rows of pieces: a legend of a row or a few, the plot, and the time axis.
    """
    legend = _legend(lines, width, unit, ascii_only)
    plot_height, columns = max(height - 2 - len(legend), 1), max(width - GUTTER, 1)
    seen = [_seen(line, window, unit) for line in lines]
    low, high = _span(seen, window, unit)
    ticks = _round_values(low, high, max(plot_height // 2, 2))
    canvas = Canvas(columns, plot_height)
    for line, (time_s, value) in zip(lines, seen, strict=True):
        across = (time_s - window.from_s) / (window.to_s - window.from_s)
        canvas.draw(across, (value - low) / (high - low), line.style)
    labels = {_row_of(tick, low, high, plot_height): f"{tick:.0f}" for tick in ticks}
    cross = None if cross_s is None else column_at(window, cross_s, width)
    # The canvas starts each cell's colour with a sequence of ours, here the line's own number.
    colours = tuple(f"\x1b[{number + 1}m" for number in range(len(lines)))
    drawn = canvas.lines(ascii_only=ascii_only, colours=colours)
    rows = list(legend)
    for number, text in enumerate(drawn):
        label = labels.get(number, "")
        edge = "┤" if label else "│"
        pieces: list[Piece] = [(f"{label:>{GUTTER - 1}}{edge}", AXIS), *_pieces(text)]
        rows.append(pieces if cross is None else _put(pieces, cross, {" ": "│"}, CROSS))
    rows.extend(_time_axis(window, columns, keeper, cross))
    down = [(time_s, (high - value) / (high - low)) for time_s, value in seen]
    _set_marks(rows, len(legend), window, marks, width, down)
    return rows


def _set_marks(
    rows: list[list[Piece]],
    above: int,
    window: Window,
    marks: Sequence[Mark],
    width: int,
    lines: Sequence[tuple[FloatArray, FloatArray]],
) -> None:
    """Draw stretches along the foot, and letters on the lines [s], [share of the plot's height].

    So many rows are `above` the plot.
    """
    height = len(rows) - 2 - above
    taken: set[tuple[int, int]] = set()
    for mark in marks:
        from_s, to_s = max(mark.from_s, window.from_s), min(mark.to_s, window.to_s)
        middle_s = 0.5 * (from_s + to_s)
        shares = (
            float(np.interp(middle_s, time_s[known], share[known], np.nan, np.nan))
            for time_s, share in ([lines[mark.line]] if mark.line >= 0 else reversed(lines))
            if (known := np.isfinite(share)).any()
        )
        share = next((share for share in shares if math.isfinite(share)), None)
        if from_s > to_s or share is None:
            continue
        first, middle, last = (
            column_at(window, at_s, width) or GUTTER for at_s in (from_s, middle_s, to_s)
        )
        if mark.to_s > mark.from_s:
            for column in range(first, last + 1):
                rows[-2] = _put(rows[-2], column, {"─": "━", "┬": "┯"}, MARK)
        row = above + min(max(int(share * height), 0), height - 1)
        while (row, middle) in taken and middle < width - 1:
            middle += 1
        taken.add((row, middle))
        rows[row] = _put(rows[row], middle, mark.letter, MARK)


def _seen(
    line: ChartSeries, window: Window, unit: TemperatureUnit
) -> tuple[FloatArray, FloatArray]:
    """Return a line's samples within the window, and the neighbours it runs on to."""
    first = max(int(np.searchsorted(line.time_s, window.from_s)) - 1, 0)
    last = int(np.searchsorted(line.time_s, window.to_s, side="right")) + 1
    return line.time_s[first:last], temperatures_in(line.temperature_c[first:last], unit)


def _span(
    seen: Sequence[tuple[FloatArray, FloatArray]], window: Window, unit: TemperatureUnit
) -> tuple[float, float]:
    """Return the lowest and highest value that is seen, with a little room around them."""
    lows: list[float] = []
    highs: list[float] = []
    for time_s, value in seen:
        if not time_s.size:
            continue
        # A neighbour outside the window counts only by where its line crosses the edge.
        edges = np.interp([window.from_s, window.to_s], time_s, value, left=np.nan, right=np.nan)
        inside = value[(time_s >= window.from_s) & (time_s <= window.to_s)]
        both = np.concatenate((edges, inside))
        both = both[np.isfinite(both)]
        if both.size:
            lows.append(float(both.min()))
            highs.append(float(both.max()))
    if not lows:
        return from_celsius(0.0, unit), from_celsius(100.0, unit)
    low, high = min(lows), max(highs)
    short = _LEAST_SPAN_C - (high - low)
    if short > 0:
        low, high = low - short / 2.0, high + short / 2.0
    margin = 0.02 * (high - low)
    return low - margin, high + margin


def _round_values(low: float, high: float, at_most: int) -> list[float]:
    """Return round numbers within the span, evenly spaced."""
    rough = max(high - low, 1e-9) / at_most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= rough * 0.999)
    step = max(step, 1.0)
    return [step * n for n in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _row_of(value: float, low: float, high: float, height: int) -> int:
    return min(max(int((high - value) / (high - low) * height), 0), height - 1)


def _pieces(text: str) -> list[Piece]:
    """Split a row of the canvas at the sequences that tell its lines apart."""
    pieces: list[Piece] = []
    role, position = TEXT, 0
    for match in _MARK.finditer(text):
        if match.start() > position:
            pieces.append((text[position : match.start()], role))
        code = int(match[1])
        role, position = (TEXT if code == 0 else code - 1), match.end()
    if position < len(text):
        pieces.append((text[position:], role))
    return pieces


def _put(pieces: list[Piece], column: int, new: str | dict[str, str], role: int) -> list[Piece]:
    """Return a row with another character at a column: one, or what stands for the one there."""
    result: list[Piece] = []
    start = 0
    for text, drawn in pieces:
        at = column - start
        start += len(text)
        there = text[at] if 0 <= at < len(text) else ""
        put = new if isinstance(new, str) else new.get(there, "")
        if there and put:
            result += [(text[:at], drawn), (put, role), (text[at + 1 :], drawn)]
        else:
            result.append((text, drawn))
    return [piece for piece in result if piece[0]]


_SAMPLES: dict[LineStyle, str] = {
    "solid": "######",
    "dashed": "##  ##",
    "dotted": "#  #  ",
    "dash-dotted": "###  #",
    "short-dashed": "## ## ",
    "dash-dot-dotted": "# ## #",
    "long-dashed": " #####",
    "faint": "#    #",
}
"""Dots of each style in the legend: no two are alike, not even by their first four."""
_DOTS = {"# ": "⠄", " #": "⠠", "##": "⠤", "  ": " "}
_LEAST_NAME = 6
"""Names are cut to this before a third row is taken from the plot."""


def _sample(style: LineStyle, cells: int, ascii_only: bool) -> str:
    if ascii_only:
        return ASCII_MARK[style] * cells
    dots = _SAMPLES[style]
    return "".join(_DOTS[dots[2 * cell : 2 * cell + 2]] for cell in range(cells))


def _legend(
    lines: Sequence[ChartSeries], width: int, unit: TemperatureUnit, ascii_only: bool
) -> list[list[Piece]]:
    """Return every line's sample and name, in one row or a few.

    Names are cut only where two rows do not hold them, and no line is left out.
    """
    # Those without a colour of their own come last.
    order = sorted(range(len(lines)), key=lambda number: lines[number].colour is None)
    names = [plain(lines[number].name) for number in order]
    room = width - GUTTER
    longest = max(map(display_width, names), default=1)
    fittings = [(1, 3, longest)]
    fittings += [(2, 2, most) for most in range(longest, min(longest, _LEAST_NAME) - 1, -1)]
    fittings += [(3, 2, most) for most in range(longest, 0, -1)]
    rows: list[list[int]] = [[]]
    for at_most, cells, most in fittings:
        shown = [shorten(name, most) for name in names]
        gap, rows, left = cells - 1, [[]], room
        for at, name in enumerate(shown):
            needed = cells + 1 + display_width(name)
            if rows[-1] and needed > left:
                rows.append([])
                left = room
            rows[-1].append(at)
            left -= needed + gap
        if len(rows) <= at_most:
            break
    found: list[list[Piece]] = []
    for row in rows:
        lead = "" if found else f"°{unit}"
        pieces: list[Piece] = [(f"{lead:>{GUTTER - 1}} ", AXIS)]
        for at in row:
            number = order[at]
            pieces += [
                (_sample(lines[number].style, cells, ascii_only), number),
                (f" {shown[at]}{' ' * gap}", TEXT),
            ]
        found.append(pieces)
    return found


def _time_axis(
    window: Window, columns: int, keeper: Timekeeper, cross: int | None
) -> list[list[Piece]]:
    rule = ["─"] * columns
    labels = [" "] * (columns + GUTTER)
    taken = -1
    for column, label in _time_marks(window, columns, keeper):
        rule[column] = "┬"
        start = GUTTER + max(column - (len(label) - 1) // 2, 0)
        if start > taken and start + len(label) <= len(labels):
            labels[start : start + len(label)] = label
            taken = start + len(label)
    name = "" if keeper.started is not None else "h:mm"
    labels[: len(name)] = name
    pieces: list[Piece] = [(" " * (GUTTER - 1) + "└" + "".join(rule), AXIS)]
    if cross is not None:
        pieces = _put(pieces, cross, "┴", CROSS)
    return [pieces, [("".join(labels), AXIS)]]


def _time_marks(window: Window, columns: int, keeper: Timekeeper) -> list[tuple[int, str]]:
    span_s = window.to_s - window.from_s
    room = max(columns // 8, 1)
    step_s = next((s for s in _STEPS_S if span_s / s <= room), _STEPS_S[-1])
    offset_s = 0.0
    if keeper.started is not None:
        first = keeper.first
        offset_s = first.hour * 3600.0 + first.minute * 60.0 + first.second
    marks: list[tuple[int, str]] = []
    number = math.ceil((window.from_s + offset_s) / step_s - 1e-9)
    while (at_s := number * step_s - offset_s) <= window.to_s:
        column = min(max(int((at_s - window.from_s) / span_s * columns), 0), columns - 1)
        marks.append((column, _mark(at_s, keeper)))
        number += 1
    return marks


def _mark(at_s: float, keeper: Timekeeper) -> str:
    if keeper.started is None:
        minutes = round(at_s / SECONDS_PER_MINUTE)
        sign = "−" if minutes < 0 else ""
        return f"{sign}{abs(minutes) // 60}:{abs(minutes) % 60:02d}"
    clock = keeper.at(at_s).split(" ")
    # Midnight is told by its day, any other moment by its hour.
    return clock[0] if clock[-1] == "00:00" and len(clock) > 1 else clock[-1]
