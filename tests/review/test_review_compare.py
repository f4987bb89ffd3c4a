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
    assert "can't show which" in remark


def test_a_log_of_another_plan_is_set_beside_for_its_heat_work_alone(tmp_path: Path) -> None:
    logs = [made_log(tmp_path, plan, name=f"{n}.csv") for n, plan in enumerate((BISQUE, GLAZE))]
    result = review(as_schedule(BISQUE), logs[0], compare_with=logs[1])
    assert result.comparison is not None
    data = result.to_dict()["compare"]
    assert data["compared"] is False
    assert data["segments"] == []
    assert "only the heat-work compares" in data["remarks"][0]


def test_of_several_firings_the_middle_one_is_the_yardstick(tmp_path: Path) -> None:
    faults = [None, Faults(power_factor=0.95), Faults(power_factor=0.7), Faults(stop_at_c=640.0)]
    others = [
        made_log(tmp_path, GLAZE, faults=each, name=f"other{number}.csv")
        for number, each in enumerate(faults)
    ]
    this = made_log(tmp_path, GLAZE, faults=Faults(outage_at_c=700.0, outage_s=7200.0))
    result = review(as_schedule(GLAZE), this, compare_with=others)
    comparison = result.comparison
    assert comparison is not None
    # Three of them ended: the one with a little less power lies between the other two.
    assert comparison.other.log.name == "other1.csv"
    assert len(comparison.logs) == 4
    two = comparison.series[1]
    assert two.least_s <= two.median_s <= two.most_s
    assert two.this_s is not None
    assert any(words.startswith("Segment 2 took") for words in comparison.remarks)
    assert result.to_dict()["compare"]["series"][1]["median_s"] == two.median_s
