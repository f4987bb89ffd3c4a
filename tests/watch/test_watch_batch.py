"""The watch judged on firings that set none of its thresholds: a sub-sample of hundreds."""

import math

import numpy as np
import pytest
from watch.batchfirings import DANGERS, HOUR_S, FloatArray, judged
from watch.judging import followed, knowable_s, schedule_of

from firing.capture.reading import PlausibilityCheck, Reading, Status
from firing.schedule.schedule import Schedule
from firing.watch.events import AlarmLimits
from firing.watch.thermocouple_circuit import StuckReadingDetector
from firing.watch.watcher import Watcher

FIRST = 700
SHOWS_WHATEVER = ("cut in a ramp", "outage", "shorted", "reversed", "pulled out", "stuck")


@pytest.mark.soak
def test_healthy_firings_are_left_alone_and_their_hours_told_right() -> None:
    for one in judged({"healthy": 5}, FIRST):
        made = one.made
        cold_s = float(made.time_s[np.flatnonzero(made.true_c > 60.0)[-1]])
        half_s = 0.5 * (made.end_s + cold_s)
        told, (heating, cooling) = followed(one, cold_s, (0.75 * made.heating_end_s, half_s))
        raised = [(n.id, n.at_s / HOUR_S) for n in told if n.severity == "act"]
        assert raised == [], one.case
        assert heating.program_end_low_s is not None
        assert heating.program_end_low_s <= made.end_s
        assert heating.program_end_high_s is None or heating.program_end_high_s >= made.end_s
        assert cooling.unload_s is not None
        assert cooling.unload_s - half_s == pytest.approx(cold_s - half_s, rel=0.15)


@pytest.mark.soak
def test_of_ranges_of_80_percent_about_so_many_hold_the_end() -> None:
    """Of five kinds, at four moments each.  Where nothing lacks the end is the plan's, which is an
    end of its range, so more than 80 % are held; and late ones hide in a quarter's heating."""
    held, widths_h = [], []
    for one in judged(dict.fromkeys(("healthy", "heavy", "weak", "late", "dip"), 3), FIRST):
        made = one.made
        if not made.end_s < math.inf:
            continue
        asked = tuple(share * made.heating_end_s for share in (0.25, 0.5, 0.75, 0.9))
        for then in followed(one, asked[-1] + one.case.interval_s, asked)[1]:
            low_s, high_s = then.program_end_low_s, then.program_end_high_s
            assert low_s is not None
            held.append(low_s <= made.end_s <= (math.inf if high_s is None else high_s))
            widths_h.append(math.inf if high_s is None else (high_s - low_s) / HOUR_S)
    assert 0.7 < np.mean(held) < 0.97
    assert np.median(widths_h) < 1.0


@pytest.mark.soak
def test_a_worn_kilns_end_is_told_at_three_quarters_of_its_heating() -> None:
    """Where its clock waits, it has been at full power for an hour by then, and ends late by it."""
    off_min = []
    for one in judged({"late": 40}, FIRST):
        made = one.made
        if not made.end_s < math.inf or math.isinf(one.case.wanted.controller.band_c):
            continue
        now_s = 0.75 * made.heating_end_s
        hour = (made.time_s > now_s - HOUR_S) & (made.time_s < now_s)
        if np.mean(made.duty[hour]) < 0.97:
            continue
        _, (then,) = followed(one, now_s + one.case.interval_s, (now_s,))
        assert then.program_end_s is not None
        assert then.program_end_low_s is not None
        assert then.program_end_low_s <= made.end_s
        off_min.append((then.program_end_s - made.end_s) / 60.0)
    assert len(off_min) >= 12
    # Within 10 min is what is wanted: the half of them are within 3, thirteen of seventeen
    # within 10, and one, whose clock waits in a led cooling, 42 min off.
    assert np.median(np.abs(off_min)) < 5.0
    assert np.mean(np.abs(off_min) < 10.0) > 0.7
    assert np.sort(np.abs(off_min))[-2] < 20.0
    assert np.max(np.abs(off_min)) < 45.0


@pytest.mark.soak
@pytest.mark.parametrize("kind", SHOWS_WHATEVER)
def test_a_danger_is_told_in_five_minutes_or_three_readings(kind: str) -> None:
    """But for ±3 °C on a relay's swing, where a cut takes a quarter of an hour to show."""
    for one in judged({kind: 2}, FIRST):
        if one.case.noise_c >= 3.0 and one.case.wanted.controller.dead_band_c is not None:
            continue
        told, _ = followed(one, one.danger_s + 1800.0)
        right = [n for n in told if n.id in DANGERS[kind] and n.state == "raised"]
        before = [n.id for n in told if n.severity == "act" and n.at_s < one.danger_s]
        assert before == [], one.case
        assert right, one.case
        shows_s = one.danger_s if math.isinf(one.shows_s) else max(one.danger_s, one.shows_s)
        assert right[0].at_s - shows_s <= max(300.0, 3.0 * one.case.interval_s) + 1.0, one.case


