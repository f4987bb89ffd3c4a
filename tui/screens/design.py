"""A plan made for the load: what is wanted, the design under way, and the choice it leads to."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from firing.errors import FiringError

from ..design_form import (
    FIELDS,
    HOWS,
    NEW,
    PURPOSES,
    DesignField,
    WantedDesign,
    begin,
    continued,
    read,
)
from .dialogs import in_progress
from .filling import Blank, Filling

if TYPE_CHECKING:
    from firing.schedule.schedule import Schedule
    from firing.units import TemperatureUnit

    from .plan_host import PlanHost


async def design_plan(screen: PlanHost) -> Schedule | None:
    """Have a plan designed, and see it beside the open one.

    Parameters
    ----------
    screen : PlanHost
        On top of which it is done.

    Returns
    -------
    Schedule or None
        The designed plan if it is taken; None if everything is left as it was.
    """
    from ..comparison import compare
    from .comparison import ComparisonScreen

    if not await screen.needed("load", "A design needs to know the ware"):
        return None
    fault = ""
    while True:
        wanted = await _wanted(screen, fault)
        if wanted is None:
            break
        fault = ""
        session = screen.session
        schedule, circumstances = session.document.schedule, session.circumstances
        try:
            make = partial(compare, schedule, circumstances, wanted)
            found = await in_progress(screen, "Designing", make)
        except FiringError as error:
            fault = str(error)
            continue
        if found is None:
            continue
        answer = await screen.app.push_screen_wait(ComparisonScreen(found))
        if answer == "take":
            return found.after
        if answer is None:
            break
    screen.say("Left as it was.")
    return None


async def _wanted(screen: PlanHost, fault: str) -> dict[str, Any] | None:
    """Let the form be filled in; what was written is kept for the next time."""
    session = screen.session
    schedule, studio = session.document.schedule, session.circumstances.studio
    assert studio.load is not None
    begun = begin(schedule, session.circumstances)
    texts = continued(begun, session.wanted)
    blanks = [_blank(field, texts[field.key], schedule.unit) for field in FIELDS]
    kiln = "no kiln chosen" if studio.kiln is None else f"in {studio.kiln.short}"
    form = Filling(f"A plan for {studio.load.short}, {kiln}", blanks, fault)
    filled = await screen.app.push_screen_wait(form)
    if form.texts:
        session.wanted = WantedDesign(begun, form.texts)
    return filled


def _blank(field: DesignField, text: str, unit: TemperatureUnit) -> Blank:
    when = ("how", NEW) if field.only_new else None
    if field.what == "how":
        return Blank(field.key, field.label, text, field.hint, options=HOWS)
    if field.what == "purpose":
        options = [(purpose, purpose) for purpose in PURPOSES]
        return Blank(field.key, field.label, text, field.hint, options=options)
    what = field.what
    return Blank(
        field.key, field.label, text, field.hint, lambda text: read(what, text, unit), when=when
    )
