"""Work that takes a moment: done in a thread, with a sign that it is under way and a way out."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import ClassVar, Generic, TypeVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.message import Message
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

from firing.errors import FiringError
from firing.report.sanitize import plain

from ..widgets.lines import KeyLine

Found = TypeVar("Found")
_EVERY_S = 0.5


class UnderWay(ModalScreen[None], Generic[Found]):
    """Says what is being done and for how long; escape gives it up."""

    HELP_TITLE = "Under way"
    DEFAULT_CSS = """
    UnderWay { align: center middle; }
    UnderWay > Vertical { width: 64; max-width: 95%; height: auto; background: $surface;
                          border: round $accent; padding: 0 1; }
    UnderWay Static { height: auto; margin-bottom: 1; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "give_up", "Give it up"),
    ]

    class Done(Message):
        """The work came to its end."""

    def __init__(self, words: str, make: Callable[[], Found]) -> None:
        super().__init__()
        self._words, self._make = words, make
        self._begun = time.monotonic()
        self.found: Found | None = None
        self.refusal: FiringError | None = None
        self.given_up = False

    def compose(self) -> ComposeResult:
        """Put the words above the key."""
        with Vertical():
            yield Static()
            yield KeyLine()

    def on_mount(self) -> None:
        """Begin."""
        self._tell()
        self.set_interval(_EVERY_S, self._tell)
        self._work()

    def _tell(self) -> None:
        passed_s = int(time.monotonic() - self._begun)
        words = f"{self._words} … {f'{passed_s} s' if passed_s else ''}".rstrip()
        self.query_one(Static).update(Content(plain(words)))

    @work(thread=True, group="under way")
    def _work(self) -> None:
        try:
            self.found = self._make()
        except FiringError as error:
            self.refusal = error
        # Nobody is there to be told if it was given up meanwhile.
        self.post_message(self.Done())

    def on_under_way_done(self, message: Done) -> None:
        """Go back with what was found."""
        message.stop()
        self.dismiss(None)

    def action_give_up(self) -> None:
        """Go back without it; what the thread still finds is forgotten."""
        self.given_up = True
        self.dismiss(None)


async def under_way(screen: Screen[None], words: str, make: Callable[[], Found]) -> Found | None:
    """Do work in a thread.

    Parameters
    ----------
    screen : Screen
        On top of which it is said.
    words : str
        What is being done.
    make : callable
        Does it; called in a thread.

    Returns
    -------
    object or None
        What it returned; None if it was given up.

    Raises
    ------
    FiringError
        If it was refused.
    """
    sign = UnderWay(words, make)
    await screen.app.push_screen_wait(sign)
    if sign.given_up:
        return None
    if sign.refusal is not None:
        raise sign.refusal
    return sign.found
