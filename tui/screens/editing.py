"""Cells edited in the bar: what is typed, what is refused, where the cursor goes then, and undo."""

from __future__ import annotations

from typing import Any

from firing.errors import FiringError

from ..widgets.editbar import CellGrid, CellInput, EditBar
from .saving import SavingScreen

_LEAVING = {
    "enter": "stay", "tab": "right", "shift+tab": "left", "down": "down", "up": "up",
}  # fmt: skip
"""The keys that take an edit, and the way the cursor goes then."""


class EditingScreen(SavingScreen):
    """A screen with a table, and the bar in which its cells are edited."""

    _described: Any = None

    @property
    def table(self) -> CellGrid:
        """The table."""
        return self.query_one(CellGrid)

    @property
    def bar(self) -> EditBar:
        """The bar."""
        return self.query_one(EditBar)

    def say(self, words: str, *, fault: bool = False) -> None:
        """Show a message in words in the edit bar."""
        self.bar.say(words, fault=fault)

    # What each screen knows of its cells

    def show_document(self) -> None:
        """Show the document as it is now."""
        raise NotImplementedError

    def cell_words(self) -> tuple[str, str, str]:
        """Return what the selected cell is, what it holds, and what may be written into it."""
        raise NotImplementedError

    def explain(self) -> None:
        """Say what is worth knowing of the selected cell."""
        raise NotImplementedError

    def takes_text(self, typed: str | None) -> bool:
        """Whether the selected cell is written in; if not, its own thing is done or said."""
        raise NotImplementedError

    def retyped(self, text: str) -> Any:
        """Return the document's state with a text in the selected cell; may refuse it."""
        raise NotImplementedError

    def refusal(self, error: FiringError) -> str:
        """Return a refusal in the screen's words."""
        return str(error)

    def keep(self) -> str:
        """Keep a change against a crash; returns what stands in the way of that."""
        return ""

    def aside(self, before: Any) -> str:
        """Return what else a change from `before` has brought about."""
        return ""

    # The cursor

    def describe(self) -> None:
        """Say in the bar what the selected cell is."""
        self._described = self.table.place
        self.bar.describe(*self.cell_words())

    def on_list_grid_moved(self, message: CellGrid.Moved) -> None:
        """Follow the cursor with the bar."""
        message.stop()
        self._follow()

    def _follow(self) -> None:
        # Once for each move, at once if a key made it: its message may come after the next edit.
        if self.table.place != self._described:
            self.document.cursor = self.table.place
            self.describe()
            self.explain()

    def on_cell_grid_pressed(self, message: CellGrid.Pressed) -> None:
        """Do what a key means now."""
        message.stop()
        if self.bar.editing:
            self._press_in_cell(message.key, message.typed)
        else:
            self.press_in_table(message.key, message.typed)

    def press_in_table(self, key: str, typed: str | None) -> None:
        """Do what a key means on the selected cell."""
        table = self.table
        if key in ("up", "down"):
            table.action_step(1 if key == "down" else -1)
        elif key in ("left", "right"):
            table.across(1 if key == "right" else -1)
        elif key in ("tab", "shift+tab"):
            table.go_on(1 if key == "tab" else -1)
        else:
            self._begin(None if key == "enter" else typed or "")
            return
        self._follow()

    def _press_in_cell(self, key: str, typed: str | None) -> None:
        """Do what a key means that was pressed before the bar had the focus for it."""
        cell = self.bar.cell
        if typed is not None:
            cell.replace(typed, *sorted(cell.selection))
        elif key in _LEAVING:
            self._leave(_LEAVING[key])
        elif key == "backspace":
            cell.action_delete_left()
        elif key in ("left", "right"):
            cell.cursor_position += 1 if key == "right" else -1

    # An edit

    def _begin(self, typed: str | None) -> None:
        """Edit the selected cell, beginning with what was typed, or with what it holds."""
        if self.takes_text(typed):
            self.describe()
            self.say("")
            self.bar.begin(self.cell_words()[1] if typed is None else typed)

    def on_input_changed(self, message: CellInput.Changed) -> None:
        """Say while typing what would be refused."""
        message.stop()
        if self.bar.editing:
            self.say(self._typed()[1])

    def _typed(self) -> tuple[Any, str]:
        """Return the state with what is typed, or None and why not."""
        try:
            return self.retyped(self.bar.cell.value), ""
        except FiringError as error:
            return None, self.refusal(error)

    def settle(self) -> bool:
        """Take an edit under way; returns whether none is left."""
        if not self.bar.editing:
            return True
        state, trouble = self._typed()
        if state is None:
            self.say(f"Not taken: {trouble}", fault=True)
            self.bar.cell.action_select_all()
            return False
        self.set_focus(self.table)
        self.apply(state, self.cell_words()[0])
        return True

    def on_cell_input_left(self, message: CellInput.Left) -> None:
        """Take what was typed, and go on in its direction."""
        message.stop()
        self._leave(message.way)

    def _leave(self, way: str) -> None:
        if not self.settle():
            return
        if way in ("up", "down"):
            self.table.action_step(1 if way == "down" else -1)
        elif way in ("left", "right"):
            self.table.go_on(1 if way == "right" else -1)
        self._follow()

    def on_cell_input_dropped(self, message: CellInput.Dropped) -> None:
        """Leave the cell as it was."""
        message.stop()
        self.set_focus(self.table)
        self.describe()
        self.say("Left as it was.")

    def on_descendant_blur(self) -> None:
        """Put the cell's own value back if an edit was left with the mouse."""
        if not self.bar.editing:
            self.describe()

    # Changes

    def apply(self, state: Any, label: str, place: Any = None) -> None:
        """Take a change, put the cursor on a place, and say what was changed."""
        before = self.document.state
        self.document.cursor = self.table.place
        if not self.document.apply(state, label, place):
            self.describe()
            self.say("Nothing changed.")
            return
        self._show_change(f"Changed: {label}.{self.aside(before)}  ^Z takes it back.")

    def _show_change(self, words: str) -> None:
        trouble = self.keep()
        self.show_document()
        self.table.select(self.document.cursor)
        self.describe()
        self.say(words)
        if trouble:
            self.say(f"No copy against a crash: {trouble}", fault=True)

    def on_cell_grid_asked(self, message: CellGrid.Asked) -> None:
        """Do what is asked for with the selected line."""
        message.stop()
        self.do(message.what)

    def do(self, what: str) -> None:
        """Add, copy, remove or move the selected line, or say why not."""
        if not self.settle():
            return
        try:
            self.rearrange(what)
        except FiringError as error:
            self.say(f"Not done: {error}", fault=True)

    def rearrange(self, what: str) -> None:
        """Add, copy, remove or move the selected line; may be refused."""
        raise NotImplementedError

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        document = self.document
        if action == "undo":
            return document.undo_label is not None
        if action == "redo":
            return document.redo_label is not None
        if action == "save":
            return document.changed or document.path is None or self.bar.editing
        return True

    def action_undo(self) -> None:
        """Take back the last change."""
        self._travel(self.document.undo(), "Taken back")

    def action_redo(self) -> None:
        """Make the change again."""
        if self.settle():
            self._travel(self.document.redo(), "Made again")

    def _travel(self, label: str | None, done: str) -> None:
        if label is not None:
            self._show_change(f"{done}: {label}.")
