"""What a course of chamber temperature takes: the kiln model asked the other way round.

With the chamber's temperature given, wall, furniture and ware no longer hang on each other: each is
followed by itself.  What they store and what leaves through walls and air is the heat that the
elements must have given, whatever drove them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firing.heat.balance import (
    STEFAN_BOLTZMANN,
    Weights,
    extrapolation,
    radiation_w_per_m2k,
    weights,
)
from firing.heat.conduction import Slab
from firing.kiln.description import EMISSIVITY_WIRE
from firing.kiln.thermal_network import (
    EMISSIVITY_INSIDE,
    FIRST_LUMP,
    H_INSIDE,
    REPEAT_C,
    Demand,
    Lump,
    Network,
    water_left_j,
    water_sinks,
)
from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C

MOST_REPEATS = 4
WIRE_REPEATS = 12


@dataclass(frozen=True, eq=False)
class HeatNeeded:
    """Heat that a course took.

    `heat_j` is what the elements must have given since the first moment, their own warming
    included, `wire_c` the temperature of the elements that gives it off.
    """

    heat_j: FloatArray
    wire_c: FloatArray


@dataclass(frozen=True, eq=False)
class ChamberCourse:
    """Chamber temperatures [°C] at moments [s], both shape (n,), on a grid of a few minutes."""

    time_s: FloatArray
    chamber_c: FloatArray


def contents_heat_j(network: Network, course: ChamberCourse) -> FloatArray:
    """Return what furniture, ware and its water have taken up since the first moment [J], (n,).

    The network's own state is set to the course's first temperature.
    """
    network.start(float(course.chamber_c[0]))
    began = network.now.temperature_c
    waters = [
        (node, log_rate, theta_k, left_j)
        for (node, log_rate, theta_k, _), left_j in zip(
            network.demands, network.now.pending_j, strict=True
        )
    ]
    total = np.zeros(course.time_s.size)
    for number, lump in enumerate(network.contents.lumps):
        node = FIRST_LUMP + number
        water = _Water([(0, a, b, j) for n, a, b, j in waters if n == node])
        total += _march(_LumpBody(lump), [began[node]], water, course).heat_j
    first, thick = network.first_thick, network.thick
    water = _Water([(n - first, a, b, j) for n, a, b, j in waters if n >= first])
    body = _SlabBody(thick, network.contents.thick.area_m2)
    total += _march(body, began[first : first + thick.size], water, course).heat_j
    return total


def wall_heat_j(network: Network, course: ChamberCourse) -> FloatArray:
    """Return what the wall has taken up and passed on since the first moment [J], shape (n,)."""
    network.start(float(course.chamber_c[0]))
    body = _SlabBody(network.wall, network.inside_m2, network)
    marched = _march(body, network.now.temperature_c[network.first_wall :], _Water([]), course)
    face = marched.last_c
    coefficient = np.array([network.outside_coefficient(value) for value in face.tolist()])
    out_w = network.outside_m2 * coefficient * (face - network.room_c)
    return marched.heat_j + _integral(course.time_s, out_w)


def heat_needed(
    network: Network,
    course: ChamberCourse,
    *,
    contents_j: FloatArray,
    wall_j: FloatArray,
    leak_w_per_k: float | None = None,
) -> HeatNeeded:
    """Put together what the elements must have given; the leak is the network's unless given."""
    air_w_per_k = network.leak_w_per_k if leak_w_per_k is None else leak_w_per_k
    chamber = course.chamber_c
    air = network.air_j_per_k * (chamber - chamber[0])
    leak = _integral(course.time_s, air_w_per_k * (chamber - network.room_c))
    given = contents_j + wall_j + air + leak
    # The wire's excess follows the heat it gives off; over a quarter of an hour, free of noise.
    smooth = _slope(course.time_s, given)
    wire = _wire_c(smooth, chamber, network.element_m2)
    return HeatNeeded(given + network.element_j_per_k * (wire - chamber[0]), wire)


def _integral(time_s: FloatArray, rate_w: FloatArray) -> FloatArray:
    steps = 0.5 * np.diff(time_s) * (rate_w[1:] + rate_w[:-1])
    return np.concatenate(([0.0], np.cumsum(steps)))


def _slope(time_s: FloatArray, heat_j: FloatArray) -> FloatArray:
    last = time_s.size - 1
    here = np.arange(time_s.size)
    low, high = np.maximum(here - 2, 0), np.minimum(here + 2, last)
    slope: FloatArray = (heat_j[high] - heat_j[low]) / (time_s[high] - time_s[low])
    return slope


def _wire_c(power_w: FloatArray, chamber_c: FloatArray, area_m2: float) -> FloatArray:
    """Solve A·(εσ(T⁴ − Tc⁴) + h(T − Tc)) = P for T by Newton's method; Tc where P is below 0."""
    flux = np.maximum(power_w, 0.0) / area_m2
    chamber_k = chamber_c + KELVIN_AT_0_C
    radiated = EMISSIVITY_WIRE * STEFAN_BOLTZMANN
    # From above, Newton's method on a convex rising function never undershoots.
    kelvin = (chamber_k**4 + flux / radiated) ** 0.25
    for _ in range(WIRE_REPEATS):
        excess = radiated * (kelvin**4 - chamber_k**4) + H_INSIDE * (kelvin - chamber_k) - flux
        kelvin = kelvin - excess / (4.0 * radiated * kelvin**3 + H_INSIDE)
    wire: FloatArray = kelvin - KELVIN_AT_0_C
    return wire


