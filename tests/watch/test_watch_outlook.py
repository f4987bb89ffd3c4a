"""What the watch says of the hours to come: late, by the clock, and how the kiln cools."""

import math
import re
from pathlib import Path

import numpy as np
import pytest
from watch.replaying import AS_PLANNED, HOUR_S, PLAN, Told, replayed, write_course

from firing.cones.equivalence import cone_reached
from firing.forecast.forecast import forecast
from firing.heat import default_kiln
from firing.review.position import Plan, Position
from firing.trace import FloatArray
from firing.watch.alarms import Overshoot
from firing.watch.cone_forecast import cones_reached, forecast_cones
from firing.watch.cooling import cooling_pace
from firing.watch.events import AlarmLimits
from firing.watch.full_power import CourseLeader, FullPowerClimb, full_power, shown_pace
from firing.watch.predictor import (
    FiringProgress,
    ForecastPredictor,
    Lateness,
    PaceKeeper,
    UsualClimb,
    predict,
)

ROOM_C = 20.0
WHOLE_S = 8.55 * HOUR_S  # 580 °C at 100 °C/h, 30 min, 300 °C at 150 °C/h, 15 min


def test_a_late_finish_is_told_with_its_reason_and_again_when_it_grows_by_half(
    tmp_path: Path,
) -> None:
    """From 600 °C on 100 °C/h instead of 150, and from 750 on 30: the end is hours late."""
    points = (*AS_PLANNED[:3], (7.8, 750.0), (12.8, 900.0), (13.05, 900.0))
    told = replayed(write_course(tmp_path / "log.csv", points, step_s=150.0))
    late = [n for n in told.notices if n.id == "late"]
    assert len(late) >= 2
    assert 6.8 * HOUR_S < late[0].at_s < 8.0 * HOUR_S
    assert late[0].severity == "note"
    assert "climbs 100 °C/h, planned 150 °C/h" in late[0].message


def test_a_steady_slow_ramp_says_nothing_of_the_ramps_after_it(tmp_path: Path) -> None:
    """580 °C at 70 °C/h instead of 100 are 2.49 h more; the next ramp keeps its 150 °C/h.

    Full power would lose pace on the way; a pace that stays is a rate that something sets.
    """
    late_h = 580.0 / 70.0 - 5.8
    top_h = 580.0 / 70.0
    points = ((0.0, 20.0), (top_h, 600.0), (top_h + 0.5, 600.0), (top_h + 2.5, 900.0))
    path = write_course(tmp_path / "log.csv", (*points, (top_h + 2.75, 900.0)), step_s=120.0)
    told = replayed(path, every_s=HOUR_S)
    late = [n for n in told.notices if n.id == "late"]
    assert len(late) == 1
    assert "climbs 70 °C/h, planned 100 °C/h" in late[0].message
    hours, minutes = re.findall(r"(\d+) h (\d+) min later", late[0].message)[0]
    assert int(hours) + int(minutes) / 60.0 == pytest.approx(late_h, abs=0.35)
    for hour in (4.0, 5.0, 6.0, 7.0, 8.0):
        status = told.at(hour)
        assert status.program_end_s is not None
        assert status.program_end_s == pytest.approx((8.55 + late_h) * HOUR_S, abs=1200.0)
        low_s, high_s = status.program_end_low_s, status.program_end_high_s
        assert low_s is not None
        assert low_s < (8.55 + late_h) * HOUR_S
        assert high_s is None or high_s > (8.55 + late_h) * HOUR_S


def test_a_finish_as_planned_is_not_called_late(as_planned: Told) -> None:
    assert as_planned.of("late") == []


def progress(late_s: float, waits: bool | None, now_c: float = 750.0) -> FiringProgress:
    """On the second ramp at 750 °C, an hour before its top by the plan, so much late."""
    position = Position("ramp", 1, 6.3 * HOUR_S, None, 7.3 * HOUR_S, None, late_s)
    now_s = 7.3 * HOUR_S + late_s
    return FiringProgress(PLAN, position, now_s, now_c, -5.0, waits=waits, plan=Plan(PLAN))


