"""Loads: masses, water and the piece that is heated last."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.sources import source
from firing.ware.load import (
    BODIES,
    DRYNESSES,
    WATER_OF_DRYNESS,
    Load,
    Piece,
    typical_load,
)

CUP = Piece("cup", 24, 5.0, 0.32)
TILE = Piece("tile", 10, 12.0, 0.8, "one")
PLANTER = Piece("planter", 4, 18.0, 3.2)


def test_one_face_counts_like_twice_the_thickness() -> None:
    assert PLANTER.heat_path_m == pytest.approx(0.009)
    assert TILE.heat_path_m == pytest.approx(0.012)
    assert Load((CUP, PLANTER, TILE), "bone dry").thickest is TILE
    assert Load((CUP, PLANTER), "bone dry").thickest is PLANTER


@given(st.sampled_from(DRYNESSES))
def test_dry_mass_and_water_make_the_mass(dryness: str) -> None:
    load = Load((CUP, PLANTER), dryness)  # type: ignore[arg-type]  # drawn from the list
    assert load.ware_kg == pytest.approx(24 * 0.32 + 4 * 3.2)
    assert load.dry_kg * (1.0 + load.water_share) == pytest.approx(load.ware_kg)
    source(WATER_OF_DRYNESS[load.dryness][1])


def test_bone_dry_ware_holds_what_texts_say() -> None:
    # 0.5 to 3 % of its dry mass (``bone-dry-moisture``); wetter ware more, fired ware none.
    shares = {dryness: share for dryness, (share, _) in WATER_OF_DRYNESS.items()}
    assert 0.005 <= shares["bone dry"] <= 0.03
    assert shares["leather hard"] > shares["damp"] > shares["bone dry"]
    assert shares["bisqued"] == 0.0


def test_bound_water_leaves_in_the_first_firing() -> None:
    assert Load((CUP,), "bone dry").has_bound_water
    assert not Load((CUP,), "bisqued, freshly glazed").has_bound_water


def test_the_typical_load_is_the_trial_models() -> None:
    # ``typical-load``: 35 kg ware and 28 kg furniture in 180 l.
    load = typical_load(180.0)
    assert load.ware_kg == pytest.approx(35.0)
    assert load.furniture_kg == pytest.approx(28.0)
    assert load.assumed
    assert typical_load(90.0).ware_kg == pytest.approx(17.5)


def test_loads_that_are_none_are_refused() -> None:
    with pytest.raises(FiringError, match="at least one piece"):
        Load((), "bone dry")
    with pytest.raises(FiringError, match="-3 kg is less than none"):
        Load((CUP,), "bone dry", furniture_kg=-3.0)
    with pytest.raises(FiringError, match="thickness above 0 mm"):
        Piece("cup", 1, 0.0, 0.3)


def test_the_bodies_are_terms_of_the_trade() -> None:
    assert "stoneware, grogged" in BODIES
    assert len(set(BODIES)) == len(BODIES)
