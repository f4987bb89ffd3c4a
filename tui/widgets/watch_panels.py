"""How a firing stands: figures under their names, and the list of what was told."""

from collections.abc import Sequence
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Static

from firing.report.sanitize import pad, plain, wrap

from ..watch_text import WatchFigure

LABEL = 10
_LEAST_ROOM = 12


class LabelledLines(VerticalScroll, can_focus=True):
    """Paragraphs behind their labels, wrapped to the room; scrolled when there are too many."""

    DEFAULT_CSS = """
    LabelledLines { scrollbar-size: 1 1; padding: 0 1; background: $background; }
    LabelledLines:focus { background: $surface; }
    LabelledLines Static { height: auto; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "scroll_up", "Up", show=False),
        Binding("down", "scroll_down", "Down", show=False),
        Binding("pageup", "page_up", "A page up", show=False),
        Binding("pagedown", "page_down", "A page down", show=False),
    ]

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._entries: tuple[tuple[str, tuple[str, ...]], ...] = ()
        self._drawn: tuple[object, ...] = ()
        self._text = Static()

    def compose(self) -> ComposeResult:
        """Hold one text."""
        yield self._text

    def _fill(self, entries: Sequence[tuple[str, tuple[str, ...]]]) -> None:
        room = self.scrollable_content_region.width
        label_style = self.app.theme_variables.get("quiet", "")
        drawn = (tuple(entries), room, label_style)
        if drawn == self._drawn:
            return
        self._entries, self._drawn = tuple(entries), drawn
        text = Text()
        for label, paragraphs in self._entries:
            lead = pad(plain(label), LABEL)
            for paragraph in paragraphs:
                for line in wrap(plain(paragraph), max(room - LABEL, _LEAST_ROOM)):
                    text.append(f"\n{lead}" if text else lead, label_style)
                    text.append(line)
                    lead = " " * LABEL
        self._text.update(text)

    def on_resize(self) -> None:
        """Wrap to the new room."""
        self.call_after_refresh(lambda: self._fill(self._entries))


class FiguresPanel(LabelledLines):
    """The figures."""

    HELP_TITLE = "Figures"
    HELP_WORDS = (
        "Times in brackets are the range: from the quickest to the slowest way on.",
        "↑ ↓ scroll.",
    )

    def show(self, figures: Sequence[WatchFigure]) -> None:
        """Show other figures."""
        self._fill([(figure.label, figure.lines) for figure in figures])


class RemarksPanel(LabelledLines):
    """What was told, the latest first."""

    HELP_TITLE = "What was told"
    HELP_WORDS = ("The latest comes first; ↑ ↓ scroll.",)

    def show(self, told: Sequence[tuple[str, str]]) -> None:
        """Show another list of moments and sentences."""
        self._fill([(when, (words,)) for when, words in told])
