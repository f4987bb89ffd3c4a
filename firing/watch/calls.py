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

REPEAT_AFTER_S = (300.0, 600.0, 900.0)
"""The pauses before a call is told again; the last one goes on [s]; common practice, no source."""
REPEATED_FOR_S = 3600.0
"""What happened once, and has no end of its own, is told again for so long [s]."""
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


@dataclass(slots=True)
class _Told:
    """What was told, when it is due again on the recording's clock, and how often it was."""

    event: WatchEvent
    due_s: float
    repeats: int = 0


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
        self._told: dict[int, _Told] = {}
        self._last = 0

    def take(self, event: WatchEvent) -> None:
        """Take in what a watch tells."""
        # That an alarm is over is a mere note, and ends its call all the same.
        if event.severity != "act" and event.state != "over":
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
            self._told[self._last] = _Told(event, event.at_s + REPEAT_AFTER_S[0])
            # What stands is never given up for what was told once.
            told_once = [number for number, held in self._calls.items() if not held.stands]
            for number in told_once[: max(len(self._calls) - MOST_CALLS, 0)]:
                self._forget(number)

    def _forget(self, number: int) -> None:
        del self._calls[number]
        self._snoozed_until_s.pop(number, None)
        self._told.pop(number, None)

    def answer(self, *, snooze: bool = False) -> tuple[str, ...]:
        """Acknowledge every call, the snoozed too, or snooze the unanswered; return their ids."""
        calls = [c for c in self.open() if (c.unanswered if snooze else not c.acknowledged)]
        act = self.snooze if snooze else self.acknowledge
        return tuple(call.id for call in calls if act(call.number))

    def due(self, now_s: float) -> list[WatchEvent]:
        """Return what is to be told again now, on the recording's clock; nothing answered is."""
        found: list[WatchEvent] = []
        for call in self.open():
            with self._lock:
                told = self._told.get(call.number)
                if told is None or call.acknowledged:
                    continue
                if call.snoozed:
                    told.due_s = now_s  # as soon as it is no longer
                    continue
                lapsed = not call.stands and now_s - call.at_s > REPEATED_FOR_S
                if lapsed or now_s < told.due_s:
                    continue
                told.repeats += 1
                pause_s = REPEAT_AFTER_S[min(told.repeats, len(REPEAT_AFTER_S) - 1)]
                told.due_s = now_s + pause_s
                found.append(replace(told.event, at_s=now_s, repeat=told.repeats))
        return found

    @property
    def alarmed(self) -> bool:
        """Whether an alarm stands that nobody has acknowledged."""
        return any(call.stands and not call.acknowledged for call in self.open())

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
