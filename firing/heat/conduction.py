"""Conduction through a layered body: finite volumes along the depth, implicit in time.

One solver serves the kiln's wall, the ware and the handbook's examples.  Nodes stand on the faces,
on the joints between layers and between them; each owns the material half-way to its neighbours.
Between two nodes lies one material, whose conductivity there is the mean of its values at both: for
a conductivity linear in temperature the steady flux is exact (Kirchhoff's transformation).  Heat is
carried as heat content, not as capacity times temperature, so what enters and leaves adds up.
"""

from collections.abc import Sequence
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

    `half_openness_m` is, for each node but the first, half the conductance of the interval before
    it for a conductivity of 1.
    """

    material: Material
    grid: PropertyGrid
    first: int
    volumes_m3: list[float]
    half_openness_m: list[float]


class Slab:
    """A layered body cut into nodes, and its implicit equations.

    Layers go from the inside to the outside; the factors multiply every conductivity and every heat
    capacity, for a body learnt from logs.  `known_c` tells between which temperatures every
    material may be asked.

    Use: `assemble` about expected temperatures; `add` what a face exchanges; `eliminate`; then
    `solve`.  The equations stand in the object, so one object serves one body at a time.
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
            self.spans.append(
                _Span(
                    layer.material,
                    grid_of(layer.material),
                    len(self.depth_m) - 1,
                    [capacity_factor * (b - a) for a, b in pairwise(edges)],
                    [
                        0.0,
                        *(0.5 * conductance_factor / (b - a) for a, b in pairwise(resistance)),
                    ],
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
        self._diagonal = [0.0] * self.size
        self._right = [0.0] * self.size
        self._between = [0.0] * (self.size - 1)
        self._last_is_known = False

    def assemble(
        self, expected_c: Sequence[float], weight: float, past_w: Sequence[float] = ()
    ) -> tuple[list[float], list[float]]:
        """Set up the equations about expected temperatures; return capacity and heat content.

        `expected_c` lies near the answer; `weight` is the first of the time formula [1/s], 0 for a
        steady state, and `past_w` what it brings from earlier steps.  Heat content counts from an
        arbitrary level [J].
        """
        capacity: list[float] = []
        heat: list[float] = []
        between: list[float] = []
        for span in self.spans:
            grid = span.grid
            low, per, rows = grid.low_c, grid.per_c, grid.rows
            here = expected_c[span.first : span.first + len(span.volumes_m3)]
            if not (min(here) >= low and max(here) <= grid.high_c):
                wrong = min(here) if min(here) < low else max(here)
                raise FiringError(span.material.refusal(wrong))
            shared_c, shared_h = (capacity.pop(), heat.pop()) if capacity else (0.0, 0.0)
            joint = len(between)
            inner = 0.0
            for temperature, volume, openness in zip(
                here, span.volumes_m3, span.half_openness_m, strict=True
            ):
                k0, k1, c0, c1, h0 = rows[int((temperature - low) * per)]
                k = k0 + k1 * temperature
                capacity.append(volume * (c0 + c1 * temperature))
                heat.append(volume * (h0 + temperature * (c0 + 0.5 * c1 * temperature)))
                between.append(openness * (inner + k))
                inner = k
            # Before a layer's first node there is no interval of it; a joint's node is in both.
            del between[joint]
            node = span.first
            capacity[node] += shared_c
            heat[node] += shared_h
        self._between = between
        if weight:
            self._diagonal = [weight * c for c in capacity]
            self._right = [
                weight * (c * t - h) - p
                for c, h, t, p in zip(capacity, heat, expected_c, past_w, strict=True)
            ]
        else:
            self._diagonal = [0.0] * self.size
            self._right = [0.0] * self.size
        self._last_is_known = False
        return capacity, heat

    def add(self, node: int, g: float, s: float) -> None:
        """Let a node take up s − g·T [W]."""
        self._diagonal[node] += g
        self._right[node] += s

    def fix_outside(self, temperature_c: float) -> None:
        """Hold the last node at a temperature [°C]."""
        self._last_is_known = True
        self._right[-1] = temperature_c

    def eliminate(self) -> tuple[float, float]:
        """Eliminate every node but the first, from the outside inwards.

        What is left of the first node's equation is d·T = r [W/K, W].
        """
        diagonal, right, between = self._diagonal, self._right, self._between
        last = self.size - 1
        d, r = diagonal[last], right[last]
        if self._last_is_known:
            last -= 1
            outer = between[last]
            r = right[last] = right[last] + outer * r
            d = diagonal[last] + outer
        for i in range(last, 0, -1):
            flow = between[i - 1]
            diagonal[i] = d = d + flow
            share = flow / d
            r = right[i - 1] = right[i - 1] + share * r
            # What is left of the exchange once the outer node follows: flow·(1 − share).
            d = diagonal[i - 1] + flow - share * flow
        diagonal[0] = d
        return d, r

    def solve(self, first_c: float) -> list[float]:
        """Return every node's temperature [°C], given the first's, after `eliminate`."""
        diagonal, right, between = self._diagonal, self._right, self._between
        answer = [first_c]
        temperature = first_c
        for i in range(1, self.size - 1 if self._last_is_known else self.size):
            temperature = (right[i] + between[i - 1] * temperature) / diagonal[i]
            answer.append(temperature)
        if self._last_is_known:
            answer.append(right[-1])
        return answer

    def knows(self, temperature_c: Sequence[float]) -> bool:
        """Whether every material may be asked at all of some temperatures [°C]."""
        return min(temperature_c) >= self.known_c[0] and max(temperature_c) <= self.known_c[1]

    def flows_w(self, temperature_c: Sequence[float]) -> list[float]:
        """Return the heat that flows from each node to the next [W], as last assembled."""
        return [
            flow * (a - b)
            for flow, (a, b) in zip(self._between, pairwise(temperature_c), strict=True)
        ]

    def heat_j(self, temperature_c: Sequence[float]) -> float:
        """Return the body's heat content above an arbitrary level [J]."""
        total = 0.0
        for span in self.spans:
            for i, volume in enumerate(span.volumes_m3):
                total += volume * span.grid.heat(temperature_c[span.first + i])[1]
        return total

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
