"""The heat-work's verdict: its whole error budget, time in the heat, the sensors, the channels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from firing.cones.equivalence import ConeVerdict, cone_reached
from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.review import thresholds as limit
from firing.review.cooling import rates_through
from firing.review.gaps import Gap, at_most, hiding_heatwork, left_out
from firing.review.resample import ResampledTrace
from firing.review.result import (
    ChannelHeat,
    HeatVerdict,
    ThermocoupleError,
    Unevenness,
    WitnessVerdict,
)
from firing.thermocouple.tolerance import DriftRemark, Exposure, drift_remarks, exposure
from firing.trace import FloatArray, Trace
from firing.units import TemperatureUnit, format_temperature

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription


@dataclass(frozen=True, eq=False)
class HeatOfChannels:
    """What every channel has seen: cones by its readings alone and as judged, and its hot hours.

    `hot_s` are the kiln's own seconds above 1000 °C, `drift` is what its thermocouple may have
    suffered by them.
    """

    by_readings: dict[str, ConeVerdict]
    judged: dict[str, ConeVerdict]
    exposures: dict[str, Exposure]
    hot_s: float
    drift: tuple[DriftRemark, ...]


def heat_of_channels(
    trace: Trace,
    even: ResampledTrace,
    channel: int,
    kiln: KilnDescription | None,
    error: ThermocoupleError,
) -> HeatOfChannels:
    """Return the cones and the hot hours of every channel; `even` is the kiln's, `channel`.

    The kiln's offset and its thermocouple's class speak of the channel it is run by, no other.
    """
    own = Trace(even.time_s, even.temperature_c, ("kiln",), "measured")
    drift = () if kiln is None else drift_remarks(kiln.thermocouple)
    seen = HeatOfChannels({}, {}, {}, own.seconds_above(limit.HOT_C), drift)
    offset_c = 0.0 if kiln is None else kiln.fitted.cone_offset_c
    for number, name in enumerate(trace.channels):
        temperature_c = trace.temperature_c[:, number]
        usable = np.isfinite(temperature_c) & (temperature_c > limit.NO_TEMPERATURE_C)
        if usable.sum() < 2:
            continue
        time_s, temperature_c = trace.time_s[usable], temperature_c[usable]
        if number == channel:
            plain = judged = cone_reached(time_s, temperature_c, error.tolerance_c)
            if offset_c:
                judged = cone_reached(time_s, temperature_c + offset_c, error.tolerance_c)
            seen.exposures[name] = exposure(own)
        else:
            # Beside the kiln's own channel a reading every few seconds says it all.
            every = max(1, time_s.size // limit.ENOUGH_READINGS)
            plain = judged = cone_reached(time_s[::every], temperature_c[::every])
            every = max(1, time_s.size // limit.EXPOSURE_READINGS)
            thin = Trace(time_s[::every], temperature_c[::every], (name,), "measured")
            seen.exposures[name] = exposure(thin)
        seen.by_readings[name], seen.judged[name] = plain, judged
    return seen


def heat_beside_gaps(
    trace: Trace,
    even: ResampledTrace,
    channel: int,
    kiln: KilnDescription | None,
    error: ThermocoupleError,
    gaps: tuple[Gap, ...],
) -> tuple[HeatOfChannels, tuple[Gap, ...]]:
    """Return what the channels surely saw, and the gaps with those marked that hide heat-work.

    Where a gap hides some, the cones are those of the readings alone, and their range ends with the
    most that the gap could hold; elsewhere a straight line across it changes nothing.
    """
    name, temperature_c = trace.channels[channel], trace.temperature_c[:, channel]
    time_s, highest_c = at_most(trace.time_s, temperature_c, gaps)
    bridged = heat_of_channels(trace, even, channel, kiln, error)
    warm_c = float(np.nanmax(temperature_c)) - limit.HEATWORK_BELOW_C
    if name not in bridged.judged or all(gap.highest_c < warm_c for gap in gaps):
        return bridged, gaps
    offset_c = 0.0 if kiln is None else kiln.fitted.cone_offset_c
    most = cone_reached(time_s, highest_c + offset_c, error.tolerance_c)
    least = heat_of_channels(left_out(trace, gaps), even, channel, kiln, error)
    marked = hiding_heatwork(
        gaps,
        least.judged[name].reached_number,
        bridged.judged[name].reached_number,
        most.reached_number,
    )
    if not any(gap.hides_heatwork for gap in marked):
        return bridged, marked
    least.judged[name] = replace(least.judged[name], high=most.high)
    return least, marked


def planned_cones(
    plan: Forecast, kiln: KilnDescription | None, error: ThermocoupleError
) -> ConeVerdict:
    """Return what the plan amounts to: as written, even if the kiln cannot get there."""
    if kiln is None or plan.kiln is None or plan.kiln.reaches_peak:
        return plan.cones
    written = forecast(plan.schedule).trace
    temperature_c = written.channel_c() + kiln.fitted.cone_offset_c
    return cone_reached(written.time_s, temperature_c, error.tolerance_c)


def with_hold(
    time_s: FloatArray, temperature_c: FloatArray, from_s: float, until_s: float, hold_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return a course with a hold of another length between two moments."""
    before, after = time_s <= from_s, time_s >= until_s
    held_c = float(np.interp(0.5 * (from_s + until_s), time_s, temperature_c))
    middle_s = np.array([from_s + 1.0, from_s + max(hold_s - 1.0, 2.0)])
    moved_s = time_s[after] + (max(hold_s, 3.0) - (until_s - from_s))
    return (
        np.concatenate((time_s[before], middle_s, moved_s)),
        np.concatenate((temperature_c[before], [held_c, held_c], temperature_c[after])),
    )


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
            None, "the thermocouple's type and class are unknown; a kiln file (--kiln) names them"
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
    seen: HeatOfChannels,
    *,
    channel: int,
    heated_until_s: float,
    error: ThermocoupleError,
    kiln: KilnDescription | None,
    witness: WitnessVerdict | None,
) -> HeatVerdict:
    """Judge the heat-work of a log beyond its cones; `even` is the kiln's own channel."""
    peak_s = float(even.time_s[int(np.argmax(even.temperature_c))])
    return HeatVerdict(
        budget=seen.judged[trace.channels[channel]].budget,
        thermocouple=error,
        offset_c=0.0 if kiln is None else kiln.fitted.cone_offset_c,
        offset_known=kiln is not None and kiln.fitted.cone_offset_c != 0.0,
        time_above_1000_s=seen.hot_s,
        exposures=seen.exposures,
        drift=seen.drift,
        through=rates_through(trace),
        unevenness=unevenness(trace, seen.by_readings, peak_s, heated_until_s),
        witness=witness,
    )