@pytest.mark.parametrize(
    ("waits", "left_h"),
    # an hour of ramp and a quarter of hold, of which the clock has spent half an hour already
    [(True, 1.25), (None, 1.25), (False, 0.75)],
)
def test_a_clock_that_does_not_wait_ends_the_program_wherever_the_kiln_is(
    waits: bool | None, left_h: float
) -> None:
    ahead = predict(ForecastPredictor(forecast(PLAN)), None, progress(1800.0, waits))
    assert ahead is not None
    assert ahead.expected.program_s == pytest.approx(left_h * HOUR_S, abs=1.0)
    top_c = float(np.max(ahead.expected.temperature_c))
    # three quarters of an hour at 150 °C/h, or the whole way
    assert top_c == pytest.approx(750.0 + 0.75 * 150.0 if waits is False else 900.0, abs=2.0)
    if waits is None:
        assert ahead.quickest.program_s == pytest.approx(0.75 * HOUR_S, abs=1.0)


def test_full_power_climbs_the_slower_the_hotter_as_the_default_kiln_does() -> None:
    """The default kiln has 168 °C/h at 1000 °C and 123 at 1200 (source full-power-default)."""
    limit = UsualClimb(1000.0, 100.0)
    at = limit.c_per_h(np.array([1000.0, 1200.0]))
    assert at == pytest.approx([100.0, 100.0 - 45.0])


def _at_full_power(power_w: float, wall_m2: float, until_c: float) -> tuple[FloatArray, FloatArray]:
    """A kilogram that takes 1000 J/K to 500 °C and 1200 at 1200, and ten slices of brick, by hand.

    0.12 W/(m K) at 200 °C and 0.22 at 1200, 490 kg/m³ of 1000 J/(kg K), 76 mm.
    """
    slices, celsius, step_s, depth_m = np.full(10, 20.0), [20.0], 5.0, 0.0076
    while celsius[-1] < until_c:
        now_c = celsius[-1]
        edge_c = np.concatenate(([now_c], 0.5 * (slices[1:] + slices[:-1])))
        conductivity = 0.12 + 1e-4 * (edge_c - 200.0)
        fall_c = np.concatenate(([2.0 * (now_c - slices[0])], slices[:-1] - slices[1:]))
        flow = np.append(conductivity * fall_c / depth_m, 12.0 * (slices[-1] - 20.0))
        slices = slices + (flow[:-1] - flow[1:]) * step_s / (490.0 * 1000.0 * depth_m)
        heat = 1000.0 + 200.0 * max(now_c - 500.0, 0.0) / 700.0
        celsius.append(now_c + (power_w - wall_m2 * flow[0]) * step_s / heat)
    return step_s * np.arange(len(celsius)), np.array(celsius)


@pytest.mark.parametrize(("power_w", "wall_m2"), [(110.0, 0.02), (180.0, 0.04), (260.0, 0.06)])
def test_full_power_goes_on_as_its_course_so_far_says(power_w: float, wall_m2: float) -> None:
    """Seen from 700 to 900 °C, with ±0.5 °C: the time from there to 1050 °C."""
    time_s, course_c = _at_full_power(power_w, wall_m2, 1050.0)
    seen = course_c < 900.0
    at_s = np.arange(0.0, float(time_s[seen][-1]), 30.0)
    read_c = np.interp(at_s, time_s, course_c)
    read_c += np.random.default_rng(5).normal(0.0, 0.5, at_s.size)
    full_s = float(at_s[np.argmax(read_c > 700.0)]), float(at_s[-1])
    found = full_power(at_s, read_c, [full_s], 900.0, ROOM_C, 1050.0)
    assert found.shown
    on_c = np.arange(900.0, 1050.0, 1.0)
    hours = [float(np.sum(1.0 / found.climb(q, 1050.0).c_per_h(on_c))) for q in (0.1, 0.5, 0.95)]
    left_h = float(time_s[-1] - at_s[-1]) / HOUR_S
    assert hours[1] == pytest.approx(left_h, abs=10.0 / 60.0)
    assert 0.97 * hours[0] < left_h < 1.03 * hours[2]


