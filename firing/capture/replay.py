"""A log read back as if it came in now, at any speed."""

import math
import time
from pathlib import Path
from typing import TYPE_CHECKING

from firing.capture.reading import Reading, Status
from firing.capture.source import SourceEnded
from firing.logs.opening import ReadingOptions, open_log

if TYPE_CHECKING:
    from datetime import datetime


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
        from firing.logs.channels import describe_channel

        log, self.kiln_channel = open_log(path, channel, reading or ReadingOptions())
        self.name = log.name
        self.channels = log.trace.channels
        self.gives_output = log.trace.duty is not None
        self.started: datetime | None = log.trace.started
        self._log = log
        # What the cleaning held against readings only the whole log could tell; here it is
        # judged reading by reading, as they come in.
        known = log.notes[: len(log.notes) - len(log.cleaning.notes)]
        self._remarks = [*known, describe_channel(log, self.kiln_channel, channel)]
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
        # As they came in: what is wrong with one is told as it would have been told then.
        values: list[float] = self._log.raw_c[self._next].tolist()
        statuses = [Status.MISSING if math.isnan(value) else Status.OK for value in values]
        duty = math.nan if self._log.trace.duty is None else float(self._log.trace.duty[self._next])
        self._next += 1
        return Reading(values, statuses, at_s, duty)

    def close(self) -> None:
        """Nothing is open."""

    def remarks(self) -> list[str]:
        """Return how the log was read, once."""
        told, self._remarks = self._remarks, []
        return told
