"""Bodies of the handbooks, followed over time by the solver of the kiln's wall."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firing.errors import FiringError
from firing.heat.balance import (
    Balance,
    Boundary,
    FixedTemperature,
    HeatFlux,
    Solved,
    Weights,
    at_time,
    extrapolation,
    weights,
)
from firing.heat.conduction import Slab
from firing.heat.properties import Material, PropertyTable
from firing.trace import FloatArray


def constant_material(
    name: str, *, density_kg_per_m3: float, conductivity: float, specific_heat: float
) -> Material:
    """Return a material whose properties do not change with temperature."""
    return Material(
        name,
        density_kg_per_m3,
        PropertyTable(f"conductivity of {name}", "W/(m K)", ((20.0, conductivity),)),
        PropertyTable(f"specific heat of {name}", "J/(kg K)", ((20.0, specific_heat),)),
    )


@dataclass(frozen=True, slots=True)
class Pipe:
    """A hollow cylinder of inner radius `radius_m`, `length_m` long, without its ends."""

    radius_m: float
    length_m: float = 1.0

    @property
    def inside_m2(self) -> float:
        """Area of the inner face [m²]."""
        return 2.0 * math.pi * self.radius_m * self.length_m

    def outside_m2(self, depth_m: float) -> float:
        """Return the area of the face at a depth [m²]."""
        return 2.0 * math.pi * (self.radius_m + depth_m) * self.length_m

    def resistance(self, depth_m: float) -> float:
        """Return the resistance to a depth [1/m], ln((r + x)/r)/2πl."""
        return math.log1p(depth_m / self.radius_m) / (2.0 * math.pi * self.length_m)

    def volume(self, depth_m: float) -> float:
        """Return the volume to a depth [m³]."""
        return math.pi * self.length_m * depth_m * (2.0 * self.radius_m + depth_m)


@dataclass(frozen=True, eq=False)
class Transient:
    """Temperatures [°C] and heat flows of a body, from the inside; heat since the start [J]."""

    time_s: FloatArray
    temperature_c: FloatArray
    inside_w: FloatArray
    outside_w: FloatArray
    entered_j: FloatArray
    stored_j: FloatArray
    notes: tuple[str, ...]


def conduct(
    slab: Slab,
    start_c: float | Sequence[float],
    *,
    inside: Boundary,
    outside: Boundary | None = None,
    duration_s: float,
    step_s: float,
) -> Transient:
    """Follow a body's temperatures over time.

    Steps grow from a 64th of `step_s` at the start, so that a sudden change there is resolved.
    """
    balance = Balance(slab, inside, HeatFlux() if outside is None else outside)
    now = [float(start_c)] * slab.size if isinstance(start_c, int | float) else list(start_c)
    for node, boundary in ((0, balance.inside), (-1, balance.outside)):
        if isinstance(boundary, FixedTemperature):
            now[node] = at_time(boundary.temperature_c, 0.0)
    # What a held face is lifted by at once came through that face.
    began = [float(start_c)] * slab.size if isinstance(start_c, int | float) else list(start_c)
    lifted_j = sum(slab.heat_j(now)) - sum(slab.heat_j(began))
    times = _times(duration_s, step_s)
    history = [now, now, now]
    heats = [slab.heat_j(now)] * 2
    entered = [lifted_j, lifted_j]
    rows: list[Solved] = []
    totals: list[float] = []
    steps: list[float | None] = [None, None]
    for before, after in pairwise(times):
        step = after - before
        a, b, c = weights(step, steps[0])
        past = [b * x + c * y for x, y in zip(heats[0], heats[1], strict=True)]
        expected = _carried(history, extrapolation(step, steps[0], steps[1]))
        if not slab.knows(expected):
            expected = now if not rows else rows[-1].temperature_c
        solved = balance.solve(expected, after, a, past)
        total = (solved.inside_w + solved.outside_w - b * entered[0] - c * entered[1]) / a
        history = [solved.temperature_c, *history[:2]]
        heats = [solved.heat, heats[0]]
        entered = [total, entered[0]]
        steps = [step, steps[0]]
        rows.append(solved)
        totals.append(total)
    temperature = np.array([now, *(row.temperature_c for row in rows)])
    base = sum(slab.heat_j(began))
    return Transient(
        time_s=np.array(times),
        temperature_c=temperature,
        inside_w=np.array([rows[0].inside_w, *(row.inside_w for row in rows)]),
        outside_w=np.array([rows[0].outside_w, *(row.outside_w for row in rows)]),
        entered_j=np.array([lifted_j, *totals]),
        stored_j=np.array([sum(slab.heat_j(list(row))) - base for row in temperature]),
        notes=tuple(slab.beyond(list(temperature.min(axis=0)), list(temperature.max(axis=0)))),
    )


def _times(duration_s: float, step_s: float) -> list[float]:
    if not (duration_s > 0 and step_s > 0):
        raise FiringError("conduction needs a duration and a step above 0 s")
    times, step = [0.0], step_s / 64.0
    while times[-1] + step < duration_s * (1.0 - 1e-9):
        times.append(times[-1] + step)
        step = min(step_s, 1.25 * step)
    if len(times) > 1 and duration_s - times[-1] < 0.2 * step:
        times.pop()
    return [*times, duration_s]


def _carried(history: Sequence[list[float]], factors: Weights) -> list[float]:
    p, q, r = factors
    return [p * x + q * y + r * z for x, y, z in zip(*history, strict=True)]
