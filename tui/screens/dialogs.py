"""Small screens on top of another: a question, a line to write, a text to read, work under way."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Generic, TypeVar

from textual import work
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.dom import DOMNode
from textual.message import Message
from textual.screen import ModalScreen, Screen
from textual.widgets import Input, Static

from firing.errors import FiringError
from firing.forecast.result import Forecast
from firing.report.sanitize import plain, wrap
from firing.report.words import SEVERITY_WORDS, citations
from firing.review.result import Review
from firing.safety import DEFERENCE, FIGURES_NOTE, Caution
from firing.units import TemperatureUnit, in_unit

from ..widgets.grid import GridColumn, GridRow, ListGrid
from ..widgets.lines import KeyLine, key_words

Found = TypeVar("Found")

WIDEST = 120
"""What is printed is not wider, however wide a terminal is."""
PROGRESS_EVERY_S = 0.5


class Ask(ModalScreen[str | None]):
    """A question with a few answers, one a line; escape gives none."""

    HELP_TITLE = "Question"
    DEFAULT_CSS = """
    Ask { align: center middle; }
    Ask > Vertical { width: 64; max-width: 95%; height: auto; background: $surface;
                     border: round $accent; padding: 0 1; }
    Ask Static { height: auto; margin-bottom: 1; }
    Ask ListGrid { height: auto; max-height: 12; background: $surface; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "answer", "Choose"),
        Binding("escape", "none", "Leave it"),
    ]

    def __init__(self, question: str, answers: Sequence[tuple[str, str]]) -> None:
        super().__init__()
        self._question = question
        self._answers = list(answers)

    def compose(self) -> ComposeResult:
        """Put the question above its answers."""
        with Vertical():
            yield Static(Content(plain(self._question)))
            yield ListGrid()
            yield KeyLine()

    def on_mount(self) -> None:
        """List the answers."""
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        grid = self.query_one(ListGrid)
        width = max(len(words) for _, words in self._answers)
        grid.fill(
            [GridColumn("answer", "", width)], [GridRow((words,)) for _, words in self._answers]
        )
        grid.styles.height = len(self._answers)
        grid.focus()

    def on_list_grid_chosen(self, _message: ListGrid.Chosen) -> None:
        """Take the answer clicked."""
        self.action_answer()

    def action_answer(self) -> None:
        """Take the answer under the cursor."""
        self.dismiss(self._answers[self.query_one(ListGrid).row][0])

    def action_none(self) -> None:
        """Leave everything as it is."""
        self.dismiss(None)


