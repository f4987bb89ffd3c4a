"""The hour to unload, against coolings in closed form and the batch's own."""

import math

import numpy as np
import pytest
from watch.coolings import SHARES, coolings, verdict
from watch.replaying import AS_PLANNED, HOUR_S, PLAN, Told

from firing.capture.reading import PlausibilityCheck, Reading, Status
from firing.forecast.forecast import forecast
from firing.review.position import Plan, locate
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.watch.cooling import CoolingPace, as_it_cools, believed, cooling_pace, room_of
from firing.watch.events import AlarmLimits
from firing.watch.predictor import ForecastPredictor
from firing.watch.state import RemainingCourse
from firing.watch.watcher import Watcher

ROOM_C, TOP_C, UNLOAD_C = 20.0, 900.0, 60.0
PER_H = 0.2
"""A kiln that loses a fifth of what it is above its room every hour."""
TOP_H = AS_PLANNED[-1][0]
Points = tuple[tuple[float, float], ...]


def excess_c(hours: float, room_c: float = ROOM_C) -> float:
    return (TOP_C - room_c) * math.exp(-PER_H * hours)


def hours_to(celsius: float, room_c: float = ROOM_C) -> float:
    return math.log((TOP_C - room_c) / (celsius - room_c)) / PER_H


def cooling(until_h: float, room_c: float = ROOM_C) -> Points:
    """Return the plan's firing and its cooling, a point every 6 min."""
    hours = np.arange(0.1, until_h, 0.1)
    return (*AS_PLANNED, *((TOP_H + h, room_c + excess_c(h, room_c)) for h in hours))


def watched(points: Points, from_h: float, step_s: float = 300.0) -> Told:
    """Watch a firing from an hour on, whose readings of before are known; ask every hour."""
    hours, celsius = np.array(points).T
    time_s = np.arange(0.0, hours[-1] * HOUR_S, step_s)
    reading_c = np.interp(time_s / HOUR_S, hours, celsius)
    reading_c += np.random.default_rng(8).normal(0.0, 0.2, time_s.size)
    limits = AlarmLimits(PLAN.peak_c + 20.0, lost_after_s=2.5 * step_s)
    watcher = Watcher(limits, PLAN, ForecastPredictor(forecast(PLAN)))
    told, judge, asked_s = Told(), PlausibilityCheck(1), from_h * HOUR_S
    for moment_s, value_c in zip(time_s.tolist(), reading_c.tolist(), strict=True):
        if moment_s < from_h * HOUR_S:
            watcher.add_earlier(moment_s, value_c)
            continue
        reading = Reading([value_c], [Status.OK], moment_s)
        judge.mark(moment_s, reading)
        told.notices += watcher.add(moment_s, reading, 0)
        if moment_s >= asked_s:
            asked_s += HOUR_S
            told.status(watcher.estimate(moment_s), None)
    watcher.close()
    return told


def curve(until_h: float, room_c: float = ROOM_C) -> tuple[FloatArray, FloatArray]:
    """Return a cooling read every minute to half a degree or so."""
    time_s = np.arange(0.0, until_h * HOUR_S, 60.0)
    exact_c = room_c + (TOP_C - room_c) * np.exp(-PER_H * time_s / HOUR_S)
    return time_s, exact_c + np.random.default_rng(4).normal(0.0, 0.5, time_s.size)


def pace_of(time_s: FloatArray, celsius: FloatArray, room_c: float = ROOM_C) -> CoolingPace:
    found = cooling_pace(time_s, celsius, 0.0, room_c, 2.0)
    assert found is not None
    return found


@pytest.mark.parametrize("room_c", [8.0, 20.0, 32.0])
def test_the_room_counts_where_the_kiln_comes_near_it(room_c: float) -> None:
    whole_h = hours_to(UNLOAD_C, room_c)
    for share in (0.6, 0.8, 0.9):
        time_s, celsius = curve(share * whole_h, room_c)
        left_s, low_s, high_s = pace_of(time_s, celsius, room_c).left_s(UNLOAD_C)
        true_s = whole_h * HOUR_S - float(time_s[-1])
        assert left_s == pytest.approx(true_s, rel=0.15)
        assert low_s < true_s < high_s


