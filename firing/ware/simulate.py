"""What a course of temperature does inside the ware: heat, free water, bound water, pressure."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firing.errors import FiringError
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.ware.body import Body, State, body_named
from firing.ware.drying import (
    REFERENCE_C,
    mean_left,
    middle_left,
    moisture_diffusivity,
    vapour_kpa,
)
from firing.ware.limits import HIGHEST_C, LOWEST_C
from firing.ware.load import Load, WareState
from firing.ware.reactions import (
    BURN_OUT_C,
    bound_water_gone,
    late_share,
    reaction_capacity,
    release_per_k,
)
from firing.ware.wall import WallCourse, wall_course

# Below and above this the bound water's pace along a course is told by how fast it was passed.
_REACTION_BEGINS_C, _REACTION_ENDS_C = 450.0, 600.0
_RATES_C_PER_H = (5.0, 300.0)
# Between two points the reactions are summed over steps of at most this.
_STEP_K = 2.0


@dataclass(frozen=True, eq=False)
class WareCourse:
    """The thickest ware along a course.  All arrays have shape (n,).

    Attributes
    ----------
    time_s : ndarray
        Times of the solver's choosing [s], from the first to the last given.
    surface_c, core_c : ndarray
        Face and middle of the wall [°C].
    free_water_share : ndarray
        Free water of the whole wall by dry mass.
    bound_water_gone : ndarray
        Share of the bound water that has left the middle, 0 to 1; 1 for fired ware.
    core_vapour_kpa : ndarray
        Vapour pressure of the free water in the middle [kPa]; see `WareLimits.vapour_kpa`.
    slow_vapour_kpa : ndarray
        The same if the clay dries as slowly as the low end of its moisture diffusivity has it.
    end : WareState
        For going on from here.
    """

    time_s: FloatArray
    surface_c: FloatArray
    core_c: FloatArray
    free_water_share: FloatArray
    bound_water_gone: FloatArray
    core_vapour_kpa: FloatArray
    slow_vapour_kpa: FloatArray
    end: WareState

    @property
    def difference_k(self) -> FloatArray:
        """Face less middle [K]: above 0 while heating."""
        return self.surface_c - self.core_c

    def largest_difference_k(self, low_c: float, high_c: float) -> float:
        """Return the largest difference, either way, while the face is in a window [K]."""
        inside = (self.surface_c >= low_c) & (self.surface_c <= high_c)
        return float(np.max(np.abs(self.difference_k[inside]), initial=0.0))


def simulate_ware(
    load: Load,
    time_s: FloatArray,
    surface_c: FloatArray,
    *,
    body: Body | None = None,
    start: WareState | None = None,
    through_c: Sequence[float] = (),
) -> WareCourse:
    """Follow the thickest ware of a load along a course of temperature.

    The piece with the longest way for heat is followed, or `body` where the clay is none of the
    named ones, from a wall level at the first temperature.  There is a point wherever the face
    passes one of `through_c`.  A course that leaves −40 to 1450 °C is refused.

    Moisture moves by a diffusivity in proportion to the saturation pressure at the middle
    (``drying-rate-inferred``); bound water leaves by first-order kinetics; its heat is added to the
    capacity at the pace the course passes 450 to 600 °C.  From its hottest moment on, raw ware
    conducts like bisque.
    """
    time_s, surface_c = np.asarray(time_s, dtype=float), np.asarray(surface_c, dtype=float)
    _check(time_s, surface_c)
    body = body_named(load.body) if body is None else body
    start = WareState() if start is None else start
    raw = load.has_bound_water
    path_m = load.thickest.heat_path_m
    reacts = raw and not start.bound_water_is_gone
    course = _heat(body, reacts, raw, path_m, time_s, surface_c, through_c)
    face, core = course.temperature_c[:, 0], course.temperature_c[:, -1]

    state: State = "raw" if raw else "bisqued"
    moved = moisture_diffusivity(body, state, core) / load.slowest("water").path_m("water") ** 2
    fourier = start.drying_fourier + _sum(course.time_s, moved)
    core_water = load.water_share * middle_left(fourier)
    slower = body.of("moisture diffusivity", state).spread_at(REFERENCE_C)[0]
    slow_water = load.water_share * middle_left(slower * fourier)
    gone = np.ones_like(core)
    if raw:
        gone = _bound(course.time_s, core, start.bound_water_gone, late_share(body))
    burning = ((core >= BURN_OUT_C[0]) & (core <= BURN_OUT_C[1])).astype(float)
    return WareCourse(
        time_s=course.time_s,
        surface_c=face,
        core_c=core,
        free_water_share=load.water_share * mean_left(fourier),
        bound_water_gone=gone,
        core_vapour_kpa=vapour_kpa(core_water, core),
        slow_vapour_kpa=vapour_kpa(slow_water, core),
        end=WareState(
            drying_fourier=float(fourier[-1]),
            bound_water_gone=float(gone[-1]),
            burn_out_s=start.burn_out_s + float(_sum(course.time_s, burning)[-1]),
        ),
    )


def _check(time_s: FloatArray, surface_c: FloatArray) -> None:
    if time_s.ndim != 1 or time_s.size < 2 or surface_c.shape != time_s.shape:
        raise FiringError(
            "a course of temperature needs two times or more and one temperature for each"
        )
    if not np.all(np.isfinite(time_s)) or np.any(np.diff(time_s) <= 0.0):
        raise FiringError("the times of a course must be finite and rise")
    if not np.all((surface_c >= LOWEST_C) & (surface_c <= HIGHEST_C)):
        raise FiringError(
            f"the ware is known from {LOWEST_C:.0f} to {HIGHEST_C:.0f} °C; give a course inside "
            "that"
        )


def _sum(time_s: FloatArray, per_s: FloatArray) -> FloatArray:
    steps = np.diff(time_s) * 0.5 * (per_s[1:] + per_s[:-1])
    total: FloatArray = np.concatenate(([0.0], np.cumsum(steps)))
    return total


def _bound(time_s: FloatArray, core_c: FloatArray, gone: float, late: float) -> FloatArray:
    """Bound water along a course, summed over steps small enough for the reaction."""
    parts = np.maximum(np.ceil(np.abs(np.diff(core_c)) / _STEP_K).astype(int), 1)
    places = np.concatenate(([0], np.cumsum(parts)))
    at = np.interp(np.arange(places[-1] + 1), places, np.arange(places.size))
    every = np.arange(places.size)
    times, cores = np.interp(at, every, time_s), np.interp(at, every, core_c)
    fine = bound_water_gone(times, cores, gone, late)
    return fine[places]


def _pace_c_per_h(time_s: FloatArray, surface_c: FloatArray) -> float | None:
    """How fast the course passes the reaction; None if it never gets there."""
    above = np.flatnonzero(surface_c > _REACTION_BEGINS_C)
    if above.size == 0 or above[0] == 0:
        return None
    end_c = min(_REACTION_ENDS_C, float(surface_c.max()))
    began = _first_time(time_s, surface_c, _REACTION_BEGINS_C)
    ended = _first_time(time_s, surface_c, end_c)
    rate = (end_c - _REACTION_BEGINS_C) / max(ended - began, 1.0) * SECONDS_PER_HOUR
    return float(np.clip(rate, *_RATES_C_PER_H))


def _first_time(time_s: FloatArray, surface_c: FloatArray, level_c: float) -> float:
    place = int(np.argmax(surface_c >= level_c))
    if place == 0:
        return float(time_s[0])
    before, after = surface_c[place - 1], surface_c[place]
    share = (level_c - before) / (after - before)
    return float(time_s[place - 1] + share * (time_s[place] - time_s[place - 1]))


def _heat(
    body: Body,
    reacts: bool,
    raw: bool,
    path_m: float,
    time_s: FloatArray,
    surface_c: FloatArray,
    through_c: Sequence[float],
) -> WallCourse:
    """Heat the wall: as raw ware up to the hottest moment, as bisque from there on."""
    peak = int(np.argmax(surface_c))
    bounds = [0, time_s.size - 1] if not raw else sorted({0, peak, time_s.size - 1})
    times: list[FloatArray] = []
    temperatures: list[FloatArray] = []
    depths: list[float] | None = None
    for first, last in pairwise(bounds):
        part = slice(first, last + 1)
        rising = raw and last <= peak
        pace = _pace_c_per_h(time_s[part], surface_c[part]) if rising and reacts else None
        run = wall_course(
            path_m,
            time_s[part],
            surface_c[part],
            body.of("diffusivity", "raw" if rising else "bisqued"),
            start_c=depths,
            reaction=None if pace is None else reaction_capacity(body, release_per_k(pace)),
            through_c=through_c,
        )
        skip = 1 if times else 0
        times.append(run.time_s[skip:])
        temperatures.append(run.temperature_c[skip:])
        depths = [float(value) for value in run.temperature_c[-1]]
    return WallCourse(np.concatenate(times), np.concatenate(temperatures))
