"""What a kiln with its load will make of a program: the simulation in the terms of a forecast."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from firing.cones.equivalence import ConeVerdict, cone_reached
from firing.kiln.capability import fastest_rates, highest_hold
from firing.kiln.description import KilnDescription
from firing.kiln.energy import Energy, EnergyCourse, energy_course, energy_of
from firing.kiln.simulation import Simulation, simulate
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import ForecastSegment
from firing.thermocouple.tolerance import tolerance_c
from firing.trace import Trace
from firing.ware.load import Load
from firing.ware.state import WareState

if TYPE_CHECKING:
    from firing.kiln.tariff import Cost, StartChoice

COOLING_RANGE_DESCRIBED = (0.93, 1.08)
"""Cooling of a kiln that is only described: its leak is known to be 0.2 to 0.4 of what the walls
conduct (source ``leak-default``), so all that leaves is 0.92 to 1.08 of the middle."""
COOLING_RANGE_FITTED = (0.97, 1.03)
"""Cooling of a kiln whose loss was fitted to its own logs."""


@dataclass(frozen=True, slots=True)
class Starts:
    """When to start: the cheapest moment, and stretches that put the peak into waking hours."""

    cheapest: StartChoice | None = None
    awake: tuple[tuple[str, str], ...] | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the starts as the JSON shows them."""
        cheapest = self.cheapest
        return {
            "cheapest": None
            if cheapest is None
            else {
                "starts_at": cheapest.started.isoformat(timespec="minutes"),
                **cheapest.cost.to_dict(),
            },
            "awake": None if self.awake is None else [list(stretch) for stretch in self.awake],
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
    ware_cones : ConeVerdict
        Cones by the temperature of the thickest piece.
    thermocouple_c : float or None
        Tolerance of the thermocouple near the peak, ± [°C]; None where its class promises nothing.
    cone_offset_c : float
        What witness cones have shown the thermocouple to read too low by [°C].
    cooling_range : tuple of float
        Shortest and longest natural cooling as multiples of the simulated.
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
    ware_cones: ConeVerdict
    thermocouple_c: float | None
    cone_offset_c: float
    cooling_range: tuple[float, float]
    basis: str
    notes: tuple[str, ...]
    run: Simulation = field(repr=False)
    cost: Cost | None = None
    starts: Starts = field(default_factory=Starts)

    @property
    def core(self) -> Trace:
        """The middle of the thickest piece, one channel ``core``."""
        return Trace(self.run.time_s, self.run.ware_core_c, ("core",), "forecast")

    @property
    def energy_kwh(self) -> float:
        """Energy of the whole firing [kWh]."""
        return self.energy.kwh

    def to_dict(self) -> dict[str, Any]:
        """Return what is not among a forecast's own keys."""
        return {
            "name": self.name,
            "stalled": self.stalled,
            "peak_s": self.peak_s,
            "max_c": self.max_c,
            "thermocouple_c": self.thermocouple_c,
            "cone_offset_c": self.cone_offset_c,
            **self.energy.to_dict(),
            "ware_peak_c": float(self.run.ware_c.max()),
            "kwh_by_price": [] if self.cost is None else list(self.cost.kwh_by_price),
            "notes": list(self.notes),
        }


def forecast_in_kiln(
    schedule: Schedule,
    kiln: KilnDescription,
    load: Load | None,
    *,
    waits: bool,
    until_c: float,
    state: WareState | None = None,
) -> tuple[KilnForecast, tuple[ForecastSegment, ...], Trace]:
    """Simulate a program in a kiln.

    Parameters
    ----------
    schedule : Schedule
        The program.
    kiln : KilnDescription
        The kiln.
    load : Load or None
        What is in it.
    waits : bool
        Whether the controller's clock waits when the kiln lags.
    until_c : float
        Down to where the cooling is followed [°C].
    state : WareState, optional
        How far earlier firing has brought the ware.

    Returns
    -------
    outlook : KilnForecast
    segments : tuple of ForecastSegment
        One a segment; those a stalled kiln never begins take no time at the stall's end.
    trace : Trace
        What the thermocouple reads, one channel.

    Raises
    ------
    FiringError
        As :func:`firing.kiln.simulation.simulate`.
    """
    run = simulate(kiln, load, schedule, waits=waits, until_c=until_c, state=state)
    segments = tuple(_segment(schedule, run, index) for index in range(len(schedule.segments)))
    peak_c = run.peak_c
    near = tolerance_c(kiln.thermocouple, kiln.thermocouple_class, peak_c).value_c
    fitted = kiln.fitted.learnt is not None
    load_words = "a typical load" if load is None else "its load"
    basis = f'simulated in the kiln "{kiln.name}"' + (
        f", fitted to its own logs ({kiln.fitted.basis or kiln.fitted.learnt}), with {load_words}"
        if fitted
        else f" as its file describes it, with {load_words}; no log has been fitted yet"
    )
    outlook = KilnForecast(
        name=kiln.name,
        reaches_peak=run.reaches_peak,
        stalled=run.stall is not None,
        peak_c=peak_c,
        peak_s=run.peak_s,
        highest_c=highest_hold(kiln, room_c=schedule.room_c).temperature_c,
        max_c=kiln.max_c,
        energy=energy_of(run),
        course=energy_course(run),
        max_rate=fastest_rates(kiln, run.load, room_c=schedule.room_c),
        ware_cones=cone_reached(run.time_s, run.ware_c, near),
        thermocouple_c=near,
        cone_offset_c=kiln.fitted.cone_offset_c,
        cooling_range=COOLING_RANGE_FITTED if fitted else COOLING_RANGE_DESCRIBED,
        basis=basis,
        notes=run.notes,
        run=run,
    )
    return outlook, segments, Trace(run.time_s, run.chamber_c, ("forecast",), "forecast", run.duty)


def _segment(schedule: Schedule, run: Simulation, index: int) -> ForecastSegment:
    segment = schedule.segments[index]
    if index >= len(run.segments):
        ramp_s = segment.ramp_s(schedule.from_c(index))
        return ForecastSegment(
            index=index,
            name=segment.name,
            start_s=run.program_s,
            ramp_end_s=run.program_s,
            end_s=run.program_s,
            planned_s=(ramp_s or 0.0) + segment.hold_s,
            from_c=schedule.from_c(index),
            end_c=segment.target_c,
            limited_by="power",
            action=segment.action,
            ends=False,
        )
    part = run.segments[index]
    return ForecastSegment(
        index=index,
        name=segment.name,
        start_s=part.start_s,
        ramp_end_s=part.ramp_end_s,
        end_s=part.end_s,
        planned_s=part.end_s - part.start_s if part.programmed_s is None else part.programmed_s,
        from_c=schedule.from_c(index),
        end_c=segment.target_c,
        limited_by=part.limited_by,
        action=segment.action,
        ends=part.finished,
    )


def with_cost(outlook: KilnForecast, cost: Cost | None, starts: Starts) -> KilnForecast:
    """Return the outlook with what a tariff and a start add to it."""
    return replace(outlook, cost=cost, starts=starts)
