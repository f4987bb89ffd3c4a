"""The one bar in which every cell is edited, a field of a few words, and the cells' table."""

from collections.abc import Sequence
from typing import Any, ClassVar

from rich.text import Text
from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.message import Message
from textual.widget import Widget
from textual.widgets import Input, Static

from firing.report.sanitize import plain

from .grid import ListGrid


class Cycle(Widget, can_focus=True):
    """One of a few words, changed by the arrow keys, space or a click."""

    HELP_TITLE = "One of a few words"
    DEFAULT_CSS = """
    Cycle { height: 1; background: $surface; }
    Cycle:focus { background: $marked; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "turn(-1)", "Word before", show=False, tooltip="The word before"),
        Binding("right,space", "turn(1)", "Next word", show=False, tooltip="The next word"),
    ]

    class Changed(Message):
        """Another word is shown."""

    def __init__(self, options: Sequence[tuple[str, str]], value: str, *, id: str | None) -> None:
        super().__init__(id=id)
        self._options = list(options)
        self._at = next((i for i, (key, _) in enumerate(self._options) if key == value), 0)

    @property
    def value(self) -> str:
        """The key of the word shown."""
        return self._options[self._at][0]

    def action_turn(self, by: int) -> None:
        """Show the next word."""
        self._at = (self._at + by) % len(self._options)
        self.refresh()
        self.post_message(self.Changed())

    def on_click(self) -> None:
        """Show the next word."""
        self.action_turn(1)

    def render(self) -> Text:
        """Return the word between what turns it."""
        return Text(f"‹ {self._options[self._at][1]} ›", no_wrap=True, overflow="ellipsis")


_SCREENS = ("ctrl+d", "ctrl+e", "ctrl+f", "ctrl+k", "ctrl+u", "ctrl+w")
"""What these mean on a screen they mean in a cell, too: none of them wipes what was typed."""


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

    def __init__(self, **more: Any) -> None:
        super().__init__(**more)
        for key in _SCREENS:
            self._bindings.key_to_bindings.pop(key, None)  # Textual has no other way

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
    EditBar { height: auto; background: $surface; border-top: solid $panel; }
    EditBar Horizontal { height: 1; }
    EditBar #where { width: auto; max-width: 40; padding: 0 1; text-style: bold; }
    EditBar CellInput { width: 1fr; background: $surface; }
    EditBar CellInput:focus { background: $marked; }
    EditBar #limits { width: auto; max-width: 60%; padding: 0 1; color: $quiet; }
    EditBar #message { height: auto; min-height: 2; max-height: 4; padding: 0 1;
                       color: $foreground; }
    EditBar #message.fault { color: $error; text-style: bold; }
    """

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
        """Whether a cell is being edited."""
        # Not what the input knows of its focus: that comes a moment later.
        return self.screen.focused is self.cell

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
        # In this order and at once: keys that come now are the edit's, and no focus that was asked
        # for earlier may come after it is over.
        self.screen.set_focus(self.cell)
        self.cell.value = value
        self.cell.cursor_position = len(value)


def cell_bindings(
    line: str,
    *,
    edit: str,
    more: Sequence[BindingType] = (),
    new: str,
    copy: str,
    remove: tuple[str, str],
) -> list[BindingType]:
    """Return the keys of a table with cells, in its own words; `line` is what it calls a row."""
    above, below = (f"Change places with the {line} {where}" for where in ("above", "below"))
    return [
        Binding("enter", "press('enter')", "Edit", tooltip=edit),
        *more,
        Binding("ctrl+n,insert", "ask('new')", f"New {line}", tooltip=new),
        Binding("ctrl+d", "ask('copy')", f"Copy {line}", tooltip=copy),
        Binding("delete,ctrl+x", "ask('remove')", remove[0], key_display="del", tooltip=remove[1]),
        Binding("shift+up,ctrl+up", "ask('up')", f"Move {line} up", show=False, tooltip=above),
        Binding(
            "shift+down,ctrl+down", "ask('down')", f"Move {line} down", show=False, tooltip=below
        ),
    ]


class CellGrid(ListGrid):
    """A table with one cell selected; tells the screen what is to be done with it."""

    PRESSED = frozenset({"up", "down", "left", "right", "enter", "backspace"})
    """The keys that are handed on beside those that type."""

    class Pressed(Message):
        """A key was pressed that moves, turns or edits, or a text was pasted.

        All of them go one way, so that keys that come in a burst are obeyed in their order; some
        may come after an edit has begun and before the bar has the focus for them.
        """

        def __init__(self, key: str, typed: str | None = None) -> None:
            super().__init__()
            self.key, self.typed = key, typed

    class Asked(Message):
        """Something is to be done with the selected line."""

        def __init__(self, what: str) -> None:
            super().__init__()
            self.what = what

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(by_cell=True, id=id)

    @property
    def place(self) -> Any:
        """The selected cell, as a document remembers it."""
        raise NotImplementedError

    def select(self, place: Any) -> None:
        """Put the cursor on a cell."""
        raise NotImplementedError

    def across(self, by: int) -> None:
        """Move the cursor along a line."""
        raise NotImplementedError

    def go_on(self, by: int) -> None:
        """Move the cursor to the next cell."""
        raise NotImplementedError

    def action_press(self, key: str) -> None:
        """Do what a key does."""
        self.post_message(self.Pressed(key))

    def action_ask(self, what: str) -> None:
        """Ask for something to be done with the selected line."""
        self.post_message(self.Asked(what))

    def on_key(self, event: events.Key) -> None:
        """Hand on what moves, turns or edits; no figure begins with the mark that asks for help."""
        if event.character == "?":
            return
        typed = event.character if event.is_printable else None
        if typed is not None or event.key in self.PRESSED:
            event.stop()
            event.prevent_default()
            self.post_message(self.Pressed(event.key, typed))

    def on_paste(self, event: events.Paste) -> None:
        """Begin an edit with the text pasted."""
        event.stop()
        self.post_message(self.Pressed("paste", " ".join(event.text.split())))
