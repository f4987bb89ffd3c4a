"""Controllers: rounding to their steps, and the file."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.controller.controller import Controller
from firing.controller.file import ControllerTable, open_controller, parse_controller
from firing.errors import FiringError
from firing.files.tomlfile import FaultyFile

EXAMPLE = Path(__file__).parents[2] / "schedules" / "example-controller.toml"

controllers = st.builds(
    Controller,
    unit=st.sampled_from(["C", "F"]),
    notation=st.sampled_from(["rate", "time"]),
    rate_min=st.sampled_from([1.0, 5.0]),
    rate_max=st.sampled_from([300.0, 600.0]),
    rate_step=st.sampled_from([0.5, 1.0, 5.0]),
    target_step=st.sampled_from([1.0, 5.0]),
    hold_step_s=st.sampled_from([60.0, 900.0]),
)


@given(controllers, st.floats(1.0, 1000.0), st.floats(0.5, 900.0), st.floats(0.0, 1e6))
def test_a_keyed_ramp_is_never_faster_than_allowed(
    controller: Controller, span_c: float, most: float, least_s: float
) -> None:
    taken = float(controller.ramp_s(np.array(span_c), np.array(most), np.array(least_s)))
    factor = 1.8 if controller.unit == "F" else 1.0
    if not np.isfinite(taken):
        slowest_s = span_c * factor / controller.rate_min * 3600.0
        coarse = max(controller.rate_step, controller.rate_min)
        too_slow = min(most, span_c / max(least_s, 1e-9) * 3600.0) * factor < coarse * (1.0 + 1e-6)
        assert too_slow or taken > slowest_s - 60.0
        return
    rate = span_c / taken * 3600.0
    assert rate <= most * (1.0 + 1e-6)
    assert taken >= least_s * (1.0 - 1e-6)
    assert rate * factor <= controller.rate_max * (1.0 + 1e-6)
    assert rate * factor >= controller.rate_min * (1.0 - 1e-6)
    if controller.notation == "time":
        assert taken / 60.0 == pytest.approx(round(taken / 60.0))
    else:
        steps = rate * factor / controller.rate_step
        assert steps == pytest.approx(round(steps), abs=1e-6)


@given(controllers, st.floats(0.0, 1e6))
def test_a_keyed_hold_is_never_shorter_and_less_than_a_step_longer(
    controller: Controller, hold_s: float
) -> None:
    keyed = float(controller.hold_up_s(np.array(hold_s)))
    assert hold_s - 0.01 <= keyed < hold_s + controller.hold_step_s + 0.01


@given(controllers, st.floats(0.0, 1300.0))
def test_targets_are_keyed_in_the_controllers_own_degrees(
    controller: Controller, target_c: float
) -> None:
    low, near, high = (
        controller.target_down_c(target_c),
        controller.nearest_target_c(target_c),
        controller.target_up_c(target_c),
    )
    assert low - 1e-4 <= target_c <= high + 1e-4
    assert near in (pytest.approx(low), pytest.approx(high))
    factor, zero = (1.8, 32.0) if controller.unit == "F" else (1.0, 0.0)
    assert (near * factor + zero) / controller.target_step == pytest.approx(
        round((near * factor + zero) / controller.target_step), abs=1e-6
    )


def test_rates_between_two_are_all_its_steps() -> None:
    assert Controller(rate_step=5.0).rates_c_per_h(14.0, 31.0) == [15.0, 20.0, 25.0, 30.0]
    fahrenheit = Controller(unit="F", rate_step=9.0).rates_c_per_h(10.0, 20.0)
    assert fahrenheit == pytest.approx([10.0, 15.0, 20.0])


@pytest.mark.parametrize(
    "change", [{"max_segments": 0}, {"rate_min": 700.0}, {"rate_step": 0.0}, {"hold_max_s": 1.0}]
)
def test_impossible_controllers_are_refused(change: dict[str, float]) -> None:
    with pytest.raises(FiringError):
        Controller(**change)  # type: ignore[arg-type]  # one field at a time


def test_the_example_file_is_what_the_format_says() -> None:
    found = open_controller(EXAMPLE)
    assert found == Controller(
        name="Bench controller", max_segments=10, hold_max_s=48 * 3600.0, hold_step_s=60.0
    )


def test_every_fault_of_a_file_is_told_with_its_line() -> None:
    text = 'name = "x"\nmax_segments = 0\nnotation = "rates"\nhold_max = "90"\nspeed = 3\n'
    with pytest.raises(FaultyFile) as caught:
        parse_controller(text, "c.toml")
    lines = str(caught.value).splitlines()
    assert [line.split(":")[1] for line in lines] == ["2", "3", "4", "5"]
    assert "at least 1 segments" in lines[0]
    assert 'did you mean "rate"?' in lines[1]
    assert "names no unit" in lines[2]
    assert "not a key here" in lines[3]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("rate_min = 700", "above rate_max"),
        ("rate_min = 0.1", "slowest rate a schedule may have"),
        ("rate_max = 5\nrate_step = 10", "no rate could be keyed"),
        ('hold_max = "5m"\nhold_step = "10m"', "no hold could be keyed"),
        ("rate_step = nan", "rate_step"),
        ('hold_max = "0m"', "outside 1 s to 100 h"),
        ("waits = 1", "waits"),
        ('name = ""', "plain line"),
        ("max_segments = true", "max_segments"),
    ],
)
def test_slips_are_one_sentence(text: str, words: str) -> None:
    head = "" if text.startswith("name") else 'name = "x"\n'
    more = "" if "max_segments" in text else "max_segments = 8\n"
    with pytest.raises(FaultyFile) as caught:
        parse_controller(head + more + text + "\n", "c.toml")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_schema_names_every_key_of_the_format() -> None:
    assert set(ControllerTable.model_json_schema()["properties"]) == {
        "name", "max_segments", "unit", "notation", "rate_min", "rate_max", "rate_step",
        "target_step", "hold_max", "hold_step", "waits", "controls_cooling",
    }  # fmt: skip
