"""A running watch: what is known of it at one moment, and the thread that finds it out.

The thread alone touches the source, the recorder and the watcher.  What it knows it lays down as a
`WatchState` that never changes any more, so a screen reads without a lock and nothing ever waits
for it: neither a key for the watch, nor a line for a screen.  No screen is known here.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, Literal

import numpy as np

from firing.errors import FiringError
from firing.trace import FloatArray

if TYPE_CHECKING:
    from firing.capture.reading import Reading
    from firing.schedule.schedule import Schedule
    from firing.watch.options import WatchOptions
    from firing.watch.state import Estimate, RemainingCourse


Stage = Literal["connecting", "waiting", "reading", "silent", "lost", "ended", "stopped", "broken"]
"""Opening; opened without a line so far; lines come; none for long; trying again; the source came
to its end; somebody ended the watch; it could not begin or go on."""

OVER: tuple[Stage, ...] = ("ended", "stopped", "broken")

RemarkKind = Literal["note", "told", "call", "alarm", "over"]


@dataclass(frozen=True, slots=True)
class WatchRemark:
    """One thing told."""

    at_s: float
    """When, on the recording's clock [s]."""
    kind: RemarkKind
    """On the side; an event; one that wants somebody to act; an alarm raised; an alarm over."""
    words: str
    """One sentence."""


@dataclass(frozen=True, slots=True)
class RecordingState:
    """How the recording stands."""

    file: str
    """Its path."""
    rows: int
    """Lines of readings of this watch."""
    unsynced_s: float | None
    """For how long lines wait to be put on the disk [s]; None if none does."""
    trouble: str | None
    """Why lines are not being written; None if they are."""
    waiting: int
    lost: int
    """Lines in memory that the file does not take, and lines given up."""
    gap: str
    """The last gap marked in this watch, in words; empty if there is none."""


@dataclass(frozen=True, eq=False)
class WatchState:
    """What is known of a watch at one moment; times on the recording's clock [s]."""

    stage: Stage = "connecting"
    why: str = ""
    """What is going on, and why it is lost or broken."""
    began: datetime | None = None
    """The moment of second 0."""
    now_s: float = 0.0
    temperature_c: float = math.nan
    read_s: float | None = None
    """Now, how hot (smoothed; NaN if unknown), and when the last line came."""
    live: bool = True
    """Whether readings come now; else a log is replayed."""
    names: tuple[str, ...] = ()
    channel: int = 0
    """The channels, and which one is the kiln's."""
    reading: Reading | None = None
    """The last, of all channels."""
    estimate: Estimate | None = None
    """The last that was worked out."""
    rest: RemainingCourse | None = None
    """How it goes on from that estimate, as expected."""
    time_s: FloatArray = field(default_factory=lambda: np.array([]))
    course_c: FloatArray = field(default_factory=lambda: np.array([]))
    """The kiln so far, as means over half a minute [s, °C]."""
    remarks: tuple[WatchRemark, ...] = ()
    """What was told, the oldest first."""
    standing: tuple[WatchRemark, ...] = ()
    """Alarms raised now, the oldest first."""
    calls: int = 0
    """How many things were told so far that somebody has to do something about."""
    recording: RecordingState | None = None
    """The recording; None without one."""
    not_recorded: str = ""
    """Why nothing is recorded although a file was named."""
    unreadable: bool = False
    """Whether, now that it is over, no line was a reading, or none at last."""

    @property
    def complete(self) -> bool:
        """Whether lines were readings, and every one that was to be recorded is in its file."""
        kept = self.recording
        return not (self.unreadable or self.not_recorded) and (
            kept is None or not (kept.waiting or kept.lost)
        )

    @property
    def over(self) -> bool:
        """Whether nothing more will come."""
        return self.stage in OVER


class LiveWatch:
    """One watch, running from the start, by the plan as it was then; `seen` is the latest known."""

    def __init__(self, order: WatchOptions) -> None:
        self.order = order
        self.seen = WatchState()
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

    def _run(self) -> None:
        from firing.watch.events import NO_SAFETY_DEVICE
        from firing.watch.fault_isolation import FaultIsolation

        from .watch_listener import open_with_listener, status_every_s

        try:
            opened, listener = open_with_listener(self.order, self._publish)
        except FiringError as error:
            self.seen = replace(self.seen, stage="broken", why=str(error))
            return
        except Exception as error:
            self.seen = replace(self.seen, stage="broken", why=_unforeseen(error))
            return
        attempts = FaultIsolation()
        try:
            attempts.run("the screen", lambda: listener.note(NO_SAFETY_DEVICE), None)
            attempts.run("the screen", listener.lay_down, None)
            opened.session(listener, status_every_s(opened)).run(self._stop.is_set)
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

    def _publish(self, seen: WatchState) -> None:
        self.seen = seen


def _unforeseen(error: Exception) -> str:
    return f"an unforeseen fault ({type(error).__name__}: {error}); begin the watch again"
