"""What waits for a person: alarms that stand and hands that are needed, until somebody answers.

A call is told again until it is answered, put off, or over.  An answer changes only the message:
the alarm stands as long as its cause does, and nothing is ever switched.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace

from firing.serialise import Serialised, rounded
from firing.watch.events import WatchEvent

REPEAT_AFTER_S = (300.0, 600.0, 900.0)
"""The pauses before a call is told again; the last one goes on [s]."""
SNOOZE_S = 900.0
"""How long a call is put off, unless told otherwise [s]."""
LAPSE_S = 3600.0
"""What happened once and has no end of its own is told again for so long [s]."""


@dataclass(frozen=True, slots=True)
class Call(Serialised):
    """One thing that somebody has to look after, and what became of it.

    Times are on the recording's clock [s]; `told_s` is when it was told last.
    """

    event: WatchEvent
    told_s: float = field(metadata=rounded(1))
    repeats: int = 0
    answered: bool = False
    put_off_until_s: float | None = field(default=None, metadata=rounded(1))

    @property
    def waits(self) -> bool:
        """Whether it was neither answered nor put off."""
        return not self.answered and self.put_off_until_s is None


class CallBoard:
    """The calls of one watch; any thread may answer them."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._calls: dict[str, Call] = {}
        self._now_s = 0.0

    @property
    def open(self) -> tuple[Call, ...]:
        """The calls there are, the oldest first; answered ones too, while their alarm stands."""
        with self._lock:
            return tuple(self._calls.values())

    def take(self, event: WatchEvent) -> None:
        """Take in something that was told; an alarm that is over needs no answer any more."""
        with self._lock:
            self._now_s = event.at_s
            if event.state == "over":
                self._calls.pop(event.id, None)
            elif event.severity == "act":
                self._calls.pop(event.id, None)
                self._calls[event.id] = Call(event, event.at_s)

    def answer(self, id: str | None = None) -> tuple[str, ...]:
        """Answer a call, or all that wait; return the ids of those that were answered now."""
        with self._lock:
            return self._change(id, answered=True, put_off_until_s=None)

    def put_off(self, id: str | None = None, for_s: float = SNOOZE_S) -> tuple[str, ...]:
        """Put a call off, or all that wait; it is told again after `for_s`."""
        with self._lock:
            return self._change(id, put_off_until_s=self._now_s + for_s)

    def _change(self, id: str | None, **changes: object) -> tuple[str, ...]:
        found = [
            name for name, call in self._calls.items() if not call.answered and id in (None, name)
        ]
        for name in found:
            self._calls[name] = replace(self._calls[name], **changes)  # type: ignore[arg-type]  # its own fields
            if self._calls[name].answered and self._calls[name].event.state == "told":
                del self._calls[name]
        return tuple(found)

    def due(self, now_s: float) -> list[WatchEvent]:
        """Return what has to be told again now."""
        with self._lock:
            self._now_s = now_s
            found: list[WatchEvent] = []
            for name, call in list(self._calls.items()):
                event = call.event
                if event.state == "told" and now_s - event.at_s > LAPSE_S:
                    del self._calls[name]
                    continue
                pause_s = REPEAT_AFTER_S[min(call.repeats, len(REPEAT_AFTER_S) - 1)]
                at_s = call.told_s + pause_s
                if call.put_off_until_s is not None:
                    at_s = call.put_off_until_s
                if call.answered or now_s < at_s:
                    continue
                again = replace(call, told_s=now_s, repeats=call.repeats + 1, put_off_until_s=None)
                self._calls[name] = again
                found.append(replace(event, at_s=now_s, repeat=again.repeats))
            return found
