"""Programs with a segment more, a segment less, or one left early: against the log maker's truth.

Truth is the firing with the other program minus its twin that ran the plan.
"""

from collections.abc import Sequence
from pathlib import Path

import pytest
from logmaker import BISQUE, GLAZE, Controller, Faults, Firing, PlanStep, Sampling, fire, sample
from logmaker import write_csv as write
from review.confusion import as_schedule

from firing.logs.reader import read_log
from firing.review.result import Review
from firing.review.review import review

HOUR = 3600.0
SLOW = ((50.0, 110.0, 2 * HOUR), (60.0, 300.0, 0.0), (30.0, 600.0, 0.0), (100.0, 900.0, 900.0))
HELD = ((100.0, 200.0, 0.0), (180.0, 600.0, HOUR), *GLAZE[1:])


def reviewed(
    plan: Sequence[PlanStep], folder: Path, faults: Faults, controller: Controller, seed: int = 1
) -> tuple[Firing, Review]:
    firing = fire(plan, controller=controller, faults=faults)
    sampling = Sampling(interval_s=30.0, noise_c=0.2, step_c=0.25, seed=seed)
    log = read_log(write(sample(firing, sampling), folder / "log.csv"))
    return firing, review(as_schedule(plan), log)


@pytest.mark.parametrize("waits", [True, False], ids=["waits", "clock"])
@pytest.mark.parametrize(
    ("plan", "keyed_in", "cause", "words"),
    [
        pytest.param(GLAZE, GLAZE[1:], "other_program", "skipped", id="first left out"),
        pytest.param(
            GLAZE, (GLAZE[0], *GLAZE[2:]), "other_program", "skipped", id="middle left out"
        ),
        pytest.param(BISQUE, (BISQUE[0], BISQUE[2]), "other_program", "skipped", id="to the next"),
        pytest.param(
            GLAZE,
            (GLAZE[0], (180.0, 700.0, 0.0), *GLAZE[2:]),
            "other_program",
            "left early",
            id="left at 700",
        ),
        pytest.param(GLAZE, HELD, "longer_hold", "stood at 600 °C", id="a hold more"),
        pytest.param(BISQUE, SLOW, "other_program", "steadily at 30 °C/h", id="a ramp more"),
    ],
)
def test_another_list_of_segments_is_told_as_such(
    plan: Sequence[PlanStep],
    keyed_in: Sequence[PlanStep],
    cause: str,
    words: str,
    waits: bool,
    tmp_path: Path,
) -> None:
    controller = Controller(waits=waits)
    made, answer = reviewed(plan, tmp_path, Faults(keyed_in=keyed_in), controller)
    twin = fire(plan, controller=controller)
    assert made.program_end_s is not None
    assert twin.program_end_s is not None
    assert answer.actual_s is not None
    true_s = made.program_end_s - twin.program_end_s
    largest = answer.causes[0]
    assert largest.cause == cause
    assert largest.seconds == pytest.approx(true_s, abs=max(0.15 * abs(true_s), 300.0))
    assert words in largest.evidence
    total_s = sum(share.seconds for share in answer.causes)
    assert total_s == pytest.approx(answer.actual_s - answer.planned_s, abs=1e-6)


def test_segments_after_the_plans_last_are_a_finding_and_no_opened_lid(tmp_path: Path) -> None:
    longer = (*GLAZE, (40.0, 800.0, 0.0))
    made, answer = reviewed(GLAZE, tmp_path, Faults(keyed_in=longer), Controller())
    found = {finding.id: finding for finding in answer.findings}
    assert "cooled to 79" in found["ran_beyond"].message or "800 °C" in found["ran_beyond"].message
    assert "lid_opened" not in found
    assert answer.actual_s is not None
    planned_end_s = made.boundaries[3].ramp_end_s
    assert planned_end_s is not None
    assert answer.actual_s == pytest.approx(planned_end_s, abs=300.0)


def test_a_cooling_segment_left_out_cooled_by_itself(tmp_path: Path) -> None:
    _, answer = reviewed(GLAZE, tmp_path, Faults(keyed_in=GLAZE[:3]), Controller())
    assert answer.causes[0].cause == "fast_cooling"
    assert "cool by itself" in answer.causes[0].evidence


def test_a_program_that_ended_between_segments_was_stopped_there(tmp_path: Path) -> None:
    _, answer = reviewed(GLAZE, tmp_path, Faults(keyed_in=GLAZE[:2]), Controller())
    stopped = next(finding for finding in answer.findings if finding.id == "stopped_early")
    assert "segment 3, to 1222 °C, was never run" in stopped.message


@pytest.mark.parametrize("plan", [BISQUE, GLAZE], ids=["bisque", "glaze"])
@pytest.mark.parametrize("power", [0.55, 0.45])
def test_a_clock_run_kiln_far_below_its_target_missed_it_and_was_not_stopped(
    plan: Sequence[PlanStep], power: float, tmp_path: Path
) -> None:
    weak = Faults(power_factor=power)
    made, answer = reviewed(plan, tmp_path, weak, Controller(waits=False))
    assert max(target for _, target, _ in plan) - max(made.reading_c) > 25.0
    found = {finding.id for finding in answer.findings}
    assert "peak_missed" in found
    assert "stopped_early" not in found
    assert made.program_end_s is not None
    assert answer.actual_s == pytest.approx(made.program_end_s, abs=600.0)
    late = [share for share in answer.causes if share.seconds > 600.0]
    assert [share.cause for share in late] in ([], ["power_limited"])


def test_a_firing_stopped_by_hand_is_still_one(tmp_path: Path) -> None:
    _, answer = reviewed(BISQUE, tmp_path, Faults(stop_at_c=700.0), Controller(waits=False))
    assert "stopped_early" in {finding.id for finding in answer.findings}
