"""The program of the screens, and its two sets of colours, dark and light.

The colours follow the palette of Okabe and Ito (2008), which keeps apart for every common kind of
colour vision; nothing is said by colour alone.
"""

from __future__ import annotations

import asyncio
import contextlib
import gc
import os
import sys
from collections import deque
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from textual import events
from textual._compositor import ChopsUpdate, LayoutUpdate
from textual.app import App
from textual.binding import Binding, BindingType
from textual.driver import Driver
from textual.message import Message
from textual.message_pump import MessagePump
from textual.screen import ModalScreen, Screen
from textual.theme import Theme
from textual.widgets import Input

from .document import PlanDocument
from .equipment import Circumstances, memory_file, recall
from .journal import Journal, Leftover, first_time, leftovers, state_folder
from .painting import ChangesOnly, Painting, ascii_terminal
from .screens.base import WorkScreen
from .screens.plan import PlanScreen
from .session import Session
from .widgets.lines import HELP, TOUR

if TYPE_CHECKING:
    from rich.console import RenderableType

    from firing.remote.outlets import Outlets
    from firing.watch.options import WatchOptions

    from .live_watch import LiveWatch
    from .watch_supervisor import WatchSupervisor


DARK = Theme(
    name="dark",
    dark=True,
    primary="#56B4E9",
    secondary="#009E73",
    accent="#E69F00",
    warning="#E69F00",
    error="#E8743B",
    success="#009E73",
    foreground="#E4E6E8",
    background="#101418",
    surface="#181E24",
    panel="#222B33",
    variables={
        "line-0": "#56B4E9",
        "line-1": "#E69F00",
        "line-2": "#B8BEC4",
        "line-3": "#2BC49A",
        "quiet": "#9AA4AE",
        "marked": "#2C3D4B",
        "input-selection-background": "#0072B2",
    },
)

LIGHT = Theme(
    name="light",
    dark=False,
    primary="#0072B2",
    secondary="#007A58",
    accent="#B34700",
    warning="#B34700",
    error="#B34700",
    success="#007A58",
    foreground="#16191C",
    background="#FBFBF9",
    surface="#F1F2EF",
    panel="#E3E6E4",
    variables={
        "line-0": "#0072B2",
        "line-1": "#B34700",
        "line-2": "#4A5157",
        "line-3": "#007A58",
        "quiet": "#565E65",
        "marked": "#CBDDEA",
        "input-selection-background": "#9CCBEA",
    },
)


_IN_FIVE_LINES = "In five lines"


def _tour_lines() -> list[str | tuple[str, str]]:
    return [("  ", words) for words in TOUR]


_TERMINAL_EVERY_S = 1.0
"""How often it is looked whether there still is a terminal [s]."""
_OPENING_S = 0.005
_KEY_PATIENCE_S = 0.25
"""The next key waits so long at most for a screen that went away with the one before it."""


class KeyObeyed(Message):
    """Runs behind a key, and tells when it and what it brought about have come through."""

    def __init__(self, key: int, start: MessagePump, rounds: int) -> None:
        super().__init__()
        self.key, self.start, self.rounds = key, start, rounds


class LastingStream:
    """A terminal's stream to write to.  Where nobody reads any more, nothing fails and none waits:
    Textual's writer would die of the first error, and what draws would wait for it for ever.
    """

    def __init__(self, stream: Any) -> None:
        self._stream = stream
        self.fileno = stream.fileno

    def write(self, text: str) -> None:
        """Write, if anybody reads."""
        with contextlib.suppress(OSError):
            self._stream.write(text)

    def flush(self) -> None:
        """Send what was written, if anybody reads."""
        with contextlib.suppress(OSError):
            self._stream.flush()


Ended = Literal["clean", "saved", "given up", "no terminal"]
"""How a plan was left: without unsaved changes, after saving them, or without them; or its terminal
has gone, and what is unsaved stands in the journal."""


