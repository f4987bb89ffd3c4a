"""Marks on readings no kiln can have given, against logs whose faults are known.

The log maker is this project's own (see tests/logmaker.py); its kilns are plausible, not exact.
"""

from collections.abc import Callable
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from logmaker import (
    BISQUE,
    GLAZE,
    Controller,
    CsvStyle,
    Faults,
    Firing,
    Kiln,
    Sampling,
    fire,
    sample,
    write_csv,
)

from firing.logs.cleaning import Cleaning, Flag, clean
from firing.logs.reader import pick_channel, read_log
from firing.trace import Trace

FloatArray = npt.NDArray[np.float64]
INTERVALS = [1, 5, 30, 60, 300]


@pytest.fixture(scope="module")
def glaze() -> Firing:
    return fire(GLAZE)


@pytest.fixture(scope="module")
def healthy(glaze: Firing) -> list[Firing]:
    small = Kiln(power_w=20_000.0, ware_kg=2.0, furniture_kg=5.0)
    return [
        glaze,
        fire(BISQUE),
        fire(BISQUE, faults=Faults(outage_at_c=500.0, outage_s=5400.0, late_start_s=10_800.0)),
        fire(GLAZE, controller=Controller(waits=False), faults=Faults(power_factor=0.6)),
        fire(GLAZE, faults=Faults(lid_propped_at_c=900.0)),
        fire(((None, 1222.0, 600.0),), kiln=small),
    ]


def cleaned(time_s: FloatArray, *columns: FloatArray) -> Cleaning:
    names = tuple(f"c{n}" for n in range(len(columns)))
    return clean(Trace(time_s, np.stack(columns, axis=1), names, "measured"))


@pytest.mark.parametrize("interval_s", INTERVALS)
def test_healthy_logs_bear_no_mark(
    subtests: pytest.Subtests, healthy: list[Firing], interval_s: float
) -> None:
    for step_c, noise_c, (number, firing) in product(
        (0.0, 0.25, 1.0, 5.0), (0.0, 0.1, 0.5), enumerate(healthy)
    ):
        with subtests.test(f"steps of {step_c} K, noise of {noise_c} K, firing {number}"):
            how = Sampling(interval_s, noise_c, step_c, seed=number, extra_channels={"low": -40.0})
            log = sample(firing, how)
            found = clean(Trace(log.time_s, log.temperature_c, log.channels, "measured"))
            assert not found.marks.any(), found.notes
            assert found.notes == ()
            assert found.used == (1.0, 1.0)


Change = Callable[[FloatArray], FloatArray]


def faulty(
    glaze: Firing, interval_s: float, at_c: float, length_s: float, change: Change
) -> tuple[Cleaning, npt.NDArray[np.bool_]]:
    log = sample(glaze, Sampling(interval_s))
    values = log.temperature_c[:, 0].copy()
    begin = int(np.argmax(values > at_c))
    end = min(values.size, begin + max(1, round(length_s / interval_s)))
    values[begin:end] = change(values[begin:end])
    truth = np.zeros(values.size, dtype=np.bool_)
    truth[begin:end] = True
    return cleaned(log.time_s, values), truth


def test_stretches_are_marked_and_nothing_else(glaze: Firing, subtests: pytest.Subtests) -> None:
    faults = [
        (Flag.DROPOUT, 600.0, 3600.0, lambda v: 0.0 * v),
        (Flag.DROPOUT, 900.0, 5 * 3600.0, lambda v: 0.0 * v + 21.5),
        (Flag.DROPOUT, 1000.0, 1e9, lambda v: 0.0 * v),
        (Flag.FULL_SCALE, 600.0, 1200.0, lambda v: 0.0 * v + 1372.0),
        (Flag.FULL_SCALE, 600.0, 1e9, lambda v: 0.0 * v + 1800.0),
        (Flag.STUCK, 500.0, 2400.0, lambda v: 0.0 * v + v[0]),
        (Flag.STUCK, 500.0, 3 * 3600.0, lambda v: 0.0 * v + v[0]),
        (Flag.FAHRENHEIT, 600.0, 1e9, lambda v: 1.8 * v + 32.0),
    ]
    for interval_s, (mark, at_c, length_s, change) in product([1, 30, 300], faults):
        with subtests.test(f"{mark}, {at_c} °C, {length_s} s, every {interval_s} s"):
            found, truth = faulty(glaze, interval_s, at_c, length_s, change)
            assert np.array_equal(found.marks[:, 0] == mark, truth)
            assert np.array_equal(found.marks[:, 0] != Flag.USED, truth)
            share = 100.0 * (1.0 - truth.mean())
            assert any(
                "of its readings are used" in note and f"{share:.1f}"[:3] in note
                for note in found.notes
            )


