"""One watch from beginning to end: read, record, follow, tell; until told to stop."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from firing.capture.connection import Connection
from firing.capture.judge import Judge
from firing.capture.reading import Reading
from firing.capture.recorder import Recorder
from firing.capture.source import LINE_WAIT_S, SourceEnded
from firing.capture.stamps import TimeBase
from firing.units import format_duration
from firing.watch.estimate import Estimate
from firing.watch.notices import Notice
from firing.watch.watcher import Watcher

TICK_S = 1.0
CLOCK_CHECK_S = 60.0


class Listener(Protocol):
    """Whoever shows a watch: a terminal, a file, a screen."""

    def note(self, sentence: str) -> None:
        """Show something on the side."""

    def notice(self, notice: Notice) -> None:
        """Show a notice."""

    def status(self, estimate: Estimate, reading: Reading | None) -> None:
        """Show how the firing stands, with the last reading."""

    def tick(self) -> None:
        """Do what is due, several times a second."""


class Session:
    """One watch.

    Parameters
    ----------
    connection : Connection
        Where readings come from, opened already.
    watcher : Watcher
        What follows the firing.
    listener : Listener
        Who is told.
    base : TimeBase
        The clock.
    channel : int
        Which channel is the kiln's.
    recorder : Recorder, optional
        Where readings go.
    status_every_s : float
        How often to tell how it stands [s].
    silent_after_s : float
        How long without a line is a gap [s].
    live : bool
        Whether readings come now, or from a log with a clock of its own.
    judged : bool
        Whether a reading that no kiln can have given is marked and left out.
    own_clock : bool
        Whether live readings bring their times, which then show every gap themselves.
    """

    def __init__(
        self,
        connection: Connection,
        watcher: Watcher,
        listener: Listener,
        base: TimeBase,
        *,
        channel: int = 0,
        recorder: Recorder | None = None,
        status_every_s: float = 60.0,
        silent_after_s: float = 60.0,
        live: bool = True,
        judged: bool = True,
        own_clock: bool = False,
    ) -> None:
        self._connection = connection
        self._watcher = watcher
        self._listener = listener
        self._base = base
        self._channel = channel
        self._recorder = recorder
        self._status_every_s = status_every_s
        self._silent_after_s = silent_after_s
        self._live = live
        self._own_clock = own_clock
        self._judge = Judge(len(connection.source.channels)) if judged else None
        self._reading: Reading | None = None
        self._now_s = base.now_s() if live else 0.0
        self._read_s = self._now_s
        self._ticked_s = -math.inf
        self._status_s: float | None = None
        self._clock_s = self._now_s
        self._lost_since_s: float | None = None
        self._silent = False
        self._told_s = -math.inf

    def run(self, stopped: Callable[[], bool]) -> None:
        """Watch until `stopped` returns true or the source ends; a last status is told then."""
        self._watcher.begin(self._now_s, live=self._live)
        try:
            self._run(stopped)
        finally:
            self._watcher.close()

    def _run(self, stopped: Callable[[], bool]) -> None:
        while not stopped():
            try:
                reading = self._connection.read(LINE_WAIT_S)
            except SourceEnded as ended:
                self._listener.note(f"{ended}")
                break
            if self._live:
                self._now_s = self._base.now_s()
            if reading is not None:
                self._take(reading)
            self._check_connection()
            if self._live and self._now_s - self._ticked_s >= TICK_S:
                self._each_second()
            if self._status_s is None and self._reading is not None:
                # The first after one round of the grid, when there is something to tell.
                self._status_s = self._now_s + min(1.0, self._status_every_s)
            if self._status_s is not None and self._now_s >= self._status_s:
                self._status_s = self._now_s + self._status_every_s
                self._tell_status()
            self._side()
        if self._told_s != self._now_s and self._reading is not None:
            self._tell_status()
        self._side()

    def _take(self, reading: Reading) -> None:
        if reading.at_s is not None:
            self._now_s = reading.at_s
        if self._judge is not None:
            self._judge.mark(self._now_s, reading)
        self._reading, self._read_s, self._silent = reading, self._now_s, False
        if self._recorder is not None:
            self._recorder.write(self._now_s, reading)
        self._tell(self._watcher.add(self._now_s, reading, self._channel))
        self._ticked_s = self._now_s

    def _each_second(self) -> None:
        self._ticked_s = self._now_s
        self._tell(self._watcher.tick(self._now_s))
        silent_s = self._now_s - self._read_s
        if not self._silent and self._lost_since_s is None and silent_s > self._silent_after_s:
            self._silent = True
            self._mark(f"no line from {self._connection.source.name}")
        if self._now_s - self._clock_s >= CLOCK_CHECK_S:
            self._clock_s = self._now_s
            step_s = self._base.clock_step_s()
            if step_s is not None:
                self._listener.note(
                    f"this computer's clock was set by {format_duration(step_s, signed=True)}; the "
                    "recording goes on by the clock it began with"
                )

    def _check_connection(self) -> None:
        reason = self._connection.lost_because
        if reason is not None and self._lost_since_s is None:
            self._lost_since_s = self._now_s
            self._listener.note(f"{reason}; trying again until it is back")
            self._mark(reason)
        elif reason is None and self._lost_since_s is not None:
            gone = format_duration(self._now_s - self._lost_since_s)
            self._listener.note(f"{self._connection.source.name} is back after {gone}")
            self._lost_since_s = None

    def _mark(self, reason: str) -> None:
        # Late lines with times of their own may still come; a row of now would push them behind it.
        if self._recorder is not None and not self._own_clock:
            self._recorder.gap(self._now_s, reason)

    def _tell(self, notices: list[Notice]) -> None:
        for notice in notices:
            self._listener.notice(notice)

    def _tell_status(self) -> None:
        self._told_s = self._now_s
        self._listener.status(self._watcher.estimate(self._now_s), self._reading)

    def _side(self) -> None:
        for remark in self._connection.source.remarks():
            self._listener.note(remark)
        if self._recorder is not None:
            self._recorder.tick()
            for remark in self._recorder.remarks():
                self._listener.note(remark)
        self._listener.tick()
