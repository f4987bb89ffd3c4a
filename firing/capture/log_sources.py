"""A log as a source: a finished one replayed at any speed, one still being written followed.

Both are read by the one reader of logs, and give each row as a reading that came in.
"""

from __future__ import annotations

import math
import os
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from firing.capture.clock import TimeBase, monotonic_s
from firing.capture.reading import Reading, Status
from firing.capture.source import SourceEnded, SourceLost
from firing.errors import FiringError
from firing.logs.options import ReadingOptions
from firing.logs.reader import how_read, open_log

if TYPE_CHECKING:
    from datetime import datetime

    from firing.logs.reader import Log

LEAST_PAUSE_S = 1.0
PAUSE_PER_READ = 20.0
"""Between two reads lies a second, or so many times what the last one took: a twentieth of a
processor at most, however long the log."""
PATIENCE = 3
"""So many reads in a row may fail before the log counts as lost: a logger may be writing it."""

LEAST_STEP_S = 1e-3
"""Times that differ by less are the same [s]; a recording tells them to the millisecond."""


def reading_at_row(log: Log, row: int) -> Reading:
    """Return a row of a log as it came in: what is wrong with it is told as it would have been."""
    values: list[float] = log.raw_c[row].tolist()
    statuses = [Status.MISSING if math.isnan(value) else Status.OK for value in values]
    duty = math.nan if log.trace.duty is None else float(log.trace.duty[row])
    return Reading(values, statuses, float(log.trace.time_s[row]), duty)


class ReplayedLog:
    """A log as a source, `speed` of its seconds in one second; infinite for as fast as it goes."""

    def __init__(
        self,
        path: Path,
        speed: float,
        reading: ReadingOptions | None = None,
        channel: str | None = None,
    ) -> None:
        log, self.kiln_channel = open_log(path, channel, reading or ReadingOptions())
        self.name = log.name
        self.channels = log.trace.channels
        self.gives_output = log.trace.duty is not None
        self.unsolicited = False
        self.unit = log.dialect.channel_columns[self.kiln_channel].celsius_unit
        self.started: datetime | None = log.trace.started
        self._log = log
        self._remarks = how_read(log, self.kiln_channel, channel)
        self._speed = speed
        self._next = 0
        self._begun_s = 0.0

    def open(self) -> None:
        """Begin with the first reading."""
        self._next, self._begun_s = 0, time.monotonic()

    def read(self, wait_s: float) -> Reading | None:
        """Return the next reading when its time has come; see `ReadingSource`."""
        times = self._log.trace.time_s
        if self._next >= times.size:
            raise SourceEnded(f"{self.name} ended")
        at_s = float(times[self._next])
        if math.isfinite(self._speed):
            left_s = (at_s - float(times[0])) / self._speed - (time.monotonic() - self._begun_s)
            if left_s > wait_s:
                time.sleep(wait_s)
                return None
            if left_s > 0.0:
                time.sleep(left_s)
        self._next += 1
        return reading_at_row(self._log, self._next - 1)

    def close(self) -> None:
        """Nothing is open."""

    def remarks(self) -> list[str]:
        """Return how the log was read, once."""
        remarks, self._remarks = self._remarks, []
        return remarks


