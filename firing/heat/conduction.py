"""Conduction through a layered body: finite volumes along the depth, implicit in time.

One solver serves the kiln's wall, the ware and the handbook's examples.  Nodes stand on the faces,
on the joints between layers and between them; each owns the material half-way to its neighbours.
Between two nodes lies one material, whose conductivity there is the mean of its values at both: for
a conductivity linear in temperature the steady flux is exact (Kirchhoff's transformation).  Heat is
carried as heat content, not as capacity times temperature, so what enters and leaves adds up.

A shape of body is told by two functions of the depth x below its inner face: ``resistance(x)`` is
the conduction resistance from there for a conductivity of 1, and ``volume(x)`` the material
between. That is all a one-dimensional solver needs to treat a plane wall, a pipe and a whole kiln
alike.
"""

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise
from math import floor
from typing import Protocol

import numpy as np

from firing.errors import FiringError
from firing.heat.properties import GridRow, Material, PropertyGrid, grid_of
from firing.units import TemperatureUnit

EDGE_FACTOR = 0.54  # Langmuir, per metre of inner edge; source: langmuir-shape-factor
CORNER_FACTOR = 0.15  # Langmuir, per corner and metre of wall thickness


class Shape(Protocol):
    """What the solver asks of a body."""

    @property
    def inside_m2(self) -> float:
        """Area of the inner face [m²]."""
        ...

    def outside_m2(self, depth_m: float) -> float:
        """Return the area of the face at a depth [m²]."""
        ...

    def resistance(self, depth_m: float) -> float:
        """Return the resistance from the inner face to a depth, at a conductivity of 1 [1/m]."""
        ...

    def volume(self, depth_m: float) -> float:
        """Return the volume between the inner face and a depth [m³]."""
        ...


@dataclass(frozen=True, slots=True)
class Plane:
    """A flat wall or plate: `area_m2` everywhere."""

    area_m2: float = 1.0

    @property
    def inside_m2(self) -> float:
        """Area of the inner face [m²]."""
        return self.area_m2

    def outside_m2(self, depth_m: float) -> float:
        """Return the area of the face at a depth [m²]: the same."""
        return self.area_m2

    def resistance(self, depth_m: float) -> float:
        """Return the resistance to a depth [1/m], x/A."""
        return depth_m / self.area_m2

    def volume(self, depth_m: float) -> float:
        """Return the volume to a depth [m³]."""
        return self.area_m2 * depth_m


@cache
def _gauss() -> list[tuple[float, float]]:
    places, weights = np.polynomial.legendre.leggauss(6)
    return [(float(place), float(weight)) for place, weight in zip(places, weights, strict=True)]


class _Enclosure(ABC):
    """A closed chamber, from its shape factor S(x) and that factor's slope.

    The area heat passes at a depth is that of the one-dimensional body of the same resistance
    1/S(x); the wall's volume is taken along the same area, which leaves out the little-heated tips
    of edges and corners.
    """

    __slots__ = ()

    @property
    @abstractmethod
    def inside_m2(self) -> float:
        """Inner area [m²]."""

    @abstractmethod
    def _factor(self, depth_m: float) -> tuple[float, float]:
        """Return the shape factor S [m] and −dS/dx."""

    def conduction_m2(self, depth_m: float) -> float:
        """Return the area of the equivalent one-dimensional body at a depth [m²]."""
        if depth_m <= 0.0:
            return self.inside_m2
        factor, slope = self._factor(depth_m)
        return factor * factor / slope

    def resistance(self, depth_m: float) -> float:
        """Return the resistance from the inner face to a depth [1/m], 1/S."""
        return 0.0 if depth_m <= 0.0 else 1.0 / self._factor(depth_m)[0]

    def volume(self, depth_m: float) -> float:
        """Return the volume to a depth [m³], by Gauss's rule with 6 points."""
        return _volume_m3(self, depth_m)


@lru_cache(maxsize=1024)  # a design or a fit cuts one kiln's wall over and over
def _volume_m3(body: _Enclosure, depth_m: float) -> float:
    half = 0.5 * depth_m
    return half * sum(
        weight * body.conduction_m2(half * (1.0 + place)) for place, weight in _gauss()
    )


