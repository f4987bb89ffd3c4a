"""Whether this program stood still: a computer that slept, a process that was stopped.

Lines that came meanwhile wait in a buffer and are read all at once, long after they were measured.
The limits are common practice, no source.
"""

from __future__ import annotations

import math

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