class FiringApp(App[Ended]):
    """Plan, see and review firings."""

    CSS_PATH = "app.tcss"
    TITLE = "firing"
    HELP_TITLE = "Everywhere"
    HELP_WORDS = (
        "This tool reads and plans; it never switches a kiln.",
        "? is help, too; in a line of text it is typed, and F1 alone is help.",
    )
    # Textual's own is brought down by a key that comes before its list has lines.
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        HELP,
        Binding("question_mark", "ask_help", "Help", priority=True, show=False),
        Binding("f9", "shade", "Dark or light", show=False, tooltip="Dark letters, or light"),
        Binding(
            "ctrl+p",
            "commands",
            "Commands",
            tooltip="Everything that can be done here, to be found by a part of its words",
        ),
        Binding("ctrl+q", "quit", "Quit", priority=True, tooltip="Leave; asks if work is unsaved"),
    ]

    def __init__(
        self,
        document: PlanDocument,
        state: Path,
        *,
        light: bool = False,
        circumstances: Circumstances | None = None,
        watch: WatchOptions | None = None,
        tour: bool = False,
    ) -> None:
        super().__init__()
        # Over a slow line every step of an animation is a screenful.
        self.animation_level = "none"
        self.register_theme(DARK)
        self.register_theme(LIGHT)
        self.theme = LIGHT.name if light else DARK.name
        self.session = Session(document, Journal(state), circumstances or Circumstances())
        self.session.tour = tour and watch is None and first_time(state)
        self._order = watch
        self._trouble = ""
        if circumstances is None or not circumstances.equipment.names:
            # Only the names: reading takes longer than a first screen may.
            self.session.coming, self._trouble = recall(memory_file(state))
        self.session.forecast_first()
        self._left = self._left_behind(state)
        self._waiting: deque[events.Key | events.Paste] = deque()
        self._key_under_way = 0
        self._keys_begun = 0
        self._painting = Painting(ascii_only=ascii_terminal(os.environ))

    # The terminal

    def _build_driver(self, *arguments: Any, **named: Any) -> Driver:
        driver: Any = super()._build_driver(*arguments, **named)
        if hasattr(driver, "_file"):
            driver._file = LastingStream(driver._file)
        return driver  # type: ignore[no-any-return]  # its file is known to no type

    def _look_for_terminal(self) -> None:
        """Leave the screens if their terminal has gone, which by itself ends no program that
        ignores hang-ups: they would read its end again and again.
        """
        ends = [stream.fileno() for stream in (sys.__stdin__, sys.__stderr__) if stream is not None]
        if all(os.isatty(end) for end in ends):
            return
        nowhere = os.open(os.devnull, os.O_RDWR)
        for end in ends:  # what is said from now on, of a watch that goes on, is said to nobody
            os.dup2(nowhere, end)
        self.exit("no terminal")

    @property
    def ascii_only(self) -> bool:
        """Whether the terminal shows ASCII alone."""
        return self._painting.ascii_only

    def _display(self, screen: Screen[Any], renderable: RenderableType | None) -> None:
        """Send only what the terminal does not show yet."""
        update: Any = renderable
        if isinstance(renderable, LayoutUpdate | ChopsUpdate):
            update = ChangesOnly(renderable, self._painting)
        super()._display(screen, update)

    # Keys, one after the other

    async def on_event(self, event: events.Event) -> None:
        """Obey keys one by one, however many come at once.

        A key may move the focus, and the next is meant for where it went.  A slow line delivers
        several in one packet: they wait until those before them have had all their effect.
        """
        away = isinstance(event, events.Key) and event.key == "escape"
        if away and len(self._notifications) > 0 and isinstance(self.screen, WorkScreen):
            # Messages lie on top, and go first.
            self.clear_notifications()
            return
        if away and self.screen is self.plan and self.plan.end_tour():
            return
        interrupts = isinstance(event, events.Key) and event.key == "ctrl+c"
        over = interrupts and isinstance(self.screen, ModalScreen)
        if over and not isinstance(self.focused, Input):  # which copies by it
            # What lies on top keeps keys from the program.
            self.action_help_quit()
            return
        if isinstance(event, events.Resize):
            self._painting.forget()
        typed = isinstance(event, events.Key | events.Paste) and not event.is_forwarded
        if not typed:
            await super().on_event(event)
            return
        assert isinstance(event, events.Key | events.Paste)
        self._waiting.append(event)
        number = self._key_under_way
        if not number:
            await self._next_key()
        elif len(self._waiting) == 1:
            self.set_timer(_KEY_PATIENCE_S, lambda: self._give_key_up(number))

    @property
    def obeying(self) -> bool:
        """Whether a key is under way, and others may wait for it."""
        return bool(self._key_under_way)

    async def _next_key(self) -> None:
        if not self._waiting or not self.is_running:
            self._key_under_way = 0
            return
        self._keys_begun += 1
        self._key_under_way = number = self._keys_begun
        if not self.screen.is_mounted:
            # What has just been opened is whole before a key is meant for it.
            self.set_timer(_OPENING_S, self._next_key)
            return
        start = self.focused or self.screen
        await super().on_event(self._waiting.popleft())
        # Twice: behind the key, then behind the messages that it was answered with.
        start.post_message(KeyObeyed(number, start, 2))
        waiting = bool(self._waiting)
        self.set_timer(
            _KEY_PATIENCE_S, lambda: self._give_key_up(number, None if waiting else start)
        )

    async def on_key_obeyed(self, message: KeyObeyed) -> None:
        """Let the next key come once this one has had its effect."""
        message.stop()
        if message.key != self._key_under_way:
            return
        again = KeyObeyed(message.key, message.start, message.rounds - 1)
        if not message.rounds or not message.start.post_message(again):
            await self._next_key()

    async def _give_key_up(self, number: int, start: MessagePump | None = None) -> None:
        """Let the next key come, unless none waits and this one's `start` may still tell."""
        if number == self._key_under_way and not (start is not None and start.is_attached):
            await self._next_key()

    def _left_behind(self, state: Path) -> list[Leftover]:
        path = self.session.document.path
        found = leftovers(state, path)
        # Work without a file of its own has nobody else to offer it.
        return found if path is None else [*found, *(x for x in leftovers(state) if x.path is None)]

    def get_default_screen(self) -> Screen[Any]:
        """Begin with the plan."""
        return PlanScreen(self.session)

    @property
    def plan(self) -> PlanScreen:
        """The screen of the plan, which is always there."""
        found = self.screen_stack[0]
        assert isinstance(found, PlanScreen)
        return found

    def on_ready(self) -> None:
        """Offer what an earlier run left behind."""
        gc.freeze()
        gc.enable()
        self.app_resume_signal.subscribe(self, lambda _: self._painting.forget())
        if not self.is_headless:
            self.set_interval(_TERMINAL_EVERY_S, self._look_for_terminal)
        self.plan.read_coming()
        if self._trouble:
            self.plan.say(self._trouble, fault=True)
        if self._order is not None:
            from .screens.watch import WatchScreen

            self.push_screen(WatchScreen(self.session, self._order))
        elif self._left:
            self.plan.job(self._offer)

    async def _offer(self) -> None:
        for left in self._left:
            await self.plan.offer_leftover(left)
            if self.session.document.changed:
                return

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer leaving, and the list of commands, where work is done; a sheet is left first."""
        if action in ("quit", "commands"):
            return isinstance(self.screen, WorkScreen)
        if action == "ask_help":
            return not (self.focused is not None and self.focused.check_consume_key("?", "?"))
        return True

    def action_shade(self) -> None:
        """Change between dark and light."""
        self.theme = DARK.name if self.theme == LIGHT.name else LIGHT.name

    def action_help(self) -> None:
        """Show the keys of the screen in front."""
        from .screens.dialogs import Sheet, help_lines

        if not (isinstance(self.screen, Sheet) and self.screen.is_help):
            lines = [*help_lines(self.screen), "", _IN_FIVE_LINES, *_tour_lines()]
            self.push_screen(Sheet("Help", lines, is_help=True))

    def action_ask_help(self) -> None:
        """Show the keys of the screen in front."""
        self.action_help()

    def action_tour(self) -> None:
        """Show the five lines that somebody sees who is here for the first time."""
        from .screens.dialogs import Sheet

        self.push_screen(Sheet(f"Tour: {_IN_FIVE_LINES.lower()}", _tour_lines(), is_help=True))

    async def action_quit(self) -> None:
        """Leave, unless there is unsaved work that is not to be left."""
        if isinstance(self.screen, WorkScreen) and self.screen.settle():
            self.screen.job(self._quit)

    def action_help_quit(self) -> None:
        """Answer ^C: ask whether to end a watch that runs, over a text too, or say what leaves."""
        from .screens.dialogs import Ask

        at_work = isinstance(self.screen, WorkScreen)
        if self.session.watching and not isinstance(self.screen, Ask):
            self.run_worker(self.action_quit() if at_work else self._quit(), group="quit")
        else:
            first = "" if at_work else "Esc closes this first.  "
            self.notify(f"{first}^Q quits, and asks if work is unsaved.", title="^C", markup=False)

    async def _quit(self) -> None:
        changed = self.session.document.changed
        if self.session.watching and not await self.supervisor.may_end(self.plan):
            return
        if not await self.plan.may_leave():
            return
        await self.end_watch()
        self.session.journal.clear()
        still = self.session.document.changed
        self.exit("given up" if still else "saved" if changed else "clean")

    @cached_property
    def supervisor(self) -> WatchSupervisor:
        """Whoever looks after the watch, from the first watch on."""
        from .watch_supervisor import WatchSupervisor

        return WatchSupervisor(self, self.session, self._watch_ended)

    def begin_watch(self, order: WatchOptions) -> LiveWatch:
        """Begin a watch, which goes on whatever screen is in front."""
        return self.supervisor.begin(order)

    def _watch_ended(self) -> None:
        if self.screen is self.plan:
            self.plan.show_document()

    async def end_watch(self) -> None:
        """End the watch that runs, if one does: its recording is put on the disk and closed."""
        if self.session.watch is not None:
            await asyncio.to_thread(self.session.watch.end)

    def action_commands(self) -> None:
        """Show all commands that apply, and do the one chosen."""
        from .screens.dialogs import Command, Commands, applying

        async def do(command: Command | None) -> None:
            if command is not None:
                await self.run_action(command.action, default_namespace=command.node)

        if isinstance(self.screen, WorkScreen):
            words = "In five lines, what there is: the end of the help (F1)"
            tour = Command("Tour", words, "", "tour", self)
            self.push_screen(Commands([*applying(self.screen), tour]), do)


@dataclass(frozen=True)
class ScreensLeft:
    """The document last open and how it was left, None if it was cut off; and the last watch."""

    document: PlanDocument
    how: Ended | None
    watch: LiveWatch | None


def run(
    document: PlanDocument,
    *,
    light: bool = False,
    circumstances: Circumstances | None = None,
    watch: WatchOptions | None = None,
    outlets: Outlets | None = None,
    state: Path | None = None,
) -> ScreensLeft:
    """Open the screens on a document, perhaps with a watch to begin with.

    Kiln, load, controller and tariff are those chosen the last time if `circumstances` name none.
    Unsaved work is kept in `state`; in the user's own folder for it if none is given.
    """
    app = FiringApp(
        document,
        state or state_folder(),
        light=light,
        circumstances=circumstances,
        watch=watch,
        tour=True,
    )
    app.session.outlets = outlets
    try:
        try:
            how = app.run()
        finally:
            _go_on(app.session.watch)
    finally:
        # However the screens came to their end, a recording comes to its own.
        if app.session.watch is not None:
            app.session.watch.end()
        app.session.journal.close()
    return ScreensLeft(app.session.document, how, app.session.watch)


def _go_on(watch: LiveWatch | None) -> None:
    """Go on in plain lines with a watch whose screens failed, or whose terminal has gone."""
    if watch is not None and watch.running:
        from .watch_supervisor import go_on_in_plain_lines

        go_on_in_plain_lines(watch)
