"""Editing a form: a slot in the bar, lines in the list, and undo."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from firing.errors import FiringError
from firing.files.tomlfile import KeyPath

from ..formchoices import choices, turned
from ..formedits import forgotten, rearranged, removed, value_at
from ..formfields import value_text
from ..formlines import ADD, FORGET, lines_of, next_fault, place_words
from ..formstate import FormDocument, FormState
from ..widgets.editbar import CellInput, EditBar
from ..widgets.fieldlist import FieldList
from .base import WorkScreen

if TYPE_CHECKING:
    from ..session import Session

_LEAVING = {
    "enter": "stay", "tab": "right", "shift+tab": "left", "down": "down", "up": "up",
}  # fmt: skip
"""The keys that take an edit, and the way the cursor goes then."""


class FormEditingScreen(WorkScreen):
    """A screen with the lines of a form and the edit bar."""

    def __init__(self, session: Session, document: FormDocument) -> None:
        super().__init__(session)
        self.document = document

    @property
    def _list(self) -> FieldList:
        return self.query_one(FieldList)

    @property
    def _bar(self) -> EditBar:
        return self.query_one(EditBar)

    @property
    def _editing(self) -> bool:
        # Not what the input knows of its focus: that comes a moment later.
        return self.focused is self._bar.cell

    def say(self, words: str, *, fault: bool = False) -> None:
        """Show a message in words in the edit bar."""
        self._bar.say(words, fault=fault)

    def show_form(self) -> None:
        """Show the form as it is now."""
        raise NotImplementedError

    def _describe(self) -> None:
        """Say in the bar what the selected slot is."""
        slot, state = self._list.slot, self.document.state
        if slot is None:
            return
        entry = slot.field
        value = "" if entry is None else value_text(entry, value_at(state.data, slot.path))
        limits = "" if entry is None else entry.limits
        self._bar.describe(place_words(state, slot.path), value, limits)
        cell = self._bar.cell
        if not self._editing and cell.value != value:
            with cell.prevent(CellInput.Changed):
                cell.value = value
        self.refresh_bindings()

    def _explain(self) -> None:
        """Say what is worth knowing of the selected slot: its fault, or what it is."""
        slot = self._list.slot
        if slot is None:
            return
        if slot.fault:
            self.say(f"! {slot.fault}", fault=True)
        elif slot.field is not None:
            about = slot.field.about
            self.say(f"{about[:1].upper()}{about[1:]} ({slot.field.key} in the file).")
        else:
            self.say("Enter does it.")

    def on_list_grid_moved(self, message: FieldList.Moved) -> None:
        """Follow the cursor with the bar."""
        message.stop()
        self.document.cursor = self._list.path
        self._describe()
        self._explain()

    def on_field_list_begin(self, message: FieldList.Begin) -> None:
        """Edit the selected slot in the bar, or do what the line says."""
        message.stop()
        self._begin(message.typed)

    def _begin(self, typed: str | None) -> None:
        slot, bar = self._list.slot, self._bar
        if slot is None:
            return
        if self._editing:
            if typed is None:
                self._settle()
            else:
                bar.cell.insert_text_at_cursor(typed)
        elif slot.field is None:
            if typed is None:
                self._do(slot.path)
            else:
                self.say("Nothing is written here; enter does it.", fault=True)
        elif typed is None and slot.field.options:
            self.job(self._choose_job)
        else:
            value = value_text(slot.field, value_at(self.document.state.data, slot.path))
            self._describe()
            self.say("")
            self._open(value if typed is None else typed)

    def _open(self, value: str) -> None:
        cell = self._bar.cell
        # In this order and at once: keys that come now are the edit's, and no focus that was asked
        # for earlier may come after it is over.
        self.set_focus(cell)
        cell.value = value
        cell.cursor_position = len(value)

    def on_field_list_pressed(self, message: FieldList.Pressed) -> None:
        """Do what a key means now."""
        message.stop()
        if self._editing:
            self._press_in_cell(message.key, message.character)
        else:
            self._press_in_list(message.key, message.character)

    def _press_in_list(self, key: str, typed: str | None) -> None:
        fields = self._list
        if key in ("up", "down"):
            fields.action_step(1 if key == "down" else -1)
        elif key in ("left", "right"):
            by = 1 if key == "right" else -1
            if not fields.across(by) and fields.turns:
                self._turn(by)
        elif key in ("tab", "shift+tab"):
            fields.go_on(1 if key == "tab" else -1)
        elif key == "space" and fields.turns:
            self._turn(1)
        elif key == "enter":
            self._begin(None)
        else:
            self._begin(typed or "")

    def _press_in_cell(self, key: str, typed: str | None) -> None:
        cell = self._bar.cell
        if typed is not None:
            cell.insert_text_at_cursor(typed)
        elif key in _LEAVING:
            self._leave_slot(_LEAVING[key])
        elif key == "backspace":
            cell.action_delete_left()
        elif key in ("left", "right"):
            cell.cursor_position += 1 if key == "right" else -1

    def _do(self, path: KeyPath) -> None:
        state = self.document.state
        if path[-1] == ADD:
            self._rearrange("new")
        elif path[-1] == FORGET:
            edit = forgotten(state.data, str(path[0]), "what was learnt is forgotten")
            self._apply(state.edited(edit), edit.label, edit.at)
        else:
            self._explain()

    async def _choose_job(self) -> None:
        slot, state = self._list.slot, self.document.state
        if slot is None or slot.field is None:
            return
        found = choices(state, slot.field)
        answers = [(str(n), word) for n, (_, word) in enumerate(found)]
        answer = await self.ask(f"{place_words(state, slot.path)}:", *answers)
        if answer is not None:
            self._set(slot.path, found[int(answer)][0])

    def _turn(self, by: int) -> None:
        """Let the selected slot hold the next of its words."""
        slot, state = self._list.slot, self.document.state
        if slot is not None and slot.field is not None:
            self._set(slot.path, turned(state, slot.field, slot.path, by))

    def _set(self, path: KeyPath, value: Any) -> None:
        try:
            state = self.document.state.with_value(path, value)
        except FiringError as error:
            self.say(f"Not taken: {error}", fault=True)
            return
        self._apply(state, place_words(state, path), path)

    def on_field_list_asked(self, message: FieldList.Asked) -> None:
        """Add, copy, remove or move the selected line."""
        message.stop()
        if not self._settle():
            return
        slot, line, state = self._list.slot, self._list.line, self.document.state
        if message.what != "remove" or line is None or slot is None or line.kind == "item":
            self._rearrange(message.what)
        elif line.kind == "odd":
            edit = removed(state.data, slot.path, f"{place_words(state, slot.path)} taken out")
            self._apply(state.edited(edit), edit.label, edit.at)
        elif line.kind == "field":
            self._set(slot.path, None)
        else:
            self.say("There is nothing to take out here.", fault=True)

    def _rearrange(self, what: str) -> None:
        state = self.document.state
        try:
            edit = rearranged(state.form, state.data, what, self._list.path)
        except FiringError as error:
            self.say(f"Not done: {error}", fault=True)
            return
        self._apply(state.edited(edit), edit.label, edit.at)

    def _apply(self, state: FormState, label: str, at: KeyPath) -> None:
        if not self.document.apply(state, label, at):
            self._describe()
            self.say("Nothing changed.")
            return
        self.show_form()
        self._list.select(at)
        self._describe()
        self.say(f"Changed: {label}.  ^Z takes it back.")

    def on_input_changed(self, message: CellInput.Changed) -> None:
        """Say while typing what would be refused."""
        message.stop()
        if self._editing:
            _, trouble = self._typed()
            self.say(trouble)

    def _typed(self) -> tuple[FormState | None, str]:
        """Return the state with what is typed, or None and why not."""
        try:
            return self.document.state.retyped(self._list.path, self._bar.cell.value), ""
        except FiringError as error:
            return None, str(error)

    def _settle(self) -> bool:
        """Take an edit under way; returns whether none is left."""
        if not self._editing:
            return True
        state, trouble = self._typed()
        if state is None:
            self.say(f"Not taken: {trouble}", fault=True)
            return False
        self.set_focus(self._list)
        self._apply(state, place_words(state, self._list.path), self._list.path)
        return True

    def on_cell_input_left(self, message: CellInput.Left) -> None:
        """Take what was typed, and go on in its direction."""
        message.stop()
        self._leave_slot(message.way)

    def _leave_slot(self, way: str) -> None:
        if not self._settle():
            return
        if way in ("up", "down"):
            self._list.action_step(1 if way == "down" else -1)
        elif way in ("left", "right"):
            self._list.go_on(1 if way == "right" else -1)

    def on_cell_input_dropped(self, message: CellInput.Dropped) -> None:
        """Leave the slot as it was."""
        message.stop()
        self._drop_slot()

    def _drop_slot(self) -> None:
        self.set_focus(self._list)
        self._describe()
        self.say("Left as it was.")

    def on_descendant_blur(self) -> None:
        """Put the slot's own value back if an edit was left with the mouse."""
        if not self._editing:
            self._describe()

    def action_undo(self) -> None:
        """Take back the last change."""
        self._travel(self.document.undo(), "Taken back")

    def action_redo(self) -> None:
        """Make the change again."""
        if self._settle():
            self._travel(self.document.redo(), "Made again")

    def _travel(self, label: str | None, done: str) -> None:
        if label is None:
            return
        self.show_form()
        self._list.select(self.document.cursor)
        self._describe()
        self.say(f"{done}: {label}.")

    def action_fault(self) -> None:
        """Go to the next line with a fault."""
        if not self._settle():
            return
        slot = next_fault(lines_of(self.document.state), self._list.path)
        if slot is not None:
            self.go_to(slot.path)

    def go_to(self, path: KeyPath) -> None:
        """Put the cursor on a path, and say what is wrong there."""
        self.set_focus(self._list)
        self._list.select(path)
        self._describe()
        self._explain()
