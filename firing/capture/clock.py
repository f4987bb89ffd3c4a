"""The clock of a recording: forward only, its UTC stamps, and whether this program stood still.

The wall clock is read once, when recording begins.  From then on only the monotonic clock counts,
so that neither summer time nor a clock set by hand or over the network moves a reading; that the
wall clock was set is noticed and told.  So is that the computer slept: lines that came meanwhile
wait in a buffer and are read all at once, long after they were measured.
"""

from __future__ import annotations

import math
import time
from datetime import UTC, datetime

COUNTS_SLEEP = hasattr(time, "CLOCK_BOOTTIME")
"""Whether the clock of a recording goes on while the computer sleeps; on Linux only."""
SET_FROM = datetime(2025, 1, 1, tzinfo=UTC)
"""An earlier time of day is that of a computer that woke without its clock."""
CLOCK_STEP_S = 2.0
"""The wall clock was set if it departs by more than this from the monotonic one [s]."""


def monotonic_s() -> float:
    """Return seconds of a clock that cannot be set, and counts while the computer sleeps."""
    clock = getattr(time, "CLOCK_BOOTTIME", None)  # Linux only; elsewhere the plain one has to do
    return time.monotonic() if clock is None else time.clock_gettime(clock)


def clock_is_unset() -> bool:
    """Tell whether the time of day cannot be right."""
    return time.time() < SET_FROM.timestamp()


def utc_stamp(epoch_s: float) -> str:
    """Return a moment as ISO 8601 in UTC to the millisecond, ``2026-03-01T06:30:00.000Z``."""
    return (
        datetime.fromtimestamp(round(epoch_s, 3), UTC).isoformat(timespec="milliseconds")[:-6] + "Z"
    )


class TimeBase:
    """Seconds since a recording began, whichever process began it.

    `began_epoch_s` is the wall-clock moment of second 0: now, unless a recording is continued.
    `now_epoch_s` counts as now on the wall clock, `time.time()` unless given.
    """

    def __init__(
        self, began_epoch_s: float | None = None, now_epoch_s: float | None = None
    ) -> None:
        now_s = time.time() if now_epoch_s is None else now_epoch_s
        self.began_epoch_s = now_s if began_epoch_s is None else began_epoch_s
        self._zero_s = monotonic_s() - (now_s - self.began_epoch_s)
        self._wall_less_monotonic_s = time.time() - monotonic_s()

    @property
    def began(self) -> datetime:
        """The moment of second 0, in UTC."""
        return datetime.fromtimestamp(self.began_epoch_s, UTC)

    def now_s(self) -> float:
        """Return seconds since the recording began."""
        return monotonic_s() - self._zero_s

    def stamp(self, time_s: float) -> str:
        """Return the UTC stamp of a moment of the recording."""
        return utc_stamp(self.began_epoch_s + time_s)

    def clock_step_s(self) -> float | None:
        """Return by how much the wall clock was set since last asked [s]; None if it was not."""
        difference_s = time.time() - monotonic_s()
        step_s = difference_s - self._wall_less_monotonic_s
        if abs(step_s) <= CLOCK_STEP_S:
            return None
        self._wall_less_monotonic_s = difference_s
        return step_s


SUSPENDED_S = 10.0
"""Reading a line waits a quarter of a second; nothing else that is done takes so long."""
SUSPENDED_POLLING_S = 60.0
"""The same where instruments are asked, each question having its patience."""
CATCHING_UP_S = 2.0
"""What waited is read within so long at the most."""
WAITED_FOR_S = 0.05
"""A line that was waited for had not been waiting itself."""


class SuspensionDetector:
    """Sees from the times of reading whether this program stood still, and which lines are late.

    `suspended_s` says for how long, if that ended with the last reading; else it is None.
    """

    def __init__(self, now_s: float, *, unsolicited: bool) -> None:
        self._unsolicited = unsolicited
        self._patience_s = SUSPENDED_S if unsolicited else SUSPENDED_POLLING_S
        self._before_s = now_s
        self._catching_up_until_s = -math.inf
        self._was_lost = False
        self.suspended_s: float | None = None

    def is_late(self, now_s: float, waited_s: float, lost: str | None) -> bool:
        """Take in that a source was read, and tell whether what it gave is late.

        `waited_s` is how long the reading took; opening a `lost` source again may take long.
        """
        since_s, self._before_s = now_s - self._before_s, now_s
        opening, self._was_lost = self._was_lost or lost is not None, lost is not None
        self.suspended_s = None
        if since_s >= self._patience_s and not opening:
            self.suspended_s = since_s
            self._catching_up_until_s = now_s + CATCHING_UP_S
            return self._unsolicited
        if waited_s >= WAITED_FOR_S or now_s > self._catching_up_until_s:
            self._catching_up_until_s = -math.inf
            return False
        return self._unsolicited
