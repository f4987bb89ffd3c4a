"""What a forecast says: the course and its segments, the kiln's part, and the warnings."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from firing.clock import after_iso
from firing.cones.equivalence import ConeVerdict
from firing.cones.heatwork import heatwork
from firing.heat.default_kiln import TRIAL, UsualKiln
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import ForecastSegment
from firing.serialise import Serialised, as_json, keyed
from firing.trace import FloatArray, Trace
from firing.units import format_duration, format_temperature
from firing.viewable import Plottable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from firing.forecast.ranges import Range, Ranges
    from firing.kiln.description import KilnDescription
    from firing.kiln.simulation import Simulation
    from firing.kiln.tariff import Cost, Energy, EnergyCourse, StartChoice
    from firing.ware.check import WareVerdict
    from firing.ware.limits import Breach

FIRST_CRACK_C = 150.0
"""A lid is first propped at about this temperature, if at all (common practice, no source)."""

Severity = Literal["act", "check", "note"]


@dataclass(frozen=True, slots=True)
class PlanWarning(Serialised):
    """One thing to know; `severity` is ``act`` (do something), ``check`` or ``note``."""

    id: str
    severity: Severity
    message: str
    at_c: float | None = None
    at_s: float | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class Starts:
    """When to start: the cheapest moment, and stretches that put the peak into waking hours.

    With the peak go the moments when something is to be done by hand; `asleep` has what is to be
    done then although no such start puts it into waking hours.
    """

    cheapest: StartChoice | None = None
    awake: tuple[tuple[str, str], ...] | None = None
    asleep: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the starts as the JSON shows them."""
        cheapest = None
        if self.cheapest is not None:
            started = self.cheapest.started.isoformat(timespec="minutes")
            cheapest = {"starts_at": started, **self.cheapest.cost.to_dict()}
        return {
            "cheapest": cheapest,
            "awake": as_json(self.awake),
            "asleep": as_json(self.asleep),
        }


