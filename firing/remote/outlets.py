"""Where a watch is shown and told besides its own terminal or screen: a page, and messages."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from firing.watch.fault_isolation import SeveralListeners
from firing.watch.snapshot import WatchState

if TYPE_CHECKING:
    from firing.remote.page_server import PageAddress, PageServer
    from firing.watch.fault_isolation import Listener
    from firing.watch.listener import WatchListener
    from firing.watch.setup import OpenWatch

ESTIMATE_EVERY_S = 10.0
"""How often it is worked out at least how a firing goes on that is shown elsewhere [s]."""


class Outlets:
    """The page and the messages of one watch, from its beginning to its end.

    It keeps what the watch has laid down last; `publish` is what lays it down.
    """

    def __init__(self, page: PageAddress | None, name: str = "") -> None:
        self._page, self._name = page, name
        self._server: PageServer | None = None
        self.seen = WatchState()

    def publish(self, seen: WatchState) -> None:
        """Take in what is known of the watch now."""
        self.seen = seen

    def begin(self, opened: OpenWatch) -> list[str]:
        """Show and tell, from now on; returns what the person at this computer is to know of it."""
        found = []
        if self._page is not None:
            from firing.remote.page import ShownWatch
            from firing.remote.page_server import PageServer

            schedule, calls = opened.options.schedule, opened.calls
            shown = ShownWatch(self._name, schedule, lambda: self.seen, lambda: calls)
            self._server = PageServer([shown], self._page)
            found += self._server.begin()
        return found

    def beside(
        self, first: Listener, published: WatchListener, status_every_s: float
    ) -> SeveralListeners:
        """Return a listener that lets all of them know what the first is told."""
        return SeveralListeners(first, {"the page": published}, self.remarks, status_every_s)

    def remarks(self) -> list[str]:
        """Return what a person has to be told and was not yet, a sentence each."""
        return [] if self._server is None else self._server.remarks()

    def close(self) -> None:
        """End them; nothing of it can fail or take long."""
        with suppress(Exception):
            if self._server is not None:
                self._server.close()
