"""The watch: a running firing on top of its plan, its figures, and what was told of it."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from firing.report.sanitize import pad, plain, wrap
from firing.units import TemperatureUnit
from firing.watch.fault_isolation import FaultIsolation
from firing.watch.status_text import MomentText

from ..plot_lines import WatchLines
from ..session import LogChoice
from ..watch_text import (
    WatchFigure,
    alarm_words,
    beside_headline,
    figures,
    headline,
    lines_words,
    may_acknowledge,
    remark_words,
    stage_words,
    waits,
)
from ..widgets.curve import Curve
from ..widgets.headline import HIGH, LOW, MIDDLE, Headline
from ..widgets.lines import KeyLine, TitleLine
from .base import WorkScreen

if TYPE_CHECKING:
    from firing.watch.options import WatchOptions
    from firing.watch.snapshot import WatchState

    from ..live_watch import LiveWatch
    from ..plot import Window
    from ..session import Session


LABEL = 10
_LEAST_ROOM = 12


class LabelledLines(VerticalScroll, can_focus=True):
    """Paragraphs behind their labels, wrapped to the room; scrolled when there are too many."""

    DEFAULT_CSS = """
    LabelledLines { scrollbar-size: 1 1; scrollbar-gutter: stable; padding: 0 1; }
    LabelledLines { background: $background; }
    LabelledLines:focus { background: $surface; }
    LabelledLines Static { height: auto; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "scroll_up", "Up", show=False),
        Binding("down", "scroll_down", "Down", show=False),
        Binding("pageup", "page_up", "A page up", show=False),
        Binding("pagedown", "page_down", "A page down", show=False),
        Binding("home,ctrl+home", "scroll_home", "First line", show=False),
        Binding("end,ctrl+end", "scroll_end", "Last line", show=False),
    ]

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._entries: tuple[tuple[str, tuple[str, ...]], ...] = ()
        self._drawn: tuple[object, ...] = ()
        self._text = Static()

    def compose(self) -> ComposeResult:
        """Hold one text."""
        yield self._text

    def _fill(self, entries: Sequence[tuple[str, tuple[str, ...]]]) -> None:
        room = self.scrollable_content_region.width
        label_style = self.app.theme_variables.get("quiet", "")
        drawn = (tuple(entries), room, label_style)
        if drawn == self._drawn:
            return
        self._entries, self._drawn = tuple(entries), drawn
        text = Text()
        for label, paragraphs in self._entries:
            lead = pad(plain(label), LABEL)
            for paragraph in paragraphs:
                for line in wrap(plain(paragraph), max(room - LABEL, _LEAST_ROOM)):
                    text.append(f"\n{lead}" if text else lead, label_style)
                    text.append(line)
                    lead = " " * LABEL
        self._text.update(text)

    def on_resize(self) -> None:
        """Wrap to the new room."""
        self.call_after_refresh(lambda: self._fill(self._entries))


class FiguresPanel(LabelledLines):
    """The figures."""

    HELP_TITLE = "Figures"
    HELP_WORDS = (
        "Times in brackets are the range: the kiln at its quickest, and at its slowest.",
        "↑ ↓ scroll.",
    )

    def show(self, figures: Sequence[WatchFigure]) -> None:
        """Show other figures."""
        self._fill([(figure.label, figure.lines) for figure in figures])


class RemarksPanel(LabelledLines):
    """Notices, the latest first."""

    HELP_TITLE = "Notices"
    HELP_WORDS = ("The latest comes first; ↑ ↓ scroll.",)

    def show(self, told: Sequence[tuple[str, str]]) -> None:
        """Show another list of moments and sentences."""
        self._fill([(when, (words,)) for when, words in told])


_SIDE = (43, 48)
_LOW = 30
"""Screens of fewer lines than this have little room for what was told."""
_NARROW = 72
"""Screens narrower than this show the figures or the curve, not both."""
AROUND_S = 3.0 * 3600.0
"""How much is seen before and after now, unless everything is [s]."""