@pytest.mark.soak
def test_a_hold_that_goes_on_is_told_in_five_minutes_where_the_kiln_should_fall_freely() -> None:
    """Of readings good to a third of a degree; a planned slow fall takes longer to miss."""
    seen = 0
    for one in judged({"hold goes on": 12}, FIRST):
        case, made = one.case, one.made
        if case.noise_c > 0.3 or made.peak_index + 1 < len(case.wanted.program):
            continue
        seen += 1
        told, _ = followed(one, one.danger_s + 1800.0)
        acts = [n for n in told if n.severity == "act" and n.state == "raised"]
        assert [n.id for n in acts] == ["hold-long"], case
        # From its end, or from the moment at which the swing of a relay lets the arrival be known.
        unsure_s = 120.0 if case.wanted.controller.dead_band_c is not None else 0.0
        late_s = acts[0].at_s - one.danger_s
        assert 0.0 <= late_s <= max(300.0, 3.0 * case.interval_s) + unsure_s, case
    assert seen >= 3


HOLD_S, SWING_S, SWING_C = 1200.0, 600.0, 4.5


def _swinging(goes_on: bool) -> tuple[FloatArray, FloatArray, float]:
    """Return a ramp of 75 °C/h to 1225 °C that a relay makes swing, and when its hold ends."""
    time_s = np.arange(0.0, 2.0 * HOUR_S + HOLD_S + 1800.0, 20.0)
    set_c = np.minimum(1075.0 + 75.0 * time_s / HOUR_S, 1225.0)
    reading_c = set_c + SWING_C * np.sin(2.0 * np.pi * time_s / SWING_S)
    reading_c += np.random.default_rng(3).normal(0.0, 0.3, time_s.size)
    end_s = 2.0 * HOUR_S + HOLD_S
    if not goes_on:
        at_end_c = float(np.interp(end_s, time_s, reading_c))
        fallen_c = 240.0 * (time_s - end_s) / HOUR_S
        reading_c = np.where(time_s > end_s, at_end_c - fallen_c, reading_c)
    return time_s, reading_c, end_s


@pytest.mark.parametrize("goes_on", [True, False])
def test_the_end_of_a_hold_is_known_though_a_relays_swing_brought_its_first_reading_early(
    goes_on: bool,
) -> None:
    """A swing of 4.5 °C at 75 °C/h is at the target up to 3.6 min before its set point is."""
    time_s, reading_c, end_s = _swinging(goes_on)
    schedule = schedule_of(((75.0, 1225.0, HOLD_S / 60.0),))
    watcher = Watcher(AlarmLimits(1245.0, lost_after_s=60.0), schedule)
    watcher.begin(0.0, live=False)
    told = []
    for moment_s, value_c in zip(time_s.tolist(), reading_c.tolist(), strict=True):
        told += watcher.add(moment_s, Reading([value_c], [Status.OK], moment_s), 0)
    acts = [(n.id, n.at_s - end_s) for n in told if n.severity == "act" and n.state == "raised"]
    assert [name for name, _ in acts] == (["hold-long"] if goes_on else [])
    assert all(0.0 <= late_s <= 420.0 for _, late_s in acts)


def _acts(schedule: Schedule, time_s: FloatArray, reading_c: FloatArray) -> list[tuple[str, float]]:
    """Watch readings; return what calls somebody, and when [s]."""
    watcher = Watcher(AlarmLimits(1260.0, lost_after_s=900.0), schedule)
    watcher.begin(0.0, live=False)
    told = []
    for moment_s, value_c in zip(time_s.tolist(), reading_c.tolist(), strict=True):
        told += watcher.add(moment_s, Reading([value_c], [Status.OK], moment_s), 0)
    return [(n.id, n.at_s) for n in told if n.severity == "act" and n.state == "raised"]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("goes_on", [True, False])
