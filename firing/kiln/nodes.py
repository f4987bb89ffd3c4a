"""The bodies that exchange heat in a kiln: their numbers, surfaces, capacities and water."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firing.heat.balance import STEFAN_BOLTZMANN
from firing.heat.conduction import Layer, Plane, Slab
from firing.heat.properties import Material, PropertyGrid, PropertyTable, grid_of
from firing.kiln.description import WIRE_J_PER_KGK, KilnDescription
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
    volume = thickest.total_kg / WARE.density_kg_per_m3
    face = volume / thickest.heat_path_m
    slab = Slab(
        [Layer(WARE, thickest.heat_path_m, THICK_INTERVALS * fineness)],
        Plane(face),
        capacity_factor=capacity_factor / (1.0 + load.water_share),
    )
    seen = capacity_factor * EXPOSED_SHARE * face
    thick = ThickWare(slab, seen, scaled(demands_of(load, (thickest,))))
    return Contents(tuple(lumps), furniture, thick)


Demand = tuple[int, float, float, float]
"""Heat that water of a node takes up: the node, the logarithm of the rate, its temperature [K],
and how much in all [J]."""
Sink = tuple[float, float, float]
"""What a demand takes up [W], the slope of that [W/K], and what earlier steps bring of it [W]."""


def water_sinks(
    demands: Sequence[Demand], brought_w: Sequence[float], expected_c: Sequence[float], a: float
) -> tuple[list[Sink], dict[int, tuple[float, float]]]:
    """Return each demand's sink, linearised about expected temperatures, and their sums by node.

    `brought_w` is what the time formula, whose first weight is `a` [1/s], brings of each demand.
    """
    sinks: list[Sink] = []
    taken: dict[int, tuple[float, float]] = {}
    spent = 1e-5 * a
    for (node, log_rate, theta_k, whole), brought in zip(demands, brought_w, strict=True):
        if brought < spent * whole:
            sinks.append((0.0, 0.0, brought))
            continue
        kelvin = expected_c[node] + KELVIN_AT_0_C
        rate = math.exp(log_rate - theta_k / kelvin)
        left = brought / (a + rate)
        sink = rate * left
        slope = sink * theta_k / (kelvin * kelvin) * a / (a + rate)
        sinks.append((sink, slope, brought))
        if node in taken:
            more, steeper = taken[node]
            taken[node] = more + sink, steeper + slope
        else:
            taken[node] = sink, slope
    return sinks, taken


def water_left_j(
    demands: Sequence[Demand],
    sinks: Sequence[Sink],
    found_c: Sequence[float],
    expected_c: Sequence[float],
    a: float,
) -> list[float]:
    """Return what each demand has still to take up after a step that was just solved [J]."""
    return [
        (brought - sink - slope * (found_c[demand[0]] - expected_c[demand[0]])) / a
        for demand, (sink, slope, brought) in zip(demands, sinks, strict=True)
    ]


EMISSIVITY_INSIDE = 0.9  # source: kiln-model-choices; fired clay 0.91, emissivity-tables
EMISSIVITY_JACKET = 0.3  # source: jacket-emissivity-memory
H_INSIDE = 5.0  # W/(m² K); source: kiln-model-choices
H_OUTSIDE = 1.31  # W/(m² K^(4/3)), vertical plates in air; source: plate-convection-memory
AIR_J_PER_M3K = 1206.0  # air at 20 °C and one atmosphere, an upper bound for a hot chamber

CHAMBER, ELEMENTS, FIRST_LUMP = 0, 1, 2


class KilnNodes:
    """A kiln with its load, as nodes of a network of heat.

    In order: the chamber, the elements, furniture and thin ware as lumps, the thickest ware from
    its face inwards, the wall from its face outwards.

    Parameters
    ----------
    kiln : KilnDescription
        The kiln.
    load : Load
        What stands in it.
    room_c : float
        Room temperature [°C].
    fineness : int
        Multiplier on the number of intervals in wall and ware.

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
