"""What leaves the clay: bound water, carbon that has to burn, and the heat that water takes.

Kinetics of the bound water are those that the heat demand uses: first
order, 222 kJ/mol (``kaolinite-kinetics-1987``), half gone at 555 °C for 100 °C/h
(``kaolinite-rate-inferred``).  Illite in a body gives up part of its water later
(``illite-water-2019``): half of that part is gone at 624 °C.  Both gases have to pass the wall's
pores, which takes a time that goes with the square of the way.

The heat that water takes up when it leaves, free water and that bound in the clay, follows laws of
first order too, dx/dt = −A·exp(−θ/T)·x, on the heat x still to be taken up.  They time and size the
heat demand of the load.  A kiln that begins hot does not begin with all of that heat still to give:
what a log says of the ware counts, and without one it is taken to have come there on a usual ramp.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C, SECONDS_PER_HOUR
from firing.ware.body import Body, body_named
from firing.ware.load import BODY_DENSITY_KG_PER_M3, Load, Piece, WareState

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


BOUND_WATER_C = (400.0, 700.0)  # source: vaughan-1955
STEAM_C = (500.0, 600.0)
"""Where the bound water can be given time: slower below, gone above [°C]."""
LATE_STEAM_C = (610.0, 645.0)
"""Where illite's later water can be given time [°C]."""
BURN_OUT_C = (650.0, 800.0)
"""Where carbon burns as fast as air comes, before sealing begins [°C]; ``burnout-practice``."""

# Range by mass of clay; source: macgee-1926.
HEAT_OF_REACTION_RANGE_J_PER_KG = (251e3, 544e3)
# Rates a wall may have while its bound water leaves; the reaction moves up with the rate.
_RATES_C_PER_H = (1.0, 2.0, 4.0, 7.0, 10.0, 14.0, 20.0, 28.0, 40.0, 56.0, 80.0, 110.0, 150.0)
_REACTION_C = np.arange(350.0, 760.0, 2.0)

# The second stage of illite: 5.37e12 a minute, 242 kJ/mol; source: illite-water-2019.
LATE_LAW = RateLaw(math.log(5.37e12 / 60.0), 242e3 / GAS_CONSTANT)

ATMOSPHERE_PA = 101325.0
OXYGEN_SHARE = 0.21
WATER_KG_PER_MOL = 0.018015
CARBON_KG_PER_MOL = 0.012011


def late_share(body: Body) -> float:
    """Return the share of a body's bound water that leaves in illite's later stage."""
    return body.share("late bound water", "raw")


def release_per_s(temperature_c: FloatArray, law: RateLaw | None = None) -> FloatArray:
    """Return the share of what bound water is left that leaves in a second [1/s]."""
    law = bound_water_law() if law is None else law
    kelvin = np.maximum(np.asarray(temperature_c, dtype=np.float64) + KELVIN_AT_0_C, 1.0)
    rate: FloatArray = np.exp(law.log_rate - law.theta_k / kelvin)
    return rate


def bound_water_gone(
    time_s: FloatArray, temperature_c: FloatArray, gone: float = 0.0, late: float = 0.0
) -> FloatArray:
    """Return how much of the bound water has left along a course, 0 to 1.

    Where the reaction runs, at most a few kelvin a step; `gone` is what had left before, the
    earlier part first, and `late` the share that leaves in illite's later stage.
    """
    early = 1.0 - late
    first = _gone(time_s, temperature_c, min(gone / early, 1.0), bound_water_law())
    if late == 0.0:
        return first
    last = _gone(time_s, temperature_c, max(gone - early, 0.0) / late, LATE_LAW)
    both: FloatArray = early * first + late * last
    return both


def _gone(time_s: FloatArray, temperature_c: FloatArray, gone: float, law: RateLaw) -> FloatArray:
    rate = release_per_s(temperature_c, law)
    # The mean of an exponential between two values is their logarithmic mean.
    ratio = np.log(rate[1:] / rate[:-1])
    level = np.abs(ratio) < 1e-9
    mean = np.where(level, rate[1:], (rate[1:] - rate[:-1]) / np.where(level, 1.0, ratio))
    spent = np.concatenate(([0.0], np.cumsum(mean * np.diff(time_s))))
    left: FloatArray = (1.0 - gone) * np.exp(-spent)
    return 1.0 - left