@pytest.mark.parametrize(("noise_c", "every_s"), [(0.3, 20.0), (1.0, 120.0), (3.0, 60.0)])
def test_a_pace_at_full_power_goes_on_as_it_fell(noise_c: float, every_s: float) -> None:
    """T = 1200 - 450·exp(-0.3 t): 105 °C/h at 850 °C, and ln(350/50)/0.3 h from there to 1150."""
    left_h, now_s = math.log(350.0 / 50.0) / 0.3, math.log(450.0 / 350.0) / 0.3 * HOUR_S
    at_s = np.arange(now_s - 3.0 * HOUR_S, now_s, every_s)
    read_c = 1200.0 - 350.0 * np.exp(-0.3 * (at_s - now_s) / HOUR_S)
    read_c = np.where(read_c > 720.0, read_c, 0.0)
    read_c += np.random.default_rng(2).normal(0.0, noise_c, at_s.size)
    found = shown_pace(at_s, read_c, float(at_s[0]), float(at_s[-1]))
    assert found is not None
    assert found.pace_c_per_h == pytest.approx(105.0, rel=0.06)
    on_c = np.arange(850.5, 1150.0, 1.0)
    climbs = [found.climb(q, 850.0, 1150.0) for q in (0.1, 0.5, 0.9)]
    hours = [float(np.sum(1.0 / climb.c_per_h(on_c))) for climb in climbs]
    assert hours[0] < left_h < hours[2]
    assert hours[0] < hours[1] < hours[2]
    assert shown_pace(at_s[:3], read_c[:3], float(at_s[0]), float(at_s[2])) is None


def test_the_clock_of_a_kiln_that_lags_begins_a_hold_just_before_the_target() -> None:
    """40 °C/h from 880 to 900 °C takes half an hour, of which 2 °C are 3 min; a rate keeps all."""
    position = Position("ramp", 1, 0.0, None, 0.0, None, 0.0)
    slow = FullPowerClimb(np.array([800.0, 1000.0]), np.full(2, 40.0))
    predictor = ForecastPredictor(forecast(PLAN))
    ends_s = [
        predictor.remaining(position, 0.0, 880.0, climb=climb).segment_ends_s[1]
        for climb in (slow, None)
    ]
    hold_s = PLAN.segments[1].hold_s
    assert ends_s[0] == pytest.approx(1800.0 - 180.0 + hold_s, abs=2.0)
    assert ends_s[1] == pytest.approx(20.0 / 150.0 * HOUR_S + hold_s, abs=2.0)


@pytest.mark.parametrize("led_back", [True, False])
def test_a_kiln_led_back_to_its_clock_has_one_that_does_not_wait(led_back: bool) -> None:
    """200 °C/h where 150 are planned, where it was never as hot; no sign after an outage."""
    paces = PaceKeeper(PLAN)
    hours = np.arange(0.0, 2.5, 1.0 / 60.0)
    if led_back:  # it lags by 70 °C, and by 20 two hours later
        course_c = np.interp(hours, [0.0, 1.0, 2.0, 2.5], [600.0, 680.0, 880.0, 900.0])
    else:  # it falls by 80 °C, and is heated again
        bends_h, bends_c = [0.0, 0.7, 1.0, 1.4, 2.5], [600.0, 705.0, 625.0, 705.0, 870.0]
        course_c = np.interp(hours, bends_h, bends_c)
    for end in range(30, int(2.0 * 60.0) + 1):
        behind_c = 600.0 + 150.0 * float(hours[end]) - float(course_c[end])
        position = Position("ramp", 1, 0.0, None, 0.0, None, behind_c / 150.0 * HOUR_S)
        paces.update(hours[: end + 1] * HOUR_S, course_c[: end + 1], position, behind_c)
    assert paces.clock.caught_up is led_back


@pytest.mark.parametrize("every_s", [30.0, 300.0])
def test_a_wall_led_on_as_a_course_grows_takes_what_one_led_at_once_does(every_s: float) -> None:
    """Its last point moves until the next comes; another course is led from its own begin on."""
    noise = np.random.default_rng(3)
    time_s = np.arange(7.0, 3.0 * HOUR_S, every_s)
    course_c = 20.0 + 150.0 * time_s / HOUR_S + noise.normal(0.0, 1.0, time_s.size)
    leader = CourseLeader(ROOM_C)
    for count in range(2, time_s.size + 1):
        unsure_c = np.append(course_c[: count - 1], course_c[count - 1] + 9.0)
        leader.along(time_s[:count], unsure_c)
    for celsius in (course_c, course_c + 50.0):
        led = leader.along(time_s, celsius)
        anew = CourseLeader(ROOM_C).along(time_s, celsius)
        for one, other in zip(led, anew, strict=True):
            assert one.taken_j_per_m2 == pytest.approx(other.taken_j_per_m2, rel=1e-9)
            assert one.most_w == pytest.approx(other.most_w, rel=1e-9)


