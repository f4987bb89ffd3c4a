"""The least-squares fit that turns the chart into one law per cone.

``python -m firing.cones.derive`` rewrites ``firing/data/cone_kinetics.csv``.  Only this module
needs scipy, and nothing imports it at run time.

Two constants a cone against two or three printed figures leave E badly determined, and an exact
fit through three points even gives a negative E for some cones.  Within one composition family of
the maker ln E is therefore drawn towards that of the neighbours; across families it jumps, so they
are fitted apart.
"""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from firing.cones.kinetics import GAS_CONSTANT_J_PER_MOL_K, scaled_e2
from firing.cones.table import CONES, end_points
from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C

RATES_C_PER_H = (15.0, 60.0, 150.0)

#: What 1 °C off the chart weighs in the fit: a step of 0.1 in ln E, 10 %, between neighbours.
SHRINKAGE_LN_E_PER_C = 0.1

_STARTS = {"soft": "022", "low": "010", "intermediate": "1", "high": "13"}
_START_ENERGY_J_PER_MOL = 6e5


@dataclass(frozen=True)
class Constants:
    """What the fit finds for one cone: E [J/mol] and the law's end point at 60 °C/h [K]."""

    energy_j_per_mol: float
    law_60_k: float


def families() -> dict[str, tuple[str, ...]]:
    """Return the maker's composition families: 022-011, 010-01, 1-12 and 13-14."""
    starts = [*(CONES.index(cone) for cone in _STARTS.values()), len(CONES)]
    return {
        family: CONES[starts[index] : starts[index + 1]] for index, family in enumerate(_STARTS)
    }


def printed_c() -> dict[str, dict[float, float]]:
    """Return the self-supporting end points to be fitted [°C], by cone and rate [°C/h]."""
    table: dict[str, dict[float, float]] = {cone: {} for cone in CONES}
    for cell in end_points(type="self_supporting"):
        if cell.quality != "exclude":
            table[cell.cone][cell.heating_rate_c_per_h] = cell.end_point_c
    return table


def law_end_points_k(
    energy_j_per_mol: FloatArray, law_60_k: FloatArray, rate_c_per_h: FloatArray
) -> FloatArray:
    """Return the law's end points [K] of steady ramps; all arguments of one shape (n,)."""
    activation_k = energy_j_per_mol / GAS_CONSTANT_J_PER_MOL_K
    ln_ratio = np.log(rate_c_per_h / 60.0)
    wanted = _ln_integral(activation_k, law_60_k) + ln_ratio
    temperature_k: FloatArray = law_60_k + ln_ratio * law_60_k**2 / activation_k
    for _ in range(8):
        slope = 1.0 / (temperature_k * scaled_e2(activation_k / temperature_k))
        temperature_k = temperature_k - (_ln_integral(activation_k, temperature_k) - wanted) / slope
    return temperature_k


def _ln_integral(activation_k: FloatArray, temperature_k: FloatArray) -> FloatArray:
    z = activation_k / temperature_k
    integral: FloatArray = np.log(temperature_k * scaled_e2(z)) - z
    return integral


def fit(without_rate_c_per_h: float | None = None) -> dict[str, Constants]:
    """Fit every cone, family by family.

    One of the chart's columns may be left out, to see how well the law predicts it.
    """
    found: dict[str, Constants] = {}
    table = printed_c()
    for cones in families().values():
        found |= _fit_family(
            cones,
            [
                (index, rate, end_c + KELVIN_AT_0_C)
                for index, cone in enumerate(cones)
                for rate, end_c in table[cone].items()
                if rate != without_rate_c_per_h
            ],
        )
    return found