class FollowedLog:
    """A logger's file as a live source: every new line is a reading.

    The clock is the log's own, as a logger may write several lines at once: second 0 of `base` is
    its first reading.  What the file holds at the start is no news; see `before`.  A logger may
    begin its file anew: where that one's times of day are all later, it goes on in it.
    """

    def __init__(
        self, path: Path, reading: ReadingOptions | None = None, channel: str | None = None
    ) -> None:
        self._path, self._options, self._channel = path, reading or ReadingOptions(), channel
        self._state = _state_of(path)
        self._log, self.kiln_channel = self._opened()
        dialect = self._log.dialect
        units = {column.unit for column in dialect.channel_columns}
        if dialect.unit_from in ("assumed", "physics") and len(units) == 1:
            # the heat to come may not change how the cold was read
            self._options = replace(self._options, unit=dialect.unit)
        trace = self._log.trace
        self.name = self._log.name
        self.channels = trace.channels
        self.gives_output = trace.duty is not None
        self.unit = dialect.channel_columns[self.kiln_channel].celsius_unit
        self.unsolicited = False  # its lines bring their own times, however late they are read
        self._known = self._given = int(trace.time_s.size)
        self._last_s = float(trace.time_s[-1])
        self._first, self._later_s = trace.started, 0.0
        self._failed = 0
        self._again_s = 0.0
        self._remarks = how_read(self._log, self.kiln_channel, channel)
        # By the computer's clock only how long ago the last line was written: the logger's may be
        # set differently.
        age_s = max(0.0, time.time() - path.stat().st_mtime)
        now_s = float(trace.time_s[-1]) + age_s
        began_s = time.time() - now_s if trace.started is None else trace.started.timestamp()
        self.base = TimeBase(began_s, began_s + now_s)

    def _opened(self) -> tuple[Log, int]:
        return open_log(self._path, self._channel, self._options, whole_lines=True)

    def before(self) -> Iterator[tuple[float, Reading]]:
        """Return when each reading was that stood in the file at the start [s], and the reading."""
        for row in range(self._known):
            yield float(self._log.trace.time_s[row]), reading_at_row(self._log, row)

    def open(self) -> None:
        """Read the file; see `ReadingSource`."""
        self._read()

    def read(self, wait_s: float) -> Reading | None:
        """Return the next reading; see `ReadingSource`."""
        if self._given >= self._log.trace.time_s.size:
            if monotonic_s() < self._again_s:
                time.sleep(min(wait_s, max(0.0, self._again_s - monotonic_s())))
                return None
            if not self._failed and _state_of(self._path) == self._state:
                time.sleep(wait_s)
                return None
            try:
                self._read()
            except SourceLost:
                self._failed += 1
                if self._failed >= PATIENCE:
                    raise
                return None
            if self._given >= self._log.trace.time_s.size:
                return None
        reading = reading_at_row(self._log, self._given)
        self._given += 1
        assert reading.at_s is not None  # a log has times of its own
        self._last_s = max(reading.at_s + self._later_s, self._last_s + LEAST_STEP_S)
        reading.at_s = self._last_s
        return reading

    def _read(self) -> None:
        began_s = monotonic_s()
        state = _state_of(self._path)
        try:
            log, kiln_channel = self._opened()
        except FiringError as fault:
            raise SourceLost(str(fault)) from None
        finally:
            took_s = monotonic_s() - began_s
            self._again_s = monotonic_s() + max(LEAST_PAUSE_S, PAUSE_PER_READ * took_s)
        if self._goes_on(log):
            pass
        elif kiln_channel == self.kiln_channel and self._is_later(log):
            self._given = 0
            self._remarks.append(f"{self.name} was begun anew; the watch goes on in it")
        else:
            raise SourceLost(
                f"{self.name} no longer begins as it did: it was replaced, or its new lines change "
                "how the old ones read; end this watch and begin a new one"
            )
        self._log, self._state, self._failed = log, state, 0

    def _goes_on(self, log: Log) -> bool:
        """Tell whether a log holds, unchanged, all that was read of it before."""
        ours, theirs, count = self._log.trace, log.trace, self._log.trace.time_s.size
        return (
            ours.channels == theirs.channels
            and ours.started == theirs.started
            and theirs.time_s.size >= count
            and bool(np.allclose(ours.time_s, theirs.time_s[:count], rtol=0.0, atol=LEAST_STEP_S))
            and np.array_equal(self._log.raw_c, log.raw_c[:count], equal_nan=True)
        )

    def _is_later(self, log: Log) -> bool:
        """Tell whether a log of the same channels begins after all that was given, and when."""
        began = log.trace.started
        if began is None or self._first is None or log.trace.channels != self.channels:
            return False
        later_s = (began - self._first).total_seconds()
        if later_s + float(log.trace.time_s[0]) <= self._last_s:
            return False
        self._later_s = later_s
        return True

    def close(self) -> None:
        """Nothing stays open between two reads."""

    def remarks(self) -> list[str]:
        """Return how the log was read, once."""
        remarks, self._remarks = self._remarks, []
        return remarks


def _state_of(path: Path) -> tuple[int, int, int] | None:
    try:
        found = os.stat(path)
    except OSError:
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns
