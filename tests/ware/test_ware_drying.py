"""Free water: series, pressures, and when ware is to be dried first."""

import math

import numpy as np
import pytest

from firing.errors import FiringError
from firing.sources import source
from firing.ware.body import body_named
from firing.ware.drying import (
    DRY_SHARE,
    allowed_vapour_kpa,
    drying_advice,
    drying_fourier,
    mean_left,
    middle_left,
    saturation_kpa,
    turned_advice,
    vapour_kpa,
)
from firing.ware.load import BODIES, Dryness, HeatedFrom, Load, Piece
from firing.ware.safe_rates import limits_for


def load(thickness_mm: float, dryness: Dryness, heated_from: HeatedFrom = "both") -> Load:
    return Load((Piece("tile", 12, thickness_mm, 1.1, heated_from),), dryness)


def test_damp_tiles_heated_from_one_side_are_to_be_dried_first() -> None:
    advice = drying_advice(load(30.0, "damp", "one"))
    assert advice is not None
    # 95 % of 1.5 % takes 39 h in a 50 mm wall; 6 % down to the same takes 1.69/1.13 of that, and
    # the way is 30 instead of 25 mm.
    assert advice.at_least_s / 3600.0 == pytest.approx(
        39.2 * 1.691 / 1.129 * (30 / 25) ** 2, rel=0.01
    )
    assert advice.low_s < advice.at_least_s < advice.high_s
    assert advice.both_faces_s == pytest.approx(advice.at_least_s / 4.0)
    for said in ("Dry first", "tile", "85 h", "21 h", "damp", "one face", "bone dry"):
        assert said in advice.message
    assert source(advice.source).id == advice.source
    # The limits carry it, so that no schedule for such a load is called safe.
    assert limits_for(load(30.0, "damp", "one"), purpose="bisque").advice == advice


def test_damp_ware_dries_in_the_kiln_up_to_five_days() -> None:
    # 29 h at 80 to 95 °C for 35 mm, by the 39.2 h of the tiles above: 43 h with the usual margin.
    assert drying_advice(load(35.0, "damp")) is None
    assert drying_advice(load(35.0, "damp"), margin=4.0) is None
    assert drying_advice(load(35.0, "damp"), margin=4.5) is not None
    assert drying_advice(load(60.0, "damp")) is not None


def test_leather_hard_ware_shrinks_before_it_is_hot() -> None:
    # From 18 to 8 % of the dry mass, first term of the series for the mean of a slab; moisture
    # moves in proportion to the saturation pressure (7.38, 19.95, 70.2 kPa at 40, 60, 90 °C).
    fourier = math.log(8.0 / math.pi**2 * 18.0 / 8.0) * 4.0 / math.pi**2
    (gently, _) = [
        d
        for d in limits_for(load(10.0, "leather hard"), purpose="bisque").dwells
        if d.reason in ("shrinkage", "free water")
    ]
    assert gently.window_c[1] <= 60.0
    least_s = fourier * 0.005**2 / (5e-9 * 19.95 / 70.2)
    most_s = fourier * 0.005**2 / (5e-9 * 7.38 / 70.2)
    assert 1.5 * least_s < gently.at_least_s < 1.5 * most_s


@pytest.mark.parametrize("thickness_mm", [45.0, 60.0])
def test_thick_leather_hard_ware_is_dried_first(thickness_mm: float) -> None:
    advice = drying_advice(load(thickness_mm, "leather hard"))
    assert advice is not None
    assert advice.both_faces_s is None
    assert "both faces" in advice.message


def test_the_refusal_says_how_long_air_takes() -> None:
    # 6 to 2 % of the dry mass, 1.5 % being bone dry: first term, at 2.34 of 70.2 kPa (20, 90 °C).
    advice = drying_advice(load(60.0, "damp"))
    assert advice is not None
    fourier = math.log(8.0 / math.pi**2 * 4.5 / 0.5) * 4.0 / math.pi**2
    days = fourier * 0.03**2 / (5e-9 * 2.34 / 70.2) / 86400.0
    assert advice.room_s / 86400.0 == pytest.approx(days, rel=0.01)
    assert f"about {math.ceil(days)} days at room conditions" in advice.message
    assert "0.5 % of its weight in a day" in advice.message


@pytest.mark.parametrize("dryness", ["bone dry", "bisqued", "bisqued, freshly glazed"])
def test_dry_ware_is_finished_in_the_kiln(dryness: Dryness) -> None:
    assert drying_advice(load(60.0, dryness)) is None


def test_wetter_ware_needs_longer() -> None:
    needed = [drying_fourier(share) for share in (DRY_SHARE, 0.001, 0.015, 0.06, 0.18)]
    assert needed[0] == 0.0
    assert needed == sorted(needed)
    assert len(set(needed[1:])) == 4


def test_a_wall_dries_from_whole_to_nothing() -> None:
    fourier = np.linspace(0.0, 6.0, 400)
    for left in (mean_left(fourier), middle_left(fourier)):
        assert left[0] == pytest.approx(1.0, abs=5e-3)
        assert np.all(np.diff(left) <= 1e-12)
        assert left[-1] < 1e-5
    assert np.all(middle_left(fourier) >= mean_left(fourier) - 5e-3)


def test_vapour_over_wet_clay_is_that_of_water_and_less_over_dry_clay() -> None:
    at = np.array([95.0, 110.0])
    assert np.array_equal(vapour_kpa(np.array([0.1, 0.1]), at), saturation_kpa(at))
    # About 1.5 % of moisture at 55 % relative humidity.
    assert vapour_kpa(np.array(0.015), np.array(25.0)) == pytest.approx(
        0.55 * float(saturation_kpa(np.array(25.0))), rel=0.02
    )


@pytest.mark.parametrize("temperature_c", [-0.1, 374.0])
def test_there_is_no_saturation_pressure_of_ice_or_beyond_the_critical_point(
    temperature_c: float,
) -> None:
    with pytest.raises(FiringError, match=r"0 to 373\.9"):
        saturation_kpa(np.array(temperature_c))


def test_raw_clay_may_hold_about_one_atmosphere_of_vapour() -> None:
    # A tenth of 3 MPa, a third of which a body cut from a large blank has.
    assert allowed_vapour_kpa(body_named("stoneware"), "raw") == pytest.approx(100.0)
    for name in BODIES:
        body = body_named(name)
        assert allowed_vapour_kpa(body, "bisqued") > allowed_vapour_kpa(body, "raw")


def test_thick_ware_wet_from_its_glaze_coat_is_dried_first() -> None:
    # 5 to 0.25 % of the dry mass, at 5e-9 m²/s in 60 mm from one face, half as much again: 169 h.
    told = turned_advice(load(60.0, "bisqued, freshly glazed", "one"), 1.5)
    assert told.startswith("Dry first: the fresh glaze coat")
    assert "for 169 h" in told
    assert 'write dryness = "bisqued"' in told
    assert turned_advice(load(20.0, "bisqued, freshly glazed"), 1.5) == ""


def test_dry_ware_on_a_shelf_is_turned_first() -> None:
    # 1.13·L²/D with 5e-9 m²/s in 60 mm from one face, half as much again: 339 h, a quarter turned.
    told = turned_advice(load(60.0, "bone dry", "one"), 1.5)
    assert told.startswith("Turn it first: ")
    assert "339 h" in told
    assert "85 h" in told
    assert turned_advice(load(60.0, "bone dry"), 1.5) == ""
