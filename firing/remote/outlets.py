"""Where a watch is shown and told besides its own terminal or screen: a page, and messages."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from firing.errors import FiringError
from firing.watch.fault_isolation import SeveralListeners
from firing.watch.snapshot import WatchState
from firing.watch.status_text import status_line

if TYPE_CHECKING:
    from firing.capture.reading import Reading
    from firing.remote.messages import Messenger
    from firing.remote.notify_file import NotifySettings
    from firing.remote.page import ShownWatch
    from firing.remote.page_server import PageAddress, PageServer
    from firing.watch.events import WatchEvent
    from firing.watch.fault_isolation import Listener
    from firing.watch.setup import OpenWatch
    from firing.watch.state import Estimate

ESTIMATE_EVERY_S = 10.0
"""How often it is worked out at least how a firing goes on that is shown elsewhere [s]."""


class Outlets:
    """The page and the messages of one watch, from its beginning to its end.

    It keeps what the watch has laid down last; `publish` is what lays it down.  Several watches
    share a page: that of the first, which the `others` stand on, too.
    """

    def __init__(
        self,
        page: PageAddress | None = None,
        notify: NotifySettings | None = None,
        name: str = "",
        others: Sequence[Outlets] = (),
    ) -> None:
        self._page, self._notify, self._name = page, notify, name
        self._others = tuple(others)
        self._shown: ShownWatch | None = None
        self._server: PageServer | None = None
        self._messenger: Messenger | None = None
        self._opened: OpenWatch | None = None
        self.seen = WatchState()

    def publish(self, seen: WatchState) -> None:
        """Take in what is known of the watch now."""
        self.seen = seen

    def open(self, opened: OpenWatch) -> None:
        """Take in what is to be shown and told of.

        `FiringError` if messages are wanted of a firing that is long over.
        """
        from firing.remote.page import ShownWatch

        schedule, calls = opened.options.schedule, opened.calls
        self._opened = opened
        self._shown = ShownWatch(
            self._name, schedule, opened.unit, lambda: self.seen, lambda: calls
        )
        if self._notify is not None and not opened.live:
            raise FiringError(
                "a log is replayed, and nobody is sent messages of that; leave --notify out, or "
                "try it with 'firing notify FILE --try'"
            )

    def begin(self) -> list[str]:
        """Show and tell, from now on; returns what the person at this computer is to know of it."""
        assert self._opened is not None
        found = []
        schedule = self._opened.options.schedule
        if self._notify is not None:
            from firing.remote.messages import Messenger

            title = self._name or ("" if schedule is None else schedule.title)
            self._messenger = Messenger(self._notify, self._opened.calls, title, self._standing)
            self._messenger.begin()
        if self._page is not None:
            from firing.remote.page_server import PageServer

            shown = [each._shown for each in (self, *self._others) if each._shown is not None]
            self._server = PageServer(shown, self._page)
            found += self._server.begin()
        return found

    def beside(
        self, first: Listener, others: dict[str, Listener], status_every_s: float
    ) -> SeveralListeners:
        """Return a listener that lets all of them know what the first is told."""
        return SeveralListeners(
            first, {**others, "the sending of messages": self}, self.remarks, status_every_s
        )

    def _standing(self) -> str:
        """Say how the firing stands, for a message."""
        seen = self.seen
        if seen.began is None or seen.estimate is None or self._opened is None:
            return ""
        now = replace(seen.estimate, now_s=seen.now_s, temperature_c=seen.temperature_c)
        if seen.stage in ("lost", "silent"):
            now = replace(now, temperature_c=math.nan)
        return status_line(now, seen.began, self._opened.options.schedule, self._opened.unit)

    # As a listener

    def note(self, sentence: str) -> None:
        """Send nothing: what is told on the side is for whoever sits at the watch."""

    def notice(self, notice: WatchEvent) -> None:
        """Let an event be sent."""
        if self._messenger is not None:
            self._messenger.notice(notice)

    def status(self, estimate: Estimate, reading: Reading | None) -> None:
        """Send nothing: how it stands goes along with what is sent."""

    def tick(self) -> None:
        """Send what is due."""
        if self._messenger is not None:
            kept = self.seen.recording
            trouble = None if kept is None else kept.trouble
            self._messenger.recording(self.seen.not_recorded or trouble)
            self._messenger.tick()

    # For whoever owns them

    def remarks(self) -> list[str]:
        """Return what a person has to be told and was not yet, a sentence each."""
        found = [] if self._server is None else self._server.remarks()
        return found if self._messenger is None else found + self._messenger.remarks()

    def end(self, *, by_itself: bool) -> None:
        """Say that the watch has ended, and end with it; nothing of it can fail or take long."""
        with suppress(Exception):
            if self._messenger is not None:
                words = "the watch has ended: nobody watches this firing now"
                self._messenger.end(words, by_itself=by_itself)
        with suppress(Exception):
            if self._server is not None:
                self._server.close()
        with suppress(Exception):
            if self._messenger is not None:
                self._messenger.close()