def test_cold_hours_before_and_after_change_no_cone() -> None:
    """Two days at 240 °C, 60 °C/h to 1222, and two days cold: as the whole course says."""
    hours, celsius = (0.0, 48.0, 64.4, 70.0, 118.0), (240.0, 240.0, 1222.0, 30.0, 20.0)
    time_s = np.arange(0.0, 118.0 * HOUR_S, 120.0)
    course_c = np.interp(time_s / HOUR_S, hours, celsius)
    whole = cone_reached(time_s, course_c)
    reached, *numbers = cones_reached(time_s, course_c)
    assert reached == whole.reached
    assert numbers == pytest.approx([whole.reached_number, whole.low, whole.high], abs=1e-3)
    for one in forecast_cones(("022", "6", "8"), time_s, course_c, None):
        assert one.heatwork == pytest.approx(whole.by_cone[one.cone].heatwork, rel=1e-4)
    assert cones_reached(time_s[:1000], course_c[:1000]) == (None, None, None, None)


@pytest.mark.parametrize("times", [0.5, 1.0, 2.2])
def test_the_cooling_goes_on_as_it_went(times: float) -> None:
    """A kiln that takes so many times as long as the default kiln, read with ±1 °C."""
    run = default_kiln.cool(1200.0, 60.0, room_c=ROOM_C)
    time_s = times * run.time_s
    for share in (0.4, 0.6, 0.8, 0.95):
        now_s = share * float(time_s[-1])
        at_s = np.arange(0.0, now_s, 30.0)
        course_c = np.interp(at_s, time_s, run.temperature_c)
        course_c += np.random.default_rng(3).normal(0.0, 1.0, at_s.size)
        found = cooling_pace(at_s, course_c, 0.0, ROOM_C)
        assert found is not None
        assert found.times == pytest.approx(times, rel=0.06)
        assert found.now_c == pytest.approx(np.interp(now_s, time_s, run.temperature_c), abs=1.5)
        position = Position("done", 1, None, 0.0, WHOLE_S, None, 0.0)
        going = FiringProgress(PLAN, position, now_s, float(course_c[-1]), None, cooling=found)
        ahead = predict(ForecastPredictor(forecast(PLAN)), None, going)
        assert ahead is not None
        left_s = float(time_s[-1]) - now_s
        assert ahead.expected.unload_s == pytest.approx(left_s, rel=0.12, abs=300.0)


def test_a_swing_that_a_relay_makes_each_time_is_its_habit_and_a_longer_one_is_not() -> None:
    """Up to 20 °C past the set point and back every quarter of an hour, with a margin of 15."""
    overshoot = Overshoot(15.0)
    for minute in range(180):
        above_c = 10.0 + 10.0 * math.sin(2.0 * math.pi * minute / 15.0)
        allowed_c = overshoot.update(60.0 * minute, above_c, 600.0)
        if minute > 30:
            assert above_c < 15.0 + allowed_c
    assert 15.0 + allowed_c < 30.0  # one that goes on rising is told


def test_a_reason_is_given_for_what_was_lost_on_the_way() -> None:
    lateness = Lateness("C")
    going = progress(3600.0, True)
    # Just after a pause the pace is badly known: the least of the first looks counts.
    assert lateness.events(0.0, 90_000.0, WHOLE_S, going) == []
    assert lateness.events(600.0, 9000.0, WHOLE_S, going) == []
    told = lateness.events(1200.0, 3600.0, WHOLE_S, going)
    assert "1 h 00 min later than planned" in told[0].message
    assert "lost on the way" in told[0].message
    assert lateness.events(1800.0, 3700.0, WHOLE_S, going) == []


def test_what_has_grown_by_half_is_told_once_more_when_it_stays_so() -> None:
    lateness = Lateness("C")
    going = progress(3600.0, True)
    told = [lateness.events(600.0 * n, 3600.0, WHOLE_S, going) for n in range(3)]
    assert [len(events) for events in told] == [0, 0, 1]
    # A drift of two looks beyond it is none; half an hour is.
    course_s = (5000.0, 5500.0, 6000.0, 4000.0, 5600.0, 5700.0, 5800.0, 5900.0, 5900.0)
    told = [
        lateness.events(1800.0 + n, late_s, WHOLE_S, going) for n, late_s in enumerate(course_s)
    ]
    assert [len(events) for events in told] == [0, 0, 0, 0, 0, 0, 0, 1, 0]
    assert "1 h 33 min later" in told[7][0].message


