"""The cone a trace reached, its running number and its range."""

import json
import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.cones.equivalence import ConeVerdict, approach_rates_c_per_h, cone_reached
from firing.cones.kinetics import cone_law, end_point_c, laws
from firing.cones.table import CONES, cone_number
from firing.cones.uncertainty import budget
from firing.errors import FiringError
from firing.report.listings import heatwork_report
from firing.report.text import render_text

FloatArray = npt.NDArray[np.float64]


def ramp(top_c: float, rate_c_per_h: float = 60.0) -> tuple[FloatArray, FloatArray]:
    return np.array([0.0, (top_c - 20.0) / rate_c_per_h * 3600.0]), np.array([20.0, top_c])


def with_hold(top_c: float, hold_s: float) -> tuple[FloatArray, FloatArray]:
    time_s, temperature_c = ramp(top_c)
    return np.append(time_s, time_s[-1] + hold_s), np.append(temperature_c, top_c)


def number(verdict: ConeVerdict) -> float:
    assert verdict.reached_number is not None
    return verdict.reached_number


def test_between_two_cones_the_number_lies_between() -> None:
    verdict = cone_reached(*ramp(1230.0))
    assert verdict.reached == "6"
    assert 6.0 < number(verdict) < 7.0
    low, high = verdict.low, verdict.high
    assert low is not None
    assert high is not None
    assert low < number(verdict) < high


def test_a_shorter_firing_of_the_same_rise_is_not_down() -> None:
    verdict = cone_reached(*ramp(1221.0))
    assert verdict.reached == "5.5"
    # One of the 19 degrees from 5.5 to 6 is no tenth of a cone: text and JSON say the same one.
    assert verdict.words.startswith("cone 6 (")
    assert verdict.reached_as_printed == verdict.to_dict()["reached"] == "6"
    rows = heatwork_report(verdict, 0.0, "a ramp")
    assert " as good as down" in next(
        line for line in render_text(rows).splitlines() if line.split()[:1] == ["6"]
    )
    assert verdict.by_cone["6"].reached_s is None
    assert verdict.by_cone["6"].heatwork < 1.0


def test_below_the_coldest_cone_nothing_is_reached() -> None:
    verdict = cone_reached(*ramp(500.0))
    assert (verdict.reached, verdict.reached_number, verdict.high) == (None, None, None)
    assert any("below cone 022" in warning for warning in verdict.warnings)


def test_above_the_hottest_cone_the_number_is_capped_and_said_so() -> None:
    verdict = cone_reached(*ramp(1450.0))
    assert (verdict.reached, verdict.reached_number) == ("14", 14.0)
    assert any("hottest one in the chart" in warning for warning in verdict.warnings)


def test_the_budget_adds_in_quadrature_and_widens_the_range() -> None:
    plain, measured = cone_reached(*ramp(1230.0)), cone_reached(*ramp(1230.0), 9.0)
    part = measured.budget
    assert part.cone_c == 2.0
    assert measured.budget_c == pytest.approx(math.sqrt(2.0**2 + part.law_c**2 + 9.0**2))
    assert number(measured) == pytest.approx(number(plain), abs=1e-9)
    assert measured.low is not None
    assert plain.low is not None
    assert measured.low < plain.low


def test_the_range_is_the_firing_moved_by_the_budget() -> None:
    # Far from the reference the approach rate stays 60 °C/h, so a hotter ramp is the same shift.
    verdict = cone_reached(*ramp(1222.0))
    off_c = budget(cone_law("6")).total_c
    assert verdict.low == pytest.approx(number(cone_reached(*ramp(1222.0 - off_c))), abs=0.1)
    assert verdict.high == pytest.approx(number(cone_reached(*ramp(1222.0 + off_c))), abs=0.1)


def test_no_law_is_trusted_beyond_the_fit() -> None:
    for law in laws().values():
        assert budget(law).law_c >= max(1.3, law.worst_residual_c)
        if law.quality != "good":
            assert budget(law).law_c >= 3.8


def test_noise_does_not_move_the_verdict() -> None:
    time_s = np.arange(0.0, 22 * 3600.0, 2.0)
    smooth_c = np.interp(time_s / 3600.0, [0, 3, 8, 10, 22], [20, 150, 1100, 1222, 60])
    noisy_c = smooth_c + 0.3 * np.random.default_rng(2).standard_normal(time_s.size)
    smooth, noisy = cone_reached(time_s, smooth_c), cone_reached(time_s, noisy_c)
    assert noisy.reached == smooth.reached
    assert number(noisy) == pytest.approx(number(smooth), abs=0.03)
    rate, expected = (v.by_cone["6"].approach_rate_c_per_h for v in (noisy, smooth))
    assert rate == pytest.approx(expected, rel=0.02)


