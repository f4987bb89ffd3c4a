"""What a course of chamber temperature takes: the kiln model asked the other way round.

With the chamber's temperature given, wall, furniture and ware no longer hang on each other: each is
followed by itself.  What they store and what leaves through walls and air is the heat that the
elements must have given, whatever drove them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np

from firing.errors import FiringError
from firing.heat.balance import (
    STEFAN_BOLTZMANN,
    Weights,
    extrapolation,
    radiation_w_per_m2k,
    weights,
)
from firing.heat.conduction import Slab
from firing.heat.properties import PropertyGrid
from firing.kiln.description import EMISSIVITY_WIRE
from firing.kiln.thermal_network import (
    EMISSIVITY_INSIDE,
    EMISSIVITY_JACKET,
    FIRST_LUMP,
    H_INSIDE,
    H_OUTSIDE,
    Demand,
    Lump,
    Network,
)
from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C

REPEAT_C = 4.0
"""A step whose answer is further than this from what was expected is repeated [°C]."""
MOST_REPEATS = 4
WIRE_REPEATS = 12
WIRE_CLOSE_K = 1e-4
"""No wire's temperature moves further once it is found: the next move would be nothing [K]."""


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
    total = np.zeros(course.time_s.size)
    for body, start_c, water in _contents(network):
        total += _march(body, [start_c], water, course).heat_j
    return total


def _contents(network: Network) -> Iterator[tuple[_Body, list[float], _Water]]:
    """Yield the bodies inside, their first temperatures, and the water they bring."""
    began, first, thick = network.now.temperature_c, network.first_thick, network.thick
    waters = [
        (node, log_rate, theta_k, left_j)
        for (node, log_rate, theta_k, _), left_j in zip(
            network.demands, network.now.pending_j, strict=True
        )
    ]
    for node, lump in enumerate(network.contents.lumps, FIRST_LUMP):
        water = _Water([(0, a, b, j) for n, a, b, j in waters if n == node])
        yield _LumpBody(lump), [began[node]], water
    water = _Water([(n - first, a, b, j) for n, a, b, j in waters if n >= first])
    body = _SlabBody(thick, network.contents.thick.area_m2)
    yield body, began[first : first + thick.size], water


def wall_heat_j(network: Network, course: ChamberCourse) -> FloatArray:
    """Return what the wall has taken up and passed on since the first moment [J], shape (n,)."""
    network.start(float(course.chamber_c[0]))
    body, start_c = _wall(network)
    return _march(body, [start_c], _Water([]), course).heat_j


def _wall(network: Network) -> tuple[_SlabBody, list[float]]:
    """Return the wall as a body, and its first temperatures."""
    body = _SlabBody(network.wall, network.inside_m2, network)
    return body, network.now.temperature_c[network.first_wall :]


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
    leak = _leak_j(network, course, air_w_per_k)
    given = contents_j + wall_j + air + leak
    # The wire's excess follows the heat it gives off; over a quarter of an hour, free of noise.
    smooth = _slope(course.time_s, given)
    wire = _wire_c(smooth, chamber, network.element_m2)
    return HeatNeeded(given + network.element_j_per_k * (wire - chamber[0]), wire)


def _leak_j(network: Network, course: ChamberCourse, air_w_per_k: float) -> FloatArray:
    return _integral(course.time_s, air_w_per_k * (course.chamber_c - network.room_c))


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
    to_chamber = radiated * chamber_k**2 * chamber_k**2 + H_INSIDE * chamber_k + flux
    kelvin = np.sqrt(np.sqrt((to_chamber - H_INSIDE * chamber_k) / radiated))
    for _ in range(WIRE_REPEATS):
        cubed = radiated * kelvin * kelvin * kelvin
        move = ((cubed + H_INSIDE) * kelvin - to_chamber) / (4.0 * cubed + H_INSIDE)
        kelvin = kelvin - move
        if float(move.max()) < WIRE_CLOSE_K:
            break
    wire: FloatArray = kelvin - KELVIN_AT_0_C
    return wire


Sink = tuple[float, float, float]
"""What a demand takes up [W], the slope of that [W/K], and what earlier steps bring of it [W]."""


