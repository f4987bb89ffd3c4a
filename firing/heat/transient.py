"""A conducting body over time between two boundaries, or at rest: the solver's own driver."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firing.errors import FiringError
from firing.heat.bdf import Weights, extrapolation, weights
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


@dataclass(frozen=True, eq=False)
class Transient:
    """Temperatures and heat flows of a body.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        [s].
    temperature_c : ndarray, shape (n, nodes)
        [°C], from the inside.
    inside_w, outside_w : ndarray, shape (n,)
        Heat flow into the body through each face at that time [W].
    entered_j : ndarray, shape (n,)
        Heat that has entered through both faces since the start [J].
    stored_j : ndarray, shape (n,)
        Heat content less that at the start [J].
    notes : tuple of str
        Tables that were used outside the temperatures they are known for.
    """

    time_s: FloatArray
    temperature_c: FloatArray
    inside_w: FloatArray
    outside_w: FloatArray
    entered_j: FloatArray
    stored_j: FloatArray
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Solved:
    temperature_c: list[float]
    heat: list[float]
    inside_w: float
    outside_w: float


class _Problem:
    def __init__(self, slab: Slab, inside: Boundary, outside: Boundary) -> None:
        self.slab, self.inside, self.outside = slab, inside, outside

    def solve(
        self, expected_c: Sequence[float], time_s: float, weight: float, past_w: Sequence[float]
    ) -> _Solved:
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
    ) -> _Solved:
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
        return _Solved(found, now, inside_w, outside_w)


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

    Parameters
    ----------
    slab : Slab
        The body.
    start_c : float or sequence of float
        Temperature at the start, one for all nodes or one each [°C].
    inside, outside : Boundary
        What happens at the first and the last node; the outside is insulated unless given.
    duration_s, step_s : float
        How long, and the longest step [s].

    Returns
    -------
    Transient

    Raises
    ------
    FiringError
        If a material is asked outside its temperatures, or a step does not settle.
    """
    problem = _Problem(slab, inside, HeatFlux() if outside is None else outside)
    now = [float(start_c)] * slab.size if isinstance(start_c, int | float) else list(start_c)
    for node, boundary in ((0, problem.inside), (-1, problem.outside)):
        if isinstance(boundary, FixedTemperature):
            now[node] = at_time(boundary.temperature_c, 0.0)
    # What a held face is lifted by at once came through that face.
    began = [float(start_c)] * slab.size if isinstance(start_c, int | float) else list(start_c)
    lifted_j = slab.heat_j(now) - slab.heat_j(began)
    times = _times(duration_s, step_s)
    history = [now, now, now]
    heats = [slab.assemble(now, 0.0)[1]] * 2
    entered = [lifted_j, lifted_j]
    rows: list[_Solved] = []
    totals: list[float] = []
    steps: list[float | None] = [None, None]
    for before, after in pairwise(times):
        step = after - before
        a, b, c = weights(step, steps[0])
        past = [b * x + c * y for x, y in zip(heats[0], heats[1], strict=True)]
        expected = _carried(history, extrapolation(step, steps[0], steps[1]))
        if not slab.knows(expected):
            expected = now if not rows else rows[-1].temperature_c
        solved = problem.solve(expected, after, a, past)
        total = (solved.inside_w + solved.outside_w - b * entered[0] - c * entered[1]) / a
        history = [solved.temperature_c, *history[:2]]
        heats = [solved.heat, heats[0]]
        entered = [total, entered[0]]
        steps = [step, steps[0]]
        rows.append(solved)
        totals.append(total)
    temperature = np.array([now, *(row.temperature_c for row in rows)])
    base = slab.heat_j(began)
    return Transient(
        time_s=np.array(times),
        temperature_c=temperature,
        inside_w=np.array([rows[0].inside_w, *(row.inside_w for row in rows)]),
        outside_w=np.array([rows[0].outside_w, *(row.outside_w for row in rows)]),
        entered_j=np.array([lifted_j, *totals]),
        stored_j=np.array([slab.heat_j(list(row)) - base for row in temperature]),
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


@dataclass(frozen=True, eq=False)
class Steady:
    """A body at rest: temperatures [°C], shape (nodes,), and the heat it passes outwards [W]."""

    temperature_c: FloatArray
    outward_w: float
    notes: tuple[str, ...]


def at_rest(slab: Slab, guess_c: float, *, inside: Boundary, outside: Boundary) -> Steady:
    """Return a body's temperatures when nothing changes any more.

    Parameters
    ----------
    slab : Slab
        The body.
    guess_c : float
        Where the search starts [°C].
    inside, outside : Boundary
        At least one of them other than a set flux, else there is no rest.

    Raises
    ------
    FiringError
        If both faces only have a set flux, or a material is asked outside its temperatures.
    """
    if isinstance(inside, HeatFlux) and isinstance(outside, HeatFlux):
        raise FiringError("a body with a set flux at both faces never comes to rest")
    solved = _Problem(slab, inside, outside).solve(
        [guess_c] * slab.size, 0.0, 0.0, [0.0] * slab.size
    )
    found = solved.temperature_c
    return Steady(np.array(found), solved.inside_w, tuple(slab.beyond(found, found)))
