"""The law of each cone: closed forms against scipy, and the bars of its fit."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expn

from firing.cones.kinetics import (
    GAS_CONSTANT_J_PER_MOL_K,
    cone_law,
    end_point_c,
    laws,
    scaled_e2,
)
from firing.cones.table import CONES, end_points
from firing.errors import FiringError

FITTED = CONES[CONES.index("019") :]
RATES_C_PER_H = (30.0, 45.0, 60.0, 90.0, 150.0, 250.0, 400.0)


def residuals_c(cones: tuple[str, ...]) -> list[float]:
    """Printed less law at every printed rate, computed from the law rather than read."""
    return [
        cell.end_point_c - cone_law(cell.cone).end_point_c(cell.heating_rate_c_per_h)
        for cell in end_points(type="self_supporting")
        if cell.cone in cones
    ]


def test_exponential_integral_agrees_with_scipy() -> None:
    z = np.concatenate([np.linspace(10.0, 60.0, 101), np.geomspace(60.0, 600.0, 50)])
    np.testing.assert_allclose(scaled_e2(z) * np.exp(-z), expn(2, z), rtol=1e-11)
    assert scaled_e2(5.0) * math.exp(-5.0) == pytest.approx(float(expn(2, 5.0)), rel=1e-7)


@pytest.mark.parametrize("cone", ["022", "014", "06", "6", "14"])
def test_ramp_closed_form_agrees_with_quadrature(cone: str) -> None:
    law = cone_law(cone)
    top_k = law.law_60_c + 273.15

    def per_second(below_k: float) -> float:
        energy = law.energy_j_per_mol / (GAS_CONSTANT_J_PER_MOL_K * (top_k - below_k))
        return math.exp(law.ln_a_per_s - energy)

    parts = [quad(per_second, *ends, epsabs=0.0)[0] for ends in ((0, 30), (30, 200), (200, 500))]
    assert law.of_ramp(law.law_60_c, 60.0) == pytest.approx(sum(parts) * 60.0, rel=1e-9)


def test_end_points_make_the_integral_one() -> None:
    found = {
        (cone, rate): law.of_ramp(law.end_point_c(rate), rate)
        for cone, law in laws().items()
        for rate in RATES_C_PER_H
    }
    assert found == pytest.approx(dict.fromkeys(found, 1.0), rel=1e-9)


def test_residuals_stay_within_the_bars() -> None:
    every = residuals_c(FITTED)
    assert len(every) == 3 * len(FITTED)
    assert max(map(abs, every)) <= 4.0
    assert math.sqrt(sum(residual**2 for residual in every) / len(every)) <= 1.5


def test_the_range_potters_use_most_fits_better() -> None:
    used = CONES[CONES.index("08") : CONES.index("10") + 1]
    assert max(map(abs, residuals_c(used))) <= 3.5


def test_shown_figures_are_the_printed_ones() -> None:
    for cell in end_points(type="self_supporting"):
        shown_c = end_point_c(cell.cone, cell.heating_rate_c_per_h)
        assert shown_c == pytest.approx(cell.end_point_c, abs=1e-6)


@pytest.mark.parametrize("rate", RATES_C_PER_H)
def test_the_order_of_cones_is_kept(rate: float) -> None:
    law_c = [law.end_point_c(rate) for law in laws().values()]
    shown_c = [end_point_c(cone, rate) for cone in CONES]
    assert np.all(np.diff(law_c) > 0.0)
    assert np.all(np.diff(shown_c) > 0.0)


def test_faster_is_hotter() -> None:
    rates_c_per_h = np.geomspace(5.0, 400.0, 60)
    least_step_c = {
        cone: np.diff([end_point_c(cone, rate) for rate in rates_c_per_h]).min() for cone in CONES
    }
    assert {cone: step_c for cone, step_c in least_step_c.items() if not step_c > 0.0} == {}


def test_large_and_small_cones_are_looked_up_between_printed_rates() -> None:
    assert end_point_c("6", 60.0, "large") == 1220.0
    between_c = end_point_c("6", math.sqrt(60.0 * 150.0), "large")
    assert between_c == pytest.approx((1220.0 + 1241.0) / 2.0)  # the middle in ln rate
    assert end_point_c("6", 300.0, "small") == 1255.0


@pytest.mark.parametrize(
    ("cone", "rate", "type", "said"),
    [
        ("6", 30.0, "large", "at 60 and 150 °C/h only"),
        ("6", 200.0, "small", "at 300 °C/h only"),
        ("14", 60.0, "large", "older figure"),
        ("022", 60.0, "large", "no large cone 022"),
        ("6", 60.0, "tiny", "write one of"),
        ("6", 4.9, "self_supporting", "5 to 400 °C/h"),
        ("6", 401.0, "self_supporting", "5 to 400 °C/h"),
        ("6", 0.0, "self_supporting", "5 to 400 °C/h"),
        ("6", math.nan, "self_supporting", "5 to 400 °C/h"),
        ("6", math.nan, "large", "60 and 150 °C/h"),
    ],
)
def test_what_the_chart_does_not_support_is_refused(
    cone: str, rate: float, type: str, said: str
) -> None:
    with pytest.raises(FiringError, match=said):
        end_point_c(cone, rate, type)


def test_cones_with_two_rates_are_flagged() -> None:
    flagged = {law.cone: law.quality for law in laws().values() if law.quality != "good"}
    assert flagged == {"022": "doubtful", "021": "two_rates", "020": "two_rates"}
