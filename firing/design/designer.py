"""From a load and what is wanted of it to the fastest safe schedule, with every reason."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from firing.cones.heatwork import heatwork
from firing.cones.kinetics import cone_law
from firing.cones.table import parse_cone
from firing.controller.controller import Controller, usual_controller
from firing.design.explain import beside_practice, explained
from firing.design.heating_search import (
    HeatingLeg,
    PeakCandidate,
    hold_bounds,
    peak_candidates_for_cone,
)
from firing.design.just_down import PeakAndHold, TopBounds, just_down
from firing.design.kiln_curves import KILN, KilnCurves, course_of, curves_of, default_curves
from firing.design.rate_limits import halfway, tightened
from firing.design.request import DesignRequest
from firing.design.result import Design, DesignCosts, SegmentReason, limit_rows
from firing.design.solve import Problem, ProgramSolution, conflicting_demands, solve
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.schedule.schedule import Schedule
from firing.units import format_duration, format_rate, format_temperature, from_celsius, in_unit
from firing.ware.drying import DryFirst, room_drying_s, turned_advice
from firing.ware.limits import Dwell, RateCap, WareLimits
from firing.ware.load import Dryness, Load, WareState
from firing.ware.practice import By, limits_by
from firing.ware.safe_rates import limits_for

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription

_TIGHTENINGS = 9
_RELAXATIONS = 3
_ROUNDS, _CAPPED_FROM = 14, 4
# Of the heat-work that brings a cone down: half a percent is a tenth of a degree.
_SETTLED = 0.005
# What too few segments cost is told from this share of the whole on (a choice).
_MUCH = 0.05
_LEAST_BY_HEATING, _NEAR_ENOUGH = 0.1, 0.1


def design(
    load: Load,
    request: DesignRequest,
    *,
    kiln: KilnDescription | None = None,
    controller: Controller | None = None,
    state: WareState | None = None,
) -> Design:
    """Return the fastest safe schedule for a load.

    `state` is what an interrupted firing has already done to the ware.  Ware that is to be dried
    before it is fired raises `DryFirst`, which says how.
    """
    controller = owners_controller(load, kiln) if controller is None else controller
    ready = prepared(load, request, kiln, state, controller)
    if request.reserve == 0.0:
        return _design(ready, request, kiln, controller, state)
    try:
        return _design(ready, request, kiln, controller, state)
    except DryFirst:
        raise
    except FiringError:
        # A kiln that needs all its power still gets its program, and is told so.
        request = replace(request, reserve=0.0)
        ready = prepared(load, request, kiln, state, controller)
        return _design(ready, request, kiln, controller, state, _NO_RESERVE)


def owners_controller(load: Load, kiln: KilnDescription | None) -> Controller:
    """Return the usual controller in the unit of the kiln's file, or else of the load's."""
    return usual_controller(load.unit if kiln is None else kiln.unit)


_NO_RESERVE = (
    "No power reserve is left: with weaker elements this kiln does not keep such a program. Have "
    "the elements measured before you rely on it."
)


_BY: dict[By, str] = {
    "practice": "Made by practice alone: what the computed limits say against it stands on top.",
    "physics": "Made by the computed limits alone: where practice is slower stands on top.",
}


def _design(
    ready: Prepared,
    request: DesignRequest,
    kiln: KilnDescription | None,
    controller: Controller,
    state: WareState | None,
    told: str = "",
) -> Design:
    load, limits, curves, offset_c = ready.load, ready.limits, ready.curves, ready.offset_c
    cone = None if request.cone is None else parse_cone(request.cone)
    said: list[str] = []
    holds = hold_bounds(request.bounds, controller)
    asked_c = request.bounds.peak_at_most_c
    highest_c = curves.highest_c if asked_c is None else min(asked_c, curves.highest_c)

    def checked(schedule: Schedule, limits: WareLimits) -> Forecast:
        return forecast(
            schedule,
            unload_c=request.open_c,
            target_cone=cone,
            kiln=kiln,
            load=load,
            limits=limits,
            state=state,
            waits=controller.waits,
            usual=request.usual,
        )

    def top_bounds(found: DesignAnswer) -> TopBounds:
        up, down = found.solution.up, found.solution.down
        others_c = [*(leg.target_c for leg in up[:-1]), *(leg.target_c for leg in down)]
        return TopBounds(holds, max(others_c, default=request.start_c), highest_c)

    def tried(kept: WareLimits) -> tuple[DesignAnswer, Forecast]:
        found = answer(load, request, kept, curves, controller, offset_c)
        course = checked(found.schedule, limits)
        if cone is None or (course.kiln is not None and not course.kiln.reaches_peak):
            return found, course

        def changed(found: DesignAnswer, top: PeakAndHold) -> tuple[DesignAnswer, Forecast]:
            other = found.with_top(top, load, request)
            return other, checked(other.schedule, limits)

        return just_down(found, course, cone, controller, top_bounds(found), changed)

    kept = broken = limits
    found, result = tried(kept)
    for _ in range(_TIGHTENINGS):
        tighter = None if request.by == "practice" else tightened(kept, result.breaches)
        if tighter is None:
            break
        broken, kept = kept, tighter
        found, result = tried(kept)
    if kept is not limits:
        # What was lowered by too much is raised again as far as the wall allows.
        for _ in range(_RELAXATIONS if not result.breaches else 0):
            between = halfway(broken, kept)
            if between is None:
                break
            other, course = tried(between)
            if course.breaches:
                broken = between
                continue
            kept = between
            if course.total_s < result.total_s:
                found, result = other, course
        said.append(
            "In this kiln the ware runs otherwise than the thermocouple where the rate changes; "
            "rates were lowered until the simulated wall keeps its limits."
        )
    shorter = None if result.breaches else _until_candled(kept, found.schedule)
    if shorter is not None:
        # a rate for ware that still shrinks ends with the hold that dries it
        other, course = tried(shorter)
        fewer = len(other.schedule.segments) <= len(found.schedule.segments)
        if fewer and not course.breaches and course.total_s <= result.total_s:
            kept, found, result = shorter, other, course
    if request.by != "slower":
        # What one of the two allows, the check of the ware by both may not.
        result = checked(found.schedule, ready.ware)
        said.append(_BY[request.by])
    elif result.breaches:
        raise FiringError(
            f"no program within these limits stays safe in this kiln: {result.breaches[0].message} "
            "Fire thinner ware, or ask for a larger margin"
        )
    problem, solution, schedule = found.problem, found.solution, found.schedule
    cost = costs_of(found, ready, request, kiln, controller, state, kept)
    by_segments = tuple(
        (count, result.total_s + time_s - solution.time_s) for count, time_s in solution.by_segments
    )
    return Design(
        schedule=schedule,
        reasons=found.reasons,
        ware=ready.ware,
        limits=limit_rows(problem.rising, request.start_c, solution.peak.peak_c),
        cooling_limits=limit_rows(problem.falling, request.open_c, solution.peak.peak_c),
        dwells=tuple(d for d in limits.dwells if d.window_c[1] < solution.peak.peak_c),
        controller=controller,
        total_s=result.total_s,
        planned_s=solution.time_s,
        program_s=sum(leg.planned_s for leg in result.segments),
        cost_of_segments_s=max(solution.time_s - solution.unlimited_s, 0.0),
        by_segments=by_segments,
        forecast=result,
        cone=cone,
        problems=tuple(breach.message for breach in result.breaches),
        practice=beside_practice(
            load,
            ready.ware,
            next((cap for cap in problem.rising if cap.reason == KILN), None),
            result,
            request.by,
        ),
        costs=cost,
        notes=(
            *([told] if told else ()),
            *_notes(request, solution, limits, curves, kiln),
            *_segments_note(solution, len(schedule.segments), controller),
            *cost.sentences(),
            *said,
            *(() if result.ware is None else (c.message for c in result.ware.cautions)),
        ),
    )


def _until_candled(limits: WareLimits, schedule: Schedule) -> WareLimits | None:
    """Return limits of which those that drying ends go no further up than its hold; None if so."""
    found = []
    for limit in limits.limits:
        stays = [dwell.window_c for dwell in limits.dwells if dwell.reason == limit.until]
        held_c = [
            segment.target_c
            for segment in schedule.segments
            if segment.hold_s and any(low <= segment.target_c <= high for low, high in stays)
        ]
        if not held_c or max(held_c) >= limit.window_c[1] - 1.0:
            found.append(limit)
            continue
        knots_c = np.minimum(limit.knots_c, max(held_c))
        found.append(replace(limit, knots_c=knots_c))
    same = all(a is b for a, b in zip(found, limits.limits, strict=True))
    return None if same else replace(limits, limits=tuple(found))


def costs_of(
    found: DesignAnswer,
    ready: Prepared,
    request: DesignRequest,
    kiln: KilnDescription | None,
    controller: Controller,
    state: WareState | None,
    kept: WareLimits,
) -> DesignCosts:
    """Return what the power reserve and the ware's dampness cost, with as many segments."""
    time_s, load = found.solution.time_s - found.later_s, ready.load
    as_many = replace(controller, max_segments=len(found.schedule.segments))
    exact = replace(request, few_within=0.0)

    def other_solution(
        request: DesignRequest, load: Load, limits: WareLimits, curves: KilnCurves
    ) -> ProgramSolution:
        try:
            return answer(load, request, limits, curves, as_many, ready.offset_c).solution
        except FiringError:
            return found.solution

    reserve_s = damp_s = plain_s = 0.0
    if request.reserve and _power_binds(found.problem, ready.curves):
        full = replace(exact, reserve=0.0)
        curves = prepared(load, full, kiln, state, controller).curves
        reserve_s = max(time_s - other_solution(full, load, kept, curves).time_s, 0.0)
    if load.water_share > 0.0 and load.dryness in ("leather hard", "damp", *_FRESH):
        dry: Dryness = "bisqued" if load.dryness in _FRESH else "bone dry"
        drier = replace(load, dryness=dry)
        limits = limits_for(drier, purpose=request.purpose, margin=request.margin, state=state)
        limits = limits_by(limits, drier, request.by)
        other = other_solution(exact, drier, limits, ready.curves)
        # Where segments are short, leaving out a hold frees one: that is the controller's cost.
        free_s = found.solution.unlimited_s - found.later_s - other.unlimited_s
        damp_s = max(min(time_s - other.time_s, free_s), 0.0)
        stay_s = _drying_s(ready.limits) - _drying_s(limits)
        plain_s = max(damp_s - stay_s * (1.0 - 1.0 / request.margin), 0.0)
    air_s = 0.0 if load.dryness in _FRESH else room_drying_s(load)
    return DesignCosts(request.reserve, reserve_s, load.dryness, damp_s, plain_s, air_s)


