"""A firing's heat-work in words: its margins, time in the heat, witness cones and sensors."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from firing.report.rows import offset_words
from firing.units import TemperatureUnit, format_duration, format_temperature, rate_from_celsius

if TYPE_CHECKING:
    from firing.review.heat import HeatVerdict
    from firing.review.result import Review

_HOUR_SHOWN = 0.05


def margin_words(review: Review) -> list[str]:
    """Return what the cones rest on and what their range spans, one sentence each."""
    heat, unit = review.heat, review.schedule.unit
    warnings = review.cones.warnings_in(unit)
    if heat is None:
        return [*review.cones.notes_in(unit), *warnings]
    first, *_ = review.cones.notes or ("",)
    return [first, _margin(heat, unit), *warnings]


def _margin(heat: HeatVerdict, unit: TemperatureUnit) -> str:
    def size(value_c: float) -> str:
        return f"±{rate_from_celsius(value_c, unit):.1f} °{unit}"

    budget = heat.budget
    if budget.thermocouple_c is None:
        sensor = f"the thermocouple's error is not in it ({heat.thermocouple.reason})"
    else:
        sensor = f"the thermocouple {size(budget.thermocouple_c)} ({heat.thermocouple.reason})"
    if heat.offset_known:
        offset = (
            f"{rate_from_celsius(heat.offset_c, unit):+.1f} °{unit} from the kiln file's witness "
            "cones are added to the kiln's readings"
        )
    else:
        offset = "the kiln's own offset is unknown until witness cones have shown it"
    return (
        f"The range spans {size(budget.total_c)}: the cone {size(budget.cone_c)}, the law "
        f"{size(budget.law_c)}, {sensor}; {offset}."
    )


def heat_words(review: Review) -> list[str]:
    """Return the rest of the heat-work's verdict, one sentence each; empty without one."""
    heat = review.heat
    return [] if heat is None else list(_sentences(review, heat))


def _sentences(review: Review, heat: HeatVerdict) -> Iterator[str]:
    unit = review.schedule.unit
    above = format_temperature(1000.0, unit)
    if heat.time_above_1000_s > 0:
        yield f"Above {above} for {format_duration(heat.time_above_1000_s)}."
    verdict = heat.witness
    if verdict is not None:
        kiln = verdict.kiln
        yield (
            f"By the witness cones the kiln's offset, what {kiln.channel} reads too low by, is "
            f"{offset_words(kiln.offset_c, kiln.low_c, kiln.high_c, unit)} °{unit}; the range "
            "spans the reading of the cone's position, the cone and the law."
        )
    for name, hours in heat.exposures.items():
        told = [
            f"{spent:.1f} h above {format_temperature(level_c, unit)}"
            for level_c, spent in zip(hours.levels_c, hours.hours, strict=True)
            if spent >= _HOUR_SHOWN
        ]
        if told:
            yield f"The sensor of {name} spent {', '.join(told)}."
    found = " ".join(f.message + f.next_step for f in review.findings if f.id == "sensor_hours")
    for remark in heat.drift:
        if remark.text not in found:
            yield remark.text
    if not heat.drift and any(hours.hours[0] >= _HOUR_SHOWN for hours in heat.exposures.values()):
        yield "Which way it drifts depends on its type; a kiln file (--kiln) tells it."
