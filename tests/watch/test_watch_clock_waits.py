"""Whether the controller's clock waits, by what the kiln does, and what that does to its end."""

import numpy as np
import pytest
from watch.replaying import HOUR_S, PLAN

from firing.forecast.forecast import forecast
from firing.review.position import Plan, Position, locate
from firing.trace import FloatArray
from firing.watch.clock_waits import BY_CHANCE, WAITS_PRIOR, ClockEvidence
from firing.watch.power_supply import PowerMonitor
from firing.watch.predictor import FiringProgress, ForecastPredictor, PaceKeeper, predict

EVERY_S = 60.0


def evidence(*seen: tuple[float, float, bool]) -> ClockEvidence:
    """Return what is known after a kiln was so far behind [°C], at such a share of its rate."""
    found = ClockEvidence()
    for behind_c, pace_share, regulated in seen:
        found.add(behind_c, pace_share, regulated=regulated)
    return found


def test_a_kiln_at_full_power_says_nothing_of_its_clock() -> None:
    lags = [(behind_c, 0.8, False) for behind_c in (0.0, 10.0, 20.0, 40.0, 90.0)]
    assert evidence().waits_share == evidence(*lags).waits_share == WAITS_PRIOR


def test_the_further_a_kiln_is_led_back_the_less_its_clock_can_wait() -> None:
    shares = [evidence((40.0, 0.8, False), (40.0 - by_c, 1.2, False)).waits_share
              for by_c in (0.0, 8.0, 16.0, 25.0, 35.0)]  # fmt: skip
    assert shares[0] == WAITS_PRIOR
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] == 0.0
    assert evidence((40.0, 0.8, False), (5.0, 1.2, False)).caught_up


@pytest.mark.parametrize("sign", [(25.0, 1.0, False), (25.0, 0.7, True)])
def test_a_kiln_regulated_far_behind_has_a_clock_that_waited(
    sign: tuple[float, float, bool],
) -> None:
    """Bayes: of clocks that do not wait one in ten looks like it."""
    assert evidence(sign).waits_share == pytest.approx(
        WAITS_PRIOR / (WAITS_PRIOR + (1.0 - WAITS_PRIOR) * BY_CHANCE)
    )
    near = (10.0, *sign[1:])
    assert evidence(near).waits_share == WAITS_PRIOR


def outage(before_c_per_h: float = 100.0) -> tuple[FloatArray, FloatArray]:
    """Return a ramp from room to 420 °C, and a fall of 240 °C/h for a quarter of an hour."""
    hours = np.arange(0.0, 400.0 / before_c_per_h + 0.25, EVERY_S / HOUR_S)
    falls_h = 400.0 / before_c_per_h
    course_c = np.interp(hours, [0.0, falls_h, falls_h + 0.25], [20.0, 420.0, 360.0])
    return hours * HOUR_S, course_c


def test_a_kiln_that_kept_its_pace_until_the_power_went_shows_no_clock_that_waits() -> None:
    """It is behind its clock by 85 °C at the end, and was on it all the hours before."""
    monitor, plan = PowerMonitor(PLAN), Plan(PLAN)
    time_s, course_c = outage()
    for end in range(time_s.size):
        monitor.add_reading(float(time_s[end]), float(course_c[end]))
        if end > 60:
            now_c = float(course_c[end])
            monitor.update(locate(plan, time_s[: end + 1], course_c[: end + 1], now_c))
    assert monitor.waits is None


def test_a_kiln_that_keeps_its_pace_far_behind_its_clock_shows_one_that_waits() -> None:
    """100 °C/h as planned, but for half an hour at 220 °C in which it stood still."""
    monitor, plan = PowerMonitor(PLAN), Plan(PLAN)
    hours = np.arange(0.0, 5.0, EVERY_S / HOUR_S)
    course_c = np.interp(hours, [0.0, 2.0, 2.5, 5.0], [20.0, 220.0, 220.0, 470.0])
    time_s = hours * HOUR_S
    for end in range(61, time_s.size):
        monitor.add_reading(float(time_s[end]), float(course_c[end]))
        now_c = float(course_c[end])
        monitor.update(locate(plan, time_s[: end + 1], course_c[: end + 1], now_c))
    assert monitor.waits is True


def kept(time_s: FloatArray, course_c: FloatArray) -> tuple[PaceKeeper, Position]:
    """Return what a ramp of 100 °C/h has shown to a watch that looked every minute."""
    paces = PaceKeeper(PLAN)
    for end in range(30, time_s.size):
        now_s, now_c = float(time_s[end]), float(course_c[end])
        on_plan_s = (now_c - 20.0) / 100.0 * HOUR_S
        behind_c = 20.0 + 100.0 * now_s / HOUR_S - now_c
        position = Position("ramp", 0, 0.0, None, on_plan_s, None, now_s - on_plan_s)
        paces.update(time_s[: end + 1], course_c[: end + 1], position, behind_c)
    return paces, position


def test_a_fall_is_no_full_power_and_no_sign_of_the_clock() -> None:
    """The line through the last half-hour climbs too slowly yet, and lies behind its plan."""
    paces, position = kept(*outage())
    found = paces.full_power(360.0)
    assert found is not None
    assert not found.shown
    assert paces.shown_pace() is None
    assert paces.clock.waits_share == WAITS_PRIOR
    assert position.late_s is not None
    # where the kiln is in its plan and how late it is there add up to its clock
    assert paces.clock.began_s == pytest.approx(0.0, abs=1.0)


