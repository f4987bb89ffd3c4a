"""Heat on its way to the middle of a wall: closed forms, and the transient solution beside them.

Distances are the way heat has to go: half a wall heated from both faces, the whole of one heated
from one face.  Diffusivity alone decides, so heat capacity is taken as even, except where a
reaction adds to it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firing.heat.balance import weights
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.ware.body import Property

# Terms that are followed one by one, and depths at which the wall is told.
_MODES = 4
_INTERVALS = 8
# Points of a course are no further apart than this, and lie this far behind a bend, in L²/κ, where
# the stretch that follows is long.
_STEP_K = 3.0
_LONG_S = 1200.0
_TOGETHER_S = 1e-3
_BEHIND_A_BEND = np.array([0.1, 0.25, 0.5, 1.0, 1.5, 2.5])
# A reaction that adds less than this to the heat capacity does not count; behind it the middle, as
# much colder than the face, is still reacting.
_NO_REACTION = 0.01
_REACTION_BEHIND_K = 60.0
_TABLE_C = (-200, 1700)
_MOST_GROWTH = 2.4


def rate_for_lag_c_per_h(
    difference_k: float, path_m: float, diffusivity_m2_per_s: FloatArray
) -> FloatArray:
    """Return the long steady ramp's rate R at which the middle lags by a difference, R·L²/2κ [K].

    Source ``slab-ramp`` (Carslaw and Jaeger, 2nd ed., ch. III).
    """
    return 2.0 * diffusivity_m2_per_s * difference_k / path_m**2 * SECONDS_PER_HOUR


@dataclass(frozen=True, eq=False)
class WallCourse:
    """A wall over time: seconds, the face and the depths [°C] from the face to the middle.

    `temperature_c` has shape (times, depths); its first column is the face, its last the middle.
    """

    time_s: FloatArray
    temperature_c: FloatArray


def wall_course(
    path_m: float,
    time_s: FloatArray,
    surface_c: FloatArray,
    diffusivity: Property,
    *,
    start_c: float | Sequence[float] | None = None,
    reaction: tuple[FloatArray, FloatArray] | None = None,
    through_c: Sequence[float] = (),
) -> WallCourse:
    """Follow a wall whose face has a given temperature; straight between the given times.

    Without a reaction the wall is the series of Carslaw and Jaeger (``slab-ramp``), each term exact
    for a face that is straight in ∫κ dt; κ is that of the face.  Where the face is within reach of
    a reaction the wall is stepped through in finite differences instead, in heat content, so that
    no heat of the reaction is lost between two steps.  The wall begins at `start_c`, one for all
    depths or one each, or as warm as its face.  `reaction` is what a reaction adds to the heat
    capacity, by temperature, as a multiple of it.  The grid is at most 3 K of the face, close
    behind every bend, and at every passage through `through_c`.
    """
    times, faces = _fine(time_s, surface_c, path_m**2 / max(diffusivity.values), through_c)
    kappa = diffusivity.at(faces) / path_m**2
    fourier = 0.5 * (kappa[1:] + kappa[:-1]) * np.diff(times)
    behind = np.zeros(_INTERVALS + 1)
    if start_c is not None:
        behind = faces[0] - np.broadcast_to(np.asarray(start_c, dtype=float), behind.shape)
    rows = np.empty((times.size, _INTERVALS + 1))
    done = 0
    for first, last in _reacting(faces, reaction):
        behind = _by_series(rows, faces, fourier, behind, done, first)
        behind = _by_steps(rows, times, faces, diffusivity, path_m, reaction, behind, first, last)
        done = last
    _by_series(rows, faces, fourier, behind, done, times.size - 1)
    return WallCourse(times, rows)


def _fine(
    time_s: FloatArray, surface_c: FloatArray, scale_s: float, through_c: Sequence[float]
) -> tuple[FloatArray, FloatArray]:
    """Return a course with points between its own, where something may happen between them."""
    steps = np.diff(time_s)
    parts = np.maximum(np.ceil(np.abs(np.diff(surface_c)) / _STEP_K).astype(int), 1)
    places = np.concatenate(([0], np.cumsum(parts)))
    at = np.interp(np.arange(places[-1] + 1), places, np.arange(time_s.size))
    grid = np.interp(at, np.arange(time_s.size), time_s)
    # Behind a bend the lag changes within a few times L²/κ, however long the stretch that follows.
    long = np.flatnonzero(steps > max(3.0 * scale_s, _LONG_S))
    bends = (time_s[long, None] + scale_s * _BEHIND_A_BEND).ravel()
    passing = [grid, bends[bends < time_s[-1]]]
    for level_c in through_c:
        above = surface_c >= level_c
        place = np.flatnonzero(above[:-1] != above[1:])
        share = (level_c - surface_c[place]) / (surface_c[place + 1] - surface_c[place])
        passing.append(time_s[place] + share * steps[place])
    times = np.unique(np.concatenate(passing))
    # What falls together but for rounding is one point.
    times = times[np.concatenate(([True], np.diff(times) > _TOGETHER_S))]
    times[-1] = time_s[-1]
    return times, np.interp(times, time_s, surface_c)


def _reacting(
    faces: FloatArray, reaction: tuple[FloatArray, FloatArray] | None
) -> list[tuple[int, int]]:
    """Return the stretches, first and last point, in which the face is where a reaction runs."""
    if reaction is None:
        return []
    at_c, more = reaction
    running = at_c[more > _NO_REACTION]
    if running.size == 0:
        return []
    low, high = float(running[0]), float(running[-1]) + _REACTION_BEHIND_K
    inside = np.concatenate(([False], (faces > low) & (faces < high), [False]))
    first = np.flatnonzero(~inside[:-1] & inside[1:])
    last = np.flatnonzero(inside[:-1] & ~inside[1:]) - 1
    ends = zip(np.maximum(first - 1, 0).tolist(), last.tolist(), strict=True)
    return [(a, b) for a, b in ends if b > a]


_ODD = 2.0 * np.arange(_MODES) + 1.0
_DECAY = _ODD**2 * math.pi**2 / 4.0
_DEPTHS = np.linspace(0.0, 1.0, _INTERVALS + 1)
# How far each term leaves a depth behind, shape (terms, depths); and what the terms left out add on
# a steady ramp, which they follow at once.
_SHAPES = 4.0 / math.pi / _ODD[:, None] * np.sin(np.outer(_ODD, _DEPTHS) * math.pi / 2.0)
_REST = _DEPTHS - 0.5 * _DEPTHS**2 - (_SHAPES / _DECAY[:, None]).sum(axis=0)
# The terms of what is behind at the start: its Fourier coefficients, by the trapezium rule.
_ANALYSIS = (
    2.0
    / _INTERVALS
    * np.sin(np.outer(_DEPTHS, _ODD) * math.pi / 2.0)
    * np.where((_DEPTHS == 0.0) | (_DEPTHS == 1.0), 0.5, 1.0)[:, None]
    * (math.pi * _ODD / 4.0)
)


def _by_series(
    rows: FloatArray,
    faces: FloatArray,
    fourier: FloatArray,
    behind: FloatArray,
    first: int,
    last: int,
) -> FloatArray:
    """Fill the rows of a stretch by the series; return how far each depth is behind at its end."""
    rows[first] = faces[first] - behind
    if last == first:
        return behind
    part = slice(first, last)
    pace = np.diff(faces[first : last + 1]) / fourier[part]
    kept = np.exp(-np.outer(_DECAY, fourier[part]))
    added = pace * (1.0 - kept) / _DECAY[:, None]
    terms = np.empty_like(kept)
    for number, begun in enumerate((behind @ _ANALYSIS).tolist()):
        now, found = begun, []
        for keeps, adds in zip(kept[number].tolist(), added[number].tolist(), strict=True):
            now = now * keeps + adds
            found.append(now)
        terms[number] = found
    lags = terms.T @ _SHAPES + pace[:, None] * _REST
    rows[first + 1 : last + 1] = faces[first + 1 : last + 1, None] - lags
    ended: FloatArray = lags[-1]
    return ended


def _by_steps(
    rows: FloatArray,
    times: FloatArray,
    faces: FloatArray,
    diffusivity: Property,
    path_m: float,
    reaction: tuple[FloatArray, FloatArray] | None,
    behind: FloatArray,
    first: int,
    last: int,
) -> FloatArray:
    """Fill the rows of a stretch in finite differences; return what is behind at its end.

    Unknown is the temperature, kept is the heat content, tabled every kelvin; steps are by the
    second-order backward formula, linearised about what the last two steps point to.
    """
    table_c = np.arange(_TABLE_C[0], _TABLE_C[1] + 1.0)
    more = np.zeros_like(table_c) if reaction is None else np.interp(table_c, *reaction)
    # Of each kelvin of the table, so that contents and capacity belong together.
    each = 1.0 + 0.5 * (more[1:] + more[:-1])
    capacity: list[float] = each.tolist()
    heat: list[float] = np.concatenate(([0.0], np.cumsum(each))).tolist()
    conduct = (diffusivity.at(table_c) * (_INTERVALS / path_m) ** 2).tolist()
    low, high = _TABLE_C
    inner = range(1, _INTERVALS + 1)

    def heat_of(temperature_c: float) -> float:
        place = int(temperature_c) - low
        return heat[place] + (temperature_c - low - place) * capacity[place]

    now: list[float] = (faces[first] - behind).tolist()
    solved_rows = [now]
    before = earlier = [heat_of(t) for t in now]
    clock, wall = times[first : last + 1].tolist(), faces[first : last + 1].tolist()
    ahead, drop = [0.0] * (_INTERVALS + 1), [0.0] * (_INTERVALS + 1)
    older, step_before = now, None
    for number in range(1, len(clock)):
        step = clock[number] - clock[number - 1]
        grows = 0.0 if step_before is None else step / step_before
        # Much longer steps than the one before are taken by the first-order formula.
        a, b, c = weights(step, None if grows > _MOST_GROWTH else step_before)
        guess = [t + grows * (t - o) for t, o in zip(now, older, strict=True)]
        guess[0] = wall[number]
        if not low + 1 < min(guess) <= max(guess) < high - 1:
            guess = [*guess[:1], *now[1:]]
        ahead[0], drop[0] = 0.0, wall[number]
        left = 0.5 * (conduct[int(guess[0]) - low] + conduct[int(guess[1]) - low])
        for i in inner:
            here = guess[i]
            place = int(here) - low
            if i < _INTERVALS:
                right = 0.5 * (conduct[place] + conduct[int(guess[i + 1]) - low])
                inwards = left
            else:
                right, inwards = 0.0, 2.0 * left
            stored = a * capacity[place]
            held = heat[place] + (here - low - place) * capacity[place]
            source = stored * here - a * held - b * before[i] - c * earlier[i]
            pivot = stored + inwards * (1.0 - ahead[i - 1]) + right
            ahead[i] = right / pivot
            drop[i] = (source + inwards * drop[i - 1]) / pivot
            left = right
        solved = drop[_INTERVALS]
        guess[_INTERVALS] = solved
        for i in range(_INTERVALS - 1, 0, -1):
            solved = drop[i] + ahead[i] * solved
            guess[i] = solved
        earlier, before = before, [heat_of(t) for t in guess]
        older, now, step_before = now, guess, step
        solved_rows.append(guess)
    rows[first : last + 1] = solved_rows
    ended: FloatArray = faces[last] - np.array(now)
    return ended
