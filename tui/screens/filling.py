"""A form: a few fields, each read by the library's own parser, its refusal shown in words."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widget import Widget
from textual.widgets import Input, Static

from firing.errors import FiringError
from firing.report.sanitize import plain

from ..widgets.cycle import Cycle
from ..widgets.lines import KeyLine


@dataclass(frozen=True)
class Blank:
    """One field of a form.

    Attributes
    ----------
    key, label, value, hint : str
        Its name, what it is called, what it holds, and what may be written.
    read : callable or None
        Turns the text into a value, or refuses it with a `FiringError`.
    options : sequence of (str, str)
        Keys and words, where it holds one of a few.
    lines : int
        More than one for a text of several lines.
    when : (str, str) or None
        A field and the key it must hold for this one to be asked; without it, it always is.
    """

    key: str
    label: str
    value: str
    hint: str = ""
    read: Callable[[str], Any] | None = None
    options: Sequence[tuple[str, str]] = ()
    lines: int = 1
    when: tuple[str, str] | None = None


class Filling(ModalScreen[dict[str, Any] | None]):
    """A form; escape leaves everything as it was."""

    HELP_TITLE = "Form"
    DEFAULT_CSS = """
    Filling { align: center middle; }
    Filling > Vertical { width: 92%; max-width: 92; height: auto; max-height: 95%;
                         background: $surface; border: round $primary; padding: 0 1; }
    Filling VerticalScroll { height: auto; max-height: 1fr; scrollbar-size: 1 1; }
    Filling Horizontal { height: auto; }
    Filling .label { width: 18; }
    Filling .hint { width: 18; color: $quiet; }
    Filling Input { background: $surface; width: 1fr; }
    Filling Input:focus { background: $marked; }
    Filling Cycle { width: 1fr; }
    Filling TextArea { width: 1fr; height: 4; border: none; padding: 0; background: $surface;
                       scrollbar-size: 1 1; }
    Filling TextArea:focus { background: $marked; }
    Filling #title { height: auto; text-style: bold; }
    Filling #hint { height: auto; min-height: 2; max-height: 6; color: $quiet; }
    Filling #hint.fault { color: $error; text-style: bold; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+s", "take", "Take all", tooltip="Take every field; enter does it too"),
        Binding("enter", "take", "Take all", show=False),
        Binding("down,tab", "app.focus_next", "Next field", key_display="↓"),
        Binding("up,shift+tab", "app.focus_previous", "Field before", key_display="↑"),
        Binding("escape", "none", "Leave it"),
    ]

    def __init__(self, title: str, blanks: Sequence[Blank], fault: str = "") -> None:
        super().__init__()
        self._title, self._blanks, self._fault = title, list(blanks), fault
        self.texts: dict[str, str] = {}
        """What every field held when they were taken, asked or not."""

    def compose(self) -> ComposeResult:
        """Put the fields under one another."""
        with Vertical():
            yield Static(Content(plain(self._title)), id="title")
            with VerticalScroll(can_focus=False):
                for blank in self._blanks:
                    with Horizontal(id=f"line-{blank.key}"):
                        yield Static(Content(plain(blank.label)), classes="label")
                        yield self._field(blank)
            yield Static(id="hint")
            yield KeyLine()

    def _field(self, blank: Blank) -> Widget:
        if blank.options:
            return Cycle(blank.options, blank.value, id=f"blank-{blank.key}")
        if blank.lines > 1:
            from textual.widgets import TextArea

            return TextArea(blank.value, id=f"blank-{blank.key}", tab_behavior="focus")
        return Input(blank.value, compact=True, id=f"blank-{blank.key}", select_on_focus=False)

    def on_mount(self) -> None:
        """Begin in the first field."""
        self._ask()
        if self._fault:
            self._say(self._fault, fault=True)

    def _asked(self, blank: Blank) -> bool:
        if blank.when is None:
            return True
        key, wanted = blank.when
        return self.query_one(f"#blank-{key}", Cycle).value == wanted

    def _ask(self) -> None:
        for blank in self._blanks:
            self.query_one(f"#line-{blank.key}").display = self._asked(blank)

    def on_cycle_changed(self, message: Cycle.Changed) -> None:
        """Ask for what goes with another word, and forget the last refusal."""
        message.stop()
        self.query_one("#hint").remove_class("fault")
        self._ask()

    def on_descendant_focus(self) -> None:
        """Say what the field in hand may hold."""
        if self.query_one("#hint").has_class("fault"):
            return
        key = "" if self.focused is None else str(self.focused.id).removeprefix("blank-")
        self._say(next((blank.hint for blank in self._blanks if blank.key == key), ""))

    def _say(self, words: str, *, fault: bool = False) -> None:
        hint = self.query_one("#hint", Static)
        hint.update(Content(plain(words)))
        hint.set_class(fault, "fault")

    def on_input_changed(self, message: Input.Changed) -> None:
        """Forget the last refusal, unless a field only tells what it begins with."""
        begun = {f"blank-{blank.key}": blank.value for blank in self._blanks}
        if message.value != begun.get(message.input.id or ""):
            self.query_one("#hint").remove_class("fault")

    def on_input_submitted(self) -> None:
        """Take everything."""
        self.action_take()

    def _text(self, blank: Blank) -> str:
        widget = self.query_one(f"#blank-{blank.key}")
        if isinstance(widget, Input | Cycle):
            return widget.value
        return str(getattr(widget, "text", ""))

    def action_take(self) -> None:
        """Take every field that is asked, or go to the first that is refused."""
        found: dict[str, Any] = {}
        texts = {blank.key: self._text(blank) for blank in self._blanks}
        for blank in filter(self._asked, self._blanks):
            text = texts[blank.key]
            try:
                found[blank.key] = text if blank.read is None else blank.read(text)
            except FiringError as error:
                self.query_one(f"#blank-{blank.key}").focus()
                self._say(f"{blank.label}: {error}", fault=True)
                return
        self.texts = texts
        self.dismiss(found)

    def action_none(self) -> None:
        """Leave everything as it was."""
        self.dismiss(None)
