"""The kiln as a network of heat: one implicit step at a time.

Elements, wall face, furniture and ware exchange heat with one chamber temperature, by radiation and
convection each in proportion to its own surface: the star form of an enclosure.  That chamber
temperature is what a thermocouple in the open chamber reads; its own heat capacity is the air's.
Every exchange is written with a coefficient taken at the expected temperatures, which makes a step
one linear solution: each body is eliminated in favour of the chamber, then the chamber's balance is
solved together with the controller's.  Steps that move far from what was expected are repeated.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import floor
from operator import sub

import numpy as np

from firing.errors import FiringError
from firing.heat.balance import (
    EVEN_STEPS,
    STEFAN_BOLTZMANN,
    Exchange,
    at_rest,
    formula,
)
from firing.heat.conduction import (
    Eliminated,
    Layer,
    Plane,
    Slab,
    Stretch,
    eliminate_inwards,
    stretch,
)
from firing.heat.properties import Material, PropertyGrid, PropertyTable, grid_of
from firing.kiln.description import (
    EMISSIVITY_WIRE,
    WIRE_J_PER_KGK,
    KilnDescription,
    resistance_factor,
)
from firing.units import KELVIN_AT_0_C
from firing.ware.load import BODY_DENSITY_KG_PER_M3, TYPICAL_FURNITURE_KG_PER_L, Load, WareState
from firing.ware.reactions import HeatDemand, demands_of, specific_heat

EXPOSED_SHARE = 0.5  # of ware's and shelves' surface sees the chamber; source: kiln-model-choices
SHELF_M = 0.016  # source: shelf-practice
SHELF_KG_PER_M3 = 2000.0  # source: shelf-practice
DIFFUSIVITY_M2_PER_S = 4e-7  # source: body-diffusivity-practice
THICK_INTERVALS = 2


_SAMPLES_C = (-10.0, 20.0, 60.0, 100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1100.0, 1400.0)

# A mean conductivity for the ware: the usual diffusivity times density and 1100 J/(kg K).
WARE = Material(
    "clay body",
    BODY_DENSITY_KG_PER_M3,
    PropertyTable(
        "conductivity of the clay body",
        "W/(m K)",
        ((20.0, DIFFUSIVITY_M2_PER_S * BODY_DENSITY_KG_PER_M3 * 1100.0),),
    ),
    PropertyTable(
        "specific heat of the clay body",
        "J/(kg K)",
        tuple(zip(_SAMPLES_C, specific_heat(np.array(_SAMPLES_C)).tolist(), strict=True)),
    ),
    ("michot-2011", "body-diffusivity-practice", "body-density-practice"),
)

# 956 J/(kg K) at 400 °C and 1054 at 1200, the line drawn on both ways; source: furniture-heat.
FURNITURE = Material(
    "kiln furniture",
    SHELF_KG_PER_M3,
    PropertyTable("conductivity of kiln furniture", "W/(m K)", ((20.0, 1.2),)),
    PropertyTable(
        "specific heat of kiln furniture",
        "J/(kg K)",
        ((20.0, 909.5), (400.0, 956.0), (1200.0, 1054.0), (1500.0, 1090.8)),
    ),
    ("furniture-heat", "shelf-practice"),
)


@dataclass(frozen=True, slots=True)
class Lump:
    """A body of one temperature: material, volume times capacity factor, surface, water's heat."""

    grid: PropertyGrid
    volume_m3: float
    area_m2: float
    demands: tuple[HeatDemand, ...] = ()


@dataclass(frozen=True, slots=True)
class ThickWare:
    """The thickest kind of piece, as plates heated from their face, and the heat of its water."""

    slab: Slab
    area_m2: float
    demands: tuple[HeatDemand, ...]


@dataclass(frozen=True, slots=True)
class Contents:
    """Furniture and thin ware as lumps, in that order, and the thickest ware through its depth."""

    lumps: tuple[Lump, ...]
    furniture: int | None
    thick: ThickWare


