"""What of a forecast's warnings can be mended in the plan, and the plan mended; one edit each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from firing.errors import FiringError
from firing.units import rate_from_celsius, rate_to_celsius

if TYPE_CHECKING:
    from firing.forecast.result import Forecast
    from firing.review.result import Review
    from firing.schedule.schedule import Schedule

    from .equipment import Equipment

Cure = Literal["ware", "kiln", "cone"]
"""Slower or longer for the ware; as fast as the kiln climbs; to the plan's cone."""

CURE_WORDS: dict[Cure, str] = {
    "ware": "makes the plan safe for the load",
    "kiln": "sets the rates that this kiln keeps",
    "cone": "sets the hold that brings the target cone down",
}
_SLOWER = 0.98


def cure_for(forecast: Forecast | None, equipment: Equipment) -> Cure | None:
    """Return what mends the gravest warning that a change of the plan mends; None if none does."""
    if forecast is None:
        return None
    if forecast.breaches and equipment.load is not None:
        return "ware"
    found = {warning.id for warning in forecast.warnings}
    if "heating_behind" in found and equipment.kiln is not None:
        return "kiln"
    return "cone" if "cone_off_target" in found else None


@dataclass(frozen=True, slots=True)
class Cured:
    """A plan mended, what was done in a few words, and what is left or else to know."""

    schedule: Schedule
    label: str
    words: str = ""


def made_safe(schedule: Schedule, equipment: Equipment) -> Cured:
    """Return the plan with the smallest changes that keep the limits of its load.

    Raises `FiringError` if no slower or longer program keeps them.
    """
    from firing.design.repair import repaired_design

    if equipment.load is None:
        raise FiringError("a plan is made safe for a load; choose one")
    design = repaired_design(
        schedule,
        equipment.load.value,
        kiln=None if equipment.kiln is None else equipment.kiln.value,
        controller=None if equipment.controller is None else equipment.controller.value,
    )
    # In the plan's own unit, whatever the controller's is.
    done = replace(design.schedule, unit=schedule.unit, cone=schedule.cone)
    return Cured(done, "made safe for the load", "  ".join((*design.problems, design.advice)))


def as_the_kiln_climbs(forecast: Forecast, equipment: Equipment) -> Cured:
    """Return the plan with rates that its kiln keeps, and a hold that keeps its cone.

    Raises `FiringError` if the kiln does not come to the peak.
    """
    from firing.review.mending import mend

    if equipment.kiln is None:
        raise FiringError("how fast a kiln climbs is known of a kiln; choose one")
    load = None if equipment.load is None else equipment.load.value
    number = forecast.cones.reached_number
    found = mend(forecast.schedule, equipment.kiln.value, load, None, number)
    return Cured(found.schedule, "rates that the kiln keeps", "; ".join(found.changes))


def with_rates_held(
    schedule: Schedule, rates_c_per_h: Sequence[float | None]
) -> tuple[Schedule, tuple[str, ...]]:
    """Return the plan with the rates that a firing really held, and each change in words.

    One a segment, None where nothing is known.  A ramp is only slowed, never quickened: what the
    ware can stand a log does not show.  Rates are rounded down to whole degrees an hour.
    """
    unit = schedule.unit
    segments, changes = list(schedule.segments), []
    for index, (segment, held) in enumerate(zip(schedule.segments, rates_c_per_h, strict=True)):
        planned = segment.rate_c_per_h
        if planned is None or held is None or abs(held) > _SLOWER * planned:
            continue
        whole = math.floor(rate_from_celsius(abs(held), unit) + 1e-9)
        if whole < 1:
            continue
        segments[index] = replace(segment, rate_c_per_h=rate_to_celsius(float(whole), unit))
        was = rate_from_celsius(planned, unit)
        changes.append(f"segment {index + 1}: {whole} °{unit}/h, planned {was:.4g}")
    return replace(schedule, segments=tuple(segments)), tuple(changes)


def rates_held(review: Review) -> tuple[float | None, ...]:
    """Return the rate that each ramp of a firing really held, where the log has the ramp whole."""
    found: list[float | None] = []
    for segment in review.segments:
        whole = segment.ramp_end_s is not None and segment.start_s is not None
        found.append(segment.rate_c_per_h if whole else None)
    return tuple(found)
