"""The heat balance of a conducting body between two boundaries: one implicit step, or at rest."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firing.errors import FiringError
from firing.heat.boundary import (
    Boundary,
    Exchange,
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
                slab.eliminate(found, weight, past_w)  # refuses, with the temperature asked for
        raise FiringError(
            f"conduction at {time_s:.0f} s does not settle within {MAX_REPEATS} repeats; take a "
            "shorter step"
        )

    def _once(
        self, guess: list[float], time_s: float, weight: float, past_w: Sequence[float]
    ) -> Solved:
        slab, inside, outside = self.slab, self.inside, self.outside
        g_out, s_out = (
            slab.held(at_time(outside.temperature_c, time_s))
            if isinstance(outside, FixedTemperature)
            else _through(outside, slab.outside_m2, guess[-1], time_s)
        )
        d, r = slab.eliminate(guess, weight, past_w, outside=(g_out, s_out))
        g_in = s_in = 0.0
        if isinstance(inside, FixedTemperature):
            first = at_time(inside.temperature_c, time_s)
        else:
            g_in, s_in = _through(inside, slab.inside_m2, guess[0], time_s)
            first = (r + s_in) / (d + g_in)
        found, now = slab.solve(first)
        flows = slab.flows_w(found)
        inside_w = (
            weight * now[0] + past_w[0] + flows[0]
            if isinstance(inside, FixedTemperature)
            else s_in - g_in * found[0]
        )
        outside_w = (
            weight * now[-1] + past_w[-1] - flows[-1]
            if isinstance(outside, FixedTemperature)
            else s_out - g_out * found[-1]
        )
        return Solved(found, now, inside_w, outside_w)


def _through(
    boundary: HeatFlux | Exchange, area_m2: float, face_c: float, time_s: float
) -> tuple[float, float]:
    """Return g [W/K] and s [W] of what flows in through a face, s − g·T, linearised at `face_c`."""
    g, s = linearised(boundary, face_c, time_s)
    return area_m2 * g, area_m2 * s


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