def contents_of(load: Load, volume_l: float, capacity_factor: float, fineness: int = 1) -> Contents:
    """Return a load as the thermal model sees it.

    The kiln's volume is for furniture nobody weighed; the factor multiplies every heat capacity and
    heat of water, and the surfaces that take them up.
    """

    def scaled(demands: tuple[HeatDemand, ...]) -> tuple[HeatDemand, ...]:
        return tuple(replace(d, joules=capacity_factor * d.joules) for d in demands)

    lumps: list[Lump] = []
    furniture_kg = load.furniture_kg
    if furniture_kg is None:
        furniture_kg = TYPICAL_FURNITURE_KG_PER_L * volume_l
    furniture = None
    if furniture_kg > 0:
        furniture = 0
        volume = furniture_kg / SHELF_KG_PER_M3
        area = capacity_factor * EXPOSED_SHARE * 2.0 * volume / SHELF_M
        lumps.append(Lump(grid_of(FURNITURE), capacity_factor * volume, area))
    thickest = load.thickest
    others = tuple(piece for piece in load.pieces if piece is not thickest)
    if others:
        volume = sum(piece.total_kg for piece in others) / WARE.density_kg_per_m3
        area = sum(piece.total_kg / WARE.density_kg_per_m3 / piece.heat_path_m for piece in others)
        dry = 1.0 / (1.0 + load.water_share)
        lumps.append(
            Lump(
                grid_of(WARE),
                capacity_factor * volume * dry,
                capacity_factor * EXPOSED_SHARE * area,
                scaled(demands_of(load, others)),
            )
        )
    path_m = thickest.heat_path_m
    face = thickest.total_kg / WARE.density_kg_per_m3 / path_m
    slab = Slab(
        [Layer(WARE, path_m, THICK_INTERVALS * fineness)],
        Plane(face),
        capacity_factor=capacity_factor / (1.0 + load.water_share),
    )
    seen = capacity_factor * EXPOSED_SHARE * face
    thick = ThickWare(slab, seen, scaled(demands_of(load, (thickest,))))
    return Contents(tuple(lumps), furniture, thick)


Demand = tuple[int, float, float, float]
"""Heat that water of a node takes up: the node, the logarithm of the rate, its temperature [K],
and how much in all [J]."""
EMISSIVITY_INSIDE = 0.9  # source: kiln-model-choices; fired clay 0.91, emissivity-tables
EMISSIVITY_JACKET = 0.3  # source: jacket-emissivity-memory
H_INSIDE = 5.0  # W/(m² K); source: kiln-model-choices
H_OUTSIDE = 1.31  # W/(m² K^(4/3)), vertical plates in air; source: plate-convection-memory
AIR_J_PER_M3K = 1206.0  # air at 20 °C and one atmosphere, an upper bound for a hot chamber

CHAMBER, ELEMENTS, FIRST_LUMP = 0, 1, 2


