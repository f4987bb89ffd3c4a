"""What a review says to a potter: the words of firings that are cut, weak, hot, or only untidy."""

from pathlib import Path

import pytest
from logmaker import (
    BISQUE,
    GLAZE,
    Controller,
    Faults,
    PlanStep,
    Sampling,
    fire,
    sample,
    write_csv,
)
from review.made_firings import as_schedule, finding, made_log

from firing.logs.reader import read_log
from firing.report.review import review_answer, review_report
from firing.report.text import render_text
from firing.review.result import Review
from firing.review.review import review
from firing.schedule.schedule import Schedule, Segment

HOUR = 3600.0
HOT: tuple[PlanStep, ...] = (*BISQUE[:2], (100.0, 940.0, 900.0))


def reviewed(
    folder: Path,
    plan: tuple[PlanStep, ...] = BISQUE,
    *,
    waits: bool = True,
    faults: Faults | None = None,
    sampling: Sampling | None = None,
) -> Review:
    log = made_log(folder, plan, waits=waits, faults=faults, sampling=sampling)
    return review(as_schedule(plan), log)


def test_a_log_that_begins_inside_is_not_said_to_stop(tmp_path: Path) -> None:
    answer = reviewed(tmp_path, sampling=Sampling(interval_s=60.0, from_s=8 * HOUR))
    first, second = review_answer(answer)
    assert "begins inside the firing" in first
    assert "segment 3 is complete in it" in first
    assert second.startswith("What is in it amounts to")


def test_a_log_that_ends_inside_says_how_far_it_came(tmp_path: Path) -> None:
    answer = reviewed(tmp_path, sampling=Sampling(interval_s=60.0, until_s=9 * HOUR))
    assert review_answer(answer)[0] == (
        "The log ends after 9 h 00 min, within segment 2 of the program of 15 h 13 min."
    )
    assert answer.to_dict()["ended"] == "log"


@pytest.mark.parametrize(("from_s", "until_s"), [(0.0, 14 * HOUR), (14.3 * HOUR, None)])
def test_a_part_of_the_peak_tells_no_cone_as_missed(
    tmp_path: Path, from_s: float, until_s: float | None
) -> None:
    part = Sampling(interval_s=60.0, from_s=from_s, until_s=until_s)
    answer = reviewed(tmp_path, sampling=part)
    assert finding(answer, "cone_missed") is None
    assert finding(answer, "cone_open") is not None


def test_a_stopped_firing_says_when_and_how_to_go_on(tmp_path: Path) -> None:
    answer = reviewed(tmp_path, faults=Faults(stop_at_c=640.0))
    assert review_answer(answer)[0].startswith("Stopped after 12 h 20 min, within segment 3 ")
    stopped, missed = finding(answer, "stopped_early"), finding(answer, "cone_missed")
    assert stopped is not None
    assert "firing resume" in stopped.next_step
    assert missed is not None
    assert "longer hold" not in missed.next_step


def test_a_weak_kiln_stopped_by_hand_is_said_to_have_been_short_of_power(tmp_path: Path) -> None:
    weak = Faults(power_factor=0.5, stop_at_s=18 * HOUR)
    answer = reviewed(tmp_path, GLAZE, faults=weak)
    stopped = finding(answer, "stopped_early")
    assert stopped is not None
    assert "short of power" in stopped.evidence
    # what is known so far accounts for every minute of the segments that are over
    assert answer.finished
    assert sum(c.seconds for c in answer.causes_so_far) == pytest.approx(answer.late_so_far_s)


def test_a_peak_missed_by_the_clock_is_put_down_to_power(tmp_path: Path) -> None:
    answer = reviewed(tmp_path, waits=False, faults=Faults(power_factor=0.5))
    missed = finding(answer, "peak_missed")
    assert missed is not None
    assert missed.severity == "act"
    assert "short of power" in missed.message
    assert "ended on time" in missed.message
    assert "100 °C/h was set" in missed.evidence
    # What is to be done comes before what it led to.
    ids = [found.id for found in answer.findings]
    assert ids.index("peak_missed") < ids.index("cone_missed")


