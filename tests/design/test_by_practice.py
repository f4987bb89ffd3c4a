"""Practice beside physics: both are told, either may be had, and the slower of both is usual."""

import math
from dataclasses import replace

import numpy as np
import pytest
from design.making import CONTROLLER, example_kiln, ware
from hypothesis import given
from hypothesis import strategies as st

from firing.design.designer import design
from firing.design.request import CoolingRequest, DesignRequest
from firing.design.result import BesidePractice, Design
from firing.errors import FiringError
from firing.report.design import design_report
from firing.report.text import render_text
from firing.ware.load import Dryness, Load, Piece
from firing.ware.practice import By, candle_s, limits_by
from firing.ware.safe_rates import limits_for

HOUR = 3600.0
BISQUE = DesignRequest("bisque", top_c=980.0)


def made(load: Load, by: By = "slower") -> Design:
    return design(load, replace(BISQUE, by=by), kiln=example_kiln(), controller=CONTROLLER)


def row(found: Design, what: str) -> BesidePractice:
    (one,) = [entry for entry in found.practice if entry.what == what]
    return one


@pytest.mark.parametrize(
    ("thick_mm", "dryness", "hours"),
    [
        (8.0, "bone dry", 8.0 / 6.0),  # an hour for every 6 mm
        (8.0, "damp", 6.0),
        (35.0, "bone dry", 6.0),  # 35/6 is less than 6
        (48.0, "bone dry", 8.0),
        (8.0, "bisqued", 0.0),
    ],
)
def test_practice_candles_six_hours_or_one_for_six_millimetres(
    thick_mm: float, dryness: Dryness, hours: float
) -> None:
    assert candle_s(ware(thick_mm, dryness))[0] == pytest.approx(hours * HOUR)


@given(st.floats(3.0, 60.0), st.booleans())
def test_the_slower_is_the_slower_of_both(thick_mm: float, dark: bool) -> None:
    load = replace(ware(thick_mm), dark=dark)
    limits = limits_for(load, purpose="bisque")
    grid = np.arange(30.0, 980.0, 10.0)
    slower, practice, physics = (
        limits_by(limits, load, by).heating(grid) for by in ("slower", "practice", "physics")
    )
    assert slower == pytest.approx(np.minimum(practice, physics))


def test_both_are_printed_with_the_reason_and_the_range() -> None:
    found = made(ware(20.0, "damp"))
    candling = row(found, "candling")
    assert candling.practice_s == pytest.approx(6 * HOUR)
    assert candling.design_s > candling.practice_s
    # Known to a factor of ten, 1e-9 to 1e-8 m²/s (``drying-diffusivity``).
    assert candling.low_s is not None
    assert candling.high_s is not None
    assert candling.high_s / candling.low_s == pytest.approx(10.0, rel=0.01)
    text = " ".join(render_text(design_report(found)).split())
    assert "practice 6 h, or 1 h per 6 mm, here 6 h 00 min; this design" in text
    assert "because drying takes four times as long for twice the thickness" in text
    assert "[soak-practice]" in text
    assert found.to_dict()["practice"][0]["what"] == "candling"


def test_practice_can_be_had_and_what_speaks_against_it_is_told() -> None:
    load = ware(35.0)
    quick, usual = made(load, "practice"), made(load)
    # 6 h, 75 °C at 50 °C/h and 505 to 600, 300 at 60 for a thick body, and 80 at 100 °C/h.
    by_hand_h = 6.0 + (60.0 + 505.0) / 50.0 + 300.0 / 60.0 + 80.0 / 100.0
    whole = row(usual, "heating")
    assert whole.practice_s is not None
    assert whole.practice_s == pytest.approx(by_hand_h * HOUR, rel=0.01)
    assert quick.forecast.heating_s == pytest.approx(by_hand_h * HOUR, rel=0.05)
    assert quick.forecast.heating_s < usual.forecast.heating_s
    assert usual.safe
    assert not quick.safe
    assert any("free water" in words for words in quick.problems)
    text = " ".join(render_text(design_report(quick)).split())
    assert text.index("Not safe for this ware as it stands") < text.index("Made by practice alone")