class KilnNodes:
    """A kiln with its load, as nodes of a network of heat.

    In order: the chamber, the elements, furniture and thin ware as lumps, the thickest ware from
    its face inwards, the wall from its face outwards.  `fineness` multiplies the number of
    intervals in wall and ware.

    Attributes
    ----------
    wall, thick : Slab
        The wall, and the thickest ware.
    first_thick, first_wall, size : int
        Numbers of their first nodes, and of all nodes.
    air_j_per_k, element_j_per_k : float
        Heat capacities of the chamber's air and the elements [J/K].
    leak_w_per_k : float
        What leaking and drawn air carries off [W/K].
    element_m2, inside_m2, outside_m2 : float
        Surface of the elements, and of the wall inside and outside, times the multipliers that make
        one factor on all of them leave the course as it is [m²].
    available_w : float
        Full power with cold elements [W].
    demands : list of Demand
        Heat that water takes up.
    known_c : tuple of float
        Between which temperatures every material may be asked [°C].
    """

    def __init__(
        self, kiln: KilnDescription, load: Load, *, room_c: float, fineness: int = 1
    ) -> None:
        fitted = kiln.fitted
        self.kiln, self.room_c = kiln, room_c
        self._outside_given = kiln.outside_w_per_m2k
        self.wall = kiln.slab(fineness)
        self.contents: Contents = contents_of(load, kiln.volume_l, fitted.capacity, fineness)
        self.thick = self.contents.thick.slab
        self.first_thick = FIRST_LUMP + len(self.contents.lumps)
        self.first_wall = self.first_thick + self.thick.size
        self.size = self.first_wall + self.wall.size
        self.air_j_per_k = fitted.capacity * AIR_J_PER_M3K * kiln.chamber.volume_m3
        self.leak_w_per_k = fitted.leak_factor * kiln.air_w_per_k
        self.available_w = kiln.available_w
        # One factor on power, losses and capacity must leave every temperature as it is.
        self.element_m2 = fitted.capacity * kiln.element_m2
        self.inside_m2 = fitted.loss * self.wall.inside_m2
        self.element_j_per_k = fitted.capacity * kiln.element_mass_kg * WIRE_J_PER_KGK
        self.outside_m2 = fitted.loss * self.wall.outside_m2
        self.slabs = (
            (self.thick, self.first_thick, self.contents.thick.area_m2),
            (self.wall, self.first_wall, self.inside_m2),
        )
        self.demands: list[Demand] = []
        self._waters: list[HeatDemand] = []
        self._thickest_path_m = load.slowest("water").path_m("water")
        for i, lump in enumerate(self.contents.lumps):
            for demand in lump.demands:
                law = demand.law
                self.demands.append((FIRST_LUMP + i, law.log_rate, law.theta_k, demand.joules))
                self._waters.append(demand)
        shares = self._thick_shares()
        for demand in self.contents.thick.demands:
            for i, share in enumerate(shares):
                law, node = demand.law, self.first_thick + i
                self.demands.append((node, law.log_rate, law.theta_k, share * demand.joules))
                self._waters.append(demand)
        lumps = [lump.grid for lump in self.contents.lumps]
        low, high = zip(
            self.thick.known_c,
            self.wall.known_c,
            *((g.low_c, g.high_c) for g in lumps),
            strict=True,
        )
        self.known_c = max(low), min(high)

    def _thick_shares(self) -> list[float]:
        volumes = self.thick.spans[0].volumes_m3
        return [volume / sum(volumes) for volume in volumes]

    def pending_j(self, chamber_c: float, state: WareState | None = None) -> list[float]:
        """Return what each demand has still to take up where a kiln begins [J].

        Unless `state` tells how far a firing has brought the ware, it came there on a usual ramp.
        """
        return [
            demand[3] * water.left(chamber_c, state, self._thickest_path_m)
            for demand, water in zip(self.demands, self._waters, strict=True)
        ]

    def heat_j(self, temperature_c: Sequence[float]) -> list[float]:
        """Return the heat content of every node at given temperatures [J]."""
        heat = [self.air_j_per_k * temperature_c[CHAMBER]]
        heat.append(self.element_j_per_k * temperature_c[ELEMENTS])
        for i, lump in enumerate(self.contents.lumps):
            heat.append(lump.volume_m3 * lump.grid.heat(temperature_c[FIRST_LUMP + i])[1])
        for slab, first, _ in self.slabs:
            heat.extend(slab.heat_j(temperature_c[first : first + slab.size]))
        return heat

    def outside_coefficient(self, face_c: float) -> float:
        """Return the heat transfer coefficient of the outside [W/(m² K)] for a face at [°C]."""
        if self._outside_given is not None:
            return self._outside_given
        room_k, face_k = self.room_c + KELVIN_AT_0_C, face_c + KELVIN_AT_0_C
        radiated = EMISSIVITY_JACKET * STEFAN_BOLTZMANN
        return H_OUTSIDE * math.cbrt(abs(face_k - room_k)) + radiated * (
            face_k * face_k + room_k * room_k
        ) * (face_k + room_k)