def water_sinks(
    demands: Sequence[Demand], brought_w: Sequence[float], expected_c: Sequence[float], a: float
) -> tuple[list[Sink], dict[int, tuple[float, float]]]:
    """Return each demand's sink, linearised about expected temperatures, and their sums by node.

    `brought_w` is what the time formula, whose first weight is `a` [1/s], brings of each demand.
    """
    sinks: list[Sink] = []
    taken: dict[int, tuple[float, float]] = {}
    spent = 1e-5 * a
    for (node, log_rate, theta_k, whole), brought in zip(demands, brought_w, strict=True):
        if brought < spent * whole:
            sinks.append((0.0, 0.0, brought))
            continue
        kelvin = expected_c[node] + KELVIN_AT_0_C
        rate = math.exp(log_rate - theta_k / kelvin)
        left = brought / (a + rate)
        sink = rate * left
        slope = sink * theta_k / (kelvin * kelvin) * a / (a + rate)
        sinks.append((sink, slope, brought))
        if node in taken:
            more, steeper = taken[node]
            taken[node] = more + sink, steeper + slope
        else:
            taken[node] = sink, slope
    return sinks, taken


def water_left_j(
    demands: Sequence[Demand],
    sinks: Sequence[Sink],
    found_c: Sequence[float],
    expected_c: Sequence[float],
    a: float,
) -> list[float]:
    """Return what each demand has still to take up after a step that was just solved [J]."""
    return [
        (brought - sink - slope * (found_c[demand[0]] - expected_c[demand[0]])) / a
        for demand, (sink, slope, brought) in zip(demands, sinks, strict=True)
    ]


class _Water:
    """Heat that water of a body still takes up: first-order laws on the heat that is left."""

    def __init__(self, demands: Sequence[Demand]) -> None:
        self.demands = demands
        self.now = [joules for *_, joules in demands]
        self.before = self.now
        self.whole_j = sum(self.now)
        self.left_j = [self.now]  # at every moment that was settled

    def at(self, place: int) -> _Water:
        """Return the water as it was at a moment, to go on from there another way."""
        water = _Water(self.demands)
        if self.demands:
            water.before, water.now = self.left_j[place - 1 : place + 1]
        return water

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
        self.left_j.append(left_j)
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

    def check(self, temperature_c: list[float]) -> None:
        """Refuse what the material is not known for."""
        self.lump.grid.heat(temperature_c[0])

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

    def check(self, temperature_c: list[float]) -> None:
        """Refuse what a material is not known for."""
        self.slab.eliminate(temperature_c, 0.0, [0.0] * self.slab.size)

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
class _Followed:
    """A body along a course.

    `heat_j` is what it took up since the first moment, with its water and what it passed on.
    """

    body: _Body
    water: _Water
    heat_j: FloatArray
    temperature_c: FloatArray


def _march(
    body: _Body,
    past_c: list[list[float]],
    water: _Water,
    course: ChamberCourse,
    earlier: float | None = None,
) -> _Followed:
    """Follow one body from its first temperatures, or from the last two, a step of time apart."""
    before, now = past_c[0], past_c[-1]
    heat_before, heat_now = body.heat(before), body.heat(now)
    base = sum(heat_now)
    chamber = course.chamber_c.tolist()
    drawn = water.whole_j - sum(water.now)
    total, found_c = [0.0], [now]
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
        total.append(sum(heat) - base + water.settle(found, guess, a) - drawn)
        now, before = found, now
        heat_now, heat_before = heat, heat_now
        earlier = step
        found_c.append(found)
    heat_j, temperature_c = np.array(total), np.array(found_c)
    if isinstance(body, _SlabBody) and body.network is not None:
        heat_j += _integral(course.time_s, _outside(body.network, temperature_c[:, -1])[0])
    return _Followed(body, water, heat_j, temperature_c)


