"""What a kiln can still do at full power, by its readings alone, where there is no kiln file.

Where it is at full power now, its pace goes on falling with temperature as it fell in the last
hours: losses grow, the wall takes up less, and both together go by a straight line.

Elsewhere a kilogram of ware, and the wall that goes with it, are led along the course so far.  What
both took at full power is the power; how the pace fell as the wall took more tells how much wall
there is.  Then both go on at full power.

Until full power is seen a kiln may have more or less than its plan asks for.  What it has done
already it can do; how much less it may have at the top is what the slow end of a range is for.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from itertools import pairwise
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from firing.heat import default_kiln
from firing.heat.conduction import Layer, Slab, cube
from firing.heat.properties import wall_material
from firing.review.resample import moving_mean
from firing.trace import FloatArray
from firing.units import ROOM_C, SECONDS_PER_HOUR
from firing.ware.reactions import specific_heat

STEP_S, LEAST_STEP_S = 150.0, 1.0
WALL_MATERIAL, WALL_INTERVALS, WALL_GROWTH = "insulating brick 1260", 8, 1.3
WALL_KINDS = ((0.075, 1.0), (0.075, 3.0), (0.114, 1.0), (0.114, 2.5))
CHAMBER_M3 = 0.06
OUTSIDE_W_PER_M2K = 12.0
"""Usual bricks on edge or flat, each with little or much carried off by moving air for each square
metre inside; and what the outer face gives off: common practice, no source [m, W/(m² K)]."""
SPECIFIC_HEAT_C = (40.0, 1100.0)
WALL_M2_PER_KG, WALL_SCATTER = 0.034, 0.45
"""Inner face to a kilogram of ware and furniture, and the scatter of its logarithm: small kilns
have twice as much, large full ones half; chosen on made firings, no source [m²/kg, -]."""
WALLS = np.append(-np.inf, np.linspace(-3.0, 3.0, 61))
WALL_M2 = WALL_M2_PER_KG * np.exp(WALL_SCATTER * WALLS)
WINDOW_S, LEAST_WINDOW_S, LEAST_READINGS = 1200.0, 540.0, 4
HALF_WINDOW = round(0.5 * WINDOW_S / STEP_S)
POWER_SCATTER, AGE_S = 0.006, 3600.0
"""A window's power is off by such a share, and by as much again for every hour it is old; chosen on
made firings [-, s]."""
WATER_C, WATER_SCATTER, WATER_HEAT = ((0.0, 250.0), (430.0, 720.0)), 0.15, 1.32
"""Where raw ware gives off its water, its core behind the reading; how far off a window's power is
there, and how many times as much heat the ware takes; chosen on made firings [°C, -, -]."""
LEAST_CLIMB_C_PER_H = 12.0
"""A kiln at full power that climbs more slowly has stalled: its end would be anybody's guess."""
NOT_POWER = 13.0
"""Something else than power may set a pace, which no wall changes then: as unlikely as a wall that
is 3.6 scatters off."""
OUTDONE = 1.08
"""A course that needs so many times the power shown had more of it, so that is over."""
MOST_STEPS = 500
RANK_STEP_S, RANK_STEPS = 600.0, 32
"""Which of two kilns is there first is told by coarser steps [s, -]."""
LEAST_W_PER_KG = 0.3
USUAL_TOP_C = 1200.0
PLAN_MARGIN, PRIOR_SCATTER = 1.0, 0.3
"""Before full power is seen a kiln is taken to have what its plan asks for at the most, or the
default kiln's power if that is more.  The scatter of its logarithm holds worn elements, a low
supply, a heavy load, and kilns with power to spare; common practice, no source [-, -]."""
REACHES_W_PER_KG, REACHES_SCATTER, REACHES_NOT = 5.0, 0.07, 0.003
"""A kiln that was given a plan reaches its top with so much power to spare; how far off that is, as
a share of the power; how likely one does not; chosen on made firings [W/kg, -, -]."""
DID_SCATTER, SHOWN_SCATTER = 0.03, 0.015
"""How far off the power may be that a course took, and that full power showed [-, -]."""
PRIOR_ENDS, PRIOR_COUNT, SHOWN_ENDS, SHOWN_COUNT = 2.6, 14, 1.8, 7
DRY_C = WATER_C[-1][1]
FALL_PER_H, FALL_SCATTER = 0.23, 0.13
"""By how much a pace at full power falls with temperature: the default kiln's above 720 °C; small
kilns lose twice as much, large full ones half; chosen on made firings [(°C/h)/°C]."""
FALL_DRIFT, PACE_SHARE = 0.03, 0.015
"""By how much the fall, and a share by which the pace, is another later; chosen on made firings."""
PACE_MOST_S, PACE_AGE_S, PACE_LEAST_S = 9000.0, 5400.0, 1500.0
COURSE_OFF_C, COURSE_OFF_S, LINE_POINTS = 0.3, 360.0, 33
"""How far a course is off the straight line's, and for how long to one side [°C, s]."""


