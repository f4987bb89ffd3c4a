"""From a fault to the program: causes no surer than their sources, and plans changed by hand."""

import json
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from commandline import call
from design.making import EXAMPLES, ware

from firing.api import guide as guide_by_name
from firing.cones.equivalence import cone_reached
from firing.design.guide import Guide, fault_named, fault_names, guide, held, slowed
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.report.design import guide_report
from firing.report.text import render_text
from firing.schedule.file import open_schedule
from firing.schedule.schedule import Schedule, Segment
from firing.sources import load_sources

HOUR = 3600.0
QUICK_BISQUE = Schedule("jars", (Segment(950.0, 150.0, name="Up"),), "bisque")
GLAZE = Schedule("bowls", (Segment(1100.0, 150.0), Segment(1222.0, 60.0)), "glaze")


def table() -> dict[str, Any]:
    text = files("firing").joinpath("data/faults.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def steps(schedule: Schedule) -> list[tuple[float, float | None, float]]:
    return [(s.target_c, s.rate_c_per_h, s.hold_s) for s in schedule.segments]


def words_of(found: Guide) -> str:
    return " ".join(render_text(guide_report(found)).split())


def test_the_faults_that_potters_ask_about_are_known() -> None:
    assert set(fault_names()) == {
        "pinholes", "black core", "bloating", "dunting", "blown-up pieces", "cracked pieces",
        "under-fired glaze", "over-fired glaze",
    }  # fmt: skip
    names = [name for entry in table().values() for name in (entry["name"], *entry["also"])]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("fault", list(fault_names()))
@pytest.mark.parametrize("plan", [QUICK_BISQUE, GLAZE], ids=["bisque", "glaze"])
def test_no_line_is_surer_than_its_source(fault: str, plan: Schedule) -> None:
    found = guide(fault, plan)
    surest = {"standard": "published", "published": "published", "common practice": "practice"}
    assert {cause.in_schedule for cause in found.causes} == {True, False}
    for cause in found.causes:
        assert cause.certainty == surest.get(load_sources()[cause.source].kind, "unknown")
        assert len(cause.words.split()) <= 25
    # Every rate and every minute to write is common practice at best.
    assert all("(published)" not in words for words in found.changes)
    assert (found.changed is None) == (not found.changes)


@pytest.mark.parametrize("fault", list(fault_names()))
def test_the_likelier_causes_stand_first(fault: str) -> None:
    found = guide(fault)
    text = words_of(found)
    inside = text.index("What in a schedule can cause it")
    if found.else_first:
        assert text.index("Likelier than the schedule") < inside
    else:
        assert inside < text.index("What else can cause it")
    assert found.changed is None


def test_a_black_core_slows_the_plan_where_carbon_burns_and_nowhere_else() -> None:
    found = guide("black core", QUICK_BISQUE)
    assert found.changed is not None
    assert steps(found.changed) == [(600.0, 150.0, 0.0), (900.0, 60.0, 0.0), (950.0, 150.0, 0.0)]
    # 300 °C at 60 instead of 150 °C/h
    assert found.longer_s == pytest.approx(3 * HOUR, abs=60.0)
    assert {cause.segments for cause in found.causes if cause.segments} == {(1,)}
    assert "segment 1 rises at up to 150 °C/h from 600 °C to 900 °C" in words_of(found)
    # What it made has nothing left to change.
    assert guide("black core", found.changed).changed is None


def test_dunting_slows_the_kilns_own_cooling_through_the_inversions() -> None:
    found = guide("dunting", GLAZE)
    assert found.changed is not None
    down = found.changed.segments[2:]
    assert [(s.target_c, s.rate_c_per_h) for s in down] == [(650.0, None), (500.0, 50.0)]
    # The default kiln cools at 1.3 times 36 °C/h at 300 °C (``cooling-default``): slow enough.
    natural = [(cause.segments, cause.suspect) for cause in found.causes if cause.segments]
    assert natural == [((3,), True), ((3,), False)]
    assert "natural cooling cools" in words_of(found)
    assert all("common practice" in change for change in found.changes)


def test_a_piece_that_blew_up_is_candled_as_long_as_practice_has_it() -> None:
    plan = Schedule("head", (Segment(600.0, 50.0), Segment(900.0, 100.0)), "bisque")
    found = guide("exploded", plan, load=ware(48.0))
    assert found.fault == "blown-up pieces"
    assert found.changed is not None
    # An hour for every 6 mm is 8 h.
    assert steps(found.changed)[0] == (90.0, 50.0, 8 * HOUR)
    # 80 to 95 °C at 50 °C/h
    assert any("give 18 min" in c.plan or "gives 18 min" in c.plan for c in found.causes)
    assert found.forecast is not None
    assert found.forecast.ware is not None
    assert found.to_dict()["safe"] is False
    assert "Not safe for this load as it stands" in words_of(found)


def test_pinholes_are_held_at_the_peak_without_more_heat_work() -> None:
    found = guide("pinholes", GLAZE)
    assert found.changed is not None
    last = found.changed.segments[-1]
    assert last.hold_s == 15 * 60.0
    assert 1205.0 < last.target_c < 1222.0
    before, after = forecast(GLAZE).cones.reached_number, forecast(found.changed).cones
    assert after.reached_number == pytest.approx(before, abs=0.1)


@pytest.mark.parametrize(("fault", "cone"), [("under-fired glaze", "8"), ("over-fired glaze", "4")])
def test_a_cone_that_is_wanted_is_met_by_the_peak(fault: str, cone: str) -> None:
    found = guide(fault, GLAZE, cone=cone)
    assert found.changed is not None
    course = forecast(found.changed)
    trace = course.trace
    reached = cone_reached(trace.time_s, trace.channel_c()).reached_number
    assert reached == pytest.approx(float(cone), abs=0.1)
    assert guide(fault, found.changed, cone=cone).changed is None


def test_half_a_cone_where_no_cone_is_said() -> None:
    number = forecast(GLAZE).cones.reached_number
    assert number is not None
    for fault, by in (("underfired", 0.5), ("glaze ran", -0.5)):
        changed = guide(fault, GLAZE).changed
        assert changed is not None
        assert forecast(changed).cones.reached_number == pytest.approx(number + by, abs=0.1)


def test_a_plan_of_another_firing_is_said_to_be_another_one() -> None:
    found = guide("under-fired glaze", QUICK_BISQUE)
    assert found.changed is None
    assert "name the plan of the other firing" in words_of(found)


def test_words_that_are_none_of_the_trades_are_refused_with_a_hint() -> None:
    assert fault_named("Black-Core")["name"] == "black core"
    assert fault_named("pinholing")["name"] == "pinholes"
    with pytest.raises(FiringError, match='did you mean "dunting"'):
        fault_named("duntings")
    with pytest.raises(FiringError, match="write one of: pinholes"):
        fault_named("sadness")


def test_slowing_and_holding_leave_the_rest_as_it_was() -> None:
    first, up = Segment(85.0, 60.0, hold_s=60.0), Segment(980.0, None, "unlimited", name="Up")
    plan = Schedule("t", (first, up), "bisque")
    slower = slowed(plan, (500.0, 600.0), 50.0, "slow", up=True)
    assert [(s.target_c, s.rate_c_per_h, s.name) for s in slower.segments] == [
        (85.0, 60.0, ""), (500.0, None, "Up"), (600.0, 50.0, "slow"), (980.0, None, "Up")
    ]  # fmt: skip
    longer = held(plan, 90.0, 2 * HOUR, "Candle")
    assert steps(longer) == [(85.0, 60.0, 2 * HOUR), (980.0, None, 0.0)]
    assert held(longer, 90.0, HOUR, "Candle") == longer


def test_the_walk_from_the_command_line(tmp_path: Path) -> None:
    listed = call(tmp_path, "guide")
    assert listed.returncode == 0
    assert "black core: " in listed.stdout
    assert set(json.loads(call(tmp_path, "guide", "--json").stdout)["faults"]) == set(fault_names())
    asked = call(tmp_path, "guide", "bloating")
    assert asked.returncode == 0
    assert "(common practice) [burnout-practice]" in " ".join(asked.stdout.split())
    plan = str(EXAMPLES / "thin-ware-bisque.toml")
    load = str(EXAMPLES / "example-load-thin-cups.toml")
    made = call(tmp_path, "guide", "black core", plan, "--load", load, "--out", "slow.toml")
    assert made.returncode == 1
    assert "It is safe for this load." in made.stdout
    changed = open_schedule(tmp_path / "slow.toml")
    by_library = guide_by_name("black core", plan, load=load).changed
    assert by_library is not None
    assert steps(changed) == steps(by_library)
    data = json.loads(call(tmp_path, "guide", "black core", plan, "--load", load, "--json").stdout)
    assert (data["kind"], data["safe"]) == ("guide", True)
    assert len(data["changed"]["segments"]) == len(changed.segments)
    again = call(tmp_path, "guide", "black core", "slow.toml")
    assert again.returncode == 0
    for slip in (["sadness"], ["dunting", "--out", "x.toml"], ["dunting", "nothing.toml"]):
        refused = call(tmp_path, "guide", *slip)
        assert refused.returncode == 2
        assert refused.stderr.startswith("firing: ")


def test_the_changed_plan_says_what_was_changed_and_that_its_comments_are_older() -> None:
    plan = Schedule("bowls", GLAZE.segments, "glaze", notes="For bowls.")
    changed = guide("pinholes", plan).changed
    assert changed is not None
    assert changed.notes.startswith("For bowls.\n\nChanged against pinholes: Hold the peak")
    assert changed.notes.endswith("of the plan before.")