def test_a_ramp_that_keeps_its_rate_shows_what_the_kiln_can_do() -> None:
    """100 °C/h from 20 to 220 °C say little of the top; 300 °C/h to 820 say it is kept to 900."""
    slowest_c_per_h = []
    for rate, until_c in ((100.0, 220.0), (300.0, 820.0)):
        paces = PaceKeeper(PLAN)
        time_s = np.arange(0.0, (until_c - 20.0) / rate * HOUR_S, 60.0)
        now_s = float(time_s[-1])
        position = Position("ramp", 0, 0.0, None, now_s, None, 0.0)
        paces.update(time_s, 20.0 + rate * time_s / HOUR_S, position, 0.0)
        assert paces.pace_c_per_h == pytest.approx(rate)
        found = paces.full_power(until_c)
        assert found is not None
        assert not found.shown
        slowest_c_per_h.append(float(found.climb(0.97, 900.0).c_per_h(np.array([870.0]))[0]))
    assert slowest_c_per_h[0] < 150.0  # of 150 °C/h planned
    assert slowest_c_per_h[1] > 150.0


def test_a_relays_swing_and_an_old_reading_do_not_move_the_end() -> None:
    """±4 °C every 10 min about 100 °C/h, asked 4 min after a reading; 1 °C is 36 s."""
    paces, now_s = PaceKeeper(PLAN), 2.0 * HOUR_S
    position = Position("ramp", 0, 0.0, None, now_s, None, 0.0)
    for end_s in np.arange(now_s, now_s + 600.0, 60.0):
        time_s = np.arange(0.0, end_s + 1.0, 60.0)
        course_c = 20.0 + 100.0 * time_s / HOUR_S + 4.0 * np.sin(2.0 * np.pi * time_s / 600.0)
        paces.update(time_s, course_c, position, 0.0)
        found_c = paces.on_its_ramp_c(end_s + 240.0, float(course_c[-1]))
        assert found_c == pytest.approx(20.0 + 100.0 * (end_s + 240.0) / HOUR_S, abs=2.2)


@pytest.mark.parametrize("lacks_power", [False, True])
def test_a_pace_that_stays_is_a_rate_and_one_that_falls_is_a_lack_of_power(
    lacks_power: bool,
) -> None:
    """90 °C/h all the way from 250 to 550 °C, or less as the default kiln loses: 33 °C/h of it."""
    course_c = np.arange(250.0, 550.0, 0.5)
    usual = default_kiln.full_power_rate_c_per_h(course_c)
    pace = 90.0 + (usual - usual[0] if lacks_power else np.zeros(usual.size))
    time_s = np.concatenate(([0.0], np.cumsum(0.5 / pace[:-1] * HOUR_S)))
    paces = PaceKeeper(PLAN)
    for end in range(60, time_s.size, 20):
        now_s = float(time_s[end])
        position = Position("ramp", 0, 0.0, None, now_s, None, 600.0)
        paces.update(time_s[: end + 1], course_c[: end + 1], position, 20.0)
    assert paces.steady is not lacks_power


def test_with_a_kiln_file_a_pace_that_stays_says_how_long_its_ramp_takes() -> None:
    """100 °C/h where 150 are planned, from 725 °C on: what is left takes half as long again."""
    plan = Plan(PLAN)
    hours = np.arange(0.0, 1.6, 1.0 / 60.0)
    time_s, course_c = hours * HOUR_S, 725.0 + 100.0 * hours
    paces = PaceKeeper(PLAN)
    for end in range(30, time_s.size):
        behind_c = 20.0 + 50.0 * float(hours[end])
        late_s = behind_c / 150.0 * HOUR_S
        program_s = plan.ramp_s(1, float(course_c[end]))
        position = Position("ramp", 1, -2.0 * HOUR_S, None, program_s, None, late_s)
        paces.update(time_s[: end + 1], course_c[: end + 1], position, behind_c)
    now_c = float(course_c[-1])
    assert paces.steady
    going = FiringProgress(PLAN, position, float(time_s[-1]), now_c, -behind_c, paces)
    due = ForecastPredictor(forecast(PLAN)).remaining(position, float(time_s[-1]), now_c)
    found = going.as_shown(due)
    assert found is not None
    # to 2 °C below the target, where a clock that waits goes on; 3 °C/h less by then at the most
    assert found[0] == pytest.approx(1.5 * (898.0 - now_c) / (900.0 - now_c), rel=0.03)
    assert found[1] == 1.0


def test_a_controller_tells_the_alarms_whether_its_clock_waits() -> None:
    from firing.watch.alarms import AlarmBoard

    assert AlarmBoard(AlarmLimits(waits=False), PLAN).supply.waits is False
    assert AlarmBoard(AlarmLimits(), PLAN).supply.waits is None