def _outside(network: Network, face_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what the outer face loses to the room [W], and the slope of that [W/K]."""
    above, given = face_c - network.room_c, network.kiln.outside_w_per_m2k
    if given is not None:
        return network.outside_m2 * given * above, np.full_like(above, network.outside_m2 * given)
    kelvin, radiated = face_c + KELVIN_AT_0_C, EMISSIVITY_JACKET * STEFAN_BOLTZMANN
    risen, cubed = H_OUTSIDE * np.cbrt(np.abs(above)), radiated * kelvin * kelvin * kelvin
    lost = risen * above + cubed * kelvin - radiated * (network.room_c + KELVIN_AT_0_C) ** 4
    slope = 4.0 / 3.0 * risen + 4.0 * cubed
    return network.outside_m2 * lost, network.outside_m2 * slope


# -- a whole course at once ------------------------------------------------------------------------


class CourseHeat:
    """What wall, furniture and ware take along a course, to be asked more than once.

    Attributes
    ----------
    network : Network
        The kiln.
    contents_j, wall_j : FloatArray
        As `contents_heat_j` and `wall_heat_j` return them.
    loss_slope_j : FloatArray
        How the heat needed changes with the logarithm of the losses of wall and air alike.
    """

    def __init__(self, network: Network, course: ChamberCourse) -> None:
        network.start(float(course.chamber_c[0]))
        self.network, self._course = network, course
        self._wet, dry = [], []
        for body, start_c, water in _contents(network):
            if water.demands:  # as it dries, temperatures are too crooked for Newton's method
                self._wet.append(_march(body, [start_c], water, course))
            else:
                dry.append((body, start_c))
        bodies = [*dry, _wall(network)]
        nodes = self._nodes = _Nodes(network, [body for body, _ in bodies])
        start = np.concatenate([start_c for _, start_c in bodies])
        base = np.concatenate([body.heat(start_c) for body, start_c in bodies])
        found = _at_once(nodes, start, base, course)
        self._temperature_c = np.concatenate((start[None], found.temperature_c))
        self._heat_j = np.concatenate((base[None], found.heat_j))
        self.contents_j, self.wall_j = nodes.taken_j(course, self._temperature_c, self._heat_j)
        for one in self._wet:
            self.contents_j += one.heat_j
        self.loss_slope_j = _wall_slope_j(nodes, found, course, self._temperature_c[:, -1])
        self.loss_slope_j += _leak_j(network, course, network.leak_w_per_k)

    def onwards(
        self, place: int, courses: Sequence[ChamberCourse]
    ) -> list[tuple[FloatArray, FloatArray]]:
        """Return both along other courses from the moment numbered `place` [J], from there."""
        earlier = float(self._course.time_s[place] - self._course.time_s[place - 1])
        nodes, (before_c, now_c) = self._nodes, self._temperature_c[place - 1 : place + 1]
        steps = _steps(courses, self._heat_j[place - 1 : place + 1], earlier)
        # A first guess: every node goes on following the chamber as it did.
        was_c, is_c = self._course.chamber_c[place - 1 : place + 1].tolist()
        share = np.minimum(np.maximum((now_c - before_c) / (is_c - was_c or 1.0), 0.0), 1.0)
        solved = _newton(nodes, steps, now_c + (steps.chamber_c - is_c)[:, None] * share)
        found, end = [], 0
        for course in courses:
            begin, end = end, end + course.time_s.size - 1
            temperature = np.concatenate((now_c[None], solved.temperature_c[begin:end]))
            heat = np.concatenate((self._heat_j[None, place], solved.heat_j[begin:end]))
            contents_j, wall_j = nodes.taken_j(course, temperature, heat)
            for one in self._wet:
                past_c = [one.temperature_c[at].tolist() for at in (place - 1, place)]
                water = one.water.at(place)
                contents_j += _march(one.body, past_c, water, course, earlier).heat_j
            found.append((contents_j, wall_j))
        return found


CLOSE_C = 12.0
"""Newton's method is done when no temperature moves further [°C]: the next move would be a
hundredth of that."""
MOST_ROUNDS = 12
FEW = 4
"""A wall is solved at every so many moments first."""
WALL_C = 500.0
"""What a wall conducts there is a first guess of how its temperatures fall outwards [°C]."""


def _at_once(
    nodes: _Nodes, start_c: FloatArray, base_j: FloatArray, course: ChamberCourse
) -> _Solved:
    """Solve the equations of `_march` at all moments together."""
    # The guess is rough: what it is off by is found at a few moments first.
    guess, last = nodes.guess(course.chamber_c), course.time_s.size - 1
    few = np.array([*range(0, last, FEW), last])
    rough = ChamberCourse(course.time_s[few], course.chamber_c[few])
    past_j = np.stack((base_j, base_j))
    off = np.zeros((few.size, start_c.size))
    roughly = _newton(nodes, _steps([rough], past_j), guess[few][1:])
    off[1:] = roughly.temperature_c - guess[few][1:]
    after = np.searchsorted(few, np.arange(1, last + 1))
    share = (course.time_s[1:] - rough.time_s[after - 1]) / np.diff(rough.time_s)[after - 1]
    guess[1:] += off[after - 1] + share[:, None] * (off[after] - off[after - 1])
    return _newton(nodes, _steps([course], past_j), guess[1:])


def _wall_slope_j(
    nodes: _Nodes, found: _Solved, course: ChamberCourse, face_c: FloatArray
) -> FloatArray:
    """Return how the wall's heat changes with the logarithm of what it conducts and exchanges."""
    # What flows is in proportion to the factor, and at the answer it is what is stored.
    wall, right = nodes.places[-1], np.zeros_like(found.stored_w)
    right[:, wall] = found.stored_w[:, wall]
    change = found.again(right)[:, wall]
    (more_w, slope), more_j = _outside(nodes.network, face_c), np.zeros_like(course.time_s)
    more_w[1:] += slope[1:] * change[:, -1]
    more_j[1:] = (found.capacity_j_per_k[:, wall] * change).sum(axis=1)
    return more_j + _integral(course.time_s, more_w)


@dataclass(frozen=True, eq=False)
class _Steps:
    """All moments but the first of one course or of several, and the time formula there.

    With heat contents H, a·H + b·(H a step before) + c·(H two before) is stored [W]; `brought_w` is
    what moments before a course bring of it.
    """

    chamber_c: FloatArray
    a: FloatArray
    b: FloatArray
    c: FloatArray
    brought_w: FloatArray

    def stored_w(self, heat_j: FloatArray) -> FloatArray:
        """Return what is stored [W]."""
        stored = self.a * heat_j + self.brought_w
        stored[1:] += self.b[1:] * heat_j[:-1]
        stored[2:] += self.c[2:] * heat_j[:-2]
        return stored


def _steps(
    courses: Sequence[ChamberCourse], past_j: FloatArray, earlier_s: float = np.inf
) -> _Steps:
    """Return the steps of courses that all begin with the second of two known heat contents."""
    weights, brought = [], []
    for course in courses:
        step = np.diff(course.time_s)
        w = step / np.concatenate(([earlier_s], step[:-1]))
        rest = w / (1.0 + w)
        a, b, c = (1.0 + rest) / step, -(1.0 + w) / step, w * rest / step
        brought_w = np.zeros((step.size, past_j.shape[1]))
        brought_w[0] = b[0] * past_j[1] + c[0] * past_j[0]
        brought_w[1:2] = c[1:2, None] * past_j[1]
        b[0] = c[:2] = 0.0
        weights.append((course.chamber_c[1:], a, b, c))
        brought.append(brought_w)
    chamber_c, a, b, c = np.concatenate(weights, axis=1)
    return _Steps(chamber_c, a[:, None], b[:, None], c[:, None], np.concatenate(brought))


@dataclass(frozen=True, eq=False)
class _Solved:
    """The nodes at all moments but the first, and the last round's equations, to be used again."""

    temperature_c: FloatArray
    heat_j: FloatArray
    capacity_j_per_k: FloatArray
    stored_w: FloatArray
    again: Callable[[FloatArray], FloatArray]


def _newton(nodes: _Nodes, steps: _Steps, temperature: FloatArray) -> _Solved:
    """Solve by Newton's method from a guess.

    Ordered by moment, then from the inside outwards, the unknowns' matrix is a narrow band.
    """
    from scipy.linalg import lapack  # slow to import, and only where many courses are followed

    moments, size = temperature.shape
    lower, upper = 2 * size, 1
    middle = lower + upper
    for _ in range(MOST_ROUNDS):
        heat, capacity, flow, here, beyond = nodes.state(temperature)
        inside_w, inside = nodes.inside(temperature, steps.chamber_c)
        outside_w, outside = _outside(nodes.network, temperature[:, -1])
        surplus_w, diagonal = steps.stored_w(heat), steps.a * capacity
        surplus_w[:, :-1] += flow
        surplus_w[:, 1:] -= flow
        surplus_w[:, nodes.faces] -= inside_w
        surplus_w[:, -1] += outside_w
        diagonal[:, :-1] += here
        diagonal[:, 1:] -= beyond
        diagonal[:, nodes.faces] += inside
        diagonal[:, -1] += outside
        band = np.zeros((moments, size, lower + middle + 1))
        band[:, :, middle] = diagonal
        band[:, 1:, middle - 1] = beyond
        band[:, :-1, middle + 1] = -here
        band[:-1, :, middle + size] = steps.b[1:] * capacity[:-1]
        band[:-2, :, middle + lower] = steps.c[2:] * capacity[:-2]
        matrix = band.reshape(-1, lower + middle + 1).T
        factors, swaps, moved, failed = lapack.dgbsv(
            lower, upper, matrix, surplus_w.ravel(), overwrite_ab=True, overwrite_b=True
        )
        move = moved.reshape(moments, size)
        temperature = temperature - move
        if not failed and float(np.abs(move).max()) < CLOSE_C:
            break
    else:
        raise FiringError("its temperatures leap too far for walls and ware to be followed")
    heat = heat - capacity * move
    nodes.check(temperature)

    def again(right: FloatArray) -> FloatArray:
        answer, _ = lapack.dgbtrs(factors, lower, upper, right.ravel(), swaps)
        found: FloatArray = answer.reshape(moments, size)
        return found

    return _Solved(temperature, heat, capacity, steps.stored_w(heat), again)


@cache
def _table(grids: tuple[PropertyGrid, ...]) -> tuple[FloatArray, FloatArray]:
    """Return the rows of several grids side by side, and what finds a temperature's place there.

    Of each grid: its lowest temperature, its rows a degree, its first row and its last.
    """
    counts = np.cumsum([0, *(len(grid.rows) for grid in grids)])
    ends = zip(grids, counts[:-1], counts[1:] - 1, strict=True)
    found = np.array([(grid.low_c, grid.per_c, first, last) for grid, first, last in ends])
    return np.array([row for grid in grids for row in grid.rows]).T.copy(), found


class _Nodes:
    """Bodies' nodes side by side as arrays, to be asked at all moments together; last the wall.

    A node between two layers stands in the arrays twice, once for each.
    """

    def __init__(self, network: Network, bodies: Sequence[_Body]) -> None:
        self.network, self._bodies = network, bodies
        self.places: list[slice] = []
        grids: list[PropertyGrid] = []
        of: list[int] = []  # each entry's node
        volumes: list[float] = []
        openness: list[float] = []  # from each entry to the next
        counts: list[int] = []
        first = 0
        for body in bodies:
            if isinstance(body, _LumpBody):
                spans = [(body.lump.grid, 0, [body.lump.volume_m3], list[float]())]
                size = 1
            else:
                spans = [
                    (span.grid, span.first, span.volumes_m3, span.half_openness_m)
                    for span in body.slab.spans
                ]
                size = body.slab.size
            for grid, begin, here, between in spans:
                grids.append(grid)
                counts.append(len(here))
                of += range(first + begin, first + begin + len(here))
                volumes += here
                openness += [*between, 0.0]
            self.places.append(slice(first, first + size))
            first += size
        self.size = first
        self.faces = np.array([place.start for place in self.places])
        self._area_m2 = np.array(
            [b.lump.area_m2 if isinstance(b, _LumpBody) else b.area_m2 for b in bodies]
        )
        self._rows, found = _table(tuple(grids))
        self._low_c, self._per_c, first_row, last_row = np.repeat(found, counts, axis=0).T
        self._first_row, self._last_row = first_row.astype(np.int64), last_row.astype(np.int64)
        self._volumes, self._openness = np.array(volumes), np.array(openness[:-1])
        self._of = np.array(of)
        self._starts = np.flatnonzero(np.diff(self._of, prepend=-1))
        self._twice = self._starts.size < self._of.size

    def check(self, temperature_c: FloatArray) -> None:
        """Refuse what a material is not known for."""
        for extreme_c in (temperature_c.min(axis=0).tolist(), temperature_c.max(axis=0).tolist()):
            for body, place in zip(self._bodies, self.places, strict=True):
                if not body.knows(extreme_c[place]):
                    body.check(extreme_c[place])

    def taken_j(
        self, course: ChamberCourse, temperature_c: FloatArray, heat_j: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return what all bodies but the wall took up, and the wall with what it passed on [J]."""
        wall, taken = self.places[-1].start, heat_j - heat_j[0]
        out_w, _ = _outside(self.network, temperature_c[:, -1])
        wall_j = taken[:, wall:].sum(axis=1) + _integral(course.time_s, out_w)
        return taken[:, :wall].sum(axis=1), wall_j

    def _at(self, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the entries' temperatures, and their coefficients of conductivity and heat."""
        at = t[:, self._of] if self._twice else t
        place = ((at - self._low_c) * self._per_c).astype(np.int64) + self._first_row
        place = np.minimum(np.maximum(place, self._first_row), self._last_row)
        return at, self._rows.take(place, axis=1)

    def _summed(self, by_entry: FloatArray) -> FloatArray:
        return np.add.reduceat(by_entry, self._starts, axis=1) if self._twice else by_entry

    def guess(self, chamber_c: FloatArray) -> FloatArray:
        """Return first temperatures, (n, nodes): the chamber's, falling through the wall."""
        _, (k0, k1, *_) = self._at(np.full((1, self.size), WALL_C))
        k = (k0 + k1 * WALL_C)[0, :-1]
        begin = int(self._starts[self.places[-1].start])
        depth, open_k = np.zeros(self._of.size), (self._openness * k)[begin:]
        resistance = np.divide(1.0, open_k, out=np.zeros_like(open_k), where=open_k > 0.0)
        depth[begin + 1 :] = np.cumsum(resistance)
        depth = depth[self._starts]
        room_c = self.network.room_c
        share: FloatArray = 1.0 - 0.9 * depth / depth[-1]
        return room_c + (chamber_c[:, None] - room_c) * share

    def state(self, t: FloatArray) -> tuple[FloatArray, ...]:
        """Return the nodes' heat contents and capacities, what flows outwards, its two slopes."""
        at, (k0, k1, c0, c1, h0) = self._at(t)
        slope = c1 * at
        heat = self._volumes * (h0 + at * (c0 + 0.5 * slope))
        capacity = self._volumes * (c0 + slope)
        k = k0 + k1 * at
        open_k = self._openness * (k[:, :-1] + k[:, 1:])
        fall = at[:, :-1] - at[:, 1:]
        opened = self._openness * fall
        flow, here, beyond = (
            open_k * fall, open_k + opened * k1[:, :-1], opened * k1[:, 1:] - open_k
        )  # fmt: skip
        if self._twice:
            between = self._starts[1:] - 1
            flow, here, beyond = flow[:, between], here[:, between], beyond[:, between]
        return self._summed(heat), self._summed(capacity), flow, here, beyond

    def inside(self, t: FloatArray, chamber_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return what the chamber gives the bodies' faces [W], and how it falls with them [W/K]."""
        radiated = EMISSIVITY_INSIDE * STEFAN_BOLTZMANN
        face, chamber = t[:, self.faces] + KELVIN_AT_0_C, chamber_c[:, None] + KELVIN_AT_0_C
        cubed = radiated * face * face * face
        sent = (radiated * chamber * chamber * chamber + H_INSIDE) * chamber
        given = sent - (cubed + H_INSIDE) * face
        return self._area_m2 * given, self._area_m2 * (4.0 * cubed + H_INSIDE)
