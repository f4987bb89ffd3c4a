"""The review: what a firing really did, its account walked together with its curve."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.binding import Binding, BindingType
from textual.message import Message

from firing.cones.table import describe_number
from firing.errors import FiringError

from ..document import Selection
from ..equipment import Circumstances, forecast_fitting
from ..plot_lines import review_lines, reviewed_at
from ..reading_fields import in_fields
from ..review_entries import ReviewEntry, review_entries, summary
from ..session import LogChoice, review_log
from ..widgets.curve import Curve
from ..widgets.lines import TitleLine
from .plan_host import PlanHost
from .walking import WalkedList, WalkScreen

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from firing.review.result import Mended, Review
    from firing.schedule.schedule import Schedule

    from ..equipment import Equipment
    from ..session import Session


class ReviewList(WalkedList):
    """The account, the findings, the segments and the cones."""

    HELP_TITLE = "Account"
    HELP_WORDS = (
        "█ made the firing longer, ▒ shorter; the minutes add up to the difference.",
        "A letter stands on the curve, and ━ under it, where most of that time went.",
        *WalkedList.HELP_WORDS,
    )


class ReviewScreen(WalkScreen):
    """A log set against the open plan."""

    HELP_TITLE = "Review"
    HELP_WORDS = (
        "The log is set against the plan as it is now, saved or not, and against what the kiln and "
        "load chosen on the plan (^K there) could have done.",
    )
    list_kind = ReviewList
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+o", "choose", "Choose a log", tooltip="Choose the log of the firing"),
        Binding(
            "f2", "reading", "Reading",
            tooltip="Channel, unit, time unit, date order and intended start of the log",
        ),
        Binding(
            "ctrl+f", "fix", "Fix plan",
            tooltip="Take rates that the kiln keeps into the open plan, for the same cone; ^Z "
            "there undoes it",
        ),
        Binding("ctrl+s", "keep", "Keep", tooltip="Keep the firing in the logbook"),
        Binding("p", "in_plan", "In plan", tooltip="Go to this segment in the plan"),
        Binding("c", "compare", "Compare", tooltip="Lay other firings of the plan over this one"),
        Binding("f4", "findings", "Findings", tooltip="Read all findings, with their sources"),
        Binding("f8", "page", "Page", tooltip="Write the review as a page for a browser"),
        Binding(
            "f11,ctrl+b", "logbook", "Logbook", tooltip="Find, open and compare kept firings"
        ),
    ]  # fmt: skip

    class ReviewCame(Message):
        """A review, or why there is none, came back from the worker."""

        def __init__(
            self,
            choice: LogChoice,
            question: tuple[Schedule, Equipment],
            review: Review | None,
            trouble: str,
            of_plan: bool,
            left_out: str,
        ) -> None:
            super().__init__()
            self.choice, self.question = choice, question
            self.review, self.trouble = review, trouble
            self.of_plan, self.left_out = of_plan, left_out

    def __init__(self, session: Session, kept: Review | None = None) -> None:
        super().__init__(session)
        self._kept = kept
        self._trouble = self._left_out = ""
        self.pending = False
        """Whether a log is being read."""

    def on_mount(self) -> None:
        """Show the last review, look at its log again, or ask for one."""
        session = self.session
        if not self.query(Curve):
            return  # closed again by the very next key, before anything stood in it
        self.query_one(Curve).placeholder = "no log chosen"
        self.walked.focus()
        self._title()
        if self._kept is not None:
            self._show(self._kept)
        elif session.log is None:
            self._answer("No log chosen yet.  ^O chooses one.")
            self.action_choose()
        elif session.review is not None and session.reviewed == self._question():
            self._show(session.review)
        else:
            self._read(session.log)

    def _title(self) -> None:
        log, kept = self.session.log, self._kept
        file = "no log" if log is None else log.path.name
        title = self.session.document.schedule.title
        if kept is not None:
            title, file = kept.schedule.title, f"kept: {kept.log.name}"
        self.query_one(TitleLine).show(f"Review: {title}", file)

    @property
    def review(self) -> Review | None:
        """What is shown: a kept firing's, or the latest of the open plan."""
        return self._kept or self.session.review

    # Reviewing

    def _read(self, choice: LogChoice) -> None:
        self.session.log = choice
        self.pending = True
        self._title()
        self._answer(f"Reading {choice.path.name} …")
        self._work(choice, self._question())

    def _question(self) -> tuple[Schedule, Equipment]:
        return self.session.document.schedule, self.session.circumstances.equipment

    @work(thread=True, group="review", exclusive=True)
    def _work(self, choice: LogChoice, question: tuple[Schedule, Equipment]) -> None:
        schedule, equipment = question
        found, trouble, of_plan, left_out = None, "", True, ""
        try:
            # A plan that cannot be fired with that load is no matter of how the log is read.
            _, left_out = forecast_fitting(schedule, Circumstances(equipment=equipment))
            of_plan = False
            if left_out:
                equipment = replace(equipment, load=None)
            found = review_log(schedule, choice, equipment)
            from firing.review.mending import mending_of

            with suppress(FiringError):
                mending_of(found)  # found here, so that no key has to wait for it
        except FiringError as error:
            trouble = str(error)
        self.post_message(self.ReviewCame(choice, question, found, trouble, of_plan, left_out))

    def on_review_screen_review_came(self, message: ReviewCame) -> None:
        """Show a review, or what its log leaves open with the fields that settle it."""
        if message.choice != self.session.log:
            return
        self.pending, self._trouble = False, in_fields(message.trouble)
        self._left_out = message.left_out
        self.session.review, self.session.reviewed = message.review, message.question
        self.refresh_bindings()
        if message.review is not None:
            self._show(message.review)
            return
        self._entries, self._row_entries = (), []
        self.walked.fill([], [])
        self.query_one(Curve).placeholder = "no review"
        self._answer(self._trouble, fault=True)
        if message.of_plan:
            self.say("That is about the plan: F7 goes back to it; ^K there chooses kiln and load.")
            return
        self.say("F2 settles how the log is read; ^O chooses another.")
        self.job(self._reading_job)

    def _show(self, review: Review) -> None:
        lines = [*summary(review)]
        if self._left_out:
            lines.append(f"Without the load: {self._left_out}.")
        self._answer("\n".join(lines))
        self.query_one(Curve).show(review_lines(review))
        self._walk(review_entries(review))

    # Walking the list and the curve

    def about(self, entry: ReviewEntry) -> Iterable[str]:
        """Return what there is to say of a line, and what of it ^F takes into the plan."""
        yield from entry.details
        mended, review = self._mended(), self.review
        if entry.segment is not None and mended is not None and review is not None:
            name = f"segment {review.schedule.label(entry.segment)}: "
            for change in mended.changes:
                if change.startswith(name):
                    what = "the rate really held" if review.mended is None else "what it keeps"
                    yield f"^F takes {what} into the plan: {change.removeprefix(name)}."

    def on_curve_pointed(self, message: Curve.Pointed) -> None:
        """Go to the line of the segment that the cross-hair is in."""
        review = self.review
        if review is None or message.at_s is None:
            return
        index = reviewed_at(review, message.at_s)
        for row, entry in enumerate(self._row_entries):
            if index is not None and entry.segment == index and entry.of_segment:
                self.walked.go(row)
                self._tell(pointing=False)
                return

    # Jobs

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        if action == "reading":
            return self._kept is None and self.session.log is not None
        if action == "choose":
            return self._kept is None
        if action in ("keep", "compare"):
            return self._kept is None and self.session.review is not None and not self.pending
        if action in ("page", "findings"):
            return self.review is not None and not self.pending
        if action == "fix":
            return not self.pending and self._mended() is not None
        if action == "in_plan":
            return not self.pending and self._segment is not None
        return True

    @property
    def _segment(self) -> int | None:
        """The segment of the open plan that the chosen line is about."""
        entry = self._current()
        index = None if entry is None else entry.segment
        schedule = self.session.document.schedule
        there = index is not None and index < len(schedule.segments)
        if self._kept is not None and self._kept.schedule != schedule:
            return None
        return index if there else None

    def action_in_plan(self) -> None:
        """Go to the segment in the plan."""
        if self._segment is not None and not self._busy:
            self.session.document.cursor = Selection(self._segment, "rate")
            self.dismiss(None)

    def _mended(self) -> Mended | None:
        """Return the plan as `firing review --mend` writes it, if there is one to take."""
        from firing.review.mending import mending_of

        review = self.review
        if review is None or review.schedule != self.session.document.schedule:
            return None
        if self._kept is None and self.session.reviewed != self._question():
            return None
        with suppress(FiringError):
            mended = mending_of(review)
            return mended if mended.changes else None
        return None

    def action_fix(self) -> None:
        """Take what the firing showed into the open plan."""
        self.job(self._fix_job)

    async def _fix_job(self) -> None:
        mended, review = self._mended(), self.review
        if mended is None or review is None:
            return
        key, take = "held", "Take the rates really held"
        what = "the rates really held"
        if review.mended is not None:
            key, take = "mend", "Take the plan that fits the kiln"
            what = "the plan that fits the kiln"
        words = f"{what[0].upper()}{what[1:]}: {'; '.join(mended.changes)}."
        if mended.peak_words:
            words = f"{mended.peak_words}  {words}"
        elif mended.cone_number is not None:
            words += f"  It comes to cone {describe_number(mended.cone_number)}."
        if mended.doubt_words:
            words += f"  {mended.doubt_words}"
        if await self.ask(words, (key, take), ("", "Leave the plan as it is")) == key:
            self._take(mended.schedule, what, mended.changes)

    def _take(self, schedule: Schedule, what: str, changes: Sequence[str]) -> None:
        self.session.document.apply(schedule, what)
        self.session.keep()
        self.say(
            f"The open plan has {what}: {'; '.join(changes)}.  F7 goes to it; nothing is written "
            f"until you save it there, and ^Z there undoes it."
        )
        self.refresh_bindings()

    def action_keep(self) -> None:
        """Keep the firing in the logbook."""
        if self.session.log is not None:
            self.keep_firing(self.session.log, self.session.document.schedule)

    def action_compare(self) -> None:
        """Lay other firings of the plan over this one."""
        if not self._busy:
            from .overlay import OverlayScreen

            self.app.push_screen(OverlayScreen(self.session))

    def action_logbook(self) -> None:
        """Go to the logbook, or back to it."""
        host = self.app.screen_stack[0]
        if self._kept is not None:
            self.action_back()
        elif not self._busy and isinstance(host, PlanHost):
            self.dismiss(None)
            host.action_logbook()

    def action_findings(self) -> None:
        """Read all findings."""
        self.job(self._findings_job)

    async def _findings_job(self) -> None:
        from .dialogs import Sheet, finding_lines

        review = self.review
        if review is not None:
            await self.app.push_screen_wait(Sheet("Findings", finding_lines(review)))

    def action_choose(self) -> None:
        """Choose a log."""
        self.job(self._choose_job)

    async def _choose_job(self) -> None:
        from .file_chooser import FileChooser

        log, plan = self.session.log, self.session.document.path
        beside = log.path if log is not None else plan
        folder = Path.cwd() if beside is None else beside.resolve().parent
        choice = await self.app.push_screen_wait(FileChooser("log", folder))
        if choice is not None and choice.path is not None:
            self._read(LogChoice(choice.path))

    def action_reading(self) -> None:
        """Say how the log is to be read."""
        self.job(self._reading_job)

    async def _reading_job(self) -> None:
        from ..reading_fields import log_fields, log_texts, told_of
        from .filling import Filling

        log, unit = self.session.log, self.session.document.schedule.unit
        if log is None:
            return
        fields, texts = log_fields(self.review, unit), log_texts(log, unit)
        form = Filling(f"Reading {log.path.name}", fields, texts, self._trouble)
        filled = await self.app.push_screen_wait(form)
        if filled is not None:
            self._read(told_of(log, filled))

    def action_page(self) -> None:
        """Write the review as a page."""
        self.job(self._page_job)

    async def _page_job(self) -> None:
        review = self.review
        if review is None:
            return

        def page() -> str:
            from firing.report.page import render_page
            from firing.report.review import review_report

            return render_page(review_report(review))

        await self.hand_out(f"{Path(review.log.name).stem}-review.html", page)
