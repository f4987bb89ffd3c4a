"""The short form of the reports: forty lines at most, the answer in the first five."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from report.report_samples import sample_review

import firing as fi
from firing.design.repair import repaired_design
from firing.report.design import design_report
from firing.report.document import Report
from firing.report.forecast import forecast_report
from firing.report.page import render_page
from firing.report.review import review_report
from firing.report.text import BRIEF_LINES, render_text
from firing.schedule.file import open_schedule
from firing.ware.file import open_load

STARTED = datetime(2026, 3, 14, 7, 30, tzinfo=UTC)
DEMO_LINES = 2
"""What ``firing demo`` adds below its review."""


def short(report: Report) -> list[str]:
    return render_text(report, brief=True).splitlines()


def test_the_short_form_leaves_room_for_what_the_demo_adds() -> None:
    assert BRIEF_LINES + DEMO_LINES <= 40


@pytest.mark.parametrize("name", fi.ready_schedules())
@pytest.mark.parametrize("kiln", [None, "example-kiln"])
def test_every_ready_schedule_is_forecast_in_forty_lines(name: str, kiln: str | None) -> None:
    report = forecast_report(fi.forecast(name, kiln=kiln, started=STARTED))
    lines = short(report)
    assert len(lines) <= 40
    first = " ".join(lines[:5])
    for words in ("Start Sat 14 Mar 2026 07:30", "→ peak ", "→ end on "):
        assert words in first
    assert "Comes to" in first
    assert len(render_page(report).encode()) <= 300_000


def test_a_design_takes_forty_lines_too() -> None:
    found = fi.design("example-load-thin-cups", "bisque", cone="06", kiln="example-kiln")
    assert len(short(design_report(found))) <= 40


def test_a_review_answers_in_its_first_five_lines() -> None:
    lines = short(review_report(sample_review()))
    assert len(lines) <= 40
    title, ran, cone, why, then = lines[:5]
    assert title == "Review: Plates, invented"
    assert ran == "Ran 11 h 30 min, 1 h 00 min over its 10 h 30 min."
    assert cone.startswith("Reached cone ")
    assert why == "Why: mostly waiting for the kiln, +40 min."
    assert then == "Next: Look at the elements."


def test_minutes_add_up_as_printed() -> None:
    # 104.4, 30.4 and 13.4 min: each rounds down, and together they are 148.2 min.
    from firing.units import minutes_adding_up

    assert sorted(minutes_adding_up([60 * 104.4, 60 * 30.4, 60 * 13.4], 148)) == [13, 30, 105]
    assert minutes_adding_up([60.0, -120.0], -1) == [1, -2]


def test_without_charts_a_table_is_a_sentence_a_row() -> None:
    text = render_text(review_report(sample_review()), charts=False)
    assert "⠤" not in text
    assert "█" not in text
    assert "cause waiting for the kiln, minutes +40." in text


def test_what_is_to_be_checked_is_not_to_be_fixed_and_the_design_says_it_too() -> None:
    load = "example-load-damp-planters"
    found = fi.design(load, "bisque", top_c=980.0, kiln="example-kiln")
    course = fi.forecast(found.schedule, kiln="example-kiln", load=load)
    assert {w.severity for w in course.warnings} == {"check"}
    for report in (design_report(found), forecast_report(course)):
        lines = short(report)
        check = lines.index("Check:")
        assert lines[check + 1].startswith("• If your clay dries slowly, the vapour in the 20 mm ")
        assert "Fix first:" not in lines


def test_what_is_to_be_fixed_for_the_ware_ends_with_the_command_that_does_it() -> None:
    course = fi.forecast("thin-ware-bisque", load="example-load-planters-and-cups")
    lines = short(forecast_report(course))
    assert "Fix first:" in lines
    assert "firing design bisque --from PLAN --load LOAD makes it safe for the ware." in lines


def test_a_kiln_that_follows_roughly_is_not_said_to_follow() -> None:
    course = fi.forecast("thin-ware-bisque", kiln="example-kiln")
    last = course.segments[-1]
    steep = replace(last, end_s=last.end_s + 120.0, limited_by="power")
    slower = replace(course, segments=(*course.segments[:-1], steep), warnings=())
    lines = short(forecast_report(slower))
    assert "* slower than programmed: the kiln cannot follow there" in lines
    said = " ".join(lines)
    assert "this kiln does it, with some segments slower than programmed (*)." in said
    assert "this kiln can do it" not in said


def test_a_mended_program_says_what_was_changed() -> None:
    found = repaired_design(
        open_schedule("mid-range-glaze-cone-6-hold"), open_load("example-load-glazed-cups")
    )
    said = " ".join(" ".join(short(design_report(found))).split())
    assert "Segment 1 Dry the glaze now holds " in said
    assert said.count("are needed between") == 1
    assert "spends" not in said
    assert "add " not in said


def test_a_step_is_told_once_and_a_second_of_difference_is_none() -> None:
    from firing.report.review import _beside, _steps
    from firing.review.overlay import compare
    from firing.review.result import Finding

    result = sample_review()
    look = "Look at the ware and the witness cones"
    steps = (
        f"{look} before changing the plan; a shorter hold helps.",
        f"{look}; see 'firing ways'.",
    )
    found = tuple(Finding(f"f{n}", "check", "m", next_step=step) for n, step in enumerate(steps))
    told = _steps(replace(result, findings=found))
    assert [step for step in told if step.startswith(look)] == [steps[0]]
    both = replace(result, comparison=compare(result, result))
    assert "as long as the other, to the minute" in str(_beside(both))


def test_a_firing_as_planned_has_no_reason_of_four_minutes() -> None:
    from firing.review.result import CauseShare

    ran = sample_review()
    on_time = replace(ran, actual_s=ran.planned_s - 120.0)
    program, rest = CauseShare("other_program", -240.0, "seen"), CauseShare("unexplained", 120.0)
    shown = short(review_report(replace(on_time, causes=(program, rest))))
    assert not any(line.startswith("Why") for line in shown)
    # What cancels out is told: twenty minutes lost and made up are two things to know.
    lost, made_up = CauseShare("waiting", 1200.0, "seen"), CauseShare("shorter_hold", -1320.0, "s")
    shown = short(review_report(replace(on_time, causes=(made_up, lost))))
    assert any(line.startswith("Why: mostly") for line in shown)


def test_a_design_says_what_more_segments_save_at_most() -> None:
    made = fi.design("example-load-planters-and-cups", "bisque", top_c=980.0, kiln="example-kiln")
    shown = " ".join(render_text(design_report(replace(made, cost_of_segments_s=5400.0))).split())
    assert "are used; more of them save at most 1 h 30 min." in shown
