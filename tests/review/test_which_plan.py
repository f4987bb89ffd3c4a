"""Which of many plans a log is of: the log maker knows the truth."""

from dataclasses import replace
from pathlib import Path

import logmaker
import pytest

from firing.files.kinds import ready_names
from firing.kiln.file import open_kiln
from firing.logs.reader import read_log
from firing.report.review import review_report
from firing.report.text import render_text
from firing.review.review import review
from firing.review.which_plan import name_the_plan, which_kiln, which_plan
from firing.schedule.file import open_schedule

PLANS = {name: open_schedule(name) for name in ready_names()}
STEPS = {
    name: tuple((s.rate_c_per_h, s.target_c, s.hold_s) for s in plan.segments)
    for name, plan in PLANS.items()
}
TROUBLES = {
    "none": logmaker.Faults(),
    "late, with worn elements": logmaker.Faults(late_start_s=5400.0, power_factor=0.85),
    "power cut": logmaker.Faults(outage_at_c=400.0, outage_s=1800.0, load_factor=1.3),
}


def log_of(folder: Path, name: str, faults: logmaker.Faults) -> Path:
    fired = logmaker.fire(STEPS[name], faults=faults, step_s=60.0)
    made = logmaker.sample(fired, logmaker.Sampling(interval_s=120.0))
    return logmaker.write_csv(made, folder / "log.csv")


CASES = [
    ("thin-ware-bisque", "none"),
    ("stoneware-glaze-1240", "late, with worn elements"),
    ("decal", "power cut"),
]
LONGER = [(name, trouble) for name in PLANS for trouble in TROUBLES if (name, trouble) not in CASES]


@pytest.mark.parametrize(
    ("name", "trouble"),
    [*CASES, *(pytest.param(*case, marks=pytest.mark.soak) for case in LONGER)],
)
def test_a_log_finds_its_plan_among_eight(name: str, trouble: str, tmp_path: Path) -> None:
    log = read_log(log_of(tmp_path, name, TROUBLES[trouble]))
    found = which_plan(log, PLANS)
    assert found.best is not None
    assert found.best.name == name
    assert found.review is not None
    assert found.review.schedule == PLANS[name]


def test_two_plans_that_the_log_cannot_tell_apart_are_both_named(tmp_path: Path) -> None:
    plan = PLANS["thin-ware-bisque"]
    last = plan.segments[-1]
    near = replace(plan, segments=(*plan.segments[:-1], replace(last, hold_s=last.hold_s + 60.0)))
    log = read_log(log_of(tmp_path, "thin-ware-bisque", logmaker.Faults()))
    found = which_plan(log, {"this": plan, "other": near})
    assert not found.sure
    assert {fit.name for fit in found.fits} == {"this", "other"}
    assert "fits nearly as well" in found.why
    for own in ("this", "other"):
        liked = which_plan(log, {"this": plan, "other": near}, liked={own: 0})
        assert liked.best is not None
        assert liked.best.name == own
        assert not liked.sure
    # The folder names the cone of one of them.
    coned = {"this": plan, "other": replace(near, cone="03")}
    told = which_plan(log, coned, place="logs/cone 03/log.csv")
    assert told.best is not None
    assert (told.best.name, told.sure) == ("other", True)


def test_a_log_of_none_of_the_plans_is_of_none(tmp_path: Path) -> None:
    log = read_log(log_of(tmp_path, "stoneware-glaze-1240", logmaker.Faults()))
    found = which_plan(log, {"decal": PLANS["decal"]})
    assert found.best is None
    assert found.why.startswith("no plan fits")
    assert which_plan(log, {}).best is None


def test_a_kiln_is_found_by_a_name_beside_the_log_or_by_how_it_cools(tmp_path: Path) -> None:
    kiln = open_kiln("example-kiln")
    # Walls three times as thick keep the heat: by conduction the time grows with the thickness.
    wall = tuple(replace(w, thickness_m=3.0 * w.thickness_m) for w in kiln.wall)
    thick = replace(kiln, wall=wall)
    kilns = {"round": kiln, "Old Box": thick}
    log = read_log(log_of(tmp_path, "thin-ware-bisque", logmaker.Faults()))
    seen = which_plan(log, {"bisque": PLANS["thin-ware-bisque"]}).review
    found = which_kiln(log, kilns, seen)
    assert found.name == "round"
    assert "cooled from" in found.why
    folder = tmp_path / "old_box"
    folder.mkdir()
    elsewhere = read_log(log_of(folder, "thin-ware-bisque", logmaker.Faults()))
    assert which_kiln(elsewhere, kilns, seen).name == "Old Box"
    assert which_kiln(log, {"round": kiln}).why == "the only kiln there is"
    twin = which_kiln(log, {"one": kiln, "two": kiln}, seen)
    assert twin.name == ""
    assert "--kiln" in twin.why


def test_a_log_far_too_hot_for_its_plan_asks_for_the_plan_that_was_fired(tmp_path: Path) -> None:
    """A controller's stay 340 °C above the plan's peak is another program; no plan is mended."""
    log = read_log(log_of(tmp_path, "stoneware-glaze-1240", logmaker.Faults()))
    found = name_the_plan(review(PLANS["thin-ware-bisque"], log), PLANS)
    assert found.plan_doubt
    assert found.mended is None
    first = found.findings[0]
    assert first.message.startswith("Is this the plan it was fired by?")
    assert "900 °C" in first.message
    assert '"stoneware-glaze-1240"' in first.next_step
    printed = render_text(review_report(found), brief=True)
    assert "couldn't keep up" not in printed


@pytest.mark.parametrize(
    "faults",
    [logmaker.Faults(power_factor=0.4), logmaker.Faults(stop_at_c=700.0)],
    ids=["too weak", "stopped"],
)
def test_what_went_wrong_with_its_own_plan_asks_for_no_other(
    faults: logmaker.Faults, tmp_path: Path
) -> None:
    name = "stoneware-glaze-1240"
    assert not review(PLANS[name], read_log(log_of(tmp_path, name, faults))).plan_doubt
