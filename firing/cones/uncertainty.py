"""How far a cone figure can be off, and when to say so.

The parts are independent, so they combine in quadrature.  The steepness E of a cone's law is known
to some ten percent only.  On a ramp of the chart that does not matter, as the law is tied to what
is printed; it does in a hold below the end point, and at rates the chart does not cover: the
further away, the wider.
"""

import math
from dataclasses import dataclass, field
from functools import cache

from firing.cones.kinetics import ConeLaw, laws
from firing.errors import FiringError
from firing.serialise import json_fields, rounded
from firing.units import KELVIN_AT_0_C, TemperatureUnit, rate_from_celsius

#: The maker's tolerance of one cone, ±2 °C (source ``cone-chart-1996``).  In use, across older
#: series, ±15 to ±25 °C have been seen (Geller & Pressler, J. Am. Ceram. Soc. 9(11), 1926).
CONE_TOLERANCE_C = 2.0

#: The rates the chart prints for self-supporting cones [°C/h].
CHART_RATES_C_PER_H = (15.0, 150.0)

#: Standard errors of ln E that a range spans.  It then covers at least 80 % of what the chart
#: prints at the one rate that a fit was not shown (``tests/published/test_cone_coverage.py``).
ENERGY_ERRORS = 2.0

#: How far below its end point a cone may be held [K].  What the chart prints for one cone spans 20
#: to 80 °C from 15 to 150 °C/h; further down nothing supports the law.
FURTHEST_BELOW_K = 80.0

_RATE_SLACK = 1.02  # a measured 150 °C/h is never exactly that


@dataclass(frozen=True)
class Budget:
    """What a cone's end point may be off by, each part ± [°C].

    Attributes
    ----------
    cone_c : float
        The maker's tolerance of a cone.
    law_c : float
        What the fitted law may miss.
    thermocouple_c : float or None
        The thermocouple's tolerance at that temperature, where it is known.
    thermocouple_at_least : bool
        Whether its class promises nothing that hot, so that the tolerance is the least to reckon
        with.
    offset_c : float
        By how much witness cones have shown the thermocouple to read too low [°C]; 0 where none
        have.  It is in the temperatures already and no part of the range.
    """

    cone_c: float
    law_c: float = field(metadata=rounded(2))
    thermocouple_c: float | None = None
    thermocouple_at_least: bool = False
    offset_c: float = 0.0

    @property
    def total_c(self) -> float:
        """The parts in quadrature [°C]."""
        return math.hypot(self.cone_c, self.law_c, self.thermocouple_c or 0.0)

    def to_dict(self) -> dict[str, float | None]:
        """Return the parts and the total, keyed for JSON."""
        return json_fields(self) | {"total_c": round(self.total_c, 2)}


@cache
def _fit_quality_c() -> tuple[float, float]:
    """Return rms and largest residual [°C] of the cones whose fit something checks."""
    residuals = [
        residual for law in laws().values() if law.quality == "good" for residual in law.residuals_c
    ]
    rms = math.sqrt(sum(residual**2 for residual in residuals) / len(residuals))
    return rms, max(abs(residual) for residual in residuals)


def law_uncertainty_c(law: ConeLaw) -> float:
    """Return what the law of one cone may miss, ± [°C].

    Its own largest residual, but no less than the rms of the whole fit, as a cone that happens to
    fit well is no better known than the law.  Where the chart prints only two rates nothing checks
    the fit, and the largest residual of all cones is taken.
    """
    rms, worst = _fit_quality_c()
    return max(law.worst_residual_c, rms if law.quality == "good" else worst)


def beyond_chart_c(
    law: ConeLaw, rate_c_per_h: float, rates_c_per_h: tuple[float, ...] | None = None
) -> float:
    """Return what E leaves open of an end point at a rate the chart does not cover, ± [°C].

    `rates_c_per_h` are those that the figure is tied to, the law's own if left out.
    """
    rates = law.rates_c_per_h if rates_c_per_h is None else rates_c_per_h
    nearest = min(max(rate_c_per_h, rates[0]), rates[-1])
    if nearest == rate_c_per_h:
        return 0.0
    end_k = law.end_point_c(rate_c_per_h) + KELVIN_AT_0_C
    away = abs(math.log(rate_c_per_h / nearest))
    return end_k**2 / law.activation_k * away * ENERGY_ERRORS * law.ln_energy_se