_FRESH = ("bisqued, freshly glazed",)


def _drying_s(limits: WareLimits) -> float:
    return sum(d.at_least_s for d in limits.dwells if d.reason in ("free water", "shrinkage"))


def _power_binds(problem: Problem, curves: KilnCurves) -> bool:
    """Whether the kiln's power is anywhere the lowest cap on the way up."""
    grid_c = np.arange(problem.start_c, max(c.peak_c for c in problem.candidates), 10.0)
    ware = [cap.at(grid_c) for cap in problem.rising if cap.reason != KILN]
    return bool(np.any(np.min(ware, axis=0) > curves.heating.at(grid_c)))


@dataclass(frozen=True, eq=False)
class Prepared:
    """The ware as it is to be fired, all its limits and those that count, and the kiln's curves."""

    load: Load
    ware: WareLimits
    limits: WareLimits
    curves: KilnCurves
    offset_c: float


def prepared(
    load: Load,
    request: DesignRequest,
    kiln: KilnDescription | None,
    state: WareState | None,
    controller: Controller,
) -> Prepared:
    """Return what a design starts from; refused if the ware is to dry before it is fired."""
    request.check()
    ware = limits_for(load, purpose=request.purpose, margin=request.margin, state=state)
    if ware.advice is not None:
        raise DryFirst(ware.advice.message)
    advice = turned_advice(load, request.margin, 0.0 if state is None else state.drying_fourier)
    if advice:
        raise DryFirst(advice)
    limits = limits_by(ware, load, request.by)
    for reason in request.without:
        limits = limits.without(reason)
    if kiln is None:
        curves = default_curves(request.room_c, request.reserve, request.usual)
        return Prepared(load, ware, limits, curves, 0.0)
    curves = curves_of(
        kiln,
        load,
        request.about_c,
        request.room_c,
        reserve=request.reserve,
        waits=controller.waits,
    )
    return Prepared(load, ware, limits, curves, kiln.fitted.cone_offset_c)


