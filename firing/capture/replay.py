"""A log read back as if it came in now, at any speed."""

from __future__ import annotations

import math
import time
from pathlib import Path
from typing import TYPE_CHECKING

from firing.capture.reading import Reading, Status
from firing.capture.source import SourceEnded
from firing.logs.options import ReadingOptions
from firing.logs.reader import how_read, open_log

if TYPE_CHECKING:
    from datetime import datetime

    from firing.logs.reader import Log


class Replay:
    """A log as a source.

    Parameters
    ----------
    path : Path
        The log.
    speed : float
        Seconds of the log in one second; infinite for as fast as it goes.
    reading : ReadingOptions, optional
        How the log is to be read.
    channel : str, optional
        The kiln's channel, by name or number from 1.

    Attributes
    ----------
    started : datetime or None
        When the log began.
    kiln_channel : int
        Which channel is the kiln's.

    Raises
    ------
    FiringError
        If it cannot be read as a log.
    """

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
        self.unasked = False
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
        """Return the next reading when its time has come; see `firing.capture.source.Source`."""
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
        return reading_of(self._log, self._next - 1)

    def close(self) -> None:
        """Nothing is open."""

    def remarks(self) -> list[str]:
        """Return how the log was read, once."""
        told, self._remarks = self._remarks, []
        return told


def reading_of(log: Log, row: int) -> Reading:
    """Return a row of a log as it came in: what is wrong with it is told as it would have been."""
    values: list[float] = log.raw_c[row].tolist()
    statuses = [Status.MISSING if math.isnan(value) else Status.OK for value in values]
    duty = math.nan if log.trace.duty is None else float(log.trace.duty[row])
    return Reading(values, statuses, float(log.trace.time_s[row]), duty)
