"""From a load and what is wanted of it to the fastest safe schedule, with every reason."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from firing.cones.table import parse_cone
from firing.controller.controller import Controller
from firing.design.formulate import answer
from firing.design.kiln_curves import KilnCurves, curves_of, default_curves
from firing.design.request import DesignRequest
from firing.design.result import Design, limit_rows
from firing.design.solve import ProgramSolution
from firing.design.tighten import tightened
from firing.forecast.forecast import forecast
from firing.ware.limits import WareLimits
from firing.ware.load import Load, WareState
from firing.ware.rules import limits_for

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription

_TIGHTENINGS = 6


def design(
    load: Load,
    wish: DesignRequest,
    *,
    kiln: KilnDescription | None = None,
    controller: Controller | None = None,
    state: WareState | None = None,
) -> Design:
    """Return the fastest safe schedule for a load.

    Parameters
    ----------
    load : Load
        What is fired.
    wish : DesignRequest
        What is wanted.
    kiln : KilnDescription, optional
        The kiln; without one the default curves stand in.
    controller : Controller, optional
        What the program is keyed into; without one, 8 segments in whole °C/h, °C and minutes.
    state : WareState, optional
        What an interrupted firing has already done to the ware.

    Returns
    -------
    Design
        With a load that must be dried first: for the ware once it is bone dry, and not `safe`.

    Raises
    ------
    FiringError
        If demands leave no schedule: one sentence saying which two collide; or as of
        `firing.ware.rules.limits_for`.
    """
    controller = Controller() if controller is None else controller
    ready = _prepared(load, wish, kiln, state)
    load, limits, curves, offset_c = ready.load, ready.limits, ready.curves, ready.offset_c
    kept, told = limits, ""
    for rounds in range(_TIGHTENINGS + 1):
        found = answer(load, wish, kept, curves, controller, offset_c)
        problem, solution, schedule = found.problem, found.solution, found.schedule
        result = forecast(
            schedule,
            unload_c=wish.open_c,
            target_cone=None if wish.cone is None else parse_cone(wish.cone),
            kiln=kiln,
            load=load,
            limits=limits,
            state=state,
            waits=controller.waits,
        )
        tighter = tightened(kept, result.breaches)
        if tighter is None or rounds == _TIGHTENINGS:
            break
        kept = tighter
        told = (
            "In this kiln the ware runs otherwise than the thermocouple where the rate changes; "
            "rates were lowered until the simulated wall keeps its limits."
        )
    return Design(
        schedule=schedule,
        reasons=found.reasons,
        ware=ready.ware,
        limits=limit_rows(problem.rising, wish.start_c, solution.summit.peak_c),
        cooling_limits=limit_rows(problem.falling, wish.open_c, solution.summit.peak_c),
        dwells=tuple(d for d in limits.dwells if d.window_c[1] < solution.summit.peak_c),
        controller=controller,
        total_s=result.total_s,
        planned_s=solution.time_s,
        program_s=sum(leg.planned_s for leg in result.segments),
        cost_of_segments_s=max(solution.time_s - solution.unlimited_s, 0.0),
        by_segments=solution.by_segments,
        forecast=result,
        cone=None if wish.cone is None else parse_cone(wish.cone),
        problems=tuple(breach.message for breach in result.breaches),
        advice=ready.advice,
        notes=(
            *_notes(wish, solution, limits, curves, kiln, ready.advice),
            *((told,) if told else ()),
            *(() if result.ware is None else (c.message for c in result.ware.cautions)),
        ),
    )


@dataclass(frozen=True, eq=False)
class _Prepared:
    """The ware as it is to be fired, all its limits and those that count, and the kiln's curves."""

    load: Load
    ware: WareLimits
    limits: WareLimits
    curves: KilnCurves
    offset_c: float
    advice: str


def _prepared(
    load: Load, wish: DesignRequest, kiln: KilnDescription | None, state: WareState | None
) -> _Prepared:
    wish.check()
    ware = limits_for(load, purpose=wish.purpose, margin=wish.margin, state=state)
    advice = ""
    if ware.advice is not None:
        advice = ware.advice.message
        load = replace(load, dryness="bone dry")
        ware = limits_for(load, purpose=wish.purpose, margin=wish.margin, state=state)
    limits = ware
    for reason in wish.without:
        limits = limits.without(reason)
    if kiln is None:
        return _Prepared(load, ware, limits, default_curves(wish.room_c), 0.0, advice)
    curves = curves_of(kiln, load, wish.about_c, wish.room_c)
    return _Prepared(load, ware, limits, curves, kiln.fitted.cone_offset_c, advice)


def fastest(
    load: Load,
    wish: DesignRequest,
    *,
    kiln: KilnDescription | None = None,
    controller: Controller | None = None,
    state: WareState | None = None,
) -> ProgramSolution:
    """Return the optimum within the limits, before the simulated wall has had its say.

    Parameters and errors are those of `design`.
    """
    controller = Controller() if controller is None else controller
    ready = _prepared(load, wish, kiln, state)
    found = answer(ready.load, wish, ready.limits, ready.curves, controller, ready.offset_c)
    return found.solution


def _notes(
    wish: DesignRequest,
    solution: ProgramSolution,
    limits: WareLimits,
    curves: KilnCurves,
    kiln: KilnDescription | None,
    advice: str,
) -> list[str]:
    piece = limits.piece
    notes = [
        f'The thickest way for heat governs: "{piece.name}", {piece.thickest_mm:g} mm, heated from '
        f"{'both faces' if piece.heated_from == 'both' else 'one face'}."
    ]
    if advice:
        notes.append("The program is for this ware once it is bone dry, and not as it is.")
    if wish.without:
        notes.append(f"Left out, never for real ware: {', '.join(wish.without)}.")
    if kiln is None:
        notes.append("No kiln was given: its power and its cooling are default curves.")
    if not solution.down:
        notes.append(f"The kiln may cool by itself: no limit is broken by {curves.cooling.basis}.")
    return notes
