"""What a schedule will do, said beforehand: hours, opening time, cones, energy and warnings.

With a kiln file the firing is simulated: what power allows, what the walls lose, what the load
takes up.  Without one the program's own arithmetic is all there is: it says how long the ramps and
holds are written to take, not whether a kiln can follow; ramps without a rate, cooling that a kiln
cannot follow, and the cooling after the program then come from the default curves of
:mod:`firing.heat.default_kiln`, and the forecast says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from firing.clock import after_iso
from firing.cones.equivalence import ConeVerdict, cone_reached
from firing.errors import FiringError
from firing.forecast.warnings import PlanWarning, warnings_for
from firing.heat import default_kiln
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import ForecastSegment, set_point_over_time
from firing.trace import Trace
from firing.units import format_duration, format_temperature, from_celsius
from firing.viewable import Plottable

if TYPE_CHECKING:
    from firing.forecast.in_kiln import KilnForecast
    from firing.kiln.description import KilnDescription
    from firing.ware.check import Breach
    from firing.ware.face import FaceCourse
    from firing.ware.limits import WareLimits
    from firing.ware.load import Load
    from firing.ware.state import WareState
    from firing.ware.verdict import WareVerdict

__all__ = ["Forecast", "ForecastSegment", "PlanWarning", "forecast"]

UNLOAD_C = 60.0
"""Ware is handled at about this temperature (common practice, no source)."""

FIRST_CRACK_C = 150.0
"""A lid is first propped at about this temperature, if at all (common practice, no source)."""

HOTTEST_UNLOAD_C = 300.0
MARGIN = 1.5
"""The usual caution of the ware's limits."""


@dataclass(frozen=True, eq=False)
class Forecast(Plottable):
    """A schedule's course.

    Attributes
    ----------
    trace : Trace
        The course, one channel, to the unloading temperature.
    program_s : float
        From the start to the end of the last segment [s].
    heating_s, cooling_s, total_s : float
        Until the temperature leaves the peak for good, from there to `unload_c`, and both [s].
    total_low_s, total_high_s : float
        `total_s` with the cooling at the ends of its range [s].
    first_crack_s : float or None
        When the kiln has cooled to 150 °C [s]; None if the program never leaves it that hot.
    cones : ConeVerdict
        By the thermocouple's temperature.
    kiln : KilnForecast or None
        What the kiln model says, if a kiln was given.
    core : Trace or None
        The middle of the load's thickest piece, one channel at the times of `trace`, if a kiln and
        a load were given: without a kiln nobody knows how warm the ware's face is.
    assumed : str
        What the ware is taken to have lost before a program that starts hot, as sentences.
    ware : WareVerdict or None
        Whether the firing is safe for the ware, natural cooling included, if a load was given.
    """

    schedule: Schedule
    segments: tuple[ForecastSegment, ...]
    trace: Trace
    program_s: float
    heating_s: float
    total_s: float
    total_low_s: float
    total_high_s: float
    first_crack_s: float | None
    unload_c: float
    peak_c: float
    cones: ConeVerdict
    basis: str
    planned_basis: str
    started: datetime | None = None
    target_cone: str | None = None
    warnings: tuple[PlanWarning, ...] = ()
    kiln: KilnForecast | None = None
    core: Trace | None = None
    assumed: str = ""
    ware: WareVerdict | None = None

    def __repr__(self) -> str:
        """Return title, hours, peak, opening and cone, on one line."""
        unit = self.schedule.unit
        peak = format_temperature(self.peak_c, unit)
        opens = format_temperature(self.unload_c, unit)
        return (
            f"<Forecast {self.schedule.title!r}: heats {format_duration(self.heating_s)} to "
            f"{peak}, opens at {opens} after {format_duration(self.total_s)}, {self.cones.words}>"
        )

    @property
    def breaches(self) -> tuple[Breach, ...]:
        """Where the firing is not safe for the ware; empty without a load."""
        return () if self.ware is None else self.ware.breaches

    @property
    def cooling_s(self) -> float:
        """From leaving the peak to the unloading temperature [s]."""
        return self.total_s - self.heating_s

    @property
    def core_lag(self) -> tuple[float, float] | None:
        """By how much the core is furthest behind the thermocouple [K], and when [s]; or None."""
        if self.core is None:
            return None
        behind_k = self.trace.channel_c() - self.core.channel_c()
        place = int(np.argmax(behind_k))
        return float(behind_k[place]), float(self.trace.time_s[place])

    @property
    def needs_action(self) -> bool:
        """Whether a warning asks for something to be done."""
        return any(warning.severity == "act" for warning in self.warnings)

    def to_dict(self) -> dict[str, Any]:
        """Return the forecast as one JSON document, schema 1."""
        kiln = self.kiln
        lag_k, lag_s = self.core_lag or (None, None)
        return {
            "schema": 1,
            "kind": "forecast",
            "schedule": self.schedule.to_dict(),
            "basis": self.basis,
            "planned_basis": self.planned_basis,
            "starts_at": after_iso(self.started, 0.0),
            "program_s": self.program_s,
            "heating_s": self.heating_s,
            "cooling_s": self.cooling_s,
            "total_s": self.total_s,
            "total_low_s": self.total_low_s,
            "total_high_s": self.total_high_s,
            "program_ends_at": after_iso(self.started, self.program_s),
            "first_crack_s": self.first_crack_s,
            "unload_c": self.unload_c,
            "opens_at": after_iso(self.started, self.total_s),
            "peak_c": self.peak_c,
            "reaches_peak": None if kiln is None else kiln.reaches_peak,
            "highest_c": None if kiln is None else kiln.highest_c,
            "segments": [segment.to_dict(self.started) for segment in self.segments],
            "cones": {**self.cones.to_dict(), "target": self.target_cone},
            "cones_by_ware": None if kiln is None else kiln.ware_cones.to_dict(),
            "energy_kwh": None if kiln is None else kiln.energy_kwh,
            "cost": None if kiln is None or kiln.cost is None else kiln.cost.amount,
            "currency": None if kiln is None or kiln.cost is None else kiln.cost.currency,
            "mean_amps": None if kiln is None else kiln.energy.mean_amps,
            "peak_amps": None if kiln is None else kiln.energy.peak_amps,
            "starts": None if kiln is None else kiln.starts.to_dict(),
            "max_rate_c_per_h": [] if kiln is None else [list(pair) for pair in kiln.max_rate],
            "kiln": None if kiln is None else kiln.to_dict(),
            "core_lag_k": lag_k,
            "core_lag_at_s": lag_s,
            "assumed_at_start": self.assumed or None,
            "breaches": [breach.to_dict() for breach in self.breaches],
            "ware_cautions": []
            if self.ware is None
            else [caution.to_dict() for caution in self.ware.cautions],
            "warnings": [warning.to_dict() for warning in self.warnings],
        }