def test_a_lower_target_keyed_in_is_no_want_of_power(tmp_path: Path) -> None:
    cold = (*BISQUE[:2], (100.0, 860.0, 900.0))
    missed = finding(reviewed(tmp_path, faults=Faults(keyed_in=cold)), "peak_missed")
    assert missed is not None
    assert "power" not in missed.message
    assert "keyed-in program" in missed.next_step


@pytest.mark.parametrize("waits", [True, False], ids=["waits", "clock"])
@pytest.mark.parametrize(
    ("plan", "keyed_in"),
    [(BISQUE, HOT), (GLAZE, (*GLAZE[:2], (80.0, 1240.0, 900.0), GLAZE[3]))],
    ids=["bisque", "glaze"],
)
def test_a_higher_target_keyed_in_is_another_program(
    tmp_path: Path, plan: tuple[PlanStep, ...], keyed_in: tuple[PlanStep, ...], waits: bool
) -> None:
    answer = reviewed(tmp_path, plan, waits=waits, faults=Faults(keyed_in=keyed_in))
    made = fire(plan, controller=Controller(waits=waits), faults=Faults(keyed_in=keyed_in))
    twin = fire(plan, controller=Controller(waits=waits))
    assert made.program_end_s is not None
    assert twin.program_end_s is not None
    true_s = made.program_end_s - twin.program_end_s
    other_s = sum(c.seconds for c in answer.causes if c.cause == "other_program")
    assert answer.causes[0].cause == "other_program"
    assert other_s == pytest.approx(true_s, abs=300.0)
    passed = finding(answer, "peak_passed")
    assert passed is not None
    assert "relay" not in passed.next_step


def test_a_stuck_relay_is_thought_of_where_nothing_held_the_peak(tmp_path: Path) -> None:
    runaway = (*BISQUE[:2], (100.0, 990.0, 0.0))
    passed = finding(reviewed(tmp_path, faults=Faults(keyed_in=runaway)), "peak_passed")
    assert passed is not None
    assert "relay" in passed.next_step


def test_half_an_hour_late_is_not_nothing_wrong(tmp_path: Path) -> None:
    late = Faults(keyed_in=((50.0, 110.0, 2.5 * HOUR), *BISQUE[1:]))
    answer = reviewed(tmp_path, faults=late)
    assert finding(answer, "nothing_wrong") is None
    assert finding(answer, "ran_long") is not None


def test_what_evens_out_is_told_all_the_same(tmp_path: Path) -> None:
    # An hour more of hold, and 300 °C at 150 instead of 100 °C/h: an hour less of ramp.
    other = ((50.0, 110.0, 3 * HOUR), BISQUE[1], (150.0, 900.0, 900.0))
    answer = reviewed(tmp_path, faults=Faults(keyed_in=other))
    assert abs(answer.excess_s or 0.0) < 300.0
    told = finding(answer, "evened_out")
    assert told is not None
    assert "+1 h 00 min" in told.message
    assert "−1 h 00 min" in told.message
    assert finding(answer, "nothing_wrong") is None


def test_a_drying_hold_that_was_cut_short_is_not_left_to_the_cone(tmp_path: Path) -> None:
    short = Faults(keyed_in=((50.0, 110.0, 0.0), *BISQUE[1:]))
    ran_short = finding(reviewed(tmp_path, faults=short), "ran_short")
    assert ran_short is not None
    assert "dries" in ran_short.next_step


def test_a_slow_cooling_left_out_is_not_blamed_on_the_lid_alone(tmp_path: Path) -> None:
    ran_short = finding(reviewed(tmp_path, GLAZE, faults=Faults(keyed_in=GLAZE[:3])), "ran_short")
    assert ran_short is not None
    assert "keyed in" in ran_short.next_step


def test_a_kiln_quicker_than_forecast_at_full_power_is_not_short_of_it(tmp_path: Path) -> None:
    plan: tuple[PlanStep, ...] = ((None, 600.0, 0.0), (100.0, 900.0, 900.0))
    answer = reviewed(tmp_path, plan)
    assert answer.excess_s is not None
    assert answer.excess_s < -600.0
    assert {c.cause for c in answer.causes} == {"unexplained"}
    assert "--kiln" in answer.causes[0].evidence