class _Water:
    """Heat that water of a body still takes up: first-order laws on the heat that is left."""

    def __init__(self, demands: Sequence[Demand]) -> None:
        self.demands = demands
        self.now = [joules for *_, joules in demands]
        self.before = self.now
        self.whole_j = sum(self.now)

    def take(self, expected_c: Sequence[float], w: Weights) -> dict[int, tuple[float, float]]:
        """Return what each node gives up to water [W] and its slope [W/K]."""
        a, b, c = w
        brought_w = [-(b * x + c * y) for x, y in zip(self.now, self.before, strict=True)]
        self._sinks, taken = water_sinks(self.demands, brought_w, expected_c, a)
        return taken

    def settle(self, found_c: Sequence[float], expected_c: Sequence[float], a: float) -> float:
        """Go on to the step just solved; return the heat taken up since the start [J]."""
        if not self.demands:
            return 0.0
        left_j = water_left_j(self.demands, self._sinks, found_c, expected_c, a)
        self.before, self.now = self.now, left_j
        return self.whole_j - sum(left_j)


def _exchange_w_per_m2k(face_c: float, chamber_c: float) -> float:
    return radiation_w_per_m2k(face_c, chamber_c, EMISSIVITY_INSIDE) + H_INSIDE


class _LumpBody:
    def __init__(self, lump: Lump) -> None:
        self.lump = lump

    def heat(self, temperature_c: list[float]) -> list[float]:
        """Return each node's heat content [J]."""
        return [self.lump.volume_m3 * self.lump.grid.heat(temperature_c[0])[1]]

    def knows(self, temperature_c: list[float]) -> bool:
        return self.lump.grid.low_c <= temperature_c[0] <= self.lump.grid.high_c

    def balance(
        self,
        expected_c: list[float],
        a: float,
        past_w: list[float],
        taken: dict[int, tuple[float, float]],
        chamber_c: float,
    ) -> tuple[list[float], list[float]]:
        """Return temperatures and heat contents of the balance linearised about a guess."""
        lump, t = self.lump, expected_c[0]
        per_m3, content = lump.grid.heat(t)
        capacity, content = lump.volume_m3 * per_m3, lump.volume_m3 * content
        g = lump.area_m2 * _exchange_w_per_m2k(t, chamber_c)
        sink, slope = taken.get(0, (0.0, 0.0))
        right = a * (capacity * t - content) - past_w[0] + g * chamber_c + slope * t - sink
        found = right / (a * capacity + g + slope)
        return [found], [content + capacity * (found - t)]


class _SlabBody:
    """A slab; with a network given it is that kiln's wall and loses heat at its outer face."""

    def __init__(self, slab: Slab, area_m2: float, network: Network | None = None) -> None:
        self.slab, self.area_m2, self.network = slab, area_m2, network

    def heat(self, temperature_c: list[float]) -> list[float]:
        return self.slab.heat_j(temperature_c)

    def knows(self, temperature_c: list[float]) -> bool:
        return self.slab.knows(temperature_c)

    def balance(
        self,
        expected_c: list[float],
        a: float,
        past_w: list[float],
        taken: dict[int, tuple[float, float]],
        chamber_c: float,
    ) -> tuple[list[float], list[float]]:
        slab, network = self.slab, self.network
        out = (0.0, 0.0)
        if network is not None:
            g = network.outside_m2 * network.outside_coefficient(expected_c[-1])
            out = g, g * network.room_c
        d, r = slab.eliminate(expected_c, a, past_w, outside=out, taken=taken)
        g = self.area_m2 * _exchange_w_per_m2k(expected_c[0], chamber_c)
        return slab.solve((r + g * chamber_c) / (d + g))


_Body = _LumpBody | _SlabBody
"""What exchanges heat with the chamber alone."""


@dataclass(frozen=True, eq=False)
class _Marched:
    heat_j: FloatArray
    last_c: FloatArray


def _march(body: _Body, start_c: list[float], water: _Water, course: ChamberCourse) -> _Marched:
    """Follow one body; heat since the start, water's included, and its last node's temperature."""
    now, before = start_c, start_c
    heat_now = heat_before = body.heat(start_c)
    base = sum(heat_now)
    chamber = course.chamber_c.tolist()
    total, last = [0.0], [start_c[-1]]
    earlier: float | None = None
    for i, (t0, t1) in enumerate(pairwise(course.time_s.tolist()), start=1):
        step = t1 - t0
        a, b, c = w = weights(step, earlier)
        p, q, _ = extrapolation(step, earlier, None)
        past = [b * x + c * y for x, y in zip(heat_now, heat_before, strict=True)]
        guess = [p * x + q * y for x, y in zip(now, before, strict=True)]
        if not body.knows(guess):
            guess = now
        for _ in range(MOST_REPEATS):
            taken = water.take(guess, w) if water.demands else {}
            found, heat = body.balance(guess, a, past, taken, chamber[i])
            if max(abs(x - y) for x, y in zip(found, guess, strict=True)) < REPEAT_C:
                break
            guess, expected = found, guess
        else:
            guess = expected
        drawn = water.settle(found, guess, a)
        now, before = found, now
        heat_now, heat_before = heat, heat_now
        earlier = step
        total.append(sum(heat) - base + drawn)
        last.append(found[-1])
    return _Marched(np.array(total), np.array(last))
