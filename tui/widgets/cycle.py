"""A field that holds one of a few words."""

from collections.abc import Sequence
from typing import ClassVar

from rich.text import Text
from textual.binding import Binding, BindingType
from textual.message import Message
from textual.widget import Widget


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
