"""A change set beside every earlier look like it, and a fall beside the clock of its hold."""

import math

import numpy as np
import pytest
from watch.batchfirings import HOUR_S, FloatArray, Program
from watch.judging import schedule_of

from firing.capture.reading import PlausibilityCheck, Reading, Status
from firing.watch.events import AlarmLimits
from firing.watch.line_scan import LineScan
from firing.watch.recent_course import RecentCourse
from firing.watch.thermocouple_circuit import CircuitMonitor
from firing.watch.watcher import Watcher


def acts(program: Program, time_s: FloatArray, read_c: FloatArray) -> list[tuple[str, float]]:
    """Watch readings; return what calls somebody, and when [s]."""
    watcher = Watcher(AlarmLimits(1300.0, lost_after_s=900.0), schedule_of(program))
    watcher.begin(0.0, live=False)
    check, told = PlausibilityCheck(1), []
    for moment_s, value_c in zip(time_s.tolist(), read_c.tolist(), strict=True):
        reading = Reading([value_c], [Status.OK], moment_s)
        check.mark(moment_s, reading)
        told += watcher.add(moment_s, reading, 0)
    return [(n.id, n.at_s) for n in told if n.severity == "act" and n.state == "raised"]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("lost", [True, False])
def test_power_lost_in_a_relays_swing_is_told_though_the_lows_lie_as_low(
    lost: bool, seed: int
) -> None:
    """±9 °C in 5 min about 110 °C/h, read each minute ±1 °C; then it falls by 11 °C, and stands.

    The first reading to lie lower than each low of the swing by as much is that after 7 min.
    """
    time_s = np.arange(0.0, 4.2 * HOUR_S, 60.0)
    lost_s = 4.0 * HOUR_S if lost else math.inf
    read_c = 300.0 + 110.0 * np.minimum(time_s, lost_s) / HOUR_S
    read_c += np.where(time_s < lost_s, 9.0 * np.sin(2.0 * np.pi * time_s / 300.0), 0.0)
    read_c -= 100.0 * np.clip(time_s - lost_s, 0.0, 400.0) / HOUR_S
    read_c += np.random.default_rng(seed).normal(0.0, 1.0, time_s.size)
    told = acts(((110.0, 1000.0, 0.0),), time_s, read_c)
    assert [name for name, _ in told] == (["power-weaker"] if lost else [])
    assert all(0.0 < at_s - lost_s <= 600.0 for _, at_s in told)


def test_a_look_is_the_mean_of_the_last_readings_beside_the_line_before() -> None:
    """A line of 0.02 °C/s, and 3 °C off it in the last two of minutes' readings."""
    time_s = np.arange(0.0, 2.0 * HOUR_S, 60.0)
    read_c = 500.0 + 0.02 * time_s
    read_c[-2:] -= 3.0
    look = {one.count: one for one in LineScan(time_s, read_c).looks(-1.0, 1.0)}[2]
    assert look.away_c == pytest.approx(-3.0, abs=1e-6)
    assert look.due_c == pytest.approx(0.02 * 90.0, abs=1e-6)
    assert look.slope_c_per_s == pytest.approx(0.02, abs=1e-9)
    assert look.most_c == pytest.approx(0.0, abs=1e-6)
    assert list(LineScan(time_s, read_c).looks(1.0, 1.0)) == []


def test_what_goes_bit_by_bit_is_seen_whole_beside_a_line_that_ended_before_it() -> None:
    """A parabola for 7 min: 4.9 °C short at the last, and all of it with 7 min left out.

    More than the plan's target is never due: 2 °C below what the line would come to.
    """
    time_s = np.arange(0.0, 2.0 * HOUR_S, 60.0)
    left_s = np.clip(time_s - (time_s[-1] - 420.0), 0.0, None)
    read_c = 500.0 + 0.02 * time_s - 4.9 * (left_s / 420.0) ** 2
    scan = LineScan(time_s, read_c)
    away_c = {
        gap_s: {look.count: look.away_c for look in scan.looks(-1.0, 1.0, gaps_s=(gap_s,))}[1]
        for gap_s in (0.0, 420.0)
    }
    assert away_c[420.0] == pytest.approx(-4.9, abs=1e-6)
    assert -4.5 < away_c[0.0] < -1.0
    due_c = 500.0 + 0.02 * time_s[-1] - 2.0
    capped = next(iter(scan.looks(-1.0, 1.0, due_c, (420.0,))))
    assert capped.away_c == pytest.approx(-2.9, abs=1e-6)


