"""A watch opened so that the screens can follow it: with its ledger listening in."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, cast

from firing.watch.options import WatchOptions
from firing.watch.setup import OpenWatch, open_watch

from .watchledger import HeardConnection, HeardOutlook, Ledger

if TYPE_CHECKING:
    from .watching import Seen

STATUS_EVERY_S = 10.0
"""How often it is worked out how the firing goes on: some 20 ms of work [s]."""
MAX_SPEED_STATUS_S = 900.0
"""The same on the clock of a log that is replayed as fast as it goes [s]."""


def open_heard(options: WatchOptions, publish: Callable[[Seen], None]) -> tuple[OpenWatch, Ledger]:
    """Open everything that a watch needs, and what writes down what it tells.

    Parameters
    ----------
    options : WatchOptions
        What to watch, and how.
    publish : callable
        Is given what is known whenever it is laid down.

    Raises
    ------
    FiringError
        If something of it is not there or cannot be used; nothing is left open then.
    """
    opened = open_watch(options, HeardConnection)
    outlook = opened.watcher.predictor
    heard = None if outlook is None else HeardOutlook(outlook)
    opened.watcher.predictor = heard
    ledger = Ledger(
        publish,
        cast("HeardConnection", opened.connection),
        opened.watcher,
        heard,
        opened.recorder,
        opened.base,
        channel=opened.channel,
        live=opened.live,
        silent_after_s=options.lost_after_s,
        not_recorded=opened.not_recorded,
    )
    return opened, ledger


def status_every_s(opened: OpenWatch) -> float:
    """Return how much of the recording's clock passes between two estimates [s]."""
    if opened.live:
        return STATUS_EVERY_S
    told = opened.options.line.get("speed")
    speed = math.inf if told in (None, "max") else float(told)
    return max(STATUS_EVERY_S, speed) if math.isfinite(speed) else MAX_SPEED_STATUS_S
