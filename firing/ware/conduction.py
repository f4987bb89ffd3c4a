"""Heat on its way to the middle of a wall: closed forms, and the transient solution beside them.

Distances are the way heat has to go: half a wall heated from both faces, the whole of one heated
from one face.  Diffusivity alone decides, so heat capacity is taken as even, except where a
reaction adds to it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firing.kiln.boundary import FixedTemperature
from firing.kiln.conduction import Layer, Slab
from firing.kiln.properties import Material, PropertyTable
from firing.kiln.shape import Plane
from firing.kiln.transient import conduct
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.ware.body import Property

_TERMS = 40
# Any even capacity gives the same temperatures; this one keeps the numbers those of clay.
_CAPACITY_J_PER_M3K = 1.9e6
_INTERVALS = 8


def lag_k(rate_c_per_h: float, path_m: float, diffusivity_m2_per_s: float) -> float:
    """Return how far the middle lags on a long steady ramp, R·L²/2κ [K].

    Source ``slab-ramp`` (Carslaw and Jaeger, 2nd ed., ch. III).

    Parameters
    ----------
    rate_c_per_h, path_m, diffusivity_m2_per_s : float
        [°C/h], [m], [m²/s].
    """
    return rate_c_per_h / SECONDS_PER_HOUR * path_m**2 / (2.0 * diffusivity_m2_per_s)


def rate_for_lag_c_per_h(
    difference_k: float, path_m: float, diffusivity_m2_per_s: FloatArray
) -> FloatArray:
    """Return the steady rate at which the middle lags by a difference; the inverse of `lag_k`."""
    return 2.0 * diffusivity_m2_per_s * difference_k / path_m**2 * SECONDS_PER_HOUR


def ramp_lag_share(fourier: FloatArray) -> FloatArray:
    """Return what part of its final lag a ramp has reached after a Fourier number κt/L² [1].

    Carslaw and Jaeger's series, 1 − 32/π³·Σ(−1)ⁿ/(2n+1)³·exp(−(2n+1)²π²Fo/4) (``slab-ramp``).
    """
    odd = 2.0 * np.arange(_TERMS) + 1.0
    signs = (-1.0) ** np.arange(_TERMS) / odd**3
    decay = np.exp(-np.multiply.outer(np.asarray(fourier), odd**2 * math.pi**2 / 4.0))
    share: FloatArray = 1.0 - 32.0 / math.pi**3 * (decay @ signs)
    return share


def equalisation_s(path_m: float, diffusivity_m2_per_s: float, remaining: float = 0.001) -> float:
    """Return how long after a sudden change the middle needs to be as good as level [s].

    First term of the series for a step, 4/π·exp(−π²Fo/4) (Carslaw and Jaeger, ch. III).

    Parameters
    ----------
    path_m, diffusivity_m2_per_s : float
        [m], [m²/s].
    remaining : float
        Part of the difference that may be left, at most a half, where one term suffices.
    """
    fourier = math.log(4.0 / (math.pi * remaining)) * 4.0 / math.pi**2
    return fourier * path_m**2 / diffusivity_m2_per_s


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
) -> WallCourse:
    """Follow a wall whose face has a given temperature; straight between the given times.

    Parameters
    ----------
    path_m : float
        How far heat has to go [m].
    time_s, surface_c : ndarray, shape (n,)
        Times [s], rising, and the face's temperature [°C].
    diffusivity : Property
        [m²/s] by temperature.
    start_c : float or sequence of float, optional
        Temperatures at the start, one for all depths or one each [°C]; the face's unless given.
    reaction : (ndarray, ndarray), optional
        Temperatures [°C], rising, and what a reaction adds there to the heat capacity, as a
        multiple of it [1].

    Returns
    -------
    WallCourse
        At times of the solver's own choosing.

    Raises
    ------
    FiringError
        If a temperature is outside what the tables may be used for.
    """
    began = float(time_s[0])
    duration_s = float(time_s[-1]) - began
    slab = Slab([Layer(_material(diffusivity, reaction), path_m, _INTERVALS)], Plane())
    fastest = max(diffusivity.values)
    # An eighth of the time heat takes inwards follows every bend of the course; a thin wall's lag
    # is too small to need that, a thick one's would make steps that jump over a bend.
    step_s = min(max(path_m**2 / fastest / 8.0, 60.0), 240.0, duration_s / 200.0)
    times, faces = time_s.tolist(), surface_c.tolist()
    face = _Piecewise(times, faces, began)
    run = conduct(
        slab,
        faces[0] if start_c is None else start_c,
        inside=FixedTemperature(face),
        duration_s=duration_s,
        step_s=step_s,
    )
    return WallCourse(run.time_s + began, run.temperature_c)


class _Piecewise:
    """A course straight between points, read at times that only go forward."""

    def __init__(self, times: list[float], values: list[float], offset_s: float) -> None:
        self.times, self.values, self.offset_s, self.place = times, values, offset_s, 0

    def __call__(self, time_s: float) -> float:
        now = time_s + self.offset_s
        last = len(self.times) - 2
        while self.place < last and self.times[self.place + 1] < now:
            self.place += 1
        before, after = self.times[self.place], self.times[self.place + 1]
        share = min((now - before) / (after - before), 1.0)
        return self.values[self.place] * (1.0 - share) + self.values[self.place + 1] * share


def _material(diffusivity: Property, reaction: tuple[FloatArray, FloatArray] | None) -> Material:
    points = tuple(
        (t, value * _CAPACITY_J_PER_M3K)
        for t, value in zip(diffusivity.temperatures_c, diffusivity.values, strict=True)
    )
    if len(points) > 1:
        # Level ends, so that what the solver draws on beyond the table stays at its end value.
        points = ((-40.0, points[0][1]), *points, (points[-1][0] + 50.0, points[-1][1]))
    capacity: tuple[tuple[float, float], ...] = ((20.0, 1.0),)
    if reaction is not None:
        knots = [(float(t), 1.0 + float(more)) for t, more in zip(*reaction, strict=True)]
        capacity = ((-40.0, 1.0), *knots, (1500.0, 1.0))
    return Material(
        "clay wall",
        _CAPACITY_J_PER_M3K,
        PropertyTable("conductivity of the clay wall", "W/(m K)", points),
        PropertyTable("heat capacity of the clay wall", "J/(kg K)", capacity),
    )