def test_a_kiln_that_a_waiting_clock_leads_down_slowly_does_not_stay_on(
    goes_on: bool, seed: int
) -> None:
    """±3 °C every 20 s.  Its power is taken back little by little, so it falls by 100 °C/h² · t²:
    by 1.8 °C in 8 min, 7 °C in 16."""
    end_s = 2.0 * HOUR_S + 480.0
    time_s = np.arange(0.0, end_s + (1800.0 if goes_on else 2400.0), 20.0)
    past_h = np.maximum(time_s - end_s, 0.0) / HOUR_S
    reading_c = np.minimum(1050.0 + 90.0 * time_s / HOUR_S, 1230.0)
    if not goes_on:
        reading_c -= np.minimum(100.0 * past_h**2, 200.0 * past_h)
    reading_c += np.random.default_rng(seed).normal(0.0, 3.0, time_s.size)
    acts = _acts(schedule_of(((90.0, 1230.0, 8.0), (200.0, 1090.0, 120.0))), time_s, reading_c)
    assert [name for name, _ in acts] == (["hold-long"] if goes_on else [])
    assert all(0.0 < moment_s - end_s <= 900.0 for _, moment_s in acts)


@pytest.mark.parametrize("goes_on", [True, False])
def test_an_arrival_is_where_a_swing_about_a_middle_below_its_set_point_comes_to_its_hold(
    goes_on: bool,
) -> None:
    """±3 °C in 260 s about 3 °C below the set point, which 90 °C/h come to two minutes later."""
    end_s = 2.0 * HOUR_S + 480.0
    time_s = np.arange(0.0, end_s + 1200.0, 60.0)
    swing_c = 3.0 * np.sin(2.0 * np.pi * time_s / 260.0)
    reading_c = np.minimum(1050.0 + 90.0 * time_s / HOUR_S, 1230.0) - 3.0 + swing_c
    if not goes_on:
        reading_c = np.where(
            time_s > end_s, 1227.0 - 200.0 * (time_s - end_s) / HOUR_S + swing_c, reading_c
        )
    reading_c += np.random.default_rng(22).normal(0.0, 0.1, time_s.size)
    acts = _acts(schedule_of(((90.0, 1230.0, 8.0), (200.0, 1090.0, 120.0))), time_s, reading_c)
    assert [name for name, _ in acts] == (["hold-long"] if goes_on else [])
    assert all(0.0 < moment_s - end_s <= 420.0 for _, moment_s in acts)


@pytest.mark.parametrize("goes_on", [True, False])
def test_to_readings_minutes_apart_a_swing_that_goes_on_is_no_fall(goes_on: bool) -> None:
    """±5 °C in 290 s, read every two minutes: as noise, but of which nothing is further off."""
    end_s = 2.0 * HOUR_S + 1200.0
    time_s = np.arange(0.0, end_s + 1800.0, 120.0)
    reading_c = np.minimum(680.0 + 140.0 * time_s / HOUR_S, 960.0)
    reading_c += 5.0 * np.sin(2.0 * np.pi * time_s / 290.0)
    if not goes_on:
        at_end_c = float(np.interp(end_s, time_s, reading_c))
        reading_c = np.where(
            time_s > end_s, at_end_c - 260.0 * (time_s - end_s) / HOUR_S, reading_c
        )
    reading_c += np.random.default_rng(23).normal(0.0, 0.5, time_s.size)
    acts = _acts(schedule_of(((140.0, 960.0, 20.0),)), time_s, reading_c)
    assert [name for name, _ in acts] == (["hold-long"] if goes_on else [])
    assert all(0.0 < moment_s - end_s <= 480.0 for _, moment_s in acts)


@pytest.mark.parametrize("seed", range(5))
def test_the_top_of_a_relays_swing_in_whole_degrees_is_no_stuck_reading(seed: int) -> None:
    """±6 °C in 15 min go at 151 °C/h at the most, and so stand on a ramp of 140: an hour shows."""
    time_s = np.arange(0.0, 6.0 * HOUR_S, 120.0)
    reading_c = 400.0 + 140.0 * time_s / HOUR_S + 6.0 * np.sin(2.0 * np.pi * time_s / 900.0)
    reading_c = np.round(reading_c + np.random.default_rng(seed).normal(0.0, 0.5, time_s.size))
    at_s = 4.0 * HOUR_S
    for then_c in (reading_c, np.where(time_s > at_s, reading_c[time_s == at_s], reading_c)):
        detector = StuckReadingDetector()
        seen = []
        for moment_s, value_c in zip(time_s.tolist(), then_c.tolist(), strict=True):
            detector.add_reading(moment_s, value_c, 140.0)
            if detector.stuck:
                seen.append(moment_s - at_s)
        if then_c is reading_c:
            assert not [late_s for late_s in seen if late_s + at_s > HOUR_S]
        else:
            assert min(late_s for late_s in seen if late_s > 0.0) <= 480.0


