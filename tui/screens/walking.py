"""A list whose lines are walked together with a curve: the answer above, what a line says below."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.widgets import Static

from firing.report.sanitize import plain

from ..review_entries import ReviewEntry
from ..widgets.curve import Curve
from ..widgets.grid import GridColumn, GridRow, ListGrid
from ..widgets.lines import KeyLine, TitleLine
from .base import WorkScreen, side_width

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from ..session import Session


class WalkedList(ListGrid):
    """Lines that may go on, each about something on the curve."""

    HELP_TITLE = "List"
    HELP_WORDS: tuple[str, ...] = (
        "The cross-hair goes to what the line is about; the text below says more.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "enter", "jump", "Look at it",
            tooltip="Zoom the curve to what the line is about; a double click does it, too",
        ),
    ]  # fmt: skip

    class Jumped(Message):
        """The place of the current line is to be looked at closely."""

    def action_jump(self) -> None:
        """Look at the place closely."""
        self.post_message(self.Jumped())

    def on_click(self, event: events.Click) -> None:
        """Look closely at what is clicked twice."""
        if event.chain == 2:
            self.action_jump()


class WalkScreen(WorkScreen):
    """A screen with such a list and curve."""

    list_kind: type[WalkedList] = WalkedList
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("tab,f6", "other", "Curve", tooltip="From the list to the curve and back"),
        Binding("shift+tab", "other", "Curve", show=False),
        Binding("f5", "cautions", "Cautions", show=False, tooltip="What can hurt people"),
        Binding("f7", "back", "Plan", tooltip="Back to the plan"),
        Binding("escape", "out", "Plan", show=False),
    ]

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._entries: Sequence[ReviewEntry] = ()
        self._row_entries: list[ReviewEntry] = []

    def compose(self) -> ComposeResult:
        """Put the list beside the curve, the answer above and the details below."""
        yield TitleLine()
        yield Static(id="answer")
        with Horizontal(id="body"):
            yield self.list_kind(id="list")
            yield Curve(id="curve")
        with VerticalScroll(id="details", can_focus=False):
            yield Static(id="details-text")
        yield KeyLine()

    def say(self, words: str, *, fault: bool = False) -> None:
        """Show a message in words under the account."""
        details = self.query_one("#details-text", Static)
        details.update(Content(plain(words)))
        details.set_class(fault, "fault")
        self.query_one("#details", VerticalScroll).scroll_home(animate=False)

    def _answer(self, words: str, *, fault: bool = False) -> None:
        answer = self.query_one("#answer", Static)
        answer.update(Content("\n".join(map(plain, words.split("\n")))))
        answer.set_class(fault, "fault")

    @property
    def walked(self) -> WalkedList:
        """The list."""
        return self.query_one(WalkedList)

    def _walk(self, entries: Sequence[ReviewEntry]) -> None:
        """Show other lines, from the first on."""
        self._entries = entries
        self._list()
        self.walked.go(0)
        self._tell()

    def _list(self) -> None:
        grid = self.query_one(WalkedList)
        if not self._entries:
            self._row_entries = []
            grid.fill([], [])
            return
        chosen = self._current()
        # One cell is the cursor's, one a scrollbar's, and each column is followed by a gap.
        room = max(grid.region.width - 3, 20)
        self._row_entries, rows = [], []
        for entry in self._entries:
            for number, line in enumerate(entry.lines(room)):
                rows.append(GridRow((line,), entry.heading, number > 0))
                self._row_entries.append(entry)
        grid.fill([GridColumn("words", "", room)], rows)
        if chosen is not None and chosen in self._row_entries:
            grid.go(self._row_entries.index(chosen))

    def on_resize(self) -> None:
        """Fit the list to the room."""
        self.query_one(WalkedList).styles.width = side_width(self.size.width)
        self.call_after_refresh(self._list)

    def _current(self) -> ReviewEntry | None:
        row = self.query_one(WalkedList).row
        return self._row_entries[row] if row < len(self._row_entries) else None

    def about(self, entry: ReviewEntry) -> Iterable[str]:
        """Return what there is to say of a line."""
        return entry.details

    def _tell(self, *, pointing: bool = True) -> None:
        entry = self._current()
        if entry is None:
            return
        self.say("  ".join(self.about(entry)))
        if pointing and entry.span_s is not None:
            self.query_one(Curve).point(entry.span_s[0])
        self.refresh_bindings()

    def on_list_grid_moved(self, message: ListGrid.Moved) -> None:
        """Tell of the line, and point at what it is about."""
        message.stop()
        self._tell()

    def on_list_grid_chosen(self, message: ListGrid.Chosen) -> None:
        """A click only selects."""
        message.stop()
        self._tell()

    def on_walked_list_jumped(self) -> None:
        """Do what enter does on a line."""
        self.jump()

    def jump(self) -> None:
        """Zoom to what the line is about."""
        entry = self._current()
        if entry is None:
            return
        if entry.span_s is None:
            self.say("That is about all of the firing.  " + "  ".join(entry.details))
            return
        curve = self.query_one(Curve)
        curve.look_at(*entry.span_s)
        curve.point(entry.span_s[0])

    def action_other(self) -> None:
        """Go to the curve, or back to the list."""
        curve = self.query_one(Curve)
        (self.query_one(WalkedList) if curve.has_focus else curve).focus()

    def action_out(self) -> None:
        """See the whole curve again, or go back to the plan if it is seen."""
        curve = self.query_one(Curve)
        if curve.zoomed:
            curve.action_whole()
        else:
            self.action_back()

    def action_back(self) -> None:
        """Go back to the plan."""
        if not self._busy:
            self.dismiss(None)

    def action_cautions(self) -> None:
        """Read the cautions that apply."""
        self.job(self.show_cautions)
