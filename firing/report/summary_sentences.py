"""A firing's heat-work in words: its margins, time in the heat, witness cones and sensors."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from firing.cones.table import describe_number
from firing.forecast.result import Forecast, KilnForecast
from firing.report.rows import offset_words
from firing.units import (
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
    rate_from_celsius,
)

if TYPE_CHECKING:
    from firing.review.heat import HeatVerdict
    from firing.review.result import Review


RATES_SHOWN_C = (200.0, 600.0, 1000.0, 1200.0)


def kiln_words(forecast: Forecast) -> list[str]:
    """Return what the kiln model says of a plan, one sentence each; empty without a kiln."""
    kiln = forecast.kiln
    return [] if kiln is None else list(_kiln_sentences(forecast, kiln))


def _kiln_sentences(forecast: Forecast, kiln: KilnForecast) -> Iterator[str]:
    unit = forecast.schedule.unit
    energy = kiln.energy
    yield (
        f"Takes {energy.kwh:.0f} kWh; {energy.mean_amps:.0f} A on average and "
        f"{energy.peak_amps:.0f} A while the elements are on."
    )
    if kiln.cost is not None:
        parts = ", ".join(f"{kwh:.0f} kWh at {price:g}" for price, kwh in kiln.cost.kwh_by_price)
        yield f"Costs {kiln.cost.currency} {kiln.cost.amount:.2f} ({parts} a kWh)."
    cheapest = kiln.starts.cheapest
    if cheapest is not None:
        yield (
            f"Cheapest start in the window: {cheapest.started:%a %Y-%m-%d %H:%M}, "
            f"{cheapest.cost.currency} {cheapest.cost.amount:.2f}."
        )
    awake = kiln.starts.awake
    if awake is not None:
        yield _awake_words(awake)
    if forecast.first_crack_s is not None:
        yield f"Down to 150 °C after {format_duration(forecast.first_crack_s)}."
    yield (
        f"It could hold {format_temperature(kiln.highest_c, unit)} at most, and its file allows "
        f"{format_temperature(kiln.max_c, unit)}. Fastest with this load: {_rates(kiln, unit)}."
    )
    yield (
        f"The thickest piece comes to cone {describe_number(kiln.ware_cones.reached_number)}, the "
        f"thermocouple to cone {describe_number(forecast.cones.reached_number)}."
    )


def _awake_words(awake: tuple[tuple[str, str], ...]) -> str:
    if not awake:
        return "No start in the window puts the peak into waking hours."
    spans = [
        first.replace("T", " ")[:16] if first == last else f"{_short(first)} to {_short(last)}"
        for first, last in awake[:4]
    ]
    more = f", and {len(awake) - 4} more" if len(awake) > 4 else ""
    return f"Starts that put the peak into waking hours: {'; '.join(spans)}{more}."


def _short(moment: str) -> str:
    return moment.replace("T", " ")[:16]


def _rates(kiln: KilnForecast, unit: TemperatureUnit) -> str:
    if not kiln.max_rate:
        return "none that can be told"
    known = dict(kiln.max_rate)
    shown = [t for t in RATES_SHOWN_C if t in known] or [next(iter(known))]
    return ", ".join(
        f"{format_rate(known[t], unit)} at {format_temperature(t, unit)}" for t in shown
    )


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
    return [] if heat is None else list(_heatwork_sentences(review, heat))


def _heatwork_sentences(review: Review, heat: HeatVerdict) -> Iterator[str]:
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
