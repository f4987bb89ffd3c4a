"""The heat-work's verdict: its whole error budget, time in the heat, the sensors, the channels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from firing.cones.equivalence import ConeVerdict
from firing.cones.uncertainty import Budget
from firing.review.cooling import CoolingThrough, rates_through
from firing.review.resample import ResampledTrace
from firing.thermocouple.exposure import DriftRemark, Exposure, drift_remarks, exposure
from firing.trace import FloatArray, Trace
from firing.units import TemperatureUnit, format_temperature

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.review.witness import WitnessVerdict


PEAK_S = 600.0
"""Over so long about the kiln's highest reading the channels are compared [s]."""
LAST_S = 3600.0
ELSEWHERE_C = 200.0
"""A channel this far below the hottest at the peak does not sit in the chamber, or is dead [°C]."""


@dataclass(frozen=True, slots=True)
class ChannelHeat:
    """One channel near the end of the firing.

    Attributes
    ----------
    name : str
    at_peak_c : float or None
        Its mean about the moment of the kiln's highest reading [°C].
    last_hour_c : float or None
        Its mean over the hour before the heating ended [°C].
    cone_number : float or None
        The running number its own readings amount to.
    """

    name: str
    at_peak_c: float | None
    last_hour_c: float | None
    cone_number: float | None

    def to_dict(self) -> dict[str, Any]:
        """Return the channel as the JSON shows it."""
        return {
            "at_peak_c": self.at_peak_c,
            "last_hour_c": self.last_hour_c,
            "cone_number": self.cone_number,
        }


@dataclass(frozen=True, slots=True)
class Unevenness:
    """The spread between the channels of the chamber, hottest less coldest.

    Attributes
    ----------
    channels : tuple of ChannelHeat
        Those compared.
    elsewhere : tuple of str
        Channels left out: nothing read there, or too cold for the chamber.
    at_peak_c, last_hour_c : float or None
        [°C].
    cones : float or None
        In running cone numbers.
    hottest, coldest : str
        Names, by the last hour.
    """

    channels: tuple[ChannelHeat, ...]
    elsewhere: tuple[str, ...]
    at_peak_c: float | None
    last_hour_c: float | None
    cones: float | None
    hottest: str
    coldest: str

    def to_dict(self) -> dict[str, Any]:
        """Return the unevenness as the JSON shows it."""
        return {
            "at_peak_c": self.at_peak_c,
            "last_hour_c": self.last_hour_c,
            "cones": self.cones,
            "hottest": self.hottest,
            "coldest": self.coldest,
            "channels": {channel.name: channel.to_dict() for channel in self.channels},
            "left_out": list(self.elsewhere),
        }


def unevenness(
    trace: Trace, verdicts: Mapping[str, ConeVerdict], peak_s: float, heated_until_s: float
) -> Unevenness | None:
    """Compare the channels of a log.

    Parameters
    ----------
    trace : Trace
        The log.
    verdicts : mapping of str to ConeVerdict
        The cones of each channel, by its readings alone.
    peak_s, heated_until_s : float
        When the kiln's own channel read highest, and when heating ended [s of the log].

    Returns
    -------
    Unevenness or None
        None where fewer than two channels sit in the chamber.
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
                _mean(trace, temperature_c, peak_s - 0.5 * PEAK_S, peak_s + 0.5 * PEAK_S),
                _mean(trace, temperature_c, heated_until_s - LAST_S, heated_until_s),
                None if verdict is None else verdict.reached_number,
            )
        )
    hottest_c = max((c.at_peak_c for c in found if c.at_peak_c is not None), default=None)
    if hottest_c is None:
        return None
    inside = [c for c in found if c.at_peak_c is not None and c.at_peak_c > hottest_c - ELSEWHERE_C]
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


HOT_C = 1000.0
_POINTS = 4000


@dataclass(frozen=True, slots=True)
class ThermocoupleError:
    """What the thermocouple may be off by near the peak; `tolerance_c` None where none is known."""

    tolerance_c: float | None
    reason: str
    source: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the error as the JSON shows it."""
        return {"tolerance_c": self.tolerance_c, "reason": self.reason, "source": self.source}


