"""Editing the open plan: a cell in the bar, segments in the table, and undo."""

from __future__ import annotations

from firing.errors import FiringError
from firing.schedule.schedule import Schedule

from .. import edits
from .. import segment_table as table
from ..document import Selection
from ..widgets.editbar import CellInput, EditBar
from ..widgets.segments import Segments
from .plan_host import PlanHost


class EditingScreen(PlanHost):
    """A screen with the segment table and the edit bar."""

    def say(self, words: str, *, fault: bool = False) -> None:
        """Show a message in words in the edit bar."""
        self.query_one(EditBar).say(words, fault=fault)

    def show_plan(self) -> None:
        """Show the plan as it is now."""
        raise NotImplementedError

    def describe(self) -> None:
        """Say in the bar what the selected cell is."""
        selection, schedule = self.query_one(Segments).selection, self.session.document.schedule
        row, key = selection.row, selection.column
        field = table.editable(row, key)
        self.query_one(EditBar).describe(
            table.place_words(schedule, row, key),
            "" if field is None else edits.cell_text(schedule, row, field),
            table.limits(key, schedule.unit, row),
        )

    def on_list_grid_moved(self, message: Segments.Moved) -> None:
        """Follow the cursor with the bar and the cross-hair."""
        message.stop()
        selection = self.query_one(Segments).selection
        self.session.document.cursor = selection
        self.describe()
        schedule = self.session.document.schedule
        self.say(
            table.explain(schedule, self.session.forecast, selection.row, selection.column) or ""
        )

    def on_list_grid_chosen(self, message: Segments.Chosen) -> None:
        """A click selects; nothing more happens."""
        message.stop()

    def on_segments_begin(self, message: Segments.Begin) -> None:
        """Edit the selected cell in the bar."""
        selection, document = self.query_one(Segments).selection, self.session.document
        field = table.editable(selection.row, selection.column)
        if field is None:
            self.say(
                table.explain(document.schedule, None, selection.row, selection.column), fault=True
            )
            return
        typed = message.typed
        bar = self.query_one(EditBar)
        if bar.editing:
            if typed is None:
                self.settle()
            else:
                bar.cell.insert_text_at_cursor(typed)
            return
        value = edits.cell_text(document.schedule, selection.row, field) if typed is None else typed
        self.describe()
        self.say("")
        self.query_one(EditBar).begin(value)

    def on_input_changed(self, message: CellInput.Changed) -> None:
        """Say while typing what would be refused."""
        message.stop()
        if self.query_one(EditBar).begun:
            _, trouble = self._typed()
            self.say(trouble)

    def _typed(self) -> tuple[Schedule | None, str]:
        """Return the plan with what is typed, or None and why not."""
        selection = self.query_one(Segments).selection
        field = table.editable(selection.row, selection.column)
        text = self.query_one(EditBar).cell.value
        if field is None:
            return None, ""
        try:
            schedule = self.session.document.schedule
            return edits.retyped(schedule, selection.row, field, text), ""
        except FiringError as error:
            return None, str(error)

    def settle(self) -> bool:
        """Take an edit under way; returns whether none is left."""
        bar = self.query_one(EditBar)
        if not bar.editing:
            return True
        schedule, trouble = self._typed()
        if schedule is None:
            self.say(f"Not taken: {trouble}", fault=True)
            return False
        selection = self.query_one(Segments).selection
        bar.end()
        self.query_one(Segments).focus()
        label = table.place_words(schedule, selection.row, selection.column)
        self.apply(schedule, label)
        self.describe()
        return True

    def on_cell_input_left(self, message: CellInput.Left) -> None:
        """Take what was typed, and go on in its direction."""
        if not self.settle():
            return
        segments = self.query_one(Segments)
        step = {"left": (0, -1), "right": (0, 1), "up": (-1, 0), "down": (1, 0)}
        if message.way in step:
            down, across = step[message.way]
            segments.action_across(across) if across else segments.action_step(down)

    def on_cell_input_dropped(self) -> None:
        """Leave the cell as it was."""
        self.query_one(EditBar).end()
        self.query_one(Segments).focus()
        self.describe()
        self.say("Left as it was.")

    def on_descendant_blur(self) -> None:
        """Put the cell's own value back if an edit was left with the mouse."""
        if not self.query_one(EditBar).editing:
            self.describe()

    def apply(self, schedule: Schedule, label: str, selection: Selection | None = None) -> None:
        document = self.session.document
        before = document.schedule
        if not document.apply(schedule, label, selection):
            self.say("Nothing changed.")
            return
        self.session.keep()
        self.show_plan()
        if selection is not None:
            self.query_one(Segments).select(selection)
            self.describe()
        jumps = table.peak_words(before, schedule)
        self.say(f"Changed: {label}.{jumps}  ^Z takes it back.")
        if self.session.journal.trouble:
            self.say(f"No copy against a crash: {self.session.journal.trouble}", fault=True)

    def on_segments_asked(self, message: Segments.Asked) -> None:
        """Insert, copy, remove or move the selected segment."""
        if not self.settle():
            return
        selection, schedule = self.query_one(Segments).selection, self.session.document.schedule
        try:
            done, label, row = edits.rearranged(schedule, message.what, selection.row)
        except FiringError as error:
            self.say(f"Not done: {error}", fault=True)
            return
        column = selection.column
        if table.editable(row, column) is None:
            column = "rate"
        self.apply(done, label, Selection(row, column))

    def action_undo(self) -> None:
        """Take back the last change."""
        self._travel(self.session.document.undo(), "Taken back")

    def action_redo(self) -> None:
        """Make the change again."""
        self._travel(self.session.document.redo(), "Made again")

    def _travel(self, label: str | None, done: str) -> None:
        if label is None:
            return
        self.session.keep()
        self.show_plan()
        self.query_one(Segments).select(self.session.document.cursor)
        self.describe()
        self.say(f"{done}: {label}.")

    def action_unit(self) -> None:
        """Write the plan in the other unit."""
        if self.settle():
            done = edits.switch_unit(self.session.document.schedule)
            self.apply(done, f"the plan in °{done.unit}")
            self.describe()
