"""The way in: open a plan, run the screens on it, and tell how it was left."""

import gc
import sys
from typing import Any

from firing.errors import FiringError
from tui.document import open_named, open_new


def edit(schedule: str | None, *, light: bool = False) -> dict[str, Any]:
    """Run the screens until they are left.

    Parameters
    ----------
    schedule : str or None
        A file, the name of a ready schedule, or None for a new plan.
    light : bool
        Begin in the light colours.

    Returns
    -------
    dict
        How the plan was left, schema 1.

    Raises
    ------
    FiringError
        If the schedule cannot be opened, there is no terminal, or the screens were cut off.
    """
    # A fault of the file is told before anything is loaded for the screens.
    document = open_new() if schedule is None else open_named(schedule)
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise FiringError(
            "the screens need a terminal to read keys from and to draw on; 'firing forecast' and "
            "'firing review' print the same as text"
        )
    # Thousands of objects are made here and stay: looking for rubbish among them takes a tenth of
    # the time until the screen is there.
    gc.disable()
    from tui.app import run

    left = run(document, light=light)
    if left.how is None:
        raise FiringError(
            "the screens were cut off; unsaved work is kept, and offered by the next 'firing edit'"
        )
    file = left.document.path
    return {
        "schema": 1,
        "kind": "edit",
        "file": None if file is None else str(file),
        "left": left.how,
        "schedule": left.document.schedule.to_dict(),
    }
