"""Large, small, bar and iron-free cones beside the self-supporting law.

Only self-supporting regular cones have a fitted law.  Another type is tied to its own printed end
points and follows that law between them and beyond: its offset at the nearest printed rate is kept,
and the range grows with the distance from there.
"""

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from firing.cones.kinetics import laws
from firing.cones.table import ConeType, end_points, parse_cone
from firing.cones.uncertainty import beyond_chart_c
from firing.errors import FiringError
from firing.units import TemperatureUnit, rate_from_celsius

KindOfCone = Literal["self-supporting", "large", "small", "bar", "iron-free", "iron-free large"]
KINDS_OF_CONE: tuple[KindOfCone, ...] = get_args(KindOfCone)

_CHART_TYPES: dict[KindOfCone, ConeType] = {
    "self-supporting": "self_supporting",
    "large": "large",
    "small": "small",
    "bar": "small",
    "iron-free": "iron_free_self_supporting",
    "iron-free large": "iron_free_large",
}

#: A bar lies under the weight of a rod, and the chart has no figures of its own for it.  It is
#: taken to go down with the small cone, within half a cone or so (common practice, no source).
_BAR_C = 10.0


@dataclass(frozen=True, slots=True)
class TypeShift:
    """How a type of cone stands beside the self-supporting one, at one heating rate."""

    hotter_c: float  # by how much it ends hotter [K]; 0 for the self-supporting cone itself
    open_c: float  # what carrying it to this rate leaves open, ± [°C]
    warnings: tuple[str, ...]  # one sentence each


_LONGEST_NAME = 60


def parse_kind_of_cone(text: str) -> KindOfCone:
    """Read a type of cone as people write it: ``large``, ``small``, ``bar``, ``iron_free``."""
    if not isinstance(text, str) or len(text) > _LONGEST_NAME:
        raise FiringError(
            f"{text!r:.40} is no type of cone; write one of: {', '.join(KINDS_OF_CONE)}"
        )
    name = " ".join(text.casefold().replace("_", " ").split()).replace("iron free", "iron-free")
    name = name.replace("self supporting", "self-supporting").removesuffix(" cone")
    name = {"regular": "self-supporting", "iron-free self-supporting": "iron-free"}.get(name, name)
    for kind in KINDS_OF_CONE:
        if name == kind:
            return kind
    raise FiringError(f'"{text}" is no type of cone; write one of: {", ".join(KINDS_OF_CONE)}')


def made_as(kind: KindOfCone) -> tuple[str, ...]:
    """Return the cones that the chart has usable figures for in a type, from the coldest."""
    cells = [c for c in end_points(type=_CHART_TYPES[kind]) if c.quality != "exclude"]
    return tuple(dict.fromkeys(cell.cone for cell in cells))


def type_shift(
    cone: str, kind: KindOfCone, rate_c_per_h: float, unit: TemperatureUnit = "C"
) -> TypeShift:
    """Return how a type of cone stands beside the self-supporting one."""
    if kind == "self-supporting":
        return TypeShift(0.0, 0.0, ())
    name = parse_cone(cone)
    law = laws()[name]
    cells = [c for c in end_points(name, _CHART_TYPES[kind]) if c.quality != "exclude"]
    if not cells:
        made = made_as(kind)
        raise FiringError(
            f"the chart has no figures for cone {name} as a {kind} cone, only for {made[0]} to "
            f"{made[-1]}; ask for the self-supporting one"
        )
    rates = tuple(cell.heating_rate_c_per_h for cell in cells)
    hotter = [
        cell.end_point_c - law.end_point_c(rate) - law.residual_c(rate)
        for cell, rate in zip(cells, rates, strict=True)
    ]
    ln_rates = [math.log(rate) for rate in rates]
    open_c = beyond_chart_c(law, rate_c_per_h, rates)
    warnings = []
    if open_c:
        printed = " and ".join(f"{rate_from_celsius(rate, unit):.0f}" for rate in rates)
        warnings.append(
            f"The chart prints this type at {printed} °{unit}/h only; at "
            f"{rate_from_celsius(rate_c_per_h, unit):.0f} °{unit}/h the law of self-supporting "
            "cones stands in, and the range grows."
        )
    if kind == "bar":
        open_c = math.hypot(open_c, _BAR_C)
        warnings.append(
            "The chart has no bars: this is the small cone's figure, which bars follow within half "
            "a cone or so (common practice, no source)."
        )
    return TypeShift(
        float(np.interp(math.log(rate_c_per_h), ln_rates, hotter)), open_c, tuple(warnings)
    )
