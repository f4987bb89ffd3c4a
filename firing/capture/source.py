"""What every source of readings is: to open, read with patience, close, and get back when lost."""

import math
import statistics
import time
from collections import deque
from typing import Protocol

from firing.capture.clock import monotonic_s
from firing.capture.reading import Reading
from firing.errors import FiringError

LINE_WAIT_S = 0.25
"""How long a read may wait for bytes: a request to stop is heeded within that time."""


class SourceLost(FiringError):
    """The instrument cannot be reached, now or any more; it may come back."""


class SourceEnded(FiringError):
    """A source that has an end (a replayed log, standard input) came to it."""


class ReadingSource(Protocol):
    """One instrument, or what stands for one.  It is only ever read from.

    `unsolicited` lines wait while nobody reads them; `gives_output` readings tell the controller's
    output.
    """

    name: str
    channels: tuple[str, ...]
    gives_output: bool
    unsolicited: bool

    def open(self) -> None:
        """Open it anew, with nothing kept from before; `SourceLost` if it cannot be reached now."""

    def read(self, wait_s: float) -> Reading | None:
        """Return the next reading, or None if there is none within about `wait_s` seconds.

        `SourceLost` if it is gone, `SourceEnded` if there will be no more.
        """

    def close(self) -> None:
        """Close it, whatever state it is in; never fails."""

    def remarks(self) -> list[str]:
        """Return what a person should know and has not been told yet, a sentence each."""


LEAST_INTERVAL_S = 0.2
MOST_INTERVAL_S = 600.0
"""What a source file may ask for [s]."""


class PollingTimer:
    """Even steps of the monotonic clock."""

    def __init__(self, interval_s: float) -> None:
        self._interval_s = interval_s
        self._begun_s = time.monotonic()
        self._step = 0

    def due(self, wait_s: float) -> bool:
        """Wait for the next step, `wait_s` at most; tell whether it has come.

        Steps that were missed, as the instrument took long, are not made up for.
        """
        left_s = self._begun_s + self._step * self._interval_s - time.monotonic()
        if left_s > wait_s:
            time.sleep(wait_s)
            return False
        if left_s > 0.0:
            time.sleep(left_s)
        passed_s = time.monotonic() - self._begun_s
        self._step = max(self._step, math.floor(passed_s / self._interval_s)) + 1
        return True


AT_ONCE_S = 0.5
"""Lines that come closer together came in one go [s]."""
STREAM_S = 2.0
"""Lines that come in one go for so long are no more a logger's that writes several at once [s]."""
PAUSES_KEPT = 5
SLOW_LINES = 3.0
"""So many usual pauses without a line are a silence, however short a silence is said to be [-]."""


class UsualPause:
    """How far apart lines usually come: the middle one of the last pauses.

    `usual_s` is what is known before any came, such as how often an instrument is asked; 0 if
    nothing is.
    """

    def __init__(self, usual_s: float = 0.0) -> None:
        self.usual_s = usual_s
        self._before_s: float | None = None
        self._together_s = 0.0
        self._pauses_s: deque[float] = deque(maxlen=PAUSES_KEPT)
        self._begun = False

    def begin(self, at_s: float) -> None:
        """Take in when it was opened: from there to the first line is less than a pause."""
        self._before_s, self._begun = at_s, True

    def add(self, at_s: float) -> None:
        """Take in that a line came."""
        before_s, self._before_s = self._before_s, at_s
        begun, self._begun = self._begun, False
        if before_s is None or begun:
            self.usual_s = max(self.usual_s, 0.0 if before_s is None else at_s - before_s)
        else:
            together = at_s - before_s < AT_ONCE_S
            pause_s = at_s - (self._together_s if together else before_s)
            if together and pause_s < STREAM_S:
                return
            self._pauses_s.append(pause_s)
            # One outage is not how lines usually come.
            self.usual_s = statistics.median_low(self._pauses_s)
        self._together_s = at_s

    def patience_s(self, least_s: float) -> float:
        """Return how long without a line is a silence, `least_s` or longer [s]."""
        return max(least_s, SLOW_LINES * self.usual_s)


FIRST_PAUSE_S = 0.05
LONGEST_PAUSE_S = 2.0
"""The pause before trying again, doubled every time from the first to the longest [s]."""


class Connection:
    """Reads a source and gets it back when it is lost.

    `lost_because` is None while it can be read.
    """

    def __init__(self, source: ReadingSource) -> None:
        self.source = source
        self.lost_because: str | None = None
        self._pause_s = FIRST_PAUSE_S
        self._again_s = 0.0

    def open(self) -> None:
        """Open it for the first time; it may fail then, as a wrong name is likelier."""
        self.source.open()

    def read(self, wait_s: float) -> Reading | None:
        """Return the next reading, or None if there is none within about `wait_s` seconds.

        `SourceEnded` if there will be no more.
        """
        if self.lost_because is not None and not self._reopened(wait_s):
            return None
        try:
            return self.source.read(wait_s)
        except SourceLost as fault:
            self.lose(str(fault))
            return None

    def lose(self, reason: str) -> None:
        """Give the source up for now; it is opened again by the next readings asked for."""
        self.source.close()
        self.lost_because = reason
        self._pause_s = FIRST_PAUSE_S
        self._again_s = monotonic_s() + self._pause_s

    def _reopened(self, wait_s: float) -> bool:
        left_s = self._again_s - monotonic_s()
        if left_s > 0.0:
            time.sleep(min(left_s, wait_s))
            if left_s > wait_s:
                return False
        try:
            self.source.open()
        except SourceLost:
            self.source.close()
            self._pause_s = min(2.0 * self._pause_s, LONGEST_PAUSE_S)
            self._again_s = monotonic_s() + self._pause_s
            return False
        self.lost_because = None
        return True

    def close(self) -> None:
        """Close the source."""
        self.source.close()
