"""What a kiln can still do at full power, by its readings alone, where there is no kiln file.

A kilogram of ware, and the wall that goes with it, are led along the course so far.  What both took
at full power is the power; how the pace fell as the wall took more tells how much wall there is.
Then both go on at full power.

Until full power is seen a kiln may have more or less than its plan asks for.  What it has done
already it can do; how much less it may have at the top is what the slow end of a range is for.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from firing.heat import default_kiln
from firing.heat.conduction import Layer, Slab, cube
from firing.heat.properties import wall_material
from firing.review.resample import moving_mean
from firing.trace import FloatArray
from firing.units import ROOM_C, SECONDS_PER_HOUR
from firing.ware.reactions import specific_heat

STEP_S = 150.0
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
WINDOW_S, LEAST_WINDOW_S, LEAST_READINGS = 1200.0, 540.0, 4
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


@dataclass(frozen=True, eq=False)
class LedCourse:
    """A course on a grid, and what its wall and ware took up along it.

    `kept_w_per_kg` is the ware's, `flow_w_per_m2` the wall's, both (n,).  `wall` is the wall at its
    end; `calm_w_per_m2` is the flow over the windows about its moments, NaN beside the ends.
    """

    time_s: FloatArray
    flow_w_per_m2: FloatArray
    kept_w_per_kg: FloatArray
    calm_w_per_m2: FloatArray
    wall: _Wall

    @classmethod
    def along(
        cls, time_s: FloatArray, temperature_c: FloatArray, room_c: float, kind: int
    ) -> LedCourse:
        """Lead a wall along a course."""
        count = max(2, math.ceil((time_s[-1] - time_s[0]) / STEP_S) + 1)
        grid_s = np.linspace(time_s[0], time_s[-1], count)
        course_c = np.interp(grid_s, time_s, temperature_c)
        step_s = float(grid_s[1] - grid_s[0])
        wall, flow = _Wall(float(course_c[0]), room_c, WALL_KINDS[kind]), [0.0]
        for celsius in course_c[1:].tolist():
            d, r = wall.eliminate(step_s)
            flow.append(d * celsius - r)
            wall.settle(celsius)
        passed, half = np.array(flow), max(1, round(0.5 * WINDOW_S / step_s))
        kept, calm = np.full(count, math.nan), np.full(count, math.nan)
        if count >= 4 * half:
            inner = slice(half, -half)  # beside the ends a mean is of few readings
            calm_c = moving_mean(moving_mean(course_c, half), half)
            capacity = specific_heat(np.clip(calm_c, *SPECIFIC_HEAT_C))
            kept[inner] = (capacity * np.gradient(calm_c, step_s))[inner]
            calm[inner] = moving_mean(passed, half)[inner]
        return cls(grid_s, passed, kept, calm, wall)

    def needed_w(self, wall_m2: FloatArray) -> FloatArray:
        """Return what the course took with so much wall to a kilogram [W/kg], (walls, n)."""
        needed = self.kept_w_per_kg + wall_m2[:, None] * self.calm_w_per_m2
        return np.asarray(np.nan_to_num(needed, nan=0.0))

    def most_w(self, wall_m2: FloatArray) -> FloatArray:
        """Return the most it took at a time [W/kg], (walls,)."""
        return np.asarray(np.max(self.needed_w(wall_m2), axis=1))


@cache
def _usual_led(kind: int) -> LedCourse:
    """Return the default kiln's course at full power."""
    celsius = np.arange(ROOM_C, USUAL_TOP_C, 10.0)
    hours = np.cumsum(10.0 / default_kiln.full_power_rate_c_per_h(celsius))
    return LedCourse.along(SECONDS_PER_HOUR * hours, celsius, ROOM_C, kind)


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

    def climb(self, likely: float, to_c: float) -> FullPowerClimb:
        """Return how it climbs on, so `likely` to be this fast or faster."""
        place = min(int(np.searchsorted(np.cumsum(self.share), likely)), self.share.size - 1)
        wall_m2, power_w = float(self.wall_m2_per_kg[place]), float(self.power_w_per_kg[place])
        wall, now_c = copy.copy(self.walls[int(self.kind[place])]), self.now_c
        at_c, rates = [now_c], [LEAST_CLIMB_C_PER_H]
        stalls_c = None
        while len(at_c) < 2 or (now_c < to_c and len(at_c) < MOST_STEPS):
            d, r = wall.eliminate(STEP_S)
            capacity = _specific_heat(now_c) / STEP_S
            next_c = (power_w + capacity * now_c + wall_m2 * r) / (capacity + wall_m2 * d)
            rate_c_per_h = (next_c - now_c) / STEP_S * SECONDS_PER_HOUR
            at_c.append(0.5 * (now_c + next_c))
            rates.append(rate_c_per_h)
            if rate_c_per_h < LEAST_CLIMB_C_PER_H:
                stalls_c = next_c
                break
            wall.settle(next_c)
            now_c = next_c
        rates[0] = rates[1]
        return FullPowerClimb(np.maximum.accumulate(at_c), np.array(rates), stalls_c)

    def ranked(self, to_c: float) -> FullPower:
        """Return the same, ranked by how soon each is at a temperature."""
        middle = self.climb(0.5, to_c)
        at_c = np.append(middle.at_c, np.linspace(middle.at_c[-1], to_c, 4)[1:])
        step_s = SECONDS_PER_HOUR * np.diff(at_c) / middle.c_per_h(at_c[1:])
        flow = np.zeros((len(self.walls), step_s.size))
        for one, wall in enumerate(map(copy.copy, self.walls)):
            for place in range(step_s.size):
                d, r = wall.eliminate(max(float(step_s[place]), 1.0))
                flow[one, place] = d * float(at_c[place + 1]) - r
                wall.settle(float(at_c[place + 1]))
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