class Prompt(ModalScreen[str | None]):
    """One line to write, usually a file's name; escape gives none."""

    HELP_TITLE = "One line to write"
    DEFAULT_CSS = """
    Prompt { align: center middle; }
    Prompt > Vertical { width: 72; max-width: 95%; height: auto; background: $surface;
                        border: round $accent; padding: 0 1; }
    Prompt Static { height: auto; }
    Prompt Input { background: $marked; margin: 1 0; }
    Prompt .fault { color: $error; text-style: bold; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Take", priority=True),
        Binding("escape", "none", "Leave it"),
    ]

    def __init__(self, question: str, value: str, fault: str = "") -> None:
        super().__init__()
        self._question, self._value, self._fault = question, value, fault

    def compose(self) -> ComposeResult:
        """Put the line under what it is for."""
        with Vertical():
            yield Static(Content(plain(self._question)))
            yield Input(self._value, compact=True, select_on_focus=True)
            yield Static(Content(plain(self._fault)), classes="fault")
            yield KeyLine()

    def on_input_submitted(self, _message: Input.Submitted) -> None:
        """Take the line."""
        self.action_take()

    def action_take(self) -> None:
        """Take the line, if there is anything in it."""
        written = self.query_one(Input).value.strip()
        if written:
            self.dismiss(written)

    def action_none(self) -> None:
        """Leave everything as it is."""
        self.dismiss(None)


class Sheet(ModalScreen[None]):
    """A text to read, as wide as it is pleasant."""

    HELP_TITLE = "Text to read"
    DEFAULT_CSS = """
    Sheet { align: center middle; background: $background; }
    Sheet > Vertical { width: 100%; max-width: 100; height: 100%; max-height: 50;
                       background: $surface; border: round $primary; padding: 0 1; }
    Sheet #title { height: auto; text-style: bold; margin-bottom: 1; }
    Sheet VerticalScroll { height: 1fr; scrollbar-size: 1 1; }
    Sheet #text { height: auto; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,q", "close", "Close"),
        Binding("down,j", "scroll(1)", "Down", show=False),
        Binding("up,k", "scroll(-1)", "Up", show=False),
        Binding("pagedown,space", "page(1)", "Next page"),
        Binding("pageup", "page(-1)", "Page before"),
        Binding("home,ctrl+home", "end(-1)", "First line", show=False),
        Binding("end,ctrl+end", "end(1)", "Last line", show=False),
    ]

    def __init__(
        self,
        title: str,
        paragraphs: Sequence[str | tuple[str, str]],
        *,
        is_help: bool = False,
    ) -> None:
        super().__init__()
        self._title, self.is_help = title, is_help
        # What comes first on the first line, and what is wrapped behind it.
        self._paragraphs = [("", part) if isinstance(part, str) else part for part in paragraphs]

    def compose(self) -> ComposeResult:
        """Put the text under its title."""
        with Vertical():
            yield Static(Content(plain(self._title)), id="title")
            with VerticalScroll(can_focus=False):
                yield Static(id="text")
            yield KeyLine()

    def on_resize(self) -> None:
        """Wrap the text to the room."""
        self.call_after_refresh(self._wrap)

    def _wrap(self) -> None:
        scroll = self.query_one(VerticalScroll)
        room = max(scroll.size.width - 1, 20)
        lines: list[str] = []
        for lead, text in self._paragraphs:
            lead = plain(lead)
            for number, line in enumerate(wrap(plain(text), room - len(lead))):
                lines.append((" " * len(lead) if number else lead) + line)
        self.query_one("#text", Static).update(Content("\n".join(lines)))

    def action_scroll(self, by: int) -> None:
        """Scroll by lines."""
        self.query_one(VerticalScroll).scroll_relative(y=by, animate=False)

    def action_page(self, by: int) -> None:
        """Scroll by a page."""
        scroll = self.query_one(VerticalScroll)
        scroll.scroll_relative(y=by * max(scroll.size.height - 1, 1), animate=False)

    def action_end(self, way: int) -> None:
        """Scroll to the first or the last line."""
        scroll = self.query_one(VerticalScroll)
        (scroll.scroll_home if way < 0 else scroll.scroll_end)(animate=False)

    def action_close(self) -> None:
        """Go back."""
        self.dismiss(None)


class PrintedText(Sheet):
    """A sheet whose lines are made for its width."""

    HELP_TITLE = "Text to read"
    DEFAULT_CSS = """
    PrintedText > Vertical { max-width: 126; max-height: 100%; }
    PrintedText #title { margin-bottom: 0; }
    """

    def __init__(self, title: str, text: Callable[[int], str]) -> None:
        super().__init__(title, [])
        self._text = text

    def on_mount(self) -> None:
        """Let a text that has a title of its own do without another."""
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        self.query_one("#title").display = bool(self._title)

    def _wrap(self) -> None:
        scroll = self.query_one(VerticalScroll)
        # One column is the scrollbar's, whether it is there yet or not.
        room = scroll.container_size.width - 1
        self.query_one("#text", Static).update(Content(self._text(min(max(room, 40), WIDEST))))


