"""What noise and swings do to readings is no danger, and the danger that looks like it still is.

All readings are made by the arithmetic that each test names; there is no other source.
"""

import math

import numpy as np
import pytest
from watch.batchfirings import HOUR_S, FloatArray, Program
from watch.judging import schedule_of

from firing.capture.reading import Reading, Status
from firing.watch.events import AlarmLimits
from firing.watch.line_scan import LineScan
from firing.watch.recent_course import SETTLED_S, RecentCourse
from firing.watch.thermocouple_circuit import StuckReadingDetector
from firing.watch.watcher import Watcher


def acts(program: Program, time_s: FloatArray, read_c: FloatArray) -> list[tuple[str, float]]:
    """Watch readings; return what calls somebody, and when [s]."""
    watcher = Watcher(AlarmLimits(1300.0, lost_after_s=900.0), schedule_of(program))
    watcher.begin(0.0, live=False)
    told = []
    for moment_s, value_c in zip(time_s.tolist(), read_c.tolist(), strict=True):
        told += watcher.add(moment_s, Reading([value_c], [Status.OK], moment_s), 0)
    return [(n.id, n.at_s) for n in told if n.severity == "act" and n.state == "raised"]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("goes_on", [True, False])
def test_a_ramp_that_caught_up_and_then_kept_its_pace_ends_its_hold_by_the_last_of_it(
    goes_on: bool, seed: int
) -> None:
    """Each minute ±3 °C: 110 °C/h beside a program of 70, until it is back at that.

    That is half an hour before its target.  A line through the last hour has 90 °C/h, and lies
    5 °C above the ramp's end: a quarter of 40 °C/h · 0.5 h.  So it comes there 3 min too early.
    """
    caught_up_s, arrived_s = 2.5 * HOUR_S, 3.0 * HOUR_S
    end_s = arrived_s + 1500.0
    time_s = np.arange(0.0, end_s + 1500.0, 60.0)
    read_c = 1215.0 - 70.0 * np.maximum(arrived_s - time_s, 0.0) / HOUR_S
    read_c -= 40.0 * np.maximum(caught_up_s - time_s, 0.0) / HOUR_S
    if not goes_on:
        read_c -= 300.0 * np.maximum(time_s - end_s - 60.0, 0.0) / HOUR_S
    read_c += np.random.default_rng(seed).normal(0.0, 3.0, time_s.size)
    told = acts(((180.0, 1080.0, 0.0), (70.0, 1215.0, 25.0)), time_s, read_c)
    assert [name for name, _ in told] == (["hold-long"] if goes_on else [])
    assert all(0.0 < at_s - end_s <= 900.0 for _, at_s in told)


@pytest.mark.parametrize("goes_on", [True, False])
def test_a_waiting_clock_begins_a_hold_when_a_swing_is_back_at_the_target(goes_on: bool) -> None:
    """±7 °C in 8 min about 120 °C/h, every 20 s: below its target when the set point comes there.

    Its clock begins the hold when the swing is back: by the sine, 2.7 min later.
    """
    period_s = 480.0
    set_s = 13.5 * period_s
    begun_s = set_s + 160.0
    end_s = begun_s + 1020.0
    time_s = np.arange(0.0, end_s + 1200.0, 20.0)
    read_c = 980.0 - 120.0 * np.maximum(set_s - time_s, 0.0) / HOUR_S
    read_c -= 7.0 * np.sin(2.0 * np.pi * (time_s - set_s + 80.0) / period_s)
    if not goes_on:
        at_end_c = float(np.interp(end_s + 30.0, time_s, read_c))
        after_h = (time_s - end_s - 30.0) / HOUR_S
        read_c = np.where(after_h > 0.0, at_end_c - 280.0 * after_h, read_c)
    read_c += np.random.default_rng(1).normal(0.0, 0.3, time_s.size)
    told = acts(((120.0, 980.0, 17.0),), time_s, read_c)
    assert [name for name, _ in told] == (["hold-long"] if goes_on else [])
    assert all(0.0 < at_s - end_s <= 420.0 for _, at_s in told)


