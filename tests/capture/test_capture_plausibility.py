"""Marks on readings: out of span, a step, stuck; and none on what a kiln does."""

import math

import numpy as np
import pytest

from firing.capture.reading import ChannelPlausibility, PlausibilityCheck, Reading, Status
from firing.logs.plausibility_limits import LIVE_STILL_S
from firing.watch.thermocouple_circuit import StuckReadingDetector


def test_a_kiln_at_full_power_and_one_that_is_opened_are_not_marked() -> None:
    channel = ChannelPlausibility()
    celsius = [20.0 + 0.15 * second for second in range(7000)]  # 540 °C/h
    celsius += [celsius[-1] - 4.0 * second for second in range(100)]  # lid open, bare junction
    assert {channel.status_of(float(i), value) for i, value in enumerate(celsius)} == {Status.OK}


def test_what_is_outside_a_kiln_is_marked_and_the_next_is_not() -> None:
    channel = ChannelPlausibility()
    found = [channel.status_of(float(i), v) for i, v in enumerate([800.0, 3276.7, -200.0, 800.1])]
    assert found == [Status.OK, Status.OUT_OF_SPAN, Status.OUT_OF_SPAN, Status.OK]


def test_a_spike_is_marked_going_and_coming() -> None:
    channel = ChannelPlausibility()
    found = [channel.status_of(float(i), v) for i, v in enumerate([800.0, 900.0, 800.0, 800.1])]
    assert found == [Status.OK, Status.STEP, Status.STEP, Status.OK]


def test_a_restless_channel_that_freezes_is_stuck_and_recovers() -> None:
    random = np.random.default_rng(1)
    channel = ChannelPlausibility()
    restless = [800.0 + 0.1 * round(x) for x in random.normal(0, 5, 300)]
    for i, value in enumerate(restless):
        assert channel.status_of(float(i), value) is Status.OK
    frozen = [channel.status_of(300.0 + i, restless[-1]) for i in range(int(LIVE_STILL_S) + 60)]
    assert Status.STUCK in frozen
    first = frozen.index(Status.STUCK)
    assert LIVE_STILL_S - 2 <= first <= LIVE_STILL_S + 2
    assert set(frozen[first:]) == {Status.STUCK}
    assert channel.status_of(600.0, restless[-1] + 0.3) is Status.OK


def test_whole_degrees_in_a_hold_are_not_stuck() -> None:
    channel = ChannelPlausibility()
    marks = {channel.status_of(float(i), 1000.0 + round(i / 400)) for i in range(4000)}
    marks |= {channel.status_of(4000.0 + i, 1010.0) for i in range(4000)}
    assert marks == {Status.OK}


def test_a_flicker_between_two_whole_degrees_that_comes_to_rest_is_not_stuck() -> None:
    channel = ChannelPlausibility()
    celsius = [1000.0 + i % 2 for i in range(300)] + [1000.0] * (int(LIVE_STILL_S) + 60)
    assert {channel.status_of(float(i), value) for i, value in enumerate(celsius)} == {Status.OK}


def test_a_ramp_without_noise_that_ends_in_a_hold_is_not_stuck() -> None:
    channel = ChannelPlausibility()
    celsius = [900.0 + 1.25 * i for i in range(100)] + [1025.0] * 200
    assert {channel.status_of(30.0 * i, value) for i, value in enumerate(celsius)} == {Status.OK}


def test_what_the_instrument_said_stays() -> None:
    reading = Reading([math.nan, 5000.0], [Status.OPEN, Status.OK])
    PlausibilityCheck(2).mark(0.0, reading)
    assert reading.statuses == [Status.OPEN, Status.OUT_OF_SPAN]
    assert math.isnan(reading.usable_c(1))


@pytest.mark.parametrize("unit", ["C", "F"])
@pytest.mark.parametrize("digit_c", [0.1, 1.0])
def test_a_flicker_of_the_last_digit_is_no_noise_in_either_unit(unit: str, digit_c: float) -> None:
    # It climbs, flickers between two digits of °C and then stands far from both, as in a hold.
    rng = np.random.default_rng(5)
    course = (
        np.concatenate((np.arange(100), 100 + rng.integers(0, 2, 300), np.full(40, 100))) * digit_c
        + 700.0
    )
    decimals = 1 if digit_c < 1.0 else 0
    if unit == "F":  # written to the same digit of °F, and read from the file
        course = (np.round(1.8 * course + 32.0, decimals) - 32.0) / 1.8
    channel, circuit = ChannelPlausibility(), StuckReadingDetector()
    for index, value_c in enumerate(course.tolist()):
        assert channel.status_of(10.0 * index, value_c) is Status.OK
        circuit.add_reading(10.0 * index, value_c, None)
    assert not circuit.stuck


@pytest.mark.parametrize("unit", ["C", "F"])
def test_noise_that_ends_is_stuck_in_either_unit(unit: str) -> None:
    course = np.append(700.0 + np.random.default_rng(5).normal(0.0, 0.5, 300), np.full(40, 700.0))
    course = np.round(course, 1) if unit == "C" else (np.round(1.8 * course, 1)) / 1.8
    channel, circuit = ChannelPlausibility(), StuckReadingDetector()
    for index, value_c in enumerate(course.tolist()):
        last = channel.status_of(10.0 * index, value_c)
        circuit.add_reading(10.0 * index, value_c, None)
    assert last is Status.STUCK
    assert circuit.stuck
