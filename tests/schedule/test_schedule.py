"""A schedule's own arithmetic."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.schedule.schedule import Schedule, Segment


def test_a_ramp_takes_its_degrees_over_its_rate() -> None:
    assert Segment(600.0, 100.0).ramp_s(100.0) == 5 * 3600
    assert Segment(600.0, 100.0).ramp_s(1100.0) == 5 * 3600
    assert Segment(600.0, None, "off").ramp_s(1100.0) is None


@pytest.mark.parametrize(
    "arguments", [(900.0, None), (900.0, 60.0, "off"), (900.0, 0.0), (900.0, -60.0)]
)
def test_rates_that_mean_nothing_are_refused(arguments: tuple[object, ...]) -> None:
    with pytest.raises(FiringError):
        Segment(*arguments)  # type: ignore[arg-type]  # that is the point


def test_a_negative_hold_and_an_empty_schedule_are_refused() -> None:
    with pytest.raises(FiringError, match="negative"):
        Segment(900.0, 60.0, hold_s=-1.0)
    with pytest.raises(FiringError, match="at least one segment"):
        Schedule("t", ())


def test_room_temperature_is_the_start_unless_the_kiln_is_hot() -> None:
    segments = (Segment(900.0, 60.0),)
    assert Schedule("t", segments, start_c=12.0).room_c == 12.0
    assert Schedule("t", segments, start_c=300.0).room_c == 20.0


@given(st.lists(st.floats(30.0, 1300.0), min_size=1, max_size=10))
def test_the_peak_segment_is_the_last_one_at_the_peak(targets: list[float]) -> None:
    schedule = Schedule("t", tuple(Segment(target, 60.0) for target in targets))
    assert targets[schedule.peak_index] == max(targets) == schedule.peak_c
    assert all(target < max(targets) for target in targets[schedule.peak_index + 1 :])
