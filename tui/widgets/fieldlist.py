"""The list of a form's lines, with one slot selected; tells the screen what is to be done."""

from collections.abc import Sequence
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding, BindingType

from firing.files.tomlfile import KeyPath
from firing.report.sanitize import pad, plain, shorten

from ..form_lines import Cell, Line, Slot, cells_of, place_of, titles_of
from .editbar import CellGrid, cell_bindings
from .grid import GridColumn, GridRow

_MARK, _NO_MARK = "▸", " "
_NEXT_WORD = "Where one of a few words stands: the next; ← → go both ways on such a line"


class FieldList(CellGrid):
    """Keys one a line, lists as tables."""

    HELP_TITLE = "Lines of the form"
    HELP_WORDS = (
        "Type on a line to change it; what may be written stands in the bar below.",
        "! is a fault, with what to write instead; nothing is saved with one.",
        "What may be left out is left out by clearing it: backspace, then enter.",
    )
    DEFAULT_CSS = """
    FieldList > .fieldlist--fault { color: $error; text-style: bold; }
    FieldList > .fieldlist--quiet { color: $quiet; }
    """
    COMPONENT_CLASSES: ClassVar[set[str]] = {"fieldlist--fault", "fieldlist--quiet"}
    PRESSED = CellGrid.PRESSED | {"tab", "shift+tab"}
    BINDINGS: ClassVar[list[BindingType]] = cell_bindings(
        "line",
        edit="Change what it holds, choose from all there is, or do what the line says",
        more=[Binding("space", "press('space')", "Next word", tooltip=_NEXT_WORD)],
        new="Add a layer, piece, material or reading below this one",
        copy="Put a copy below this one",
        remove=("Remove", "Take the line out of its list, or the value out of the file"),
    )

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._lines: tuple[Line, ...] = ()

    def show(self, lines: Sequence[Line]) -> None:
        """Show other lines; the cursor stays on its path, or goes to the nearest."""
        here = self.place
        self._lines = tuple(lines)
        slots = max((len(line.slots) for line in lines), default=1)
        self.fill(
            [GridColumn(str(n), "", 0) for n in range(slots)],
            [GridRow(("",) * slots, heading=not line.slots) for line in lines],
        )
        self.select(here)

    def select(self, place: KeyPath) -> None:
        """Put the cursor on a path."""
        self.go(*place_of(self._lines, place))

    @property
    def line(self) -> Line | None:
        """The line under the cursor."""
        return self._lines[self.row] if self.row < len(self._lines) else None

    @property
    def slot(self) -> Slot | None:
        """The slot under the cursor; the last of the line if it has not so many."""
        line = self.line
        return line.slots[min(self.column, len(line.slots) - 1)] if line and line.slots else None

    @property
    def place(self) -> KeyPath:
        """The path of the slot under the cursor."""
        slot = self.slot
        return () if slot is None else slot.path

    @property
    def turns(self) -> bool:
        """Whether the slot holds one of a few words."""
        slot = self.slot
        return slot is not None and slot.field is not None and bool(slot.field.options)

    @property
    def alone(self) -> bool:
        """Whether the slot has its line for itself."""
        return self.line is None or len(self.line.slots) < 2

    def across(self, by: int) -> None:
        """Move the cursor along an item."""
        line = self.line
        if line is not None and not self.alone:
            here = min(self.column, len(line.slots) - 1)
            self._place(self.row, min(max(here + by, 0), len(line.slots) - 1))

    def go_on(self, by: int) -> None:
        """Move to the next slot, in the next line at the end of one."""
        line = self.line
        here = 0 if line is None else min(self.column, len(line.slots) - 1) + by
        if line is not None and 0 <= here < len(line.slots):
            self._place(self.row, here)
        else:
            self._place(self.row + by, 0, way=by)

    def on_click(self, event: events.Click) -> None:
        """Put the cursor where the mouse is; there already, edit."""
        # The grid would look for its own columns.
        event.prevent_default()
        row = event.y + self.scroll_offset.y
        if not 0 <= row < len(self._lines) or not self._lines[row].slots:
            return
        line, column = self._lines[row], 0
        for number, (left, _, _) in enumerate(self._cells_of(line)[1 : 1 + len(line.slots)]):
            if event.x - 1 >= left:
                column = number
        there = row == self.row and line.slots[column] == self.slot
        self._place(row, column)
        if there or line.kind == "do":
            self.post_message(self.Pressed("enter"))

    def _cells_of(self, line: Line) -> tuple[Cell, ...]:
        return cells_of(line, max(self.scrollable_content_region.width - 1, 20))

    def _row(self, number: int, base: Style) -> list[Segment]:
        line, current = self._lines[number], number == self.row
        cells = self._cells_of(line)
        style = self.get_component_rich_style
        if line.kind == "heading":
            texts = [line.words]
            if line.fields:
                # The heading stands over the numbers and the first column, whose title it is.
                cells = ((0, cells[1][0] + cells[1][1], False), *cells[2:])
                texts += titles_of(line.fields)[1:]
            styles = [style("grid--heading"), *([style("grid--title")] * len(cells))]
            return self._drawn(cells, texts, styles, base, _NO_MARK)
        plain_style, marked = style("grid--row"), style("grid--current")
        cursor = style("grid--cursor") if self.has_focus else marked
        ground = marked if current else plain_style
        fault = ground + Style(color=style("fieldlist--fault").color, bold=True)
        selected = min(self.column, len(line.slots) - 1)
        if line.kind == "do":
            cells = (cells[0], cells[2])
            texts, styles = [line.words, line.note], [cursor if current else ground, fault]
            return self._drawn(cells, texts, styles, ground, _MARK if current else _NO_MARK)
        texts, styles = [line.words], [ground]
        for index, slot in enumerate(line.slots):
            texts.append(f"!{slot.text}" if slot.fault and line.kind == "item" else slot.text)
            here = current and index == selected
            styles.append(cursor if here else fault if slot.fault else ground)
        if line.kind != "item":
            texts.append(line.note)
            quiet = ground + Style(color=style("fieldlist--quiet").color)
            styles.append(fault if line.slots[0].fault else quiet)
        return self._drawn(cells, texts, styles, ground, _MARK if current else _NO_MARK)

    def _drawn(
        self,
        cells: Sequence[Cell],
        texts: Sequence[str],
        styles: Sequence[Style],
        ground: Style,
        mark: str,
    ) -> list[Segment]:
        segments, at = [Segment(mark, ground)], 0
        for (left, width, right), text, style in zip(cells, texts, styles, strict=False):
            segments.append(Segment(" " * (left - at), ground))
            shown = shorten(plain(text), width) if width else ""
            segments.append(Segment(pad(shown, width, right=right), style))
            at = left + width
        segments.append(Segment("", ground))
        return segments
