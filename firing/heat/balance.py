"""The heat balance of a conducting body between two boundaries: one implicit step, or at rest."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firing.errors import FiringError
from firing.heat.boundary import (
    Boundary,
    FixedTemperature,
    HeatFlux,
    at_time,
    linearised,
)
from firing.heat.conduction import Slab
from firing.trace import FloatArray

# The heat balance is repeated until no temperature moves by more than this; then what is stored is
# what flowed, to the last digits.
CONVERGED_C = 1e-10
MAX_REPEATS = 60


@dataclass(frozen=True, slots=True)
class Solved:
    """A body after a step: temperatures [°C], heat contents [J], and what comes in by each face."""

    temperature_c: list[float]
    heat: list[float]
    inside_w: float
    outside_w: float


class Balance:
    """A body and its two boundaries; to be solved over and over, step by step."""

    def __init__(self, slab: Slab, inside: Boundary, outside: Boundary) -> None:
        self.slab, self.inside, self.outside = slab, inside, outside

    def solve(
        self, expected_c: Sequence[float], time_s: float, weight: float, past_w: Sequence[float]
    ) -> Solved:
        """Repeat the linearised balance until the temperatures stand still."""
        slab = self.slab
        guess = list(expected_c)
        for _ in range(MAX_REPEATS):
            solved = self._once(guess, time_s, weight, past_w)
            found = solved.temperature_c
            moved = max(abs(a - b) for a, b in zip(found, guess, strict=True))
            if moved < CONVERGED_C * max(1.0, max(abs(value) for value in found)):
                return solved
            # On its way to the answer a guess may leave the tables though the answer does not.
            halfway = [0.5 * (a + b) for a, b in zip(found, guess, strict=True)]
            guess = found if slab.knows(found) else halfway
            if not slab.knows(guess):
                slab.assemble(found, weight, past_w)  # refuses, with the temperature asked for
        raise FiringError(
            f"conduction at {time_s:.0f} s does not settle within {MAX_REPEATS} repeats; take a "
            "shorter step"
        )

    def _once(
        self, guess: list[float], time_s: float, weight: float, past_w: Sequence[float]
    ) -> Solved:
        slab = self.slab
        capacity, heat = slab.assemble(guess, weight, past_w)
        added = [(0.0, 0.0), (0.0, 0.0)]
        for number, (boundary, node, area) in enumerate(
            ((self.inside, 0, slab.inside_m2), (self.outside, slab.size - 1, slab.outside_m2))
        ):
            if not isinstance(boundary, FixedTemperature):
                g, s = linearised(boundary, guess[node], time_s)
                added[number] = (area * g, area * s)
                slab.add(node, *added[number])
        if isinstance(self.outside, FixedTemperature):
            slab.fix_outside(at_time(self.outside.temperature_c, time_s))
        d, r = slab.eliminate()
        first = (
            at_time(self.inside.temperature_c, time_s)
            if isinstance(self.inside, FixedTemperature)
            else r / d
        )
        found = slab.solve(first)
        now = [h + c * (t - e) for h, c, t, e in zip(heat, capacity, found, guess, strict=True)]
        flows = slab.flows_w(found)
        inside_w = (
            weight * now[0] + past_w[0] + flows[0]
            if isinstance(self.inside, FixedTemperature)
            else added[0][1] - added[0][0] * found[0]
        )
        outside_w = (
            weight * now[-1] + past_w[-1] - flows[-1]
            if isinstance(self.outside, FixedTemperature)
            else added[1][1] - added[1][0] * found[-1]
        )
        return Solved(found, now, inside_w, outside_w)


@dataclass(frozen=True, eq=False)
class Steady:
    """A body at rest: temperatures [°C], shape (nodes,), and the heat it passes outwards [W]."""

    temperature_c: FloatArray
    outward_w: float
    notes: tuple[str, ...]


def at_rest(slab: Slab, guess_c: float, *, inside: Boundary, outside: Boundary) -> Steady:
    """Return a body's temperatures when nothing changes any more, searched from a guess."""
    if isinstance(inside, HeatFlux) and isinstance(outside, HeatFlux):
        raise FiringError("a body with a set flux at both faces never comes to rest")
    solved = Balance(slab, inside, outside).solve(
        [guess_c] * slab.size, 0.0, 0.0, [0.0] * slab.size
    )
    found = solved.temperature_c
    return Steady(np.array(found), solved.inside_w, tuple(slab.beyond(found, found)))
