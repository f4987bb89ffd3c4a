"""The heat that water takes up when it leaves the ware: free water, and that bound in the clay.

Both are laws of first order, dx/dt = −A·exp(−θ/T)·x, on the heat x still to be taken up.  They
time and size the heat demand of the load; what is safe for the ware is judged elsewhere.

A kiln that begins hot does not begin with all of that heat still to give: what a log says of the
ware counts, and without one the ware is taken to have come there on a usual ramp.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from firing.units import KELVIN_AT_0_C, SECONDS_PER_HOUR
from firing.ware.body import body_named
from firing.ware.load import Load, Piece, WareState

GAS_CONSTANT = 8.314462618  # J/(mol K), exact since the SI of 2019 (source: si-brochure)

# Free water: evaporation, and first its warming by about 80 K; source: steam-tables-memory.
EVAPORATION_J_PER_KG = 2.257e6 + 4190.0 * 80.0
# Saturation pressure as exp(−θ/T): meets 70, 143, 476 and 1003 kPa at 90, 110, 150 and 180 °C
# within 2 %; source: saturation-pressure.
EVAPORATION_K = 4870.0
EVAPORATION_AT_C = 90.0
MOISTURE_DIFFUSIVITY_M2_PER_S = 5e-9  # source: drying-diffusivity

# Bound water; sources: macgee-1926 (251 to 544 kJ a kilogram of clay, the middle),
# kaolinite-kinetics-1987 (222 kJ/mol), kaolinite-rate-inferred (half gone at 540 to 570 °C).
HEAT_OF_REACTION_J_PER_KG = 0.4e6
DEHYDROXYLATION_J_PER_MOL = 222e3
HALF_GONE_C = 555.0
HALF_GONE_C_PER_H = 100.0

# How ware of which nothing is known came to where a program begins; source: ware-rates-practice.
COLD_C = 20.0
USUAL_C_PER_H = 100.0
_RAMP_POINTS = 400


@dataclass(frozen=True, slots=True)
class RateLaw:
    """A rate exp(log_rate − theta_k/T) [1/s], T in kelvin."""

    log_rate: float
    theta_k: float

    def per_second(self, temperature_c: float) -> float:
        """Return the share of what is left that goes in a second, at a temperature [°C]."""
        return math.exp(self.log_rate - self.theta_k / (temperature_c + KELVIN_AT_0_C))

    def left_after_ramp(self, to_c: float) -> float:
        """Return the share that is left after the usual ramp from cold to a temperature [°C]."""
        if to_c <= COLD_C:
            return 1.0
        kelvin = np.linspace(COLD_C, to_c, _RAMP_POINTS) + KELVIN_AT_0_C
        rates = np.exp(self.log_rate - self.theta_k / kelvin)
        spent = float(np.sum(0.5 * np.diff(kelvin) * (rates[1:] + rates[:-1])))
        return math.exp(-spent / (USUAL_C_PER_H / SECONDS_PER_HOUR))


@cache
def bound_water_law() -> RateLaw:
    """Return the law of dehydroxylation.

    Its pre-exponential factor makes half the bound water be gone at `HALF_GONE_C` when heated at
    `HALF_GONE_C_PER_H`; inferred, see ``kaolinite-rate-inferred``.
    """
    theta_k = DEHYDROXYLATION_J_PER_MOL / GAS_CONSTANT
    half_k = HALF_GONE_C + KELVIN_AT_0_C
    kelvin = np.linspace(half_k - 350.0, half_k, 2001)
    # ∫exp(−θ/T)dt up to the half-way temperature must be ln 2 / A.
    rates = np.exp(theta_k * (1.0 / half_k - 1.0 / kelvin))
    steps = np.diff(kelvin) * 0.5 * (rates[1:] + rates[:-1])
    seconds = float(np.sum(steps)) / (HALF_GONE_C_PER_H / SECONDS_PER_HOUR)
    return RateLaw(math.log(math.log(2.0) / seconds) + theta_k / half_k, theta_k)


def free_water_law(heat_path_m: float) -> RateLaw:
    """Return the law by which free water leaves a wall; source ``drying-rate-inferred``."""
    per_second = math.pi**2 * MOISTURE_DIFFUSIVITY_M2_PER_S / (4.0 * heat_path_m**2)
    return RateLaw(
        math.log(per_second) + EVAPORATION_K / (EVAPORATION_AT_C + KELVIN_AT_0_C), EVAPORATION_K
    )


@dataclass(frozen=True, slots=True)
class HeatDemand:
    """Heat that water of a body takes up by a rate law.

    `path_m` is how far that water has to go.
    """

    law: RateLaw
    joules: float
    water: Literal["free", "bound"]
    path_m: float

    def left(self, chamber_c: float, state: WareState | None, thickest_path_m: float) -> float:
        """Return the share of the heat still to be taken up where a kiln begins.

        `state` is how far a firing has brought the thickest ware, None if nobody knows.
        """
        if state is None:
            return self.law.left_after_ramp(chamber_c)
        if self.water == "bound":
            return 1.0 - state.bound_water_gone
        # The Fourier number D·t/L² of a thinner wall is larger for the same time.
        fourier = state.drying_fourier * (thickest_path_m / self.path_m) ** 2
        return math.exp(-0.25 * math.pi**2 * fourier)


def demands_of(load: Load, pieces: tuple[Piece, ...]) -> tuple[HeatDemand, ...]:
    """Return what the water of some pieces of a load takes up.

    The first of the pieces sets the pace of drying.
    """
    dry_kg = sum(piece.total_kg for piece in pieces) / (1.0 + load.water_share)
    found = []
    if load.water_share > 0:
        water_j = dry_kg * load.water_share * EVAPORATION_J_PER_KG
        path_m = 0.001 * max(spot.water_mm for spot in pieces[0].spots)
        found.append(HeatDemand(free_water_law(path_m), water_j, "free", path_m))
    if load.has_bound_water:
        clay_kg = dry_kg * body_named(load.body).share("clay", "raw")
        bound_j = clay_kg * HEAT_OF_REACTION_J_PER_KG
        found.append(HeatDemand(bound_water_law(), bound_j, "bound", pieces[0].heat_path_m))
    return tuple(found)