def test_lone_spikes(glaze: Firing, subtests: pytest.Subtests) -> None:
    for interval_s, height_c in product([1, 30, 60], [-300.0, -100.0, 40.0, 100.0, 600.0]):
        with subtests.test(f"{height_c} K, every {interval_s} s"):
            log = sample(glaze, Sampling(interval_s))
            values = log.temperature_c[:, 0].copy()
            hot = np.flatnonzero(values > 450.0)
            places = hot[5:-5][:: hot.size // 20]
            values[places] += height_c
            found = cleaned(log.time_s, values)
            assert np.flatnonzero(found.marks[:, 0]).tolist() == places.tolist()
            assert found.count(Flag.SPIKE) == places.size


@pytest.mark.parametrize("interval_s", [1, 30, 60])
def test_a_jump_that_stays_is_marked_once_and_told(glaze: Firing, interval_s: float) -> None:
    for change in (150.0, -150.0):
        found, truth = faulty(glaze, interval_s, 600.0, 1e9, lambda v, by=change: v + by)
        assert np.flatnonzero(found.marks[:, 0]).tolist() == [int(np.argmax(truth))]
        assert found.count(Flag.JUMP) == 1
        assert any("60 °C a minute" in note for note in found.notes)


def test_a_jump_there_and_back_is_marked_whole(glaze: Firing) -> None:
    found, truth = faulty(glaze, 30, 600.0, 1800.0, lambda v: v + 150.0)
    assert np.array_equal(found.marks[:, 0] == Flag.JUMP, truth)


@pytest.mark.parametrize("interval_s", [1, 30, 300])
def test_a_loose_contact(glaze: Firing, interval_s: float) -> None:
    log = sample(glaze, Sampling(interval_s))
    values = log.temperature_c[:, 0].copy()
    hot = np.flatnonzero(values > 300.0)
    lost = np.random.default_rng(1).choice(hot, hot.size // 5, replace=False)
    values[lost] = 0.0
    found = cleaned(log.time_s, values)
    assert (found.marks[lost, 0] != Flag.USED).all()
    assert np.count_nonzero(found.marks) <= 1.05 * lost.size


def test_a_channel_that_never_moves_beside_one_that_does(glaze: Firing) -> None:
    log = sample(glaze, Sampling(30.0))
    still = np.full(log.time_s.size, 20.0)
    found = cleaned(log.time_s, log.temperature_c[:, 0], still)
    assert found.used == (1.0, 0.0)
    assert found.count(Flag.STUCK, 1) == still.size


def test_an_opened_kiln_is_no_fault() -> None:
    # a hot kiln opened: the reading falls towards the open air as its sheath cools, and stays there
    time_s = np.arange(0.0, 3 * 3600.0, 10.0)
    values = np.interp(time_s, [0.0, 7200.0], [20.0, 1000.0])
    after = time_s > 7200.0
    values[after] = 350.0 + 650.0 * np.exp(-(time_s[after] - 7200.0) / 60.0)
    assert not cleaned(time_s, values).marks.any()


@pytest.mark.parametrize("interval_s", [10.0, 60.0, 300.0])
def test_a_cold_kiln_that_waits_is_not_stuck(interval_s: float) -> None:
    # An hour at one whole degree before the start, and again once it is cold; the first minute of
    # the climb makes up 11 °C that the reading was below its set-point.
    time_s = np.arange(0.0, 24 * 3600.0, interval_s)
    course_s = [0.0, 3600.0, 3601.0, 3601.0 + 0.8 * interval_s, 9 * 3600.0, 22 * 3600.0]
    values = np.round(np.interp(time_s, course_s, [10.0, 10.0, 10.0, 21.0, 700.0, 21.0]))
    assert not cleaned(time_s, values).marks.any()


def test_a_sensor_that_stays_cold_while_the_kiln_climbs_is_stuck() -> None:
    time_s = np.arange(0.0, 10 * 3600.0, 60.0)
    values = 20.0 + time_s / 3600.0 * 100.0 + 0.3 * np.sin(time_s)
    stuck = time_s < 2 * 3600.0
    values[stuck] = 20.0
    assert np.array_equal(cleaned(time_s, values).marks[:, 0] == Flag.STUCK, stuck)


def test_a_sensor_read_once_in_a_while_is_not_stuck() -> None:
    time_s = np.arange(0.0, 10 * 3600.0, 30.0)
    values = 20.0 + np.floor(time_s / 900.0) * 900.0 * 120.0 / 3600.0
    assert not cleaned(time_s, values).marks.any()


def test_too_few_readings_are_not_judged() -> None:
    assert not cleaned(np.arange(19.0), np.tile([20.0, 900.0], 10)[:19]).marks.any()


def test_a_channel_without_any_order_is_left_alone() -> None:
    values = np.random.default_rng(2).uniform(0.0, 1300.0, 3000)
    marks = cleaned(np.arange(3000.0), values).marks
    assert np.count_nonzero((marks == Flag.SPIKE) | (marks == Flag.JUMP)) <= 1500


def test_a_channel_that_cannot_be_judged_is_told() -> None:
    values = np.resize(np.repeat([100.0, 400.0, 700.0, 1000.0], 5), 86_400)
    found = cleaned(np.arange(86_400.0), values)
    assert not found.marks.any()
    assert any("can't show which" in note for note in found.notes)


def test_a_log_that_ends_standing_still_in_the_heat_is_told(glaze: Firing) -> None:
    found, _ = faulty(glaze, 30, 800.0, 1e9, lambda v: 0.0 * v + v[0])
    assert any("stand still at 80" in note for note in found.notes)


def test_what_is_missing_is_marked_as_missing() -> None:
    values = np.linspace(20.0, 30.0, 40)
    values[7] = np.nan
    found = cleaned(np.arange(40.0), values)
    assert found.count(Flag.MISSING) == 1
    assert found.notes == ()


def test_the_log_keeps_what_it_marks(glaze: Firing, tmp_path: Path) -> None:
    table = sample(glaze, Sampling(60.0, extra_channels={"top": 8.0}))
    table.temperature_c[500:520, 0] = 0.0
    path = write_csv(table, tmp_path / "log.csv", CsvStyle())
    log = read_log(path)
    assert np.isnan(log.trace.temperature_c[500:520, 0]).all()
    assert (log.raw_c[500:520, 0] == 0.0).all()
    assert log.cleaning.count(Flag.DROPOUT) == 20
    assert log.unusable == (20, 0)
    assert log.used == log.rows == table.time_s.size
    assert any(
        "20 of 2310 readings are marked as dropouts" in n and "line 502" in n for n in log.notes
    )
    assert any("Kiln: 99.13 % of its readings are used" in note for note in log.notes)
    bare = read_log(path, cleaning=False)
    assert (bare.trace.temperature_c[500:520, 0] == 0.0).all()
    assert not bare.cleaning.marks.any()


def test_a_stuck_channel_does_not_stand_for_the_kiln(read: Any) -> None:
    rows = [f"{60 * i},20.0,{20 + 2 * i},{20 + 2 * i}" for i in range(300)]
    log = read("time_s,T1,T2,T3\n" + "\n".join(rows) + "\n")
    assert log.unusable == (300, 0, 0)
    assert pick_channel(log) == 1