def led_by_kind(
    time_s: FloatArray, temperature_c: FloatArray, room_c: float
) -> tuple[LedCourse, ...]:
    """Lead each kind of wall along a course."""
    return tuple(
        LedCourse.along(time_s, temperature_c, room_c, kind) for kind in range(len(WALL_KINDS))
    )


def full_power(
    time_s: FloatArray,
    temperature_c: FloatArray,
    stretches: Sequence[tuple[float, float]],
    now_c: float,
    room_c: float,
    to_c: float,
    planned: tuple[LedCourse, ...] = (),
) -> FullPower:
    """Return what a kiln may have, by its plan, by what it did, and by stretches at full power.

    A power that has changed since is that of after the change.
    """
    led = led_by_kind(time_s, temperature_c, room_c)
    wall_m2 = WALL_M2_PER_KG * np.exp(WALL_SCATTER * WALLS)
    by_wall = -0.5 * np.minimum(WALLS**2, NOT_POWER)[:, None]
    shown = _shown(time_s, temperature_c, led, stretches, wall_m2)
    found: list[tuple[FloatArray, ...]] = []
    for kind, one in enumerate(led):
        usual = _usual_led(kind)
        before_w = usual.most_w(wall_m2)
        top_w_per_m2 = float(np.nanmax(usual.calm_w_per_m2))
        if planned and np.isfinite(planned[kind].calm_w_per_m2).any():
            before_w = np.maximum(before_w, PLAN_MARGIN * planned[kind].most_w(wall_m2))
            top_w_per_m2 = float(np.nanmax(planned[kind].calm_w_per_m2))
        before_w = before_w[:, None]
        if shown is None:
            z = np.linspace(-PRIOR_ENDS, PRIOR_ENDS, PRIOR_COUNT)
            power = before_w * np.exp(PRIOR_SCATTER * z)
            # As likely as its error lets it have done what it did.
            least_w = np.maximum(np.max(one.needed_w(wall_m2), axis=1), 1e-3)[:, None]
            did = _normal_share(np.log(power / least_w) / DID_SCATTER)
            log_share = by_wall - 0.5 * z**2 + np.log(np.maximum(did, 1e-12))
        else:
            mean, error, log_fit = (part[:, None] for part in shown[kind])
            z = np.linspace(-SHOWN_ENDS, SHOWN_ENDS, SHOWN_COUNT)
            power = mean + np.hypot(error, SHOWN_SCATTER * mean) * z
            before = np.log(np.maximum(power, 1e-3) / before_w) / PRIOR_SCATTER
            log_share = by_wall + log_fit - 0.5 * z**2
            log_share = log_share - 0.5 * np.minimum(before**2, NOT_POWER)
        walls = np.broadcast_to(wall_m2[:, None], power.shape)
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
    wall_m2: FloatArray,
) -> list[tuple[FloatArray, FloatArray, FloatArray]] | None:
    """Return the power, its error and how well it fits, by wall, of each kind.

    None where too little was seen.
    """
    from firing.watch.refit import present_windows

    grid_s = led[0].time_s
    seen = [
        _seen(time_s[inside], temperature_c[inside], [one.flow_w_per_m2[on].mean() for one in led])
        for from_s, to_s in _windows(stretches)
        if np.count_nonzero(inside := (time_s >= from_s) & (time_s <= to_s)) >= LEAST_READINGS
        and np.any(on := (grid_s >= from_s) & (grid_s <= to_s))
    ]
    if not seen:
        return None
    middle_s, level_c, kept_w, error_w, *flows = np.array(seen).T
    share = POWER_SCATTER * (1.0 + (time_s[-1] - middle_s) / AGE_S)
    wet = np.array([_gives_water(celsius) for celsius in level_c])
    share[wet] = WATER_SCATTER
    kept_w = np.where(wet, WATER_HEAT * kept_w, kept_w)

    def power_w(kind: int) -> FloatArray:
        return np.asarray(kept_w + wall_m2[:, None] * flows[kind])

    power = power_w(0)
    scatter = np.hypot(error_w, share * power)
    mean, _, likely = _likely(power, scatter)
    best = int(np.argmax(likely - 0.5 * np.minimum(WALLS**2, NOT_POWER)))
    # What was shown before the kiln did more, or before its power changed, is over.
    needed = led[0].needed_w(wall_m2[best : best + 1])[0]
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


def _specific_heat(temperature_c: float) -> float:
    return float(specific_heat(np.clip(temperature_c, *SPECIFIC_HEAT_C)))
