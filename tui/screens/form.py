"""The form of a file: its lines, what follows from them, and how they are edited."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.message import Message
from textual.widgets import Static

from firing.errors import FiringError
from firing.files.tomlfile import KeyPath
from firing.report.sanitize import plain, whole_words, wrap

from ..fields import value_text
from ..form_document import (
    FormDocument,
    FormState,
    forgotten,
    open_form,
    rearranged,
    removed,
)
from ..form_kinds import FormKind, derived, flowing, form_of
from ..form_lines import (
    ADD,
    FORGET,
    Slot,
    choices,
    faulty_places,
    lines_of,
    next_fault,
    place_words,
    spoken,
    turned,
)
from ..widgets.editbar import EditBar
from ..widgets.fieldlist import FieldList
from ..widgets.lines import KeyLine, TitleLine
from .base import WorkScreen
from .editing import EditingScreen

if TYPE_CHECKING:
    from ..session import Session

_MOST_LINES = 4


class FormScreen(EditingScreen):
    """A kiln, a load, a controller or a tariff being described."""

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
        super().__init__(session)
        self._document = document
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
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        self.set_focus(self.table)
        self.show_document()
        self.table.go(1, 0)
        faults = faulty_places(lines_of(self.document.state))
        if faults:
            self.table.select(faults[0].path)
        self.describe()
        self._greet(bool(faults))

    def _greet(self, faults: bool) -> None:
        document = self.document
        if document.state.base_text is None:
            words = "New: fill in what is marked with !; what has no mark may be left out."
        elif faults:
            self.explain()
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
        self.table.refresh()

    # What is shown

    def show_document(self) -> None:
        """Show the form as it is now."""
        self.table.show(lines_of(self.document.state))
        self._show_title()
        self._derive()
        self.refresh_bindings()

    def _show_title(self) -> None:
        state, kind = self.document.state, self.document.kind
        name = state.data.get("name")
        title = kind.capitalize() + (f": {name}" if isinstance(name, str) and name else "")
        self.query_one(TitleLine).show(title, self.file_words)

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
            counted = _counted(faulty_places(lines_of(state)))
            words = f"{counted}: nothing follows until that is put right; F4 goes there."
            lines = wrap(words, room)
        else:
            lines = flowing(self._shown[1] if self._shown else ("…",), room)
        shown = [whole_words(line, room) for line in lines[:_MOST_LINES]]
        place.update(Content("\n".join(map(plain, shown))))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        if action == "fault":
            return bool(self.document.state.faults)
        return super().check_action(action, parameters)

    # The cells

    @property
    def document(self) -> FormDocument:
        """The file being filled in."""
        return self._document

    @property
    def table(self) -> FieldList:
        """Its lines."""
        return self.query_one(FieldList)

    def cell_words(self) -> tuple[str, str, str]:
        """Return what the selected slot is, what it holds, and what may be written into it."""
        slot, state = self.table.slot, self.document.state
        if slot is None:
            return "", "", ""
        entry = slot.field
        if entry is None:
            return place_words(state, slot.path), "", ""
        value = value_text(entry, state.held(slot.path))
        return place_words(state, slot.path), value, entry.limits

    def explain(self) -> None:
        """Say what is worth knowing of the selected slot: its fault, or what it is."""
        slot = self.table.slot
        if slot is None:
            return
        if slot.fault:
            self.say(f"! {spoken(self.document.state.form, slot.fault)}", fault=True)
        elif slot.field is not None:
            about = slot.field.about
            self.say(f"{about[:1].upper()}{about[1:]} ({slot.field.key} in the file).")
        else:
            self.say("Enter does it.")

    def takes_text(self, typed: str | None) -> bool:
        """Whether the selected slot is written in; words are chosen, and some lines do things."""
        slot = self.table.slot
        if slot is None:
            return False
        if slot.field is None:
            if typed is None:
                self._do_line(slot.path)
            else:
                self.say("Nothing is written here; enter does it.", fault=True)
            return False
        if typed is None and slot.field.options:
            self.job(self._choose_job)
            return False
        return True

    def retyped(self, text: str) -> FormState:
        """Return the form with a text in the selected slot; may refuse it."""
        return self.document.state.retyped(self.table.place, text)

    def refusal(self, error: FiringError) -> str:
        """Return a refusal in the form's words."""
        return spoken(self.document.state.form, str(error))

    def press_in_table(self, key: str, typed: str | None) -> None:
        """Do what a key means on the selected slot; where words stand, it may turn them."""
        by = {"left": -1, "right": 1, "space": 1}.get(key)
        if by is not None and self.table.turns and (key == "space" or self.table.alone):
            self._turn(by)
        else:
            super().press_in_table(key, typed)

    def _do_line(self, path: KeyPath) -> None:
        state = self.document.state
        if path[-1] == ADD:
            self.do("new")
        elif path[-1] == FORGET:
            edit = forgotten(state.data, str(path[0]), "what was learnt is forgotten")
            self.apply(state.edited(edit), edit.label, edit.at)
        else:
            self.explain()

    async def _choose_job(self) -> None:
        slot, state = self.table.slot, self.document.state
        if slot is None or slot.field is None:
            return
        found = choices(state, slot.field)
        answers = [(str(n), word) for n, (_, word) in enumerate(found)]
        answer = await self.ask(f"{place_words(state, slot.path)}:", *answers)
        if answer is not None:
            self._set(slot.path, found[int(answer)][0])

    def _turn(self, by: int) -> None:
        """Let the selected slot hold the next of its words."""
        slot, state = self.table.slot, self.document.state
        if slot is not None and slot.field is not None:
            self._set(slot.path, turned(state, slot.field, slot.path, by))

    def _set(self, path: KeyPath, value: Any) -> None:
        try:
            state = self.document.state.with_value(path, value)
        except FiringError as error:
            self.say(f"Not taken: {self.refusal(error)}", fault=True)
            return
        self.apply(state, place_words(state, path), path)

    def rearrange(self, what: str) -> None:
        """Add, copy, remove or move the selected line; may be refused."""
        slot, line, state = self.table.slot, self.table.line, self.document.state
        if what != "remove" or line is None or slot is None or line.kind == "item":
            edit = rearranged(state.form, state.data, what, self.table.place)
            self.apply(state.edited(edit), edit.label, edit.at)
        elif line.kind == "odd":
            edit = removed(state.data, slot.path, f"{place_words(state, slot.path)} taken out")
            self.apply(state.edited(edit), edit.label, edit.at)
        elif line.kind == "field":
            self._set(slot.path, None)
        else:
            self.say("There is nothing to take out here.", fault=True)

    def action_fault(self) -> None:
        """Go to the next line with a fault."""
        if not self.settle():
            return
        slot = next_fault(lines_of(self.document.state), self.table.place)
        if slot is not None:
            self._go_to(slot.path)

    def _go_to(self, path: KeyPath) -> None:
        """Put the cursor on a path, and say what is wrong there."""
        self.set_focus(self.table)
        self.table.select(path)
        self.describe()
        self.explain()

    # Saving and leaving

    @property
    def folder(self) -> Path:
        """The folder that a name typed without one stands in: the plan's."""
        return self.session.folder

    def job(self, work: Callable[[], Coroutine[Any, Any, object]]) -> None:
        """Run a job; one that is not the form's own may leave it, so its changes come first."""
        if getattr(work, "__self__", None) is self:
            super().job(work)
            return

        async def after() -> None:
            if self.settle() and await self.may_leave():
                await work()

        super().job(after)

    def is_refused(self) -> bool:
        """Go to the first fault, if there is one, and say it as the command line does."""
        state = self.document.state
        if not state.faults:
            return False
        slot = faulty_places(lines_of(state))[0]
        self._go_to(slot.path)
        words = spoken(state.form, slot.fault)
        self.say(f"Not saved: {place_words(state, slot.path)}: {words}", fault=True)
        return True

    def action_leave(self) -> None:
        """Go back."""
        if self.settle():
            self.job(self._leave_job)

    async def _leave_job(self) -> None:
        if await self.may_leave():
            self.dismiss(None)

    def was_saved(self, path: Path) -> None:
        """Show that it is in its file."""
        self.saved = str(path)
        self._show_title()
        self.refresh_bindings()
        self.say(f"Saved in {path}.  esc goes back with it.")


def _counted(faulty: Sequence[Slot]) -> str:
    """Return how much is still to be written, and how much of what is written is wrong."""
    empty = sum(not slot.text for slot in faulty)
    wrong = len(faulty) - empty
    parts = [f"{empty} to fill in"] if empty else []
    parts += [f"{wrong} fault{'' if wrong == 1 else 's'}"] if wrong else []
    return ", ".join(parts)


async def edit_file(screen: WorkScreen, kind: FormKind, name: str | None) -> str | None:
    """Let a file be edited; returns the path it was last saved in, or None.

    `name` is a path, an example's name (a copy of it is edited), or None for a new one.  Refused
    if it cannot be read or is no TOML; other faults are mended in the form.
    """

    def opened() -> FormDocument:
        return open_form(form_of(kind), name)

    form = FormScreen(screen.session, await asyncio.to_thread(opened))
    await screen.app.push_screen_wait(form)
    return form.saved
