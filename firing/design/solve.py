"""The whole program, up and down, within a number of segments: the best of all splits.

Where no program satisfies every demand, it is found which two of them collide.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from firing.controller.controller import Controller
from firing.design.cooling_search import CoolingLeg, CoolingSearch, OwnCooling
from firing.design.heating_search import HeatingLeg, HeatingSearch, PeakCandidate
from firing.errors import FiringError
from firing.schedule.schema import HOLD_S, MAX_SEGMENTS
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_HOUR,
    format_duration,
    format_temperature,
    from_celsius,
    rate_from_celsius,
    to_celsius,
)
from firing.ware.limits import Dwell, RateCap

_SPACING = {"C": 10.0, "F": 20.0}
# A window narrower than this [K] is stood in at its warm middle only: near its cold end too little
# happens, and at its warm end an overshoot would leave it.
_NARROW_K = 30.0
_PLACE = 2.0 / 3.0
_ABOVE_K = 0.5
_BESIDE = 2.0


def stops_between(
    low_c: float,
    high_c: float,
    special_c: Iterable[float],
    dwells: Sequence[Dwell],
    controller: Controller,
) -> FloatArray:
    """Return the temperatures between two at which a segment may end.

    The ends are left out; where a limit begins or ends, the nearest targets at and around it are
    among them, and of a narrow window of a dwell only its warm middle.
    """
    step, unit = controller.target_step, controller.unit
    coarse = math.ceil(_SPACING[unit] / step - 1e-9) * step
    first, last = (from_celsius(t, unit) / coarse for t in (low_c, high_c))
    keyed = {round(i * coarse, 6) for i in range(math.ceil(first), math.floor(last) + 1)}
    for special in special_c:
        keyed.add(round(from_celsius(controller.target_down_c(special), unit), 6))
        keyed.add(round(from_celsius(controller.target_up_c(special), unit), 6))
    found = {to_celsius(value, unit) for value in keyed}
    for dwell in dwells:
        cold_c, warm_c = dwell.window_c
        if warm_c - cold_c >= _NARROW_K:
            continue
        found = {t for t in found if not cold_c <= t <= warm_c}
        middle = controller.nearest_target_c(cold_c + _PLACE * (warm_c - cold_c))
        beside = max(_BESIDE, step)
        around = (from_celsius(middle, unit) + offset for offset in (0.0, -beside, -2.0 * beside))
        places = (to_celsius(value, unit) for value in around)
        found |= {t for t in places if cold_c <= t <= warm_c}
        # What held a ramp back may end with the window: just above it the next may begin.
        found.add(controller.target_up_c(warm_c + _ABOVE_K))
    return np.array(sorted(t for t in found if low_c + 1e-6 < t < high_c - 1e-6))


LONGEST_S = 14 * 24 * SECONDS_PER_HOUR
"""Nobody fires for longer than two weeks: a longer program counts as none (a choice)."""
MOST_TRIED = 24
"""With more segments than this nothing that was impossible becomes possible."""
_TIE_S = 1e-3
# A gain below this is not told in the list by number of segments.
_TELLING_S = 60.0


@dataclass(frozen=True, eq=False)
class Problem:
    """What is asked: where from, where to, under which caps, and in which steps.

    `candidates` are the ends the way up may have; `rising` and `falling` cap the rate up and down;
    `power` is how fast the kiln rises where that is waited for, and no cap; the grid has the
    temperatures of `special_c`; `held_s` are stops asked for on the way down, with their holds.
    """

    start_c: float
    open_c: float
    candidates: tuple[PeakCandidate, ...]
    rising: tuple[RateCap, ...]
    falling: tuple[RateCap, ...]
    dwells: tuple[Dwell, ...]
    special_c: tuple[float, ...]
    own: OwnCooling
    controller: Controller
    held_s: dict[float, float] = field(default_factory=dict)
    power: RateCap | None = None


@dataclass(frozen=True, slots=True)
class ProgramSolution:
    """The best program: up, down, its candidate, its time [s], and the best with fewer segments."""

    up: tuple[HeatingLeg, ...]
    down: tuple[CoolingLeg, ...]
    peak: PeakCandidate
    time_s: float
    unlimited_s: float
    by_segments: tuple[tuple[int, float], ...]


def solve(problem: Problem, few_within: float = 0.0) -> ProgramSolution | None:
    """Return the fastest program from closing to opening; None if there is none within two weeks.

    Of programs within a share of the fastest the one with the fewest segments is returned.
    """
    controller = problem.controller
    highest_c = max(candidate.peak_c for candidate in problem.candidates)
    heating = HeatingSearch(
        problem.start_c,
        stops_between(problem.start_c, highest_c, problem.special_c, problem.dwells, controller),
        problem.rising,
        problem.dwells,
        controller,
        problem.candidates,
        controller.max_segments,
        problem.power,
    )
    cooling = CoolingSearch(
        [candidate.peak_c for candidate in problem.candidates],
        stops_between(
            problem.open_c,
            highest_c,
            problem.special_c,
            (),
            controller,
        ),
        problem.open_c,
        problem.falling,
        problem.own,
        controller,
        problem.held_s,
        MAX_SEGMENTS if controller.controls_cooling else 0,
    )
    up = np.minimum.accumulate(heating.times_s(), axis=0)
    down = np.array([cooling.times_s(candidate.peak_c) for candidate in problem.candidates]).T
    best, way = _combined(up, down)
    within = min(controller.max_segments, best.size)
    enough_s = best[:within].min() * (1.0 + few_within) + _TIE_S
    chosen = int(np.argmin(best[:within] > enough_s))
    time_s = float(best[chosen])
    if not time_s <= LONGEST_S:
        return None
    segments_up, segments_down, number = way[chosen]
    exact = _fewest(heating.times_s()[:, number], segments_up)
    return ProgramSolution(
        up=heating.legs(exact, number),
        down=cooling.legs(problem.candidates[number].peak_c, segments_down),
        peak=problem.candidates[number],
        time_s=time_s,
        unlimited_s=min(float((heating.unlimited_s() + down.min(axis=0)).min()), time_s),
        by_segments=_improvements(best),
    )


def _combined(
    up: FloatArray,
    down: FloatArray,
) -> tuple[FloatArray, list[tuple[int, int, int]]]:
    """Return the least time with at most 1, 2 … segments, and its split and candidate."""
    most = up.shape[0] + down.shape[0] - 1
    best = np.full(most, np.inf)
    way = [(1, 0, 0)] * most
    for total in range(1, most + 1):
        for below in range(min(total, down.shape[0])):
            above = min(total - below, up.shape[0])
            times = up[above - 1] + down[below]
            number = int(np.argmin(times))
            if times[number] < best[total - 1] - _TIE_S:
                best[total - 1], way[total - 1] = times[number], (above, below, number)
    return best, way


def _fewest(times: FloatArray, most: int) -> int:
    """Return how many segments up, at most so many, give the least time to one candidate."""
    least = float(times[:most].min())
    return 1 + int(np.argmax(times[:most] <= least + _TIE_S))


def _improvements(
    best: FloatArray,
) -> tuple[tuple[int, float], ...]:
    found: list[tuple[int, float]] = []
    for count, time_s in enumerate(best, start=1):
        if np.isfinite(time_s) and (not found or time_s < found[-1][1] - _TELLING_S):
            found.append((count, float(time_s)))
    return tuple(found)


def least_segments(problem: Problem) -> int | None:
    """Return the fewest segments that any program within two weeks needs; None if none does."""
    for count in range(problem.controller.max_segments + 1, MOST_TRIED + 1):
        more = replace(problem.controller, max_segments=count)
        if solve(replace(problem, controller=more)) is not None:
            return count
    return None


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
