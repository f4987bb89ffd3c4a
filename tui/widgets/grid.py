"""A list of rows in columns with one cursor: rows are chosen, or cells."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Region, Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from firing.report.sanitize import pad, plain, shorten

_MARK, _NO_MARK = "▸", " "
_LEAST_TEXT = 4


@dataclass(frozen=True, slots=True)
class GridColumn:
    """One column: its name, heading and width, and whether it is set to the right."""

    key: str
    title: str
    width: int
    right: bool = False


@dataclass(frozen=True, slots=True)
class GridRow:
    """One row's cells; a row of one cell fills all columns, and a heading cannot be chosen.

    One that goes on with the row above is chosen with it.
    """

    cells: tuple[str, ...]
    heading: bool = False
    goes_on: bool = False


class ListGrid(ScrollView, can_focus=True):
    """Rows in columns.  With `by_cell` the cursor is one cell, else a whole row."""

    DEFAULT_CSS = """
    ListGrid { background: $background; scrollbar-size: 1 1; scrollbar-size-horizontal: 0; }
    ListGrid > .grid--title { color: $quiet; text-style: underline; }
    ListGrid > .grid--heading { color: $accent; text-style: bold; }
    ListGrid > .grid--row { color: $foreground; }
    ListGrid > .grid--current { background: $marked; }
    ListGrid > .grid--cursor { background: $primary; color: $background; text-style: bold; }
    """
    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "grid--title",
        "grid--heading",
        "grid--row",
        "grid--current",
        "grid--cursor",
    }
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "step(-1)", "Up", show=False),
        Binding("down", "step(1)", "Down", show=False),
        Binding("pageup", "page(-1)", "A page up", show=False),
        Binding("pagedown", "page(1)", "A page down", show=False),
        Binding("ctrl+home,home", "end(-1)", "First row", show=False),
        Binding("ctrl+end,end", "end(1)", "Last row", show=False),
    ]

    class Moved(Message):
        """The cursor went somewhere else."""

        def __init__(self, grid: "ListGrid") -> None:
            super().__init__()
            self.grid = grid

        @property
        def control(self) -> "ListGrid":
            """The grid it happened in."""
            return self.grid

    class Chosen(Moved):
        """The row or cell under the cursor was clicked, or chosen with enter."""

    frozen = 0
    """So many columns on the left stay where they are; the others go by whole columns."""

    def __init__(self, *, by_cell: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self._from_column = 0
        self.by_cell = by_cell
        self.columns: tuple[GridColumn, ...] = ()
        self.rows: tuple[GridRow, ...] = ()
        self.row = 0
        self.column = 0

    @property
    def titled(self) -> bool:
        """Whether the columns have headings."""
        return any(column.title for column in self.columns)

    def fill(self, columns: Sequence[GridColumn], rows: Sequence[GridRow]) -> None:
        """Show other rows; the cursor stays where it is as far as it can."""
        self.columns, self.rows = tuple(columns), tuple(rows)
        width = 1 if self.frozen else 1 + sum(column.width + 1 for column in self.columns)
        self.virtual_size = Size(width, len(self.rows) + self.titled)
        self._place(self.row, self.column, report=False)
        self.refresh()

    def go(self, row: int, column: int | None = None) -> None:
        """Put the cursor somewhere, without a message."""
        self._place(row, self.column if column is None else column, report=False)

    def _place(self, row: int, column: int, *, report: bool = True, way: int = 1) -> None:
        row = min(max(row, 0), max(len(self.rows) - 1, 0))
        row = self._chosen_row(row, way)
        column = min(max(column, 0), max(len(self.columns) - 1, 0))
        moved = (row, column) != (self.row, self.column)
        self.row, self.column = row, column
        self._reveal()
        self.refresh()
        if moved and report:
            self.post_message(self.Moved(self))

    def _chosen_row(self, row: int, way: int) -> int:
        """Step over headings, on in the same direction, or back where there is nothing more."""
        for direction in (way, -way):
            at = row
            while 0 <= at < len(self.rows):
                if not (self.rows[at].heading or self.rows[at].goes_on):
                    return at
                at += direction
        return row

    def _head(self, row: int) -> int:
        """Return the row that a row goes on with; itself if it begins."""
        while row > 0 and self.rows[row].goes_on:
            row -= 1
        return row

    def _reveal(self) -> None:
        if not self.columns or not self.size.height:
            return
        above = 1 if self.row > 0 and self.rows and self.rows[self.row - 1].heading else 0
        below = 0
        while self.row + below + 1 < len(self.rows) and self.rows[self.row + below + 1].goes_on:
            below += 1
        tall = min(1 + above + below + self.titled, self.size.height)
        top = self.row - above
        left = 1 + sum(column.width + 1 for column in self.columns[: self.column])
        if self.column == 0 or not self.by_cell:
            left = 0
        wide = self.columns[self.column].width + 1 if self.by_cell else 1
        if self.frozen:
            left, wide = 0, 1
            self._bring_column()
        self.scroll_to_region(Region(left, top, wide, tall), animate=False, force=True)

    def _bring_column(self) -> None:
        """Begin with the first column that leaves room for the cursor's, as a whole."""
        widths = [column.width + 1 for column in self.columns]
        room = self._width - 1 - sum(widths[: self.frozen])
        first = max(self._from_column, self.frozen)
        if self.column < self.frozen:
            first = self.frozen
        first = min(first, max(self.column, self.frozen))
        while first < self.column and sum(widths[first : self.column + 1]) > room:
            first += 1
        while first > self.frozen and sum(widths[first - 1 :]) <= room:
            first -= 1
        self._from_column = first

    @property
    def _width(self) -> int:
        return self.scrollable_content_region.width or self.size.width

    def _seen(self) -> list[tuple[int, int]]:
        """Return the columns that are seen, and how wide.

        Figures are seen whole or not at all; a text may be cut, which shows.
        """
        if not self.frozen:
            return [(number, column.width) for number, column in enumerate(self.columns)]
        found: list[tuple[int, int]] = []
        left = self._width - 1
        for number, column in enumerate(self.columns):
            if self.frozen <= number < self._from_column:
                continue
            if left < (column.width if column.right else _LEAST_TEXT):
                break
            found.append((number, min(column.width, left)))
            left -= column.width + 1
        return found

    def on_resize(self) -> None:
        """Keep the cursor in sight."""
        self._reveal()

    def action_step(self, by: int) -> None:
        """Move the cursor up or down."""
        self._place(self.row + by, self.column, way=by)

    def action_page(self, by: int) -> None:
        """Move the cursor by what is seen at once."""
        self._place(self.row + by * max(self.size.height - 2, 1), self.column, way=by)

    def action_end(self, way: int) -> None:
        """Move the cursor to the first or the last row."""
        self._place(0 if way < 0 else len(self.rows) - 1, self.column, way=-way)

    def on_click(self, event: events.Click) -> None:
        """Put the cursor where the mouse is."""
        row = event.y + self.scroll_offset.y - self.titled
        if not 0 <= row < len(self.rows) or (self.titled and event.y == 0):
            return
        x, column = event.x + self.scroll_offset.x - 1, 0
        for number, wide in self._seen():
            if x >= 0:
                column = number
            x -= wide + 1
        if self.rows[row].heading:
            return
        self._place(self._head(row), column)
        self.post_message(self.Chosen(self))

    def render_line(self, y: int) -> Strip:
        """Draw one line of what is seen."""
        width = self.size.width
        base = self.rich_style
        if self.titled and y == 0:
            style = self.get_component_rich_style("grid--title")
            cells = tuple(column.title for column in self.columns)
            segments = [Segment(" ", base), *self._cells(cells, [style] * len(cells), base)]
        else:
            number = y + self.scroll_offset.y - self.titled
            if not 0 <= number < len(self.rows):
                return Strip.blank(width, base)
            segments = self._row(number, base)
        left = self.scroll_offset.x
        strip = Strip(segments)
        return strip.crop_extend(left, left + width, segments[-1].style or base)

    def _row(self, number: int, base: Style) -> list[Segment]:
        row = self.rows[number]
        current = self._head(number) == self.row
        if row.heading:
            style = self.get_component_rich_style("grid--heading")
            words = shorten(plain(row.cells[0]), max(self.size.width - 1, 1))
            return [Segment(" ", base), Segment(words, style), Segment(" ", base)]
        plain_style = self.get_component_rich_style("grid--row")
        marked = self.get_component_rich_style("grid--current")
        cursor = self.get_component_rich_style("grid--cursor")
        active = cursor if self.has_focus else marked
        line = (marked if self.by_cell else active) if current else plain_style
        styles = [
            active if current and self.by_cell and index == self.column else line
            for index in range(len(self.columns))
        ]
        mark = Segment(_MARK if number == self.row else _NO_MARK, line)
        if len(row.cells) < len(self.columns):
            room = max(self.scrollable_content_region.width - 1, 1)
            return [mark, Segment(pad(shorten(plain(row.cells[0]), room), room), line)]
        return [mark, *self._cells(row.cells, styles, line)]

    def _cells(self, cells: Sequence[str], styles: Sequence[Style], gap: Style) -> list[Segment]:
        segments: list[Segment] = []
        for number, width in self._seen():
            text = shorten(plain(cells[number]), width) if width else ""
            right = self.columns[number].right
            segments.append(Segment(pad(text, width, right=right), styles[number]))
            segments.append(Segment(" ", gap))
        return segments