@dataclass(frozen=True, slots=True)
class BoxChamber(_Enclosure):
    """A box, `width_m` × `depth_m` × `height_m` inside.

    S = A/x + 0.54·(length of all edges) + 0.15·x a corner (Langmuir; ``langmuir-shape-factor``),
    for walls of one thickness and sides longer than a fifth of it.
    """

    width_m: float
    depth_m: float
    height_m: float

    @property
    def inside_m2(self) -> float:
        """Area of the six inner faces [m²]."""
        w, d, h = self.width_m, self.depth_m, self.height_m
        return 2.0 * (w * d + w * h + d * h)

    @property
    def edges_m(self) -> float:
        """Length of the twelve inner edges [m]."""
        return 4.0 * (self.width_m + self.depth_m + self.height_m)

    @property
    def volume_m3(self) -> float:
        """What the chamber holds [m³]."""
        return self.width_m * self.depth_m * self.height_m

    def outside_m2(self, depth_m: float) -> float:
        """Return the outer area of a wall as thick as `depth_m` [m²]."""
        grown = 2.0 * depth_m
        return BoxChamber(
            self.width_m + grown, self.depth_m + grown, self.height_m + grown
        ).inside_m2

    def _factor(self, depth_m: float) -> tuple[float, float]:
        flat = self.inside_m2 / depth_m
        corners = 8.0 * CORNER_FACTOR
        return flat + EDGE_FACTOR * self.edges_m + corners * depth_m, flat / depth_m - corners


@dataclass(frozen=True, slots=True)
class RoundChamber(_Enclosure):
    """A cylinder with flat ends, `diameter_m` × `height_m` inside.

    S = 2πh/ln(1 + x/r) for the side (exact), A/x for both ends and Langmuir's 0.54 a metre for the
    two round edges, which bend but are square in section like a box's.
    """

    diameter_m: float
    height_m: float

    @property
    def inside_m2(self) -> float:
        """Area of side and ends inside [m²]."""
        r = 0.5 * self.diameter_m
        return 2.0 * math.pi * r * (self.height_m + r)

    @property
    def edges_m(self) -> float:
        """Length of the two round edges [m]."""
        return 2.0 * math.pi * self.diameter_m

    @property
    def volume_m3(self) -> float:
        """What the chamber holds [m³]."""
        return 0.25 * math.pi * self.diameter_m**2 * self.height_m

    def outside_m2(self, depth_m: float) -> float:
        """Return the outer area of a wall as thick as `depth_m` [m²]."""
        return RoundChamber(self.diameter_m + 2 * depth_m, self.height_m + 2 * depth_m).inside_m2

    def _factor(self, depth_m: float) -> tuple[float, float]:
        r = 0.5 * self.diameter_m
        around = math.log1p(depth_m / r)
        side = 2.0 * math.pi * self.height_m / around
        ends = 2.0 * math.pi * r * r / depth_m
        slope = side / (around * (r + depth_m)) + ends / depth_m
        return side + ends + EDGE_FACTOR * self.edges_m, slope


Chamber = BoxChamber | RoundChamber


def cube(volume_m3: float) -> BoxChamber:
    """Return the cube of a volume [m³]."""
    side = math.cbrt(volume_m3)
    return BoxChamber(side, side, side)


def drum(volume_m3: float) -> RoundChamber:
    """Return the cylinder of a volume [m³] that is as high as it is wide."""
    diameter = math.cbrt(4.0 * volume_m3 / math.pi)
    return RoundChamber(diameter, diameter)


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer, from the inside: a material, how thick [m], and how many intervals it is cut in.

    `growth` is the ratio of each interval to the one before it; above 1 the grid is finest at the
    inside, where heat arrives in bursts.
    """

    material: Material
    thickness_m: float
    intervals: int
    growth: float = 1.0

    def __post_init__(self) -> None:
        if not self.thickness_m > 0:
            raise FiringError(
                f"a layer of {self.material.name} {1000 * self.thickness_m:g} mm thick is none; "
                "give a thickness above 0 mm"
            )
        if self.intervals < 1:
            raise FiringError(f"a layer of {self.material.name} needs at least one interval")

    def depths_m(self) -> list[float]:
        """Return the depth of each node below the layer's inner face [m], the first 0."""
        sizes = [self.growth**i for i in range(self.intervals)]
        scale = self.thickness_m / sum(sizes)
        depths = [0.0]
        for size in sizes:
            depths.append(depths[-1] + size * scale)
        depths[-1] = self.thickness_m
        return depths


@dataclass(frozen=True, slots=True)
class _Span:
    """One layer's nodes: the first one's number, and the layer's volume beside each of them.

    `half_openness_m` is half the conductance of each interval for a conductivity of 1.
    """

    material: Material
    grid: PropertyGrid
    first: int
    volumes_m3: list[float]
    half_openness_m: list[float]