@cache
def release_per_k(rate_c_per_h: float, late: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Return where on a steady ramp the bound water leaves.

    That is, temperatures of 350 to 758 °C, and the share of all bound water that leaves there a
    kelvin.
    """
    time_s = (_REACTION_C - _REACTION_C[0]) / rate_c_per_h * SECONDS_PER_HOUR
    per_k = np.zeros_like(_REACTION_C)
    for share, law in ((1.0 - late, bound_water_law()), (late, LATE_LAW)):
        if share > 0.0:
            left = 1.0 - _gone(time_s, _REACTION_C, 0.0, law)
            per_k += share * left * release_per_s(_REACTION_C, law)
    return _REACTION_C, per_k / rate_c_per_h * SECONDS_PER_HOUR


def busiest_per_k(slowest_c_per_h: float, late: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Return the most that leaves at each temperature on any ramp from a rate up to 150 °C/h.

    Told as by `release_per_k`.  How much leaves late is hardly known of any clay: the most with
    that share and with none.
    """
    slower = [rate for rate in _RATES_C_PER_H if rate <= slowest_c_per_h]
    first = slower[-1] if slower else _RATES_C_PER_H[0]
    shares = [
        release_per_k(rate, share)[1]
        for rate in _RATES_C_PER_H
        if rate >= first
        for share in {0.0, late}
    ]
    return _REACTION_C, np.max(shares, axis=0)


def specific_heat(temperature_c: FloatArray) -> FloatArray:
    """Return the specific heat of dehydroxylated kaolin [J/(kg K)], 40 to 1100 °C.

    1128 + 0.102·T − 36e6/T², T in kelvin (``michot-2011``).
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + KELVIN_AT_0_C
    heat: FloatArray = 1128.0 + 0.102 * kelvin - 36e6 / kelvin**2
    return heat


def reaction_capacity(
    body: Body, release: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return what the leaving water adds to a raw wall's heat capacity; ``reaction-heat-inferred``.

    Where the water leaves is told by `release_per_k` or `busiest_per_k`; the addition is a multiple
    of the specific heat.
    """
    temperature_c, per_k = release
    joules = HEAT_OF_REACTION_J_PER_KG * body.share("clay", "raw")
    return temperature_c, joules * per_k / specific_heat(temperature_c)


def _mol_per_m3_of_gas(temperature_c: float) -> float:
    return ATMOSPHERE_PA / (GAS_CONSTANT * (temperature_c + KELVIN_AT_0_C))


def steam_escape_s(body: Body, path_m: float) -> float:
    """Return how long the bound water needs to leave without pressure [s].

    n·L²/(2·D·c), ``steam-escape-inferred``: released evenly over that time, its steam in the middle
    of the wall stands one atmosphere above the kiln's air.
    """
    water = body.share("bound water", "raw") * BODY_DENSITY_KG_PER_M3 / WATER_KG_PER_MOL
    middle_c = 0.5 * (STEAM_C[0] + STEAM_C[1])
    diffusivity = body.of("gas diffusivity", "raw").value
    return water * path_m**2 / (2.0 * diffusivity * _mol_per_m3_of_gas(middle_c))


def burn_out_s(body: Body, path_m: float, *, dark: bool = False) -> float:
    """Return how long oxygen needs to burn the carbon through to the middle [s].

    n·L²/(2·D·c), ``shrinking-core-memory``, in air at the middle of `BURN_OUT_C`.  Dark bodies
    stand at the upper end of the range of carbon (``body-make-up-memory``).
    """
    share = body.of("carbon", "raw").high[0] if dark else body.share("carbon", "raw")
    carbon = share * BODY_DENSITY_KG_PER_M3 / CARBON_KG_PER_MOL
    oxygen = OXYGEN_SHARE * _mol_per_m3_of_gas(0.5 * (BURN_OUT_C[0] + BURN_OUT_C[1]))
    diffusivity = body.of("gas diffusivity", "raw").value
    return carbon * path_m**2 / (2.0 * diffusivity * oxygen)
