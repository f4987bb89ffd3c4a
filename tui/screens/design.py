"""A plan made for the load: what is wanted, the design under way, and the choice it leads to."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from firing.errors import FiringError

from ..design_form import WantedDesign, begin, continued, design_fields
from .dialogs import in_progress
from .filling import Filling

if TYPE_CHECKING:
    from firing.schedule.schedule import Schedule

    from .plan_host import PlanHost


async def design_plan(screen: PlanHost) -> Schedule | None:
    """Have a plan designed, and see it beside the open one; returns it if it is taken."""
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
    schedule, equipment = session.document.schedule, session.circumstances.equipment
    assert equipment.load is not None
    begun = begin(schedule, session.circumstances)
    texts = continued(begun, session.wanted)
    kiln = "no kiln chosen" if equipment.kiln is None else f"in {equipment.kiln.short}"
    title = f"A plan for {equipment.load.short}, {kiln}"
    form = Filling(title, design_fields(schedule.unit), texts, fault)
    filled = await screen.app.push_screen_wait(form)
    if form.texts:
        session.wanted = WantedDesign(begun, form.texts)
    return filled
