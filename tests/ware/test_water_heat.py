"""The heat of water: laws that meet the figures they are tied to."""

import numpy as np
import pytest

from firing.ware.body import body_named
from firing.ware.load import Load, Piece, WareState
from firing.ware.reactions import bound_water_law, demands_of, free_water_law

CUP = Piece("cup", 10, 5.0, 0.3)


def test_half_the_bound_water_is_gone_near_555_at_100_an_hour() -> None:
    # ``kaolinite-rate-inferred``: half gone at 540 to 570 °C for 100 °C/h.
    law = bound_water_law()
    left, at_c = 1.0, 300.0
    while left > 0.5:
        left *= np.exp(-law.per_second(at_c + 0.05) * 0.1 / (100.0 / 3600.0))
        at_c += 0.1
    assert 540.0 <= at_c <= 570.0
    assert at_c == pytest.approx(555.0, abs=0.5)


def test_evaporation_follows_the_saturation_pressure() -> None:
    # ``saturation-pressure``: 70 kPa at 90 °C, 143 at 110, 476 at 150, 1003 at 180.
    law = free_water_law(0.005)
    at_90 = law.per_second(90.0)
    for temperature_c, kpa in ((110.0, 143.0), (150.0, 476.0), (180.0, 1003.0)):
        assert law.per_second(temperature_c) / at_90 == pytest.approx(kpa / 70.0, rel=0.03)


def test_drying_goes_with_the_square_of_the_thickness() -> None:
    # ``drying-diffusivity``: 95 % out in 1.6 h for 10 mm heated from both faces (first mode and
    # more; the first-order law alone takes a tenth longer).
    law = free_water_law(0.005)
    assert np.log(20.0) / law.per_second(90.0) / 3600.0 == pytest.approx(1.6, rel=0.12)
    assert free_water_law(0.010).per_second(90.0) == pytest.approx(law.per_second(90.0) / 4.0)


def test_a_load_takes_up_what_its_water_needs() -> None:
    raw = Load((CUP,), "bone dry", "stoneware")
    free, bound = demands_of(raw, raw.pieces)
    dry_kg = 3.0 / 1.015
    # 2.257 MJ/kg (``steam-tables-memory``) and 80 K of warming; 0.4 MJ a kilogram of clay
    # (``macgee-1926``).
    assert free.joules == pytest.approx(dry_kg * 0.015 * (2.257e6 + 4190 * 80))
    clay = body_named("stoneware").share("clay", "raw")
    assert bound.joules == pytest.approx(dry_kg * clay * 0.4e6)
    assert demands_of(Load((CUP,), "bisqued"), (CUP,)) == ()
    glazed = demands_of(Load((CUP,), "bisqued, freshly glazed"), (CUP,))
    assert len(glazed) == 1


def test_what_a_usual_ramp_leaves_of_the_bound_water() -> None:
    # ``kaolinite-rate-inferred``: half is gone at 555 °C for 100 °C/h.
    law = bound_water_law()
    assert law.left_after_ramp(555.0) == pytest.approx(0.5, abs=0.005)
    assert law.left_after_ramp(20.0) == 1.0
    assert law.left_after_ramp(700.0) < 1e-9


def test_what_a_log_says_of_the_water_scales_with_the_way_it_has_to_go() -> None:
    thick = Piece("planter", 1, 20.0, 1.0)
    load = Load((thick, CUP), "bone dry", "stoneware")
    free, bound = demands_of(load, (thick,))
    thin, _ = demands_of(load, (CUP,))
    # First mode of a drying plate, exp(−π²·Fo/4): half is left after Fo = 4·ln 2/π².  The cup's
    # way is a quarter, its Fourier number sixteen times as large.
    state = WareState(4.0 * np.log(2.0) / np.pi**2, 0.3)
    assert free.left(400.0, state, thick.heat_path_m) == pytest.approx(0.5)
    assert thin.left(400.0, state, thick.heat_path_m) == pytest.approx(0.5**16)
    assert bound.left(400.0, state, thick.heat_path_m) == pytest.approx(0.7)
