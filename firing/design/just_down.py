"""A program's peak and last hold, as they bring its cone just down in its own forecast.

The optimum is found with a ramp that arrives and a cooling that begins as a program has them.  In a
kiln, with its load, the last degrees lag and the first ones fall faster, and a hold of whole steps
brings up to a step too much.  So the last hold is changed, and where that brings too much, held
longer a little below; a hold that may not be longer asks for a higher peak.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from firing.cones.heatwork import DOWN
from firing.cones.kinetics import cone_law
from firing.controller.controller import Controller
from firing.design.heating_search import HoldBounds
from firing.forecast.result import Forecast
from firing.units import KELVIN_AT_0_C, rate_to_celsius

Program = TypeVar("Program")

JUST_DOWN = 0.02
"""So much above down is well: names of the zero series are told apart from 0.021 on (a choice)."""
_LOOKS = 8
_SURELY, _LITTLE = 0.004, 0.016
_LOWER_K, _HIGHER_K = 8.0, 5.0
_SLACK_C = 1e-6
# Whatever is short of down is further off than anything that is down.
_SHORT = 1e3


@dataclass(frozen=True, slots=True)
class PeakAndHold:
    """The peak [°C] and the hold there [s]."""

    peak_c: float
    hold_s: float


@dataclass(frozen=True, slots=True)
class TopBounds:
    """What the hold may be, what the peak must lie above, and the highest it may be [°C]."""

    hold: HoldBounds
    above_c: float
    highest_c: float


def just_down(
    program: Program,
    course: Forecast,
    cone: str,
    controller: Controller,
    bounds: TopBounds,
    changed: Callable[[Program, PeakAndHold], tuple[Program, Forecast]],
) -> tuple[Program, Forecast]:
    """Return the program, with its forecast, that brings a cone down with the least too much.

    `changed` gives a program another peak and hold, and its forecast.  Where nothing within the
    bounds brings the cone down, the program that comes nearest is returned.
    """
    name = cone_law(cone).cone
    peaks_c = _peaks_c(_top(course).peak_c, controller, bounds)
    best, nearest = (program, course), _off(course, name)
    tried: set[PeakAndHold] = set()
    for _ in range(_LOOKS):
        if nearest <= JUST_DOWN:
            break
        tried.add(_top(course))
        other = _hardly_over(course, name, peaks_c, controller, bounds, tried)
        if other is None:
            break
        program, course = changed(program, other)
        off = _off(course, name)
        if off < nearest:
            nearest, best = off, (program, course)
    return best


def _peaks_c(first_c: float, controller: Controller, bounds: TopBounds) -> list[float]:
    """Return the peaks to look at: downwards first, as a longer hold is asked for by them."""
    step_c = rate_to_celsius(controller.target_step, controller.unit)
    lower, higher = math.floor(_LOWER_K / step_c), math.floor(_HIGHER_K / step_c)
    steps = [*range(0, -lower - 1, -1), *range(1, higher + 1)]
    peaks_c = [first_c + step * step_c for step in steps]
    return [peak_c for peak_c in peaks_c if bounds.above_c < peak_c <= bounds.highest_c + _SLACK_C]


def _hardly_over(
    course: Forecast,
    cone: str,
    peaks_c: list[float],
    controller: Controller,
    bounds: TopBounds,
    tried: set[PeakAndHold],
) -> PeakAndHold | None:
    """Return the first peak whose hold brings hardly more than down, or the one with the least."""
    law, now, progress = cone_law(cone), _top(course), course.cones.by_cone[cone]
    own_c = law.shift_c(progress.approach_rate_c_per_h)
    own_c += 0.0 if course.kiln is None else course.kiln.cone_offset_c
    per_k = law.activation_k / (now.peak_c + own_c + KELVIN_AT_0_C) ** 2
    moving = progress.heatwork - now.hold_s * law.per_second(now.peak_c + own_c)
    least: tuple[float, PeakAndHold] | None = None
    for peak_c in peaks_c:
        per_s = law.per_second(peak_c + own_c)
        rest = moving * math.exp((peak_c - now.peak_c) * per_k)
        steps = math.ceil((DOWN + _SURELY - rest) / per_s / controller.hold_step_s)
        hold_s = max(steps * controller.hold_step_s, bounds.hold.at_least_s)
        other, over = PeakAndHold(peak_c, hold_s), rest + hold_s * per_s - DOWN
        if hold_s > bounds.hold.at_most_s or other in tried or over < 0.0:
            continue
        if over <= _LITTLE:
            return other
        if least is None or over < least[0]:
            least = over, other
    return None if least is None else least[1]


def _top(course: Forecast) -> PeakAndHold:
    segment = course.schedule.segments[course.schedule.peak_index]
    return PeakAndHold(segment.target_c, segment.hold_s)


def _off(course: Forecast, cone: str) -> float:
    x = course.cones.by_cone[cone].heatwork
    return x - DOWN if x >= DOWN else _SHORT + DOWN - x
