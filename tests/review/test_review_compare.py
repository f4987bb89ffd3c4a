"""Two firings of one plan beside each other."""

from pathlib import Path

import pytest
from logmaker import BISQUE, GLAZE, Faults, PlanStep, Sampling, fire
from review.made_firings import as_schedule, made_log

from firing.review.result import Comparison
from firing.review.review import review


def compared(
    folder: Path,
    plan: tuple[PlanStep, ...],
    this: Faults | None,
    other: Faults | None,
) -> Comparison:
    logs = [
        made_log(folder, plan, faults=faults, sampling=Sampling(interval_s=60.0), name=name)
        for faults, name in ((this, "this.csv"), (other, "other.csv"))
    ]
    result = review(as_schedule(plan), logs[0], compare_with=logs[1])
    assert result.comparison is not None
    return result.comparison


def test_a_firing_beside_itself_differs_in_nothing(tmp_path: Path) -> None:
    comparison = compared(tmp_path, BISQUE, None, None)
    assert all(pair.difference_s == 0.0 for pair in comparison.segments)
    assert comparison.cooling is not None
    assert comparison.cooling.this_s == comparison.cooling.other_s
    assert comparison.remarks == ("Nothing differs by more than two firings of one program do.",)


def test_the_difference_is_the_truth_and_turns_with_the_order(tmp_path: Path) -> None:
    weak = Faults(power_factor=0.78)
    healthy, slow = fire(GLAZE), fire(GLAZE, faults=weak)
    assert healthy.program_end_s is not None
    assert slow.program_end_s is not None
    truth_s = slow.program_end_s - healthy.program_end_s
    one = compared(tmp_path, GLAZE, weak, None).to_dict()
    two = compared(tmp_path, GLAZE, None, weak).to_dict()
    assert one["difference_s"] == pytest.approx(truth_s, abs=300.0)
    assert one["difference_s"] == pytest.approx(-two["difference_s"])
    total_s = sum(pair["difference_s"] for pair in one["segments"])
    assert total_s == pytest.approx(one["difference_s"], abs=1.0)
    assert one["causes"][0]["cause"] == "power_limited"
    assert any("longer than other.csv" in remark for remark in one["remarks"])


def test_a_vent_left_on_shows_beside_a_firing_without(tmp_path: Path) -> None:
    comparison = compared(tmp_path, BISQUE, Faults(vent_on=True), None)
    assert comparison.cooling is not None
    assert comparison.cooling.this_s < 0.9 * comparison.cooling.other_s
    remark = next(words for words in comparison.remarks if "cooled" in words)
    assert "faster" in remark
    assert "cannot tell which" in remark


def test_a_log_of_another_plan_is_set_beside_for_its_heat_work_alone(tmp_path: Path) -> None:
    logs = [made_log(tmp_path, plan, name=f"{n}.csv") for n, plan in enumerate((BISQUE, GLAZE))]
    result = review(as_schedule(BISQUE), logs[0], compare_with=logs[1])
    assert result.comparison is not None
    data = result.to_dict()["compare"]
    assert data["compared"] is False
    assert data["segments"] == []
    assert "only the heat-work compares" in data["remarks"][0]
