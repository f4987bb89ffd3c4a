"""The way in to the Watch screen at once, from the command line."""

from __future__ import annotations

import gc
import sys

from firing.capture.source_settings import STANDARD_INPUT
from firing.errors import FiringError
from firing.watch.options import WatchOptions
from firing.watch.setup import check_options

from .document import open_named, open_new
from .equipment import Equipment, chosen
from .outlook import Circumstances


def watch(
    options: WatchOptions,
    *,
    plan: str | None = None,
    kiln: str | None = None,
    load: str | None = None,
) -> bool:
    """Watch on the screen until it is left.

    Parameters
    ----------
    options : WatchOptions
        What to watch, and how.
    plan, kiln, load : str or None
        What its plan, its kiln and its load were read from.

    Returns
    -------
    bool
        Whether lines were readings, and every one that was to be recorded is in its file.

    Raises
    ------
    FiringError
        If something cannot be watched, or there is no terminal.
    """
    if options.source == STANDARD_INPUT:
        raise FiringError(
            "with --screen the keys come from standard input, so readings cannot; name a port, an "
            "address or a log"
        )
    document = open_new() if plan is None else open_named(plan)
    studio = Equipment()
    if kiln is not None:
        studio = chosen(studio, "kiln", kiln)
    if load is not None:
        studio = chosen(studio, "load", load)
    check_options(options)
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise FiringError(
            "the screen needs a terminal to read keys from and to draw on; without --screen "
            "'firing watch' prints the same as text"
        )
    # As in tui.entry: what is made while the screens are made, stays.
    gc.disable()
    from .app import run

    left = run(document, circumstances=Circumstances(studio=studio), watch=options)
    if left.watch is not None and left.watch.seen.stage == "broken":
        raise FiringError(left.watch.seen.why)
    if left.how is None:
        raise FiringError(
            "the screens were cut off; unsaved work is kept, and offered by the next 'firing edit'"
        )
    return left.watch is None or left.watch.seen.complete
