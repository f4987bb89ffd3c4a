"""Figures with their unit in kiln, load, controller and schedule files."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from firing.cli import cli
from firing.controller.file import parse_controller
from firing.files.tomlfile import FaultyFile
from firing.kiln.file import parse_kiln
from firing.schedule.file import parse_schedule, schedule_text
from firing.ware.file import parse_load

KILN = """name = "Garage kiln"
power_kw = 11.5
rated_volts = 240
volume = "7 cu ft"
shape = "round"
max = "2300F"
[[wall]]
material = "insulating brick 1260"
thickness = "3 in"
"""
LOAD = """dryness = "bone dry"
body = "stoneware"
furniture = "60 lb"
[[piece]]
name = "mug"
thickest = "1/4 in"
mass = "14 oz"
"""
PLAN = """# the studio's own
title = "Mugs"
purpose = "glaze"
cone = "6"

[[segment]]
rate = "200 F/h"
target = "2000F"

[[segment]]
# the last hundred
rate = "108F/h"
target = "2190F"
hold = "40m"
"""


def faults(text: str) -> str:
    with pytest.raises(FaultyFile) as refused:
        parse_kiln(text)
    return str(refused.value)


def test_a_kiln_in_inches_is_the_same_kiln_in_millimetres() -> None:
    # 1 cu ft = 28.316846592 l, 1 in = 25.4 mm, exactly (NIST SP 811, B.8); 2300 °F = 1260 °C.
    own = parse_kiln(KILN)
    assert own.volume_l == pytest.approx(7 * 28.316846592)
    assert own.wall[0].thickness_m == pytest.approx(0.0762)
    assert own.max_c == pytest.approx(1260.0)
    assert own.unit == "F"
    metric = KILN.replace('volume = "7 cu ft"', f"volume_l = {7 * 28.316846592}")
    metric = metric.replace('max = "2300F"', "max_c = 1260.0")
    metric = metric.replace('thickness = "3 in"', "thickness_mm = 76.2")
    assert parse_kiln(metric).unit == "C"
    assert parse_kiln(metric).volume_l == own.volume_l


def test_one_figure_in_inches_makes_no_american_kiln() -> None:
    mixed = KILN.replace('"7 cu ft"', '"198 l"').replace('"2300F"', '"1260 C"')
    assert parse_kiln(mixed).unit == "C"


def test_a_load_in_pounds() -> None:
    load = parse_load(LOAD)
    assert load.unit == "F"
    assert load.furniture_kg == pytest.approx(60 * 0.45359237)
    assert load.pieces[0].thickest_mm == pytest.approx(6.35)
    assert load.pieces[0].mass_kg == pytest.approx(14 / 16 * 0.45359237)


def test_a_controller_in_its_own_unit() -> None:
    whole = 'name = "Bench"\nmax_segments = 8\nrate_max = "1800 F/h"\ntarget_step = "1F"\n'
    own = parse_controller(whole)
    assert (own.unit, own.rate_max, own.target_step) == ("F", 1800.0, 1.0)
    celsius = parse_controller('unit = "C"\n' + whole)
    assert celsius.rate_max == pytest.approx(1000.0)
    with pytest.raises(FaultyFile, match='other figures are in °F; write unit = "F"'):
        parse_controller(whole + "rate_step = 1\n")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('volume = "7 cu ft"', 'volume_l = "7 cu ft"', 'write volume = "7 cu ft"'),
        ('volume = "7 cu ft"', "volume = 7", 'names no unit; write volume = "7 cu ft"'),
        ('volume = "7 cu ft"', 'volume = "7"', "names no unit"),
        ('volume = "7 cu ft"', 'volume = "7 lb"', "is no volume"),
        ('volume = "7 cu ft"', 'volume = "900 cu ft"', "must be at most 706 cu ft"),
        ('volume = "7 cu ft"', 'volume = "7 cu ft"\nvolume_l = 198', "keep one of the two"),
        ('volume = "7 cu ft"', "", 'volume_l = 180 or volume = "7 cu ft"'),
        ('max = "2300F"', 'max = "5000F"', "must be at most 2642F"),
        ('thickness = "3 in"', 'thickness = "3"', "names no unit"),
        ('max = "2300F"', 'maximum = "2300F"', 'did you mean "max"?'),
    ],
)
def test_a_slip_is_named_at_its_line_in_the_unit_written(old: str, new: str, said: str) -> None:
    told = faults(KILN.replace(old, new))
    assert said in told
    # 11.5 kW are too little for 900 cu ft, and that is said as well.
    assert told.count("\n") == ("900" in new)
    assert "is missing" not in told or new == ""


def test_a_schedule_with_its_units_keeps_them() -> None:
    plan = parse_schedule(PLAN)
    assert (plan.unit, plan.cone) == ("F", "6")
    assert plan.peak_c == pytest.approx((2190.0 - 32.0) / 1.8)
    assert plan.segments[1].rate_c_per_h == pytest.approx(60.0)
    assert schedule_text(plan, PLAN) == PLAN
    assert parse_schedule(schedule_text(plan)) == parse_schedule(schedule_text(plan))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"2000F"', "2000", "other figures carry none"),
        ('cone = "6"', "cone = 6", "in quotes"),
        ('cone = "6"', 'cone = "99"', "the hottest is 14"),
        ('"2190F"', '"2900F"', "2900 °F is outside 32 to 2642 °F"),
        ('"2190F"', '"hot"', "where a number belongs"),
    ],
)
def test_a_slip_in_a_schedule_is_named(old: str, new: str, said: str) -> None:
    with pytest.raises(FaultyFile, match=said):
        parse_schedule(PLAN.replace(old, new))


def test_a_celsius_plan_may_have_a_figure_in_fahrenheit() -> None:
    plan = parse_schedule(PLAN.replace('cone = "6"', 'unit = "C"').replace('"2000F"', "1093"))
    assert plan.unit == "C"
    assert plan.peak_c == pytest.approx((2190.0 - 32.0) / 1.8)


def test_the_json_schema_has_the_keys_with_units() -> None:
    for kind, key in (("kiln", "volume"), ("load", "furniture")):
        done = CliRunner().invoke(cli, ["schema", kind])
        schema = json.loads(done.stdout)
        assert schema["properties"][key]["type"] == "string"
        assert "volume_l" not in schema["required"]


def test_a_plans_cone_is_what_everything_speaks_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("plan.toml").write_text(PLAN, encoding="utf-8")
    course = CliRunner().invoke(cli, ["forecast", "plan.toml", "--json"])
    assert json.loads(course.stdout)["cones"]["target"] == "6"
    other = CliRunner().invoke(cli, ["forecast", "plan.toml", "--cone", "7", "--json"])
    assert json.loads(other.stdout)["cones"]["target"] == "7"
    card = CliRunner().invoke(cli, ["card", "plan.toml", "--controller", "example-controller"])
    assert "For cone 6; as keyed it comes to cone 6" in card.stdout
    # A log of the plan, five degrees short: judged by the cone stated, and by another if asked.
    rows = ["minutes,kiln °F"]
    for minute in range(0, 800, 2):
        reading = min(68 + 200 * minute / 60, 2000 + 108 * max(minute - 579.6, 0) / 60, 2181)
        rows.append(f"{minute},{reading if minute < 722 else 2181 - 8 * (minute - 722):.0f}")
    Path("log.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    for cone, wanted in ((None, "6"), ("04", "04")):
        asked = ["review", "plan.toml", "log.csv", *([] if cone is None else ["--cone", cone])]
        text = CliRunner().invoke(cli, asked).stdout
        assert f"for cone {wanted}; highest" in " ".join(text.split())
        found = json.loads(CliRunner().invoke(cli, [*asked, "--json"]).stdout)
        assert found["cones"]["target"] == wanted
        off = [finding["id"] for finding in found["findings"]].count("cone_off_target")
        assert off == (cone == "04")
