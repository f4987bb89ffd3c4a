"""The heat balance of a conducting body between two boundaries: one implicit step, or at rest.

What happens at a face, heat exchanged, set, or the temperature held, is linearised about an
expected temperature of the face, so that one implicit solver serves all.  Steps in time are
backward differentiation of second and third order, with steps of changing length: linear sums that
the equations conserve, heat above all, are conserved by the formula too; so heat contents, and the
energy that came in and went out, are advanced by the same weights.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from firing.errors import FiringError
from firing.heat.conduction import Slab
from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C

STEADY_GROWTH = 1.5
"""How fast steps may grow for the third-order formula to stay stable; its limit is 1.534."""

EVEN_STEPS = (25.0 / 12.0, -4.0, 3.0, -4.0 / 3.0, 0.25)
"""The formula of fourth order for even steps, times the step: for now and the four before."""

Weights = tuple[float, float, float]


def formula(
    step_s: float, before_s: float | None, earlier_s: float | None, since_bend: int
) -> tuple[tuple[float, float, float, float], Weights]:
    """Return the weights of dy/dt for now and the three steps before, and those of a guess of now.

    The guess carries the last three values on along a parabola; a line or the last value where
    there are fewer.  Each order adds to the formula of the one before it how far the answer is from
    such a guess, over the time they span (Newton's interpolation formula).  First order where no
    step has followed a bend yet, third from the third on; that is stable for the real, falling
    modes of conduction as long as no step is more than `STEADY_GROWTH` times the one before
    (Hairer, Nørsett and Wanner, Solving Ordinary Differential Equations I, 2nd ed., III.5, from
    memory; checked in the tests by exactness for parabolas and cubics).
    """
    a = 1.0 / step_s
    if before_s is None:
        return (a, -a, 0.0, 0.0), (1.0, 0.0, 0.0)
    two = step_s + before_s
    p, q, r = two / before_s, -step_s / before_s, 0.0
    b, c = (-a - 1.0 / before_s, step_s / (two * before_s)) if since_bend else (-a, 0.0)
    if since_bend:
        a += 1.0 / two
    if earlier_s is None:
        return (a, b, c, 0.0), (p, q, r)
    three, span = two + earlier_s, before_s + earlier_s
    p *= three / span
    q *= three / earlier_s
    r = step_s * two / (span * earlier_s)
    if since_bend < 3 or step_s > STEADY_GROWTH * before_s:
        return (a, b, c, 0.0), (p, q, r)
    more = 1.0 / three
    return (a + more, b - more * p, c - more * q, -more * r), (p, q, r)


def weights(step_s: float, before_s: float | None) -> Weights:
    """Return (a, b, c) with dy/dt ≈ a·y(now) + b·y(one step ago) + c·y(two steps ago).

    Of second order, of first where `before_s`, the step before `step_s`, is None.
    """
    return formula(step_s, before_s, None, 1)[0][:3]


def extrapolation(step_s: float, before_s: float | None, earlier_s: float | None) -> Weights:
    """Return the weights that carry the last three values, newest first, one step on.

    Constant, linear or parabolic, as the history allows.  The coming step and the two before it are
    given, None where there is no history.
    """
    return formula(step_s, before_s, earlier_s, 0)[1]


STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m² K⁴), exact since the SI of 2019 (source: si-brochure)

OverTime = float | Callable[[float], float]
"""A value, or a function from the time [s] to it."""


def at_time(value: OverTime, time_s: float) -> float:
    """Return a value that may change with time, at `time_s`."""
    return value(time_s) if callable(value) else value


def radiation_w_per_m2k(face_c: float, surroundings_c: float, emissivity: float) -> float:
    """Return the radiation coefficient h_r = εσ(T₁² + T₂²)(T₁ + T₂) [W/(m² K)].

    h_r·(T₁ − T₂) is the exchange of a grey face with surroundings that enclose it, exactly (Kreith,
    Principles of Heat Transfer, 7th ed., eq. 1.19; source: kreith).
    """
    first, second = face_c + KELVIN_AT_0_C, surroundings_c + KELVIN_AT_0_C
    return emissivity * STEFAN_BOLTZMANN * (first * first + second * second) * (first + second)


@dataclass(frozen=True, slots=True)
class FixedTemperature:
    """A face held at a temperature [°C]."""

    temperature_c: OverTime


@dataclass(frozen=True, slots=True)
class HeatFlux:
    """A set heat flux into the body [W/m²]; 0, the default, is an insulated face."""

    w_per_m2: OverTime = 0.0


@dataclass(frozen=True, slots=True)
class Exchange:
    """Convection to a fluid and radiation to surroundings, both at one temperature."""

    ambient_c: OverTime  # temperature of the fluid and the surroundings [°C]
    h_w_per_m2k: float = 0.0  # convection coefficient [W/(m² K)]
    emissivity: float = 0.0  # 0 leaves radiation out


Boundary = FixedTemperature | HeatFlux | Exchange


def linearised(boundary: HeatFlux | Exchange, face_c: float, time_s: float) -> tuple[float, float]:
    """Return (g, s), so that the flux into the body is s − g·T for a face near `face_c`."""
    if isinstance(boundary, HeatFlux):
        return 0.0, at_time(boundary.w_per_m2, time_s)
    ambient_c = at_time(boundary.ambient_c, time_s)
    g = boundary.h_w_per_m2k + radiation_w_per_m2k(face_c, ambient_c, boundary.emissivity)
    return g, g * ambient_c


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