def forecast(
    schedule: Schedule,
    *,
    started: datetime | None = None,
    unload_c: float = UNLOAD_C,
    target_cone: str | None = None,
    kiln: KilnDescription | None = None,
    load: Load | None = None,
    waits: bool = True,
    margin: float = MARGIN,
    state: WareState | None = None,
    limits: WareLimits | None = None,
) -> Forecast:
    """Forecast a schedule.

    Parameters
    ----------
    schedule : Schedule
        The program.
    started : datetime, optional
        When it starts, with its time zone.
    unload_c : float
        The temperature the kiln is opened at [°C].
    target_cone : str, optional
        The cone wanted; the forecast then says what would meet it.
    kiln : KilnDescription, optional
        The kiln to simulate the firing in.
    load : Load, optional
        What is in it; a typical load for the kiln's volume if not given.
    waits : bool
        Whether the controller's clock waits when the kiln lags.
    margin : float
        Caution of the ware's limits, from 1 (see `firing.ware.rules.limits_for`).
    state : WareState, optional
        What earlier firing has done to the ware; unless given, a program that starts hot is taken
        to find the ware past what it passes over.
    limits : WareLimits, optional
        The load's limits, where they are known already; `margin` then has no say.

    Returns
    -------
    Forecast

    Raises
    ------
    FiringError
        If `unload_c` is not above the room, or a ramp cannot be forecast.
    """
    room_c = schedule.room_c
    if not room_c + 2.0 <= unload_c <= HOTTEST_UNLOAD_C:
        unit = schedule.unit
        raise FiringError(
            f"the kiln is opened at {from_celsius(room_c + 2.0, unit):.0f} to "
            f"{format_temperature(HOTTEST_UNLOAD_C, unit)}; {from_celsius(unload_c, unit):g} "
            f"°{unit} is outside that"
        )
    if kiln is None:
        plain = _by_arithmetic(schedule, unload_c)
    else:
        plain = _in_kiln(schedule, kiln, load, waits, unload_c, state)
    inside = load if load is not None or plain.kiln is None else plain.kiln.run.load
    ware, assumed = None, ""
    if inside is not None:
        from firing.ware.hot_start import ware_at_start

        found = ware_at_start(inside, schedule, margin=margin, state=state)
        assumed = found.assumed
    if load is not None:
        from firing.ware.rules import limits_for
        from firing.ware.verdict import check_ware

        if limits is None:
            limits = limits_for(
                found.load, purpose=schedule.purpose, margin=margin, state=found.state
            )
        ware = check_ware(schedule, found.load, _face(plain), limits, state=found.state)
    result = replace(plain, started=started, target_cone=target_cone, ware=ware, assumed=assumed)
    object.__setattr__(result.trace, "started", started)
    if result.core is not None:
        object.__setattr__(result.core, "started", started)
    return replace(result, warnings=warnings_for(result))


