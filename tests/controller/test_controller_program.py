"""Keying in: conversion, rounding, splits and merges, and what they change."""

from dataclasses import replace
from itertools import pairwise

import pytest
from design.making import CONTROLLER
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.controller.controller import Controller
from firing.controller.program import key_in
from firing.errors import FiringError
from firing.schedule.schedule import Schedule, Segment
from firing.schedule.timeline import set_point_over_time

BISQUE = Schedule(
    "bisque",
    (
        Segment(90.0, 60.0, hold_s=3600.0, name="Dry"),
        Segment(600.0, 100.0, name="Smoke", action="close the bungs"),
        Segment(800.0, 120.0, name="On"),
        Segment(980.0, 150.0, hold_s=900.0, name="Top"),
    ),
    "bisque",
)


def test_what_fits_is_left_alone() -> None:
    keyed = key_in(BISQUE, CONTROLLER)
    assert keyed.schedule == BISQUE
    assert keyed.changes == ()
    assert keyed.added_s == 0.0


def test_fahrenheit_and_minutes_to_target() -> None:
    keyed = key_in(BISQUE, replace(CONTROLLER, unit="F", notation="time"))
    rows = keyed.to_dict()["rows"]
    # 980 °C is 1796 °F; 70 °C at 60 °C/h are 70 minutes, 510 at 100 are 306, 200 at 120 are 100.
    assert [row["target"] for row in rows] == [194.0, 1112.0, 1472.0, 1796.0]
    assert [row["minutes_to_target"] for row in rows] == [70, 306, 100, 72]
    assert keyed.added_s == pytest.approx(0.0, abs=1.0)


def test_rounding_is_to_the_slow_side_and_told_in_minutes_and_cones() -> None:
    odd = replace(BISQUE, segments=(Segment(903.4, 97.6, hold_s=100.0),))
    keyed = key_in(odd, replace(CONTROLLER, rate_step=5.0, target_step=5.0))
    (segment,) = keyed.schedule.segments
    assert (segment.target_c, segment.rate_c_per_h, segment.hold_s) == (905.0, 95.0, 120.0)
    # 885 °C at 95 °C/h and 2 min, less 883.4 at 97.6 and 100 s
    assert keyed.added_s == pytest.approx(885 / 95 * 3600 + 120 - 883.4 / 97.6 * 3600 - 100)
    assert len(keyed.changes) == 3
    assert keyed.cone_after is not None
    assert keyed.cone_before is not None
    assert keyed.cone_after > keyed.cone_before


def test_a_hold_too_long_is_split_one_step_of_temperature_apart() -> None:
    keyed = key_in(BISQUE, replace(CONTROLLER, hold_max_s=1500.0))
    targets = [(s.target_c, s.hold_s) for s in keyed.schedule.segments[:3]]
    assert targets == [(88.0, 1500.0), (89.0, 1500.0), (90.0, 600.0)]


def test_too_many_segments_are_merged_where_it_costs_least() -> None:
    keyed = key_in(BISQUE, replace(CONTROLLER, max_segments=3))
    # Smoke with On costs 200 °C at 100 instead of 120, 20 min; On with Top 180 at 120: 18 min.
    assert [s.target_c for s in keyed.schedule.segments] == [90.0, 600.0, 980.0]
    assert keyed.schedule.segments[-1].rate_c_per_h == pytest.approx(120.0)
    assert keyed.added_s == pytest.approx(18 * 60.0)
    two = key_in(BISQUE, replace(CONTROLLER, max_segments=2)).schedule.segments
    assert [s.target_c for s in two] == [90.0, 980.0]
    assert "at 600 °C: close the bungs" in two[1].action
    with pytest.raises(FiringError, match="1 segment and this program collide"):
        key_in(BISQUE, replace(CONTROLLER, max_segments=1))


def test_ramps_without_a_rate_are_keyed_as_the_fastest_figure() -> None:
    plan = replace(BISQUE, segments=(*BISQUE.segments, Segment(700.0, None, "off")))
    keyed = key_in(plan, CONTROLLER)
    assert keyed.schedule.segments[-1].drive == "off"
    assert keyed.keyed_rate(4) == 600.0


def test_a_rate_too_slow_to_key_is_refused() -> None:
    slow = replace(BISQUE, segments=(Segment(100.0, 0.6),))
    with pytest.raises(FiringError, match="slowest rate is 1 °C/h"):
        key_in(slow, CONTROLLER)


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.integers(5, 300), st.floats(3.0, 580.0), st.floats(0.0, 7200.0)),
        min_size=1,
        max_size=8,
    ),
    st.sampled_from(["C", "F"]),
    st.sampled_from(["rate", "time"]),
    st.integers(3, 20),
)
def test_keying_in_never_makes_a_ramp_faster_or_a_hold_shorter(
    steps: list[tuple[int, float, float]], unit: str, notation: str, most: int
) -> None:
    target, segments = 20.0, []
    for rise, rate, hold in steps:
        if target + rise > 1300.0:
            break
        target += rise
        segments.append(Segment(target, rate, hold_s=hold))
    plan = Schedule("made", tuple(segments))
    controller = Controller(unit=unit, notation=notation, max_segments=most)  # type: ignore[arg-type]  # sampled literals
    try:
        keyed = key_in(plan, controller)
    except FiringError:
        # Holds alone need too many segments, or rounding left too slow a rate: told elsewhere.
        return
    assert len(keyed.schedule.segments) <= most
    before = set_point_over_time(plan)[0]
    for index, segment in enumerate(keyed.schedule.segments):
        low, high = keyed.schedule.from_c(index), segment.target_c
        inside = [
            s.rate_c_per_h
            for (a, s) in ((plan.from_c(i), s) for i, s in enumerate(plan.segments))
            if a < high - 1.0 and s.target_c > low + 1.0 and s.rate_c_per_h is not None
        ]
        assert segment.rate_c_per_h is not None
        assert segment.rate_c_per_h <= min(inside, default=1e9) * (1.0 + 1e-6)
    held = sum(s.hold_s for s in keyed.schedule.segments)
    assert held >= sum(s.hold_s for s in plan.segments) - 1e-6
    assert before.duration_s > 0.0
    assert all(a.target_c != b.target_c for a, b in pairwise(keyed.schedule.segments))


def test_a_controller_that_cannot_slow_the_cooling_ends_at_the_peak_or_says_why_not() -> None:
    simple = Controller(controls_cooling=False)
    up = Segment(980.0, 100.0)
    off = Schedule("cools by itself", (up, Segment(60.0, None, "off")), "bisque")
    keyed = key_in(off, simple)
    assert keyed.schedule.segments == (up,)
    assert any("natural cooling" in words for words in keyed.changes)
    slowed = replace(off, segments=(up, Segment(550.0, 40.0)))
    with pytest.raises(FiringError, match="segment 2 controls the cooling"):
        key_in(slowed, simple)
    assert key_in(slowed, Controller()).schedule.segments == slowed.segments