def test_a_kiln_that_starts_cold_tells_its_room_and_a_hot_one_nothing() -> None:
    time_s = np.arange(0.0, 1200.0, 60.0)
    assert room_of(time_s, np.full(20, 8.0), 20.0)[0] == pytest.approx(8.0, abs=1.5)
    assert room_of(time_s, np.full(20, 400.0), 20.0)[0] == 20.0
    warm_c, off_c = room_of(time_s, np.full(20, 40.0), 20.0)
    assert 20.0 < warm_c < 32.0  # it may be warm from its last firing
    assert warm_c - off_c < 20.0 + 4.0


def test_a_lid_cracked_is_followed_within_the_hour() -> None:
    """From 200 °C on it loses three times as much."""
    at_h = hours_to(200.0)
    left_h = math.log(180.0 / 40.0) / (3.0 * PER_H)
    time_s, celsius = curve(at_h + 0.75)
    after_h = np.maximum(time_s / HOUR_S - at_h, 0.0)
    celsius = ROOM_C + (celsius - ROOM_C) * np.exp(-2.0 * PER_H * after_h)
    found_s = pace_of(time_s, celsius).left_s(UNLOAD_C)[0]
    assert found_s == pytest.approx((left_h - 0.75) * HOUR_S, rel=0.15)


@pytest.mark.parametrize(
    ("stands_h", "per_h"), [(0.0, PER_H), (0.0, 0.5 * PER_H), (4.0, 0.5 * PER_H)]
)
def test_a_model_that_the_readings_leave_shapes_the_rest_no_more(
    stands_h: float, per_h: float
) -> None:
    """By Newton's law; one that takes the walls for hot, as behind a cracked lid, waits first."""
    from_c = ROOM_C + excess_c(hours_to(200.0))
    after_h = np.linspace(0.0, stands_h + math.log(180.0 / 40.0) / per_h, 400)
    cools_h = np.where(after_h < stands_h, 0.1 * after_h, after_h - 0.9 * stands_h)
    course_c = ROOM_C + (from_c - ROOM_C) * np.exp(-per_h * cools_h)
    course_c[-1] = UNLOAD_C
    last_s = float(after_h[-1]) * HOUR_S
    rest = RemainingCourse(after_h * HOUR_S, course_c, 0.0, last_s, last_s, last_s, {})
    found = as_it_cools(rest, pace_of(*curve(hours_to(200.0))), ROOM_C)
    true_s = (hours_to(UNLOAD_C) - hours_to(200.0)) * HOUR_S
    assert found.unload_s == pytest.approx(true_s, rel=0.06)
    assert found.unload_low_s < true_s < found.unload_high_s


def test_one_reading_that_fell_is_neither_a_drop_nor_the_kilns() -> None:
    """The next may never come: what cannot be of the kiln is marked, and not shown."""
    time_s, celsius = curve(hours_to(200.0))
    fallen = np.append(celsius[:-1], 90.0)
    found, before = (
        cooling_pace(time_s, celsius, 0.0, ROOM_C),
        cooling_pace(time_s, fallen, 0.0, ROOM_C),
    )
    assert found is not None
    assert before is not None
    assert before.drop is None
    left_s = found.left_s(UNLOAD_C)[0]
    assert before.left_s(UNLOAD_C)[0] == pytest.approx(left_s, rel=0.02)


def test_a_kiln_opened_and_shut_goes_on_as_before() -> None:
    at_s = hours_to(350.0) * HOUR_S
    time_s, celsius = curve(hours_to(120.0))
    dips = (time_s > at_s) & (time_s < at_s + 600.0)
    kept, drop = believed(time_s, np.where(dips, celsius - 200.0, celsius), ROOM_C)
    assert drop is None
    assert not kept[dips].any()
    assert kept.mean() > 0.9