def _fit_family(
    cones: tuple[str, ...], cells: list[tuple[int, float, float]]
) -> dict[str, Constants]:
    count = len(cones)
    cone_of_cell = np.array([cell[0] for cell in cells])
    rate = np.array([cell[1] for cell in cells])
    printed_k = np.array([cell[2] for cell in cells])
    draw = np.diff(np.eye(count), axis=0) / SHRINKAGE_LN_E_PER_C

    def residual(constants: FloatArray) -> FloatArray:
        ln_energy, law_60_k = constants[:count], constants[count:]
        predicted_k = law_end_points_k(
            np.exp(ln_energy)[cone_of_cell], law_60_k[cone_of_cell], rate
        )
        return np.concatenate([predicted_k - printed_k, draw @ ln_energy])

    def slopes(constants: FloatArray) -> FloatArray:
        # From F(E, T) = ln(T·S(z)) − z constant on a ramp, S = exp(z)·E₂(z), z = E/(R·T):
        # ∂F/∂T = 1/(T·S) and ∂F/∂ln E = −(1 − S)/S.
        energy, law_60_k = np.exp(constants[:count])[cone_of_cell], constants[count:][cone_of_cell]
        end_k = law_end_points_k(energy, law_60_k, rate)
        s_end = scaled_e2(energy / GAS_CONSTANT_J_PER_MOL_K / end_k)
        s_60 = scaled_e2(energy / GAS_CONSTANT_J_PER_MOL_K / law_60_k)
        matrix = np.zeros((rate.size + count - 1, 2 * count))
        row = np.arange(rate.size)
        matrix[row, cone_of_cell] = end_k * s_end * (1.0 / s_end - 1.0 / s_60)
        matrix[row, count + cone_of_cell] = end_k * s_end / (law_60_k * s_60)
        matrix[rate.size :, :count] = draw
        return matrix

    start_k = [np.mean(printed_k[cone_of_cell == index]) for index in range(count)]
    start = np.concatenate([np.full(count, np.log(_START_ENERGY_J_PER_MOL)), start_k])
    found = least_squares(
        residual, start, jac=slopes, x_scale="jac", xtol=1e-13, ftol=1e-13, gtol=1e-13
    ).x
    return {
        cone: Constants(float(np.exp(found[index])), float(found[count + index]))
        for index, cone in enumerate(cones)
    }


def residuals_c(constants: dict[str, Constants]) -> dict[str, dict[float, float]]:
    """Return printed less fitted end points [°C], by cone and rate [°C/h]."""
    residuals: dict[str, dict[float, float]] = {}
    for cone, cells in printed_c().items():
        rate = np.array(list(cells))
        predicted_k = law_end_points_k(
            np.full(rate.size, constants[cone].energy_j_per_mol),
            np.full(rate.size, constants[cone].law_60_k),
            rate,
        )
        residual_k = np.array(list(cells.values())) + KELVIN_AT_0_C - predicted_k
        residuals[cone] = dict(zip(rate.tolist(), residual_k.tolist(), strict=True))
    return residuals


def ln_energy_se() -> dict[str, float]:
    """Return the standard error of each cone's ln E [1]: the jackknife over the chart's columns.

    No less than the family's rms, as a cone whose three fits happen to agree is no better known.
    """
    left_out = [fit(rate) for rate in RATES_C_PER_H]
    count = len(left_out)
    own = {
        cone: float(
            np.sqrt(count - 1)
            * np.std([np.log(constants[cone].energy_j_per_mol) for constants in left_out])
        )
        for cone in CONES
    }
    rms = {
        cone: float(np.sqrt(np.mean([own[other] ** 2 for other in cones])))
        for cones in families().values()
        for cone in cones
    }
    return {cone: max(own[cone], rms[cone]) for cone in CONES}


def _quality(cone: str) -> str:
    cells = end_points(cone, "self_supporting")
    if any(cell.quality != "good" for cell in cells):
        return "doubtful"
    return "good" if len(cells) == len(RATES_C_PER_H) else "two_rates"


def rows() -> Iterable[dict[str, str]]:
    """Yield the rows of ``cone_kinetics.csv``.

    The constants are rounded first and the residuals taken from the rounded ones, so that the
    file reproduces the printed figures by itself.
    """
    rounded = {
        cone: Constants(round(found.energy_j_per_mol, -1), round(found.law_60_k, 3))
        for cone, found in fit().items()
    }
    errors = ln_energy_se()
    family_of = {cone: family for family, cones in families().items() for cone in cones}
    for cone, by_rate in residuals_c(rounded).items():
        yield {
            "cone": cone,
            "family": family_of[cone],
            "energy_j_per_mol": f"{rounded[cone].energy_j_per_mol:.0f}",
            "law_60_c": f"{rounded[cone].law_60_k - KELVIN_AT_0_C:.3f}",
            **{
                f"residual_{rate:.0f}_c": f"{by_rate[rate]:.7f}" if rate in by_rate else ""
                for rate in RATES_C_PER_H
            },
            "ln_energy_se": f"{errors[cone]:.3f}",
            "quality": _quality(cone),
            "source": "cone-model",
        }


def main() -> None:
    """Rewrite the table of constants in the source tree."""
    path = Path(__file__).parent.parent / "data" / "cone_kinetics.csv"
    table = list(rows())
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(table[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(table)
    print(f"{len(table)} cones written to {path.name}")


if __name__ == "__main__":
    main()
