"""Several firings of the open plan over each other, by their segments or by the clock."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.binding import Binding, BindingType
from textual.message import Message

from firing.errors import FiringError
from firing.review.overlay import MOST_FIRINGS, overlay

from ..plot_lines import overlay_lines
from ..reading_fields import in_fields
from ..review_entries import overlay_entries
from ..session import LogChoice, review_log
from ..widgets.curve import Curve
from ..widgets.lines import TitleLine
from .walking import WalkScreen

if TYPE_CHECKING:
    from collections.abc import Sequence

    from firing.review.overlay import Align, Overlay
    from firing.review.result import Review
    from firing.schedule.schedule import Schedule

    from ..equipment import Equipment
    from ..session import Session


class OverlayScreen(WalkScreen):
    """Up to six logs set against the open plan, and their courses over each other."""

    HELP_TITLE = "Compare"
    HELP_WORDS = (
        "Every firing has a letter, in the list and on its line.",
        "By segment: each begins at one place for all; a line is open where it waits.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+o", "choose", "Add a log", tooltip="Add the log of another firing"),
        Binding("delete", "remove", "Take out", tooltip="Take the firing of this line out"),
        Binding("s", "align", "By clock", tooltip="Lay them over each other by segment or clock"),
        Binding("f8", "page", "Page", tooltip="Write the comparison as a page for a browser"),
        Binding("f7", "back", "Back", tooltip="Back to where you came from"),
    ]

    class Read(Message):
        """A log was reviewed, or cannot be."""

        def __init__(self, choice: LogChoice, review: Review | None, trouble: str) -> None:
            super().__init__()
            self.choice, self.review, self.trouble = choice, review, trouble

    def __init__(self, session: Session, kept: Sequence[Review] = ()) -> None:
        super().__init__(session)
        self._align: Align = "segment"
        self._of_logbook = bool(kept)
        self._reviews: list[tuple[LogChoice | None, Review]] = [(None, one) for one in kept]
        self.found: Overlay | None = None
        """What is shown."""
        self.pending = 0
        """How many logs are being read."""

    def on_mount(self) -> None:
        """Read what was compared last, or begin with the log under review."""
        if not self.query(Curve):
            return  # closed again by the very next key, before anything stood in it
        session = self.session
        self.query_one(Curve).placeholder = "two logs are needed"
        self.walked.focus()
        if self._of_logbook:
            self._show()
            return
        if session.log is not None and session.log not in session.compared:
            session.compared = [session.log, *session.compared][:MOST_FIRINGS]
        self._show()
        self._read(session.compared)
        if len(session.compared) < 2:
            self.action_choose()

    def _read(self, choices: Sequence[LogChoice]) -> None:
        document, circumstances = self.session.document, self.session.circumstances
        for choice in choices:
            self.pending += 1
            self._work(choice, document.schedule, circumstances.equipment)

    @work(thread=True, group="overlay")
    def _work(self, choice: LogChoice, schedule: Schedule, equipment: Equipment) -> None:
        review, trouble = None, ""
        try:
            review = review_log(schedule, choice, equipment)
        except FiringError as error:
            trouble = in_fields(str(error))
        self.post_message(self.Read(choice, review, trouble))

    def on_overlay_screen_read(self, message: Read) -> None:
        """Show it with the others, in the order they were chosen."""
        self.pending -= 1
        compared = self.session.compared
        if message.review is not None and message.choice in compared:
            self._reviews.append((message.choice, message.review))
            self._reviews.sort(key=lambda read: compared.index(read[0]) if read[0] else 0)
        elif message.choice in compared:
            compared.remove(message.choice)
        self._show()
        if message.trouble:
            self.say(f"Left out: {message.trouble}.", fault=True)

    def _show(self) -> None:
        reviews, curve = [review for _, review in self._reviews], self.query_one(Curve)
        self.found = overlay(reviews, self._align) if len(reviews) > 1 else None
        count = f"{len(reviews)} firing{'' if len(reviews) == 1 else 's'}"
        schedule = reviews[0].schedule if reviews else self.session.document.schedule
        self.query_one(TitleLine).show(f"Compare: {schedule.title}", count)
        if self.found is None:
            self._entries, self._row_entries = (), []
            self.walked.fill([], [])
            curve.clear()
            reading = "Reading …" if self.pending else f"{count}.  ^O adds the log of another."
            self._answer(reading)
        else:
            by = (
                "segment: each begins at one place for all"
                if self.found.align == "segment"
                else ("the clock: hours since each began to heat")
            )
            self._answer(f"{self.found.remarks[0]}\nBy {by}.")
            curve.show(overlay_lines(self.found), keep=True)
            self._walk(overlay_entries(self.found))
        self.refresh_bindings()

    # Jobs

    @property
    def _chosen(self) -> int | None:
        """The place of the firing whose line is chosen."""
        entry, found = self._current(), self.found
        letters = "" if found is None else "".join(firing.letter for firing in found.firings)
        row = self.walked.row
        within = entry is not None and entry.segment is None and 0 < row <= len(letters)
        return letters.index(entry.words[0]) if within and entry is not None else None

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        if action == "remove":
            return self._chosen is not None
        if action in ("align", "page"):
            return self.found is not None
        if action == "choose":
            return not self._of_logbook and len(self.session.compared) < MOST_FIRINGS
        return True

    def action_align(self) -> None:
        """Lay them over each other the other way."""
        self._align = "clock" if self._align == "segment" else "segment"
        self._show()

    def action_remove(self) -> None:
        """Take a firing out."""
        at = self._chosen
        if at is not None:
            choice, _ = self._reviews.pop(at)
            if choice is not None:
                self.session.compared.remove(choice)
            self._show()

    def action_choose(self) -> None:
        """Add a log."""
        self.job(self._choose_job)

    async def _choose_job(self) -> None:
        from .file_chooser import FileChooser

        compared = self.session.compared
        folder = compared[-1].path.resolve().parent if compared else self.session.folder
        choice = await self.app.push_screen_wait(FileChooser("log", folder))
        if choice is None or choice.path is None:
            return
        added = LogChoice(Path(choice.path))
        if added in compared:
            self.say(f"{added.path.name} is there already.", fault=True)
            return
        compared.append(added)
        self._read([added])

    def action_page(self) -> None:
        """Write the comparison as a page."""
        self.job(self._page_job)

    async def _page_job(self) -> None:
        found = self.found
        if found is None:
            return

        def page() -> str:
            from firing.report.page import render_page
            from firing.report.review import overlay_report

            return render_page(overlay_report(found))

        await self.hand_out("firings-compared.html", page)
