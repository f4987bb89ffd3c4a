"""Conduction through a layered body: finite volumes along the depth, implicit in time.

One solver serves the kiln's wall, the ware and the handbook's examples.  Nodes stand on the faces,
on the joints between layers and between them; each owns the material half-way to its neighbours.
Between two nodes lies one material, whose conductivity there is the mean of its values at both: for
a conductivity linear in temperature the steady flux is exact (Kirchhoff's transformation).  Heat is
carried as heat content, not as capacity times temperature, so what enters and leaves adds up.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from firing.errors import FiringError
from firing.heat.geometry import Shape
from firing.heat.properties import Material, PropertyGrid, grid_of
from firing.units import TemperatureUnit


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

    `half_openness_m` is half the conductance of each interval for a conductivity of 1; `inwards`
    are, from the last node to the second, the volume beside the next one further in and that half.
    """

    material: Material
    grid: PropertyGrid
    first: int
    volumes_m3: list[float]
    half_openness_m: list[float]
    inwards: list[tuple[float, float]]


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
                    list(zip(reversed(volumes[:-1]), reversed(openness), strict=True)),
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
        # Of each node but the first, outermost first: what flows to the next one inwards [W/K],
        # its temperature by that one's, s·T + q, and its heat content, c·T − e.
        self._eliminated: list[tuple[float, float, float, float, float]] = []
        self._first: tuple[float, float] = (0.0, 0.0)

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
        last = self.size - 1
        g, s = outside
        d, r = g, s - past_w[last]
        if taken and last in taken:
            sink, slope = taken[last]
            d, r = d + slope, r + slope * expected_c[last] - sink
        eliminated: list[tuple[float, float, float, float, float]] = []
        c_here = e_here = 0.0
        node = last
        for span in reversed(self.spans):
            grid = span.grid
            low, per, rows = grid.low_c, grid.per_c, grid.rows
            first, volumes = span.first, span.volumes_m3
            here = expected_c[first : node + 1]
            if not (min(here) >= low and max(here) <= grid.high_c):
                wrong = min(here) if min(here) < low else max(here)
                raise FiringError(span.material.refusal(wrong))
            # A joint's node is in both layers, and its outer part is in d and r already.
            t, volume = here[-1], volumes[-1]
            k0, k1, c0, c1, h0 = rows[int((t - low) * per)]
            outer_k = k0 + k1 * t
            c, e = volume * (c0 + c1 * t), volume * (0.5 * c1 * t * t - h0)
            d += weight * c
            r += weight * e
            c_here, e_here = c_here + c, e_here + e
            for t, past, (volume, openness) in zip(
                here[-2::-1],
                past_w[node - 1 : first - 1 if first else None : -1],
                span.inwards,
                strict=True,
            ):
                k0, k1, c0, c1, h0 = rows[int((t - low) * per)]
                k = k0 + k1 * t
                flow = openness * (k + outer_k)
                outer_k = k
                d += flow
                share = flow / d
                eliminated.append((flow, share, r / d, c_here, e_here))
                c_here, e_here = volume * (c0 + c1 * t), volume * (0.5 * c1 * t * t - h0)
                # What is left of the exchange once the outer node follows: flow·(1 − share).
                d = weight * c_here + flow - share * flow
                r = weight * e_here - past + share * r
                if taken:
                    node -= 1
                    if node in taken:
                        sink, slope = taken[node]
                        d += slope
                        r += slope * t - sink
            node = first
        self._eliminated, self._first = eliminated, (c_here, e_here)
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