@pytest.mark.parametrize(("last_c", "sank"), [((107.0, 104.0), False), ((101.0, 97.0), True)])
def test_two_low_readings_of_a_noisy_hold_are_no_fall_though_most_lay_closer(
    last_c: tuple[float, float], sank: bool
) -> None:
    """Every 5 min.  Half of 20 lie within 1 °C of their middle, as noise of 1.5 °C would have it;
    their standard deviation is 2.7 °C, and two in a row lie 6.5 °C below.
    """
    held_c = [113, 111, 116, 112, 113, 110, 117, 112, 111, 108, 112, 116, 107, 111, 113, 112, 114]
    read_c = np.array([100.0, 108.0, *held_c, 112, 111, 113, *last_c])
    assert 2.3 < np.std(held_c) < 2.9
    time_s = 300.0 * np.arange(read_c.size)
    assert RecentCourse(time_s, read_c, 2.7).sinks_from(0.0) is sank


@pytest.mark.parametrize("cut", [False, True])
def test_a_beat_of_swing_and_readings_is_no_fall_of_a_hold(cut: bool) -> None:
    """±2.5 °C in 122 s, read each 120 s to whole degrees, look like a swing of two hours."""
    time_s = np.arange(0.0, 11000.0, 120.0)
    read_c = 1180.0 + 2.5 * np.sin(2.0 * np.pi * time_s / 122.0)
    if cut:
        read_c[-3:] -= 4.0, 8.0, 12.0
    read_c = np.round(read_c)
    found = [
        RecentCourse(time_s[n - 60 : n], read_c[n - 60 : n], 0.6).sinks_from(-SETTLED_S)
        for n in range(60, time_s.size + 1)
    ]
    assert any(found) is cut


@pytest.mark.parametrize(("last_c", "below"), [(92.0, False), (88.0, True)])
def test_a_floor_that_readings_in_step_with_a_swing_missed_is_known_by_the_ramp(
    last_c: float, below: bool
) -> None:
    """Every 2 min: half an hour at 96 to 99 °C, after a ramp of ±4 °C: 2.8 °C by a sine's √2."""
    steady_c = [96.0, 97.0, 97.0, 98.0, 98.0, 99.0, 98.0, 97.0] * 2
    time_s = 120.0 * np.arange(len(steady_c) + 1)
    course = RecentCourse(time_s, np.array([*steady_c, last_c]), 0.6)
    assert course.is_below_floor(-SETTLED_S, 4.0 / math.sqrt(2.0)) is below
    assert course.is_below_floor(-SETTLED_S)


def _stands_after(equal: int, seed: int = 0) -> bool:
    """Tell whether readings are stuck of which so many are equal: ±3 °C each 2 min, 160 °C/h."""
    detector, time_s = StuckReadingDetector(), 0.0
    noise_c = np.random.default_rng(seed).normal(0.0, 3.0, 60)
    for number, away_c in enumerate(noise_c):
        time_s = 120.0 * number
        detector.add_reading(time_s, float(np.round(500.0 + 160.0 / 30.0 * number + away_c)), 160.0)
    for number in range(equal):
        detector.add_reading(time_s + 120.0 * (number + 1), 820.0, 160.0)
    return detector.stuck


@pytest.mark.parametrize("seed", range(4))
def test_three_equal_readings_in_noise_are_chance_and_four_are_not(seed: int) -> None:
    """Of readings each 5.3 °C above the one before, ±3 °C, to whole degrees, three in a row are
    equal once in 2 300, and four once in 2 million: the density of normal differences.
    """
    chance = np.random.default_rng(seed).normal(0.0, 3.0, (1_000_000, 3))
    chance = np.round(chance + 16.0 / 3.0 * np.arange(3) + 0.5)
    often = np.mean((chance[:, 0] == chance[:, 1]) & (chance[:, 1] == chance[:, 2]))
    assert 1.0 / 2800.0 < often < 1.0 / 1900.0
    assert not _stands_after(3, seed)
    assert _stands_after(4, seed)


