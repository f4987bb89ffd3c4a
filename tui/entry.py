"""The ways in: the screens on a plan, or on a firing to watch, and how they were left."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from firing.errors import FiringError

from .document import open_named, open_new
from .equipment import Circumstances, Equipment, Kind, with_file

if TYPE_CHECKING:
    from firing.remote.outlets import Outlets
    from firing.watch.options import WatchOptions

CUT_OFF = "the screens were cut off; unsaved work is kept, and offered by the next 'firing edit'"


def _circumstances(names: Mapping[Kind, str], start: str | None, cone: str | None) -> Circumstances:
    from firing.clock import parse_when
    from firing.cones.table import parse_cone

    equipment = Equipment()
    for kind, name in names.items():
        equipment = with_file(equipment, kind, name)
    return Circumstances(
        started=None if start is None else parse_when(start),
        target_cone=None if cone is None else parse_cone(cone),
        equipment=equipment,
    )


def edit(
    schedule: str | None,
    *,
    light: bool = False,
    names: Mapping[Kind, str] | None = None,
    start: str | None = None,
    cone: str | None = None,
) -> dict[str, Any]:
    """Run the screens until they are left, and return how the plan was left, schema 1.

    Without a schedule there is a new plan.  Without any `names` the plan is fired with what was
    chosen the last time.  Raises `FiringError` if something named cannot be read, there is no
    terminal, or the screens were cut off.
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
    # A key waits for the next frame: Textual's sixtieth of a second is a third of what it may take.
    os.environ.setdefault("TEXTUAL_FPS", "120")
    from .app import run

    left = run(document, light=light, circumstances=circumstances)
    if left.how in (None, "no terminal"):
        raise FiringError(CUT_OFF)
    file = left.document.path
    return {
        "schema": 1,
        "kind": "edit",
        "file": None if file is None else str(file),
        "left": left.how,
        "schedule": left.document.schedule.to_dict(),
    }


def watch(
    options: WatchOptions,
    *,
    plan: str | None = None,
    kiln: str | None = None,
    load: str | None = None,
    outlets: Outlets | None = None,
) -> bool:
    """Watch on the screen until it is left, and without one if its terminal goes.

    Plan, kiln and load are named as they were read.  It is shown and told by its `outlets`, too.

    Returns whether lines were readings, and every one that was to be recorded is in its file.
    Raises `FiringError` if something cannot be watched, or there is no terminal.
    """
    from firing.capture.source_settings import STANDARD_INPUT
    from firing.watch.setup import check_options

    if options.source == STANDARD_INPUT:
        raise FiringError(
            "with --screen the keys come from standard input, so readings cannot; name a port, an "
            "address or a log"
        )
    document = open_new() if plan is None else open_named(plan)
    given: dict[Kind, str | None] = {"kiln": kiln, "load": load}
    names = {kind: name for kind, name in given.items() if name is not None}
    circumstances = _circumstances(names, None, None)
    check_options(options)
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise FiringError(
            "the screen needs a terminal to read keys from and to draw on; without --screen "
            "'firing watch' prints the same as text"
        )
    # As above: what is made while the screens are made, stays.
    gc.disable()
    # A key waits for the next frame: Textual's sixtieth of a second is a third of what it may take.
    os.environ.setdefault("TEXTUAL_FPS", "120")
    from .app import run

    left = run(document, circumstances=circumstances, watch=options, outlets=outlets)
    if left.watch is not None and left.watch.seen.stage == "broken":
        raise FiringError(left.watch.seen.why)
    if left.how is None:
        raise FiringError(CUT_OFF)
    return left.watch is None or left.watch.seen.complete
