"""The short form never says what another line of it takes back: the demo's firing, cut and seen."""

from collections.abc import Callable
from importlib import resources
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

from firing.logs.reader import read_log
from firing.report.charts.course import plan_and_actual
from firing.report.charts.svg import svg
from firing.report.review import review_report
from firing.report.text import render_text
from firing.review.findings.power import power_shortfall
from firing.review.result import Review
from firing.review.review import review
from firing.review.witness import parse_witness
from firing.schedule.file import open_schedule

DEMO = Path(str(resources.files("firing") / "data" / "demo"))
Cut = Callable[[list[str]], list[str]]


def demo_review(folder: Path, cut: Cut, witness: str = "") -> Review:
    lines = (DEMO / "log.csv").read_text(encoding="utf-8").splitlines()
    path = folder / "log.csv"
    path.write_text("\n".join([*cut(lines), ""]), encoding="utf-8")
    witnesses = (parse_witness(witness),) if witness else ()
    return review(open_schedule(DEMO / "plan.toml"), read_log(path), witnesses=witnesses)


def brief(result: Review) -> str:
    return " ".join(render_text(review_report(result), brief=True).split())


def whole(result: Review) -> str:
    return " ".join(render_text(review_report(result)).split())


def test_a_gap_is_named_as_what_is_not_known_and_stays_open(tmp_path: Path) -> None:
    result = demo_review(tmp_path, lambda lines: lines[:150] + lines[259:])
    assert len(result.gaps) == 1
    assert "Why: mostly not known (+2 h 15 min, the log lacks it)." in brief(result)
    assert whole(result).count("the log lacks 3 h 40 min of it") == 1
    assert "Give a kiln file" not in whole(result)
    drawing = plan_and_actual(result)
    # Every line of the log has two strokes; the plan's has one.
    strokes = [
        piece.split('"')[0].count("M") for piece in svg(drawing).split('<path class="line" d="')[1:]
    ]
    assert sorted(strokes) == [1, 2, 2, 2]


def test_a_log_that_ends_early_tells_what_made_it_late(tmp_path: Path) -> None:
    # Segment 2 climbs 510 °C at 90 instead of 130 °C/h: 5 h 40 min less 3 h 55 min.
    said = brief(demo_review(tmp_path, lambda lines: lines[:250]))
    assert "By the end of segment 2 it was 1 h 44 min late." in said
    assert "Why: fired differently from plan, +1 h 44 min so far." in said
    assert "Next: Read the keyed-in program back" in said
    assert "'firing resume' with this log" in said.split(" Then ")[1]


@pytest.mark.parametrize(("seen", "turned"), [("6=3:00", True), ("6=down", False)])
def test_witness_cones_have_the_last_word(tmp_path: Path, seen: str, turned: bool) -> None:
    # By the readings cone 6.4: cone 6 would be down.  At 3:00 the ware was colder than they say.
    said = whole(demo_review(tmp_path, list, seen))
    assert ("The readings alone come to more heat-work than planned" in said) is turned
    assert ("The ware saw more heat-work" in said) is not turned
    assert ("a shorter hold takes some away" in said) is not turned


def test_no_second_figure_contradicts_a_holds_minutes(tmp_path: Path) -> None:
    assert "ran past its planned 30 min" in brief(demo_review(tmp_path, list))


def falling_behind(from_c: float) -> str:
    run = SimpleNamespace(behind_from_c=from_c, behind_c_per_h=50.0, at_limit=True, mostly_on=True)
    segment = SimpleNamespace(
        passage=SimpleNamespace(start_s=0.0),
        segment=SimpleNamespace(rate_c_per_h=100.0, target_c=999.0),
        ramp_until_s=36_000.0,
        run=run,
    )
    found = SimpleNamespace(
        analysed=SimpleNamespace(segments=[segment]), schedule=SimpleNamespace(unit="C")
    )
    return power_shortfall(cast(Review, found), 0)


def test_nothing_falls_behind_above_its_target() -> None:
    assert "it fell behind from 900 °C on: 50 °C/h" in falling_behind(900.0)
    assert "it fell behind: 50 °C/h" in falling_behind(1008.0)