def test_a_thermocouple_that_falls_out_unloads_no_kiln() -> None:
    """At 190 °C it comes to rest in air of 40 °C within some minutes."""
    out_h, cold_h = TOP_H + hours_to(190.0), TOP_H + hours_to(UNLOAD_C)
    before = tuple(point for point in cooling(30.0) if point[0] < out_h)
    in_c = ROOM_C + excess_c(cold_h - 2.0 - TOP_H)
    back = ((cold_h - 2.1, 34.0), (cold_h - 2.0, in_c), (cold_h - 1.8, in_c - 2.0))
    points = (*before, (out_h, 190.0), (out_h + 0.12, 40.0), *back)
    told = watched(points, out_h - 0.5)
    assert told.of("another-firing") == []  # though it is put back in the end
    assert told.of("unload") == []
    assert [n.severity for n in told.notices if n.id == "cooling-drop"] == ["note"]
    later = told.at(out_h + 1.5)
    assert later.unload_s is not None
    assert later.unload_s == pytest.approx(cold_h * HOUR_S, abs=0.15 * (cold_h - out_h) * HOUR_S)
    assert later.unload_low_s is not None
    assert later.unload_high_s is not None
    assert later.unload_low_s < cold_h * HOUR_S < later.unload_high_s


def test_a_reading_that_is_warm_again_takes_the_notice_back() -> None:
    cold_h = TOP_H + hours_to(57.0)
    back = ((cold_h + 0.1, 110.0), (cold_h + 1.0, 105.0))
    points = (*cooling(cold_h - TOP_H), (cold_h, 57.0), *back)
    told = watched(points, cold_h - 0.5, 60.0)
    told_of = [n for n in told.notices if n.id == "unload"]
    assert [n.severity for n in told_of] == ["note", "act"]
    assert "not cool enough" in told_of[1].message
    assert told.of("another-firing") == []


def test_another_firing_is_not_taken_for_this_one() -> None:
    cold_h = TOP_H + hours_to(30.0)
    again = ((cold_h + 20.0, 21.0), (cold_h + 23.8, 400.0))
    points = (*cooling(cold_h - TOP_H), (cold_h, 30.0), *again)
    told = watched(points, cold_h - 0.5, 600.0)
    found = [n for n in told.notices if n.id == "another-firing"]
    assert [n.severity for n in found] == ["act"]
    assert found[0].at_s < (cold_h + 21.0) * HOUR_S
    assert [n.id for n in told.notices if n.at_s > cold_h * HOUR_S and n.id != "unload"] == [
        "another-firing"
    ]
    assert told.estimates[-1].unload_s is None


def test_a_power_cut_far_below_the_peak_is_no_led_down_cooling() -> None:
    """At 940 °C of 1190 the power goes; the plan's own way down ends at 850."""
    steps = (Segment(590.0, 140.0, hold_s=600.0), Segment(1190.0, 150.0, hold_s=2400.0))
    plan = Plan(Schedule("led down", (*steps, Segment(850.0, 80.0))))
    up_h = 570.0 / 140.0 + 1.0 / 6.0
    hours = [0.0, 570.0 / 140.0, up_h, up_h + 350.0 / 150.0, up_h + 350.0 / 150.0 + 0.6]
    time_s = np.arange(0.0, hours[-1] * HOUR_S, 60.0)
    celsius = np.interp(time_s / HOUR_S, hours, [20.0, 590.0, 590.0, 940.0, 780.0])
    for end in range(int(hours[3] * 60.0) + 10, time_s.size, 5):
        place = locate(plan, time_s[:end], celsius[:end], float(celsius[end - 1]))
        assert (place.phase, place.segment) in (("left", 1), ("ramp", 1))


@pytest.mark.soak
def test_the_batchs_coolings_are_foreseen() -> None:
    """Within 15 % of what is left, from half of the cooling on; nobody unloads a hot kiln.

    Of noise below 3 °C: at nine tenths an hour is left, and ±3 °C are half an hour of it.
    """
    kinds = ("left alone", "held on its way", "lid cracked at 200", "warm room", "sensor fell out")
    off = []
    for one in coolings(dict.fromkeys(kinds, 3), 700):
        found = verdict(one)
        assert not found.too_soon_s, found.words
        fallen = one.one.case.kind == "sensor fell out"
        if one.one.case.noise_c < 3.0:
            off += [
                found.unloads[share][0]
                for share in (SHARES[:3] if fallen else SHARES[:5])
                if share in found.unloads
            ]
    assert len(off) > 20
    assert np.mean(np.abs(off) <= 0.15) >= 0.95
