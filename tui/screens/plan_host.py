"""The screen of the plan as its jobs see it: what they may ask of it, and its forecast.

The forecast is always of the newest plan, made in a thread and never in the keys' way.
"""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING

from textual import work
from textual.message import Message

from firing.errors import FiringError
from firing.schedule.schedule import Schedule

from ..equipment import (
    KINDS,
    Circumstances,
    Equipment,
    FileReading,
    Kind,
    forecast_fitting,
    ranges_known,
    reread,
    stages_known,
)
from .base import WorkScreen

if TYPE_CHECKING:
    from firing.forecast.result import Forecast

    from ..document import PlanDocument
    from ..session import Session

Question = tuple[Schedule, Circumstances]
"""What a forecast is asked of."""


_PAINTED_S = 0.03
"""A forecast is drawn before the search for its ranges takes the processor."""


class PlanHost(WorkScreen):
    """A screen that shows the open plan and its forecast, and on which jobs are done with it.

    One forecast is made at a time.  If the plan changes meanwhile, the next is of the plan as it is
    then; what came in between is never computed.
    """

    class ForecastCame(Message):
        """A forecast, or why there is none, came back from the thread."""

        def __init__(
            self,
            asked: Question,
            result: Forecast | None,
            trouble: str,
            reading: FileReading,
            load_left_out: str,
        ) -> None:
            super().__init__()
            self.asked, self.result, self.trouble = asked, result, trouble
            self.reading, self.load_left_out = reading, load_left_out

    class RangesCame(Message):
        """The ranges of the forecast shown have been found, or what happens along it."""

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._asking = False
        self._answered: Question | None = None
        self._ranged: Forecast | None = None
        self._told: dict[Kind, str] = {}
        self._told_load = ""
        if session.forecast is not None:
            self._answered = self._question()

    def _question(self) -> Question:
        return self.session.document.schedule, self.session.circumstances

    @property
    def up_to_date(self) -> bool:
        """Whether the forecast shown is of the plan shown."""
        return self._answered == self._question()

    # What jobs may ask

    async def all_read(self) -> None:
        """Wait until what was chosen the last time has been read."""
        raise NotImplementedError

    async def choose_equipment(self, kind: Kind = "kiln") -> None:
        """Let what the plan is fired with be chosen, beginning with one kind."""
        raise NotImplementedError

    async def describe_equipment(self, kind: Kind) -> None:
        """Let something new be described in a form, and take it once it is saved."""
        raise NotImplementedError

    async def take_over(self, document: PlanDocument) -> bool:
        """Go on with another plan, if the open one may be left; returns whether it is."""
        raise NotImplementedError

    def action_logbook(self) -> None:
        """Go to the logbook."""
        raise NotImplementedError

    async def needed(self, kind: Kind, why: str) -> bool:
        """Say what a job cannot do without and offer to choose it; returns whether there is one.

        `why` says what for, as the beginning of a sentence.
        """
        await self.all_read()
        if self.session.circumstances.equipment.of(kind) is None:
            question = f"{why}, and no {kind} is chosen."
            answer = await self.ask(
                question,
                ("choose", f"Choose the {kind}"),
                ("describe", f"Describe the {kind} in a form"),
                ("leave", "Leave the plan as it is"),
            )
            if answer == "choose":
                await self.choose_equipment(kind)
            elif answer == "describe":
                await self.describe_equipment(kind)
        return self.session.circumstances.equipment.of(kind) is not None

    # The forecast

    def show_forecast(self, result: Forecast | None, trouble: str) -> None:
        """Show a forecast, or why there is none."""
        raise NotImplementedError

    def show_ranges(self, result: Forecast) -> None:
        """Show a forecast's ranges, which came later than itself."""
        raise NotImplementedError

    def ask_forecast(self) -> None:
        """Have the open plan forecast, if it is not yet."""
        if self.up_to_date and self.session.forecast is not None:
            self._show(self.session.forecast, "")
        elif not self._asking:
            self._asking = True
            self._compute(self._question())

    @work(thread=True, group="forecast")
    def _compute(self, question: Question) -> None:
        schedule, circumstances = question
        reading = reread(circumstances.equipment)
        result, trouble, left_out = None, "", ""
        try:
            result, left_out = forecast_fitting(
                schedule, replace(circumstances, equipment=reading.equipment)
            )
            _ = result.stages  # found here, and not in the keys' way
        except FiringError as error:
            trouble = str(error)
        self.post_message(self.ForecastCame(question, result, trouble, reading, left_out))

    def on_plan_host_forecast_came(self, message: ForecastCame) -> None:
        """Show a forecast, or ask again if the plan has changed meanwhile."""
        self._asking = False
        if message.asked != self._question():
            self.ask_forecast()
            return
        before, reading = self.session.circumstances.equipment, message.reading
        if reading.equipment is not before:
            self.session.circumstances = replace(
                self.session.circumstances, equipment=reading.equipment
            )
        self._answered, self.session.forecast = self._question(), message.result
        self.session.load_left_out = message.load_left_out
        self._show(message.result, message.trouble)
        self._tell_load(message.load_left_out)
        self._tell_files(before, reading)

    def _show(self, result: Forecast | None, trouble: str) -> None:
        self.show_forecast(result, trouble)
        whole = result is None or (ranges_known(result) and stages_known(result))
        if not whole and result is not self._ranged:
            self._ranged = result
            self._find_ranges(result)

    @work(thread=True, group="ranges")
    def _find_ranges(self, result: Forecast) -> None:
        """Find how far off the forecast may be, behind its picture, as long as it is the newest."""
        time.sleep(_PAINTED_S)
        if not stages_known(result):
            _ = result.stages
            self.post_message(self.RangesCame())
        if (
            not ranges_known(result)
            and result.kiln is not None
            and result.kiln.find_ranges(lambda: self.is_running and self.session.forecast is result)
        ):
            self.post_message(self.RangesCame())

    def on_plan_host_ranges_came(self) -> None:
        """Show the ranges, if they are still of the plan shown."""
        if self.up_to_date and self.session.forecast is not None:
            self.show_ranges(self.session.forecast)

    def _tell_load(self, left_out: str) -> None:
        """Say once that the load does not fit the plan, and the two ways on."""
        new, self._told_load = left_out != self._told_load, left_out
        if left_out and new:
            self.say(
                f"Forecast without the load: {left_out}.  ^U leaves it out; ^K chooses another; "
                "F2 changes the purpose.",
                fault=True,
            )

    def _tell_files(self, before: Equipment, reading: FileReading) -> None:
        """Say once of every file that it changed on disk, or what is wrong with it now."""
        changed = [
            found.name
            for kind in KINDS
            if (found := reading.equipment.of(kind)) is not before.of(kind) and found is not None
        ]
        if changed:
            self.say(f"Changed on disk and read again: {', '.join(changed)}.")
        new = [words for kind, words in reading.troubles.items() if self._told.get(kind) != words]
        self._told = reading.troubles
        if new:
            self.say(f"Forecast with what was read before: {'; '.join(new)}", fault=True)