@dataclass(frozen=True, eq=False)
class KilnForecast:
    """What the kiln model says of one program.

    Attributes
    ----------
    name : str
        The kiln's name.
    reaches_peak, stalled : bool
        Whether the highest target is reached; whether the kiln gave up on its way.
    peak_c, peak_s : float
        The highest temperature the thermocouple reads [°C], and when [s].
    highest_c : float
        The highest temperature the kiln can hold [°C].
    max_c : float
        What the kiln file allows [°C].
    energy : Energy
        kWh and amps.
    course : EnergyCourse
        Energy over time, for tariffs.
    max_rate : tuple of (float, float)
        Temperature [°C] and the ware's fastest rate there [°C/h].
    thermocouple_c : float or None
        Tolerance of the thermocouple near the peak, ± [°C]; None where its class is not known.
    thermocouple_at_least : bool
        Whether its class ends below the peak, so that this is the least to reckon with.
    cone_offset_c : float
        What witness cones have shown the thermocouple to read too low by [°C].
    basis : str
        What the forecast rests on.
    notes : tuple of str
        What was assumed.
    cost : Cost or None
        If a tariff and a start were given.
    starts : Starts
        If they were asked for.
    run : Simulation
        The simulation itself.
    again : callable
        Simulates the same firing in another kiln.
    weighed : bool
        Whether the load was given.
    """

    name: str
    reaches_peak: bool
    stalled: bool
    peak_c: float
    peak_s: float
    highest_c: float
    max_c: float
    energy: Energy
    course: EnergyCourse
    max_rate: tuple[tuple[float, float], ...]
    thermocouple_c: float | None
    thermocouple_at_least: bool
    cone_offset_c: float
    basis: str
    notes: tuple[str, ...]
    run: Simulation = field(repr=False)
    again: Callable[[KilnDescription], Simulation] = field(repr=False)
    weighed: bool
    cost: Cost | None = None
    starts: Starts = field(default_factory=Starts)

    def __repr__(self) -> str:
        """Return name, peak, energy and amps, on one line."""
        peak = "reaches the peak" if self.reaches_peak else f"comes to {self.peak_c:.0f} °C only"
        return (
            f"<KilnForecast {self.name!r}: {peak}, {self.energy_kwh:.1f} kWh, "
            f"{self.energy.mean_amps:.0f} A on average>"
        )

    @property
    def energy_kwh(self) -> float:
        """Energy of the whole firing [kWh]."""
        return self.energy.kwh

    @cached_property
    def ranges(self) -> Ranges:
        """The 80 % ranges, found when they are first asked for: a dozen simulations."""
        from firing.forecast.ranges import ranges_of

        return ranges_of(self.run.kiln, self.run, weighed=self.weighed, again=self.again)

    @property
    def ranges_known(self) -> bool:
        """Whether the ranges have been found already."""
        return "ranges" in self.__dict__

    def find_ranges(self, wanted: Callable[[], bool]) -> bool:
        """Find the ranges before they are asked for, while they are wanted; return whether."""
        from firing.forecast.ranges import Unwanted, ranges_of

        def again(kiln: KilnDescription) -> Simulation:
            if not wanted():
                raise Unwanted
            return self.again(kiln)

        try:
            found = ranges_of(self.run.kiln, self.run, weighed=self.weighed, again=again)
        except Unwanted:
            return False
        self.__dict__["ranges"] = found
        return True

    @cached_property
    def ware_cones(self) -> ConeVerdict:
        """Cones by the temperature of the thickest piece, found when they are first asked for."""
        from firing.cones.equivalence import cone_reached

        run = self.run
        return cone_reached(
            run.time_s, run.ware_c, self.thermocouple_c, at_least=self.thermocouple_at_least
        )

    @property
    def cost_range(self) -> Range | None:
        """The 80 % range of the cost, in proportion to the energy's; None without a cost."""
        if self.cost is None:
            return None
        return self.ranges.energy_kwh.times(self.cost.amount / (self.energy_kwh or 1.0))

    def to_dict(self) -> dict[str, Any]:
        """Return what is not among a forecast's own keys."""
        return {
            "name": self.name,
            "stalled": self.stalled,
            "peak_s": self.peak_s,
            "max_c": self.max_c,
            "thermocouple_c": self.thermocouple_c,
            "thermocouple_at_least": self.thermocouple_at_least,
            "cone_offset_c": self.cone_offset_c,
            **self.energy.to_dict(),
            "ware_peak_c": float(self.run.ware_c.max()),
            "kwh_by_price": [] if self.cost is None else as_json(self.cost.kwh_by_price),
            "notes": list(self.notes),
        }


@dataclass(frozen=True, slots=True)
class CourseStage:
    """A stretch of a forecast [s] in which something happens, and its source if it has one."""

    name: str
    from_s: float
    to_s: float
    source: str = ""


CONE_RANGE_K = 100.0
"""Cones go by the last 100 °C and the hold there; source: cone-chart-1996."""
ALL_BUT_DOWN = 0.9
"""A cone that has had this share of its heat-work looks down (common practice, no source)."""
FULL_DUTY = 0.995
"""From here on the elements are on all the time, but for rounding."""


