"""Simulate a firing: what a kiln with its load will do with a program, and what it can do."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import chain
from operator import attrgetter

import numpy as np

from firing.errors import FiringError
from firing.kiln.controller_model import Follower, Precision, SegmentRun, run_segment
from firing.kiln.description import KilnDescription
from firing.kiln.thermal_network import CHAMBER, ELEMENTS, FIRST_LUMP, Network
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.units import ROOM_C, SECONDS_PER_HOUR
from firing.ware.load import BODY_DENSITY_KG_PER_M3, Load, WareState, typical_load

UNTIL_C = 60.0
REACHED_C = 0.5
"""A peak counts as reached this near [°C]."""

JOULES_PER_KWH = 3.6e6


@dataclass(frozen=True, slots=True)
class Stall:
    """Where a kiln gave up: the segment from 0, when [s], and the temperature it stood at [°C]."""

    segment: int
    at_s: float
    at_c: float


@dataclass(frozen=True, eq=False)
class Simulation:
    """A firing as the kiln model expects it.

    Arrays have shape (n,), one value a step; steps are short where something bends.

    Attributes
    ----------
    time_s : ndarray
        From the start of the program [s].
    chamber_c : ndarray
        What the thermocouple reads [°C].
    set_point_c : ndarray
        What the controller aims at [°C]; NaN with the elements off.
    ware_c, ware_core_c : ndarray
        Surface and middle of the thickest piece [°C].
    furniture_c : ndarray
        Shelves and posts [°C]; NaN if there are none.
    element_c, wall_inside_c, wall_outside_c : ndarray
        [°C].
    power_w, loss_w : ndarray
        What the elements give, and what leaves through walls and air [W].
    full_w : ndarray
        What the elements would give switched on, hot as they are then [W].
    supplied_j, lost_j, stored_j : ndarray
        Since the start [J]; `stored_j` includes the heat that water took up.
    segments : tuple of SegmentRun
        Those that began.
    program_s : float
        End of the last segment, or of the stall [s].
    stall : Stall or None
        Where the program could not go on.
    kiln, load, schedule, room_c, waits
        What was simulated.
    notes : tuple of str
        What was assumed, and tables used beyond their temperatures.
    """

    time_s: FloatArray
    chamber_c: FloatArray
    set_point_c: FloatArray
    ware_c: FloatArray
    ware_core_c: FloatArray
    furniture_c: FloatArray
    element_c: FloatArray
    wall_inside_c: FloatArray
    wall_outside_c: FloatArray
    power_w: FloatArray
    full_w: FloatArray
    loss_w: FloatArray
    supplied_j: FloatArray
    lost_j: FloatArray
    stored_j: FloatArray
    segments: tuple[SegmentRun, ...]
    program_s: float
    stall: Stall | None
    kiln: KilnDescription
    load: Load
    schedule: Schedule
    room_c: float
    waits: bool
    notes: tuple[str, ...]

    @property
    def duty(self) -> FloatArray:
        """Share of full power switched on, 0 to 1, shape (n,)."""
        return self.power_w / self.full_w

    @property
    def total_s(self) -> float:
        """From the start to the end of the simulation [s]."""
        return float(self.time_s[-1])

    @property
    def peak_c(self) -> float:
        """The highest temperature the thermocouple reads [°C]."""
        return float(self.chamber_c.max())

    @property
    def reaches_peak(self) -> bool:
        """Whether the highest target is reached."""
        return self.peak_c >= self.schedule.peak_c - REACHED_C

    @property
    def peak_s(self) -> float:
        """When the highest target, or else the highest temperature, is first reached [s].

        Within 0.5 °C: a controller settles at its target, and never quite on it.
        """
        level_c = min(self.peak_c, self.schedule.peak_c) - REACHED_C
        i = int(np.argmax(self.chamber_c >= level_c))
        if i == 0:
            return 0.0
        (t0, t1), (c0, c1) = self.time_s[i - 1 : i + 1], self.chamber_c[i - 1 : i + 1]
        return float(t0 + (t1 - t0) * (level_c - c0) / (c1 - c0))

    @property
    def energy_kwh(self) -> float:
        """Electrical energy of the whole firing [kWh]."""
        return float(self.supplied_j[-1]) / JOULES_PER_KWH


def simulate(
    kiln: KilnDescription,
    load: Load | None,
    schedule: Schedule,
    *,
    waits: bool = True,
    room_c: float | None = None,
    until_c: float = UNTIL_C,
    precision: Precision | None = None,
    state: WareState | None = None,
) -> Simulation:
    """Simulate a whole firing, down to `until_c`; if the kiln stalls it ends there.

    A typical load stands in for none, which the notes then say.  `waits` is whether the
    controller's clock waits when the kiln lags.  The room is the schedule's unless given.  `state`
    is how far earlier firing has brought the ware; unless given, a program that begins hot begins
    with ware that came there on a usual ramp.

    `FiringError` if `until_c` is within 2 °C of the room, the peak is beyond a wall material's
    tables, the load is heavier than the chamber full of clay, or a hold is to be kept at a
    temperature no kiln cools to.
    """
    room = schedule.room_c if room_c is None else room_c
    if not until_c >= room + 2.0:
        raise FiringError(
            f"a kiln in a room of {room:.0f} °C does not cool to {until_c:g} °C by itself; give "
            f"{room + 2.0:.0f} °C or more"
        )
    _require_tables_reach(kiln, schedule.peak_c)
    precision = Precision() if precision is None else precision
    notes = []
    if load is None:
        load = kiln.inside(None, schedule.purpose)
        notes.append(
            f"no load given: {load.ware_kg:.0f} kg of {load.dryness} ware and "
            f"{load.furniture_kg:.0f} kg of furniture are assumed"
        )
    _require_room(kiln, load)
    network = Network(kiln, load, room_c=room, fineness=precision.fineness)
    network.start(schedule.start_c, state)
    follower = Follower(network, waits=waits, precision=precision)
    runs: list[SegmentRun] = []
    set_point = schedule.start_c
    stall = None
    for index, segment in enumerate(schedule.segments):
        runs.append(run_segment(follower, schedule, index, set_point, last_c=until_c))
        set_point = segment.target_c
        if not runs[-1].finished:
            stall = Stall(index, follower.now_s, follower.chamber_c)
            break
    program_s = follower.now_s
    if stall is None and follower.chamber_c > until_c + REACHED_C:
        follower.until_crossing(until_c, None)
    return _result(
        follower, tuple(runs), program_s, stall, kiln, load, schedule, room, tuple(notes)
    )


def _result(
    follower: Follower,
    runs: tuple[SegmentRun, ...],
    program_s: float,
    stall: Stall | None,
    kiln: KilnDescription,
    load: Load,
    schedule: Schedule,
    room_c: float,
    notes: tuple[str, ...],
) -> Simulation:
    network, moments = follower.network, follower.moments
    states = [moment.state for moment in moments]

    def course(name: str) -> FloatArray:
        return np.fromiter(map(attrgetter(name), states), float, len(states))

    flat = chain.from_iterable(map(attrgetter("temperature_c"), states))
    temperature = np.fromiter(flat, float, len(states) * network.size)
    temperature = temperature.reshape(len(states), network.size)
    walls_c = temperature[:, network.first_wall :]
    lowest_c, highest_c = walls_c.min(axis=0).tolist(), walls_c.max(axis=0).tolist()
    said = network.wall.beyond(lowest_c, highest_c, schedule.unit)
    heat_j = sum(states[0].heat_j)
    stored = np.array([sum(state.heat_j) - heat_j for state in states])
    furniture = network.contents.furniture
    return Simulation(
        time_s=np.array([moment.time_s for moment in moments]),
        chamber_c=temperature[:, CHAMBER],
        set_point_c=np.array([np.nan if m.set_point_c is None else m.set_point_c for m in moments]),
        ware_c=temperature[:, network.first_thick],
        ware_core_c=temperature[:, network.first_wall - 1],
        furniture_c=(
            np.full(len(moments), np.nan)
            if furniture is None
            else temperature[:, FIRST_LUMP + furniture]
        ),
        element_c=temperature[:, ELEMENTS],
        wall_inside_c=temperature[:, network.first_wall],
        wall_outside_c=temperature[:, -1],
        power_w=course("power_w"),
        full_w=course("full_w"),
        loss_w=course("loss_w"),
        supplied_j=course("supplied_j"),
        lost_j=course("lost_j"),
        stored_j=stored,
        segments=runs,
        program_s=program_s,
        stall=stall,
        kiln=kiln,
        load=load,
        schedule=schedule,
        room_c=room_c,
        waits=follower.waits,
        notes=(*notes, *said),
    )


def _require_room(kiln: KilnDescription, load: Load) -> None:
    solid_kg = 0.001 * BODY_DENSITY_KG_PER_M3 * kiln.volume_l
    load_kg = load.ware_kg + (load.furniture_kg or 0.0)
    if load_kg > solid_kg:
        raise FiringError(
            f'the load of {load_kg:,.0f} kg is too heavy for "{kiln.name}": its {kiln.volume_l:g} '
            f"l of solid clay would weigh {solid_kg:.0f} kg; check count and mass_kg in the load "
            "file"
        )


def _require_tables_reach(kiln: KilnDescription, peak_c: float) -> None:
    inner = kiln.wall[0].material
    # The wall's face may overshoot by the controller's band; a step's first guess by more.
    if peak_c > inner.limit_c[1] - 15.0:
        raise FiringError(inner.refusal(peak_c + 15.0))


# Steps shorter than the 20 °C that a rate is taken over.
RATE_PRECISION = Precision(tolerance_c=0.4, longest_step_s=300.0)
RATE_SPAN_C = 10.0  # a rate is that over the 20 °C around a temperature


@dataclass(frozen=True, slots=True)
class Highest:
    """The highest temperature a kiln can hold [°C].

    `by_tables` tells that it may be higher still: the wall material's tables end there.
    """

    temperature_c: float
    by_tables: bool


# Plan after plan is asked of the same kiln, and the answer is a simulation.
@lru_cache(maxsize=64)
def highest_hold(kiln: KilnDescription, *, room_c: float = ROOM_C) -> Highest:
    """Return the temperature at which full power just makes up for the losses.

    What stands in the kiln does not matter.
    """
    cap_c = kiln.wall[0].material.limit_c[1] - 20.0
    network = Network(kiln, typical_load(kiln.volume_l, "bisqued"), room_c=room_c)
    found_c = network.at_rest(cap_c).temperature_c[CHAMBER]
    return Highest(min(found_c, cap_c), found_c > cap_c - 1.0)


@lru_cache(maxsize=64)
def fastest_rates(
    kiln: KilnDescription,
    load: Load | None = None,
    *,
    room_c: float = ROOM_C,
    every_c: float = 50.0,
) -> tuple[tuple[float, float], ...]:
    """Return how fast the kiln rises at full power, temperature by temperature.

    Temperatures [°C] and rates there [°C/h], from 100 °C to a little below what the kiln, or its
    maker, allows; a typical load stands in for none.  The rates are those of one run from cold, the
    lower of the thermocouple's and the ware's: the thermocouple jumps ahead when full power is
    switched on, and ware whose water has left catches up.  A wall already hot allows a little more.
    """
    top_c = min(highest_hold(kiln, room_c=room_c).temperature_c - 5.0, kiln.max_c)
    run = simulate(
        kiln,
        load,
        Schedule("full power", (Segment(top_c, None, "unlimited"),), start_c=room_c),
        room_c=room_c,
        until_c=top_c - 0.5,
        precision=RATE_PRECISION,
    )
    last = int(np.argmax(run.ware_c))
    at_c = np.arange(100.0, run.ware_c[last] - RATE_SPAN_C, every_c)
    rates = np.minimum(
        *(
            _rates_at(at_c, run.time_s[: last + 1], course[: last + 1])
            for course in (run.chamber_c, run.ware_c)
        )
    )
    return tuple((float(t), float(rate)) for t, rate in zip(at_c, rates, strict=True))


def _rates_at(at_c: FloatArray, time_s: FloatArray, course_c: FloatArray) -> FloatArray:
    # A rise may dip for a moment, as where the elements' own warming ends; the highest so far does
    # not, and interpolation needs that.
    highest_c = np.maximum.accumulate(course_c) + 1e-9 * np.arange(course_c.size)
    spans_s = np.interp(at_c + RATE_SPAN_C, highest_c, time_s) - np.interp(
        at_c - RATE_SPAN_C, highest_c, time_s
    )
    rates: FloatArray = 2.0 * RATE_SPAN_C / spans_s * SECONDS_PER_HOUR
    return rates
