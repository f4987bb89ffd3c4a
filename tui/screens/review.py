"""The review: what a firing really did, its account walked together with its curve."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import events, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.widgets import Static

from firing.errors import FiringError
from firing.report.sanitize import plain

from ..document import Selection
from ..fixing import rates_held, with_rates_held
from ..forecasting import Circumstances, forecast_fitting
from ..plot_lines import review_lines, reviewed_at
from ..reading_fields import in_fields
from ..review_entries import ReviewEntry, review_entries, summary
from ..session import LogChoice, review_log
from ..widgets.curve import Curve
from ..widgets.grid import GridColumn, GridRow, ListGrid
from ..widgets.lines import KeyLine, TitleLine
from .base import WorkScreen, side_width

if TYPE_CHECKING:
    from collections.abc import Sequence

    from firing.review.result import Mended, Review
    from firing.schedule.schedule import Schedule

    from ..equipment import Equipment
    from ..session import Session


class ReviewList(ListGrid):
    """The account, the findings, the segments and the cones."""

    HELP_TITLE = "Account"
    HELP_WORDS = (
        "█ made the firing longer, ▒ shorter; the minutes add up to the difference.",
        "A letter stands on the curve, and ━ under it, where most of that time went.",
        "The cross-hair goes to what the line is about; the text below says more.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "enter", "jump", "Look at it",
            tooltip="Zoom the curve to what the line is about; a double click does it, too",
        ),
    ]  # fmt: skip

    class Jumped(Message):
        """The place of the current line is to be looked at closely."""

    def action_jump(self) -> None:
        """Look at the place closely."""
        self.post_message(self.Jumped())

    def on_click(self, event: events.Click) -> None:
        """Look closely at what is clicked twice."""
        if event.chain == 2:
            self.action_jump()


class ReviewScreen(WorkScreen):
    """A log set against the open plan."""

    HELP_TITLE = "Review"
    HELP_WORDS = (
        "The log is set against the plan as it is now, saved or not, and against what the kiln and "
        "load chosen on the plan (^K there) could have done.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+o", "choose", "Choose a log", tooltip="Choose the log of the firing"),
        Binding(
            "f2", "reading", "Reading",
            tooltip="Channel, unit, time unit, date order and intended start of the log",
        ),
        Binding("tab,f6", "other", "Curve", tooltip="From the list to the curve and back"),
        Binding("shift+tab", "other", "Curve", show=False),
        Binding(
            "ctrl+f", "fix", "Fix plan",
            tooltip="Take the rates really held into the open plan, or fit it to the kiln as it "
            "is; ^Z there undoes it",
        ),
        Binding("p", "in_plan", "In plan", tooltip="Go to this segment in the plan"),
        Binding("f4", "findings", "Findings", tooltip="Read all findings, with their sources"),
        Binding("f5", "cautions", "Cautions", show=False, tooltip="What can hurt people"),
        Binding("f8", "page", "Page", tooltip="Write the review as a page for a browser"),
        Binding("f7", "back", "Plan", tooltip="Back to the plan"),
        Binding("escape", "out", "Plan", show=False),
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

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._entries: list[ReviewEntry] = []
        self._row_entries: list[ReviewEntry] = []
        self._trouble = self._left_out = ""
        self.pending = False
        """Whether a log is being read."""

    def compose(self) -> ComposeResult:
        """Put the account beside the curve, the answer above and the details below."""
        yield TitleLine()
        yield Static(id="answer")
        with Horizontal(id="body"):
            yield ReviewList(id="list")
            yield Curve(id="curve")
        with VerticalScroll(id="details", can_focus=False):
            yield Static(id="details-text")
        yield KeyLine()

    def on_mount(self) -> None:
        """Show the last review, look at its log again, or ask for one."""
        session = self.session
        if not self.query(Curve):
            return  # closed again by the very next key, before anything stood in it
        self.query_one(Curve).placeholder = "no log chosen"
        self.query_one(ReviewList).focus()
        self._title()
        if session.log is None:
            self._answer("No log chosen yet.  ^O chooses one.")
            self.action_choose()
        elif session.review is not None and session.reviewed == self._question():
            self._show(session.review)
        else:
            self._read(session.log)

    def say(self, words: str, *, fault: bool = False) -> None:
        """Show a message in words under the account."""
        details = self.query_one("#details-text", Static)
        details.update(Content(plain(words)))
        details.set_class(fault, "fault")
        self.query_one("#details", VerticalScroll).scroll_home(animate=False)

    def _answer(self, words: str, *, fault: bool = False) -> None:
        answer = self.query_one("#answer", Static)
        answer.update(Content("\n".join(map(plain, words.split("\n")))))
        answer.set_class(fault, "fault")

    def _title(self) -> None:
        log = self.session.log
        file = "no log" if log is None else log.path.name
        self.query_one(TitleLine).show(f"Review: {self.session.document.schedule.title}", file)

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
        self._entries, self._row_entries = [], []
        self.query_one(ReviewList).fill([], [])
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
        self._entries = review_entries(review)
        self._list()
        self.query_one(ReviewList).go(0)
        self._tell()
        self.refresh_bindings()

    def _list(self) -> None:
        grid = self.query_one(ReviewList)
        if not self._entries:
            return
        chosen = self._current()
        # One cell is the cursor's, one a scrollbar's, and each column is followed by a gap.
        room = max(grid.region.width - 3, 20)
        self._row_entries, rows = [], []
        for entry in self._entries:
            for number, line in enumerate(entry.lines(room)):
                rows.append(GridRow((line,), entry.heading, number > 0))
                self._row_entries.append(entry)
        grid.fill([GridColumn("words", "", room)], rows)
        if chosen is not None and chosen in self._row_entries:
            grid.go(self._row_entries.index(chosen))

    def on_resize(self) -> None:
        """Fit the list to the room."""
        self.query_one(ReviewList).styles.width = side_width(self.size.width)
        self.call_after_refresh(self._list)

    # Walking the list and the curve

    def _current(self) -> ReviewEntry | None:
        row = self.query_one(ReviewList).row
        return self._row_entries[row] if row < len(self._row_entries) else None

    def _tell(self, *, pointing: bool = True) -> None:
        entry = self._current()
        if entry is None:
            return
        words = list(entry.details)
        if entry.segment is not None:
            name = f"segment {entry.segment + 1}: "
            words += [
                f"^F takes the rate really held into the plan: {change.removeprefix(name)}."
                for change in self._held()[1]
                if change.startswith(name)
            ]
        self.say("  ".join(words))
        if pointing and entry.span_s is not None:
            self.query_one(Curve).point(entry.span_s[0])
        self.refresh_bindings()

    def on_list_grid_moved(self, message: ListGrid.Moved) -> None:
        """Tell of the line, and point at what it is about."""
        message.stop()
        self._tell()

    def on_list_grid_chosen(self, message: ListGrid.Chosen) -> None:
        """A click only selects."""
        message.stop()
        self._tell()

    def on_curve_pointed(self, message: Curve.Pointed) -> None:
        """Go to the line of the segment that the cross-hair is in."""
        review = self.session.review
        if review is None or message.at_s is None:
            return
        index = reviewed_at(review, message.at_s)
        for row, entry in enumerate(self._row_entries):
            if index is not None and entry.segment == index and entry.of_segment:
                self.query_one(ReviewList).go(row)
                self._tell(pointing=False)
                return

    def on_review_list_jumped(self) -> None:
        """Zoom to what the line is about."""
        entry = self._current()
        if entry is None:
            return
        if entry.span_s is None:
            self.say("That is about all of the firing.  " + "  ".join(entry.details))
            return
        curve = self.query_one(Curve)
        curve.look_at(*entry.span_s)
        curve.point(entry.span_s[0])

    # Jobs

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        if action == "reading":
            return self.session.log is not None
        if action in ("page", "findings"):
            return self.session.review is not None and not self.pending
        if action == "fix":
            return not self.pending and bool(self._held()[1] or self._mended() is not None)
        if action == "in_plan":
            return not self.pending and self._segment is not None
        return True

    @property
    def _segment(self) -> int | None:
        """The segment of the open plan that the chosen line is about."""
        entry = self._current()
        index = None if entry is None else entry.segment
        there = index is not None and index < len(self.session.document.schedule.segments)
        return index if there else None

    def action_in_plan(self) -> None:
        """Go to the segment in the plan."""
        if self._segment is not None and not self._busy:
            self.session.document.cursor = Selection(self._segment, "rate")
            self.dismiss(None)

    def _mended(self) -> Mended | None:
        review = self.session.review
        mended = None if review is None else review.mended
        asked = self.session.reviewed == self._question()
        return mended if mended is not None and mended.changes and asked else None

    def _held(self) -> tuple[Schedule, tuple[str, ...]]:
        review, schedule = self.session.review, self.session.document.schedule
        if review is None or review.schedule != schedule or review.refused:
            return schedule, ()
        return with_rates_held(schedule, rates_held(review))

    def action_fix(self) -> None:
        """Take what the firing showed into the open plan."""
        self.job(self._fix_job)

    async def _fix_job(self) -> None:
        (held, changes), mended = self._held(), self._mended()
        answer = "mend" if not changes else "held"
        if changes and mended is not None:
            asked = await self.ask(
                f"The rates really held: {'; '.join(changes)}.  The plan that fits the kiln as "
                f"found, with its cone kept: {'; '.join(mended.changes)}.",
                ("mend", "Take the plan that fits the kiln"),
                ("held", "Take the rates really held"),
            )
            answer = asked or ""
        if answer == "held":
            slower = "  Slower takes more heat-work: look at its cone there."
            self._take(held, "the rates really held", changes, slower)
        elif answer == "mend" and mended is not None:
            self._take(mended.schedule, "the plan that fits the kiln", mended.changes)

    def _take(self, schedule: Schedule, what: str, changes: Sequence[str], more: str = "") -> None:
        self.session.document.apply(schedule, what)
        self.session.keep()
        self.say(
            f"The open plan has {what}: {'; '.join(changes)}.  F7 goes to it; nothing is written "
            f"until you save it there, and ^Z there undoes it.{more}"
        )
        self.refresh_bindings()

    def action_findings(self) -> None:
        """Read all findings."""
        self.job(self._findings_job)

    async def _findings_job(self) -> None:
        from .dialogs import Sheet
        from .sheet_texts import finding_lines

        review = self.session.review
        if review is not None:
            await self.app.push_screen_wait(Sheet("Findings", finding_lines(review)))

    def action_other(self) -> None:
        """Go to the curve, or back to the list."""
        curve = self.query_one(Curve)
        (self.query_one(ReviewList) if curve.has_focus else curve).focus()

    def action_out(self) -> None:
        """See the whole curve again, or go back to the plan if it is seen."""
        curve = self.query_one(Curve)
        if curve.zoomed:
            curve.action_whole()
        else:
            self.action_back()

    def action_back(self) -> None:
        """Go back to the plan."""
        if not self._busy:
            self.dismiss(None)

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
        fields, texts = log_fields(self.session.review, unit), log_texts(log, unit)
        form = Filling(f"Reading {log.path.name}", fields, texts, self._trouble)
        filled = await self.app.push_screen_wait(form)
        if filled is not None:
            self._read(told_of(log, filled))

    def action_cautions(self) -> None:
        """Read the cautions that apply."""
        self.job(self.show_cautions)

    def action_page(self) -> None:
        """Write the review as a page."""
        self.job(self._page_job)

    async def _page_job(self) -> None:
        review, log = self.session.review, self.session.log
        if review is None or log is None:
            return

        def page() -> str:
            from firing.report.page import render_page
            from firing.report.review import review_report

            return render_page(review_report(review))

        await self.hand_out(f"{log.path.stem}-review.html", page)