class InProgress(ModalScreen[None], Generic[Found]):
    """Says what is being done and for how long; escape gives it up."""

    HELP_TITLE = "Under way"
    DEFAULT_CSS = """
    InProgress { align: center middle; }
    InProgress > Vertical { width: 64; max-width: 95%; height: auto; background: $surface;
                          border: round $accent; padding: 0 1; }
    InProgress Static { height: auto; margin-bottom: 1; }
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
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        self._tell()
        self.set_interval(PROGRESS_EVERY_S, self._tell)
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

    def on_in_progress_done(self, message: Done) -> None:
        """Go back with what was found."""
        message.stop()
        self.dismiss(None)

    def action_give_up(self) -> None:
        """Go back without it; what the thread still finds is forgotten."""
        self.given_up = True
        self.dismiss(None)


async def in_progress(screen: Screen[None], words: str, make: Callable[[], Found]) -> Found | None:
    """Do work in a thread, saying so in `words`; returns None if it was given up.

    Raises `FiringError` if the work did.
    """
    sign = InProgress(words, make)
    await screen.app.push_screen_wait(sign)
    if sign.given_up:
        return None
    if sign.refusal is not None:
        raise sign.refusal
    return sign.found


_KEY_WIDTH = 12


Paragraph = str | tuple[str, str]
"""A paragraph; of two parts the first stands out on the left."""


def help_lines(screen: Screen[object]) -> list[Paragraph]:
    """Return the help of a screen: what its widgets, itself and the program say of their keys."""
    lines: list[Paragraph] = []
    for node in _helpers(screen):
        title = getattr(node, "HELP_TITLE", "")
        lines += [title, *(("  ", words) for words in getattr(node, "HELP_WORDS", ()))]
        lines += [
            (f"  {key_words(binding):<{_KEY_WIDTH}}", binding.tooltip or binding.description)
            for binding in own_bindings(node)
            if binding.show or binding.tooltip
        ]
        lines.append("")
    return lines[:-1]


def _helpers(screen: Screen[object]) -> Iterator[DOMNode]:
    seen: set[str] = set()
    app: App[object] = screen.app
    for node in [*screen.walk_children(), screen, app]:
        title = getattr(node, "HELP_TITLE", "")
        if title and title not in seen:
            seen.add(title)
            yield node


def own_bindings(node: DOMNode) -> list[Binding]:
    """Return the bindings that a node's classes list, the screens' own, in order."""
    own = [kind for kind in type(node).__mro__ if kind.__module__.startswith("firing.tui.")]
    listed = (binding for kind in own for binding in kind.__dict__.get("BINDINGS", ()))
    return [binding for binding in listed if isinstance(binding, Binding)]


def warning_lines(forecast: Forecast) -> list[Paragraph]:
    """Return every warning of a forecast with its source."""
    unit = forecast.schedule.unit
    lines: list[Paragraph] = []
    for warning in forecast.warnings:
        message = in_unit(warning.message, unit)
        lines.append(f"{SEVERITY_WORDS[warning.severity]}: {message}")
        names = [name.strip() for name in warning.source.split(",")]
        lines += [("  Source: ", in_unit(words, unit)) for _, words in citations(names)]
        lines.append("")
    rests = [f"Rests on: {in_unit(forecast.basis, unit)}."]
    if forecast.kiln is None:
        rests.append(f"Durations by {forecast.planned_basis}.")
    notes = forecast.cones.notes_in(unit)
    return [*(lines or ["No warnings.", ""]), *rests, *notes]


def finding_lines(review: Review) -> list[Paragraph]:
    """Return every finding of a review with what was seen, what next, and its sources."""
    from firing.report.review import finding_words

    unit = review.schedule.unit
    lines: list[Paragraph] = []
    for finding in review.findings:
        message, *more = finding_words(finding)
        lines.append(f"{SEVERITY_WORDS[finding.severity]}: {message}")
        lines += [("  ", in_unit(words, unit)) for words in more]
        names = [name.strip() for name in finding.source.split(",") if name.strip()]
        lines += [("  Source: ", in_unit(words, unit)) for _, words in citations(names)]
        lines.append("")
    return lines or ["Nothing to know."]


def caution_lines(cautions: tuple[Caution, ...], unit: TemperatureUnit = "C") -> list[Paragraph]:
    """Return cautions with their figures and sources, in the plan's unit."""
    lines: list[Paragraph] = [DEFERENCE, FIGURES_NOTE]
    for caution in cautions:
        heading, *rest = caution.lines()
        lines += ["", heading, *(("  ", in_unit(words, unit)) for words in rest)]
    return lines


_NAME, _KEY = 20, 10


@dataclass(frozen=True)
class Command:
    """One thing that can be done now: its name, what it does, its key, and whose it is."""

    name: str
    words: str
    keys: str
    action: str
    node: DOMNode