def _notes(
    request: DesignRequest,
    solution: ProgramSolution,
    limits: WareLimits,
    curves: KilnCurves,
    kiln: KilnDescription | None,
) -> list[str]:
    notes = [_slowest_words(limits)]
    if request.without:
        notes.append(f"Left out, never for real ware: {', '.join(request.without)}.")
    if kiln is None:
        notes.append(
            "No kiln was given: its power is a default curve, its cooling that of "
            f"{request.usual.words}."
        )
    if not solution.down:
        notes.append(f"The kiln may cool by itself: no limit is broken by {curves.cooling.basis}.")
    return notes


def _segments_note(solution: ProgramSolution, used: int, controller: Controller) -> tuple[str, ...]:
    """Say what too few segments cost, where that is much."""
    cost_s = solution.time_s - solution.unlimited_s
    if used < controller.max_segments or cost_s < _MUCH * solution.time_s:
        return ()
    return (
        f"The controller's {used} segment{'' if used == 1 else 's'} make it "
        f"{format_duration(cost_s)} longer than it would be with as many as it takes.",
    )


def _slowest_words(limits: WareLimits) -> str:
    """Name the spot that sets the pace, and the one that dries last where that is another."""
    heat, water = limits.places["heat"], limits.places["water"]
    words = f"The slowest spot is {heat.words}"
    words = f"{words}." if water == heat else f"{words}; the last to dry is {water.words}."
    eased = water.piece.eased()
    if eased is None:
        return words
    longest = max(max(spot.heat_mm, spot.water_mm) for spot in eased.piece.spots)
    now = max(max(spot.heat_mm, spot.water_mm) for spot in water.piece.spots)
    return (
        f'{words} {eased.how} "{eased.piece.name}" would need about '
        f"{100 * (longest / now) ** 2:.0f} % of the time for its water and its heat."
    )


