"""A text that the library lays out itself, shown as it would be printed."""

from __future__ import annotations

from collections.abc import Callable

from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from .dialogs import Sheet

WIDEST = 120
"""What is printed is not wider, however wide a terminal is."""


class Written(Sheet):
    """A sheet whose lines are made for its width."""

    HELP_TITLE = "Text to read"
    DEFAULT_CSS = """
    Written > Vertical { max-width: 126; max-height: 100%; }
    Written #title { margin-bottom: 0; }
    """

    def __init__(self, title: str, text: Callable[[int], str]) -> None:
        super().__init__(title, [])
        self._text = text

    def on_mount(self) -> None:
        """Let a text that has a title of its own do without another."""
        self.query_one("#title").display = bool(self._title)

    def _wrap(self) -> None:
        scroll = self.query_one(VerticalScroll)
        # One column is the scrollbar's, whether it is there yet or not.
        room = scroll.container_size.width - 1
        self.query_one("#text", Static).update(Content(self._text(min(max(room, 40), WIDEST))))
