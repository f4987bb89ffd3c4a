"""The form of a kiln or a load: its lines, what follows from them, and the bar that edits them."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import TYPE_CHECKING, Any, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.message import Message
from textual.widgets import Static

from firing.report.sanitize import plain, shorten

from ..formlines import faulty_places, lines_of
from ..formstate import FormDocument, FormState
from ..preview import derived, flowing
from ..screens import formkeeping
from ..widgets.editbar import EditBar
from ..widgets.fieldlist import FieldList
from ..widgets.lines import KeyLine, TitleLine
from .base import WorkScreen
from .formediting import FormEditingScreen

if TYPE_CHECKING:
    from ..session import Session

_MOST_LINES = 4


class FormScreen(FormEditingScreen):
    """A kiln or a load being described."""

    HELP_TITLE = "Form"
    HELP_WORDS = (
        "What follows from the lines is shown below them after every change.",
        "Comments, order and layout of the file are kept.",
        "Volts, amps and ohms are for a competent person to measure; the kiln's manual and local "
        "codes come first.",
    )
    DEFAULT_CSS = """
    FormScreen { layout: vertical; }
    FormScreen FieldList { height: 1fr; }
    FormScreen #derived { height: auto; min-height: 1; max-height: 4; padding: 0 1;
                          background: $surface; }
    FormScreen #derived.fault { color: $error; text-style: bold; }
    FormScreen EditBar { height: auto; }
    FormScreen EditBar #message { height: auto; min-height: 2; max-height: 6; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+z", "undo", "Undo", tooltip="Take back the last change"),
        Binding("ctrl+y", "redo", "Redo", tooltip="Make the change again that was taken back"),
        Binding("ctrl+s", "save", "Save", tooltip="Save it in its file"),
        Binding("f12,ctrl+e", "save_as", "Save as", show=False, tooltip="Save in another file"),
        Binding("f4", "fault", "Next fault", tooltip="Go to the next line with a fault"),
        Binding("escape", "leave", "Back", tooltip="Go back; asks if there are unsaved changes"),
    ]

    class Derived(Message):
        """What follows from a state has come back from the thread."""

        def __init__(self, state: FormState, parts: tuple[str, ...]) -> None:
            super().__init__()
            self.state, self.parts = state, parts

    def __init__(self, session: Session, document: FormDocument) -> None:
        super().__init__(session, document)
        self.saved: str | None = None
        self._under_way = False
        self._shown: tuple[FormState, tuple[str, ...]] | None = None

    def compose(self) -> ComposeResult:
        """Put the lines above what follows from them, and the bar below."""
        yield TitleLine()
        yield FieldList(id="fields")
        yield Static(id="derived")
        yield EditBar()
        yield KeyLine()

    def on_mount(self) -> None:
        """Show the form; begin where something is wrong, or at the top."""
        self.set_focus(self._list)
        self.show_form()
        self._list.go(1, 0)
        faults = faulty_places(lines_of(self.document.state))
        if faults:
            self._list.select(faults[0].path)
        self._describe()
        self._greet(bool(faults))

    def _greet(self, faults: bool) -> None:
        document = self.document
        if document.state.base_text is None:
            words = "New: fill in what is marked with !; what has no mark may be left out."
        elif faults:
            self._explain()
            return
        elif document.example:
            words = "A copy of an example: its figures are invented; put your own in their place."
        else:
            words = "Type on a line to change it.  F1 is help."
        self.say(words)

    def on_resize(self) -> None:
        """Fit everything to the room."""
        self.call_after_refresh(self._fit)

    def _fit(self) -> None:
        self._show_title()
        self._show_derived()
        self._list.refresh()

    # What is shown

    def show_form(self) -> None:
        """Show the form as it is now."""
        self._list.show(lines_of(self.document.state))
        self._show_title()
        self._derive()
        self.refresh_bindings()

    def _show_title(self) -> None:
        document, form = self.document, self.document.state.form
        name = document.state.data.get("name") if form.kind == "kiln" else None
        title = form.kind.capitalize() + (f": {name}" if isinstance(name, str) and name else "")
        file = "no file yet" if document.path is None else document.path.name
        state = "* changed" if document.changed else "as saved"
        if document.path is None and not document.changed:
            state = "as it came"
        self.query_one(TitleLine).show(title, f"{file} · {state}")

    def _derive(self) -> None:
        """Have what follows worked out in a thread; one at a time, always of the newest state."""
        state = self.document.state
        if state.value is None:
            self._shown = None
            self._show_derived()
        elif self._shown is not None and self._shown[0] is state:
            self._show_derived()
        elif not self._under_way:
            self._under_way = True
            self._compute(state)

    @work(thread=True, group="derived")
    def _compute(self, state: FormState) -> None:
        self.post_message(self.Derived(state, derived(state.form.kind, state.value)))

    def on_form_screen_derived(self, message: Derived) -> None:
        """Show what follows, or ask again if the form has changed meanwhile."""
        message.stop()
        self._under_way = False
        if message.state is self.document.state:
            self._shown = message.state, message.parts
        self._derive()

    def _show_derived(self) -> None:
        place, room = self.query_one("#derived", Static), max(self.size.width - 2, 20)
        state = self.document.state
        place.set_class(state.value is None, "fault")
        if state.value is None:
            faults = len(faulty_places(lines_of(state)))
            words = f"{_counted(faults)}: nothing follows until that is mended; F4 goes there."
            lines = [words[:1].upper() + words[1:]]
        else:
            lines = flowing(self._shown[1] if self._shown else ("…",), room)
        shown = [shorten(line, room) for line in lines[:_MOST_LINES]]
        place.update(Content("\n".join(map(plain, shown))))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        document = self.document
        if action == "undo":
            return document.undo_label is not None
        if action == "redo":
            return document.redo_label is not None
        if action == "save":
            return document.changed or document.path is None or self._editing
        if action == "fault":
            return bool(document.state.faults)
        return True

    # Keeping

    def job(self, work: Callable[[], Coroutine[Any, Any, None]]) -> None:
        """Run a job; one that is not the form's own may leave it, so its changes come first."""
        if getattr(work, "__self__", None) is self:
            super().job(work)
            return

        async def after() -> None:
            if self._settle() and await formkeeping.may_leave(self):
                await work()

        super().job(after)

    def action_save(self) -> None:
        """Save it in its file."""
        if self._settle():
            self.job(self._save_job)

    async def _save_job(self) -> None:
        await formkeeping.save(self)

    def action_save_as(self) -> None:
        """Save it in another file."""
        if self._settle():
            self.job(self._save_as_job)

    async def _save_as_job(self) -> None:
        await formkeeping.save_as(self)

    def action_leave(self) -> None:
        """Go back."""
        if self._settle():
            self.job(self._leave_job)

    async def _leave_job(self) -> None:
        if await formkeeping.may_leave(self):
            self.dismiss(None)

    def was_saved(self, path: str) -> None:
        """Show that it is in its file."""
        self.saved = path
        self._show_title()
        self.refresh_bindings()
        self.say(f"Saved in {path}.  esc goes back with it.")


def _counted(faults: int) -> str:
    return "1 fault" if faults == 1 else f"{faults} faults"


async def edit_form(screen: WorkScreen, document: FormDocument) -> str | None:
    """Show a form on top of a screen; returns the path last saved, or None."""
    form = FormScreen(screen.session, document)
    await screen.app.push_screen_wait(form)
    return form.saved
