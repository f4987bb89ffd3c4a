"""What is held against readings one after the other: out of span, a step, a value that is stuck.

The limits are common practice, no source; a reading keeps its number whatever its mark says.
"""

import math
from collections import deque

from firing.capture.reading import Reading, Status

SPAN_C = (-40.0, 1600.0)
"""What the inside of a kiln may read [°C]."""
STEP_C = 30.0
STEP_C_PER_S = 5.0
"""A thermocouple in its sheath moves by no more than this much at once, plus so much a second."""
STUCK_S = 120.0
STUCK_READINGS = 30
"""A channel that stood still for so long, and so many readings, may be stuck ..."""
RESTLESS_READINGS = 30
RESTLESS_SHARE = 0.3
"""... if before it turned back and forth in at least this share of so many readings, as noise does
(in two of three); one without noise in its digits stands still in every hold, and is not stuck."""


class ChannelJudge:
    """Judges the readings of one channel in the order they come."""

    def __init__(self) -> None:
        self._last_c = math.nan
        self._last_s = 0.0
        self._still_since_s = 0.0
        self._still = 0
        self._turns: deque[bool] = deque(maxlen=RESTLESS_READINGS)
        self._rose = False
        self._restless = False

    def judge(self, time_s: float, value_c: float) -> Status:
        """Return what is held against a reading.

        Parameters
        ----------
        time_s : float
            When [s], after the one before.
        value_c : float
            The temperature [°C].
        """
        if not SPAN_C[0] <= value_c <= SPAN_C[1]:
            return Status.OUT_OF_SPAN
        before_c, elapsed_s = self._last_c, time_s - self._last_s
        self._last_c, self._last_s = value_c, time_s
        if math.isnan(before_c):
            self._still_since_s = time_s
            return Status.OK
        if value_c != before_c:
            rises = value_c > before_c
            self._turns.append(rises != self._rose)
            self._rose = rises
            self._still, self._still_since_s = 0, time_s
        else:
            if self._still == 0:
                full = len(self._turns) == RESTLESS_READINGS
                self._restless = full and sum(self._turns) >= RESTLESS_SHARE * RESTLESS_READINGS
            self._still += 1
            self._turns.append(False)
            if (
                self._restless
                and self._still >= STUCK_READINGS
                and time_s - self._still_since_s >= STUCK_S
            ):
                return Status.STUCK
        if abs(value_c - before_c) > STEP_C + STEP_C_PER_S * elapsed_s:
            return Status.STEP
        return Status.OK


class Judge:
    """Judges whole readings, channel by channel."""

    def __init__(self, channels: int) -> None:
        self._channels = [ChannelJudge() for _ in range(channels)]

    def mark(self, time_s: float, reading: Reading) -> None:
        """Mark a reading in place; what the instrument itself said of it stays."""
        for index, judge in enumerate(self._channels):
            if reading.statuses[index] is Status.OK:
                reading.statuses[index] = judge.judge(time_s, reading.values_c[index])