def held_below_c(law: ConeLaw, at_c: float, rate_c_per_h: float, hold_s: float) -> float:
    """Return what E leaves open of a ramp with a hold, ± [°C]; `at_c` is on the law's own scale."""

    def ln_x(one: ConeLaw, temperature_c: float) -> float:
        ramp = one.of_ramp(temperature_c, rate_c_per_h)
        return math.log(ramp + one.per_second(temperature_c) * hold_s)

    if hold_s <= 0.0:
        return 0.0
    slope_per_c = (ln_x(law, at_c + 0.05) - ln_x(law, at_c - 0.05)) / 0.1
    here = ln_x(law, at_c)
    moved = []
    for sign in (-1.0, 1.0):
        other, shift_c = law.steeper(rate_c_per_h, sign * ENERGY_ERRORS * law.ln_energy_se)
        moved.append(abs(ln_x(other, at_c + shift_c) - here))
    return 0.5 * sum(moved) / slope_per_c


def too_far_below(cone: str, below_c: float, unit: TemperatureUnit = "C") -> str:
    """Return the sentence on a cone that got most of its heat-work far below its end point."""
    far, most = (rate_from_celsius(value, unit) for value in (below_c, FURTHEST_BELOW_K))
    return (
        f"The firing peaked {far:.0f} °{unit} below the end point of cone {cone}, and the chart "
        f"supports nothing more than {most:.0f} °{unit} below: put witness cones in."
    )


def budget(
    law: ConeLaw,
    thermocouple_c: float | None = None,
    *,
    energy_c: float = 0.0,
    at_least: bool = False,
    offset_c: float = 0.0,
) -> Budget:
    """Return the budget of one cone.

    The thermocouple's tolerance is that near the end point, ± [°C]; `energy_c` is what E leaves
    open, a part of what the law may miss.
    """
    if thermocouple_c is not None and not 0.0 <= thermocouple_c <= 100.0:
        raise FiringError(
            f"a thermocouple tolerance of {thermocouple_c:g} °C is outside 0 to 100 °C; write the "
            "± figure of its class at the end point, such as 9"
        )
    law_c = math.hypot(law_uncertainty_c(law), energy_c)
    return Budget(CONE_TOLERANCE_C, law_c, thermocouple_c, at_least, offset_c)


def rate_warnings(law: ConeLaw, rate_c_per_h: float, unit: TemperatureUnit = "C") -> list[str]:
    """Return what has to be said about a cone figure at a heating rate, one sentence each."""

    def rate(value_c_per_h: float, digits: int = 0) -> str:
        return f"{rate_from_celsius(value_c_per_h, unit):.{digits}f} °{unit}/h"

    low, high = CHART_RATES_C_PER_H
    found = []
    if law.quality == "doubtful":
        found.append(
            f"The chart's figures for cone {law.cone} are doubtful: only "
            f"{rate_from_celsius(4.0, unit):.0f} °{unit} lie between "
            f"{rate_from_celsius(60.0, unit):.0f} and {rate(150.0)}, so take this cone as a rough "
            "guide."
        )
    first = law.rates_c_per_h[0]
    if rate_c_per_h > high * _RATE_SLACK:
        found.append(
            f"{rate(rate_c_per_h)} is faster than the {rate(high)} the chart of cones "
            "covers, so the figure is the fitted law's extrapolation and its range grows."
        )
    elif rate_c_per_h < low / _RATE_SLACK:
        found.append(
            f"{rate(rate_c_per_h, 1)} is slower than the {rate(low)} the chart of cones "
            "covers, so the figure is the fitted law's extrapolation and its range grows."
        )
    elif rate_c_per_h < first / _RATE_SLACK:
        found.append(
            f"The chart gives cone {law.cone} from {rate(first)} only; below, the figure is the "
            "fitted law's extrapolation and its range grows."
        )
    return found
