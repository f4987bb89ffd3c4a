"""What may fail in a watch without ending anything else: done part by part, each told of once.

Recording, alarms, estimates and display are separate: a fault in one is caught here, told in one
sentence, and the part is tried again the next time it is due.  A display that fails ends nothing
and hides nothing.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Protocol, TypeVar

from firing.capture.reading import Reading
from firing.watch.events import WatchEvent
from firing.watch.state import Estimate

Result = TypeVar("Result")

FORGOTTEN_AFTER_SUCCESSES = 10
"""A part that failed has to work so many times before another failure of it is told."""
LONGEST_REASON = 120


@dataclass(slots=True)
class _Fault:
    """One part that failed."""

    is_failing: bool = True
    successes_since: int = 0
    recovery_told: bool = False


class FaultIsolation:
    """Runs what may fail and keeps what a person has to be told of it.

    `unaffected` says, in words, what goes on nevertheless.
    """

    def __init__(self, unaffected: str = "reading and recording go on") -> None:
        self._unaffected = unaffected
        self._faults: dict[str, _Fault] = {}
        self._remarks: list[str] = []

    def run(self, part: str, action: Callable[[], Result], fallback: Result) -> Result:
        """Return what an action returns, or its fallback if it fails.

        `part` says what it does, in words that a sentence may begin with.
        """
        try:
            result = action()
        except Exception as error:
            self._note_failure(part, error)
            return fallback
        if part in self._faults:
            self._note_success(part)
        return result

    def is_failing(self, part: str) -> bool:
        """Tell whether a part failed the last time it was tried."""
        return part in self._faults and self._faults[part].is_failing

    @property
    def any_failing(self) -> bool:
        """Whether any part failed the last time it was tried."""
        return any(fault.is_failing for fault in self._faults.values())

    def _note_failure(self, part: str, error: Exception) -> None:
        fault = self._faults.get(part)
        if fault is not None:
            fault.is_failing, fault.successes_since = True, 0
            return
        self._faults[part] = _Fault()
        self._remarks.append(
            f"{part} failed ({reason_of(error)}); {self._unaffected}, and it is tried again"
        )

    def _note_success(self, part: str) -> None:
        fault = self._faults[part]
        if not fault.recovery_told:
            self._remarks.append(f"{part} works again")
        fault.is_failing, fault.recovery_told = False, True
        fault.successes_since += 1
        if fault.successes_since >= FORGOTTEN_AFTER_SUCCESSES:
            del self._faults[part]

    def remarks(self) -> list[str]:
        """Return what a person should know and has not been told yet, a sentence each."""
        remarks, self._remarks = self._remarks, []
        return remarks


def reason_of(error: Exception) -> str:
    """Return what an exception says, in one short line."""
    said = " ".join(str(error).split())[:LONGEST_REASON].rstrip(".")
    return said or type(error).__name__


DISPLAY = "the display"
MOST_WAITING = 200


class Listener(Protocol):
    """Whoever shows a watch: a terminal, a file, a screen."""

    def note(self, sentence: str) -> None:
        """Show something on the side."""

    def notice(self, notice: WatchEvent) -> None:
        """Show a notice."""

    def status(self, estimate: Estimate, reading: Reading | None) -> None:
        """Show how the firing stands, with the last reading."""

    def tick(self) -> None:
        """Do what is due, several times a second."""


class SeveralListeners:
    """A first listener and others beside it, none of which keeps anything from the first.

    What the others have to say, and that one of them failed, the first shows as a sentence.  It
    shows how the firing stands every `status_every_s` [s], and the others whenever it is told.
    """

    def __init__(
        self,
        first: Listener,
        others: Mapping[str, Listener],
        remarks: Callable[[], Iterable[str]],
        status_every_s: float,
    ) -> None:
        self._first, self._others, self._more_remarks = first, dict(others), remarks
        self._status_every_s = status_every_s
        self._due_s = -math.inf
        self._withheld: tuple[Estimate, Reading | None] | None = None
        self._isolation = FaultIsolation()

    def _tell_others(self, tell: Callable[[Listener], None]) -> None:
        for name, other in self._others.items():
            self._isolation.run(name, partial(tell, other), None)

    def note(self, sentence: str) -> None:
        """Show something on the side."""
        self._tell_others(lambda other: other.note(sentence))
        self._first.note(sentence)

    def notice(self, notice: WatchEvent) -> None:
        """Show a notice."""
        self._tell_others(lambda other: other.notice(notice))
        self._first.notice(notice)

    def status(self, estimate: Estimate, reading: Reading | None) -> None:
        """Show how the firing stands, with the last reading."""
        self._tell_others(lambda other: other.status(estimate, reading))
        self._withheld = estimate, reading
        if estimate.now_s >= self._due_s:
            self._due_s = estimate.now_s + self._status_every_s
            self.show_withheld()

    def show_withheld(self) -> None:
        """Let the first show the last status now, if it was not due."""
        withheld, self._withheld = self._withheld, None
        if withheld is not None:
            self._first.status(*withheld)

    def tick(self) -> None:
        """Do what is due, several times a second."""
        self._tell_others(lambda other: other.tick())
        none: Iterable[str] = ()
        told = self._isolation.run("what goes on beside the watch", self._more_remarks, none)
        for sentence in (*told, *self._isolation.remarks()):
            self.note(sentence)
        self._first.tick()


class FaultTolerantDisplay:
    """A listener that may fail; what it did not show is shown as a sentence when it can again."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._isolation = FaultIsolation()
        self._waiting: deque[str] = deque(maxlen=MOST_WAITING)

    def note(self, sentence: str) -> None:
        """Show a sentence, now or as soon as it can be."""
        self._waiting.append(sentence)
        self._show_waiting()

    def notice(self, notice: WatchEvent) -> None:
        """Show a notice; if that fails, its sentence."""
        if not self._isolation.run(f"{DISPLAY} of notices", lambda: self._noticed(notice), False):
            self.note(f"{notice.id}: {notice.message}")

    def _noticed(self, notice: WatchEvent) -> bool:
        self._listener.notice(notice)
        return True

    def status(self, estimate: Estimate, reading: Reading | None) -> None:
        """Show how the firing stands."""
        self._isolation.run(
            f"{DISPLAY} of how it stands",
            lambda: self._listener.status(estimate, reading),
            None,
        )

    def tick(self) -> None:
        """Do what is due, and show what could not be shown."""
        self._isolation.run(DISPLAY, self._listener.tick, None)
        self._show_waiting()

    def _show_waiting(self) -> None:
        self._waiting.extend(self._isolation.remarks())
        while self._waiting:
            sentence = self._waiting[0]
            try:
                self._listener.note(sentence)
            except Exception:
                return  # nobody to tell it; the next tick tries again
            self._waiting.popleft()