def test_what_a_kiln_had_before_it_fell_is_regained_at_full_power_and_not_at_its_rate() -> None:
    """From 360 back to 420 °C a kiln climbs faster than 100 °C/h; from there on it is the plan."""
    paces, position = kept(*outage())
    now_s = float(outage()[0][-1])
    progress = FiringProgress(PLAN, position, now_s, 360.0, -85.0, paces, waits=True)
    found = predict(ForecastPredictor(forecast(PLAN)), None, progress)
    assert found is not None
    from_420_s = (1.8 + 0.5 + 2.0 + 0.25) * HOUR_S
    at_its_rate_s = 0.6 * HOUR_S
    assert from_420_s + 300.0 < found.expected.program_s < from_420_s + 0.75 * at_its_rate_s
    back_s = float(np.interp(420.0, found.expected.temperature_c[:40], found.expected.time_s[:40]))
    assert found.expected.program_s - back_s == pytest.approx(from_420_s, abs=120.0)


def test_nobody_knows_the_latest_end_while_the_power_is_out() -> None:
    paces, position = kept(*outage())
    now_s = float(outage()[0][-1])
    for gone in (True, False):
        progress = FiringProgress(
            PLAN, position, now_s, 360.0, -85.0, paces, waits=True, power_gone=gone
        )
        found = predict(ForecastPredictor(forecast(PLAN)), None, progress)
        assert found is not None
        assert (found.slowest is None) is gone


def at_750_c(late_s: float, share: float) -> FiringProgress:
    """On the second ramp at 750 °C, an hour before its top, the clock as likely one that waits."""
    position = Position("ramp", 1, 6.3 * HOUR_S, None, 7.3 * HOUR_S, None, late_s)
    paces = PaceKeeper(PLAN)
    paces.clock = Known(share)
    now_s = 7.3 * HOUR_S + late_s
    return FiringProgress(PLAN, position, now_s, 750.0, -5.0, paces, plan=Plan(PLAN))


class Known(ClockEvidence):
    """A clock of which it is known how likely it waits."""

    def __init__(self, share: float) -> None:
        super().__init__()
        self._share = share

    @property
    def waits_share(self) -> float:
        return self._share


@pytest.mark.parametrize(
    ("share", "expected_h", "quickest_h", "slowest_h"),
    # an hour of ramp and a quarter of hold, of which a clock may have spent half an hour already
    [(0.95, 1.25, 1.25, 1.25), (0.7, 1.25, 0.75, 1.25), (0.3, 0.75, 0.75, 1.25),
     (0.05, 0.75, 0.75, 0.75)],
)  # fmt: skip
def test_an_end_is_the_likelier_clocks_and_its_range_holds_each_that_is_not_unlikely(
    share: float, expected_h: float, quickest_h: float, slowest_h: float
) -> None:
    found = predict(ForecastPredictor(forecast(PLAN)), None, at_750_c(1800.0, share))
    assert found is not None
    assert found.slowest is not None
    assert found.expected.program_s == pytest.approx(expected_h * HOUR_S, abs=1.0)
    assert found.quickest.program_s == pytest.approx(quickest_h * HOUR_S, abs=1.0)
    assert found.slowest.program_s == pytest.approx(slowest_h * HOUR_S, abs=1.0)


@pytest.mark.parametrize("share", [1.0, 0.95, 0.75, 0.4])
def test_ends_of_clocks_that_wait_and_of_others_add_up(share: float) -> None:
    """All of the others end first: P(end ≤ x) = P(other) + P(waits) P(end ≤ x, of those)."""
    progress = at_750_c(1800.0, share)
    for likely in (0.1, 0.5, 0.9):
        of_waiting = progress.of_waiting(likely)
        if of_waiting > 0.0:
            assert (1.0 - share) + share * of_waiting == pytest.approx(likely)
        else:
            assert likely <= 1.0 - share + 1e-12


@pytest.mark.parametrize(
    ("arrived_h", "now_h", "left_h"),
    # half an hour of hold, two hours of ramp and a quarter of hold come after 5.8 h
    [(5.55, 5.6, 2.95), (5.55, 6.0, 2.55), (3.8, 3.9, 2.65 + 0.25)],
)
def test_a_hold_begins_no_sooner_than_its_clock_though_a_swing_was_there_before(
    arrived_h: float, now_h: float, left_h: float
) -> None:
    """At 600 °C a quarter of an hour before its set point; two hours are another program's."""
    program_s = (5.8 + now_h - arrived_h) * HOUR_S
    now_s = now_h * HOUR_S
    position = Position("hold", 0, 0.0, arrived_h * HOUR_S, program_s, 600.0, now_s - program_s)
    progress = FiringProgress(PLAN, position, now_s, 600.0, 0.0, plan=Plan(PLAN))
    found = predict(ForecastPredictor(forecast(PLAN)), None, progress)
    assert found is not None
    assert found.expected.program_s == pytest.approx(left_h * HOUR_S, abs=1.0)
