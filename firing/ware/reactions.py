"""What leaves the clay by reaction: its bound water, and the carbon that has to burn.

Kinetics of the bound water are those that the heat demand uses (`firing.ware.water_heat`): first
order, 222 kJ/mol (``kaolinite-kinetics-1987``), half gone at 555 °C for 100 °C/h
(``kaolinite-rate-inferred``).  Illite in a body gives up part of its water later
(``illite-water-2019``): half of that part is gone at 624 °C.  Both gases have to pass the wall's
pores, which takes a time that goes with the square of the way.
"""

import math
from functools import cache

import numpy as np

from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C, SECONDS_PER_HOUR
from firing.ware.body import Body
from firing.ware.load import BODY_DENSITY_KG_PER_M3
from firing.ware.water_heat import (
    GAS_CONSTANT,
    HEAT_OF_REACTION_J_PER_KG,
    RateLaw,
    bound_water_law,
)

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
