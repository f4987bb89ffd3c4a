"""When the rest will be over: the plan's own arithmetic, and the cones of the whole trace."""

from pathlib import Path

import numpy as np
import pytest
from watch.replaying import AS_PLANNED, HOUR_S, PLAN, Told, replayed, write_course

from firing.cones.equivalence import cone_reached
from firing.forecast.forecast import forecast
from firing.review.position import Position
from firing.watch.predictor import ForecastPredictor


def position(phase: str, segment: int | None, arrived_s: float | None = None) -> Position:
    return Position(phase, segment, None, arrived_s, 0.0, None)  # type: ignore[arg-type]


OUTLOOK = ForecastPredictor(forecast(PLAN))
# 580 °C at 100 °C/h, 30 min, 300 °C at 150 °C/h, 15 min
WHOLE_H = 5.8 + 0.5 + 2.0 + 0.25


@pytest.mark.parametrize(
    ("where", "now_c", "left_h"),
    [
        (position("waiting", None), 20.0, WHOLE_H),
        (position("ramp", 0), 320.0, 2.8 + 0.5 + 2.0 + 0.25),
        (position("hold", 0, 0.0), 600.0, 0.5 + 2.0 + 0.25),
        (position("ramp", 1), 750.0, 1.0 + 0.25),
        (position("hold", 1, 0.0), 900.0, 0.25),
        (position("done", 1), 800.0, 0.0),
    ],
)
def test_what_is_left_of_the_program(where: Position, now_c: float, left_h: float) -> None:
    rest = OUTLOOK.remaining(where, 0.0, now_c)
    assert rest.program_s == pytest.approx(left_h * HOUR_S, abs=1.0)
    assert np.all(np.diff(rest.time_s) > 0.0)
    assert rest.temperature_c[0] == now_c
    assert rest.unload_low_s <= rest.unload_s <= rest.unload_high_s


def test_a_kiln_half_as_fast_takes_twice_as_long_and_holds_stay_as_they_are() -> None:
    rest = OUTLOOK.remaining(position("ramp", 0), 0.0, 320.0, slower_now=2.0)
    assert rest.program_s == pytest.approx((2 * 2.8 + 0.5 + 2.0 + 0.25) * HOUR_S, abs=1.0)
    rest = OUTLOOK.remaining(position("ramp", 0), 0.0, 320.0, slower_now=2.0, slower_later=2.0)
    assert rest.program_s == pytest.approx((2 * 2.8 + 0.5 + 4.0 + 0.25) * HOUR_S, abs=1.0)
    assert rest.segment_ends_s[0] == pytest.approx((2 * 2.8 + 0.5) * HOUR_S, abs=1.0)


def test_what_an_outage_took_is_heated_again() -> None:
    # 150 °C below where segment 2 began: another hour at its own rate
    rest = OUTLOOK.remaining(position("ramp", 1), 0.0, 450.0)
    assert rest.program_s == pytest.approx((1.0 + 2.0 + 0.25) * HOUR_S, abs=1.0)


def test_cooling_is_the_forecasts_from_where_it_is() -> None:
    whole = forecast(PLAN)
    from_500_s = float(
        np.interp(-500.0, -whole.trace.channel_c()[-400:], whole.trace.time_s[-400:])
    )
    rest = OUTLOOK.remaining(position("done", 1), 0.0, 500.0)
    assert rest.unload_s == pytest.approx(whole.total_s - from_500_s, rel=1e-3)


def test_cones_fall_when_the_whole_trace_says_so(as_planned: Told) -> None:
    told = as_planned
    hours, celsius = np.array(AS_PLANNED).T
    time_s = np.arange(0.0, 8.55 * HOUR_S, 5.0)
    verdict = cone_reached(time_s, np.interp(time_s / HOUR_S, hours, celsius))
    true_s = {cone: verdict.by_cone[cone].reached_s for cone in ("012", "011")}
    assert true_s["012"] is not None
    for hour in (4.0, 6.0, 7.5, 8.0):
        cones = {entry.cone: entry for entry in told.at(hour).cones}
        expected = cones["012"]
        assert expected.expected_s == pytest.approx(true_s["012"], abs=90.0)
        assert expected.low_s is not None
        assert expected.low_s < true_s["012"]
        assert expected.high_s is None or expected.high_s > true_s["012"]
    last = {entry.cone: entry for entry in told.estimates[-1].cones}
    assert last["012"].down_s == pytest.approx(true_s["012"], abs=30.0)
    assert last["012"].heatwork == pytest.approx(verdict.by_cone["012"].heatwork, rel=0.01)
    assert [state for state, _ in told.of("cone")] == ["told"] * (2 if true_s["011"] else 1)


def test_the_end_of_a_lagging_firing_lies_in_its_range(tmp_path: Path) -> None:
    """75 °C/h where 150 are planned, from 600 on: the end is told between the two."""
    points = (*AS_PLANNED[:3], (10.3, 900.0), (10.55, 900.0))
    told = replayed(write_course(tmp_path / "log.csv", points), every_s=8.0 * HOUR_S)
    estimate = told.at(8.0)
    true_s = 10.55 * HOUR_S
    assert estimate.program_end_s == pytest.approx(true_s, abs=600.0)
    assert estimate.program_end_low_s is not None
    assert estimate.program_end_low_s < true_s
    assert estimate.deviation_c is not None
    assert estimate.deviation_c < -100.0


def test_the_next_action_is_told_with_its_time(as_planned: Told) -> None:
    told = as_planned
    for hour in (1.0, 3.0, 6.0):
        estimate = told.at(hour)
        assert estimate.action == "close the lid"
        assert estimate.action_s == pytest.approx(6.3 * HOUR_S, abs=120.0)
    assert told.at(7.0).action == ""
    document = told.at(3.0).to_dict()
    assert document["segment"] == {
        "index": 0, "name": "Rise", "begun_s": pytest.approx(0.0, abs=120.0), "arrived_s": None,
    }  # fmt: skip
    assert document["alarms"] == []
