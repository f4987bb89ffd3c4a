"""What a kiln can still do at full power, by its readings alone, where there is no kiln file.

A kilogram of ware, and the wall that goes with it, are led along the course so far.  What both took
at full power is the power; how the pace fell as the wall took more tells how much wall there is.
Then both go on at full power.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firing.heat.conduction import Layer, Slab, cube
from firing.heat.properties import wall_material
from firing.review.resample import moving_mean
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.ware.reactions import specific_heat

STEP_S = 150.0
WALL_MATERIAL, WALL_M, WALL_INTERVALS, WALL_GROWTH = "insulating brick 1260", 0.075, 8, 1.3
CHAMBER_M3 = 0.06
OUTSIDE_W_PER_M2K, LEAK_W_PER_M2K = 12.0, 1.8
"""What the outer face gives off, and what moving air carries off for each square metre inside:
chosen on made firings, no source."""
SPECIFIC_HEAT_C = (40.0, 1100.0)
WALL_M2_PER_KG, WALL_SCATTER = 0.034, 0.45
"""Inner face to a kilogram of ware and furniture, and the scatter of its logarithm: small kilns
have twice as much, large full ones half; chosen on made firings, no source [m²/kg, -]."""
WALLS = np.append(-np.inf, np.linspace(-3.0, 3.0, 61))
WINDOW_S, LEAST_WINDOW_S, LEAST_READINGS = 1200.0, 540.0, 4
POWER_SCATTER, AGE_S = 0.006, 3600.0
"""A window's power is off by such a share, and by as much again for every hour it is old; chosen on
made firings [-, s]."""
WATER_C, WATER_SCATTER = ((0.0, 250.0), (430.0, 660.0)), 0.1
"""Where raw ware gives off its water, and how far off a window's power is there [°C, -]."""
LEAST_CLIMB_C_PER_H = 8.0
NOT_POWER = 13.0
"""Something else than power may set a pace, which no wall changes then: as unlikely as a wall that
is 3.6 scatters off."""
OUTDONE = 1.08
"""A course that needs so many times the power shown had more of it, so that is over."""
MOST_STEPS = 500


@dataclass(frozen=True, eq=False)
class FullPowerClimb:
    """How fast a kiln climbs at full power from where it is on: rates at rising temperatures."""

    at_c: FloatArray
    rate_c_per_h: FloatArray

    def c_per_h(self, temperature_c: FloatArray) -> FloatArray:
        """Return the pace it still has at temperatures [°C/h]."""
        pace = np.interp(temperature_c, self.at_c, self.rate_c_per_h)
        return np.maximum(pace, LEAST_CLIMB_C_PER_H)


class _Wall:
    """The wall of a small chamber, its face following a course."""

    def __init__(self, start_c: float, room_c: float) -> None:
        layer = Layer(wall_material(WALL_MATERIAL), WALL_M, WALL_INTERVALS, WALL_GROWTH)
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
        return d / inside_m2 + LEAK_W_PER_M2K, r / inside_m2 + LEAK_W_PER_M2K * self._room_c

    def settle(self, face_c: float) -> None:
        """Go the step on that was last eliminated, the face at a temperature."""
        self._celsius, self._heat_j = self._slab.solve(min(face_c, self._most_c))


@dataclass(frozen=True, eq=False)
class FullPower:
    """Power [W/kg] by how much wall there is [m²/kg], and how likely that is, each shape (n,)."""

    wall: _Wall
    now_c: float
    wall_m2_per_kg: FloatArray
    power_w_per_kg: FloatArray
    share: FloatArray

    def climb(self, likely: float, to_c: float) -> FullPowerClimb:
        """Return how it climbs on, so `likely` to be this fast or faster."""
        place = int(np.searchsorted(np.cumsum(self.share), likely))
        wall_m2, power_w = float(self.wall_m2_per_kg[place]), float(self.power_w_per_kg[place])
        wall, now_c = copy.copy(self.wall), self.now_c
        at_c, rates = [now_c], [LEAST_CLIMB_C_PER_H]
        while len(at_c) < 2 or (now_c < to_c and len(at_c) < MOST_STEPS):
            d, r = wall.eliminate(STEP_S)
            capacity = _specific_heat(now_c) / STEP_S
            next_c = (power_w + capacity * now_c + wall_m2 * r) / (capacity + wall_m2 * d)
            rate_c_per_h = (next_c - now_c) / STEP_S * SECONDS_PER_HOUR
            at_c.append(0.5 * (now_c + next_c))
            rates.append(rate_c_per_h)
            if rate_c_per_h < LEAST_CLIMB_C_PER_H:
                break
            wall.settle(next_c)
            now_c = next_c
        rates[0] = rates[1]
        return FullPowerClimb(np.maximum.accumulate(at_c), np.array(rates))


