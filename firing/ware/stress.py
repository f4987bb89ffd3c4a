"""Thermal stress against strength: the fastest steady rate a wall bears before it cracks."""

from typing import Literal

import numpy as np

from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.ware.body import Body, State

Direction = Literal["heating", "cooling"]

# Where a plate is pulled: the middle while it heats, the faces, twice as hard, while it cools.
# source: plate-stress-memory
SHAPE_FACTOR: dict[Direction, float] = {"heating": 6.0, "cooling": 3.0}


def bearable_rate_c_per_h(
    body: Body, state: State, path_m: float, temperature_c: FloatArray, direction: Direction
) -> FloatArray:
    """Return the steady rate at which thermal stress equals strength [°C/h].

    v = σ(1−µ)λA/(αE r²cρ) (Štubňa 2011, ``stubna-2011``), λ/cρ being the diffusivity and r the way
    heat has to go; the strength is that of a body cut from a large blank (``stubna-strength``).

    Parameters
    ----------
    body, state
        What the wall is made of.
    path_m : float
        Half the wall, or all of it if heated from one face [m].
    temperature_c : ndarray
        [°C].
    direction : {"heating", "cooling"}
        Decides where the wall is pulled.

    Returns
    -------
    ndarray, same shape as `temperature_c`
    """
    temperature_c = np.asarray(temperature_c, dtype=np.float64)
    strength = body.of("strength", state).at(temperature_c)
    excess = body.of("strength excess of laboratory bars", state).value
    poisson = body.of("Poisson ratio", state).value
    stiffness = body.of("expansion", state).value * body.of("modulus", state).at(temperature_c)
    bearable_k = strength / excess * (1.0 - poisson) / stiffness
    diffusivity = body.of("diffusivity", state).at(temperature_c)
    rate: FloatArray = SHAPE_FACTOR[direction] * bearable_k * diffusivity / path_m**2
    return rate * SECONDS_PER_HOUR
