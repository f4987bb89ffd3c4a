"""The segment table: shows the plan, and tells the screen what is to be done with it."""

from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.message import Message

from firing.forecast.result import Forecast
from firing.schedule.schedule import Schedule

from .. import segment_table as table
from ..document import Selection
from .grid import GridColumn, GridRow, ListGrid

_RIGHT = {"number", "rate", "target", "hold", "planned", "takes", "ends"}


class Segments(ListGrid):
    """The segments of a plan, one cell of them selected."""

    HELP_TITLE = "Segment table"
    HELP_WORDS = (
        "Type on a cell to change it; what may be written stands in the bar below.",
        "A new segment cuts the next ramp in two, so nothing changes until you say what.",
        "* beside a rate: the kiln cannot follow.  − before it: the segment cools.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "across(-1)", "Left", show=False),
        Binding("right", "across(1)", "Right", show=False),
        Binding("home", "side(-1)", "First column", show=False),
        Binding("end", "side(1)", "Last column", show=False),
        Binding("enter", "begin", "Edit", tooltip="Change the cell, beginning with what it holds"),
        Binding(
            "ctrl+n,insert", "ask('insert')", "New segment",
            tooltip="Cut the ramp after this segment in two",
        ),
        Binding(
            "ctrl+d", "ask('duplicate')", "Copy segment",
            tooltip="Put a copy below, its target half-way to the next",
        ),
        Binding(
            "delete,ctrl+x", "ask('delete')", "Remove segment", key_display="del",
            tooltip="Take the segment out; undo brings it back",
        ),
        Binding(
            "shift+up,ctrl+up", "ask('up')", "Move segment up", show=False,
            tooltip="Change places with the segment above",
        ),
        Binding(
            "shift+down,ctrl+down", "ask('down')", "Move segment down", show=False,
            tooltip="Change places with the segment below",
        ),
    ]  # fmt: skip

    class Begin(Message):
        """The selected cell is to be edited; `typed` is None to begin with what it holds."""

        def __init__(self, typed: str | None) -> None:
            super().__init__()
            self.typed = typed

    class Asked(Message):
        """Something is to be done with the selected segment."""

        def __init__(self, what: str) -> None:
            super().__init__()
            self.what = what

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(by_cell=True, id=id)
        self._schedule: Schedule | None = None
        self._forecast: Forecast | None = None
        # Where the cursor is to stand once there is a size, and so columns to stand in.
        self._first = Selection()

    def show(self, schedule: Schedule, forecast: Forecast | None) -> None:
        """Show a plan, with what its forecast says of each segment."""
        self._schedule, self._forecast = schedule, forecast
        self._arrange()

    def select(self, selection: Selection) -> None:
        """Put the cursor on a cell; the nearest column if that one is not shown."""
        self._first = selection
        keys = [column.key for column in self.columns]
        column = keys.index(selection.column) if selection.column in keys else self.column
        self.go(selection.row + 1, column)

    @property
    def selection(self) -> Selection:
        """The selected cell."""
        if not self.columns:
            return self._first
        return Selection(self.row - 1, self.columns[self.column].key)

    def _arrange(self) -> None:
        schedule = self._schedule
        if schedule is None or not self.size.width:
            return
        here = self.selection
        overflow = len(schedule.segments) + 2 > self.size.height
        room = self.container_size.width or self.size.width
        arranged = table.layout(self.region.width - overflow if room else room, schedule)
        names = table.titles(schedule)
        columns = [
            GridColumn(key, names[key], width, key in _RIGHT)
            for key, width in zip(arranged.keys, arranged.widths, strict=True)
        ]
        content = table.cells(schedule, self._forecast, arranged.keys)
        self.fill(columns, [GridRow(cells) for cells in content])
        self.select(here)

    def on_resize(self) -> None:
        """Fit the columns to the room."""
        self._arrange()
        super().on_resize()

    def action_across(self, by: int) -> None:
        """Move the cursor a column."""
        self._place(self.row, self.column + by)

    def action_side(self, way: int) -> None:
        """Move the cursor to the first or the last column."""
        self._place(self.row, 0 if way < 0 else len(self.columns) - 1)

    def action_begin(self) -> None:
        """Edit the selected cell."""
        self.post_message(self.Begin(None))

    def action_ask(self, what: str) -> None:
        """Ask for something to be done with the selected segment."""
        self.post_message(self.Asked(what))

    def on_key(self, event: events.Key) -> None:
        """Begin an edit with the character typed."""
        if event.is_printable and event.character is not None:
            event.stop()
            event.prevent_default()
            self.post_message(self.Begin(event.character))
        elif event.key == "backspace":
            event.stop()
            self.post_message(self.Begin(""))

    def on_paste(self, event: events.Paste) -> None:
        """Begin an edit with the text pasted."""
        event.stop()
        self.post_message(self.Begin(" ".join(event.text.split())))
