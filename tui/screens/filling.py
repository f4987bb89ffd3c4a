"""A form filled in at once: a few fields, each read by its parser, a refusal shown in words."""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widget import Widget
from textual.widgets import Input, Static

from firing.errors import FiringError
from firing.report.sanitize import plain

from ..fields import Field
from ..widgets.editbar import Cycle
from ..widgets.lines import KeyLine


class Filling(ModalScreen[dict[str, Any] | None]):
    """A form; escape leaves everything as it was."""

    HELP_TITLE = "Form"
    DEFAULT_CSS = """
    Filling { align: center middle; }
    Filling > Vertical { width: 92%; min-width: 57; max-width: 92; height: auto; max-height: 95%;
                         background: $surface; border: round $primary; padding: 0 1; }
    Filling #fields { height: auto; overflow-y: auto; scrollbar-size: 1 1; }
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
        # Not beside it: the way out is seen there.
        Binding(
            "up,shift+tab", "app.focus_previous", "Field before", show=False, key_display="↑",
            tooltip="The field before",
        ),
        Binding("escape", "none", "Leave it"),
    ]  # fmt: skip

    def __init__(
        self, title: str, fields: Sequence[Field], begun: Mapping[str, str], fault: str = ""
    ) -> None:
        super().__init__()
        self._title, self._fields, self._begun, self._fault = title, fields, begun, fault
        self.texts: dict[str, str] = {}
        """What every field held when they were taken, asked or not."""

    def compose(self) -> ComposeResult:
        """Put the fields under one another."""
        with Vertical():
            yield Static(Content(plain(self._title)), id="title")
            with Vertical(id="fields"):  # which leaves the arrows to the form
                for field in self._fields:
                    with Horizontal(id=f"line-{field.key}"):
                        yield Static(Content(plain(field.label)), classes="label")
                        yield self._widget(field)
            yield Static(id="hint")
            yield KeyLine()

    def _widget(self, field: Field) -> Widget:
        text, name = self._begun[field.key], f"field-{field.key}"
        if field.options:
            return Cycle(field.options, text, id=name)
        if field.lines > 1:
            from textual.widgets import TextArea

            return TextArea(text, id=name, tab_behavior="focus")
        return Input(text, compact=True, id=name, select_on_focus=False)

    def on_mount(self) -> None:
        """Begin in the first field."""
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        self._ask()
        if self._fault:
            self._say(self._fault, fault=True)

    def _asked(self, field: Field) -> bool:
        if field.when is None:
            return True
        key, wanted = field.when
        return bool(self.query_one(f"#field-{key}", Cycle).value == wanted)

    def _ask(self) -> None:
        for field in self._fields:
            self.query_one(f"#line-{field.key}").display = self._asked(field)

    def on_cycle_changed(self, message: Cycle.Changed) -> None:
        """Ask for what goes with another word, and forget the last refusal."""
        message.stop()
        self.query_one("#hint").remove_class("fault")
        self._ask()

    def on_descendant_focus(self) -> None:
        """Say what the field in hand may hold."""
        if self.query_one("#hint").has_class("fault"):
            return
        key = "" if self.focused is None else str(self.focused.id).removeprefix("field-")
        self._say(next((field.about for field in self._fields if field.key == key), ""))

    def _say(self, words: str, *, fault: bool = False) -> None:
        hint = self.query_one("#hint", Static)
        hint.update(Content(plain(words)))
        hint.set_class(fault, "fault")
        self.call_after_refresh(self._share_rows)

    def on_resize(self) -> None:
        """Share the new height."""
        self.call_after_refresh(self._share_rows)

    def _share_rows(self) -> None:
        """Let the fields scroll, however long the hint: it and the keys stay in view."""
        if not self.query(KeyLine):
            return  # closed meanwhile
        fields = self.query_one("#fields")
        beside = [self.query_one("#title"), self.query_one("#hint"), self.query_one(KeyLine)]
        rows = int(0.95 * self.size.height) - 2 - sum(max(c.size.height, 1) for c in beside)
        fields.styles.max_height = max(rows, 1)
        if self.focused is not None:
            fields.scroll_to_widget(self.focused, animate=False)

    def on_input_changed(self, message: Input.Changed) -> None:
        """Forget the last refusal, unless a field only tells what it begins with."""
        key = str(message.input.id).removeprefix("field-")
        if message.value != self._begun.get(key):
            self.query_one("#hint").remove_class("fault")

    def on_input_submitted(self) -> None:
        """Take everything."""
        self.action_take()

    def _text(self, field: Field) -> str:
        widget = self.query_one(f"#field-{field.key}")
        if isinstance(widget, Input | Cycle):
            return widget.value
        return str(getattr(widget, "text", ""))

    def action_take(self) -> None:
        """Take every field that is asked, or go to the first that is refused."""
        found: dict[str, Any] = {}
        texts = {field.key: self._text(field) for field in self._fields}
        for field in filter(self._asked, self._fields):
            try:
                found[field.key] = field.read(texts[field.key])
            except FiringError as error:
                widget = self.query_one(f"#field-{field.key}")
                widget.focus()
                if isinstance(widget, Input):
                    # What is typed next takes the place of what was refused.
                    widget.action_select_all()
                self._say(f"{field.label}: {error}", fault=True)
                return
        self.texts = texts
        self.dismiss(found)

    def action_none(self) -> None:
        """Leave everything as it was."""
        self.dismiss(None)
