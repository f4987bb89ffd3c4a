"""The hold, the peak or the rate of a plan that brings a cone just down, with its range.

Everything else in the plan stays, and its whole forecast counts: the rise, the kiln where one is
known, and the cooling.  The answer is rounded to what a controller takes, towards more heat-work.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from firing.cones.holds import LONGEST_HOLD_S
from firing.cones.kinetics import RATE_LIMITS_C_PER_H, cone_law
from firing.errors import FiringError
from firing.forecast.result import Forecast
from firing.schedule.schedule import Schedule
from firing.serialise import Serialised
from firing.units import (
    KELVIN_AT_0_C,
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    format_hold,
    format_rate,
    format_temperature,
    from_celsius,
    rate_from_celsius,
    rate_to_celsius,
    to_celsius,
)

Changed = Literal["hold", "peak", "rate"]

_CLOSE = 0.002  # ln x: a tenth of a degree
_TRIES = 8
_SLACK = 1e-6


@dataclass(frozen=True)
class PlanForCone(Serialised):
    """A plan changed in one place so that a cone is just down.

    Attributes
    ----------
    cone : str
        The cone in its printed spelling.
    changed : {"hold", "peak", "rate"}
        What was changed, in the segment that reaches the peak.
    segment : int
        That segment, from 0.
    value, low, high : float
        The hold [s], the peak [°C] or the rate [°C/h], and its range if the cone is easier or
        harder.
    schedule : Schedule
        The plan with it, rounded to minutes and whole degrees.
    words : str
        One sentence: what, and its range.
    """

    cone: str
    changed: Changed
    segment: int
    value: float
    low: float
    high: float
    schedule: Schedule
    words: str


def plan_for_cone(
    schedule: Schedule,
    cone: str,
    changed: Changed,
    forecast_of: Callable[[Schedule], Forecast],
) -> PlanForCone:
    """Return a plan with the hold, the peak or the rate that brings a cone just down."""
    name = cone_law(cone).cone
    place = schedule.peak_index
    segment, unit = schedule.segments[place], schedule.unit
    if changed == "rate" and segment.rate_c_per_h is None:
        raise FiringError(
            f"segment {place + 1} has no rate to change; give it one, or change its hold"
        )
    c_per_ln = (schedule.peak_c + KELVIN_AT_0_C) ** 2 / cone_law(name).activation_k

    def ln_x(value: float) -> float:
        course = forecast_of(_with(schedule, changed, value))
        return math.log(max(course.cones.by_cone[name].heatwork, 1e-300))

    if changed == "hold":
        value, per_unit = _hold(segment.hold_s, ln_x, name)
    elif changed == "peak":
        value = _root(segment.target_c, ln_x, 1.0 / c_per_ln, 120.0)
        per_unit = 1.0
    else:
        start = math.log(segment.rate_c_per_h or 1.0)
        value = math.exp(_root(start, lambda ln: ln_x(math.exp(ln)), -1.0, 6.0))
        low, high = RATE_LIMITS_C_PER_H
        if not low <= value <= high:
            span = f"{rate_from_celsius(low, unit):g} to {format_rate(high, unit)}"
            raise FiringError(f"no rate of {span} brings cone {name} down")
        per_unit = value / c_per_ln
    rounded = _rounded(changed, value, unit)
    done = _with(schedule, changed, rounded)
    off_c = forecast_of(done).cones.by_cone[name].budget_c
    if changed == "hold":
        # x grows evenly with the hold: easier by so many degrees asks for so much less of it.
        low, high = (max(value + per_unit * math.expm1(s * off_c / c_per_ln), 0.0) for s in (-1, 1))
    elif changed == "peak":
        low, high = value - off_c, value + off_c
    else:
        low, high = value - per_unit * off_c, value + per_unit * off_c
    shown = _words(changed, rounded, unit)
    span = f"{_words(changed, low, unit)} to {_words(changed, high, unit)}"
    return PlanForCone(
        cone=name,
        changed=changed,
        segment=place,
        value=value,
        low=low,
        high=high,
        schedule=done,
        words=f"Cone {name}: {changed} {shown} ({span}).",
    )


def _with(schedule: Schedule, changed: Changed, value: float) -> Schedule:
    place = schedule.peak_index
    segment = schedule.segments[place]
    if changed == "hold":
        done = (replace(segment, hold_s=max(value, 0.0)),)
    elif changed == "rate":
        done = (replace(segment, rate_c_per_h=value),)
    else:
        done = (replace(segment, target_c=value),)
    segments = schedule.segments[:place] + done + schedule.segments[place + 1 :]
    return replace(schedule, segments=segments)


def _hold(hold_s: float, ln_x: Callable[[float], float], cone: str) -> tuple[float, float]:
    """Return the hold [s], and the seconds of hold that are worth a heat-work of 1."""
    first_s, second_s = hold_s, hold_s + 30.0 * SECONDS_PER_MINUTE
    for _ in range(_TRIES):
        first, second = math.exp(ln_x(first_s)), math.exp(ln_x(second_s))
        # A kiln that hardly gets to the peak makes no difference between holds there.
        per_x = (second_s - first_s) / (second - first) if second > first else math.inf
        wanted_s = first_s + (1.0 - first) * per_x
        if wanted_s < 0.0:
            raise FiringError(
                f"cone {cone} is down without any hold; lower the peak or climb faster"
            )
        if wanted_s > LONGEST_HOLD_S:
            break
        if abs(wanted_s - first_s) < 1.0 or abs(math.log(first)) < 1e-4:
            return wanted_s, per_x
        first_s, second_s = wanted_s, wanted_s + 10.0 * SECONDS_PER_MINUTE
    raise FiringError(f"no hold within a day brings cone {cone} down; raise the peak first")


def _root(start: float, ln_x: Callable[[float], float], slope: float, furthest: float) -> float:
    """Return where ln x is 0, by secants from a first slope."""
    at, found = start, ln_x(start)
    for _ in range(_TRIES):
        if abs(found) < _CLOSE:
            return at - found / slope
        step = max(min(-found / slope, 40.0 if furthest > 10.0 else 1.0), -40.0)
        then = at + step
        if abs(then - start) > furthest:
            break
        value = ln_x(then)
        if value != found:
            slope = (value - found) / (then - at)
        at, found = then, value
    raise FiringError("that cone is too far from what the plan comes to; change the plan first")


def _rounded(changed: Changed, value: float, unit: TemperatureUnit) -> float:
    """Round to what a controller takes, towards more heat-work."""
    if changed == "hold":
        return math.ceil(value / SECONDS_PER_MINUTE - _SLACK) * SECONDS_PER_MINUTE
    if changed == "peak":
        return to_celsius(float(math.ceil(from_celsius(value, unit) - _SLACK)), unit)
    return rate_to_celsius(float(math.floor(rate_from_celsius(value, unit) + _SLACK)), unit)


def _words(changed: Changed, value: float, unit: TemperatureUnit) -> str:
    if changed == "hold":
        return format_hold(value)
    return format_temperature(value, unit) if changed == "peak" else format_rate(value, unit)
