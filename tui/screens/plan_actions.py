"""What is done with a plan as a whole: what it is fired with, its design, its card, its watch."""

from __future__ import annotations

import asyncio
from dataclasses import replace

from textual import work
from textual.message import Message

from ..document import Selection
from ..equipment import Equipment, FileReading, Kind, memory_file, read_all, remember
from .editing import EditingScreen


class PlanActionsScreen(EditingScreen):
    """A screen from which the plan is set out in a kiln."""

    class Came(Message):
        """What was chosen the last time has been read."""

        def __init__(self, reading: FileReading) -> None:
            super().__init__()
            self.reading = reading

    def read_coming(self) -> None:
        """Have what was chosen the last time read, out of the keys' way."""
        if self.session.coming:
            self._read_coming()

    @work(thread=True, group="studio")
    def _read_coming(self) -> None:
        self.post_message(self.Came(read_all(self.session.coming)))

    def on_plan_actions_screen_came(self, message: Came) -> None:
        """Forecast the plan with what was read, and say what could not be."""
        message.stop()
        self.session.coming = {}
        self._set(message.reading.studio)
        if message.reading.troubles:
            troubles = "; ".join(message.reading.troubles.values())
            self.say(f"Forecast without it: {troubles}; ^K chooses again.", fault=True)

    def _set(self, studio: Equipment) -> None:
        self.session.circumstances = replace(self.session.circumstances, studio=studio)
        self.show_plan()

    def action_studio(self) -> None:
        """Choose what the plan is fired with."""
        if self.settle():
            self.job(self._studio_job)

    async def all_read(self) -> None:
        """Wait until what was chosen the last time has been read."""
        while self.session.coming:
            await asyncio.sleep(0.02)

    async def _studio_job(self) -> None:
        await self.choose_equipment()

    async def choose_equipment(self, kind: Kind = "kiln") -> None:
        """Let what the plan is fired with be chosen, and keep that for the next time.

        Parameters
        ----------
        kind : {"kiln", "load", "controller", "tariff"}
            What to begin with.
        """
        from .equipment import choose_equipment

        await self.all_read()
        studio = await choose_equipment(self, kind)
        if studio is None:
            return
        self.take_studio(studio)
        file = memory_file(self.session.journal.folder)
        trouble = await asyncio.to_thread(remember, file, studio.names)
        if trouble:
            self.say(trouble, fault=True)

    def take_studio(self, studio: Equipment) -> None:
        """Forecast the plan with another kiln, load, controller or tariff."""
        self._set(studio)
        self.say("Taken.")

    def action_design(self) -> None:
        """Have a plan made for the load."""
        if self.settle():
            self.job(self._design_job)

    async def _design_job(self) -> None:
        from .design import design_plan

        schedule = await design_plan(self)
        if schedule is not None:
            self.apply(schedule, "the designed plan", Selection())

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