def full_power(
    time_s: FloatArray,
    temperature_c: FloatArray,
    stretches: Sequence[tuple[float, float]],
    now_c: float,
    room_c: float,
) -> FullPower | None:
    """Return what stretches of a course at full power have shown; None where that is too little.

    A power that has changed since is that of after the change.
    """
    from firing.watch.refit import present_windows

    count = max(2, math.ceil((time_s[-1] - time_s[0]) / STEP_S) + 1)
    grid_s = np.linspace(time_s[0], time_s[-1], count)
    course_c = np.interp(grid_s, time_s, temperature_c)
    step_s = float(grid_s[1] - grid_s[0])
    wall, flow = _Wall(float(course_c[0]), room_c), [0.0]
    for celsius in course_c[1:].tolist():
        d, r = wall.eliminate(step_s)
        flow.append(d * celsius - r)
        wall.settle(celsius)
    passed = np.array(flow)
    seen = [
        _seen(time_s[inside], temperature_c[inside], float(np.mean(passed[on])))
        for from_s, to_s in _windows(stretches)
        if np.count_nonzero(inside := (time_s >= from_s) & (time_s <= to_s)) >= LEAST_READINGS
        and np.any(on := (grid_s >= from_s) & (grid_s <= to_s))
    ]
    if not seen:
        return None
    middle_s, level_c, kept_w, flow_w_per_m2, error_w = np.array(seen).T
    wall_m2 = WALL_M2_PER_KG * np.exp(WALL_SCATTER * WALLS)
    power = kept_w + wall_m2[:, None] * flow_w_per_m2
    share = POWER_SCATTER * (1.0 + (time_s[-1] - middle_s) / AGE_S)
    share[[_gives_water(celsius) for celsius in level_c]] = WATER_SCATTER
    scatter = np.hypot(error_w, share * power)
    mean, likely = _likely(power, scatter)
    best = int(np.argmax(likely))
    # What was shown before the kiln did more, or before its power changed, is over.
    needed = _needed_w(course_c, passed, step_s, float(wall_m2[best]))
    more = (needed > OUTDONE * mean[best]) & (grid_s > middle_s[0])
    now = middle_s > (grid_s[more][-1] if more.any() else -math.inf)
    if not now.any():
        return None
    now[now] = present_windows(
        power[best, now], np.ones(now.sum()), scatter[best, now], np.ones(now.sum(), np.bool_)
    )
    return FullPower(wall, now_c, wall_m2, *_likely(power[:, now], scatter[:, now]))


def _windows(stretches: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    for begin_s, end_s in stretches:
        count = max(1, round((end_s - begin_s) / WINDOW_S))
        if end_s - begin_s >= count * LEAST_WINDOW_S:
            found += pairwise(np.linspace(begin_s, end_s, count + 1).tolist())
    return found


def _seen(time_s: FloatArray, temperature_c: FloatArray, flow_w_per_m2: float) -> list[float]:
    """Return a window's moment, its °C, what ware and wall took [W/kg, W/m²], and the error."""
    middle_s = float(np.mean(time_s))
    about_s = time_s - middle_s
    slope, level_c = np.polyfit(about_s, temperature_c, 1).tolist()
    left_c = temperature_c - level_c - slope * about_s
    error = math.sqrt(float(left_c @ left_c) / (about_s.size - 2) / float(about_s @ about_s))
    capacity = _specific_heat(level_c)
    return [middle_s, level_c, capacity * slope, flow_w_per_m2, capacity * error]


def _needed_w(
    course_c: FloatArray, passed: FloatArray, step_s: float, wall_m2: float
) -> FloatArray:
    """Return what the course took over the windows about its moments [W/kg], (n,)."""
    half = max(1, round(0.5 * WINDOW_S / step_s))
    needed = np.zeros(course_c.size)
    if course_c.size < 4 * half:
        return needed
    calm_c = moving_mean(moving_mean(course_c, half), half)
    capacity = specific_heat(np.clip(calm_c, *SPECIFIC_HEAT_C))
    inner = slice(half, -half)  # beside the ends a mean is of few readings
    needed[inner] = (capacity * np.gradient(calm_c, step_s) + wall_m2 * moving_mean(passed, half))[
        inner
    ]
    return needed


def _gives_water(celsius: float) -> bool:
    return any(from_c < celsius < to_c for from_c, to_c in WATER_C)


def _likely(power: FloatArray, scatter: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the mean power and how likely each wall is, by its windows' power (walls, windows)."""
    weight = scatter**-2.0
    mean = np.sum(weight * power, axis=1) / np.sum(weight, axis=1)
    off = np.sum(weight * (power - mean[:, None]) ** 2, axis=1) + np.minimum(WALLS**2, NOT_POWER)
    off += np.log(np.sum(weight, axis=1)) + 2.0 * np.sum(np.log(scatter), axis=1)
    share = np.exp(-0.5 * (off - np.min(off)))
    return mean, share / np.sum(share)


def _specific_heat(temperature_c: float) -> float:
    return float(specific_heat(np.clip(temperature_c, *SPECIFIC_HEAT_C)))
