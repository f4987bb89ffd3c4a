"""Demands that leave no schedule: one sentence, and the two that collide."""

from dataclasses import replace
from typing import Any

import pytest
from design.making import CONTROLLER, GLAZED, example_kiln, ware

from firing.design.designer import design
from firing.design.request import Bounds, CoolingRequest, DesignRequest
from firing.errors import FiringError
from firing.ware.file import parse_load
from firing.ware.load import Load

BISQUE = DesignRequest("bisque", cone="06")
GLAZE = DesignRequest("glaze", cone="6")


@pytest.mark.parametrize(
    ("load", "wish", "change", "words"),
    [
        (ware(18.0), BISQUE, {"max_segments": 1}, ("1 segment and", "at least 2 segments")),
        (ware(60.0), BISQUE, {"max_segments": 3}, ("3 segments and", "collide", "segments are")),
        (ware(40.0), BISQUE, {"rate_min": 50.0}, ("slowest rate of 50", "collide")),
        (ware(60.0), BISQUE, {"hold_max_s": 3600.0}, ("collide",)),
        (ware(18.0), DesignRequest("bisque"), {}, ("one end",)),
        (ware(18.0), DesignRequest("bisque", cone="06", top_c=980.0), {}, ("one end",)),
        (ware(18.0, "leather hard"), GLAZE, {}, ("leather hard", "bisque")),
        (GLAZED, BISQUE, {}, ("would melt its glaze",)),
        (GLAZED, DesignRequest("decal", cone="018"), {}, ("would melt", 'dryness = "bisqued"')),
        (ware(18.0), DesignRequest("bisque", top_c=1350.0), {}, ("1350 °C", "1300 °C", "collide")),
        (GLAZED, DesignRequest("glaze", cone="14"), {}, ("cone 14", "1300 °C", "collide")),
        (GLAZED, replace(GLAZE, bounds=Bounds(1180.0, 0.0, 600.0)), {}, ("1180", "10 min")),
        (GLAZED, replace(GLAZE, bounds=Bounds(1000.0)), {}, ("cone 6", "1000 °C", "collide")),
        (GLAZED, replace(GLAZE, bounds=Bounds(None, 600.0, 300.0)), {}, ("10 min", "5 min")),
        (GLAZED, replace(GLAZE, cooling=CoolingRequest(1190.0, 28800.0)), {}, ("cooling alone",)),
        (GLAZED, replace(GLAZE, cooling=CoolingRequest(1300.0)), {}, ("must lie between",)),
        (GLAZED, replace(GLAZE, cooling=CoolingRequest(None, 60.0)), {}, ("drop",)),
        (GLAZED, replace(GLAZE, cooling=CoolingRequest(rate_c_per_h=60.0)), {}, ("where it ends",)),
        (ware(18.0), replace(BISQUE, margin=0.5), {}, ("margin of 0.5", "1 to 5")),
        (ware(18.0), DesignRequest("bisque", top_c=15.0), {}, ("not above the start",)),
        (ware(300.0), BISQUE, {}, ("300 mm",)),
    ],
)  # fmt: skip
def test_one_sentence_names_what_collides(
    load: Load, wish: DesignRequest, change: dict[str, Any], words: tuple[str, ...]
) -> None:
    controller = replace(CONTROLLER, **change)
    with pytest.raises(FiringError) as caught:
        design(load, wish, kiln=example_kiln(), controller=controller)
    message = str(caught.value)
    assert "\n" not in message
    for word in words:
        assert word in message


@pytest.mark.parametrize(
    ("value", "words"),
    [("0", "above 0 mm"), ("-3", "above 0 mm"), ("501", "at most 500 mm")],
)
def test_thickness_that_cannot_be(value: str, words: str) -> None:
    text = (
        'dryness = "bone dry"\nbody = "stoneware"\n[[piece]]\nname = "pot"\n'
        f"thickest_mm = {value}\nmass_kg = 1.0\n"
    )
    with pytest.raises(FiringError, match=words):
        parse_load(text)


def test_five_hundred_millimetres_are_beyond_the_limits() -> None:
    with pytest.raises(FiringError, match="500 mm thick"):
        design(ware(500.0), BISQUE)


def test_an_unknown_body_is_suggested() -> None:
    piece = '[[piece]]\nname = "pot"\nthickest_mm = 5\nmass_kg = 1.0\n'
    text = f'dryness = "bone dry"\nbody = "stonewere"\n{piece}'
    with pytest.raises(FiringError, match='did you mean "stoneware"'):
        parse_load(text)


def test_a_kiln_without_the_power_for_a_cone_is_told_of_its_power() -> None:
    kiln = example_kiln()
    weak = replace(kiln, fitted=replace(kiln.fitted, power=0.4))
    with pytest.raises(FiringError) as caught:
        design(GLAZED, GLAZE, kiln=weak, controller=CONTROLLER)
    message = str(caught.value)
    assert f"the {0.001 * weak.available_w:.2g} kW of the kiln can hold" in message
    assert "no power for more" in message
    assert "lower cone" in message
    # That kiln cannot go any higher.
    assert "higher peak" not in message
    # What the file allows is no matter of power.
    with pytest.raises(FiringError) as caught:
        design(GLAZED, GLAZE, kiln=replace(kiln, max_c=1100.0), controller=CONTROLLER)
    assert "no power" not in str(caught.value)
    assert "choose a lower cone" in str(caught.value)
