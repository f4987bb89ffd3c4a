"""The segment table, and under it the changes of the plan that can be had."""

from collections.abc import Sequence
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.actions import SkipAction
from textual.binding import Binding, BindingType
from textual.message import Message

from firing.forecast.result import Forecast
from firing.report.sanitize import plain, wrap
from firing.schedule.schedule import Schedule

from .. import segment_table
from ..document import Selection
from ..fixing import Offer
from .editbar import CellGrid, cell_bindings
from .grid import GridColumn, GridRow, ListGrid

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


_DO = "do it"
_MOST_ONE_KEY = 9


class Offers(ListGrid):
    """Changes of the plan that can be had, the gravest first; one is looked at before it is taken.

    It stands in the rows that the table leaves empty.
    """

    HELP_TITLE = "What to change"
    HELP_WORDS = (
        "! is to be done, ? is to be checked.",
        "While the list is in use (^W, ^R), each line has a number: that key makes its change.",
        "The line chosen is drawn into the curve as “then”, and nothing is changed until you "
        "take it; ^Z takes it back.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Do it", tooltip="Make the change that is looked at, as one"),
        Binding("escape", "leave", "Leave it", tooltip="Back to the table, with nothing changed"),
        Binding("up", "step(-1)", "Up", show=False),
        *(
            Binding(str(n), f"take_row({n - 1})", f"Do line {n}", show=False)
            for n in range(1, _MOST_ONE_KEY + 1)
        ),
    ]

    class Taken(Message):
        """The change that is looked at is to be made."""

    class Dismissed(Message):
        """Nothing is to be changed."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.heading = ""
        self.offers: tuple[Offer, ...] = ()
        self._row_offers: tuple[Offer | None, ...] = ()

    @property
    def chosen(self) -> Offer | None:
        """The change that is looked at."""
        return self._row_offers[self.row] if self.row < len(self._row_offers) else None

    @property
    def in_use(self) -> bool:
        """Whether it has the keys."""
        # Not what it knows of its focus itself: that comes a moment later.
        return self.screen.focused is self

    @property
    def wanted(self) -> int:
        """How many rows it would fill."""
        return len(self.rows)

    def show(self, heading: str, offers: Sequence[Offer]) -> None:
        """Show other changes."""
        self.heading, self.offers = heading, tuple(offers)
        self._arrange()

    def _arrange(self) -> None:
        # A number only while its key works, and titles whole only where one is chosen.
        used, chosen = self.in_use, self.chosen
        # The cursor's mark, a gap behind each column, and a scrollbar.
        width = self.size.width or self.container_size.width
        room = max(width - 5 - 2 * used - len(_DO), 8)
        columns = [
            *([GridColumn("key", "", 1)] if used else []),
            GridColumn("sign", "", 1),
            GridColumn("words", "", room),
            GridColumn("do", "", len(_DO)),
        ]
        rows = [GridRow((self.heading,), heading=True)] if self.offers else []
        owners: list[Offer | None] = [None for _ in rows]
        for number, offer in enumerate(self.offers, 1):
            key = str(number) if number <= _MOST_ONE_KEY else ""
            does = _DO if offer.make is not None or offer.asks else ""
            lines = wrap(plain(offer.title), room) if used else [offer.title]
            for at, line in enumerate(lines):
                cells = (key, offer.sign, line, does) if at == 0 else ("", "", line, "")
                rows.append(GridRow(cells if used else cells[1:], goes_on=at > 0))
                owners.append(offer)
        self._row_offers = tuple(owners)
        self.fill(columns, rows)
        if chosen in owners:
            self.go(owners.index(chosen))

    def on_resize(self) -> None:
        """Fit the columns to the room."""
        self._arrange()
        super().on_resize()

    def on_focus(self) -> None:
        """Have the line of the cursor looked at."""
        self._arrange()
        self.post_message(self.Moved(self))

    def on_blur(self) -> None:
        """Show no cursor and no number where no key goes."""
        self._arrange()

    def _row(self, number: int, base: Style) -> list[Segment]:
        kept = self.row
        if not self.has_focus:
            self.row = -1
        try:
            return super()._row(number, base)
        finally:
            self.row = kept

    def on_click(self, event: events.Click) -> None:
        """Look at the change under the mouse; on its last word, make it."""
        super().on_click(event)
        if event.x >= self.size.width - len(_DO) - 2:
            self.action_take()

    def action_step(self, by: int) -> None:
        """Move in the list, and from its first line up into the table."""
        if by < 0 and self.row <= 1:
            self.action_leave()
        else:
            super().action_step(by)

    def action_take(self) -> None:
        """Have the change made."""
        if self.chosen is None:
            raise SkipAction
        self.post_message(self.Taken())

    def action_take_row(self, row: int) -> None:
        """Have the change of a line made."""
        if row < len(self.offers):
            self.go(self._row_offers.index(self.offers[row]))
            self.action_take()

    def action_leave(self) -> None:
        """Leave the plan as it is."""
        self.post_message(self.Dismissed())