Stretch = tuple[list[GridRow], float, float, int, float, list[tuple[int, float, float]]]
"""Nodes in one material, from the outside: the rows, `low_c` and `per_c` of its `PropertyGrid`, the
outermost node's number and the volume beside it [m³]; of each further one its number, that volume,
and half the openness of the interval [m]."""


def stretch(
    grid: PropertyGrid, first: int, volumes_m3: list[float], half_openness_m: Sequence[float] = ()
) -> Stretch:
    """Return nodes in one material, given from the inside."""
    last = first + len(half_openness_m)
    nodes = reversed(range(first, last))
    inwards = list(zip(nodes, volumes_m3[-2::-1], reversed(half_openness_m), strict=True))
    return grid.rows, grid.low_c, grid.per_c, last, volumes_m3[-1], inwards


Eliminated = list[tuple[float, float, float, float, float]]
"""Of each node, outermost first: what flows to the next one inwards [W/K], its temperature by that
one's, s·T + q, and its heat content, c·T − e."""


def eliminate_inwards(
    stretches: Sequence[Stretch],
    expected_c: Sequence[float],
    weight: float,
    past_w: Sequence[float],
    taken: Mapping[int, tuple[float, float]],
    outside: tuple[float, float],
) -> tuple[float, float, float, float, Eliminated]:
    """Set up a body's equations and eliminate every node but the first; see `Slab.eliminate`.

    Returns d and r of what is left of the first node's, d·T = r, and c and e of its heat content.
    Temperatures must be known to lie in the tables; `floor` is quicker there than `int`.
    """
    node = stretches[0][3]
    d, r = outside[0], outside[1] - past_w[node]
    if node in taken:
        sink, slope = taken[node]
        d, r = d + slope, r + slope * expected_c[node] - sink
    eliminated: Eliminated = []
    c_here = e_here = 0.0
    for rows, low, per, node, volume, inwards in stretches:
        # A joint's node is in both layers, and its outer part is in d and r already.
        t = expected_c[node]
        k0, k1, c0, c1, h0 = rows[floor((t - low) * per)]
        outer_k = k0 + k1 * t
        c, e = volume * (c0 + c1 * t), volume * (0.5 * c1 * t * t - h0)
        d += weight * c
        r += weight * e
        c_here += c
        e_here += e
        for node, volume, openness in inwards:
            t = expected_c[node]
            k0, k1, c0, c1, h0 = rows[floor((t - low) * per)]
            k = k0 + k1 * t
            flow = openness * (k + outer_k)
            outer_k = k
            d += flow
            share = flow / d
            eliminated.append((flow, share, r / d, c_here, e_here))
            c_here = volume * (c0 + c1 * t)
            e_here = volume * (0.5 * c1 * t * t - h0)
            # What is left of the exchange once the outer node follows: flow·(1 − share).
            d = weight * c_here + flow - share * flow
            r = weight * e_here - past_w[node] + share * r
            if node in taken:
                sink, slope = taken[node]
                d += slope
                r += slope * t - sink
    return d, r, c_here, e_here, eliminated


_HELD_W_PER_K = 1e30
"""To what holds a face at a temperature, however much heat that takes [W/K]."""


