"""What calls somebody to the kiln, until somebody says that it was heard.

To acknowledge or to snooze a call changes who is told again, and nothing else: neither the alarm,
which stands as long as its cause, nor the recording, nor ever the kiln.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from firing.capture.clock import monotonic_s
from firing.serialise import Serialised, rounded
from firing.watch.events import WatchEvent

SNOOZE_S = 900.0
"""How long a snoozed call is quiet, unless told [s]; common practice, no source."""
MOST_CALLS = 50


@dataclass(frozen=True, slots=True)
class Call(Serialised):
    """One event that somebody has to act on."""

    number: int
    """From 1, in the order they came; no two calls of a watch share one."""
    id: str
    """The event's."""
    at_s: float = field(metadata=rounded(1, "time_s"))
    """When, on the recording's clock [s]."""
    message: str
    stands: bool
    """Whether it is an alarm whose cause goes on; anything else is told once."""
    acknowledged: bool = False
    snoozed: bool = False
    """Whether it is quiet for a while."""

    @property
    def unanswered(self) -> bool:
        """Whether somebody is still to be told of it again."""
        return not (self.acknowledged or self.snoozed)


class CallBoard:
    """Every call that is open: an alarm until it is over, all others until acknowledged.

    Several threads may use it.  An alarm that is over is no call any more, answered or not; if it
    is raised again, it calls anew.
    """

    def __init__(self, clock_s: Callable[[], float] = monotonic_s) -> None:
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._calls: dict[int, Call] = {}
        self._snoozed_until_s: dict[int, float] = {}
        self._last = 0

    def take(self, event: WatchEvent) -> None:
        """Take in what a watch tells."""
        if event.severity != "act":
            return
        with self._lock:
            for number in [n for n, c in self._calls.items() if c.id == event.id and c.stands]:
                self._forget(number)  # over, or raised anew
            if event.state == "over":
                return
            self._last += 1
            raised = event.state == "raised"
            call = Call(self._last, event.id, event.at_s, event.message, raised)
            self._calls[self._last] = call
            # What stands is never given up for what was told once.
            told_once = [number for number, held in self._calls.items() if not held.stands]
            for number in told_once[: max(len(self._calls) - MOST_CALLS, 0)]:
                self._forget(number)

    def _forget(self, number: int) -> None:
        del self._calls[number]
        self._snoozed_until_s.pop(number, None)

    def acknowledge(self, number: int) -> bool:
        """Take in that somebody has heard a call; returns whether there is such a call."""
        with self._lock:
            call = self._calls.get(number)
            if call is None:
                return False
            if call.stands:
                self._calls[number] = replace(call, acknowledged=True)
            else:
                self._forget(number)
            return True

    def snooze(self, number: int, for_s: float = SNOOZE_S) -> bool:
        """Leave a call quiet for a while; returns whether there is such a call."""
        with self._lock:
            if number not in self._calls:
                return False
            self._snoozed_until_s[number] = self._clock_s() + for_s
            return True

    def open(self) -> tuple[Call, ...]:
        """Return the open calls, the oldest first."""
        now_s = self._clock_s()
        with self._lock:
            return tuple(
                replace(call, snoozed=now_s < self._snoozed_until_s.get(number, now_s))
                for number, call in self._calls.items()
            )
