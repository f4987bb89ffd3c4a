"""Whoever shows a watch, kept apart: a display that fails ends nothing and hides nothing."""

from __future__ import annotations

from collections import deque
from typing import Protocol

from firing.capture.reading import Reading
from firing.watch.events import WatchEvent
from firing.watch.fault_isolation import FaultIsolation
from firing.watch.state import Estimate

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
