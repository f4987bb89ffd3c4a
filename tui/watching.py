"""A watch in a thread of its own, and what can be seen of it from outside; no screen is known here.

The thread alone touches the source, the recorder and the watcher.  What it knows it lays down as a
`Seen` that never changes any more, so a screen reads without a lock and nothing ever waits for it:
neither a key for the watch, nor a line for a screen.
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
    from firing.watch.state import Estimate, Rest

Stage = Literal["connecting", "waiting", "reading", "silent", "lost", "ended", "stopped", "broken"]
"""Opening; opened without a line so far; lines come; none for long; trying again; the source came
to its end; somebody ended the watch; it could not begin or go on."""

OVER: tuple[Stage, ...] = ("ended", "stopped", "broken")

RemarkKind = Literal["note", "told", "call", "alarm", "over"]


@dataclass(frozen=True, slots=True)
class WatchRemark:
    """One thing told.

    Attributes
    ----------
    at_s : float
        When, on the recording's clock [s].
    kind : {"note", "told", "call", "alarm", "over"}
        On the side; an event; one that wants somebody to act; an alarm raised; an alarm over.
    words : str
        One sentence.
    """

    at_s: float
    kind: RemarkKind
    words: str


@dataclass(frozen=True, slots=True)
class Kept:
    """How the recording stands.

    Attributes
    ----------
    file : str
        Its path.
    rows : int
        Lines of readings of this watch.
    unsynced_s : float or None
        For how long lines wait to be put on the disk [s]; None if none does.
    trouble : str or None
        Why lines are not being written; None if they are.
    waiting, lost : int
        Lines in memory that the file does not take, and lines given up.
    gap : str
        The last gap marked in this watch, in words; empty if there is none.
    """

    file: str
    rows: int
    unsynced_s: float | None
    trouble: str | None
    waiting: int
    lost: int
    gap: str


@dataclass(frozen=True, eq=False)
class Seen:
    """What is known of a watch at one moment; times on the recording's clock [s].

    Attributes
    ----------
    stage, why
        What is going on, and why it is lost or broken.
    began : datetime or None
        The moment of second 0.
    now_s, temperature_c, read_s
        Now, how hot (smoothed; NaN if unknown), and when the last line came.
    live : bool
        Whether readings come now; else a log is replayed.
    names, channel
        The channels, and which one is the kiln's.
    reading : Reading or None
        The last, of all channels.
    estimate : Estimate or None
        The last that was worked out.
    rest : Rest or None
        How it goes on from that estimate, as expected.
    time_s, course_c : ndarray, shape (n,)
        The kiln so far, as means over half a minute [s, °C].
    remarks : tuple of WatchRemark
        What was told, the oldest first.
    standing : tuple of WatchRemark
        Alarms raised now, the oldest first.
    calls : int
        How many things were told so far that somebody has to do something about.
    recording : Kept or None
        The recording; None without one.
    not_recorded : str
        Why nothing is recorded although a file was named.
    """

    stage: Stage = "connecting"
    why: str = ""
    began: datetime | None = None
    now_s: float = 0.0
    temperature_c: float = math.nan
    read_s: float | None = None
    live: bool = True
    names: tuple[str, ...] = ()
    channel: int = 0
    reading: Reading | None = None
    estimate: Estimate | None = None
    rest: Rest | None = None
    time_s: FloatArray = field(default_factory=lambda: np.array([]))
    course_c: FloatArray = field(default_factory=lambda: np.array([]))
    remarks: tuple[WatchRemark, ...] = ()
    standing: tuple[WatchRemark, ...] = ()
    calls: int = 0
    recording: Kept | None = None
    not_recorded: str = ""

    @property
    def complete(self) -> bool:
        """Whether every line that was to be recorded is in its file."""
        kept = self.recording
        return not self.not_recorded and (kept is None or not (kept.waiting or kept.lost))

    @property
    def over(self) -> bool:
        """Whether nothing more will come."""
        return self.stage in OVER


class LiveWatch:
    """One watch, running from the start.

    Parameters
    ----------
    order : WatchOptions
        What to watch, and how.

    Attributes
    ----------
    order : WatchOptions
        The same; with the plan as it was when the watch began.
    seen : Seen
        The latest that is known.
    """

    def __init__(self, order: WatchOptions) -> None:
        self.order = order
        self.seen = Seen()
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
        """End the watch: the recording is put on the disk and let go.

        Parameters
        ----------
        wait_s : float, optional
            How long to wait for that [s]; 0 only asks for it.

        Returns
        -------
        bool
            Whether everything is closed.
        """
        self._stop.set()
        if wait_s != 0.0 and self._thread.ident is not None:
            self._thread.join(wait_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        from firing.watch.attempts import Attempts
        from firing.watch.events import NO_SAFETY_DEVICE

        from .watchopened import open_heard, status_every_s

        try:
            opened, ledger = open_heard(self.order, self._publish)
        except FiringError as error:
            self.seen = replace(self.seen, stage="broken", why=str(error))
            return
        except Exception as error:
            self.seen = replace(self.seen, stage="broken", why=_unforeseen(error))
            return
        attempts = Attempts()
        try:
            attempts.of("the screen", lambda: ledger.note(NO_SAFETY_DEVICE), None)
            attempts.of("the screen", ledger.lay_down, None)
            opened.session(ledger, status_every_s(opened)).run(self._stop.is_set)
            ledger.ended("stopped" if self._stop.is_set() else "ended")
        except FiringError as error:
            ledger.ended("broken", str(error))
        except Exception as error:
            # Whatever goes wrong here, the lines so far are kept and a person is told.
            ledger.ended("broken", _unforeseen(error))
        finally:
            opened.close()
            attempts.of("the screen", ledger.lay_down, None)
            if not self.seen.over:
                why = "the screen failed, and did not learn how the watch ended"
                self.seen = replace(self.seen, stage="broken", why=why)

    def _publish(self, seen: Seen) -> None:
        self.seen = seen


def _unforeseen(error: Exception) -> str:
    return f"an unforeseen fault ({type(error).__name__}: {error}); begin the watch again"
