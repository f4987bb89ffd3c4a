"""A hand-written schedule made safe for a load: its mends, verified and forecast like a design."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from firing.controller.controller import Controller
from firing.design.kilncurves import curves_of, default_curves
from firing.design.mend import mend, mendable
from firing.design.result import Design, limit_rows
from firing.design.tighten import tightened
from firing.design.wish import OPEN_C
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.schedule.schedule import Purpose, Schedule
from firing.units import format_duration
from firing.ware.case import USUAL_MARGIN
from firing.ware.check import Breach
from firing.ware.hot_start import ware_at_start
from firing.ware.load import Load
from firing.ware.rules import limits_for
from firing.ware.state import WareState

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription

_ROUNDS = 8


def mended_design(
    schedule: Schedule,
    load: Load,
    *,
    purpose: Purpose | None = None,
    margin: float = USUAL_MARGIN,
    kiln: KilnDescription | None = None,
    controller: Controller | None = None,
    open_c: float = OPEN_C,
    state: WareState | None = None,
) -> Design:
    """Return a schedule with the smallest changes that mend it, as a design.

    Parameters
    ----------
    schedule : Schedule
        Any program.
    load : Load
        What is fired.
    purpose : str, optional
        What for; the schedule's own unless given.
    margin : float
        Caution.
    kiln, controller
        As of `firing.design.designer.design`; without a controller, as many segments as it takes.
    open_c : float
        Opening [°C].
    state : WareState, optional
        What earlier firing has done to the ware; see `firing.ware.hot_start` where nobody knows.

    Returns
    -------
    Design
        `cost_of_segments_s` is None; `problems` holds what no mend can help.

    Raises
    ------
    FiringError
        As of `firing.design.mend.mend` and `firing.ware.rules.limits_for`.
    """
    if purpose is not None:
        schedule = replace(schedule, purpose=purpose)
    if controller is None:
        controller = Controller(max_segments=99, unit=schedule.unit)
    found = ware_at_start(load, schedule, margin=margin, state=state)
    limits = limits_for(found.load, purpose=schedule.purpose, margin=margin, state=found.state)
    curves = (
        default_curves(schedule.room_c)
        if kiln is None
        else curves_of(kiln, load, schedule.peak_c, schedule.room_c)
    )
    kept = limits
    left: list[Breach] = []
    for _ in range(_ROUNDS):
        try:
            result = mend(schedule, kept, curves, controller)
        except FiringError:
            # The limits as lowered are nobody's: what they were lowered for is the reason.
            if left:
                break
            raise
        course = forecast(
            result.schedule,
            unload_c=open_c,
            kiln=kiln,
            load=load,
            limits=limits,
            state=state,
            waits=controller.waits,
        )
        # What no program helps, a problem says: ware too wet, or a start above where it dries.
        left = [b for b in course.breaches if mendable(b, schedule)]
        tighter = tightened(kept, left)
        if tighter is None:
            break
        kept = tighter
    if left:
        raise FiringError(
            f"slowing this program down does not make it safe: {left[0].message} Design a program "
            "from the load instead"
        )
    before = forecast(
        schedule,
        unload_c=open_c,
        kiln=kiln,
        load=None if kiln is None else load,
        waits=controller.waits,
        state=state,
    )
    notes = [found.assumed] if found.assumed else []
    notes += [breach.message for breach in result.mends]
    notes += result.changes
    notes += [] if course.ware is None else [caution.message for caution in course.ware.cautions]
    longer = format_duration(course.total_s - before.total_s, signed=True)
    notes.append(
        f"The mends change closing to opening by {longer}."
        if result.mends
        else "Nothing had to be mended."
    )
    problems = [breach.message for breach in course.breaches]
    advice = "" if limits.advice is None else limits.advice.message
    return Design(
        schedule=result.schedule,
        reasons=result.reasons,
        ware=limits,
        limits=limit_rows(
            (*limits.of("heating"), curves.heating), schedule.start_c, schedule.peak_c
        ),
        cooling_limits=limit_rows(limits.of("cooling"), open_c, schedule.peak_c),
        dwells=tuple(d for d in limits.dwells if d.window_c[1] < schedule.peak_c),
        controller=controller,
        total_s=course.total_s,
        planned_s=course.total_s,
        program_s=sum(leg.planned_s for leg in course.segments),
        cost_of_segments_s=None,
        by_segments=(),
        forecast=course,
        problems=tuple(words for words in problems if words != advice),
        advice=advice,
        notes=tuple(notes),
    )
