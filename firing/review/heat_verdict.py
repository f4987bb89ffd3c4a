"""The heat-work's verdict: its whole error budget, time in the heat, the sensors, the channels."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from firing.cones.equivalence import ConeVerdict, cone_reached
from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.logs.reader import Log
from firing.review import thresholds as limit
from firing.review.cooling import rates_through
from firing.review.resample import ResampledTrace
from firing.review.result import (
    ChannelHeat,
    HeatVerdict,
    ThermocoupleError,
    Unevenness,
    WitnessVerdict,
)
from firing.thermocouple.exposure import Exposure, drift_remarks, exposure
from firing.trace import FloatArray, Trace
from firing.units import TemperatureUnit, format_temperature

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription


def cones_of_channels(
    log: Log, channel: int, kiln: KilnDescription | None, error: ThermocoupleError
) -> tuple[dict[str, ConeVerdict], dict[str, ConeVerdict]]:
    """Return the cones of every channel by its readings alone, and by what is known of the kiln.

    The kiln's offset and its thermocouple's class speak of the channel it is run by, no other.
    """
    by_readings: dict[str, ConeVerdict] = {}
    judged: dict[str, ConeVerdict] = {}
    offset_c = 0.0 if kiln is None else kiln.fitted.cone_offset_c
    for number, name in enumerate(log.trace.channels):
        temperature_c = log.trace.channel_c(number)
        usable = np.isfinite(temperature_c) & (temperature_c > limit.NO_TEMPERATURE_C)
        if usable.sum() < 2:
            continue
        time_s, temperature_c = log.trace.time_s[usable], temperature_c[usable]
        if number == channel:
            plain = cone_reached(time_s, temperature_c, error.tolerance_c)
        else:
            # Beside the kiln's own channel a reading every few seconds says it all.
            every = max(1, time_s.size // limit.ENOUGH_READINGS)
            plain = cone_reached(time_s[::every], temperature_c[::every])
        by_readings[name] = judged[name] = plain
        if number == channel and offset_c:
            judged[name] = cone_reached(time_s, temperature_c + offset_c, error.tolerance_c)
    return by_readings, judged


def planned_cones(
    plan: Forecast, kiln: KilnDescription | None, error: ThermocoupleError
) -> ConeVerdict:
    """Return what the plan amounts to: as written, even if the kiln cannot get there."""
    if kiln is None or plan.kiln is None or plan.kiln.reaches_peak:
        return plan.cones
    written = forecast(plan.schedule).trace
    temperature_c = written.channel_c() + kiln.fitted.cone_offset_c
    return cone_reached(written.time_s, temperature_c, error.tolerance_c)


def heated_until_s(trace: ResampledTrace) -> float:
    """Return when the readings last were at their highest, within noise: where heating ended."""
    near_c = float(np.max(trace.temperature_c)) - max(limit.NEAR_PEAK_C, 3.0 * trace.noise_c)
    return float(trace.time_s[np.flatnonzero(trace.temperature_c >= near_c)[-1]])


def unevenness(
    trace: Trace, verdicts: Mapping[str, ConeVerdict], peak_s: float, heated_until_s: float
) -> Unevenness | None:
    """Compare the channels of a log, each with its cones; None where fewer than two are inside.

    `peak_s` is when the kiln's own channel read highest, `heated_until_s` when heating ended.
    """
    if len(trace.channels) < 2:
        return None
    found: list[ChannelHeat] = []
    for number, name in enumerate(trace.channels):
        temperature_c = trace.channel_c(number)
        verdict = verdicts.get(name)
        found.append(
            ChannelHeat(
                name,
                _mean(
                    trace, temperature_c, peak_s - 0.5 * limit.PEAK_S, peak_s + 0.5 * limit.PEAK_S
                ),
                _mean(trace, temperature_c, heated_until_s - limit.LAST_HOUR_S, heated_until_s),
                None if verdict is None else verdict.reached_number,
            )
        )
    hottest_c = max((c.at_peak_c for c in found if c.at_peak_c is not None), default=None)
    if hottest_c is None:
        return None
    inside = [
        c for c in found if c.at_peak_c is not None and c.at_peak_c > hottest_c - limit.ELSEWHERE_C
    ]
    if len(inside) < 2:
        return None
    by_heat = sorted(inside, key=lambda c: c.last_hour_c or c.at_peak_c or 0.0)
    return Unevenness(
        channels=tuple(inside),
        elsewhere=tuple(c.name for c in found if c not in inside),
        at_peak_c=_spread([c.at_peak_c for c in inside]),
        last_hour_c=_spread([c.last_hour_c for c in inside]),
        cones=_spread([c.cone_number for c in inside]),
        hottest=by_heat[-1].name,
        coldest=by_heat[0].name,
    )


def _spread(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return max(known) - min(known) if len(known) == len(values) else None


def _mean(trace: Trace, temperature_c: FloatArray, from_s: float, to_s: float) -> float | None:
    first, last = np.searchsorted(trace.time_s, (from_s, to_s))
    part = temperature_c[first : max(int(last), int(first) + 1)]
    part = part[np.isfinite(part)]
    return float(part.mean()) if part.size else None


def thermocouple_error(
    kiln: KilnDescription | None, peak_c: float, unit: TemperatureUnit = "C"
) -> ThermocoupleError:
    """Return what a kiln's thermocouple may be off by near a temperature, its reason in `unit`."""
    if kiln is None:
        return ThermocoupleError(
            None, "the thermocouple's type and class are unknown; a kiln file (--kiln) tells them"
        )
    from firing.thermocouple.tolerance import least_tolerance_c

    found = least_tolerance_c(kiln.thermocouple, kiln.thermocouple_class, peak_c)
    if found.at_least:
        ends = format_temperature(found.ends_c, unit)
        reason = f"at least: that is what {found.reason}, comes to at {ends}, where it ends"
        return ThermocoupleError(found.value_c, reason, found.source)
    return ThermocoupleError(found.value_c, found.reason, found.source)