class Slab:
    """A layered body cut into nodes, and its implicit equations.

    Layers go from the inside to the outside; the factors multiply every conductivity and every heat
    capacity, for a body learnt from logs.  `known_c` tells between which temperatures every
    material may be asked.

    Use: `eliminate` about expected temperatures, then `solve`.  The equations stand in the object,
    so one object serves one body at a time.
    """

    def __init__(
        self,
        layers: Sequence[Layer],
        shape: Shape,
        *,
        conductance_factor: float = 1.0,
        capacity_factor: float = 1.0,
    ) -> None:
        if not layers:
            raise FiringError("a wall needs at least one layer")
        self.layers = tuple(layers)
        self.inside_m2 = shape.inside_m2
        self.depth_m: list[float] = [0.0]
        self.spans: list[_Span] = []
        start_m = 0.0
        for layer in layers:
            depths = [start_m + depth for depth in layer.depths_m()]
            volume = [shape.volume(depth) for depth in depths]
            resistance = [shape.resistance(depth) for depth in depths]
            middle = [shape.volume(0.5 * (a + b)) for a, b in pairwise(depths)]
            edges = [volume[0], *middle, volume[-1]]
            volumes = [capacity_factor * (b - a) for a, b in pairwise(edges)]
            openness = [0.5 * conductance_factor / (b - a) for a, b in pairwise(resistance)]
            self.spans.append(
                _Span(
                    layer.material,
                    grid_of(layer.material),
                    len(self.depth_m) - 1,
                    volumes,
                    openness,
                )
            )
            self.depth_m.extend(depths[1:])
            start_m = depths[-1]
        self.size = len(self.depth_m)
        self.outside_m2 = shape.outside_m2(start_m)
        self.known_c = (
            max(span.grid.low_c for span in self.spans),
            min(span.grid.high_c for span in self.spans),
        )
        self._stretches = self.stretches(0)
        self._eliminated: Eliminated = []  # every node but the first
        self._first = 0.0, 0.0

    def stretches(self, first: int) -> list[Stretch]:
        """Return the nodes by material, from the outside; `first` is the innermost one's number."""
        return [
            stretch(span.grid, first + span.first, span.volumes_m3, span.half_openness_m)
            for span in reversed(self.spans)
        ]

    def eliminate(
        self,
        expected_c: Sequence[float],
        weight: float,
        past_w: Sequence[float],
        *,
        outside: tuple[float, float] = (0.0, 0.0),
        taken: Mapping[int, tuple[float, float]] | None = None,
    ) -> tuple[float, float]:
        """Set up the equations about expected temperatures and eliminate every node but the first.

        What is left of the first node's equation is d·T = r [W/K, W].  `expected_c` lies near the
        answer; `weight` is the first of the time formula [1/s], 0 for a steady state, and `past_w`
        what it brings from earlier steps.  At the outer face s − g·T flows in, `outside` being
        (g, s); a node in `taken` gives up f [W] and its slope [W/K] more, as written there.
        """
        for span in self.spans:
            here = expected_c[span.first : span.first + len(span.volumes_m3)]
            low, high = min(here), max(here)
            if not (low >= span.grid.low_c and high <= span.grid.high_c):
                raise FiringError(span.material.refusal(low if low < span.grid.low_c else high))
        d, r, c, e, self._eliminated = eliminate_inwards(
            self._stretches, expected_c, weight, past_w, taken or {}, outside
        )
        self._first = c, e
        return d, r

    def held(self, temperature_c: float) -> tuple[float, float]:
        """Return the `outside` that holds the outer face at a temperature [°C]."""
        return _HELD_W_PER_K, _HELD_W_PER_K * temperature_c

    def solve(self, first_c: float) -> tuple[list[float], list[float]]:
        """Return every node's temperature [°C] and heat content [J], given the first's temperature.

        As last eliminated.  Heat content counts from an arbitrary level.
        """
        c, e = self._first
        answer, heat = [first_c], [c * first_c - e]
        temperature = first_c
        for _, share, rest, c, e in reversed(self._eliminated):
            temperature = rest + share * temperature
            answer.append(temperature)
            heat.append(c * temperature - e)
        return answer, heat

    def knows(self, temperature_c: Sequence[float]) -> bool:
        """Whether every material may be asked at all of some temperatures [°C]."""
        return min(temperature_c) >= self.known_c[0] and max(temperature_c) <= self.known_c[1]

    def flows_w(self, temperature_c: Sequence[float]) -> list[float]:
        """Return the heat that flows from each node to the next [W], as last eliminated."""
        return [
            flow * (a - b)
            for (flow, *_), (a, b) in zip(
                reversed(self._eliminated), pairwise(temperature_c), strict=True
            )
        ]

    def heat_j(self, temperature_c: Sequence[float]) -> list[float]:
        """Return each node's heat content above an arbitrary level [J]."""
        heat = [0.0] * self.size
        for span in self.spans:
            for node, volume in enumerate(span.volumes_m3, span.first):
                heat[node] += volume * span.grid.heat(temperature_c[node])[1]
        return heat

    def beyond(
        self,
        lowest_c: Sequence[float],
        highest_c: Sequence[float],
        unit: TemperatureUnit = "C",
    ) -> list[str]:
        """Return a sentence for each table left, given each node's extremes [°C]."""
        said: dict[str, None] = {}
        for span in self.spans:
            nodes = range(span.first, span.first + len(span.volumes_m3))
            low = min(lowest_c[node] for node in nodes)
            high = max(highest_c[node] for node in nodes)
            said.update(dict.fromkeys(span.material.beyond(low, high, unit)))
        return list(said)
