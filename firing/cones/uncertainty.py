"""How far a cone figure can be off, and when to say so.

The parts are independent, so they combine in quadrature.
"""

import math
from dataclasses import dataclass, field
from functools import cache

from firing.cones.kinetics import ConeLaw, laws
from firing.errors import FiringError
from firing.serialise import json_fields, rounded
from firing.units import TemperatureUnit, rate_from_celsius

#: The maker's tolerance of one cone, ±2 °C (source ``cone-chart-1996``).  In use, across older
#: series, ±15 to ±25 °C have been seen (Geller & Pressler, J. Am. Ceram. Soc. 9(11), 1926).
CONE_TOLERANCE_C = 2.0

#: The rates the chart prints for self-supporting cones [°C/h].
CHART_RATES_C_PER_H = (15.0, 150.0)

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
    """

    cone_c: float
    law_c: float = field(metadata=rounded(2))
    thermocouple_c: float | None = None

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


def budget(law: ConeLaw, thermocouple_c: float | None = None) -> Budget:
    """Return the budget of one cone.

    The thermocouple's tolerance is that near the end point, ± [°C].
    """
    if thermocouple_c is not None and not 0.0 <= thermocouple_c <= 100.0:
        raise FiringError(
            f"a thermocouple tolerance of {thermocouple_c:g} °C is outside 0 to 100 °C; write the "
            "± figure of its class at the end point, such as 9"
        )
    return Budget(CONE_TOLERANCE_C, law_uncertainty_c(law), thermocouple_c)


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
            "covers, so the figure is the fitted law's extrapolation."
        )
    elif rate_c_per_h < low / _RATE_SLACK:
        found.append(
            f"{rate(rate_c_per_h, 1)} is slower than the {rate(low)} the chart of cones "
            "covers, so the figure is the fitted law's extrapolation."
        )
    elif rate_c_per_h < first / _RATE_SLACK:
        found.append(
            f"The chart gives cone {law.cone} from {rate(first)} only; below, the figure is the "
            "fitted law's extrapolation."
        )
    return found