@dataclass(frozen=True, eq=False)
class HeatVerdict:
    """What there is to say of a firing's heat-work beyond the cones themselves.

    Attributes
    ----------
    budget : Budget
        Cone, law and thermocouple, ± [°C].
    thermocouple : ThermocoupleError
    offset_c : float
        The kiln file's offset, added to the kiln's readings before its cones were told [°C].
    offset_known : bool
        Whether a kiln file gives one other than 0.
    time_above_1000_s : float
        Of the kiln's channel [s].
    exposures : dict of str to Exposure
        Hours in the heat, by channel.
    drift : tuple of DriftRemark
        Which way such a thermocouple drifts; empty where its type is unknown.
    through : tuple of CoolingThrough
        Cooling through the inversions.
    unevenness : Unevenness or None
    witness : WitnessVerdict or None
    """

    budget: Budget
    thermocouple: ThermocoupleError
    offset_c: float
    offset_known: bool
    time_above_1000_s: float
    exposures: dict[str, Exposure]
    drift: tuple[DriftRemark, ...]
    through: tuple[CoolingThrough, ...]
    unevenness: Unevenness | None
    witness: WitnessVerdict | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the verdict as the JSON shows it."""
        return {
            "budget_c": self.budget.to_dict(),
            "thermocouple": self.thermocouple.to_dict(),
            "offset_c": self.offset_c,
            "offset_known": self.offset_known,
            "time_above_1000_s": self.time_above_1000_s,
            "exposure": {name: hours.to_dict() for name, hours in self.exposures.items()},
            "drift": [{"text": r.text, "source": r.source} for r in self.drift],
            "cooling_through": [part.to_dict() for part in self.through],
            "unevenness": None if self.unevenness is None else self.unevenness.to_dict(),
            "witness": None if self.witness is None else self.witness.to_dict(),
        }


def thermocouple_error(
    kiln: KilnDescription | None, peak_c: float, unit: TemperatureUnit = "C"
) -> ThermocoupleError:
    """Return what the kiln's thermocouple may be off by near a temperature.

    Parameters
    ----------
    kiln : KilnDescription or None
    peak_c : float
        [°C].
    unit : {"C", "F"}
        Of the reason's words.
    """
    if kiln is None:
        return ThermocoupleError(
            None, "the thermocouple's type and class are unknown; a kiln file (--kiln) tells them"
        )
    from firing.thermocouple.tolerance import tolerance_c, tolerance_rows

    found = tolerance_c(kiln.thermocouple, kiln.thermocouple_class, peak_c)
    ends_c = max(
        (
            row.to_c
            for row in tolerance_rows()
            if row.type == kiln.thermocouple and row.class_name == kiln.thermocouple_class
        ),
        default=peak_c,
    )
    if found.value_c is None and peak_c > ends_c:
        # Nothing is promised up there; leaving the error out would make the range too narrow.
        last = tolerance_c(kiln.thermocouple, kiln.thermocouple_class, ends_c)
        return ThermocoupleError(
            last.value_c,
            f"at least: that is what {last.reason}, comes to at "
            f"{format_temperature(ends_c, unit)}, where it ends",
            last.source,
        )
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
    """Judge the heat-work of a log.

    Parameters
    ----------
    trace : Trace
        The log.
    even : ResampledTrace
        The kiln's channel.
    channel : int
        Its number from 0.
    reached : ConeVerdict
        Its cones.
    by_readings : mapping of str to ConeVerdict
        The cones of every channel by its readings alone, no offset added.
    heated_until_s : float
        When heating ended [s of the log].
    error : ThermocoupleError
    kiln : KilnDescription or None
    witness : WitnessVerdict or None
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
        time_above_1000_s=kiln_trace.seconds_above(HOT_C),
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
    thin = usable[:: max(1, usable.size // _POINTS)]
    return exposure(Trace(trace.time_s[thin], temperature_c[thin], ("one",), "measured"))