def test_without_a_kiln_file_the_reason_for_want_of_power_stays_open(tmp_path: Path) -> None:
    answer = reviewed(tmp_path, GLAZE, faults=Faults(power_factor=0.78))
    told = finding(answer, "power_cause_open")
    assert told is not None
    assert "--kiln" in told.next_step
    # The text says what was seen once, under the account.
    words = " ".join(render_text(review_report(answer), width=100).split())
    assert words.count("it slowed steadily as it got hotter") == 2
    assert 'see "Where the time went"' in words


@pytest.mark.parametrize(
    "faults",
    [
        Faults(),
        Faults(power_factor=0.78),
        Faults(stop_at_c=700.0),
        Faults(outage_at_c=700.0, outage_s=2400.0),
        Faults(thermocouple_offset_c=-20.0),
        Faults(lid_propped_at_c=500.0),
        Faults(keyed_in=GLAZE[:3]),
    ],
    ids=["healthy", "weak", "stopped", "outage", "low", "lid", "no slow cooling"],
)
def test_an_owner_who_plans_in_fahrenheit_reads_no_celsius(tmp_path: Path, faults: Faults) -> None:
    segments = tuple(Segment(t, rate, "rate", hold_s) for rate, t, hold_s in GLAZE)
    plan = Schedule("made", segments, "glaze", unit="F")
    text = render_text(
        review_report(review(plan, made_log(tmp_path, GLAZE, faults=faults))), width=100
    )
    told = text[: text.index("\nThe log\n")]  # how the file was read is said in the file's own unit
    assert "°F" in told
    assert "°C" not in told


def test_two_rates_that_print_alike_are_not_set_against_each_other(tmp_path: Path) -> None:
    # 300 °C at 35 and at 35.3 °C/h are 8 h 34 min and 8 h 30 min, and both print as 35 °C/h.
    minutes = range(0, int(60 * (5.8 + 300.0 / 35.3)), 5)
    rows = [f"{n // 60:02d}:{n % 60:02d}:00,{min(20 + n / 0.6, 600 + (n - 348) * 35.3 / 60):.1f}"
            for n in minutes]  # fmt: skip
    log = tmp_path / "log.csv"
    log.write_text("\n".join(["time,kiln (°C)", *rows, "14:19:00,900.0", "14:50:00,840.0"]))
    plan = Schedule("p", (Segment(600.0, 100.0), Segment(900.0, 35.0)), purpose="bisque")
    told = [cause.evidence for cause in review(plan, read_log(log)).causes]
    assert "segment 2 ran a little faster than its 35 °C/h" in told


def test_a_kiln_that_begins_colder_than_the_plan_is_no_program_keyed_in_otherwise(
    tmp_path: Path,
) -> None:
    """It begins at 15 °C where 20 are planned: 5 K at 20 °C/h are 15 minutes more."""
    slow: tuple[PlanStep, ...] = ((20.0, 110.0, 2 * HOUR), *BISQUE[1:])
    made = fire(slow, start_c=15.0, room_c=15.0)
    path = write_csv(sample(made, Sampling(interval_s=60.0)), tmp_path / "log.csv")
    answer = review(as_schedule(slow), read_log(path))
    assert finding(answer, "ran_long") is None
    waited = next(c for c in answer.causes if c.cause == "waiting")
    assert waited.seconds == pytest.approx(15 * 60.0, abs=300.0)
    assert "began at 1" in waited.evidence
    assert waited.suggestions == ()
    assert "other_program" not in {c.cause for c in answer.causes}
    shown = render_text(review_report(answer))
    assert "Read the keyed-in" not in shown
    assert "began at 1" in shown


def test_a_slow_cooling_that_was_skipped_asks_for_something(tmp_path: Path) -> None:
    """Its ware lacks the crystals the plan slows for, and the next firing will, too."""
    answer = reviewed(tmp_path, GLAZE, faults=Faults(keyed_in=GLAZE[:3]))
    skipped = finding(answer, "segment_skipped")
    assert skipped is not None
    assert "Read the program back" in skipped.next_step
    assert answer.needs_action


def test_bisque_that_came_out_too_hot_has_no_glaze_that_could_have_run(tmp_path: Path) -> None:
    answer = reviewed(tmp_path, BISQUE, faults=Faults(keyed_in=HOT))
    again = finding(answer, "refire")
    assert again is not None
    assert "that ran" not in again.next_step
    assert "bloating" in again.next_step