SPENT = 1e-6
"""A smaller share of its water's heat a node takes up at once."""
SLOWEST = math.log(1e-12)
"""Water that leaves more slowly stays, the rate as a logarithm [1/s]."""
NOTHING = 0.0, 0.0

CONTROL_BAND_C = 0.5
"""The controller goes from full to no power over this, centred on the set-point [°C]; it holds
within half of it while power lasts.  Source: kiln-model-choices."""

REPEAT_C = 8.0
"""A step whose answer is further than this from what was expected is repeated [°C]."""
MAX_REPEATS = 6
AT_REST_C = 0.01
MAX_REPEATS_AT_REST = 200


@dataclass(slots=True)
class NetworkState:
    """One moment.

    Temperatures and heat contents are those of the nodes of `KilnNodes`; `pending_j` is the heat
    that water still takes up, one a demand, and heat contents are less by it.  `supplied_j` and
    `lost_j` count from the start.  `full_w` is what the elements would give now, switched on, and
    `surprise_c` the largest distance of a temperature from what was expected: that of the wire, and
    of a chamber that follows its set point, apart, and with the heat that water took.  There is
    water left if it is `wet`, and some left in this step if it is `drying`.
    """

    temperature_c: list[float]
    heat_j: list[float]
    pending_j: list[float]
    supplied_j: float = 0.0
    lost_j: float = 0.0
    power_w: float = 0.0
    loss_w: float = 0.0
    full_w: float = 0.0
    surprise_c: float = 0.0
    wet: bool = False
    drying: bool = False