@dataclass(frozen=True, eq=False)
class DesignAnswer:
    """A problem, its solution, and that as a schedule with its reasons.

    `later_s` is by how much another peak and hold made it longer than the optimum [s].
    """

    problem: Problem
    solution: ProgramSolution
    schedule: Schedule
    reasons: tuple[SegmentReason, ...]
    later_s: float = 0.0

    def with_top(self, top: PeakAndHold, load: Load, request: DesignRequest) -> DesignAnswer:
        """Return the same program with another peak and hold there."""
        controller, solution = self.problem.controller, self.solution
        *below, last = solution.up
        from_c = below[-1].target_c if below else self.problem.start_c
        ramp_s = last.ramp_s
        if controller.notation == "rate":
            ramp_s *= (top.peak_c - from_c) / (last.target_c - from_c)
        later_s = ramp_s + top.hold_s - last.ramp_s - last.hold_s
        solution = replace(
            solution,
            up=(*below, HeatingLeg(top.peak_c, ramp_s, top.hold_s)),
            peak=replace(solution.peak, peak_c=top.peak_c, hold_s=top.hold_s),
            time_s=solution.time_s + later_s,
            unlimited_s=solution.unlimited_s + later_s,
            by_segments=tuple((n, time_s + later_s) for n, time_s in solution.by_segments),
        )
        schedule, reasons = explained_program(solution, self.problem, load, request)
        return DesignAnswer(self.problem, solution, schedule, reasons, self.later_s + later_s)