@dataclass(frozen=True, eq=False)
class FullPowerClimb:
    """How fast a kiln climbs at full power from where it is on: rates at rising temperatures.

    `stalls_c` is where it gets no further; None where it gets as far as asked.
    """

    at_c: FloatArray
    rate_c_per_h: FloatArray
    stalls_c: float | None = None

    def c_per_h(self, temperature_c: FloatArray) -> FloatArray:
        """Return the pace it still has at temperatures [°C/h]."""
        pace = np.interp(temperature_c, self.at_c, self.rate_c_per_h)
        return np.maximum(pace, LEAST_CLIMB_C_PER_H)


@dataclass(frozen=True, eq=False)
class ShownPace:
    """A pace at full power at `at_c`, how much it falls with each degree, and how surely (2, 2)."""

    at_c: float
    pace_c_per_h: float
    fall_per_h: float
    covariance: FloatArray

    def climb(self, likely: float, from_c: float, to_c: float) -> FullPowerClimb:
        """Return how it climbs on, so `likely` to be this fast or faster."""
        middle = self._climb(self.pace_c_per_h, self.fall_per_h, from_c, to_c)
        # Of all that are so fast, the likeliest: time goes by 1/pace², the more with each degree.
        weight = middle.c_per_h(middle.at_c) ** -2.0
        slope = np.array([np.mean(weight), -np.mean(weight * (middle.at_c - self.at_c))])
        step = self.covariance @ slope / math.sqrt(float(slope @ self.covariance @ slope))
        pace, fall = (self.pace_c_per_h, self.fall_per_h) - NormalDist().inv_cdf(likely) * step
        return self._climb(float(pace), float(fall), from_c, to_c)

    def _climb(self, pace: float, fall: float, from_c: float, to_c: float) -> FullPowerClimb:
        at_c = np.linspace(from_c, max(to_c, from_c + 1.0), LINE_POINTS)
        rate = pace - fall * (at_c - self.at_c)
        stalled = at_c[rate < LEAST_CLIMB_C_PER_H]
        return FullPowerClimb(at_c, rate, float(stalled[0]) if stalled.size else None)


def shown_pace(
    time_s: FloatArray, temperature_c: FloatArray, from_s: float, to_s: float
) -> ShownPace | None:
    """Return the pace of a stretch at full power, at its end; None where it shows too little."""
    from_s = max(from_s, to_s - PACE_MOST_S)
    inside = (time_s >= from_s) & (time_s <= to_s) & (temperature_c > DRY_C)
    hours, course_c = (time_s[inside] - to_s) / SECONDS_PER_HOUR, temperature_c[inside]
    count = hours.size
    if count < LEAST_READINGS or hours[-1] - hours[0] < PACE_LEAST_S / SECONDS_PER_HOUR:
        return None
    # T(t) = level + pace·t - fall·∫(T - at) dt: linear in all three, and no reading is derived.
    at_c = float(course_c[-1])
    above = np.cumsum(0.5 * np.diff(hours) * (course_c[1:] + course_c[:-1] - 2.0 * at_c))
    above = np.concatenate(([0.0], above)) - float(above[-1])
    terms = np.stack((np.ones(count), hours, -above))
    weight = np.exp(hours * SECONDS_PER_HOUR / PACE_AGE_S)
    known = np.array([0.0, 0.0, FALL_SCATTER**-2.0])
    alike = max(1.0, COURSE_OFF_S / SECONDS_PER_HOUR * count / (hours[-1] - hours[0]))
    variance = COURSE_OFF_C**2
    for _ in range(2):
        weighted = terms * weight / variance
        covariance = np.linalg.inv(weighted @ terms.T + np.diag(known))
        found = covariance @ (weighted @ course_c + known * FALL_PER_H)
        left_c = course_c - found @ terms
        scatter = float(weight @ left_c**2 / weight.sum()) * count / max(count - 2.5, 1.0)
        variance = scatter + COURSE_OFF_C**2 * alike
    later = np.diag([(PACE_SHARE * found[1]) ** 2, FALL_DRIFT**2])
    unsure = np.asarray(covariance[1:, 1:] + later, dtype=np.float64)
    return ShownPace(at_c, float(found[1]), float(found[2]), unsure)


