"""The segment table: shows the plan, and tells the screen what is to be done with it."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from firing.forecast.result import Forecast
from firing.schedule.schedule import Schedule

from .. import segment_table
from ..document import Selection
from .editbar import CellGrid, cell_bindings
from .grid import GridColumn, GridRow

_RIGHT = {"number", "rate", "target", "hold", "planned", "takes", "ends"}


class Segments(CellGrid):
    """The segments of a plan, one cell of them selected."""

    frozen = 2
    HELP_TITLE = "Segment table"
    HELP_WORDS = (
        "Type on a cell to change it; what may be written stands in the bar below.",
        "A new segment cuts the next ramp in two, so nothing changes until you say what.",
        "* beside a rate: the kiln cannot follow.  − before it: the segment cools.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("home", "side(-1)", "First column", show=False),
        Binding("end", "side(1)", "Last column", show=False),
        *cell_bindings(
            "segment",
            edit="Change the cell, beginning with what it holds",
            new="Cut the ramp after this segment in two",
            copy="Put a copy below, its target half-way to the next",
            remove=("Remove segment", "Take the segment out; undo brings it back"),
        ),
    ]

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._schedule: Schedule | None = None
        self._forecast: Forecast | None = None
        # Where the cursor is to stand once there is a size, and so columns to stand in.
        self._first = Selection()

    def show(self, schedule: Schedule, forecast: Forecast | None) -> None:
        """Show a plan, with what its forecast says of each segment."""
        self._schedule, self._forecast = schedule, forecast
        self._arrange()

    def select(self, place: Selection) -> None:
        """Put the cursor on a cell; the nearest column if that one is not shown."""
        self._first = place
        keys = [column.key for column in self.columns]
        column = keys.index(place.column) if place.column in keys else self.column
        self.go(place.row + 1, column)

    @property
    def place(self) -> Selection:
        """The selected cell."""
        if not self.columns:
            return self._first
        return Selection(self.row - 1, self.columns[self.column].key)

    def _arrange(self) -> None:
        schedule = self._schedule
        if schedule is None or not self.size.width:
            return
        here = self.place
        overflow = len(schedule.segments) + 2 > self.size.height
        room = self.container_size.width or self.size.width
        arranged = segment_table.layout(self.region.width - overflow if room else room, schedule)
        names = segment_table.titles(schedule)
        columns = [
            GridColumn(key, names[key], width, key in _RIGHT)
            for key, width in zip(arranged.keys, arranged.widths, strict=True)
        ]
        content = segment_table.cells(schedule, self._forecast, arranged.keys)
        self.fill(columns, [GridRow(cells) for cells in content])
        self.select(here)

    def on_resize(self) -> None:
        """Fit the columns to the room."""
        self._arrange()
        super().on_resize()

    def across(self, by: int) -> None:
        """Move the cursor a column."""
        self._place(self.row, self.column + by)

    def go_on(self, by: int) -> None:
        """Move the cursor a column."""
        self.across(by)

    def action_side(self, way: int) -> None:
        """Move the cursor to the first or the last column."""
        self._place(self.row, 0 if way < 0 else len(self.columns) - 1)
