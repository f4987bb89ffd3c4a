"""Bodies that conduct heat outwards, each told by two functions of the depth below its inner face.

``resistance(x)`` is the conduction resistance from the inner face to the depth x for a conductivity
of 1, and ``volume(x)`` the material that lies between: all that a one-dimensional solver needs to
treat a plane wall, a pipe and a whole kiln alike.
"""

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cache
from typing import Protocol

import numpy as np

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
        half = 0.5 * depth_m
        return half * sum(
            weight * self.conduction_m2(half * (1.0 + place)) for place, weight in _gauss()
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