def test_a_pace_that_is_the_plans_but_for_noise_is_taken_for_it() -> None:
    """±1 °C about 0.02 °C/s: the line goes on at that; one of 0.018 °C/s keeps its own."""
    time_s = np.arange(0.0, 2.0 * HOUR_S, 10.0)
    noise_c = np.where(np.arange(time_s.size) % 2, 1.0, -1.0)
    for pace_c_per_s, within in ((0.02, 0.0), (0.018, 2e-4)):
        read_c = 500.0 + pace_c_per_s * time_s + noise_c
        read_c[-12:] -= 8.0
        look = {one.count: one for one in LineScan(time_s, read_c, 0.02).looks(-1.0, 3.0)}[12]
        assert look.slope_c_per_s == pytest.approx(pace_c_per_s, rel=0.0, abs=within)


def test_what_an_earlier_stretch_swung_by_is_known_in_the_next() -> None:
    """±6 °C for an hour and a half, and half an hour of calm: 4 °C off are none of its habits.

    Of the calm alone too little is known.
    """
    time_s = np.arange(0.0, 1.5 * HOUR_S, 60.0)
    swings_c = 300.0 + 0.02 * time_s + 6.0 * np.sin(2.0 * np.pi * time_s / 600.0)
    later_s = np.arange(2.0 * HOUR_S, 2.5 * HOUR_S, 60.0)
    calm_c = 500.0 + 0.03 * (later_s - later_s[0])
    calm_c[-1] -= 4.0
    assert list(LineScan(later_s, calm_c).looks(-1.0, 3.0)) == []
    earlier = LineScan(time_s, swings_c)
    looks = list(LineScan(later_s, calm_c, earlier=earlier).looks(-1.0, 3.0))
    assert looks
    assert all(-look.away_c < look.allowed_c(-1.0) for look in looks)


@pytest.mark.parametrize("early_s", [480.0, 0.0])
def test_a_fall_that_began_before_a_short_hold_was_over_is_no_end_of_it(early_s: float) -> None:
    """Every 5 min, by 160 °C · (1 - exp(-t / 25 min)): of a hold of 12 min one reading shows it."""
    time_s = np.arange(120.0, 8.0 * HOUR_S, 300.0)
    arrived_s = 1030.0 / 170.0 * HOUR_S
    fell_s = arrived_s + 720.0 - early_s
    time_s = time_s[time_s < fell_s + 960.0]
    past_s = np.maximum(time_s - fell_s, 0.0)
    read_c = np.minimum(20.0 + 170.0 * time_s / HOUR_S, 1050.0)
    read_c -= 160.0 * (1.0 - np.exp(-past_s / 1500.0))
    told = acts(((170.0, 1050.0, 12.0),), time_s, np.round(read_c, 1))
    assert [name for name, _ in told] == (["cooling"] if early_s else [])
    assert all(0.0 < at_s - fell_s <= 900.0 for _, at_s in told)


@pytest.mark.parametrize(("then_c", "broken"), [((260.0, 110.0), True), ((260.0, 640.0), False)])
def test_two_impossible_readings_minutes_apart_are_no_disturbance(
    then_c: tuple[float, float], broken: bool
) -> None:
    monitor = CircuitMonitor()
    for number, celsius in enumerate((590.0, 600.0, 610.0, 620.0, *then_c)):
        monitor.add_reading(300.0 * number, celsius, Status.OK)
    assert (monitor.broken is not None) is broken