def heat_verdict(
    trace: Trace,
    even: ResampledTrace,
    *,
    channel: int,
    reached: ConeVerdict,
    by_readings: Mapping[str, ConeVerdict],
    heated_until_s: float,
    error: ThermocoupleError,
    kiln: KilnDescription | None,
    witness: WitnessVerdict | None,
) -> HeatVerdict:
    """Judge the heat-work of a log beyond its cones.

    `by_readings` are the cones of every channel with no offset added; `even` is the kiln's channel.
    """
    peak_s = float(even.time_s[int(np.argmax(even.temperature_c))])
    exposures = {
        name: hours
        for number, name in enumerate(trace.channels)
        if (hours := _exposure(trace, even, number, channel)) is not None
    }
    kiln_trace = Trace(even.time_s, even.temperature_c, ("kiln",), "measured")
    return HeatVerdict(
        budget=reached.budget,
        thermocouple=error,
        offset_c=0.0 if kiln is None else kiln.fitted.cone_offset_c,
        offset_known=kiln is not None and kiln.fitted.cone_offset_c != 0.0,
        time_above_1000_s=kiln_trace.seconds_above(limit.HOT_C),
        exposures=exposures,
        drift=() if kiln is None else drift_remarks(kiln.thermocouple),
        through=rates_through(trace),
        unevenness=unevenness(trace, by_readings, peak_s, heated_until_s),
        witness=witness,
    )


def _exposure(trace: Trace, even: ResampledTrace, number: int, channel: int) -> Exposure | None:
    """Return the hours of one channel, from means over a minute or a thinned trace."""
    if number == channel:
        return exposure(Trace(even.time_s, even.temperature_c, ("kiln",), "measured"))
    temperature_c = trace.channel_c(number)
    usable = np.flatnonzero(np.isfinite(temperature_c))
    if usable.size < 2:
        return None
    thin = usable[:: max(1, usable.size // limit.EXPOSURE_READINGS)]
    return exposure(Trace(trace.time_s[thin], temperature_c[thin], ("one",), "measured"))