def explained_program(
    solution: ProgramSolution, problem: Problem, load: Load, request: DesignRequest
) -> tuple[Schedule, tuple[SegmentReason, ...]]:
    """Return a solution as a schedule with its title, and one reason a segment."""
    return explained(
        solution,
        problem,
        title=in_unit(request.title(load), problem.controller.unit),
        purpose=request.purpose,
        cone=request.cone,
    )


def answer(
    load: Load,
    request: DesignRequest,
    limits: WareLimits,
    curves: KilnCurves,
    controller: Controller,
    offset_c: float,
) -> DesignAnswer:
    """Return the fastest program within limits.

    The cooling's heat-work counts towards a cone and is known only once there is a program, so the
    problem is solved again until it has settled.  `offset_c` is what the thermocouple reads too low
    by, from witness cones.
    """
    wanted, cooling_x, rounds, within = 1.0, 0.0, 0, request
    while True:
        candidates = _candidates(within, controller, curves, offset_c, wanted)
        drop_c = request.cooling.drop_to_c
        if wanted < 1.0 and drop_c is not None and drop_c >= max(s.peak_c for s in candidates):
            raise _too_much_cooling(request, cooling_x)
        problem = _problem(request, limits, curves, controller, candidates)
        solution = solve(problem, request.few_within)
        if solution is None:
            raise conflicting_demands(problem)
        schedule, reasons = explained_program(solution, problem, load, request)
        cooling_x = _cooling_x(request, schedule, curves, offset_c)
        if request.cone is None or abs(wanted + cooling_x - 1.0) < _SETTLED:
            break
        rounds += 1
        if rounds == _ROUNDS or wanted < _LEAST_BY_HEATING:
            if abs(wanted + cooling_x - 1.0) > _NEAR_ENOUGH:
                raise _too_much_cooling(request, cooling_x)
            break
        if rounds >= _CAPPED_FROM and within is request and wanted + cooling_x > 1.0:
            # A peak one step lower does too little, and this one too much: the lower one is held.
            step_c = controller.target_step / (1.8 if controller.unit == "F" else 1.0)
            lower = replace(request.bounds, peak_at_most_c=schedule.peak_c - 0.5 * step_c)
            within = replace(request, bounds=lower)
        # A lower peak lessens what heating and cooling do by about the same share.
        wanted = 1.0 / (1.0 + cooling_x / wanted)
    return DesignAnswer(problem, solution, schedule, reasons)


def _too_much_cooling(request: DesignRequest, cooling_x: float) -> FiringError:
    return FiringError(
        f"the cooling asked for and cone {request.cone} collide: the cooling alone does "
        f"{100 * cooling_x:.0f} % of what brings the cone down; hold shorter, or lower, after the "
        "peak"
    )


def _cooling_x(
    request: DesignRequest, schedule: Schedule, curves: KilnCurves, offset_c: float
) -> float:
    """Return what part of bringing the cone down the cooling does: it counts like the heating."""
    if request.cone is None:
        return 0.0
    time_s, temperature_c = course_of(schedule, curves)
    last = int(np.flatnonzero(temperature_c >= schedule.peak_c - 1e-6)[-1])
    law = cone_law(request.cone)
    shift_c = offset_c + law.shift_c(schedule.segments[schedule.peak_index].rate_c_per_h)
    return heatwork(time_s[last:], temperature_c[last:], (law.cone,), shift_c)[law.cone]