@pytest.mark.parametrize(("lost_c", "within"), [(0.0, True), (10.0, False)])
def test_a_beat_of_swing_and_readings_lies_within_its_lows(lost_c: float, within: bool) -> None:
    """±8 °C in 117 s, read each 120 s, look like a swing of 78 min, and end at the third low."""
    time_s = np.arange(0.0, 2.75 * 4680.0, 120.0)
    due_c = 300.0 + 110.0 * time_s / HOUR_S
    read_c = due_c + 8.0 * np.sin(2.0 * np.pi * time_s / 4680.0)
    read_c[-1] -= lost_c
    assert RecentCourse(time_s, read_c, 1.0).is_within_swing(due_c) is within


@pytest.mark.parametrize("fallen_c", [8.0, 16.0])
def test_a_hold_that_ran_above_its_target_is_let_fall_to_it(fallen_c: float) -> None:
    """Every 10 s: a kiln 8 °C over 1000 °C for half an hour falls within 2 min, and stays there."""
    time_s = np.arange(0.0, 8.0 * HOUR_S, 10.0)
    arrived_s = 1000.0 / 170.0 * HOUR_S
    falls_s = arrived_s + 1800.0
    time_s = time_s[time_s < falls_s + 900.0]
    read_c = np.minimum(20.0 + 170.0 * time_s / HOUR_S, 1008.0)
    read_c -= fallen_c * np.clip((time_s - falls_s) / 120.0, 0.0, 1.0)
    read_c += np.random.default_rng(4).normal(0.0, 0.5, time_s.size)
    told = acts(((170.0, 1000.0, 90.0),), time_s, np.round(read_c, 1))
    assert [name for name, _ in told] == ([] if fallen_c == 8.0 else ["cooling"])


@pytest.mark.parametrize("seed", range(3))
def test_a_kiln_that_waits_for_its_start_has_not_stalled(seed: int) -> None:
    """±3 °C each 3 min for five hours at 18 °C; one read to ±1 °C that stops at 90 °C has."""
    time_s = np.arange(0.0, 5.0 * HOUR_S, 180.0)
    noise_c = np.random.default_rng(seed).normal(0.0, 3.0, time_s.size)
    program = ((115.0, 300.0, 60.0),)
    assert acts(program, time_s, np.round(18.0 + noise_c)) == []
    stands_c = np.minimum(18.0 + 115.0 * time_s / HOUR_S, 90.0)
    told = acts(program, time_s, np.round(stands_c + noise_c / 3.0))
    assert {name for name, _ in told} & {"stalled", "power-weaker", "cooling"}


@pytest.mark.parametrize("fall_c_per_h", [11.0, 14.0, 17.0])
def test_power_lost_soon_after_a_drying_hold_is_told_however_slowly_a_cool_kiln_falls(
    fall_c_per_h: float,
) -> None:
    """The new ramp has no past; a quarter of an hour after the last of a climb it surely stands."""
    program: Program = ((20.0, 90.0, 18.0), (100.0, 600.0, 0.0))
    time_s = np.arange(0.0, 5.5 * HOUR_S, 60.0)
    begun_s = 3.8 * HOUR_S  # 70 °C at 20 °C/h and 18 min, then a quarter of an hour of ramp
    lost_s = begun_s + 900.0
    read_c = np.minimum(20.0 + 20.0 * time_s / HOUR_S, 90.0)
    read_c += 100.0 * np.clip(time_s - begun_s, 0.0, 900.0) / HOUR_S
    read_c -= fall_c_per_h * np.maximum(time_s - lost_s, 0.0) / HOUR_S
    read_c += np.random.default_rng(1).normal(0.0, 0.5, time_s.size)
    told = acts(program, time_s, np.round(read_c, 1))
    assert told
    assert 0.0 < told[0][1] - lost_s < 1500.0