def _face(plain: Forecast) -> FaceCourse:
    """Return how the faces of the ware go through a firing and its natural cooling."""
    from firing.ware.face import face_by_program, face_in_kiln

    room_c = plain.schedule.room_c
    ends_s = [segment.end_s for segment in plain.segments]
    if plain.kiln is None:
        trace = plain.trace
        return face_by_program(trace.time_s, trace.channel_c(), ends_s, room_c=room_c)
    run = plain.kiln.run
    cools_s = [(leg.start_s, leg.end_s) for leg in plain.segments if leg.end_c < leg.from_c]
    return face_in_kiln(
        run.time_s,
        run.ware_c,
        ends_s,
        room_c=room_c,
        max_rate=plain.kiln.max_rate,
        cools_s=[*cools_s, (plain.program_s, np.inf)],
    )


def _by_arithmetic(schedule: Schedule, unload_c: float) -> Forecast:
    room_c = schedule.room_c
    program, segments, planned_basis = set_point_over_time(schedule)
    program_s = segments[-1].end_s
    times, temperatures = program.time_s, program.channel_c()
    last_c = schedule.segments[-1].target_c
    cooled_s, low_s, high_s = 0.0, 0.0, 0.0
    if last_c > unload_c:
        run = default_kiln.cool(last_c, unload_c, room_c=room_c)
        slow, fast = default_kiln.COOLING_FACTOR_RANGE
        cooled_s = run.duration_s
        low_s = default_kiln.cool(last_c, unload_c, room_c=room_c, factor=fast).duration_s
        high_s = default_kiln.cool(last_c, unload_c, room_c=room_c, factor=slow).duration_s
        times = np.concatenate((times, program_s + run.time_s[1:]))
        temperatures = np.concatenate((temperatures, run.temperature_c[1:]))
    trace = Trace(times, temperatures, ("forecast",), "forecast")
    return Forecast(
        schedule=schedule,
        segments=segments,
        trace=trace,
        program_s=program_s,
        heating_s=segments[schedule.peak_index].end_s,
        total_s=program_s + cooled_s,
        total_low_s=program_s + low_s,
        total_high_s=program_s + high_s,
        first_crack_s=_last_crossing_s(trace, FIRST_CRACK_C),
        unload_c=unload_c,
        peak_c=schedule.peak_c,
        cones=cone_reached(trace.time_s, trace.channel_c()),
        basis="no kiln given: programmed durations, and the default cooling curve",
        planned_basis=planned_basis,
    )


def _in_kiln(
    schedule: Schedule,
    kiln: KilnDescription,
    load: Load | None,
    waits: bool,
    unload_c: float,
    state: WareState | None,
) -> Forecast:
    from firing.forecast.in_kiln import forecast_in_kiln

    outlook, segments, trace = forecast_in_kiln(
        schedule, kiln, load, waits=waits, until_c=unload_c, state=state
    )
    program_s = segments[-1].end_s
    peak = segments[schedule.peak_index] if outlook.reaches_peak else segments[-1]
    total_s = trace.duration_s
    cooled_s = total_s - program_s
    free = [str(s.index + 1) for s in segments if schedule.segments[s.index].drive != "rate"]
    planned_basis = "the program's own arithmetic"
    if free:
        plural = "s" if len(free) > 1 else ""
        planned_basis += f"; segment{plural} {', '.join(free)} (no rate set) by the kiln model"
    low, high = outlook.cooling_range
    return Forecast(
        schedule=schedule,
        segments=segments,
        trace=trace,
        program_s=program_s,
        heating_s=peak.end_s,
        total_s=total_s,
        total_low_s=program_s + low * cooled_s,
        total_high_s=program_s + high * cooled_s,
        first_crack_s=_last_crossing_s(trace, FIRST_CRACK_C),
        unload_c=unload_c,
        peak_c=schedule.peak_c if outlook.reaches_peak else outlook.peak_c,
        cones=cone_reached(
            trace.time_s, trace.channel_c() + outlook.cone_offset_c, outlook.thermocouple_c
        ),
        basis=outlook.basis,
        planned_basis=planned_basis,
        kiln=outlook,
        core=None if load is None else outlook.core,
    )


def _last_crossing_s(trace: Trace, level_c: float) -> float | None:
    """Return when the trace last falls through `level_c` [s]; None if it never does."""
    temperature_c = trace.channel_c()
    falls = np.flatnonzero((temperature_c[:-1] > level_c) & (temperature_c[1:] <= level_c))
    if falls.size == 0:
        return None
    i = int(falls[-1])
    share = (temperature_c[i] - level_c) / (temperature_c[i] - temperature_c[i + 1])
    return float(trace.time_s[i] + share * (trace.time_s[i + 1] - trace.time_s[i]))