def test_approach_is_the_rate_of_the_last_hundred_degrees() -> None:
    time_s = np.array([0.0, 4.0, 6.0]) * 3600.0  # 275 °C/h to 1120 °C, then 51 °C/h
    rates = approach_rates_c_per_h(time_s, np.array([20.0, 1120.0, 1222.0]))
    assert rates["6"] == pytest.approx(51.0)
    assert rates["04"] == pytest.approx(275.0)


def test_cooling_and_missing_readings_leave_the_moment_of_reaching() -> None:
    time_s = np.arange(0.0, 30 * 3600.0, 60.0)
    temperature_c = np.interp(time_s / 3600.0, [0, 21, 22, 30], [20, 1240, 1240, 200])
    temperature_c[[5, 700, 1000]] = np.nan
    moments = [
        progress.reached_s
        for progress in cone_reached(time_s, temperature_c).by_cone.values()
        if progress.reached_s is not None
    ]
    assert moments == sorted(moments)
    assert moments[-1] <= 22.5 * 3600.0


def test_a_fast_rise_is_warned_of() -> None:
    verdict = cone_reached(*ramp(1260.0, 300.0))
    assert any("faster than the 150 °C/h" in warning for warning in verdict.warnings)
    assert not cone_reached(*ramp(1243.0, 150.0)).warnings


def test_a_trace_without_its_rise_says_what_it_assumes() -> None:
    time_s = np.array([0.0, 3600.0])
    verdict = cone_reached(time_s, np.array([1225.0, 1230.0]))
    assert verdict.by_cone["6"].approach_rate_c_per_h is None
    assert any("60 °C/h is assumed" in warning for warning in verdict.warnings)


@pytest.mark.parametrize("tolerance_c", [-1.0, math.nan, 500.0])
def test_absurd_thermocouples_are_refused(tolerance_c: float) -> None:
    with pytest.raises(FiringError, match="0 to 100 °C"):
        cone_reached(*ramp(1222.0), tolerance_c)


def test_the_verdict_becomes_json() -> None:
    found = json.loads(json.dumps(cone_reached(*ramp(1222.0), 9.0).to_dict(), allow_nan=False))
    assert {"reached", "reached_number", "low", "high", "by_cone", "budget_c"} <= set(found)
    assert list(found["by_cone"]) == list(CONES)
    json.dumps(cone_reached(*ramp(200.0)).to_dict(), allow_nan=False)


@settings(max_examples=25)
@given(top_c=st.floats(700.0, 1350.0), hours=st.floats(0.0, 8.0), more=st.floats(0.001, 2.0))
def test_holding_longer_never_lowers_the_number(top_c: float, hours: float, more: float) -> None:
    first = number(cone_reached(*with_hold(top_c, hours * 3600.0 + 1.0)))
    second = number(cone_reached(*with_hold(top_c, (hours + more) * 3600.0 + 1.0)))
    assert second >= first


@pytest.mark.parametrize("top_c", [1075.0, 1090.0, 1225.0])
def test_the_number_has_no_jump(top_c: float) -> None:
    # Some 60 °C below their ends, hours of hold bring cones 1 and 2 down almost together.  Zoom in
    # on the largest step: it must vanish with the interval.
    low_s, high_s = 60.0, 20 * 3600.0
    while high_s - low_s > 2.0:
        holds_s = np.linspace(low_s, high_s, 13)
        numbers = [number(cone_reached(*with_hold(top_c, hold_s))) for hold_s in holds_s]
        steps = np.diff(numbers)
        assert np.all(steps >= 0.0)
        largest = int(np.argmax(steps))
        low_s, high_s = holds_s[largest], holds_s[largest + 1]
    assert steps.max() < 0.05


def test_reaching_is_continuous_at_each_end_point() -> None:
    numbers = {cone: cone_number(cone) for cone in CONES[1:]}
    for step_c in (-0.001, 0.001):
        found = {
            cone: number(cone_reached(*ramp(end_point_c(cone, 60.0) + step_c))) for cone in numbers
        }
        assert found == pytest.approx(numbers, abs=0.01)