def test_physics_alone_is_quicker_for_thin_ware_and_what_practice_says_is_told() -> None:
    thin = made(ware(6.0), "physics")
    assert thin.forecast.heating_s < made(ware(6.0)).forecast.heating_s
    assert not thin.safe


@pytest.mark.parametrize("thick_mm", [8.0, 30.0])
def test_a_dark_or_thick_body_burns_out_slowly(thick_mm: float) -> None:
    load = replace(ware(thick_mm), dark=True)
    found = made(load)
    burning = row(found, "burn-out")
    # 300 °C at 60 °C/h
    assert burning.practice_s == pytest.approx(5 * HOUR)
    assert burning.design_s >= 5 * HOUR - 60.0
    limits = limits_for(load, purpose="bisque")
    light = limits_for(ware(thick_mm), purpose="bisque")

    def carbon_s(dwells: object) -> float:
        (one,) = [d for d in dwells if d.reason == "carbon"]  # type: ignore[attr-defined]
        return float(one.at_least_s)

    # 0.8 % of carbon at most where 0.25 % is usual (``body-make-up-memory``).
    assert carbon_s(limits.dwells) / carbon_s(light.dwells) == pytest.approx(0.8 / 0.25)


def test_a_light_thin_body_is_not_slowed_for_its_carbon() -> None:
    assert not [entry for entry in made(ware(8.0)).practice if entry.what == "burn-out"]


def test_a_hollow_form_is_candled_by_its_thickest_place() -> None:
    head = Piece("head", 1, 42.0, 12.0, shape="open hollow", wall_mm=15.0)
    assert candle_s(Load((head,), "bone dry"))[0] == pytest.approx(7 * HOUR)


def test_a_rule_that_is_none_is_refused() -> None:
    with pytest.raises(FiringError, match="practice, physics, slower"):
        made(ware(8.0), "guess")  # type: ignore[arg-type]  # what a library user may write
    assert math.isfinite(made(ware(8.0)).total_s)


def test_practice_without_a_rate_above_600_has_no_hours_for_the_whole_way_up() -> None:
    # ``glaze-rates-practice`` ends with "then faster": 125 to 150 °C/h hold only to 600 °C.
    glazed = ware(9.0, "bisqued, freshly glazed")
    found = design(
        glazed, DesignRequest("glaze", cone="6"), kiln=example_kiln(), controller=CONTROLLER
    )
    assert found.practice
    assert "heating" not in [entry.what for entry in found.practice]
    assert "heating" in [entry.what for entry in made(ware(9.0)).practice]


def test_a_weak_kilns_slow_rise_is_not_laid_to_practice() -> None:
    kiln = example_kiln()
    weak = design(ware(9.0), BISQUE, kiln=replace(kiln, power_w=5500.0), controller=CONTROLLER)
    assert row(weak, "to 600 °C").message.count("because the kiln rises no faster") == 1
    strong = design(ware(9.0), BISQUE, kiln=replace(kiln, power_w=20000.0), controller=CONTROLLER)
    assert "the kiln rises" not in row(strong, "to 600 °C").message


def test_the_cone_is_looked_at_where_the_heat_ends_and_not_after_a_slow_cooling() -> None:
    cooling = CoolingRequest(rate_c_per_h=80.0, until_c=900.0)
    request = DesignRequest("glaze", cone="6", cooling=cooling)
    found = design(ware(5.0, "bisqued"), request, kiln=example_kiln(), controller=CONTROLLER)
    actions = [segment.action for segment in found.schedule.segments]
    assert actions[-2:] == ["look at the cone", "leave the kiln shut until it is cool"]
    # Of a glaze practice knows no hours for the whole way, so a stretch does not lead the answer.
    assert "Rising from" not in render_text(design_report(found), brief=True)