@dataclass(frozen=True, eq=False)
class Forecast(Plottable):
    """A schedule's course.

    Attributes
    ----------
    schedule : Schedule
        What was forecast.
    segments : tuple of ForecastSegment
        When each begins and ends, as planned and as forecast, and what sets its pace.
    trace : Trace
        The course, one channel, to the unloading temperature.
    program_s : float
        From the start to the end of the last segment [s].
    heating_s, cooling_s, total_s : float
        Until the temperature leaves the peak for good, from there to `unload_c`, and both [s].
    usual_total_s : tuple of float
        Without a kiln, `total_s` with the cooling of quick and of slow kilns [s].
    unload_c : float
        The temperature it is opened at [°C].
    peak_c : float
        The highest target, or as far as this kiln comes [°C].
    cones : ConeVerdict
        By the thermocouple's temperature.
    basis, planned_basis : str
        What the course and the planned times rest on, as a clause.
    started : datetime or None
        When it starts, if that was said.
    target_cone : str or None
        The cone asked for, else the schedule's own.
    warnings : tuple of PlanWarning
        What to fix, to check or to know, the gravest first.
    kiln : KilnForecast or None
        What the kiln model says, if a kiln was given.
    core : Trace or None
        The middle of the load's thickest piece, one channel at the times of `trace`, if a kiln and
        a load were given: without a kiln nobody knows how warm the ware's face is.
    assumed : str
        What the ware is taken to have lost before a program that starts hot, as sentences.
    ware : WareVerdict or None
        Whether the firing is safe for the ware, natural cooling included, if a load was given.
    usual : UsualKiln
        The kiln whose cooling stands in where none was given.
    """

    schedule: Schedule
    segments: tuple[ForecastSegment, ...]
    trace: Trace
    program_s: float
    heating_s: float
    total_s: float
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
    usual: UsualKiln = TRIAL
    usual_total_s: tuple[float, float] = (0.0, 0.0)

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
    def peak_s(self) -> float:
        """When the highest target is first reached, or what comes nearest to it [s]."""
        if self.kiln is not None and not self.kiln.reaches_peak:
            return self.kiln.peak_s
        at_peak = (part.ramp_end_s for part in self.segments if part.end_c == self.peak_c)
        return next(at_peak, 0.0)

    @property
    def cone_falls_late_s(self) -> float | None:
        """When the target cone falls, if only as the kiln cools slowly [s]."""
        name = self.target_cone or ""
        falls_s = self.cones.by_cone[name].reached_s if name in self.cones.by_cone else None
        if falls_s is None or falls_s <= self.heating_s:
            return None
        heated = self.trace.time_s <= self.heating_s
        (share,) = heatwork(
            self.trace.time_s[heated], self.trace.channel_c()[heated], [name]
        ).values()
        return falls_s if share < ALL_BUT_DOWN else None

    @property
    def breaches(self) -> tuple[Breach, ...]:
        """Where the firing is not safe for the ware; empty without a load."""
        return () if self.ware is None else self.ware.breaches

    @cached_property
    def stages(self) -> tuple[CourseStage, ...]:
        """What happens along the course: to the ware, to its cones, and where power sets the pace.

        Of the load where one is given, else of ware that the purpose is usual for.
        """
        from firing.ware.safe_rates import ware_stages

        raw = wet = self.schedule.purpose in ("bisque", "once-fired")
        if self.ware is not None:
            reasons = {dwell.reason for dwell in self.ware.limits.dwells}
            raw, wet = bool(reasons & {"bound water", "carbon"}), "free water" in reasons
        found = []
        for stage in ware_stages(raw=raw, wet=wet):
            span_s = self._within_s(stage.window_c, heating=stage.direction == "heating")
            if span_s is not None:
                found.append(CourseStage(stage.name, *span_s, stage.source))
        highest_c = float(self.trace.channel_c().max())
        approach = self._within_s((highest_c - CONE_RANGE_K, highest_c), heating=True)
        if self.cones.reached_number is not None and approach is not None:
            ends_s = max(approach[1], self.heating_s)
            found.append(CourseStage("cone range", approach[0], ends_s, "cone-chart-1996"))
        return (*found, *self._short_of_power())

    def _within_s(
        self, window_c: tuple[float, float], *, heating: bool
    ) -> tuple[float, float] | None:
        """Return when the course first rises or last falls through a window [s]; None if never."""
        time_s, course_c = self.trace.time_s, self.trace.channel_c()
        top = int(np.argmax(course_c))
        way = slice(0, top + 1) if heating else slice(None, top - 1 if top else None, -1)
        # The highest so far never falls, which interpolation needs; a fall is a rise backwards.
        risen_c = np.maximum.accumulate(course_c[way])
        if risen_c[0] >= window_c[1] or risen_c[-1] < window_c[0]:
            return None
        first_s, last_s = sorted(np.interp(window_c, risen_c, time_s[way]))
        return float(first_s), float(last_s)

    def _short_of_power(self) -> Iterator[CourseStage]:
        time_s, duty = self.trace.time_s, self.trace.duty
        for part in self.segments:
            if duty is None or part.limited_by != "power" or part.end_c <= part.from_c:
                continue
            ramp = (time_s >= part.start_s) & (time_s <= part.ramp_end_s) & (duty >= FULL_DUTY)
            full_s = time_s[ramp]
            if full_s.size:
                yield CourseStage("power limits", float(full_s[0]), part.ramp_end_s)

    @property
    def first_crack_s(self) -> float | None:
        """When the kiln has cooled to 150 °C [s]; None if the program never leaves it that hot."""
        return last_fall_s(self.trace.time_s, self.trace.channel_c(), FIRST_CRACK_C)

    @property
    def cooling_s(self) -> float:
        """From leaving the peak to the unloading temperature [s]."""
        return self.total_s - self.heating_s

    @property
    def total_low_s(self) -> float:
        """The early end of the 80 % range of `total_s`; without a kiln, of a quick kiln [s]."""
        return self.usual_total_s[0] if self.kiln is None else self.kiln.ranges.total_s.low

    @property
    def total_high_s(self) -> float:
        """The late end of the 80 % range of `total_s`; without a kiln, of a slow kiln [s]."""
        return self.usual_total_s[1] if self.kiln is None else self.kiln.ranges.total_s.high

    @property
    def cooling_range(self) -> tuple[float, float]:
        """Shortest and longest cooling after the program, as multiples of the one foretold."""
        if self.kiln is not None:
            return self.kiln.ranges.cooling
        cooled_s = max(self.total_s - self.program_s, 1.0)
        low_s, high_s = self.usual_total_s
        return (low_s - self.program_s) / cooled_s, (high_s - self.program_s) / cooled_s

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
        ranges = None if kiln is None else kiln.ranges
        heating, kwh = (None, None) if ranges is None else (ranges.heating_s, ranges.energy_kwh)
        cost = None if kiln is None else kiln.cost_range
        return keyed(
            schema=1,
            kind="forecast",
            schedule=self.schedule,
            basis=self.basis,
            planned_basis=self.planned_basis,
            starts_at=after_iso(self.started, 0.0),
            program_s=self.program_s,
            heating_s=self.heating_s,
            heating_low_s=None if heating is None else heating.low,
            heating_high_s=None if heating is None else heating.high,
            cooling_s=self.cooling_s,
            peak_s=self.peak_s,
            peak_at=after_iso(self.started, self.peak_s),
            cone_falls_late_s=self.cone_falls_late_s,
            total_s=self.total_s,
            total_low_s=self.total_low_s,
            total_high_s=self.total_high_s,
            program_ends_at=after_iso(self.started, self.program_s),
            first_crack_s=self.first_crack_s,
            unload_c=self.unload_c,
            opens_at=after_iso(self.started, self.total_s),
            peak_c=self.peak_c,
            reaches_peak=None if kiln is None else kiln.reaches_peak,
            highest_c=None if kiln is None else kiln.highest_c,
            segments=[segment.to_dict(self.started) for segment in self.segments],
            cones={**self.cones.to_dict(), "target": self.target_cone},
            cones_by_ware=None if kiln is None else kiln.ware_cones,
            energy_kwh=None if kiln is None else kiln.energy_kwh,
            energy_kwh_low=None if kwh is None else kwh.low,
            energy_kwh_high=None if kwh is None else kwh.high,
            may_stall=None if ranges is None else ranges.may_stall,
            cost=None if kiln is None or kiln.cost is None else kiln.cost.amount,
            cost_low=None if cost is None else cost.low,
            cost_high=None if cost is None else cost.high,
            currency=None if kiln is None or kiln.cost is None else kiln.cost.currency,
            mean_amps=None if kiln is None else kiln.energy.mean_amps,
            peak_amps=None if kiln is None else kiln.energy.peak_amps,
            starts=None if kiln is None else kiln.starts,
            max_rate_c_per_h=[] if kiln is None else kiln.max_rate,
            kiln=kiln,
            core_lag_k=lag_k,
            core_lag_at_s=lag_s,
            assumed_at_start=self.assumed or None,
            breaches=self.breaches,
            ware_cautions=[] if self.ware is None else self.ware.cautions,
            warnings=self.warnings,
        )


def last_fall_s(time_s: FloatArray, temperature_c: FloatArray, level_c: float) -> float | None:
    """Return when a course last falls through a level [s]; None if it never does."""
    falls = np.flatnonzero((temperature_c[:-1] > level_c) & (temperature_c[1:] <= level_c))
    if falls.size == 0:
        return None
    i = int(falls[-1])
    share = (temperature_c[i] - level_c) / (temperature_c[i] - temperature_c[i + 1])
    return float(time_s[i] + share * (time_s[i + 1] - time_s[i]))
