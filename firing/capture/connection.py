"""A source that is opened again whenever it is lost, for ever."""

from firing.capture.clock import monotonic_s
from firing.capture.reading import Reading
from firing.capture.source import ReadingSource, SourceLost

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
        import time

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