class Network(KilnNodes):
    """A kiln with its load, and its state over time; see `KilnNodes` for what it is made of."""

    def __init__(
        self, kiln: KilnDescription, load: Load, *, room_c: float, fineness: int = 1
    ) -> None:
        super().__init__(kiln, load, room_c=room_c, fineness=fineness)
        parts: list[tuple[int, float, float, list[Stretch]]] = [
            (ELEMENTS, self.element_m2, EMISSIVITY_WIRE, [])
        ]
        for node, lump in enumerate(self.contents.lumps, FIRST_LUMP):
            nodes = [stretch(lump.grid, node, [lump.volume_m3])]
            parts.append((node, lump.area_m2, EMISSIVITY_INSIDE, nodes))
        for slab, first, area_m2 in self.slabs:
            parts.append((first, area_m2, EMISSIVITY_INSIDE, slab.stretches(first)))
        # Of each its first node, 4εσA, hA, and its nodes from the outside; of the elements none.
        self._bodies = [
            (first, 4.0 * emissivity * STEFAN_BOLTZMANN * area_m2, H_INSIDE * area_m2, nodes)
            for first, area_m2, emissivity, nodes in parts
        ]
        # Of each demand what counts as none [J], and below what the rate is under `SLOWEST` [°C].
        self._laws = [
            (n, log_rate, theta_k, SPENT * whole, theta_k / (log_rate - SLOWEST) - KELVIN_AT_0_C)
            for n, log_rate, theta_k, whole in self.demands
        ]
        warm, hot = self.heat_j([400.0] * self.size), self.heat_j([600.0] * self.size)
        self._wet = [(n, (hot[n] - warm[n]) / 200.0) for n in {n for n, *_ in self.demands}]
        self._past: tuple[NetworkState, ...] = ()
        self._steps: tuple[float | None, float | None, float | None] = (None, None, None)
        self._since_bend = 0

    @property
    def now(self) -> NetworkState:
        """The latest accepted state."""
        return self._past[0]

    def start(self, chamber_c: float, ware: WareState | None = None) -> None:
        """Begin with everything inside at one temperature.

        A kiln that begins hot begins with its walls at rest at that temperature, and with ware that
        has lost what water leaves on the way there.
        """
        temperature = [chamber_c] * self.size
        if chamber_c > self.room_c + 40.0:
            rest = at_rest(
                self.wall,
                chamber_c,
                inside=Exchange(chamber_c, 1e6),
                outside=Exchange(self.room_c, self.outside_coefficient(80.0)),
            )
            temperature[self.first_wall :] = [float(value) for value in rest.temperature_c]
        pending = self.pending_j(chamber_c, ware)
        heat_j = self.heat_j(temperature)
        for (node, *_), left_j in zip(self.demands, pending, strict=True):
            heat_j[node] -= left_j
        state = NetworkState(temperature, heat_j, pending, wet=sum(pending) > 0.0)
        state.full_w = self.kiln.available_w / resistance_factor(chamber_c)
        self._past, self._steps = (state,) * 4, (None, None, None)
        self._since_bend = 0

    def advance(self, step_s: float, set_point_c: float | None) -> NetworkState:
        """Return the state one step on, without accepting it.

        The set-point is that at the end of the step; None with the elements off.
        """
        newest, older, oldest, eldest = self._past
        before, earlier, first = self._steps
        (a, b, c, d), (p, q, r) = formula(step_s, before, earlier, self._since_bend)
        f = 0.0
        if step_s == before == earlier == first and self._since_bend >= 4:
            # A long even cooling, in which an error of third order adds up.
            a, b, c, d, f = (weight / step_s for weight in EVEN_STEPS)
        expected, past_w = [], []  # one loop is quicker than two
        for t0, t1, t2, h0, h1, h2 in zip(
            newest.temperature_c,
            older.temperature_c,
            oldest.temperature_c,
            newest.heat_j,
            older.heat_j,
            oldest.heat_j,
            strict=True,
        ):
            expected.append(p * t0 + q * t1 + r * t2)
            past_w.append(b * h0 + c * h1 + d * h2)
        # A guess from long steps may leave the tables where the answer does not.
        if not self._knows(expected):
            expected = newest.temperature_c
            self._require_known(expected)
        if f:
            past_w = [w + f * x for w, x in zip(past_w, eldest.heat_j, strict=True)]
        guess = expected
        for _ in range(MAX_REPEATS):
            state = self._balance(guess, a, past_w, newest, step_s, set_point_c)
            chamber_c, wire_c, bodies_c = _apart(state.temperature_c, guess)
            # The wire's temperature follows from the power it gives off, hardly the other way.
            if bodies_c < REPEAT_C and chamber_c < REPEAT_C and wire_c < 10.0 * REPEAT_C:
                break
            guess = state.temperature_c
            self._require_known(guess)
        if guess is not expected:
            chamber_c, _, bodies_c = _apart(state.temperature_c, expected)
        # A chamber that follows its set point is where the controller has it.
        follows = 0.0 < state.power_w < state.full_w and 0.0 < newest.power_w < newest.full_w
        moved_c = bodies_c if follows or bodies_c > chamber_c else chamber_c
        if state.drying:
            x, y, z = newest.heat_j, older.heat_j, oldest.heat_j
            for node, capacity in self._wet:
                missed_j = state.heat_j[node] - p * x[node] - q * y[node] - r * z[node]
                missed_c = abs(missed_j) / capacity
                if missed_c > moved_c:
                    moved_c = missed_c
        state.surprise_c = moved_c
        state.supplied_j = (
            state.power_w
            - b * newest.supplied_j
            - c * older.supplied_j
            - d * oldest.supplied_j
            - f * eldest.supplied_j
        ) / a
        state.lost_j = (
            state.loss_w
            - b * newest.lost_j
            - c * older.lost_j
            - d * oldest.lost_j
            - f * eldest.lost_j
        ) / a
        return state

    def at_rest(self, set_point_c: float, guess_c: float = 900.0) -> NetworkState:
        """Return the state in which nothing changes any more, of a load without water."""
        if self.demands:
            raise FiringError("a kiln with water in its load does not come to rest")
        guess, past = [guess_c] * self.size, [0.0] * self.size
        for _ in range(MAX_REPEATS_AT_REST):
            self._require_known(guess)
            state = self._balance(guess, 0.0, past, None, 0.0, set_point_c)
            found = state.temperature_c
            if max(abs(x - y) for x, y in zip(found, guess, strict=True)) < AT_REST_C:
                return state
            # Half-way steps: full ones may swing about the answer.
            guess = [0.5 * (x + y) for x, y in zip(found, guess, strict=True)]
        raise FiringError("the kiln's state at rest is not found; check its walls and power")

    def _knows(self, temperature_c: Sequence[float]) -> bool:
        low_c, high_c = self.known_c
        rising_c = sorted(temperature_c)  # quicker than min and max
        if rising_c[0] >= low_c and rising_c[-1] <= high_c:
            return True
        # Air and wires have no tables.
        return all(low_c <= at_c <= high_c for at_c in temperature_c[FIRST_LUMP:])

    def _require_known(self, temperature_c: Sequence[float]) -> None:
        """Refuse temperatures beyond the tables of a material of wall or load."""
        if not self._knows(temperature_c):
            self.heat_j(temperature_c)
            for slab, first, _ in self.slabs:
                slab.eliminate(temperature_c[first : first + slab.size], 0.0, [0.0] * slab.size)

    def accept(self, state: NetworkState, step_s: float) -> None:
        """Make a state that `advance` returned the latest one."""
        newest, older, oldest, _ = self._past
        before, earlier, _ = self._steps
        self._past, self._steps = (state, newest, older, oldest), (step_s, before, earlier)
        self._since_bend += 1

    def bend(self) -> None:
        """Tell that the set-point bends now: the next step must not look back beyond it."""
        self._since_bend = 0

    def _water(
        self, newest: NetworkState, guess: list[float], a: float, step_s: float
    ) -> tuple[list[tuple[int, float, float]], dict[int, tuple[float, float]]]:
        """Return what each demand has left a step on [J], and its fall by warmth there [J/K].

        Linearised about a guess; with the number of the node, and with what the water takes from
        each node [W], and its rise by warmth [W/K].  Over a step the temperature goes straight, and
        so nearly the logarithm of the rate: the mean rate is their logarithmic mean.
        """
        left: list[tuple[int, float, float]] = []
        taken: dict[int, tuple[float, float]] = {}
        before_c = newest.temperature_c
        for (node, log_rate, theta_k, spent_j, begins_c), left_j in zip(
            self._laws, newest.pending_j, strict=True
        ):
            if left_j < spent_j:
                left.append((node, 0.0, 0.0))
                continue
            falls, t = 0.0, guess[node]
            if t > begins_c:
                kelvin = t + KELVIN_AT_0_C
                per_kelvin = theta_k / (kelvin * kelvin)
                rate = math.exp(log_rate - theta_k / kelvin)
                grown = theta_k / (before_c[node] + KELVIN_AT_0_C) - theta_k / kelvin
                if -1e-3 < grown < 1e-3:
                    mean, steeper = rate * (1.0 - 0.5 * grown), 0.5 * rate
                else:
                    mean = rate * -math.expm1(-grown) / grown
                    steeper = (rate - mean) / grown
                left_j *= math.exp(-mean * step_s)
                falls = left_j * step_s * steeper * per_kelvin
            left.append((node, left_j, falls))
            sink, slope = taken.get(node, NOTHING)
            taken[node] = sink - a * left_j, slope + a * falls
        return left, taken

    def _balance(
        self,
        guess: list[float],
        a: float,
        past_w: list[float],
        newest: NetworkState | None,
        step_s: float,
        set_point_c: float | None,
    ) -> NetworkState:
        """Solve the heat balance linearised about a guess."""
        chamber_k = guess[CHAMBER] + KELVIN_AT_0_C
        chamber_k3 = chamber_k * chamber_k * chamber_k
        from_chamber = KELVIN_AT_0_C - 0.75 * chamber_k
        wall_g = self.outside_m2 * self.outside_coefficient(guess[-1])
        to_room = wall_g, wall_g * self.room_c
        water, taken = (
            self._water(newest, guess, a, step_s) if newest is not None and newest.wet else ([], {})
        )
        # What is left of the chamber's balance, d0·T = r0, as each body is eliminated.
        d0 = a * self.air_j_per_k + self.leak_w_per_k
        r0 = self.leak_w_per_k * self.room_c - past_w[CHAMBER]
        bodies = []
        for node, emits, convects, stretches in self._bodies:
            if node == ELEMENTS:
                nodes: Eliminated = []
                d, r, c, e = a * self.element_j_per_k, -past_w[ELEMENTS], self.element_j_per_k, 0.0
            elif node < self.first_thick:  # a lump: as `eliminate_inwards` does with one node
                nodes, t = [], guess[node]
                rows, low, per, _, volume, _ = stretches[0]
                _, _, c0, c1, h0 = rows[floor((t - low) * per)]
                c, e = volume * (c0 + c1 * t), volume * (0.5 * c1 * t * t - h0)
                sink, slope = taken.get(node, NOTHING)
                d, r = slope + a * c, slope * t - past_w[node] - sink + a * e
            else:
                out = to_room if node == self.first_wall else NOTHING
                d, r, c, e, nodes = eliminate_inwards(stretches, guess, a, past_w, taken, out)
            # A·(εσ(T⁴ − T₀⁴) + h(T − T₀)) is gives·T − gets·T₀ + s about the guess, T in °C.
            kelvin = guess[node] + KELVIN_AT_0_C
            emitted = emits * kelvin * kelvin * kelvin
            returned = emits * chamber_k3
            gives = emitted + convects
            gets = returned + convects
            s = emitted * (KELVIN_AT_0_C - 0.75 * kelvin) - returned * from_chamber
            d += gives
            share, rest = gets / d, (r - s) / d
            d0 += gets - gives * share
            r0 += s + gives * rest
            if node == ELEMENTS:
                wire_d, wire_share = d, gives / d
            bodies.append((share, rest, c, e, nodes))
        full_w = self.available_w / resistance_factor(guess[ELEMENTS])
        power_w, chamber_c = _controlled(d0, r0, wire_share, full_w, set_point_c)
        found, heat_j = [chamber_c], [self.air_j_per_k * chamber_c]
        for share, rest, c, e, nodes in bodies:
            t = rest + share * chamber_c
            found.append(t)
            heat_j.append(c * t - e)
            if nodes:
                for _, share, rest, c, e in reversed(nodes):
                    t = rest + share * t
                    found.append(t)
                    heat_j.append(c * t - e)
        found[ELEMENTS] += power_w / wire_d
        heat_j[ELEMENTS] = self.element_j_per_k * found[ELEMENTS]
        loss_w = wall_g * (found[-1] - self.room_c) + self.leak_w_per_k * (chamber_c - self.room_c)
        state = NetworkState(found, heat_j, [], 0.0, 0.0, power_w, loss_w, full_w)
        for node, left_j, falls in water:
            if falls:
                left_j -= falls * (found[node] - guess[node])
                state.drying = True
            if left_j:
                heat_j[node] -= left_j
                state.wet = True
            state.pending_j.append(left_j)
        return state


def _apart(one_c: list[float], other_c: list[float]) -> tuple[float, float, float]:
    """Return how far apart the chambers of two states are, the wires, and the bodies at most."""
    chamber_c, wire_c, *bodies_c = map(sub, one_c, other_c)
    bodies_c.sort()  # quicker than max and min
    return abs(chamber_c), abs(wire_c), max(bodies_c[-1], -bodies_c[0])


def _controlled(
    d: float, r: float, share: float, full_w: float, set_point_c: float | None
) -> tuple[float, float]:
    """Return power [W] and chamber temperature [°C] from d·T = r + share·P and the controller."""
    if set_point_c is None:
        return 0.0, r / d
    slope = full_w / CONTROL_BAND_C
    at_zero = 0.5 * full_w + slope * set_point_c
    chamber_c = (r + share * at_zero) / (d + share * slope)
    power_w = at_zero - slope * chamber_c
    if power_w > full_w:
        return full_w, (r + share * full_w) / d
    if power_w < 0.0:
        return 0.0, r / d
    return power_w, chamber_c
