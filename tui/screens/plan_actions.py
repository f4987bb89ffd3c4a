"""What is done with a plan: its segments, what it is fired with, its design, card and watch."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from functools import partial

from textual import work
from textual.message import Message

from firing.errors import FiringError
from firing.schedule.schedule import Schedule

from .. import edits, segment_table
from ..document import PlanDocument, Selection
from ..equipment import (
    Equipment,
    FileReading,
    Kind,
    memory_file,
    read_all,
    remember,
    with_file,
)
from ..fixing import CURE_WORDS, Cure, Cured, as_the_kiln_climbs, cure_for, made_safe
from ..widgets.segments import Segments
from .dialogs import in_progress
from .editing import EditingScreen
from .plan_host import PlanHost


class PlanActionsScreen(EditingScreen, PlanHost):
    """A screen on which the plan is edited and set out in a kiln."""

    class EquipmentRead(Message):
        """What was chosen the last time has been read."""

        def __init__(self, reading: FileReading) -> None:
            super().__init__()
            self.reading = reading

    # The segments

    @property
    def document(self) -> PlanDocument:
        """The open plan."""
        return self.session.document

    @property
    def table(self) -> Segments:
        """Its segments."""
        return self.query_one(Segments)

    @property
    def unsaved_words(self) -> str:
        """The sentence that says there is something to lose."""
        return f"“{self.document.schedule.title}” has changes that are in no file."

    def cell_words(self) -> tuple[str, str, str]:
        """Return what the selected cell is, what it holds, and what may be written into it."""
        place, schedule = self.table.place, self.document.schedule
        field = segment_table.editable(place.row, place.column)
        return (
            segment_table.cell_label(schedule, place.row, place.column),
            "" if field is None else edits.cell_text(schedule, place.row, field),
            segment_table.limits(place.column, schedule.unit, place.row),
        )

    def explain(self) -> None:
        """Say what is worth knowing of the selected cell."""
        place, forecast = self.table.place, self.session.forecast
        self.say(segment_table.explain(self.document.schedule, forecast, place.row, place.column))

    def takes_text(self, typed: str | None) -> bool:
        """Whether the selected cell is written in; one that is computed says so."""
        place = self.table.place
        if segment_table.editable(place.row, place.column) is None:
            words = segment_table.explain(self.document.schedule, None, place.row, place.column)
            self.say(words, fault=True)
            return False
        return True

    def retyped(self, text: str) -> Schedule:
        """Return the plan with a text in the selected cell; may refuse it."""
        place, schedule = self.table.place, self.document.schedule
        field = segment_table.editable(place.row, place.column)
        return schedule if field is None else edits.retyped(schedule, place.row, field, text)

    def keep(self) -> str:
        """Keep a change against a crash; returns what stands in the way of that."""
        self.session.keep()
        return self.session.journal.trouble

    def aside(self, before: Schedule) -> str:
        """Return that the peak has moved, if it has."""
        return segment_table.peak_words(before, self.document.schedule)

    def rearrange(self, what: str) -> None:
        """Insert, copy, remove or move the selected segment; may be refused."""
        place = self.table.place
        done, label, row = edits.rearranged(self.document.schedule, what, place.row)
        # A new line is written from its first figure on.
        stays = what != "new" and segment_table.editable(row, place.column)
        column = place.column if stays else "rate"
        self.apply(done, label, Selection(row, column))

    def on_list_grid_chosen(self, message: Segments.Chosen) -> None:
        """A click selects; nothing more happens."""
        message.stop()

    def action_unit(self) -> None:
        """Write the plan in the other unit."""
        if self.settle():
            done = edits.switch_unit(self.document.schedule)
            self.apply(done, f"the plan in °{done.unit}")

    # What it is fired with

    def read_coming(self) -> None:
        """Have what was chosen the last time read, out of the keys' way."""
        if self.session.coming:
            self._read_coming()

    @work(thread=True, group="equipment")
    def _read_coming(self) -> None:
        self.post_message(self.EquipmentRead(read_all(self.session.coming)))

    def on_plan_actions_screen_equipment_read(self, message: EquipmentRead) -> None:
        """Forecast the plan with what was read, and say what could not be."""
        message.stop()
        self.session.coming = {}
        self._set(message.reading.equipment)
        if message.reading.troubles:
            troubles = "; ".join(message.reading.troubles.values())
            self.say(f"Forecast without it: {troubles}; ^K chooses again.", fault=True)

    def _set(self, equipment: Equipment) -> None:
        self.session.circumstances = replace(self.session.circumstances, equipment=equipment)
        self.show_document()

    def action_equipment(self) -> None:
        """Choose what the plan is fired with."""
        if self.settle():
            self.job(self._equipment_job)

    async def all_read(self) -> None:
        """Wait until what was chosen the last time has been read."""
        while self.session.coming:
            await asyncio.sleep(0.02)

    async def _equipment_job(self) -> None:
        await self.choose_equipment()

    async def choose_equipment(self, kind: Kind = "kiln") -> None:
        """Let what the plan is fired with be chosen, and keep that for the next time."""
        from .equipment import choose_equipment

        await self.all_read()
        equipment = await choose_equipment(self, kind)
        if equipment is not None:
            await self._take_and_keep(equipment)

    async def describe_equipment(self, kind: Kind) -> None:
        """Let something new be described in a form, and take it once it is saved."""
        from .form import edit_file

        saved = await edit_file(self, kind, None)
        if saved is not None:
            before = self.session.circumstances.equipment
            await self._take_and_keep(await asyncio.to_thread(with_file, before, kind, saved))

    async def _take_and_keep(self, equipment: Equipment) -> None:
        self.take_equipment(equipment)
        file = memory_file(self.session.journal.folder)
        trouble = await asyncio.to_thread(remember, file, equipment.names)
        if trouble:
            self.say(trouble, fault=True)

    def take_equipment(self, equipment: Equipment) -> None:
        """Forecast the plan with another kiln, load, controller or tariff."""
        self._set(equipment)
        self.say("Taken.")

    def action_without_load(self) -> None:
        """Go on without a load that does not fit the plan, now and the next time."""
        if self.settle():
            self.job(self._without_load_job)

    async def _without_load_job(self) -> None:
        equipment = replace(self.session.circumstances.equipment, load=None)
        await self._take_and_keep(equipment)

    def action_design(self) -> None:
        """Have a plan made for the load."""
        if self.settle():
            self.job(self._design_job)

    async def _design_job(self) -> None:
        from .comparison import design_plan

        schedule = await design_plan(self)
        if schedule is not None:
            self.apply(schedule, "the designed plan", Selection())

    @property
    def cure(self) -> Cure | None:
        """What mends the gravest warning of the forecast that the plan can mend."""
        return cure_for(self.session.forecast, self.session.fitting)

    def action_fix(self) -> None:
        """Fix the gravest warning that a change of the plan mends."""
        if self.settle():
            self.job(self._fix_job)

    async def _fix_job(self) -> None:
        forecast, cure = self.session.forecast, self.cure
        schedule = self.document.schedule
        if forecast is None or cure is None or not self.up_to_date:
            self.say("There is no warning that a change of the plan fixes.")
            return
        if cure == "cone":
            await self._to_cone_job()
            return
        equipment = self.session.fitting
        make: Callable[[], Cured]
        if cure == "ware":
            make = partial(made_safe, schedule, equipment)
        else:
            make = partial(as_the_kiln_climbs, forecast, equipment)
        found = await in_progress(self, f"Looking for what {CURE_WORDS[cure]}", make)
        if found is None:
            return
        if schedule != self.document.schedule:
            raise FiringError("the plan has changed meanwhile; ask again")
        self.apply(edits.checked(found.schedule), found.label, self.table.place)
        if found.words.strip():
            self.say(f"Changed: {found.label}.  {found.words.strip()}  ^Z takes it back.")

    def action_to_cone(self) -> None:
        """Set the rate, the peak or the hold that brings the plan's cone down."""
        if self.settle():
            self.job(self._to_cone_job)

    async def _to_cone_job(self) -> None:
        from firing.cones.table import parse_cone
        from firing.forecast.cone_target import plan_for_cone

        from ..forecasting import forecast_plan

        schedule, circumstances = self.document.schedule, self.session.circumstances
        cone, fault = circumstances.target_cone or schedule.cone, ""
        while cone is None:
            typed = await self.prompt("Which cone is the plan for?", "6", fault)
            if typed is None:
                return
            try:
                cone = parse_cone(typed)
            except FiringError as error:
                fault = str(error)
        column = self.table.place.column
        changed = edits.CONE_CHANGES.get(column, "hold")
        self.say(f"Looking for the {changed} that brings cone {cone} down …")
        found = await asyncio.to_thread(
            plan_for_cone,
            replace(schedule, cone=cone),
            cone,
            changed,
            lambda plan: forecast_plan(plan, replace(circumstances, target_cone=cone)),
        )
        place = Selection(found.segment, column if column in edits.CONE_CHANGES else "hold")
        if schedule != self.document.schedule:
            raise FiringError("the plan has changed meanwhile; ask again")
        if found.schedule == schedule:
            self.say(f"{found.words} The plan has that already.")
            return
        self.apply(edits.checked(found.schedule), f"to cone {cone}", place)
        self.say(f"{found.words} All of the forecast is counted in.  ^Z takes it back.")

    def action_card(self) -> None:
        """Show the card to key the plan in from."""
        if self.settle():
            self.job(self._card_job)

    async def _card_job(self) -> None:
        from .card import show_card

        await show_card(self)

    def action_watch(self) -> None:
        """Go to the watch that is running, or ask what to watch."""
        if self.settle():
            from .watch import WatchScreen

            self.app.push_screen(WatchScreen(self.session))
