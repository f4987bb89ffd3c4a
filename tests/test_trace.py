"""Traces: shapes are checked once, and time above a level follows from straight lines."""

from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.trace import Trace


def _trace(time_s: list[float], temperature_c: list[float]) -> Trace:
    return Trace(np.array(time_s), np.array(temperature_c), ("kiln",), "measured")


def test_one_channel_may_be_given_flat() -> None:
    trace = _trace([0, 1], [20, 21])
    assert trace.temperature_c.shape == (2, 1)
    assert trace.channel_c("kiln")[1] == 21


@pytest.mark.parametrize(
    ("time_s", "temperature_c"),
    [([0, 1], [20, 21, 22]), ([0, 0], [20, 21]), ([1, 0], [20, 21]), ([0, np.nan], [20, 21])],
)
def test_shapes_and_times_that_disagree_are_refused(
    time_s: list[float], temperature_c: list[float]
) -> None:
    with pytest.raises(FiringError):
        _trace(time_s, temperature_c)


def test_a_start_without_a_time_zone_is_refused() -> None:
    with pytest.raises(FiringError, match="time zone"):
        Trace(np.array([0.0]), np.array([20.0]), ("k",), "measured", started=datetime(2026, 1, 1))


def test_an_unknown_channel_is_refused_with_the_known_ones() -> None:
    with pytest.raises(FiringError, match="there are: kiln"):
        _trace([0, 1], [20, 21]).channel_c("top")


def test_the_arrays_cannot_be_changed_behind_its_back() -> None:
    trace = _trace([0, 1], [20, 21])
    with pytest.raises(ValueError, match="read-only"):
        trace.temperature_c[0, 0] = 5.0


def test_the_arrays_it_was_made_from_stay_their_owners() -> None:
    time_s, temperature_c, duty = np.array([0.0, 1.0]), np.array([20.0, 21.0]), np.array([0.0, 1.0])
    trace = Trace(time_s, temperature_c, ("kiln",), "measured", duty)
    for array in (time_s, temperature_c, duty):
        array[:] = 7.0
    assert trace.time_s.tolist() == [0.0, 1.0]
    assert trace.channel_c().tolist() == [20.0, 21.0]
    assert trace.duty is not None
    assert trace.duty.tolist() == [0.0, 1.0]


@given(
    peak_c=st.floats(100.0, 1300.0),
    level_share=st.floats(0.0, 1.0),
    up_s=st.floats(10.0, 1e5),
    down_s=st.floats(10.0, 1e5),
)
def test_time_above_a_level_of_a_triangle(
    peak_c: float, level_share: float, up_s: float, down_s: float
) -> None:
    # Similar triangles: the part above a share s of the height is 1 − s of the base.
    trace = _trace([0.0, up_s, up_s + down_s], [0.0, peak_c, 0.0])
    above_s = trace.seconds_above(level_share * peak_c)
    assert above_s == pytest.approx((1.0 - level_share) * (up_s + down_s), rel=1e-9, abs=1e-6)


def test_a_level_at_a_plateau_counts_only_what_is_above_it() -> None:
    trace = _trace([0, 10, 20], [500, 500, 600])
    assert trace.seconds_above(500.0) == pytest.approx(10.0)
    assert trace.seconds_above(400.0) == pytest.approx(20.0)
    assert trace.seconds_above(700.0) == 0.0
