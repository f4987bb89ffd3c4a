"""The one bar in which every cell is edited: what it is, what it may hold, and what was wrong."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.message import Message
from textual.widgets import Input, Static

from firing.report.sanitize import plain


class CellInput(Input):
    """The input of the bar."""

    HELP_TITLE = "While editing a cell"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "leave('stay')", "Take", tooltip="Take what was typed"),
        Binding("tab", "leave('right')", "Take, go right", tooltip="Take it; on to the next cell"),
        Binding("shift+tab", "leave('left')", "Take, go left", show=False),
        Binding("down", "leave('down')", "Take, go down", show=False),
        Binding("up", "leave('up')", "Take, go up", show=False),
        Binding("escape,ctrl+z", "drop", "Leave as it was", key_display="esc"),
    ]

    class Left(Message):
        """What was typed is to be taken, and the cursor to go on."""

        def __init__(self, way: str) -> None:
            super().__init__()
            self.way = way

    class Dropped(Message):
        """What was typed is to be forgotten."""

    def action_leave(self, way: str) -> None:
        """Take what was typed."""
        self.post_message(self.Left(way))

    def action_drop(self) -> None:
        """Forget what was typed."""
        self.post_message(self.Dropped())


class EditBar(Vertical):
    """Three lines: the cell with its input and limits, and two lines of message."""

    DEFAULT_CSS = """
    EditBar { height: 4; background: $surface; border-top: solid $panel; }
    EditBar Horizontal { height: 1; }
    EditBar #where { width: auto; max-width: 40; padding: 0 1; text-style: bold; }
    EditBar CellInput { width: 1fr; background: $surface; }
    EditBar CellInput:focus { background: $marked; }
    EditBar #limits { width: auto; max-width: 60%; padding: 0 1; color: $quiet; }
    EditBar #message { height: 2; padding: 0 1; color: $foreground; }
    EditBar #message.fault { color: $error; text-style: bold; }
    """

    # Focus comes a moment after it is asked for; keys typed in that moment belong to the edit.
    _coming = False
    begun = False

    def compose(self) -> ComposeResult:
        """Put the bar together."""
        with Horizontal():
            yield Static(id="where")
            yield CellInput(compact=True, id="cell", select_on_focus=False)
            yield Static(id="limits")
        yield Static(id="message")

    @property
    def cell(self) -> CellInput:
        """The input."""
        return self.query_one(CellInput)

    @property
    def editing(self) -> bool:
        """Whether a cell is being edited, or is about to be."""
        return self.cell.has_focus or self._coming

    def describe(self, where: str, value: str, limits: str) -> None:
        """Show a cell that is not being edited."""
        self.query_one("#where", Static).update(Content(plain(where)))
        self.query_one("#limits", Static).update(Content(limits))
        if not self.editing and self.cell.value != value:
            with self.cell.prevent(Input.Changed):
                self.cell.value = value

    def say(self, words: str, *, fault: bool = False) -> None:
        """Show a message in words."""
        message = self.query_one("#message", Static)
        message.update(Content(plain(words)))
        message.set_class(fault, "fault")

    def begin(self, value: str) -> None:
        """Let the cell be edited, beginning with a text."""
        self._coming = self.begun = True
        self.cell.value = value
        self.cell.cursor_position = len(value)
        self.cell.focus()

    def end(self) -> None:
        """Say that the edit is over, taken or dropped."""
        self._coming = self.begun = False

    def on_descendant_focus(self) -> None:
        """The cell has the focus it was promised."""
        self._coming = False
