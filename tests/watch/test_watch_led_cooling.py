"""Power that is lost while the program leads a kiln down."""

import numpy as np
import pytest
from watch.batchfirings import HOUR_S, FloatArray
from watch.judging import schedule_of

from firing.capture.reading import Reading, Status
from firing.forecast.forecast import forecast
from firing.watch.events import AlarmLimits, WatchEvent
from firing.watch.predictor import ForecastPredictor
from firing.watch.watcher import Watcher

PLAN = ((90.0, 1230.0, 20.0), (100.0, 1000.0, 60.0))
"""Two hours of it from 1050 °C, the hold, 2 h 18 min down, and the hold there."""
LET_GO_S = 2.0 * HOUR_S + 1200.0
DOWN_S = LET_GO_S + 2.3 * HOUR_S
LAG_S = 120.0
ALONE_C_PER_H = 400.0
"""A small kiln at 1230 °C falls so fast by itself; common practice, no source."""


def course_c(time_s: FloatArray, lost_s: float) -> FloatArray:
    """Return a kiln that follows its program two minutes late, and alone from a moment on."""
    set_s = (0.0, 2.0 * HOUR_S, LET_GO_S, DOWN_S, DOWN_S + HOUR_S)
    led_c = np.interp(
        time_s - LAG_S * (time_s > LET_GO_S), set_s, (1050.0, 1230.0, 1230.0, 1000.0, 1000.0)
    )
    past_s = np.maximum(time_s - lost_s, 0.0)
    at_c = float(np.interp(lost_s, time_s, led_c))
    alone_c = 25.0 + (at_c - 25.0) * np.exp(-ALONE_C_PER_H / 1205.0 * past_s / HOUR_S)
    return np.where(time_s > lost_s, alone_c, led_c)


def watched(lost_s: float, interval_s: float, noise_c: float) -> list[WatchEvent]:
    time_s = np.arange(0.0, min(lost_s + HOUR_S, DOWN_S + 0.9 * HOUR_S), interval_s)
    reading_c = course_c(time_s, lost_s)
    reading_c += np.random.default_rng(int(interval_s)).normal(0.0, noise_c, time_s.size)
    watcher = Watcher(AlarmLimits(1260.0, lost_after_s=900.0), schedule_of(PLAN))
    watcher.begin(0.0, live=False)
    told = []
    for moment_s, value_c in zip(time_s.tolist(), reading_c.tolist(), strict=True):
        told += watcher.add(moment_s, Reading([value_c], [Status.OK], moment_s), 0)
    return [one for one in told if one.severity == "act" and one.state == "raised"]


@pytest.mark.parametrize(("interval_s", "noise_c"), [(20.0, 0.3), (60.0, 1.0), (300.0, 0.3)])
@pytest.mark.parametrize("lost_s", [LET_GO_S, LET_GO_S + HOUR_S, DOWN_S + 1500.0])
def test_a_kiln_that_falls_faster_than_it_is_led_down_has_lost_its_power(
    lost_s: float, interval_s: float, noise_c: float
) -> None:
    """Before its cooling, in it and in the hold that ends it: in 5 min or three readings."""
    first, *more = watched(lost_s, interval_s, noise_c)
    assert first.id == "cooling"
    assert 0.0 < first.at_s - lost_s <= max(300.0, 3.0 * interval_s)
    assert not more


@pytest.mark.parametrize(("interval_s", "noise_c"), [(20.0, 3.0), (60.0, 1.0), (300.0, 3.0)])
def test_a_kiln_that_follows_its_program_down_calls_nobody(
    interval_s: float, noise_c: float
) -> None:
    assert not watched(np.inf, interval_s, noise_c)


@pytest.mark.parametrize("behind_c", [0.0, 20.0])
def test_a_longer_hold_is_advised_only_while_it_still_heats(behind_c: float) -> None:
    """Cone 8 of a clock that does not wait: 20 °C behind its plan it stays up; but what is past
    its hold and falls alone no longer hold can help."""
    time_s = np.arange(0.0, LET_GO_S + HOUR_S, 60.0)
    schedule = schedule_of(PLAN)
    limits = AlarmLimits(1260.0, lost_after_s=900.0, waits=False)
    watcher = Watcher(limits, schedule, ForecastPredictor(forecast(schedule)), cones=("8",))
    watcher.begin(0.0, live=False)
    told = []
    for moment_s, value_c in zip(time_s.tolist(), course_c(time_s, LET_GO_S), strict=True):
        told += watcher.add(moment_s, Reading([value_c - behind_c], [Status.OK], moment_s), 0)
    advised_s = [one.at_s for one in told if one.id == "cone-left-up"]
    assert len(advised_s) == (1 if behind_c else 0)
    assert all(moment_s < LET_GO_S for moment_s in advised_s)


def test_what_is_led_down_is_said_with_its_rate() -> None:
    led, held = watched(LET_GO_S + HOUR_S, 20.0, 0.3)[0], watched(DOWN_S + 1500.0, 60.0, 1.0)[0]
    assert "faster than its program leads it down (100 °C/h)" in led.message
    assert "though its program holds it at 1000 °C" in held.message
