"""The law behind the table: heat-work as one thermally activated step per cone.

A cone is down when ∫ A·exp(−E/(R·T)) dt = 1 over the whole firing, with T in kelvin.  The two
constants of each self-supporting cone are fitted to its printed end points by
:mod:`firing.cones.derive` (source ``cone-model``).  Such an integral is the usual description of
densification under changing temperature (Su & Johnson, J. Am. Ceram. Soc. 79(12), 1996, cited from
memory; Blaine, Park & German, J. Am. Ceram. Soc. 92(7), 2009).

On a steady ramp from absolute zero the integral has a closed form,
∫ exp(−E/(R·T)) dT = T·E₂(E/(R·T)), with E₂ the generalised exponential integral of order 2.
"""

import csv
import math
from dataclasses import dataclass, replace
from functools import cache, cached_property
from pathlib import Path
from typing import TypeVar

import numpy as np

from firing.cones.table import CONES, EndPoint, end_points, parse_chart_type, parse_cone
from firing.errors import FiringError
from firing.trace import FloatArray
from firing.units import (
    KELVIN_AT_0_C,
    SECONDS_PER_HOUR,
    TemperatureUnit,
    rate_from_celsius,
)

_Number = TypeVar("_Number", float, FloatArray)

GAS_CONSTANT_J_PER_MOL_K = 8.31446261815324  # exact since 2019, BIPM SI brochure, 9th ed.

#: Rates the law answers for [°C/h]; the chart itself covers 15 to 150.
RATE_LIMITS_C_PER_H = (5.0, 400.0)

#: Stands in where a trace does not show how fast a cone was approached [°C/h].
USUAL_RATE_C_PER_H = 60.0

_TERMS = 16  # of the continued fraction: 1e-12 from z = 10
_FEW_TERMS, _FEW_FROM = 6, 25.0  # 1e-12 there; a cone near its end has z > 25
_REFERENCE_RATE_C_PER_H = 60.0


def scaled_e2(z: _Number) -> _Number:
    """Return exp(z)·E₂(z) for z ≥ 5, by the continued fraction DLMF 8.19.17 in its even part.

    Here z is E/(R·T); the relative error is below 1e-7 from z = 5, 1e-12 from 10.
    """
    least = z if isinstance(z, float) else z.min(initial=_FEW_FROM)
    terms = _FEW_TERMS if least >= _FEW_FROM else _TERMS
    tail = z + (2.0 * terms + 2.0)
    for term in range(terms, 0, -1):
        tail = z + (2.0 * term) - term * (term + 1.0) / tail
    return 1.0 / tail


def ramp_integral(
    activation_k: float | FloatArray, ln_a_per_s: float | FloatArray, temperature_c: FloatArray
) -> FloatArray:
    """Return A·T·E₂(E/(R·T)) of one law, or of a column of them; see `ConeLaw.ramp_integral`."""
    temperature_k = np.maximum(temperature_c + KELVIN_AT_0_C, 1.0)
    z: FloatArray = activation_k / temperature_k
    integral: FloatArray = temperature_k * scaled_e2(z) * np.exp(ln_a_per_s - z)
    return integral


