"""Ware that a program finds hot: what is taken for done, from where on, and that it is said."""

from dataclasses import replace

import pytest

from firing.schedule.schedule import Schedule, Segment
from firing.ware.hot_start import assumed_state, ware_at_start
from firing.ware.load import Dryness, Load, Piece, WareState

POT = Load((Piece("pot", 10, 18.0, 1.25),), "bone dry")


def bisque(start_c: float) -> Schedule:
    return Schedule("rest", (Segment(1000.0, 100.0),), "bisque", start_c=start_c)


@pytest.mark.parametrize(
    ("start_c", "dryness", "dry", "bound", "burnt"),
    [
        (20.0, "bone dry", False, False, False),
        (110.0, "bone dry", False, False, False),
        (130.0, "bone dry", True, False, False),
        # A kiln that may still be opened may have been filled with damp ware a moment ago.
        (290.0, "leather hard", False, False, False),
        (310.0, "leather hard", True, False, False),
        # The windows of the bound water and the carbon end at 600 and 800 °C.
        (600.0, "bone dry", True, False, False),
        (610.0, "bone dry", True, True, False),
        (800.0, "bone dry", True, True, False),
        (810.0, "bone dry", True, True, True),
    ],
)
def test_only_what_a_program_starts_above_is_taken_for_done(
    start_c: float, dryness: Dryness, dry: bool, bound: bool, burnt: bool
) -> None:
    found = assumed_state(replace(POT, dryness=dryness), start_c)
    assert (found.drying_fourier > 0.0, found.bound_water_is_gone) == (dry, bound)
    assert (found.burn_out_s > 0.0) == burnt


def test_what_is_assumed_is_said_in_the_plans_unit() -> None:
    words = ware_at_start(POT, bisque(700.0), margin=1.5).assumed
    assert "starts at 700 °C" in words
    assert "free water" in words
    assert "bound water" in words
    assert "carbon" not in words
    assert "below 80 °C" in words
    fahrenheit = replace(bisque(700.0), unit="F")
    assert "starts at 1292 °F" in ware_at_start(POT, fahrenheit, margin=1.5).assumed


@pytest.mark.parametrize("start_c", [20.0, 90.0])
def test_of_a_cold_start_nothing_is_assumed(start_c: float) -> None:
    found = ware_at_start(POT, bisque(start_c), margin=1.5)
    assert (found.state, found.assumed) == (None, "")


def test_what_a_log_says_is_not_assumed() -> None:
    known = WareState(1.0, 0.4, 0.0)
    found = ware_at_start(POT, bisque(700.0), margin=1.5, state=known)
    assert (found.state, found.assumed) == (known, "")


def test_damp_ware_that_is_dry_by_now_counts_as_bone_dry() -> None:
    damp = replace(POT, dryness="leather hard")
    assert ware_at_start(damp, bisque(700.0), margin=1.5).load.dryness == "bone dry"
    assert ware_at_start(damp, bisque(200.0), margin=1.5).load.dryness == "leather hard"