class _Wall:
    """The wall of a small chamber, its face following a course."""

    def __init__(self, start_c: float, room_c: float, kind: tuple[float, float]) -> None:
        wall_m, self._leak_w_per_m2k = kind
        layer = Layer(wall_material(WALL_MATERIAL), wall_m, WALL_INTERVALS, WALL_GROWTH)
        self._slab = slab = Slab([layer], cube(CHAMBER_M3))
        out_w_per_k = OUTSIDE_W_PER_M2K * slab.outside_m2
        self._outside = out_w_per_k, out_w_per_k * room_c
        self._room_c, self._most_c = room_c, slab.known_c[1] - 1.0
        self._celsius = [start_c] * slab.size
        self._heat_j = slab.heat_j(self._celsius)

    def eliminate(self, step_s: float) -> tuple[float, float]:
        """Return (d, r): a face at T takes up d·T − r over the next step [W/m²]."""
        past_w = [-joules / step_s for joules in self._heat_j]
        d, r = self._slab.eliminate(self._celsius, 1.0 / step_s, past_w, outside=self._outside)
        inside_m2 = self._slab.inside_m2
        leak = self._leak_w_per_m2k
        return d / inside_m2 + leak, r / inside_m2 + leak * self._room_c

    def settle(self, face_c: float) -> None:
        """Go the step on that was last eliminated, the face at a temperature."""
        self._celsius, self._heat_j = self._slab.solve(min(face_c, self._most_c))

    def lead(self, steps: Sequence[tuple[float, float]], taken_j_per_m2: list[float]) -> None:
        """Go steps [s] on to face temperatures [°C]; what it took up is written on."""
        for step_s, face_c in steps:
            d, r = self.eliminate(step_s)
            taken_j_per_m2.append(taken_j_per_m2[-1] + step_s * (d * face_c - r))
            self.settle(face_c)


@dataclass(frozen=True, eq=False)
class LedCourse:
    """A course on a grid, and what its wall and ware took up along it.

    `kept_w_per_kg` is the ware's, `calm_w_per_m2` the wall's over the windows about its moments,
    both (n,) and NaN beside the ends.  `wall` is the wall at its end, and `taken_j_per_m2` what it
    took up since the begin, at `taken_s`.
    """

    time_s: FloatArray
    kept_w_per_kg: FloatArray
    calm_w_per_m2: FloatArray
    taken_s: FloatArray
    taken_j_per_m2: FloatArray
    wall: _Wall

    def flow_w_per_m2(self, from_s: float, to_s: float) -> float:
        """Return the wall's mean flow between two moments [W/m²]."""
        first, last = np.interp((from_s, to_s), self.taken_s, self.taken_j_per_m2).tolist()
        return float(last - first) / (to_s - from_s)

    def needed_w(self, wall_m2: float) -> FloatArray:
        """Return what the course took with so much wall to a kilogram [W/kg], (n,)."""
        return np.nan_to_num(self.kept_w_per_kg + wall_m2 * self.calm_w_per_m2, nan=0.0)

    @cached_property
    def most_w(self) -> FloatArray:
        """The most it took at a time with each of `WALL_M2` [W/kg], (walls,)."""
        known = np.isfinite(self.calm_w_per_m2)
        needed = self.kept_w_per_kg[known] + WALL_M2[:, None] * self.calm_w_per_m2[known]
        return np.asarray(np.max(needed, axis=1, initial=0.0))