@dataclass(frozen=True)
class ConeLaw:
    """The fitted law of one self-supporting cone (source ``cone-model``)."""

    cone: str  # the cone in its printed spelling
    family: str  # the maker's composition family, which neighbours share
    energy_j_per_mol: float  # apparent activation energy E [J/mol]
    law_60_c: float  # where the law alone puts the end point at 60 °C/h [°C]
    # The chart's rates [°C/h], rising, and printed end point less the law's at each [°C].
    rates_c_per_h: tuple[float, ...]
    residuals_c: tuple[float, ...]
    # ``two_rates``: the chart prints no 15 °C/h figure, so nothing checks the fit. ``doubtful``:
    # the printed figures themselves are.
    quality: str
    # Standard error of ln E [1], from fits that leave out one of the chart's columns each.
    ln_energy_se: float = 0.0

    @property
    def activation_k(self) -> float:
        """E/R [K]."""
        return self.energy_j_per_mol / GAS_CONSTANT_J_PER_MOL_K

    @cached_property
    def ln_a_per_s(self) -> float:
        """ln A, A in 1/s, such that the ramp at 60 °C/h ends at `law_60_c`."""
        rate_c_per_s = _REFERENCE_RATE_C_PER_H / SECONDS_PER_HOUR
        return math.log(rate_c_per_s) - self._ln_integral(self.law_60_c)

    @property
    def worst_residual_c(self) -> float:
        """Largest distance between the law and a printed figure of this cone [°C]."""
        return max(abs(residual) for residual in self.residuals_c)

    def _ln_integral(self, temperature_c: float) -> float:
        temperature_k = temperature_c + KELVIN_AT_0_C
        z = self.activation_k / temperature_k
        return math.log(temperature_k * scaled_e2(z)) - z

    def per_second(self, temperature_c: float) -> float:
        """Return the heat-work gained in one second at a temperature [1/s]."""
        return math.exp(self.ln_a_per_s - self.activation_k / (temperature_c + KELVIN_AT_0_C))

    def of_ramp(self, temperature_c: float, rate_c_per_h: float) -> float:
        """Return the heat-work x of a steady ramp from absolute zero to a temperature [1]."""
        rate_c_per_s = rate_c_per_h / SECONDS_PER_HOUR
        return math.exp(self.ln_a_per_s + self._ln_integral(temperature_c)) / rate_c_per_s

    def ramp_integral(self, temperature_c: FloatArray) -> FloatArray:
        """Return A·T·E₂(E/(R·T)), the heat-work of a ramp of 1 K/s up to each temperature.

        What lies below 1 K counts as 1 K.
        """
        return ramp_integral(self.activation_k, self.ln_a_per_s, temperature_c)

    def end_point_c(self, rate_c_per_h: float) -> float:
        """Return where the law alone puts the end point of a steady ramp [°C]."""
        if rate_c_per_h == _REFERENCE_RATE_C_PER_H:
            return self.law_60_c
        return self.ramp_reaching_c(1.0, rate_c_per_h)

    def ramp_reaching_c(self, x: float, rate_c_per_h: float) -> float:
        """Return up to where a steady ramp has gained a heat-work x > 0 [°C].

        Newton's method on ln x, which is nearly a straight line in temperature.
        """
        wanted = math.log(x * rate_c_per_h / SECONDS_PER_HOUR) - self.ln_a_per_s
        activation_k = self.activation_k
        temperature_c = self.law_60_c
        for _ in range(50):
            temperature_k = temperature_c + KELVIN_AT_0_C
            z = activation_k / temperature_k
            per_slope = temperature_k * scaled_e2(z)
            step = (math.log(per_slope) - z - wanted) * per_slope
            temperature_c -= step
            if abs(step) < 1e-10:
                break
        return temperature_c

    def residual_c(self, rate_c_per_h: float) -> float:
        """Return printed less fitted end point at a rate [°C], interpolated in ln rate.

        Beyond the chart's own rates the residual of the nearest one is kept: a residual is known
        only where something is printed.
        """
        return _interpolate_ln(rate_c_per_h, self.rates_c_per_h, self.residuals_c)

    def shift_c(self, rate_c_per_h: float | None) -> float:
        """Return what is added to a trace before the law is asked of it [K].

        So moved, a ramp of the chart brings the cone down exactly at the printed figure.  The rate
        is that at which the trace approached the end point; None where it does not show it.
        """
        return -self.residual_c(USUAL_RATE_C_PER_H if rate_c_per_h is None else rate_c_per_h)

    def steeper(self, rate_c_per_h: float, ln_energy: float) -> tuple["ConeLaw", float]:
        """Return the law with E multiplied by exp(`ln_energy`), and the shift [K] that pins it.

        Moved by the shift, it ends a ramp at that rate where this law does.
        """
        other = replace(self, energy_j_per_mol=self.energy_j_per_mol * math.exp(ln_energy))
        return other, other.end_point_c(rate_c_per_h) - self.end_point_c(rate_c_per_h)


def _interpolate_ln(
    rate_c_per_h: float, rates_c_per_h: tuple[float, ...], values: tuple[float, ...]
) -> float:
    ln_rates = [math.log(rate) for rate in rates_c_per_h]
    return float(np.interp(math.log(rate_c_per_h), ln_rates, values))


@cache
def laws() -> dict[str, ConeLaw]:
    """Return the law of every self-supporting cone, from the coldest to the hottest."""
    path = Path(__file__).parent.parent / "data" / "cone_kinetics.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    rows = {row["cone"]: row for row in csv.DictReader(lines)}
    return {cone: _law(rows[cone]) for cone in CONES}


