"""One watch from beginning to end: read, record, follow, tell; until told to stop.

A reading is marked and recorded before anything else is done with it.  What comes after (alarms,
estimates, the user's own program, the display) may each fail without ending the rest.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from firing.capture.clock import COUNTS_SLEEP, SuspensionDetector, TimeBase, clock_is_unset
from firing.capture.reading import PlausibilityCheck, Reading, Status
from firing.capture.recorder import Recorder
from firing.capture.source import LINE_WAIT_S, Connection, SourceEnded, UsualPause
from firing.units import format_duration
from firing.watch.events import WatchEvent
from firing.watch.fault_isolation import FaultIsolation, FaultTolerantDisplay, Listener, reason_of
from firing.watch.state import Estimate
from firing.watch.watcher import Watcher

if TYPE_CHECKING:
    from firing.watch.alarm_command import AlarmCommand
    from firing.watch.calls import CallBoard

TICK_S = 1.0
CLOCK_CHECK_S = 60.0


class WatchSession:
    """One watch.

    Parameters
    ----------
    status_every_s, silent_after_s : float
        How often to tell how it stands, and how long without a line is a gap [s].
    live : bool
        Whether readings come now, or from a log with a clock of its own.
    check_plausibility : bool
        Whether a reading that no kiln can have given is marked and left out.
    own_clock : bool
        Whether live readings bring their times, which then show every gap themselves.
    command : AlarmCommand, optional
        The user's own program, run for every notice whatever becomes of the display.
    calls : CallBoard, optional
        Where what calls somebody stays until it is acknowledged; of a live watch it is told again
        until then.
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
        check_plausibility: bool = True,
        own_clock: bool = False,
        command: AlarmCommand | None = None,
        calls: CallBoard | None = None,
    ) -> None:
        self._connection = connection
        self._watcher = watcher
        self._display = FaultTolerantDisplay(listener)
        self._command = command
        self._calls = calls
        self._isolation = FaultIsolation()
        self._base = base
        self._channel = channel
        self._recorder = recorder
        self._status_every_s = status_every_s
        self._silent_after_s = silent_after_s
        self._live = live
        self._pause = UsualPause(getattr(connection.source, "interval_s", 0.0))
        self._slowness_told = False
        self._own_clock = own_clock
        self._plausibility = (
            PlausibilityCheck(len(connection.source.channels)) if check_plausibility else None
        )
        self._reading: Reading | None = None
        self._now_s = base.now_s() if live else 0.0
        self._read_s = self._now_s
        if live:
            self._pause.begin(self._now_s)
        self._ticked_s = -math.inf
        self._status_s: float | None = None
        self._clock_s = -math.inf
        self._unset_clock_told = False
        unsolicited = connection.source.unsolicited
        self._suspension = SuspensionDetector(self._now_s, unsolicited=unsolicited)
        self._lost_since_s: float | None = None
        self._silent = False
        self._status_told_s = -math.inf

    def run(self, stopped: Callable[[], bool]) -> None:
        """Watch until `stopped` returns true or the source ends; a last status is told then."""
        begin = partial(self._watcher.begin, self._now_s, live=self._live)
        self._isolation.run("the beginning of the watch", begin, None)
        command = self._command
        if command is not None and self._live:
            trial = partial(command.begin, self._now_s)
            self._isolation.run("the trial of the program for alarms", trial, None)
        try:
            self._run(stopped)
        finally:
            self._watcher.close()

    def _run(self, stopped: Callable[[], bool]) -> None:
        while not stopped():
            try:
                reading = self._read()
            except SourceEnded as ended:
                self._display.note(f"{ended}")
                break
            if reading is not None:
                self._record(reading)
            self._follow_up(reading)
            self._tell_remarks()
        if self._recorder is not None:
            self._recorder.settle()
        if self._status_told_s != self._now_s and self._reading is not None:
            self._tell_status()
        self._tell_remarks()

    def _read(self) -> Reading | None:
        """Return the next reading, marked as late if it waited for this program to go on."""
        asked_s = self._base.now_s()
        try:
            reading = self._connection.read(LINE_WAIT_S)
        except SourceEnded:
            raise
        except Exception as error:
            if not self._live:
                raise  # a log is read again from its beginning only by whoever asks for it
            self._connection.lose(f"{self._connection.source.name} failed ({reason_of(error)})")
            reading = None
        if self._live:
            self._now_s = self._base.now_s()
            look = partial(self._look_for_suspension, reading, self._now_s - asked_s)
            self._isolation.run("the watch over this program's own pauses", look, None)
        return reading

    def _look_for_suspension(self, reading: Reading | None, waited_s: float) -> None:
        late = self._suspension.is_late(self._now_s, waited_s, self._connection.lost_because)
        if reading is not None and late:
            reading.statuses = [
                Status.LATE if status is Status.OK else status for status in reading.statuses
            ]
        if self._suspension.suspended_s is not None:
            self._report_suspension(self._suspension.suspended_s)

    def _report_suspension(self, suspended_s: float) -> None:
        """Say that this program did not run, in the recording and to whoever listens."""
        sentence = f"this program did not run for {format_duration(suspended_s)}"
        if self._recorder is not None and not self._own_clock:
            at_s, reason = self._now_s - suspended_s, f"{sentence}; lines since are missing or late"
            self._recorder.gap(at_s, reason)
        self._display.note(
            f"{sentence}, as the computer slept or stopped it; lines of that time are missing, or "
            "marked as late; keep the computer awake"
        )
        self._clock_s = -math.inf  # it may have woken with another time of day

    def _record(self, reading: Reading) -> None:
        """Mark a reading and write its line."""
        if reading.at_s is not None:
            self._now_s = reading.at_s
        recorder = self._recorder
        self._isolation.run(
            "the marking of readings", lambda: self._mark_implausible(reading), None
        )
        if recorder is not None and not self._isolation.run(
            "the recording of a line", lambda: self._write_line(recorder, reading), False
        ):
            recorder.lost += 1
        self._reading, self._read_s, self._silent = reading, self._now_s, False

    def _mark_implausible(self, reading: Reading) -> None:
        if self._plausibility is not None:
            self._plausibility.mark(self._now_s, reading)

    def _write_line(self, recorder: Recorder, reading: Reading) -> bool:
        recorder.write(self._now_s, reading)
        return True

    def _follow_up(self, reading: Reading | None) -> None:
        """Do what a watch does beside recording, each part whatever becomes of the others."""
        isolation = self._isolation
        if reading is not None and self._live:
            isolation.run("the pace of the lines", lambda: self._pause.add(self._now_s), None)
        isolation.run("the watch over the firing", lambda: self._follow(reading), None)
        isolation.run("the watch over the source", self._check_connection, None)
        isolation.run("the repeating of calls", self._repeat_calls, None)
        if self._live:
            isolation.run("the watch over the source's lines", self._check_silence, None)
            isolation.run("the watch over the clock", self._check_clock, None)
        isolation.run("the status", self._status_when_due, None)

    def _follow(self, reading: Reading | None) -> None:
        self._watcher.line_every_s = self._pause.usual_s
        if reading is not None:
            self._ticked_s = self._now_s
            self._tell(self._watcher.add(self._now_s, reading, self._channel))
        elif self._live and self._now_s - self._ticked_s >= TICK_S:
            self._ticked_s = self._now_s
            self._tell(self._watcher.tick(self._now_s))

    def _status_when_due(self) -> None:
        if self._status_s is None and self._reading is not None:
            # The first after one round of the grid, when there is something to tell.
            self._status_s = self._now_s + min(1.0, self._status_every_s)
        if self._status_s is not None and self._now_s >= self._status_s:
            self._status_s = self._now_s + self._status_every_s
            self._tell_status()

    def _check_silence(self) -> None:
        silent_s, patience_s = self._now_s - self._read_s, self._silent_after_s
        if self._pause.patience_s(patience_s) > patience_s and not self._slowness_told:
            self._slowness_told = True
            self._display.note(
                f"lines come every {format_duration(self._pause.usual_s)}, which is slow for "
                f"--lost-after {format_duration(patience_s)}: a lost source is reported after "
                f"{format_duration(self._pause.patience_s(patience_s))}"
            )
        patience_s = self._pause.patience_s(patience_s)
        if not self._silent and self._lost_since_s is None and silent_s > patience_s:
            self._silent = True
            self._mark_gap(f"no line from {self._connection.source.name}")

    def _check_clock(self) -> None:
        """Look at the time of day, however fast lines come."""
        if self._now_s - self._clock_s < CLOCK_CHECK_S:
            return
        self._clock_s = self._now_s
        if not self._unset_clock_told and clock_is_unset():
            self._unset_clock_told = True
            self._display.note(
                "this computer's clock is not set, as it lies before this program was made; the "
                "recording's times of day are wrong; set the clock and begin again"
            )
        step_s = self._base.clock_step_s()
        if step_s is not None:
            slept = "" if COUNTS_SLEEP else ", or the computer slept"
            self._display.note(
                f"this computer's clock was set by {format_duration(step_s, signed=True)}{slept}; "
                "the recording goes on by the clock it began with"
            )

    def _check_connection(self) -> None:
        reason = self._connection.lost_because
        if reason is not None and self._lost_since_s is None:
            self._lost_since_s = self._now_s
            self._display.note(f"{reason}; trying again until it is back")
            self._mark_gap(reason)
        elif reason is None and self._lost_since_s is not None:
            gone = format_duration(max(self._now_s - self._lost_since_s, 1.0))
            self._display.note(f"{self._connection.source.name} is back after {gone}")
            self._lost_since_s = None

    def _mark_gap(self, reason: str) -> None:
        # Late lines with times of their own may still come; a row of now would push them behind it.
        if self._recorder is not None and not self._own_clock:
            self._recorder.gap(self._now_s, reason)

    def _repeat_calls(self) -> None:
        if self._calls is not None:
            again = self._calls.due(self._now_s)
            self._show(again if self._live else [])  # a log has nobody to come

    def _tell(self, notices: list[WatchEvent]) -> None:
        if self._calls is not None:
            for notice in notices:
                self._isolation.run("the list of calls", partial(self._calls.take, notice), None)
        self._show(notices)

    def _show(self, notices: list[WatchEvent]) -> None:
        for notice in notices:
            command = self._command
            if command is not None:
                self._isolation.run("the program for alarms", partial(command.tell, notice), None)
            self._display.notice(notice)

    def _tell_status(self) -> None:
        self._status_told_s = now_s = self._now_s
        bare = Estimate(now_s, math.nan, None, None, "", None, untold=("anything",))
        estimate = self._isolation.run("the estimate", lambda: self._watcher.estimate(now_s), bare)
        self._display.status(estimate, self._reading)

    def _tell_remarks(self) -> None:
        isolation, recorder = self._isolation, self._recorder
        remarks = isolation.remarks()
        remarks += isolation.run("the watch's own remarks", self._watcher.remarks, [])
        remarks += isolation.run("the source's remarks", self._connection.source.remarks, [])
        if recorder is not None:
            isolation.run("the putting of lines on the disk", recorder.tick, None)
            remarks += isolation.run("the recording's remarks", recorder.remarks, [])
        if self._command is not None:
            remarks += isolation.run("the program for alarms", self._command.tick, [])
        for remark in remarks:
            self._display.note(remark)
        self._display.tick()
