"""From a wish, the ware's limits and the kiln's curves to the problem that is solved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firing.cones.heatwork import heatwork
from firing.cones.kinetics import cone_law
from firing.controller.controller import Controller
from firing.design.check import course_of
from firing.design.explain import explained
from firing.design.infeasibility import conflicting_demands
from firing.design.kiln_curves import KilnCurves
from firing.design.labels import PeakCandidate
from firing.design.peak_candidates import peak_candidates_for_cone
from firing.design.rate_limits import Cap, Ceiling
from firing.design.request import DesignRequest
from firing.design.result import SegmentReason
from firing.design.solve import Problem, ProgramSolution, solve
from firing.errors import FiringError
from firing.schedule.schedule import Schedule
from firing.units import format_temperature
from firing.ware.limits import WareLimits
from firing.ware.load import Load

_ROUNDS = 8
# Of the heat-work that brings a cone down: half a percent is a tenth of a degree.
_SETTLED = 0.005
_LEAST_BY_HEATING, _NEAR_ENOUGH = 0.1, 0.1


@dataclass(frozen=True, eq=False)
class DesignAnswer:
    """A problem, its solution, and that as a schedule with its reasons."""

    problem: Problem
    solution: ProgramSolution
    schedule: Schedule
    reasons: tuple[SegmentReason, ...]


def answer(
    load: Load,
    wish: DesignRequest,
    limits: WareLimits,
    curves: KilnCurves,
    controller: Controller,
    offset_c: float,
) -> DesignAnswer:
    """Return the fastest program within limits.

    The cooling's heat-work counts towards a cone and is known only once there is a program, so the
    problem is solved again until it has settled.

    Parameters
    ----------
    load, wish, limits, curves, controller
        The ware, what is wanted, its limits, the kiln, and what the program is keyed into.
    offset_c : float
        What the thermocouple reads too low by, from witness cones [°C].

    Raises
    ------
    FiringError
        If demands leave no schedule: one sentence saying which two collide.
    """
    wanted, cooling_x, rounds = 1.0, 0.0, 0
    while True:
        summits = _summits(wish, controller, curves, offset_c, wanted)
        drop_c = wish.cooling.drop_to_c
        if wanted < 1.0 and drop_c is not None and drop_c >= max(s.peak_c for s in summits):
            raise _too_much_cooling(wish, cooling_x)
        problem = _problem(wish, limits, curves, controller, summits)
        solution = solve(problem)
        if solution is None:
            raise conflicting_demands(problem)
        schedule, reasons = explained(
            solution, problem, title=wish.title(load), purpose=wish.purpose, cone=wish.cone
        )
        cooling_x = _cooling_x(wish, schedule, curves, offset_c)
        if wish.cone is None or abs(wanted + cooling_x - 1.0) < _SETTLED:
            break
        rounds += 1
        if rounds == _ROUNDS or wanted < _LEAST_BY_HEATING:
            if abs(wanted + cooling_x - 1.0) > _NEAR_ENOUGH:
                raise _too_much_cooling(wish, cooling_x)
            break
        # A lower peak lessens what heating and cooling do by about the same share.
        wanted = 1.0 / (1.0 + cooling_x / wanted)
    return DesignAnswer(problem, solution, schedule, reasons)


def _too_much_cooling(wish: DesignRequest, cooling_x: float) -> FiringError:
    return FiringError(
        f"the cooling asked for and cone {wish.cone} collide: the cooling alone does "
        f"{100 * cooling_x:.0f} % of what brings the cone down; hold shorter, or lower, after the "
        "peak"
    )


def _cooling_x(
    wish: DesignRequest, schedule: Schedule, curves: KilnCurves, offset_c: float
) -> float:
    """Return what part of bringing the cone down the cooling does: it counts like the heating."""
    if wish.cone is None:
        return 0.0
    time_s, temperature_c = course_of(schedule, curves)
    last = int(np.flatnonzero(temperature_c >= schedule.peak_c - 1e-6)[-1])
    law = cone_law(wish.cone)
    shift_c = offset_c + law.shift_c(schedule.segments[schedule.peak_index].rate_c_per_h)
    return heatwork(time_s[last:], temperature_c[last:], (law.cone,), shift_c)[law.cone]


def _summits(
    wish: DesignRequest,
    controller: Controller,
    curves: KilnCurves,
    offset_c: float,
    wanted: float,
) -> tuple[PeakCandidate, ...]:
    bounds = wish.bounds
    if wish.cone is not None:
        found = peak_candidates_for_cone(
            wish.cone,
            bounds,
            controller,
            start_c=wish.start_c,
            highest_c=curves.highest_c,
            highest_words=curves.highest_words,
            offset_c=offset_c,
            wanted=wanted,
        )
        return tuple(found)
    top_c = wish.top_c or 0.0
    limit_c = curves.highest_c
    if top_c > limit_c:
        raise FiringError(
            f"a top of {format_temperature(top_c)} and {curves.highest_words} "
            f"({format_temperature(limit_c)}) collide; write --top {limit_c:.0f} or less"
        )
    if bounds.peak_at_most_c is not None and top_c > bounds.peak_at_most_c:
        raise FiringError(
            f"a top of {format_temperature(top_c)} and a peak of at most "
            f"{format_temperature(bounds.peak_at_most_c)} collide; write one of them"
        )
    peak_c = controller.target_down_c(top_c)
    if peak_c <= wish.start_c:
        raise FiringError(
            f"a top of {format_temperature(top_c)} is not above the start, "
            f"{format_temperature(wish.start_c)}; write a higher one"
        )
    hold_s = float(controller.hold_up_s(np.array(bounds.hold_at_least_s)))
    if hold_s > controller.longest_hold_s:
        raise FiringError(
            f"a hold of {hold_s / 3600:.1f} h and the controller's longest of "
            f"{controller.longest_hold_s / 3600:.1f} h collide; write a shorter hold"
        )
    return (PeakCandidate(peak_c, hold_s),)


def _problem(
    wish: DesignRequest,
    limits: WareLimits,
    curves: KilnCurves,
    controller: Controller,
    summits: tuple[PeakCandidate, ...],
) -> Problem:
    highest_c = max(summit.peak_c for summit in summits)
    special = set(limits.breakpoints_c)
    falling: tuple[Ceiling, ...] = limits.of("cooling")
    held: dict[float, float] = {}
    cooling = wish.cooling
    if cooling.drop_to_c is not None:
        drop_c = controller.nearest_target_c(cooling.drop_to_c)
        if not wish.open_c < drop_c < highest_c:
            raise FiringError(
                f"a drop to {format_temperature(drop_c)} must lie between "
                f"{format_temperature(wish.open_c)} and the peak, {format_temperature(highest_c)}"
            )
        summits = tuple(summit for summit in summits if summit.peak_c > drop_c)
        highest_c = max(summit.peak_c for summit in summits)
        held[drop_c] = float(controller.hold_up_s(np.array(cooling.drop_hold_s)))
    if cooling.rate_c_per_h is not None and cooling.until_c is not None:
        until_c = controller.nearest_target_c(cooling.until_c)
        from_c = min(held, default=highest_c)
        if not wish.open_c < until_c < from_c:
            raise FiringError(
                f"controlled cooling until {format_temperature(until_c)} must end between "
                f"{format_temperature(wish.open_c)} and {format_temperature(from_c)}"
            )
        special |= {until_c, from_c}
        asked = Cap(
            "asked for",
            f"cooling at {cooling.rate_c_per_h:g} °C/h was asked for",
            "",
            np.array([until_c, from_c]),
            np.full(2, cooling.rate_c_per_h),
        )
        falling = (*falling, asked)
    return Problem(
        start_c=wish.start_c,
        open_c=wish.open_c,
        summits=summits,
        rising=(*limits.of("heating"), curves.heating),
        falling=falling,
        dwells=limits.dwells,
        special_c=tuple(sorted(special)),
        own=curves.cooling,
        controller=controller,
        held_s=held,
    )
