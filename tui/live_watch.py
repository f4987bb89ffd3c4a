"""A watch in a thread of its own; no screen is known here.

The thread alone touches the source, the recorder and the watcher.  What it knows it lays down as a
`WatchState` that never changes any more, so a screen reads without a lock and nothing ever waits
for it: neither a key for the watch, nor a line for a screen.
"""

from __future__ import annotations

import threading
from dataclasses import replace
from typing import TYPE_CHECKING

from firing.errors import FiringError
from firing.watch.snapshot import Stage, WatchState

if TYPE_CHECKING:
    from firing.remote.outlets import Outlets
    from firing.schedule.schedule import Schedule
    from firing.watch.calls import CallBoard
    from firing.watch.fault_isolation import Listener
    from firing.watch.options import WatchOptions


class LiveWatch:
    """One watch, running from the start, by the plan as it was then; `seen` is the latest known."""

    def __init__(self, order: WatchOptions, outlets: Outlets | None = None) -> None:
        self.order = order
        self._outlets = outlets
        self.seen = WatchState()
        self.calls: CallBoard | None = None
        """Where a call is acknowledged or snoozed; None until the watch is open."""
        self._stop = threading.Event()
        # The end of the program waits for it: it closes the recording first.
        self._thread = threading.Thread(target=self._run, name="watch")

    def begin(self) -> None:
        """Open everything and watch, in the thread."""
        self._thread.start()

    @property
    def schedule(self) -> Schedule | None:
        """The plan it goes by."""
        return self.order.schedule

    @property
    def running(self) -> bool:
        """Whether the source or the recording is still held."""
        return self._thread.is_alive()

    def end(self, wait_s: float | None = None) -> bool:
        """End the watch: the recording is put on the disk and let go; returns whether that is done.

        It is waited for as long as it takes, or `wait_s`; 0 only asks for it.
        """
        self._stop.set()
        if wait_s != 0.0 and self._thread.ident is not None:
            self._thread.join(wait_s)
        return not self._thread.is_alive()

    def answer(self, *, snooze: bool = False) -> None:
        """Acknowledge what calls somebody, or snooze it.

        It changes only the message: alarms stand, and nothing is switched.  `seen` shows it when
        the watch lays down what is known the next time.
        """
        if self.calls is not None:
            self.calls.answer(snooze=snooze)

    def _run(self) -> None:
        from firing.watch.events import NO_SAFETY_DEVICE
        from firing.watch.fault_isolation import FaultIsolation
        from firing.watch.listener import open_with_listener, status_every_s

        try:
            opened, listener = open_with_listener(self.order, self._publish)
        except FiringError as error:
            self.seen = replace(self.seen, stage="broken", why=str(error))
            return
        except Exception as error:
            self.seen = replace(self.seen, stage="broken", why=_unforeseen(error))
            return
        self.calls = opened.calls
        attempts = FaultIsolation()
        try:
            attempts.run("the screen", lambda: listener.note(NO_SAFETY_DEVICE), None)
            attempts.run("the screen", listener.lay_down, None)
            told: Listener = listener
            if self._outlets is not None:
                self._outlets.open(opened)
                for sentence in self._outlets.begin():
                    listener.note(sentence)
                told = self._outlets.beside(listener, {}, 0.0)
            opened.session(told, status_every_s(opened)).run(self._stop.is_set)
            unreadable = opened.unreadable()
            if unreadable:
                attempts.run("the screen", lambda: listener.note(unreadable), None)
            stage: Stage = "stopped" if self._stop.is_set() else "ended"
            listener.ended(stage, unreadable=bool(unreadable))
        except FiringError as error:
            listener.ended("broken", str(error))
        except Exception as error:
            # Whatever goes wrong here, the lines so far are kept and a person is told.
            listener.ended("broken", _unforeseen(error))
        finally:
            opened.close()
            attempts.run("the screen", listener.lay_down, None)
            if not self.seen.over:
                why = "the screen failed, and did not learn how the watch ended"
                self.seen = replace(self.seen, stage="broken", why=why)
            if self._outlets is not None:
                self._outlets.end(by_itself=not self._stop.is_set())

    def _publish(self, seen: WatchState) -> None:
        self.seen = seen
        if self._outlets is not None:
            self._outlets.publish(seen)


def _unforeseen(error: Exception) -> str:
    return f"an unforeseen fault ({type(error).__name__}: {error}); begin the watch again"