def test_what_noise_puts_between_a_line_and_a_mean_is_its_prediction_error() -> None:
    """The reference is numpy's covariance of a least-squares line."""
    chance = np.random.default_rng(4)
    time_s = np.arange(0.0, 3.0 * HOUR_S, 20.0)
    read_c = 500.0 + 150.0 * time_s / HOUR_S + chance.normal(0.0, 3.0, time_s.size)
    read_c[-24:] -= 9.0
    look = next(one for one in LineScan(time_s, read_c).looks(-1.0, 6.0) if one.count == 24)
    before = (time_s < time_s[-24]) & (time_s >= time_s[-24] - 1200.0)
    _, covariance = np.polyfit(time_s[before], read_c[before], 1, cov="unscaled")
    at = np.array([float(np.mean(time_s[-24:])), 1.0])
    share = math.sqrt(1.0 / 24.0 + float(at @ covariance @ at))
    assert look.error_c == pytest.approx(3.0 * share, rel=0.15)
    # As sure as of its own looks, which at 12 that share no reading are few.
    assert look.allowed_c(-1.0) >= 4.4 * 3.0 * share * 0.85


@pytest.mark.parametrize(("interval_s", "known_c"), [(300.0, 11.0), (60.0, 0.0)])
def test_a_fall_of_two_hours_ago_is_known_by_readings_minutes_apart(
    interval_s: float, known_c: float
) -> None:
    """An hour of them is too few; of those a minute apart it is enough, and forgets sooner."""
    time_s = np.arange(0.0, 7200.0, interval_s)
    read_c = 100.0 + 80.0 * time_s / HOUR_S
    read_c -= np.where(time_s >= 1800.0, 11.0 + 80.0 * interval_s / HOUR_S, 0.0)
    assert RecentCourse(time_s, read_c, 0.2).deepest_fall_c == pytest.approx(known_c, abs=0.3)


def test_noise_alone_falls_by_little() -> None:
    """The deepest fall among 24 normal readings is 3.6 standard deviations in the mean (simulated
    here), of which less than one is left."""
    fallen_c, deepest_c = [], []
    for seed in range(200):
        read_c = np.random.default_rng(seed).normal(500.0, 3.0, 25)
        deepest_c.append(np.max(np.maximum.accumulate(read_c) - read_c))
        fallen_c.append(RecentCourse(np.arange(0.0, 7500.0, 300.0), read_c, 3.0).deepest_fall_c)
    assert 3.0 * 3.3 < np.mean(deepest_c) < 3.0 * 3.9
    assert np.mean(fallen_c) < 3.0


@pytest.mark.parametrize("stuck", [False, True])
def test_readings_minutes_apart_that_stand_through_a_slow_part_of_a_swing_are_not_stuck(
    stuck: bool,
) -> None:
    """Every 2 min, 110 °C/h and a sine of ±7 °C in 40 min, that goes 14 °C from top to bottom.

    One that stands is 11 °C further below its line after 6 min, and 26 °C after 14.
    """
    detector = StuckReadingDetector()
    time_s = np.arange(0.0, 4800.0, 120.0)
    read_c = 100.0 + 110.0 * time_s / HOUR_S + 7.0 * np.sin(2.0 * np.pi * time_s / 2400.0)
    for moment_s, value_c in zip(time_s, np.round(read_c), strict=True):
        detector.add_reading(float(moment_s), float(value_c), 110.0)
    last_c = float(np.round(read_c[-1]))
    for number in range(1, 8 if stuck else 4):
        detector.add_reading(4680.0 + 120.0 * number, last_c, 110.0)
    assert detector.stuck is stuck