class WatchScreen(WorkScreen):
    """A firing while it runs."""

    HELP_TITLE = "Watch"
    HELP_WORDS = (
        "This watch is no safety device: an independent over-temperature cut-out and a person at "
        "the end point are.",
        "It only reads.  It keeps the plan it was begun with, whatever is changed on the plan.",
        "It goes on while the plan is in front; quitting ends it, and asks first.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "a", "acknowledge", "Heard",
            tooltip="It does not come again; the alarm stands, and nothing is switched",
        ),
        Binding(
            "z", "snooze", "Snooze",
            tooltip="It comes again in a quarter of an hour; nothing is switched",
        ),
        Binding("ctrl+o", "choose", "Source", tooltip="Choose what to watch, and begin"),
        Binding(
            "ctrl+x", "end", "End watch",
            tooltip="End the watch; the recording is put on the disk and closed",
        ),
        Binding("ctrl+s", "keep", "Keep", tooltip="Keep the recording in the logbook"),
        Binding("n", "around", "Now", tooltip="See some hours around now, or everything again"),
        Binding("f3", "unit", "°C/°F", tooltip="Show temperatures in the other unit"),
        Binding("f5", "cautions", "Cautions", tooltip="What can hurt people"),
        Binding("tab,f6", "other(1)", "Next part", tooltip="Curve, notices, figures"),
        Binding("shift+tab", "other(-1)", "Part before", show=False),
        Binding("f7", "back", "Plan", tooltip="Back to the plan; the watch may go on"),
        Binding("escape", "back", "Plan", show=False),
    ]  # fmt: skip

    def __init__(self, session: Session, order: WatchOptions | None = None) -> None:
        super().__init__(session)
        self._order = order
        self._ready = False
        self._stage = ""
        self._said: tuple[str, bool] = ("", False)
        self._drawn: tuple[object, ...] = ()
        self._answers = False, False
        self._unit: TemperatureUnit | None = None
        self._lines: tuple[LiveWatch | None, WatchLines] | None = None
        # Held here: a look may come while the screen is taken down around them.
        self._title, self._going_on = TitleLine(), Static(id="stage")
        self._attempts = FaultIsolation("reading, recording and alarms go on")
        self._headline = Headline(id="headline")
        self._around: bool | None = None
        self._window: Window | None = None
        self._standing, self._told = FiguresPanel(id="standing"), RemarksPanel(id="told")
        self._curve = Curve(id="curve")

    def compose(self) -> ComposeResult:
        """Put the figures beside the curve, what is going on above and what was told below."""
        yield self._title
        yield self._going_on
        yield self._headline
        with Horizontal(id="body"):
            yield self._standing
            yield self._curve
        yield self._told
        yield KeyLine()

    def on_mount(self) -> None:
        """Show the watch, begin the one ordered, or ask for one."""
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        self._ready = True
        self._curve.placeholder = "no line yet"
        self._standing.focus()
        self.look()
        if self._order is not None or self.live is None:
            self.action_choose()

    @property
    def live(self) -> LiveWatch | None:
        """The watch shown."""
        return self.session.watch

    @property
    def unit(self) -> TemperatureUnit:
        """The unit temperatures are shown in: the plan's, unless changed."""
        watch = self.live
        schedule = None if watch is None else watch.schedule
        if schedule is not None:
            return self._unit or schedule.unit
        plan = self.session.document.schedule
        return self._unit or (plan.unit if watch is None else watch.seen.unit)

    def say(self, words: str, *, fault: bool = False) -> None:
        """Show a message in words under what is going on."""
        self._said = (words, fault)
        self.look()

    # What is shown

    def look(self) -> None:
        """Show what the watch has laid down since; before the parts are there, nothing."""
        if not (self._ready and self.is_attached):
            return
        show = self._attempts.run
        show("the drawing of what goes on", self._show_stage, None)
        watch = self.live
        if watch is not None:
            seen = watch.seen
            show("the drawing of the title", lambda: self._show_title(watch, seen), None)
            show("the drawing of the headline", lambda: self._show_headline(watch, seen), None)
            show("the drawing of the figures", lambda: self._show_figures(watch, seen), None)
            show("the drawing of the notices", lambda: self._show_told(seen), None)
            show("the drawing of the curve", lambda: self._show_curve(watch, seen), None)
        for sentence in self._attempts.remarks():
            self.notify(plain(sentence), title="Watch", severity="warning", markup=False)

    def _show_figures(self, watch: LiveWatch, seen: WatchState) -> None:
        found = figures(seen, watch.schedule, self.unit)
        self._standing.show(beside_headline(found))

    def _show_headline(self, watch: LiveWatch, seen: WatchState) -> None:
        self._headline.show(headline(seen, watch.schedule, self.unit))
        answers = waits(seen), may_acknowledge(seen)
        if answers != self._answers:
            self._answers = answers
            self.refresh_bindings()

    def _show_told(self, seen: WatchState) -> None:
        if seen.began is not None:
            moments = MomentText(seen.began, seen.now_s)
            self._told.show([remark_words(r, moments) for r in reversed(seen.remarks)])

    def _show_curve(self, watch: LiveWatch, seen: WatchState) -> None:
        unit = self.unit
        # The curve changes by as much as a dot only with these.
        drawn = (watch, seen.estimate, seen.time_s.size, unit, seen.stage, watch.running)
        if drawn != self._drawn:
            self._drawn = drawn
            if self._lines is None or self._lines[0] is not watch:
                self._lines = watch, WatchLines(watch.schedule)
            # Whoever zooms or moves the window looks at something else than now.
            if self._window is not None and self._curve.window != self._window:
                self._around = False
            self._curve.show(self._lines[1].plot_lines(seen, unit), keep=True)
            around = self._around
            if around is None:
                around = seen.live and seen.began is not None
            self._window = self._curve.see_around(seen.now_s, AROUND_S) if around else None
            self.refresh_bindings()

    def _show_stage(self) -> None:
        watch, (said, fault) = self.live, self._said
        lines: list[str] = []
        if watch is None:
            self._title.show(f"Watch: {self.session.document.schedule.title}", "")
            lines.append("Nothing is watched yet.  ^O chooses a source.")
        else:
            words, trouble = stage_words(watch.seen, watch.order.source)
            alarms = alarm_words(watch.seen)
            fault = fault or trouble or bool(alarms)
            lines += [*alarms, words]
            if watch.schedule is not None and watch.schedule != self.session.document.schedule:
                lines[-1] += "  The plan was changed since; the watch keeps its own."
        lines += [said] if said else []
        words = "\n".join(map(plain, lines))
        if words != self._stage:
            self._stage = words
            self._going_on.update(Content(words))
            self._going_on.set_class(fault, "fault")

    def _show_title(self, watch: LiveWatch, seen: WatchState) -> None:
        schedule, kept = watch.schedule, seen.recording
        title = "without a plan" if schedule is None else schedule.title
        state = (
            "NOT recorded"
            if kept is None
            else f"{lines_words(kept.rows)} in {Path(kept.file).name}"
        )
        self._title.show(f"Watch: {title}", state)

    def on_screen_resume(self) -> None:
        """Take up what changed while another screen was in front."""
        self.app.clear_notifications()  # what they say is told here, too
        self.call_after_refresh(self.look)

    def on_resize(self) -> None:
        """Share the room between the parts."""
        # Wide enough for a cone with its time and range on one line.
        width, height = self.size
        self.set_class(width < _NARROW, "narrow")
        self._standing.styles.width = "1fr" if width < _NARROW else _SIDE[width >= 100]
        self._told.styles.height = 4 if height < _LOW else 9
        self._headline.styles.height = (
            LOW if height < 24 or width < 76 else HIGH if height >= 40 and width >= 130 else MIDDLE
        )
        self.call_after_refresh(self.look)

    # Jobs

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        if action == "end":
            return self.live is not None and self.live.running
        if action == "keep":
            kept = None if self.live is None else self.live.seen.recording
            return kept is not None and kept.rows > 1
        if action in ("acknowledge", "snooze"):
            may = may_acknowledge if action == "acknowledge" else waits
            return self.live is not None and may(self.live.seen)
        return True

    def action_other(self, way: int) -> None:
        """Go to another part of the screen."""
        parts = [self._curve, self._told, self._standing]
        at = next((n for n, part in enumerate(parts) if part.has_focus), -1)
        chosen = parts[(at + way) % len(parts)]
        self.set_class(chosen is self._curve, "curve-front")
        chosen.focus()

    def action_acknowledge(self) -> None:
        """Say that what calls was heard: it is not told again."""
        self._answer(snooze=False)

    def action_snooze(self) -> None:
        """Have what calls told again in a while."""
        self._answer(snooze=True)

    def _answer(self, *, snooze: bool) -> None:
        if self.live is not None:
            self.live.answer(snooze=snooze)
        self.app.clear_notifications()
        self.look()

    def action_around(self) -> None:
        """See some hours around now, or everything again."""
        watch = self.live
        around = self._around if self._around is not None else watch is not None and watch.seen.live
        self._around, self._window, self._drawn = not around, None, ()
        if around:
            self._curve.action_whole()
        self.look()

    def action_keep(self) -> None:
        """Keep the recording as it is so far; kept again later it takes that one's place."""
        watch = self.live
        kept = None if watch is None else watch.seen.recording
        if watch is not None and kept is not None:
            schedule = watch.schedule or self.session.document.schedule
            self.keep_firing(LogChoice(Path(kept.file), watch.order.channel), schedule)

    def action_unit(self) -> None:
        """Show temperatures in the other unit."""
        self._unit = "F" if self.unit == "C" else "C"
        self.look()

    def action_cautions(self) -> None:
        """Read the cautions that apply."""
        self.job(self.show_cautions)

    def action_choose(self) -> None:
        """Choose what to watch."""
        self.job(self._choose_job)

    async def _choose_job(self) -> None:
        from .watch_form import choose_watch, show_safety

        watch = self.live
        if watch is not None and watch.running:
            answer = await self.ask(
                f"{watch.order.source} is being watched.",
                ("stay", "Go on watching it"),
                ("end", "End that watch and choose another source"),
            )
            if answer != "end":
                return
            await self._end(watch)
        order, self._order = self._order, None
        if order is None:
            await show_safety(self)
            order = await choose_watch(self, None if watch is None else watch.order)
        if order is None:
            return
        if order.replays:
            await show_safety(self)  # a log waits; a live source may not wait to be recorded
        self._said = ("", False)
        self.program.begin_watch(order)
        self._around, self._window = None, None
        self._curve.action_whole()
        self.look()
        await show_safety(self)

    def action_end(self) -> None:
        """End the watch."""
        self.job(self._end_job)

    async def _end_job(self) -> None:
        watch = self.live
        if watch is None or not watch.running:
            return
        answer = await self.ask(
            "End the watch?  Nothing is read or recorded from then on.",
            ("stay", "Go on watching"),
            ("end", "End the watch"),
        )
        if answer == "end":
            await self._end(watch)

    async def _end(self, watch: LiveWatch) -> None:
        self.say("Ending the watch …")
        # The recording is put on the disk, and the user's command gets a moment.
        await asyncio.to_thread(watch.end)
        kept = watch.seen.recording
        if kept is None or not kept.rows:
            self.say("")
        else:
            self.say(
                f"{lines_words(kept.rows)} in {kept.file}; F7, and F7 again, reviews it; ^S keeps "
                "it in the logbook."
            )
            self.session.log = LogChoice(Path(kept.file), watch.order.channel)
        self.look()

    def action_back(self) -> None:
        """Go back to the plan."""
        watch = self.live
        if watch is None or not watch.running:
            if not self._busy:
                self.dismiss(None)
            return
        self.job(self._back_job)

    async def _back_job(self) -> None:
        watch = self.live
        if watch is None:
            return
        answer = await self.ask(
            f"The watch of {watch.order.source} is running.",
            ("plan", "To the plan; the watch goes on in the background"),
            ("end", "End the watch, and to the plan"),
            ("stay", "Stay here"),
        )
        if answer == "end":
            await self._end(watch)
        if answer in ("plan", "end"):
            self.dismiss(None)