def applying(screen: Screen[Any]) -> list[Command]:
    """Return what can be done on a screen as it is now, and nothing else."""
    found: dict[str, Command] = {}
    for each in screen.active_bindings.values():
        binding = each.binding
        own = type(each.node).__module__.startswith("firing.tui.") and binding.tooltip
        if own and each.enabled and binding.action not in found and binding.action != "commands":
            found[binding.action] = Command(
                binding.description, binding.tooltip, key_words(binding), binding.action, each.node
            )
    return list(found.values())


def _rank(command: Command, typed: Sequence[str]) -> int:
    """Return how far down a command comes: what is named so is before what only speaks of it."""
    name = command.name.casefold()
    if name == " ".join(typed):
        return 0
    if typed and name.startswith(typed[0]) and all(part in name for part in typed):
        return 1
    return 2 if all(part in name for part in typed) else 3


class Commands(ModalScreen[Command | None]):
    """The commands, narrowed by what is typed."""

    HELP_TITLE = "All commands"
    DEFAULT_CSS = """
    Commands { align: center top; }
    Commands > Vertical { width: 100%; max-width: 100; height: auto; max-height: 100%;
                          background: $surface; border: round $primary; padding: 0 1; }
    Commands Static { height: auto; }
    Commands Input { background: $marked; margin: 0 0 1 0; }
    Commands ListGrid { background: $surface; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Do it", priority=True),
        Binding("up", "step(-1)", "Up", show=False, priority=True),
        Binding("down", "step(1)", "Down", show=False, priority=True),
        Binding("pageup", "page(-1)", "A page up", show=False, priority=True),
        Binding("pagedown", "page(1)", "A page down", show=False, priority=True),
        Binding("escape,ctrl+p", "none", "Leave it", priority=True),
    ]

    def __init__(self, commands: Sequence[Command]) -> None:
        super().__init__()
        self._commands = sorted(commands, key=lambda command: command.name.casefold())
        self._shown: list[Command] = []

    def compose(self) -> ComposeResult:
        """Put the list under the line that narrows it."""
        with Vertical():
            yield Static("What can be done here: choose, or type a part of it")
            yield Input(compact=True)
            grid = ListGrid()
            grid.can_focus = False
            yield grid
            yield KeyLine()

    def on_mount(self) -> None:
        """List everything."""
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        self._list()

    def on_resize(self) -> None:
        """Fit the list to the room."""
        self.call_after_refresh(self._list)

    def _list(self) -> None:
        typed = self.query_one(Input).value.casefold().split()
        found = [
            command
            for command in self._commands
            if all(part in f"{command.name} {command.words}".casefold() for part in typed)
        ]
        self._shown = sorted(found, key=lambda command: _rank(command, typed))
        grid = self.query_one(ListGrid)
        # Borders and gaps, the cursor's mark and a scrollbar take the rest.
        words = max(min(self.size.width, 100) - _NAME - _KEY - 9, 10)
        grid.styles.height = max(min(len(self._commands), self.size.height - 6), 1)
        grid.fill(
            [
                GridColumn("name", "", _NAME),
                GridColumn("key", "", _KEY),
                GridColumn("words", "", words),
            ],
            [GridRow((command.name, command.keys, command.words)) for command in self._shown]
            or [GridRow(("Nothing of that name.  Another part of it, or esc.",), heading=True)],
        )

    def on_input_changed(self, _message: Input.Changed) -> None:
        """Narrow the list."""
        self._list()
        self.query_one(ListGrid).go(0)

    def on_list_grid_chosen(self, _message: ListGrid.Chosen) -> None:
        """Do what was clicked."""
        self.action_take()

    def action_step(self, by: int) -> None:
        """Move in the list."""
        self.query_one(ListGrid).action_step(by)

    def action_page(self, by: int) -> None:
        """Move in the list by a page."""
        self.query_one(ListGrid).action_page(by)

    def action_take(self) -> None:
        """Do what is chosen, if anything is."""
        row = self.query_one(ListGrid).row
        if row < len(self._shown):
            self.dismiss(self._shown[row])

    def action_none(self) -> None:
        """Do nothing."""
        self.dismiss(None)
