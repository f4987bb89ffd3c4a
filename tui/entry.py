"""The way in: open a plan, run the screens on it, and tell how it was left."""

import gc
import sys
from collections.abc import Mapping
from typing import Any

from firing.errors import FiringError

from .document import open_named, open_new
from .equipment import Equipment, Kind, chosen
from .outlook import Circumstances


def _circumstances(names: Mapping[Kind, str], start: str | None, cone: str | None) -> Circumstances:
    from firing.clock import parse_when
    from firing.cones.table import parse_cone

    studio = Equipment()
    for kind, name in names.items():
        studio = chosen(studio, kind, name)
    return Circumstances(
        started=None if start is None else parse_when(start),
        target_cone=None if cone is None else parse_cone(cone),
        studio=studio,
    )


def edit(
    schedule: str | None,
    *,
    light: bool = False,
    names: Mapping[Kind, str] | None = None,
    start: str | None = None,
    cone: str | None = None,
) -> dict[str, Any]:
    """Run the screens until they are left.

    Parameters
    ----------
    schedule : str or None
        A file, the name of a ready schedule, or None for a new plan.
    light : bool
        Begin in the light colours.
    names : mapping of Kind to str, optional
        What it is fired with; what was chosen the last time if there is none.
    start, cone : str, optional
        When it starts, and the cone wanted, as a person writes them.

    Returns
    -------
    dict
        How the plan was left, schema 1.

    Raises
    ------
    FiringError
        If the schedule or another file cannot be read, the start or the cone is not known, there is
        no terminal, or the screens were cut off.
    """
    # A fault of the file is told before anything is loaded for the screens.
    document = open_new() if schedule is None else open_named(schedule)
    circumstances = _circumstances(names or {}, start, cone)
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise FiringError(
            "the screens need a terminal to read keys from and to draw on; 'firing forecast' and "
            "'firing review' print the same as text"
        )
    # Thousands of objects are made here and stay: looking for rubbish among them takes a tenth of
    # the time until the screen is there.
    gc.disable()
    from .app import run

    left = run(document, light=light, circumstances=circumstances)
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
