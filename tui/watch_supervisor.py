"""Keeps a running watch: rings and tells wherever one is in the screens, and ends it in order.

Where the screens fail it goes on in plain lines.
"""

from __future__ import annotations

import asyncio
import contextlib
import signal
import sys
import threading
import time
from collections.abc import Callable
from types import FrameType
from typing import TYPE_CHECKING, Any

from firing.report.sanitize import plain
from firing.watch.snapshot import WatchState
from firing.watch.status_text import MomentText, status_line

from .live_watch import LiveWatch
from .screens.base import WorkScreen
from .watch_text import remark_words, stage_words

if TYPE_CHECKING:
    from textual.app import App

    from firing.watch.options import WatchOptions
    from firing.watch.snapshot import WatchRemark

    from .session import Session

LOOK_EVERY_S = 1.0
"""How often the screens look at what the watch has laid down [s]."""
CLOSING_S = 15.0
"""How long a signal waits for the recording to be closed [s]."""
ALARM_SHOWN_S = 20.0
"""A call is told again until somebody answers; its message need not stay in the way [s]."""
MOST_AT_ONCE = 4
PLAIN_LOOK_EVERY_S = 0.5
PLAIN_STATUS_EVERY_S = 60.0


class WatchSupervisor:
    """Looks after the one watch of a session; calls `ended` when it comes to its end."""

    def __init__(self, app: App[Any], session: Session, ended: Callable[[], None]) -> None:
        self._app, self._session, self._ended = app, session, ended
        self._loop = asyncio.get_running_loop()
        self._signals: dict[int, Any] = {}
        self._calls = 0
        self._over = False
        app.set_interval(LOOK_EVERY_S, self.look)

    def begin(self, order: WatchOptions) -> LiveWatch:
        """Begin a watch; there is none running."""
        watch = self._session.watch = LiveWatch(order, self._session.outlets)
        self._calls, self._over = 0, False
        self._heed_signals()
        watch.begin()
        return watch

    def look(self) -> None:
        """Ring and tell of what is new, and show it if the watch is in front."""
        watch = self._session.watch
        # A timer may come once more while the program ends and its screens are gone.
        if watch is None or not self._app.screen_stack:
            return
        from .screens.watch import WatchScreen

        seen = watch.seen
        front = self._app.screen
        ended = seen.over and not self._over
        # The bell comes first: what is drawn may fail.
        if seen.calls != self._calls or (ended and seen.stage != "stopped"):
            self._app.bell()
        screens = [s for s in self._app.screen_stack if isinstance(s, WatchScreen)]
        for screen in screens:
            screen.look()
        if front not in screens:
            self._tell_elsewhere(watch, seen, ended)
        self._calls, self._over = seen.calls, seen.over
        if ended:
            self._ended()
        if not watch.running:
            self._leave_signals()

    def _tell_elsewhere(self, watch: LiveWatch, seen: WatchState, ended: bool) -> None:
        if ended:
            words, fault = stage_words(seen, watch.order.source)
            self._app.notify(
                plain(words),
                title="Watch",
                severity="error" if fault else "information",
                timeout=ALARM_SHOWN_S,
                markup=False,
            )
        new = min(seen.calls - self._calls, MOST_AT_ONCE)
        calls = [remark for remark in seen.remarks if remark.kind in ("alarm", "call")]
        for remark in calls[-new:] if new > 0 else []:
            title = "Watch: ALARM" if remark.kind == "alarm" else "Watch: to do"
            self._app.notify(
                plain(remark.words),
                title=title,
                severity="error",
                timeout=ALARM_SHOWN_S,
                markup=False,
            )

    # A closed line, or the end of the computer's day

    def _heed_signals(self) -> None:
        if threading.current_thread() is not threading.main_thread() or self._signals:
            return
        for name in ("SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)  # no SIGHUP on Windows
            # Under nohup it is ignored, and has to stay so.
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                self._signals[number] = signal.signal(number, self._caught)
        heard = getattr(signal, "SIGUSR1", None)  # by itself it would end the program
        if heard is not None:
            self._signals[heard] = signal.signal(heard, lambda *_: self._acknowledge())

    def _leave_signals(self) -> None:
        for number, handler in self._signals.items():
            signal.signal(number, handler)
        self._signals = {}

    def _acknowledge(self) -> None:
        watch = self._session.watch
        if watch is not None:
            # A lock must not be waited for in the midst of whatever was interrupted.
            threading.Thread(target=watch.answer, daemon=True).start()

    def _caught(self, number: int, frame: FrameType | None) -> None:
        """End the recording at once; then end the program as the signal would have."""
        watch = self._session.watch
        if watch is not None:
            watch.end(CLOSING_S)
        self._leave_signals()
        if number == signal.SIGTERM:
            changed = self._session.document.changed
            self._loop.call_soon_threadsafe(self._app.exit, None if changed else "clean")
        else:
            # The line to the terminal is closed: nothing can be drawn or put in order there.
            signal.raise_signal(number)

    async def may_end(self, screen: WorkScreen) -> bool:
        """Ask what becomes of a running watch; returns whether it may be ended."""
        watch = self._session.watch
        if watch is None:
            return True
        kept = watch.seen.recording
        what = "nothing is being recorded" if kept is None else f"{kept.file} is being recorded"
        answer = await screen.ask(
            f"A watch is running ({watch.order.source}); {what}.",
            ("stay", "Go on watching"),
            ("end", "End the watch and quit"),
        )
        return answer == "end"


def go_on_in_plain_lines(watch: LiveWatch) -> None:
    """Tell of a running watch on standard error until it is over, Ctrl-C, or a signal to end.

    Its screens failed, or their terminal has gone; the watch itself is left as it is.
    """
    asked: set[int] = set()
    if threading.current_thread() is threading.main_thread():
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)  # no SIGHUP on Windows
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, lambda caught, _: asked.add(caught))
    _print(
        "firing: the screens failed, and the watch goes on here: reading, recording and alarms.  "
        "Ctrl-C ends it."
    )
    last = watch.seen.remarks[-1] if watch.seen.remarks else None
    for remark in watch.seen.standing:
        _print_remark(watch, remark)
    status_s = time.monotonic()
    while True:
        running = watch.running
        remarks = watch.seen.remarks
        since = next((n + 1 for n, remark in enumerate(remarks) if remark is last), 0)
        for remark in remarks[since:]:
            _print_remark(watch, remark)
        last = remarks[-1] if remarks else None
        if time.monotonic() >= status_s:
            status_s += PLAIN_STATUS_EVERY_S
            _print_status(watch)
        if asked or not running:
            return
        time.sleep(PLAIN_LOOK_EVERY_S)


def _print_remark(watch: LiveWatch, remark: WatchRemark) -> None:
    seen = watch.seen
    if seen.began is None:
        return
    at, words = remark_words(remark, MomentText(seen.began, seen.now_s))
    bell = "\a" if remark.kind in ("alarm", "call") else ""
    _print(f"{bell}{at} {words}")


def _print_status(watch: LiveWatch) -> None:
    seen = watch.seen
    if seen.estimate is None or seen.began is None:
        return
    with contextlib.suppress(Exception):  # what failed on the screen may fail here, too
        _print(status_line(seen.estimate, seen.began, watch.schedule, seen.unit))


def _print(words: str) -> None:
    # A terminal that is gone does not end a recording.
    with contextlib.suppress(OSError, ValueError):
        print(words, file=sys.stderr, flush=True)
