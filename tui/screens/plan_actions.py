"""What is done with a plan: its segments, what it is fired with, its design, card and watch."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from textual import events, work
from textual.message import Message

from firing.errors import FiringError
from firing.report.words import sentence
from firing.schedule.schedule import Schedule

from .. import edits, segment_table
from ..document import PlanDocument, Selection
from ..edits import HEAD_ROW
from ..equipment import (
    Circumstances,
    Equipment,
    FileReading,
    Kind,
    forecast_fitting,
    memory_file,
    read_all,
    remember,
    with_file,
)
from ..fixing import Cured, Offer, fixes, solutions, starting_to_end
from ..key_figures import comes_to
from ..widgets.grid import ListGrid
from ..widgets.segments import Offers, Segments
from .editing import EditingScreen
from .plan_host import PlanHost, Question

if TYPE_CHECKING:
    from firing.forecast.result import Forecast

    from ..session import Session


class PlanActionsScreen(EditingScreen, PlanHost):
    """A screen on which the plan is edited and set out in a kiln."""

    class EquipmentRead(Message):
        """What was chosen the last time has been read."""

        def __init__(self, reading: FileReading) -> None:
            super().__init__()
            self.reading = reading

    class Tried(Message):
        """A change was made aside, or why it could not be, with what it comes to."""

        def __init__(
            self,
            offer: Offer,
            question: Question,
            cured: Cured | None,
            ahead: Forecast | None,
            trouble: str,
        ) -> None:
            super().__init__()
            self.offer, self.question = offer, question
            self.cured, self.ahead, self.trouble = cured, ahead, trouble

    _fixes: tuple[Forecast | None, tuple[Offer, ...]] = (None, ())
    """The forecast, and what is to be fixed in it."""
    _trying: tuple[Offer, bool] | None = None
    """The change that is being made aside, and whether it is to be taken at once."""
    _tried: Tried | None = None
    """The change that is looked at."""
    _ends = "19:00"
    """When a program is to end, as it was last written."""

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._starts: list[tuple[int, datetime | None]] = []
        # The starts that were replaced, each with how many edits there were then.

    @property
    def offers(self) -> Offers:
        """The changes that can be had, under the table."""
        return self.query_one(Offers)

    def show_fixes(self) -> None:
        """Show what there is to fix in the rows that the table leaves empty."""
        raise NotImplementedError

    def share_rows(self, *, looking: bool = False) -> None:
        """Share the height between the table and the list under it."""
        raise NotImplementedError

    def show_ahead(self, ahead: Forecast | None) -> None:
        """Draw what a change would make of the plan; None takes it away."""
        raise NotImplementedError

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

    # Changes that can be had

    @property
    def fired_with(self) -> Circumstances:
        """What the forecast is made under: without a load that does not fit the plan."""
        return replace(self.session.circumstances, equipment=self.session.fitting)

    @property
    def fixes(self) -> tuple[Offer, ...]:
        """What of the plan is to be fixed, the gravest first."""
        forecast = self.session.forecast
        if self._fixes[0] is not forecast:
            self._fixes = forecast, fixes(forecast, self.fired_with)
        return self._fixes[1] if self.up_to_date else ()

    def action_fix(self) -> None:
        """Make the change that is looked at, or the gravest that there is."""
        if not self.settle():
            return
        offers = self.offers
        chosen = offers.chosen if offers.in_use else None
        helps = [offer for offer in self.fixes if offer.make is not None]
        if chosen is None or chosen.make is None:
            chosen = helps[0] if helps else None
        if chosen is None:
            self.say("There is no warning that a change of the plan fixes.")
        else:
            self.try_out(chosen, take=True)

    def action_to_fix(self) -> None:
        """Go to the list of what to fix, under the table."""
        if self.settle():
            self.look_at("To fix", self.fixes, "There is nothing to fix in this plan.")

    def look_at(self, heading: str, offers: tuple[Offer, ...], otherwise: str) -> None:
        """Let changes be looked at one by one, if there are any."""
        if not offers:
            self.say(otherwise)
            return
        self.offers.show(heading, offers)
        self.offers.go(1)
        self.share_rows(looking=True)
        self.set_focus(self.offers)

    def try_out(self, offer: Offer, *, take: bool = False) -> None:
        """Make a change aside, to look at it or to `take` it at once."""
        tried = self._tried
        if tried is not None and tried.offer is offer and tried.question == self._question():
            self._show_tried(tried, take=take)
            return
        self._trying = offer, take
        self.show_ahead(None)
        if offer.asks and take:
            self.job(self._end_job if offer.asks == "end" else self._load_job)
            return
        if offer.make is None:
            helps = "" if offer.asks else "  No change of the plan helps by itself."
            self.say(f"{offer.words}{helps}")
            return
        self.say(f"{offer.words}  One moment …")
        self._try_out(offer, self._question())

    @work(thread=True, group="trying", exclusive=True)
    def _try_out(self, offer: Offer, question: Question) -> None:
        cured, ahead, trouble = None, None, ""
        try:
            assert offer.make is not None
            cured = offer.make()
            cured = replace(cured, schedule=edits.checked(cured.schedule))
            under = question[1]
            if cured.started is not None:
                under = replace(under, started=cured.started)
            ahead, _ = forecast_fitting(cured.schedule, under)
        except FiringError as error:
            trouble = str(error)
        self.post_message(self.Tried(offer, question, cured, ahead, trouble))

    def on_plan_actions_screen_tried(self, message: Tried) -> None:
        """Show what a change would make of the plan, or take it if that was asked for."""
        message.stop()
        if self._trying is None or self._trying[0] is not message.offer:
            return
        take, self._trying = self._trying[1], None
        if message.question != self._question():
            self.say("The plan has changed meanwhile; ask again.", fault=True)
            return
        self._show_tried(message, take=take)

    def _show_tried(self, tried: Tried, *, take: bool) -> None:
        cured = tried.cured
        if cured is None:
            self.say(f"Not done: {tried.trouble}", fault=True)
            return
        if cured.schedule == self.document.schedule and cured.started is None:
            self.say(f"{cured.words or sentence(cured.label)}  The plan has that already.")
            return
        if not take:
            self._tried = tried
            self.show_ahead(tried.ahead)
            now = self.session.forecast
            words = cured.words.strip() or f"{sentence(cured.label)}."
            if now is not None and tried.ahead is not None and cured.started is None:
                words = f"{comes_to(now, tried.ahead)}  {words}"
            self.say(words)
            return
        self.leave_offers()
        if cured.started is not None:
            self._take_start(cured)
            return
        self.apply(cured.schedule, cured.label, self.table.place)
        if cured.words.strip():
            self.say(f"Changed: {cured.label}.  {cured.words.strip()}  ^Z takes it back.")

    def on_offers_taken(self, message: Offers.Taken) -> None:
        """Make the change that is looked at."""
        message.stop()
        if self.offers.chosen is not None:
            self.try_out(self.offers.chosen, take=True)

    def on_offers_dismissed(self, message: Offers.Dismissed) -> None:
        """Leave the plan as it is."""
        message.stop()
        self.leave_offers()
        self.describe()
        self.explain()

    def leave_offers(self) -> None:
        """Go back to the table, and show what there is to fix again."""
        self.set_focus(self.table)
        self._look_away()

    def _look_away(self) -> None:
        self._trying = self._tried = None
        self.show_ahead(None)
        self.show_fixes()

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        """Draw no change any more once the table is worked on again."""
        if event.widget is self.offers:
            self.share_rows()  # its lines are whole now, and may take two rows
        if event.widget is self.table and self._tried is not None:
            self._look_away()

    def on_list_grid_moved(self, message: ListGrid.Moved) -> None:
        """Follow the cursor: with the bar in the table, with the curve in the list under it."""
        if message.grid is not self.offers:
            super().on_list_grid_moved(message)
            return
        message.stop()
        if self.offers.chosen is not None:
            self.try_out(self.offers.chosen)

    def action_solve(self) -> None:
        """Show what can be solved for in the selected cell."""
        if self.settle():
            self.job(self._solve_job)

    async def _solve_job(self) -> None:
        forecast = self.session.forecast
        if forecast is None or not self.up_to_date:
            self.say("There is no forecast of this plan yet.", fault=True)
            return
        cone = await self._cone_wanted()
        place, schedule = self.table.place, self.document.schedule
        cell = place.row, place.column
        found = solutions(schedule, forecast, self.fired_with, cell, cone, self._ends)
        self.look_at("Solve for", found, "")

    async def _cone_wanted(self) -> str | None:
        """Return the cone the plan is for, asked for if it says none; None if none is."""
        from firing.cones.table import parse_cone

        cone, fault = self.session.circumstances.target_cone or self.document.schedule.cone, ""
        while cone is None:
            typed = await self.prompt("Which cone is the plan for?  esc: for none", "6", fault)
            if typed is None:
                return None
            try:
                cone = parse_cone(typed)
            except FiringError as error:
                fault = str(error)
        return cone

    async def _load_job(self) -> None:
        await self.choose_equipment("load")

    async def _end_job(self) -> None:
        forecast, fault = self.session.forecast, ""
        while forecast is not None:
            typed = await self.prompt("When is the program to end?", self._ends, fault)
            if typed is None:
                return
            try:
                starting_to_end(self.document.schedule, forecast, typed)
            except FiringError as error:
                fault = str(error)
                continue
            self._ends = typed
            self.leave_offers()
            schedule = self.document.schedule
            offers = solutions(schedule, forecast, self.fired_with, (HEAD_ROW, ""), None, typed)
            self.look_at("Solve for", offers, "")
            return

    # The start, which is no part of the plan's file

    def _take_start(self, cured: Cured) -> None:
        """Let the plan start at another moment; undo takes that back, too."""
        circumstances = self.session.circumstances
        self._starts.append((self.document.depth, circumstances.started))
        self.session.circumstances = replace(circumstances, started=cured.started)
        self.show_document()
        self.say(f"{cured.words}  ^Z takes it back.")

    def _start_is_last(self) -> bool:
        while self._starts and self._starts[-1][0] > self.document.depth:
            self._starts.pop()
        return bool(self._starts) and self._starts[-1][0] == self.document.depth

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        if action == "undo" and self._start_is_last():
            return True
        return super().check_action(action, parameters)

    def action_undo(self) -> None:
        """Take back the last change, of the plan or of its start."""
        if not self._start_is_last():
            super().action_undo()
            return
        _, started = self._starts.pop()
        self.session.circumstances = replace(self.session.circumstances, started=started)
        self.show_document()
        self.say("Taken back: the start.")

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
