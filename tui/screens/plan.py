"""The plan: its segments beside its curve, what it comes to, and the bar that edits it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import Static

from firing.errors import FiringError
from firing.report.sanitize import plain, shorten, wrap

from ..document import PlanDocument, Selection
from ..equipment import ranges_known, short, stages_known
from ..key_figures import missing_choices, summary_lines
from ..plot_lines import PlotLines, forecast_lines, no_lines, segment_at
from ..widgets.curve import Curve
from ..widgets.editbar import EditBar
from ..widgets.lines import KeyLine, TitleLine, Tour
from ..widgets.segments import Offers, Segments
from .base import side_width
from .plan_actions import PlanActionsScreen
from .saving import choose_plan, offer

if TYPE_CHECKING:
    from firing.forecast.result import Forecast

    from ..journal import Leftover
    from ..session import Session


_LEAST_OFFERS, _LOOKED_AT = 2, 6
"""The list under the table: a heading and a line at least; so many rows while it is in use."""


class PlanScreen(PlanActionsScreen):
    """A plan being made."""

    HELP_TITLE = "Plan"
    HELP_WORDS = (
        "Every change is forecast at once: the curve and the lines below it follow.",
        "With a kiln and a load chosen (^K), core is the middle of the thickest piece.",
        "A number may carry its unit: 1200C or 2192F, whatever the plan is written in.",
        "On the curve: C candling, W chemical water, Q quartz inversion, B burn-out, H the cone's "
        "heat-work, P power limits, ! by hand.  The foot is thick along each.",
        "“was” is the plan before the last change, until it is saved.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+z", "undo", "Undo", tooltip="Take back the last change"),
        Binding("ctrl+y", "redo", "Redo", tooltip="Make the change again that was taken back"),
        Binding("ctrl+s", "save", "Save", tooltip="Save the plan in its file"),
        Binding("f12,ctrl+e", "save_as", "Save as", show=False, tooltip="Save in another file"),
        Binding("ctrl+o", "open", "Open", tooltip="Open a file, a ready schedule or a new plan"),
        Binding(
            "f2", "about", "About",
            tooltip="Title, purpose, start time, target cone, opening temperature, notes",
        ),
        Binding(
            "ctrl+f", "fix", "Fix",
            tooltip="Fix the gravest warning in the plan, as one change that undo takes back",
        ),
        Binding(
            "ctrl+w", "to_fix", "To fix",
            tooltip="Go through what to fix, see each change in the curve, and take it or not",
        ),
        Binding("f3", "unit", "°C/°F", tooltip="Write the same plan in the other unit"),
        Binding("f4", "warnings", "Warnings", tooltip="What to know about this plan"),
        Binding("f5", "cautions", "Cautions", tooltip="What can hurt people, with this plan"),
        Binding("tab,f6", "other", "Curve", tooltip="From the table to the curve and back"),
        Binding("shift+tab", "other", "Curve", show=False),
        Binding(
            "ctrl+k", "equipment", "Kiln, load",
            tooltip="Choose or edit the kiln, the load, the controller and the tariff",
        ),
        Binding(
            "ctrl+g", "design", "Design",
            tooltip="Have a plan made for the load, to be compared with this one",
        ),
        Binding(
            "ctrl+u", "without_load", "Load out",
            tooltip="Go on without the load, which does not fit this plan; ^K chooses another",
        ),
        Binding("ctrl+t", "card", "Card", tooltip="The card to key the plan in from"),
        Binding("ctrl+l", "watch", "Watch", tooltip="Watch a firing live on top of this plan"),
        Binding("f7", "review", "Review", tooltip="Set a log against this plan"),
        Binding("f8", "page", "Page", tooltip="Write the forecast as a page for a browser"),
        Binding(
            "f11,ctrl+b", "logbook", "Logbook", tooltip="Find, open and compare kept firings"
        ),
        Binding(
            "f10", "calendar", "Calendar", show=False,
            tooltip="Write when you are needed at the kiln, for your calendar (.ics)",
        ),
        Binding(
            "ctrl+r", "solve", "Solve",
            tooltip="Solve for the cell: hold, target or rate for the cone, the fastest safe rate, "
            "the start for an end; each is drawn before it is taken",
        ),
    ]  # fmt: skip

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._left = False
        self._drawn: Forecast | None = None
        self._was: Forecast | None = None

    def compose(self) -> ComposeResult:
        """Put the table beside the curve, and under both what they come to."""
        yield TitleLine()
        if self.session.tour:
            yield Tour()
        with Horizontal(id="body"):
            with Vertical(id="side"):
                yield Segments(id="segments")
                yield Offers(id="offers")
            yield Curve(id="curve")
        yield Static(id="consequences")
        yield EditBar()
        yield KeyLine()

    def on_mount(self) -> None:
        """Show the plan and ask for its forecast."""
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        segments = self.table
        segments.focus()
        self.show_document()
        segments.select(self.document.cursor)
        self.describe()
        self.say("Type on a cell to change it.  F1 is help.")

    def end_tour(self) -> bool:
        """Take the tour away, unless a cell is edited; returns whether it was there."""
        tours = self.query(Tour)
        there = bool(tours) and not self.bar.editing
        if there:
            tours.remove()
        return there

    def on_screen_resume(self) -> None:
        """Take up a plan that changed while another screen was in front."""
        if self._left:
            self._left = False
            self.show_document()
            if not self.bar.editing:
                self.table.select(self.document.cursor)
                self.describe()

    def on_screen_suspend(self) -> None:
        """Remember that another screen is in front."""
        self._left = True

    def on_resize(self) -> None:
        """Share the width between the table and the curve."""
        self.query_one("#side").styles.width = side_width(self.size.width)
        self.call_after_refresh(self.share_rows)
        self._show_title()
        if self.session.forecast is not None and self.up_to_date:
            self._show_consequences(self._consequences(self.session.forecast))

    # What is shown

    def show_document(self) -> None:
        document = self.document
        if self.offers.in_use:
            self.leave_offers()  # they are of the plan before
        self.table.show(document.schedule, self.session.forecast)
        self._show_title()
        self.ask_forecast()
        self.refresh_bindings()

    def _show_title(self) -> None:
        watch = " · watch running" if self.session.watching else ""
        self.query_one(TitleLine).show(self.document.schedule.title, self.file_words + watch)

    def on_curve_pointed(self, message: Curve.Pointed) -> None:
        """Select the segment the cross-hair is in."""
        forecast, document = self.session.forecast, self.document
        if message.at_s is None or forecast is None or forecast.schedule != document.schedule:
            return
        index = segment_at(forecast, message.at_s)
        if index is not None:
            segments = self.table
            segments.select(Selection(index, segments.place.column))
            document.cursor = segments.place
            self.describe()

    def show_forecast(self, result: Forecast | None, trouble: str) -> None:
        schedule = self.document.schedule
        curve = self.query_one(Curve)
        if result is None:
            curve.placeholder = "no forecast"
            curve.show(no_lines(schedule))
            lines = wrap(f"No forecast: {trouble}", self._room)
        else:
            last = self._drawn
            if last is not None and last.schedule != result.schedule:
                self._was = last
            self._drawn = result
            curve.show(self._lines(result), keep=True)
            lines = self._consequences(result)
        self._show_consequences(lines)
        self.table.show(schedule, result)
        self.show_fixes()
        self.refresh_bindings()

    def show_fixes(self) -> None:
        offers = self.offers
        if not offers.in_use:
            offers.show("To fix (^W)", self.fixes)
            self.share_rows()

    def share_rows(self, *, looking: bool = False) -> None:
        offers, height = self.offers, self.query_one("#body").size.height
        if not height:
            return
        rows = len(self.document.schedule.segments) + 2
        free = max(height - rows, 0)
        if looking or offers.in_use:
            free = max(free, min(_LOOKED_AT, height // 2))
        share = min(offers.wanted, free)
        offers.display = share >= _LEAST_OFFERS
        self.table.styles.height = min(rows, height - share) if offers.display else height

    def show_ahead(self, ahead: Forecast | None) -> None:
        now = self.session.forecast
        if now is not None and self.up_to_date:
            self.query_one(Curve).show(self._lines(now, ahead), keep=True)

    def _lines(self, now: Forecast, ahead: Forecast | None = None) -> PlotLines:
        return forecast_lines(now, ahead, self._ghost(now), marked=stages_known(now))

    def _ghost(self, now: Forecast) -> Forecast | None:
        """Return the version before, unless it runs the same course."""
        was = self._was
        if was is None or not self.document.changed:
            return None
        same = all(
            np.array_equal(getattr(was.trace, what), getattr(now.trace, what))
            for what in ("time_s", "temperature_c")
        )
        return None if same else was

    def press_in_table(self, key: str, typed: str | None) -> None:
        """Do what a key means on the selected cell; below the last are the changes to be had."""
        last = self.table.place.row == len(self.document.schedule.segments) - 1
        if key == "down" and last and self.offers.display:
            self.action_to_fix()
        else:
            super().press_in_table(key, typed)

    def show_ranges(self, result: Forecast) -> None:
        if self._tried is None:
            self.show_ahead(None)
        self._show_consequences(self._consequences(result))

    @property
    def _room(self) -> int:
        return max(self.size.width - 2, 20)

    def _consequences(self, result: Forecast) -> list[str]:
        session = self.session
        coming = ", ".join(f"{kind} {short(name)}" for kind, name in session.coming.items())
        return summary_lines(
            result,
            self._room,
            session.fitting,
            coming=coming,
            left_out=session.load_left_out,
            pending=not ranges_known(result),
        )

    def _show_consequences(self, lines: list[str]) -> None:
        words = "\n".join(shorten(plain(line), self._room) for line in lines)
        self.query_one("#consequences", Static).update(Content(words))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        if action in ("warnings", "page", "calendar"):
            return self.session.forecast is not None
        if action == "fix":
            return any(offer.make is not None for offer in self.fixes)
        if action == "to_fix":
            return bool(self.fixes)
        if action == "without_load":
            return bool(self.session.load_left_out)
        return super().check_action(action, parameters)

    # Jobs

    def action_other(self) -> None:
        """Go to the curve, or back to the table."""
        if not self.settle():
            return
        curve = self.query_one(Curve)
        (self.table if curve.has_focus else curve).focus()

    def was_saved(self, path: Path) -> None:
        """Show that the plan is in its file."""
        self.session.keep()
        self._was = None
        self.show_ahead(None)
        self._show_title()
        self.refresh_bindings()
        self.say(f"Saved in {path}.")

    def action_open(self) -> None:
        """Open another plan."""
        if self.settle():
            self.job(self._open_job)

    async def _open_job(self) -> None:
        chosen = await choose_plan(self)
        if chosen is None or not await self.may_leave():
            return
        if isinstance(chosen, PlanDocument):
            self.session.open(chosen)
        else:
            self.session.take_up(chosen)
        self._show_other()

    def _show_other(self) -> None:
        document = self.document
        self.query_one(Curve).point(None)
        self._drawn = self._was = None
        self._starts.clear()
        self.show_document()
        self.table.go(1)
        self.table.select(document.cursor)
        self.describe()
        self.say(f"Opened: {document.path or document.schedule.title}.")

    async def offer_leftover(self, left: Leftover) -> None:
        """Offer unsaved work that an earlier run of the program left behind."""
        if await offer(self, left):
            self.session.take_up(left)
            self._show_other()
            self.say("The unsaved work is back; ^S saves it.")

    def action_about(self) -> None:
        """Fill in what the plan is, and what it is forecast under."""
        if self.settle():
            self.job(self._about_job)

    async def _about_job(self) -> None:
        from ..plan_fields import described, plan_fields, plan_texts
        from .filling import Filling

        about = self.document.schedule, self.session.circumstances
        form = Filling("About this plan", plan_fields(*about), plan_texts(*about))
        filled = await self.app.push_screen_wait(form)
        if filled is None:
            return
        schedule, self.session.circumstances = described(*about, filled)
        if schedule != self.document.schedule:
            self.apply(schedule, "about this plan")
        else:
            self.show_document()
            self.say("Taken.")

    def action_warnings(self) -> None:
        """Read what to know about the plan."""
        self.job(self._warnings_job)

    async def _warnings_job(self) -> None:
        from .dialogs import Sheet, warning_lines

        forecast = self.session.forecast
        if forecast is not None:
            session = self.session
            lines = [*warning_lines(forecast), *missing_choices(forecast, session.fitting)]
            if any(offer.make is not None for offer in self.fixes):
                lines = ["^F fixes the gravest; ^W looks at each first.", "", *lines]
            if session.load_left_out:
                lines = [f"Forecast without the load: {session.load_left_out}.", "", *lines]
            sheet = Sheet(f"Warnings: {forecast.schedule.title}", lines)
            await self.app.push_screen_wait(sheet)

    def action_cautions(self) -> None:
        """Read the cautions that apply."""
        self.job(self.show_cautions)

    def action_page(self) -> None:
        """Write the forecast as a page."""
        if self.settle():
            self.job(self._page_job)

    async def _page_job(self) -> None:
        forecast = self.session.forecast
        if forecast is None or not self.up_to_date:
            self.say("There is no forecast of this plan yet.", fault=True)
            return

        def page() -> str:
            from firing.report.forecast import forecast_report
            from firing.report.page import render_page

            return render_page(forecast_report(forecast))

        document = self.document
        stem = (document.path or Path(document.suggested_name)).stem
        await self.hand_out(f"{stem}-forecast.html", page)

    def action_calendar(self) -> None:
        """Write the moments of the firing for a calendar."""
        if self.settle():
            self.job(self._calendar_job)

    async def _calendar_job(self) -> None:
        from firing.clock import parse_when

        forecast = self.session.forecast
        if forecast is None or not self.up_to_date:
            self.say("There is no forecast of this plan yet.", fault=True)
            return
        started, fault = forecast.started, ""
        while started is None:
            typed = await self.prompt("When does it start?", "tomorrow 07:30", fault)
            if typed is None:
                return
            try:
                started = parse_when(typed)
            except FiringError as error:
                fault = str(error)

        def file() -> str:
            from firing.report.calendar import calendar

            return calendar(replace(forecast, started=started)).to_ics()

        document = self.document
        stem = (document.path or Path(document.suggested_name)).stem
        await self.hand_out(f"{stem}.ics", file, "calendar", "import it on your phone or computer")

    async def take_over(self, document: PlanDocument) -> bool:
        """Go on with another plan, if the open one may be left."""
        if not await self.may_leave():
            return False
        self.session.open(document)
        self._show_other()
        return True

    def action_logbook(self) -> None:
        """Go to the logbook."""
        if self.settle():
            from .logbook import LogbookScreen

            self.app.push_screen(LogbookScreen(self.session))

    def action_review(self) -> None:
        """Go to the review."""
        if self.settle():
            from .review import ReviewScreen

            self.app.push_screen(ReviewScreen(self.session))
