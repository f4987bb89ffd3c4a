"""The bodies that exchange heat in a kiln: their numbers, surfaces, capacities and water."""

import math
from collections.abc import Sequence

from firing.heat.boundary import STEFAN_BOLTZMANN
from firing.kiln.contents import Contents, contents_of
from firing.kiln.description import KilnDescription
from firing.kiln.elements import WIRE_J_PER_KGK
from firing.units import KELVIN_AT_0_C
from firing.ware.load import Load
from firing.ware.state import WareState
from firing.ware.water_heat import HeatDemand

EMISSIVITY_INSIDE = 0.9  # source: kiln-model-choices; fired clay 0.91, emissivity-tables
EMISSIVITY_JACKET = 0.3  # source: jacket-emissivity-memory
H_INSIDE = 5.0  # W/(m² K); source: kiln-model-choices
H_OUTSIDE = 1.31  # W/(m² K^(4/3)), vertical plates in air; source: plate-convection-memory
AIR_J_PER_M3K = 1206.0  # air at 20 °C and one atmosphere, an upper bound for a hot chamber

CHAMBER, ELEMENTS, FIRST_LUMP = 0, 1, 2


class Bodies:
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
    element_m2, outside_m2 : float
        Surface of the elements; that of the kiln, times what was learnt of its losses [m²].
    available_w : float
        Full power with cold elements [W].
    demands : list of (int, float, float, float)
        Heat that water takes up: node, logarithm of the rate and its temperature [K], heat [J].
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
        self.leak_w_per_k = fitted.loss * kiln.air_w_per_k
        self.available_w, self.element_m2 = kiln.available_w, kiln.element_m2
        self.element_j_per_k = fitted.capacity * kiln.element_mass_kg * WIRE_J_PER_KGK
        self.outside_m2 = fitted.loss * self.wall.outside_m2
        self.slabs = (
            (self.thick, self.first_thick, self.contents.thick.area_m2),
            (self.wall, self.first_wall, self.wall.inside_m2),
        )
        # One entry a demand and node: node, law (log of the rate, its temperature), heat [J].
        self.demands: list[tuple[int, float, float, float]] = []
        self._waters: list[HeatDemand] = []
        self._thickest_path_m = load.thickest.heat_path_m
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
        self.wet = [demand[0] for demand in self.demands]

    def _thick_shares(self) -> list[float]:
        volumes = self.thick.spans[0].volumes_m3
        return [volume / sum(volumes) for volume in volumes]

    def pending_j(self, chamber_c: float, state: WareState | None = None) -> list[float]:
        """Return what each demand has still to take up where a kiln begins [J].

        Parameters
        ----------
        chamber_c : float
            The temperature that everything begins at [°C].
        state : WareState, optional
            How far a firing has brought the ware; else it came there on a usual ramp.
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
            heat.extend(slab.assemble(temperature_c[first : first + slab.size], 0.0)[1])
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