def _law(row: dict[str, str]) -> ConeLaw:
    rates = [rate for rate in (15, 60, 150) if row[f"residual_{rate}_c"]]
    return ConeLaw(
        cone=row["cone"],
        family=row["family"],
        energy_j_per_mol=float(row["energy_j_per_mol"]),
        law_60_c=float(row["law_60_c"]),
        rates_c_per_h=tuple(float(rate) for rate in rates),
        residuals_c=tuple(float(row[f"residual_{rate}_c"]) for rate in rates),
        quality=row["quality"],
        ln_energy_se=float(row["ln_energy_se"]),
    )


def cone_law(cone: str) -> ConeLaw:
    """Return the law of one self-supporting cone, in any spelling `parse_cone` reads."""
    return laws()[parse_cone(cone)]


def check_rate(rate_c_per_h: float, unit: TemperatureUnit = "C") -> None:
    """Refuse a heating rate the law cannot answer for."""
    low, high = RATE_LIMITS_C_PER_H
    if not low <= rate_c_per_h <= high:
        given, *limits = (rate_from_celsius(r, unit) for r in (rate_c_per_h, low, high, 15, 150))
        raise FiringError(
            f"a heating rate of {given:g} °{unit}/h is outside the {limits[0]:g} to "
            f"{limits[1]:g} °{unit}/h that the cone law answers for; the chart itself covers "
            f"{limits[2]:g} to {limits[3]:g} °{unit}/h"
        )


def end_point_c(
    cone: str, rate_c_per_h: float, type: str = "self-supporting", *, kind: str | None = None
) -> float:
    """Return the end point of a cone heated steadily over its last 100 °C [°C].

    Parameters
    ----------
    cone : str
        Any spelling `parse_cone` reads.
    rate_c_per_h : float
        Heating rate [°C/h].
    type : str
        An earlier name of `kind`, which counts where both are given.
    kind : str, optional
        A type of cone that the chart has: self-supporting (the usual), large, small, iron-free or
        iron-free large, with hyphens, blanks or underscores.  Self-supporting cones follow the
        fitted law corrected by its own residual, so that a printed rate gives the printed figure.
        Every other type is looked up, interpolated in ln rate, and only between its printed rates.

    Returns
    -------
    float
        End point [°C]; source ``cone-chart-1996`` at the printed rates, ``cone-model`` between.

    Raises
    ------
    FiringError
        If there is no such cone or type, if the rate is outside what the law (5 to 400 °C/h) or
        the chart supports, or if the chart's own figure is not to be relied on.

    Examples
    --------
    As printed in the maker's chart:

    >>> import firing as fi
    >>> [round(fi.end_point_c("6", rate), 1) for rate in (15, 60, 150)]
    [1185.0, 1222.0, 1243.0]
    """
    name = parse_cone(cone)
    made_as = parse_chart_type(type if kind is None else kind)
    if made_as == "self_supporting":
        check_rate(rate_c_per_h)
        law = laws()[name]
        return law.end_point_c(rate_c_per_h) + law.residual_c(rate_c_per_h)
    return _looked_up(name, made_as, rate_c_per_h, end_points(name, made_as))


def _looked_up(cone: str, type: str, rate_c_per_h: float, cells: tuple[EndPoint, ...]) -> float:
    words = type.replace("_", " ")
    if not cells:
        raise FiringError(
            f"the chart has no {words} cone {cone}; ask for the self-supporting one, "
            "which exists for every cone"
        )
    if any(cell.quality == "exclude" for cell in cells):
        raise FiringError(
            f"the chart's figures for the {words} cone {cone} are not used "
            f"({cells[0].note}); ask for the self_supporting one"
        )
    rates = tuple(cell.heating_rate_c_per_h for cell in cells)
    if not rates[0] <= rate_c_per_h <= rates[-1]:
        printed = " and ".join(f"{rate:g}" for rate in rates)
        raise FiringError(
            f"the chart gives the {words} cone {cone} at {printed} °C/h only, not at "
            f"{rate_c_per_h:g} °C/h; write a rate it covers or ask for the self_supporting cone"
        )
    return _interpolate_ln(rate_c_per_h, rates, tuple(cell.end_point_c for cell in cells))