def test_a_reading_that_flickers_in_its_last_digit_after_a_ramp_is_not_stuck() -> None:
    """A ramp of 5 °C a minute, then ±0.3 °C beside a half degree, and last in the midst of one."""
    time_s = np.arange(0.0, 3.0 * HOUR_S, 60.0)
    reading_c = np.minimum(400.0 + 300.0 * time_s / HOUR_S, 700.4)
    reading_c += np.random.default_rng(5).normal(0.0, 0.3, time_s.size)
    reading_c = np.where(time_s > 1.7 * HOUR_S, 700.0, np.round(reading_c))
    check, marked = PlausibilityCheck(1), []
    for moment_s, value_c in zip(time_s.tolist(), reading_c.tolist(), strict=True):
        reading = Reading([value_c], [Status.OK], moment_s)
        check.mark(moment_s, reading)
        marked.append(reading.statuses[0])
    assert Status.STUCK not in marked


@pytest.mark.parametrize("every_s", [20.0, 120.0])
def test_single_low_readings_of_a_ramp_are_no_loss(every_s: float) -> None:
    time_s = np.arange(0.0, 6.0 * HOUR_S, every_s)
    reading_c = 250.0 + 150.0 * time_s / HOUR_S
    reading_c += np.random.default_rng(32).normal(0.0, 0.3, time_s.size)
    reading_c[time_s.size // 2 :: time_s.size // 9] -= 4.5
    assert _acts(schedule_of(((150.0, 1200.0, 20.0),)), time_s, reading_c) == []


@pytest.mark.soak
@pytest.mark.parametrize("number", [31021, 43007])
def test_a_cut_where_a_swing_lets_a_drying_hold_seem_over_is_told(number: int) -> None:
    """A swing's top comes to 100 °C half an hour before 50 °C/h do; no ramp up begins by a fall.

    From the moment on that one who knows both courses can tell, within three readings.
    """
    (one,) = judged({"cut in candling": 1}, number)
    told, _ = followed(one, one.danger_s + 2400.0)
    acts = [n for n in told if n.severity == "act" and n.state == "raised"]
    assert [n.id for n in acts][:1] == ["cooling"]
    most_s = knowable_s(one, one.usual_c) + max(300.0, 3.0 * one.case.interval_s) + 1.0
    assert 0.0 < acts[0].at_s - one.danger_s <= most_s


@pytest.mark.parametrize("sticks", [True, False])
def test_a_relay_that_sticks_in_a_ramp_is_told_though_the_clock_had_waited(sticks: bool) -> None:
    """It swings by ±6 °C in 5.5 min at six tenths of its program's 140 °C/h: so its clock waits.

    Then it climbs at 400 °C/h: after 4 min 17 °C above where its program can have it.
    """
    stuck_s = 5.0 * HOUR_S
    time_s = np.arange(0.0, stuck_s + 1200.0, 60.0)
    reading_c = 300.0 + 84.0 * time_s / HOUR_S + 6.0 * np.sin(2.0 * np.pi * time_s / 330.0)
    if sticks:
        last_c = float(np.interp(stuck_s, time_s, reading_c))
        since_h = np.maximum(time_s - stuck_s, 0.0) / HOUR_S
        reading_c = np.where(since_h > 0.0, last_c + 400.0 * since_h, reading_c)
    reading_c += np.random.default_rng(11).normal(0.0, 0.3, time_s.size)
    acts = _acts(schedule_of(((140.0, 1000.0, 20.0),)), time_s, reading_c)
    assert [name for name, _ in acts][:1] == (["climbs-fast"] if sticks else [])
    assert all(0.0 < at_s - stuck_s <= 300.0 for _, at_s in acts[:1])


@pytest.mark.parametrize("sticks", [True, False])
def test_a_relay_that_sticks_in_a_top_hold_is_told_before_the_hold_is_over(sticks: bool) -> None:
    """From 1190 °C on at 180 °C/h, with half of the hold to go: 12 °C above it in 4 min."""
    stuck_s = HOUR_S + 1200.0
    time_s = np.arange(0.0, stuck_s + 1080.0, 60.0)
    reading_c = np.minimum(1040.0 + 150.0 * time_s / HOUR_S, 1190.0)
    if sticks:
        reading_c += 180.0 * np.maximum(time_s - stuck_s, 0.0) / HOUR_S
    reading_c += np.random.default_rng(12).normal(0.0, 0.3, time_s.size)
    acts = _acts(schedule_of(((150.0, 1190.0, 40.0), (80.0, 850.0, 0.0))), time_s, reading_c)
    assert [name for name, _ in acts] == (["above-plan"] if sticks else [])
    assert all(0.0 < at_s - stuck_s <= 300.0 for _, at_s in acts)
