"""Holds and peaks: consistent with the chart, with each other and with a trace."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.cones.equivalence import cone_reached
from firing.cones.holds import hold_needed, peak_needed
from firing.cones.kinetics import end_point_c
from firing.cones.table import CONES
from firing.errors import FiringError


@pytest.mark.parametrize("rate", [15.0, 60.0, 150.0])
def test_no_jump_between_no_hold_and_a_minute(subtests: pytest.Subtests, rate: float) -> None:
    for cone in CONES:
        with subtests.test(cone):
            end_c = end_point_c(cone, rate)
            assert peak_needed(cone, 0.0, rate).peak_c == pytest.approx(end_c, abs=1e-9)
            # On a ramp one minute is rate/60 kelvin: a minute's hold can save no more than that.
            after_a_minute_c = peak_needed(cone, 60.0, rate).peak_c
            assert 0.0 < end_c - after_a_minute_c <= rate / 60.0
            assert hold_needed(cone, end_c - 0.01, rate).hold_s <= 60.0


@settings(max_examples=60)
@given(
    cone=st.sampled_from(CONES),
    minutes=st.floats(1.0, 60.0),
    rate=st.floats(15.0, 150.0),
)
def test_peak_and_hold_answer_each_other(cone: str, minutes: float, rate: float) -> None:
    peak = peak_needed(cone, minutes * 60.0, rate)
    hold = hold_needed(cone, peak.peak_c, rate)
    assert hold.hold_s == pytest.approx(minutes * 60.0, abs=0.5)
    assert hold.low_s <= hold.hold_s <= hold.high_s
    assert peak.low_c <= peak.peak_c <= peak.high_c


@pytest.mark.parametrize(
    ("cone", "below_c", "rate"), [("6", 22, 60), ("04", 15, 100), ("10", 30, 80)]
)
def test_a_trace_with_that_hold_reaches_the_cone(cone: str, below_c: float, rate: float) -> None:
    at_c = end_point_c(cone, rate) - below_c
    up_s = (at_c - 20.0) / rate * 3600.0
    hold_s = hold_needed(cone, at_c, rate).hold_s
    progress = cone_reached(
        np.array([0.0, up_s, up_s + hold_s]), np.array([20.0, at_c, at_c])
    ).by_cone[cone]
    assert progress.heatwork == pytest.approx(1.0, abs=1e-5)
    assert progress.approach_rate_c_per_h == pytest.approx(rate)


def test_above_the_end_point_no_hold_is_needed() -> None:
    above = hold_needed("6", 1240.0)
    assert (above.hold_s, above.low_s) == (0.0, 0.0)
    assert any("18 °C above the end point" in warning for warning in above.warnings)
    assert hold_needed("6", 1222.0).hold_s == 0.0
    assert not hold_needed("6", 1222.0).warnings


def test_answers_say_that_holds_are_inferred() -> None:
    for warnings in (hold_needed("6", 1200.0).warnings, peak_needed("6", 1800.0).warnings):
        assert any("inference" in warning for warning in warnings)
    assert peak_needed("6", 0.0).warnings == ()


@pytest.mark.parametrize(
    ("cone", "rate", "said"),
    [
        ("6", 200.0, "faster than the 150 °C/h"),
        ("6", 10.0, "slower than the 15 °C/h"),
        ("020", 30.0, "gives cone 020 from 60 °C/h only"),
        ("022", 60.0, "doubtful"),
    ],
)
def test_rates_outside_the_chart_are_warned_of(cone: str, rate: float, said: str) -> None:
    at_c = end_point_c(cone, rate) - 5.0
    assert any(said in warning for warning in hold_needed(cone, at_c, rate).warnings)
    assert any(said in warning for warning in peak_needed(cone, 600.0, rate).warnings)


@pytest.mark.parametrize(
    ("cone", "at_c", "rate", "said"),
    [
        ("6", 1100.0, 60.0, "write 1142 °C or more"),
        ("14", 1290.0, 60.0, "no hold above 24 h"),
        ("6", 1200.0, 0.0, "5 to 400 °C/h"),
        ("6", 1200.0, -60.0, "5 to 400 °C/h"),
        ("6", 1200.0, 500.0, "5 to 400 °C/h"),
        ("6", 1200.0, math.nan, "5 to 400 °C/h"),
        ("6", math.nan, 60.0, "not a temperature"),
        ("6", math.inf, 60.0, "not a temperature"),
        ("6.25", 1200.0, 60.0, "nearest are 6 and 7"),
    ],
)
def test_unsupported_holds_are_refused(cone: str, at_c: float, rate: float, said: str) -> None:
    with pytest.raises(FiringError, match=said):
        hold_needed(cone, at_c, rate)


@pytest.mark.parametrize(
    ("cone", "hold_s", "rate", "said"),
    [
        ("6", -60.0, 60.0, "0 to 24 h"),
        ("6", math.nan, 60.0, "0 to 24 h"),
        ("6", 25 * 3600.0, 60.0, "0 to 24 h"),
        ("6", 400 * 3600.0, 60.0, "0 to 24 h"),
        ("6", 24 * 3600.0, 60.0, "write a shorter hold"),
        ("6", 600.0, 0.0, "5 to 400 °C/h"),
        ("42", 600.0, 60.0, "hottest is 14"),
    ],
)
def test_unsupported_peaks_are_refused(cone: str, hold_s: float, rate: float, said: str) -> None:
    with pytest.raises(FiringError, match=said):
        peak_needed(cone, hold_s, rate)


def test_answers_become_json_keys() -> None:
    hold = hold_needed("cone 6", 1200.0).to_dict()
    assert {"cone", "at_c", "rate_c_per_h", "hold_s", "low_s", "high_s", "warnings"} <= set(hold)
    peak = peak_needed("6", 1800.0).to_dict()
    assert {"cone", "hold_s", "rate_c_per_h", "peak_c", "low_c", "high_c"} <= set(peak)
    assert hold["cone"] == "6"
