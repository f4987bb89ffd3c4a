"""The logbook: kept firings, found by a word, opened, compared, and what they show together."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.binding import Binding, BindingType
from textual.message import Message

from firing.errors import FiringError
from firing.logbook.record import Filter, Firing
from firing.logbook.store import Logbook
from firing.review.overlay import MOST_FIRINGS

from ..document import PlanDocument
from ..kept import FoundFirings, course_lines, find, firing_entries
from ..widgets.curve import Curve
from ..widgets.lines import TitleLine
from .dialogs import PrintedText, in_progress
from .plan_host import PlanHost
from .walking import WalkedList, WalkScreen

if TYPE_CHECKING:
    from collections.abc import Iterable

    from firing.report.document import Report
    from firing.review.result import Review
    from firing.units import TemperatureUnit

    from ..review_entries import ReviewEntry
    from ..session import Session


def _counted(firings: int) -> str:
    return "1 firing" if firings == 1 else f"{firings:,} firings"


class LogbookList(WalkedList):
    """The firings, the newest first."""

    HELP_TITLE = "Firings"
    HELP_WORDS = (
        "A line has the day, the plan, the course as bars up to 1300 °C, and the hours.",
        "space marks a firing with *; c compares those marked, or the one marked with the one "
        "under the cursor.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "jump", "Open", tooltip="Read its review; a double click does it, too"),
    ]


class LogbookScreen(WalkScreen):
    """Kept firings beside the course of the one chosen."""

    list_kind = LogbookList
    HELP_TITLE = "Logbook"
    HELP_WORDS = ("^S on the review or on a watch keeps a firing here.",)
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("slash", "find", "Find", key_display="/",
                tooltip="Find firings by words in notes, plans and kilns, months, cone 6, late"),
        Binding("space", "mark", "Mark", tooltip="Mark the firing, or no longer"),
        Binding(
            "c", "lay_over", "Compare",
            tooltip="Lay the marked firings over each other; one marked, and the one chosen",
        ),
        Binding("p", "plan", "In plan", tooltip="Open the plan that the firing was fired by"),
        Binding("t", "trends", "Trends", tooltip="How the kiln's elements and thermocouple age"),
        Binding("f3", "unit", "°C/°F", tooltip="Show temperatures in the other unit"),
    ]  # fmt: skip

    class Came(Message):
        """What was looked for came back from the thread."""

        def __init__(self, text: str, found: FoundFirings | None, trouble: str) -> None:
            super().__init__()
            self.text, self.found, self.trouble = text, found, trouble

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self.text = ""
        """What is looked for."""
        self.found: FoundFirings | None = None
        """What is shown."""
        self._marked: list[int] = []
        self._unit: TemperatureUnit = session.document.schedule.unit
        self.pending = False
        """Whether the logbook is being read."""

    def on_mount(self) -> None:
        """List all firings."""
        if not self.query(Curve):
            return  # closed again by the very next key, before anything stood in it
        self.query_one(TitleLine).show("Logbook", "")
        self.query_one(Curve).placeholder = "no firing"
        self.walked.focus()
        self._look("")

    def _look(self, text: str) -> None:
        self.text, self.pending = text, True
        self._work(text)

    @work(thread=True, group="logbook", exclusive=True)
    def _work(self, text: str) -> None:
        found, trouble = None, ""
        try:
            found = find(text)
        except FiringError as error:
            trouble = str(error)
        self.post_message(self.Came(text, found, trouble))

    def on_logbook_screen_came(self, message: Came) -> None:
        """Show the firings found."""
        if message.text != self.text:
            return
        self.pending, self.found = False, message.found
        if message.found is None:
            self._answer(message.trouble, fault=True)
            return
        found = message.found
        self.query_one(TitleLine).show("Logbook", _counted(found.every))
        if not found.every:
            words = "The logbook is empty.  ^S on a review or a watch keeps a firing."
        elif not found.total:
            words = f"No firing has “{self.text}”.  esc shows all."
        else:
            words = _counted(found.total)
            words += f" with “{self.text}”.  esc shows all." if self.text else ", the newest first."
            if len(found.firings) < found.total:
                words += f"  The newest {len(found.firings)} are here; / finds the others."
        self._answer(words)
        self.query_one(Curve).clear()
        self._list_firings()
        self.walked.go(0)
        self._tell()

    def _list_firings(self) -> None:
        found = self.found
        if found is not None:
            self._entries = firing_entries(found.firings, self._marked, self._unit)
            self._list()
            self.refresh_bindings()

    @property
    def chosen(self) -> Firing | None:
        """The firing of the line under the cursor."""
        row, found = self.walked.row, self.found
        return found.firings[row] if found is not None and row < len(found.firings) else None

    def _tell(self, *, pointing: bool = True) -> None:
        super()._tell(pointing=pointing)
        one = self.chosen
        if one is None:
            self.say("")
        lines = None if one is None else course_lines(one, self._unit)
        if lines is not None:
            self.query_one(Curve).show(lines)

    def about(self, entry: ReviewEntry) -> Iterable[str]:
        """Return what there is to say of a firing, and first what c does with those marked."""
        if len(self._marked) == 1:
            yield "1 firing marked.  c compares it with the one under the cursor."
        elif self._marked:
            yield f"{len(self._marked)} firings marked.  c compares them."
        yield from entry.details

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        if action in ("mark", "trends", "jump"):
            return self.chosen is not None
        if action == "plan":
            return self.chosen is not None and bool(self.chosen.plan)
        if action == "lay_over":
            return self.found is not None and self.found.every > 0
        return True

    @property
    def _together(self) -> list[int]:
        """The firings marked, and the one chosen where one alone is marked."""
        one, marked = self.chosen, self._marked
        alone = len(marked) == 1 and one is not None and one.id not in marked
        return [*marked, one.id] if alone and one is not None else marked

    def action_mark(self) -> None:
        """Mark the firing, or no longer."""
        one = self.chosen
        if one is not None:
            if one.id in self._marked:
                self._marked.remove(one.id)
            else:
                self._marked.append(one.id)
            self._list_firings()
            self.walked.action_step(1)
            self._tell()

    def action_unit(self) -> None:
        """Show temperatures in the other unit."""
        self._unit = "F" if self._unit == "C" else "C"
        self._list_firings()
        self._tell()

    def action_out(self) -> None:
        """See all firings again, or go back if they are seen."""
        if self.text and not self.query_one(Curve).zoomed:
            self._look("")
        else:
            super().action_out()

    # Jobs

    def action_find(self) -> None:
        """Look for firings."""
        self.job(self._find_job)

    async def _find_job(self) -> None:
        words = "Find firings by words in notes, plans and kilns; March, cone 6, late:"
        text = await self.prompt(words, self.text)
        if text is not None:
            self._look(text)

    def jump(self) -> None:
        """Open the firing."""
        self.job(self._open_job)

    async def _open_job(self) -> None:
        from firing.logbook.keeping import review_of

        from .review import ReviewScreen

        one, unit = self.chosen, self._unit
        if one is None:
            return

        def read() -> Review:
            with Logbook.open(create=False) as book:
                return review_of(book.entry(one.id), unit)

        review = await in_progress(self, f"Reading {one.log}", read)
        if review is not None:
            self.app.push_screen(ReviewScreen(self.session, review))

    def action_lay_over(self) -> None:
        """Lay firings over each other, or say what is to be done first."""
        count = len(self._together)
        if count > MOST_FIRINGS:
            self.say(f"{count} firings are marked, and {MOST_FIRINGS} at most are compared.  "
                     "space on a firing takes its mark away.", fault=True)  # fmt: skip
        elif count < 2:
            marked = "One firing is" if count else "No firing is"
            self.say(f"{marked} marked.  space marks a firing; c compares two or more.", fault=True)
        else:
            self.job(self._compare_job)

    async def _compare_job(self) -> None:
        from firing.logbook.keeping import reviews_of

        from .overlay import OverlayScreen

        numbers, unit = list(self._together), self._unit

        def read() -> list[Review]:
            with Logbook.open(create=False) as book:
                return reviews_of(book, numbers, unit)

        reviews = await in_progress(self, f"Reading {len(numbers)} logs", read)
        if reviews is not None:
            self.app.push_screen(OverlayScreen(self.session, reviews))

    def action_trends(self) -> None:
        """Read how the kiln ages."""
        self.job(self._trends_job)

    async def _trends_job(self) -> None:
        one = self.chosen
        if one is None:
            return
        kiln, unit = one.kiln, self._unit

        def read() -> Report:
            from firing.logbook.wear import trends_of
            from firing.report.trends import trends_report

            with Logbook.open(create=False) as book:
                mine = [f for f in book.firings(Filter(kiln=kiln)) if kiln and f.kiln == kiln]
                return trends_report(
                    [trends_of(kiln, mine, book.events(kiln))] if mine else [], unit
                )

        report = await in_progress(self, "Looking at all firings of the kiln", read)
        if report is not None:
            from firing.report.text import render_text

            text = PrintedText("", lambda width: render_text(report, width=width))
            await self.app.push_screen_wait(text)

    def action_plan(self) -> None:
        """Open the firing's plan."""
        self.job(self._plan_job)

    async def _plan_job(self) -> None:
        from firing.schedule.file import parse_schedule

        one, host = self.chosen, self.app.screen_stack[0]
        if one is None or not isinstance(host, PlanHost):
            return

        def read() -> str:
            with Logbook.open(create=False) as book:
                return book.entry(one.id).plan_text

        text = await asyncio.to_thread(read)
        schedule = parse_schedule(text, one.plan)
        if await host.take_over(PlanDocument(schedule, schedule, base_text=text)):
            self.dismiss(None)
