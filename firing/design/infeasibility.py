"""Which two demands collide, where no program satisfies all of them."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from firing.design.solve import LONGEST_S, MOST_TRIED, Problem, least_segments, solve
from firing.errors import FiringError
from firing.schedule.schema import HOLD_S
from firing.units import (
    SECONDS_PER_HOUR,
    format_duration,
    format_temperature,
    rate_from_celsius,
)
from firing.ware.limits import RateCap

_SLOWEST_C_PER_H = 0.01


def conflicting_demands(problem: Problem) -> FiringError:
    """Return the refusal of a problem without a solution, naming the two demands that collide.

    Of the demands of the controller, the first whose loosening alone gives a program is one of
    them; of the limits of ware and kiln, the first whose loosening alone does is the other.
    """
    if not problem.controller.controls_cooling:
        slowing = replace(problem.controller, controls_cooling=True)
        if solve(replace(problem, controller=slowing)) is not None:
            return _cools_too_fast(problem)
    demand = next(_demands(problem), None)
    limit = next(_limits(problem), None)
    if demand is not None and limit is not None:
        (words, advice), (what, _) = demand, limit
        return FiringError(f"{words} and {what} collide: {advice}")
    if limit is not None:
        what, advice = limit
        return FiringError(
            f"{what} and a program of at most {LONGEST_S / SECONDS_PER_HOUR / 24:.0f} days "
            f"collide: {advice}"
        )
    if demand is not None:
        words, advice = demand
        return FiringError(f"{words} and the limits of the ware, taken together, collide: {advice}")
    return FiringError(
        "the limits of the ware and the controller's steps, taken together, collide: no program "
        "of at most 14 days keeps both; dry the ware first, or ask for a lower peak"
    )


def _cools_too_fast(problem: Problem) -> FiringError:
    """Return the refusal where only the cooling is too fast, and the controller cannot slow it."""
    unit = problem.controller.unit
    advice = "use a controller that can, or fire thinner ware"
    if problem.held_s:
        words = "the hold after the drop was asked for"
        advice = "use a controller that can, or leave out --drop-to"
    else:
        top_c = max(candidate.peak_c for candidate in problem.candidates)
        grid_c = np.arange(problem.open_c, top_c, 2.0)
        quick = problem.own.quick * problem.own.at(grid_c)
        allowed = np.array([cap.at(grid_c) for cap in problem.falling])
        worst = int(np.argmax(quick / allowed.min(axis=0)))
        cap = problem.falling[int(np.argmin(allowed[:, worst]))]
        if cap.reason == "asked for":
            advice = "use a controller that can, or leave out --slow-cool"
        most, falls = float(allowed[:, worst].min()), float(quick[worst])
        words = (
            f"at {format_temperature(float(grid_c[worst]), unit)} the kiln may fall "
            f"{rate_from_celsius(falls, unit):.0f} °{unit}/h by itself, above the safe "
            f"{rate_from_celsius(most, unit):.0f} ({cap.text})"
        )
    return FiringError(
        f"a controller that cannot slow the cooling and this firing collide: {words}; {advice}"
    )


def _demands(problem: Problem) -> Iterator[tuple[str, str]]:
    controller = problem.controller
    least = least_segments(problem)
    if least is not None:
        plural = "" if controller.max_segments == 1 else "s"
        yield (
            f"the controller's {controller.max_segments} segment{plural}",
            f"at least {least} segments are needed; use a controller that takes as many, or key "
            "the program in parts",
        )
    longer = replace(controller, hold_max_s=HOLD_S[1], max_segments=MOST_TRIED)
    if solve(replace(problem, controller=longer)) is not None:
        yield (
            f"the controller's longest hold of {format_duration(controller.hold_max_s)}",
            "a longer hold would do; key the program in parts",
        )
    slower = replace(
        controller, rate_min=_SLOWEST_C_PER_H, rate_step=_SLOWEST_C_PER_H, notation="rate",
        max_segments=MOST_TRIED,
    )  # fmt: skip
    if solve(replace(problem, controller=slower)) is not None:
        yield (
            f"the controller's slowest rate of {controller.rate_min:g} °{controller.unit}/h",
            "a slower rate would do; dry the ware first, or fire thinner ware",
        )
    finer = replace(slower, target_step=1.0)
    if solve(replace(problem, controller=finer)) is not None:
        yield (
            f"the controller's target step of {controller.target_step:g} °{controller.unit}",
            "a target inside the window would do",
        )


def _limits(problem: Problem) -> Iterator[tuple[str, str]]:
    unit = problem.controller.unit
    for dwell in problem.dwells:
        rest = tuple(other for other in problem.dwells if other is not dwell)
        if solve(replace(problem, dwells=rest)) is not None:
            low, high = dwell.window_c
            yield (
                f"{format_duration(dwell.at_least_s)} from {low:.0f} to {high:.0f} °C "
                f"({dwell.text})",
                "dry the ware first, fire thinner ware, or ask for a smaller margin",
            )
    if problem.power is not None and solve(replace(problem, power=None)) is not None:
        top_c = max(candidate.peak_c for candidate in problem.candidates)
        rate = rate_from_celsius(float(problem.power.at(np.array(top_c))), unit)
        yield (
            f"at most {rate:.3g} °{unit}/h at {format_temperature(top_c, unit)} "
            f"({problem.power.text})",
            "ask for a lower peak, or have the elements measured",
        )
    for name, caps in (("rising", problem.rising), ("falling", problem.falling)):
        for cap in caps:
            fewer = tuple(other for other in caps if other is not cap)
            changed = (
                replace(problem, rising=fewer)
                if name == "rising"
                else replace(problem, falling=fewer)
            )
            if fewer and solve(changed) is not None:
                rate = rate_from_celsius(_lowest(cap, problem), unit)
                yield (
                    f"at most {rate:.3g} °{unit}/h ({cap.text})",
                    "fire thinner ware, or ask for a smaller margin",
                )


def _lowest(cap: RateCap, problem: Problem) -> float:
    top_c = max(candidate.peak_c for candidate in problem.candidates)
    return float(cap.lowest_between(np.array([problem.start_c]), np.array([top_c]))[0])