def _candidates(
    request: DesignRequest,
    controller: Controller,
    curves: KilnCurves,
    offset_c: float,
    wanted: float,
) -> tuple[PeakCandidate, ...]:
    bounds = request.bounds
    if request.cone is not None:
        found = peak_candidates_for_cone(
            request.cone,
            bounds,
            controller,
            start_c=request.start_c,
            highest_c=curves.highest_c,
            highest_words=curves.highest_words,
            highest_advice=curves.highest_advice,
            offset_c=offset_c,
            wanted=wanted,
        )
        return tuple(found)
    top_c = request.top_c or 0.0
    limit_c = curves.highest_c
    if top_c > limit_c:
        unit = controller.unit
        most = f"{math.floor(from_celsius(limit_c, unit) + 1e-6)}{'' if unit == 'C' else unit}"
        raise FiringError(
            f"a top of {format_temperature(top_c, unit)} and {curves.highest_words} "
            f"({format_temperature(limit_c, unit)}) collide; write --top {most} or less"
        )
    if bounds.peak_at_most_c is not None and top_c > bounds.peak_at_most_c:
        raise FiringError(
            f"a top of {format_temperature(top_c)} and a peak of at most "
            f"{format_temperature(bounds.peak_at_most_c)} collide; write one of them"
        )
    peak_c = controller.target_down_c(top_c)
    if peak_c <= request.start_c:
        raise FiringError(
            f"a top of {format_temperature(top_c)} is not above the start, "
            f"{format_temperature(request.start_c)}; write a higher one"
        )
    hold_s = float(controller.hold_up_s(np.array(bounds.hold_at_least_s)))
    if hold_s > controller.longest_hold_s:
        raise FiringError(
            f"a hold of {hold_s / 3600:.1f} h and the controller's longest of "
            f"{controller.longest_hold_s / 3600:.1f} h collide; write a shorter hold"
        )
    return (PeakCandidate(peak_c, hold_s),)


def _stays(request: DesignRequest, limits: WareLimits) -> tuple[Dwell, ...]:
    """Return the least times of the ware, and the one that was asked for."""
    asked = request.degassing
    if asked is None:
        return limits.dwells
    low_c, high_c = asked.window_c
    for dwell in limits.dwells:
        if low_c <= dwell.window_c[1] and high_c >= dwell.window_c[0]:
            raise FiringError(
                f"a degassing hold from {format_temperature(low_c)} to {format_temperature(high_c)}"
                f" and the stay for {dwell.reason} collide: the firing is too cool for both; leave "
                "--degas out"
            )
    return (*limits.dwells, asked)


def _problem(
    request: DesignRequest,
    limits: WareLimits,
    curves: KilnCurves,
    controller: Controller,
    candidates: tuple[PeakCandidate, ...],
) -> Problem:
    highest_c = max(candidate.peak_c for candidate in candidates)
    special = set(limits.breakpoints_c)
    falling: tuple[RateCap, ...] = limits.of("cooling")
    held: dict[float, float] = {}
    cooling = request.cooling
    if cooling.drop_to_c is not None:
        drop_c = controller.nearest_target_c(cooling.drop_to_c)
        if not request.open_c < drop_c < highest_c:
            raise FiringError(
                f"a drop to {format_temperature(drop_c)} must lie between "
                f"{format_temperature(request.open_c)} and the peak, "
                f"{format_temperature(highest_c)}"
            )
        candidates = tuple(candidate for candidate in candidates if candidate.peak_c > drop_c)
        highest_c = max(candidate.peak_c for candidate in candidates)
        held[drop_c] = float(controller.hold_up_s(np.array(cooling.drop_hold_s)))
    if cooling.rate_c_per_h is not None and cooling.until_c is not None:
        until_c = controller.nearest_target_c(cooling.until_c)
        from_c = min(held, default=highest_c)
        if not request.open_c < until_c < from_c:
            raise FiringError(
                f"controlled cooling until {format_temperature(until_c)} must end between "
                f"{format_temperature(request.open_c)} and {format_temperature(from_c)}"
            )
        special |= {until_c, from_c}
        asked_for = format_rate(cooling.rate_c_per_h, controller.unit)
        asked = RateCap(
            "asked for",
            f"you asked for cooling at {asked_for}, which gives crystals time to grow and a softer "
            "surface",
            "controlled-cooling-practice",
            np.array([until_c, from_c]),
            np.full(2, cooling.rate_c_per_h),
        )
        falling = (*falling, asked)
    return Problem(
        start_c=request.start_c,
        open_c=request.open_c,
        candidates=candidates,
        rising=(*limits.of("heating"), *(() if curves.waited_for else (curves.heating,))),
        falling=falling,
        dwells=_stays(request, limits),
        special_c=tuple(sorted(special)),
        own=curves.cooling,
        controller=controller,
        held_s=held,
        power=curves.heating if curves.waited_for else None,
    )