class CourseLeader:
    """Leads a wall of each kind along a course that grows, over each step but once."""

    def __init__(self, room_c: float) -> None:
        self._room_c = room_c
        self._begin_s = math.nan
        self._led_c = np.zeros(0)
        self._walls: list[_Wall] = []
        self._taken: list[list[float]] = []

    def along(self, time_s: FloatArray, temperature_c: FloatArray) -> tuple[LedCourse, ...]:
        """Lead each kind to the end of a course; anew from its begin where it is another."""
        begin_s, end_s = float(time_s[0]), float(time_s[-1])
        count = int((end_s - begin_s) // STEP_S) + 1
        grid_s = np.asarray(begin_s + STEP_S * np.arange(count), dtype=np.float64)
        course_c = np.interp(grid_s, time_s, temperature_c)
        led = self._led_c.size
        if (
            begin_s != self._begin_s
            or led > grid_s.size
            or not np.allclose(self._led_c, course_c[:led], rtol=0.0, atol=1e-6)
        ):
            led, first_c = 1, float(course_c[0])
            self._walls = [_Wall(first_c, self._room_c, kind) for kind in WALL_KINDS]
            self._taken = [[0.0] for _ in WALL_KINDS]
        self._begin_s = math.nan  # where one of them fails, all begin anew
        # The last point moves as readings join it: what is beyond the one before is led on a copy.
        sure = max(led, int(np.searchsorted(grid_s, time_s[-2], side="right")))
        steps = [(STEP_S, celsius) for celsius in course_c[led:].tolist()]
        if end_s - grid_s[-1] > LEAST_STEP_S:
            steps.append((end_s - float(grid_s[-1]), float(temperature_c[-1])))
        taken_s = np.append(grid_s, end_s)[: led + len(steps)]
        kept, inner = np.full(grid_s.size, math.nan), slice(HALF_WINDOW, -HALF_WINDOW)
        whole = grid_s.size >= 4 * HALF_WINDOW  # beside the ends a mean is of few readings
        if whole:
            calm_c = moving_mean(moving_mean(course_c, HALF_WINDOW), HALF_WINDOW)
            capacity = specific_heat(np.clip(calm_c, *SPECIFIC_HEAT_C))
            kept[inner] = (capacity * np.gradient(calm_c, STEP_S))[inner]
        found = []
        for wall, taken in zip(self._walls, self._taken, strict=True):
            wall.lead(steps[: sure - led], taken)
            now, so_far = copy.copy(wall), taken.copy()
            now.lead(steps[sure - led :], so_far)
            taken_j = np.array(so_far)
            calm = np.full(grid_s.size, math.nan)
            if whole:
                flow = np.diff(taken_j[: grid_s.size], prepend=0.0) / STEP_S
                calm[inner] = moving_mean(flow, HALF_WINDOW)[inner]
            found.append(LedCourse(grid_s, kept, calm, taken_s, taken_j, now))
        self._begin_s, self._led_c = begin_s, course_c[:sure]
        return tuple(found)


@cache
def _usual_led() -> tuple[LedCourse, ...]:
    """Return the default kiln's course at full power."""
    celsius = np.arange(ROOM_C, USUAL_TOP_C, 10.0)
    hours = np.cumsum(10.0 / default_kiln.full_power_rate_c_per_h(celsius))
    return CourseLeader(ROOM_C).along(SECONDS_PER_HOUR * hours, celsius)


@dataclass(frozen=True, eq=False)
class FullPower:
    """What a kiln may have: power [W/kg], wall [m²/kg] and its kind, and how likely, each (n,).

    The quickest comes first; `shown` tells whether full power was seen.
    """

    walls: tuple[_Wall, ...]
    now_c: float
    kind: npt.NDArray[np.int64]
    wall_m2_per_kg: FloatArray
    power_w_per_kg: FloatArray
    share: FloatArray
    shown: bool

    def climb(self, likely: float, to_c: float, step_s: float = STEP_S) -> FullPowerClimb:
        """Return how it climbs on, so `likely` to be this fast or faster."""
        place = min(int(np.searchsorted(np.cumsum(self.share), likely)), self.share.size - 1)
        wall_m2, power_w = float(self.wall_m2_per_kg[place]), float(self.power_w_per_kg[place])
        wall, now_c = copy.copy(self.walls[int(self.kind[place])]), self.now_c
        at_c, rates = [now_c], [LEAST_CLIMB_C_PER_H]
        stalls_c = None
        while len(at_c) < 2 or (now_c < to_c and len(at_c) < MOST_STEPS):
            d, r = wall.eliminate(step_s)
            capacity = _specific_heat(now_c) / step_s
            next_c = (power_w + capacity * now_c + wall_m2 * r) / (capacity + wall_m2 * d)
            rate_c_per_h = (next_c - now_c) / step_s * SECONDS_PER_HOUR
            at_c.append(0.5 * (now_c + next_c))
            rates.append(rate_c_per_h)
            if rate_c_per_h < LEAST_CLIMB_C_PER_H:
                stalls_c = next_c
                break
            wall.settle(next_c)
            now_c = next_c
        rates[0] = rates[1]
        return FullPowerClimb(np.maximum.accumulate(at_c), np.array(rates), stalls_c)

    def ranked(self, to_c: float, likely: float = 0.5) -> FullPower:
        """Return the same, ranked by how soon each is at a temperature.

        What the walls take up meanwhile is that of the climb so `likely`: those near it are told
        apart best.
        """
        at_c = np.linspace(self.now_c, max(to_c, self.now_c + RANK_STEPS), RANK_STEPS + 1)
        pace = self.climb(likely, to_c, RANK_STEP_S).c_per_h(0.5 * (at_c[1:] + at_c[:-1]))
        step_s = SECONDS_PER_HOUR * np.diff(at_c) / pace
        steps = list(zip(step_s.tolist(), at_c[1:].tolist(), strict=True))
        taken = [[0.0] for _ in self.walls]
        for wall, taken_j in zip(map(copy.copy, self.walls), taken, strict=True):
            wall.lead(steps, taken_j)
        flow = np.diff(taken) / step_s
        heat_j = specific_heat(np.clip(at_c[1:], *SPECIFIC_HEAT_C)) * np.diff(at_c)
        left_w = self.power_w_per_kg[:, None] - self.wall_m2_per_kg[:, None] * flow[self.kind]
        order = np.argsort(np.sum(heat_j / np.maximum(left_w, LEAST_W_PER_KG), axis=1))
        return replace(
            self,
            kind=self.kind[order],
            wall_m2_per_kg=self.wall_m2_per_kg[order],
            power_w_per_kg=self.power_w_per_kg[order],
            share=self.share[order],
        )


def full_power(
    time_s: FloatArray,
    temperature_c: FloatArray,
    stretches: Sequence[tuple[float, float]],
    now_c: float,
    room_c: float,
    to_c: float,
    planned: tuple[LedCourse, ...] = (),
    leader: CourseLeader | None = None,
) -> FullPower:
    """Return what a kiln may have, by its plan, by what it did, and by stretches at full power.

    A power that has changed since is that of after the change.  `leader` has led walls along the
    course before.
    """
    led = (leader or CourseLeader(room_c)).along(time_s, temperature_c)
    by_wall = -0.5 * np.minimum(WALLS**2, NOT_POWER)[:, None]
    shown = _shown(time_s, temperature_c, led, stretches)
    found: list[tuple[FloatArray, ...]] = []
    for kind, (one, usual) in enumerate(zip(led, _usual_led(), strict=True)):
        before_w = usual.most_w
        top_w_per_m2 = float(np.nanmax(usual.calm_w_per_m2))
        if planned and np.isfinite(planned[kind].calm_w_per_m2).any():
            before_w = np.maximum(before_w, PLAN_MARGIN * planned[kind].most_w)
            top_w_per_m2 = float(np.nanmax(planned[kind].calm_w_per_m2))
        before_w = before_w[:, None]
        if shown is None:
            z = np.linspace(-PRIOR_ENDS, PRIOR_ENDS, PRIOR_COUNT)
            power = before_w * np.exp(PRIOR_SCATTER * z)
            # As likely as its error lets it have done what it did.
            least_w = np.maximum(one.most_w, 1e-3)[:, None]
            did = _normal_share(np.log(power / least_w) / DID_SCATTER)
            log_share = by_wall - 0.5 * z**2 + np.log(np.maximum(did, 1e-12))
        else:
            mean, error, log_fit = (part[:, None] for part in shown[kind])
            z = np.linspace(-SHOWN_ENDS, SHOWN_ENDS, SHOWN_COUNT)
            power = mean + np.hypot(error, SHOWN_SCATTER * mean) * z
            before = np.log(np.maximum(power, 1e-3) / before_w) / PRIOR_SCATTER
            log_share = by_wall + log_fit - 0.5 * z**2
            log_share = log_share - 0.5 * np.minimum(before**2, NOT_POWER)
        walls = np.broadcast_to(WALL_M2[:, None], power.shape)
        spare = power - walls * top_w_per_m2
        reaches = _normal_share((spare - REACHES_W_PER_KG) / (REACHES_SCATTER * before_w))
        log_share = log_share + np.log(np.maximum(reaches, REACHES_NOT))
        kinds = np.full(power.shape, kind)
        found.append(tuple(part.ravel() for part in (kinds, walls, power, spare, log_share)))
    kinds, walls, power, spare, log_share = (
        np.concatenate(part) for part in zip(*found, strict=True)
    )
    order = np.argsort(-spare)
    share = np.exp(log_share - np.max(log_share))[order]
    return FullPower(
        tuple(one.wall for one in led), now_c, kinds[order], walls[order], power[order],
        share / np.sum(share), shown is not None,
    ).ranked(to_c)  # fmt: skip


def _shown(
    time_s: FloatArray,
    temperature_c: FloatArray,
    led: tuple[LedCourse, ...],
    stretches: Sequence[tuple[float, float]],
) -> list[tuple[FloatArray, FloatArray, FloatArray]] | None:
    """Return the power, its error and how well it fits, by wall, of each kind.

    None where too little was seen.
    """
    from firing.watch.refit import present_windows

    grid_s = led[0].time_s
    seen = [
        _seen(time_s[on], temperature_c[on], [one.flow_w_per_m2(from_s, to_s) for one in led])
        for from_s, to_s in _windows(stretches)
        if np.count_nonzero(on := (time_s >= from_s) & (time_s <= to_s)) >= LEAST_READINGS
    ]
    if not seen:
        return None
    middle_s, level_c, kept_w, error_w, *flows = np.array(seen).T
    share = POWER_SCATTER * (1.0 + (time_s[-1] - middle_s) / AGE_S)
    wet = np.array([_gives_water(celsius) for celsius in level_c])
    share[wet] = WATER_SCATTER
    kept_w = np.where(wet, WATER_HEAT * kept_w, kept_w)

    def power_w(kind: int) -> FloatArray:
        return np.asarray(kept_w + WALL_M2[:, None] * flows[kind])

    power = power_w(0)
    scatter = np.hypot(error_w, share * power)
    mean, _, likely = _likely(power, scatter)
    best = int(np.argmax(likely - 0.5 * np.minimum(WALLS**2, NOT_POWER)))
    # What was shown before the kiln did more, or before its power changed, is over.
    needed = led[0].needed_w(float(WALL_M2[best]))
    more = (needed > OUTDONE * mean[best]) & (grid_s > middle_s[0])
    now = middle_s > (grid_s[more][-1] if more.any() else -math.inf)
    if not now.any():
        return None
    now[now] = present_windows(
        power[best, now], np.ones(now.sum()), scatter[best, now], np.ones(now.sum(), np.bool_)
    )
    return [
        _likely(power_w(kind)[:, now], np.hypot(error_w, share * power_w(kind))[:, now])
        for kind in range(len(led))
    ]


def _windows(stretches: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    for begin_s, end_s in stretches:
        count = max(1, round((end_s - begin_s) / WINDOW_S))
        if end_s - begin_s >= count * LEAST_WINDOW_S:
            found += pairwise(np.linspace(begin_s, end_s, count + 1).tolist())
    return found


def _seen(time_s: FloatArray, temperature_c: FloatArray, flows: list[float]) -> list[float]:
    """Return a window's moment, its °C, what ware took and its error [W/kg], and walls [W/m²]."""
    middle_s = float(np.mean(time_s))
    about_s = time_s - middle_s
    slope, level_c = np.polyfit(about_s, temperature_c, 1).tolist()
    left_c = temperature_c - level_c - slope * about_s
    error = math.sqrt(float(left_c @ left_c) / (about_s.size - 2) / float(about_s @ about_s))
    capacity = _specific_heat(level_c)
    return [middle_s, level_c, capacity * slope, capacity * error, *flows]


def _gives_water(celsius: float) -> bool:
    return any(from_c < celsius < to_c for from_c, to_c in WATER_C)


def _likely(power: FloatArray, scatter: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the mean power of windows (walls, n), its error, and the log of how well it fits."""
    weight = scatter**-2.0
    total = np.sum(weight, axis=1)
    mean = np.sum(weight * power, axis=1) / total
    off = np.sum(weight * (power - mean[:, None]) ** 2, axis=1)
    off += np.log(total) + 2.0 * np.sum(np.log(scatter), axis=1)
    return mean, total**-0.5, -0.5 * off


def _normal_share(z: FloatArray) -> FloatArray:
    """Return how much of a normal scatter lies below, by the logistic curve that is nearest."""
    return np.asarray(1.0 / (1.0 + np.exp(-1.702 * np.maximum(z, -100.0))))


_HEAT_FROM_C, _HEAT_TO_C = map(int, SPECIFIC_HEAT_C)
_HEAT = specific_heat(np.arange(_HEAT_FROM_C, _HEAT_TO_C + 1.0)).tolist()


def _specific_heat(temperature_c: float) -> float:
    """Return it to the nearest degree, without an array's pains for every step."""
    return float(_HEAT[round(min(max(temperature_c, _HEAT_FROM_C), _HEAT_TO_C)) - _HEAT_FROM_C])
