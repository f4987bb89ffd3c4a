"""The few figures that are read from across the room: large digits, and short lines beside them."""

from __future__ import annotations

from dataclasses import dataclass

from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip
from textual.widget import Widget

from firing.report.sanitize import display_width, plain, shorten, wrap

# Each character five dots high; a dot is half as wide as it is high on most terminals' cells.
_DOTS = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", "###", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", "  #", "  #"),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    ":": (" ", "#", " ", "#", " "),
    "-": ("   ", "   ", "###", "   ", "   "),
    "−": ("   ", "   ", "###", "   ", "   "),
}
_HEIGHT = 5
LOW, MIDDLE, HIGH = 3, 5, 10
"""How many lines the digits may take."""


def large(text: str, height: int) -> list[str]:
    """Return a short text in characters `height` lines high, one of `LOW`, `MIDDLE`, `HIGH`.

    A character that has no large form is left out.
    """
    dots = [
        " ".join(_DOTS[character][row] for character in text if character in _DOTS)
        for row in range(_HEIGHT)
    ]
    if height < MIDDLE:
        pairs = zip(dots[::2], [*dots[1::2], " " * len(dots[0])], strict=True)
        halves = {("#", "#"): "█", ("#", " "): "▀", (" ", "#"): "▄", (" ", " "): " "}
        return ["".join(halves[pair] for pair in zip(*rows, strict=True)) for rows in pairs]
    times = height // _HEIGHT
    wide = ["".join(("█" if dot == "#" else " ") * 2 * times for dot in row) for row in dots]
    return [row for row in wide for _ in range(times)]


@dataclass(frozen=True, slots=True)
class HeadlineFigures:
    """What is shown: a temperature, lines beside it from the most to the least important.

    `at` is the next moment somebody waits for, as a time of day, and `what` it is.
    """

    temperature: str = ""
    lines: tuple[str, ...] = ()
    at: str = ""
    what: str = ""
    calls: bool = False


class Headline(Widget):
    """Large digits, and what has to be known beside them; marked while somebody has to come."""

    DEFAULT_CSS = """
    Headline { height: 3; padding: 0 1; background: $background; }
    Headline.calls { background: $error; color: $background; }
    Headline > .headline--quiet { color: $quiet; }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.shown = HeadlineFigures()
        self._strips: list[Strip] | None = None

    def show(self, figures: HeadlineFigures) -> None:
        """Show other figures."""
        if figures != self.shown:
            self.shown = figures
            self.set_class(figures.calls, "calls")
            self._again()

    def _again(self) -> None:
        self._strips = None
        self.refresh()

    def on_resize(self) -> None:
        """Draw again in another size."""
        self._again()

    def notify_style_update(self) -> None:
        """Draw again in the colours of another theme."""
        super().notify_style_update()
        self._strips = None

    def render_line(self, y: int) -> Strip:
        """Return one line of the drawing, made once for all lines."""
        if self._strips is None or len(self._strips) != self.size.height:
            self._strips = self._drawing()
        return self._strips[y] if y < len(self._strips) else Strip.blank(self.size.width)

    def _drawing(self) -> list[Strip]:
        width, height = self.size
        base = self.rich_style
        rows = headline_rows(self.shown, width, height)
        style = base + Style(bold=True)
        return [Strip([Segment(row, style)]).adjust_cell_length(width, base) for row in rows]


def headline_rows(figures: HeadlineFigures, width: int, height: int) -> list[str]:
    """Return `height` lines of text: the digits, as large as there is room for, and the rest."""
    number, _, unit = figures.temperature.partition(" ")
    digits: list[str] = []
    for size in (HIGH, MIDDLE, LOW):
        digits = large(number, size)
        if size <= height and display_width(digits[0]) + _LEAST_BESIDE <= width:
            break
    # The unit stands small at the upper edge: the room is the figures'.
    digits[0] += f" {unit}".rstrip()
    left = display_width(digits[0]) + 3
    digits += [""] * (height - len(digits))
    beside = _beside(figures, max(width - left, 1), height)
    beside += [""] * (height - len(beside))
    return [f"{a:<{left}}{b}" for a, b in zip(digits[:height], beside[:height], strict=True)]


_LEAST_BESIDE = 30


def _beside(figures: HeadlineFigures, room: int, height: int) -> list[str]:
    clock = large(figures.at, MIDDLE) if figures.at and height >= HIGH else []
    if clock and display_width(clock[0]) <= room:
        above = [shorten(plain(line), room) for line in figures.lines[: height - len(clock) - 2]]
        what = shorten(plain(figures.what), room)
        return [*above, *[""] * (height - len(clock) - 1 - len(above)), *clock, what]
    words = [*figures.lines]
    if figures.at:
        words.insert(min(1, len(words)), f"{figures.at} {figures.what}".rstrip())
    found: list[str] = []
    spare = height - len(words)
    for line in words:
        wrapped = wrap(plain(line), max(room, 12))
        if len(wrapped) - 1 <= spare:
            spare -= len(wrapped) - 1
            found += wrapped
        else:
            found.append(shorten(plain(line), room))
    return found[:height]
