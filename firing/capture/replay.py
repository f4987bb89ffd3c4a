"""A log read back as if it came in now, at any speed."""

import math
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from firing.capture.reading import Reading, Status
from firing.capture.source import SourceEnded

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
    reading : dict, optional
        What `firing.logs.reader.read_log` is told.

    Attributes
    ----------
    started : datetime or None
        When the log began.

    Raises
    ------
    FiringError
        If it cannot be read as a log.
    """

    def __init__(self, path: Path, speed: float, reading: dict[str, Any] | None = None) -> None:
        from firing.logs.channels import pick_channel
        from firing.logs.reader import read_log

        log = read_log(path, **{**(reading or {}), "cleaning": False})
        self.name = log.name
        self.channels = log.trace.channels
        self.gives_output = log.trace.duty is not None
        self.unasked = False
        self.kiln_channel = pick_channel(log, None)
        self.started: datetime | None = log.trace.started
        self._log = log
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
        values: list[float] = self._log.trace.temperature_c[self._next].tolist()
        statuses = [Status.MISSING if math.isnan(value) else Status.OK for value in values]
        duty = math.nan if self._log.trace.duty is None else float(self._log.trace.duty[self._next])
        self._next += 1
        return Reading(values, statuses, at_s, duty)

    def close(self) -> None:
        """Nothing is open."""

    def remarks(self) -> list[str]:
        """Return nothing: what is to be said of a log was said when it was read."""
        return []
