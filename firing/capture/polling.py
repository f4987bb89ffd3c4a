"""When an instrument that has to be asked is asked next: at even steps, never drifting."""

import math
import time

LEAST_INTERVAL_S = 0.2
MOST_INTERVAL_S = 600.0
"""What a source file may ask for [s]."""


class Pace:
    """Even steps of the monotonic clock.

    Parameters
    ----------
    interval_s : float
        Seconds between questions.
    """

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
