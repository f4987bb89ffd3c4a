"""A watch that was given another plan, or another kiln's file, says so, once, and goes on."""

from dataclasses import replace
from pathlib import Path

import pytest
from watch.replaying import AS_PLANNED, PLAN, Told, replayed, write_course
from watch.wornkiln import PLAN as GLAZE_PLAN
from watch.wornkiln import kiln, watched, write_log

from firing.schedule.file import write_schedule
from firing.schedule.schedule import Schedule, Segment
from firing.watch.options import WatchOptions
from firing.watch.setup import make_watcher, open_watch, plans_beside
from firing.watch.status_text import position_text

QUICK = Schedule("quick", (Segment(600.0, 220.0), Segment(1100.0, 200.0, hold_s=1800.0)))


def _notes(told: Told) -> list[str]:
    return [n.message for n in told.notices if n.id == "other-program"]


def test_a_watch_given_a_quicker_plan_says_so_once_and_of_no_late_end(tmp_path: Path) -> None:
    told = replayed(write_course(tmp_path / "log.csv", AS_PLANNED), QUICK, every_s=600.0)
    (note,) = _notes(told)
    assert "this looks like another program than the plan given" in note
    assert "climbed steadily at" in note
    assert "check which plan you gave this watch" in note
    (notice,) = [n for n in told.notices if n.id == "other-program"]
    assert notice.severity == "note"
    assert notice.at_s < 4.0 * 3600.0  # of 8.55 h
    assert not [n for n in told.notices if n.id == "late" and n.at_s > notice.at_s]
    after = told.at(5.0)
    assert after.plan_doubted
    assert after.to_dict()["plan_doubted"] is True
    assert "this may be another program" in position_text(after, QUICK, "C")


def test_a_watch_given_its_own_plan_says_nothing_of_it(tmp_path: Path) -> None:
    told = replayed(write_course(tmp_path / "log.csv", AS_PLANNED), PLAN, every_s=600.0)
    assert _notes(told) == []
    assert not any(estimate.plan_doubted for estimate in told.estimates)


def test_readings_that_stand_still_are_told_as_stuck_and_not_as_another_program(
    tmp_path: Path,
) -> None:
    course = ((0.0, 20.0), (2.0, 220.0), (5.0, 220.0))
    told = replayed(write_course(tmp_path / "log.csv", course, noise_c=0.0), PLAN)
    assert told.of("reading-stuck")
    assert _notes(told) == []


@pytest.mark.parametrize("beside", [True, False])
def test_the_plan_beside_it_that_fits_is_named(tmp_path: Path, beside: bool) -> None:
    folder = tmp_path / "plans"
    folder.mkdir()
    write_schedule(QUICK, folder / "quick.toml")
    (folder / "broken.toml").write_text("title = \n", encoding="utf-8")
    if beside:
        write_schedule(PLAN, folder / "rise.toml")
    log = write_course(tmp_path / "log.csv", AS_PLANNED)
    options = WatchOptions(str(log), schedule=QUICK, plan_file=folder / "quick.toml")
    opened, told = open_watch(options), Told()
    opened.session(told, 86_400.0).run(lambda: False)
    opened.close()
    (note,) = _notes(told)
    assert ('"rise.toml" fits' in note) is beside


def test_no_plan_is_beside_a_ready_one() -> None:
    assert plans_beside(Path("glaze-cone-6")) == {}
    assert plans_beside(None) == {}
    assert make_watcher(WatchOptions("-", schedule=PLAN)).schedule is PLAN


def test_a_kiln_file_of_far_too_little_power_is_said_and_left_out(tmp_path: Path) -> None:
    """The kiln that is fired has twice the power of the file's, which nothing else explains."""
    log = write_log(tmp_path / "log.csv", power=1.0, until_h=11.0)
    half = replace(kiln(), power_w=0.5 * kiln().power_w)
    opened = open_watch(WatchOptions(str(log), schedule=GLAZE_PLAN, kiln=half))
    told = Told()
    opened.session(told, 1800.0).run(lambda: False)
    opened.close()
    (notice,) = [n for n in told.notices if n.id == "other-kiln"]
    assert notice.severity == "note"
    assert "check which kiln file you gave this watch" in notice.message
    assert all(e.kiln is not None for e in told.estimates if e.now_s < notice.at_s)
    after = [e for e in told.estimates if e.now_s > notice.at_s]
    assert after
    for estimate in after:
        assert estimate.kiln is None
        assert estimate.energy_kwh is None
        assert estimate.program_end_s is not None
        assert estimate.untold == ()


def test_the_kilns_own_file_is_kept(tmp_path: Path) -> None:
    told = watched(write_log(tmp_path / "log.csv", power=1.0, until_h=11.0))
    assert [n for n in told.notices if n.id == "other-kiln"] == []
    assert told.estimates[-1].kiln is not None
