"""A drawing surface of dots for the terminal: two by four of them in a braille character.

Drawing is vectorised over columns: a line of a hundred thousand samples costs about as much as one
pass over them, because each column only keeps its lowest and highest point.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray

LineStyle = Literal["solid", "dashed", "dotted", "dash-dotted"]

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
}
_DRAWN = {style: np.array([dot == "#" for dot in dots]) for style, dots in _PATTERNS.items()}
_ASCII_MARK: dict[LineStyle, str] = {"solid": "*", "dashed": "-", "dotted": ".", "dash-dotted": "+"}


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
            marks = [*(_ASCII_MARK[layer.style] for layer in self._layers), " "]
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
