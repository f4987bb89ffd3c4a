"""The watch on firings held apart: nothing on healthy ones, and each danger by its name."""

import pytest
from watch.heldfirings import (
    HOUR_S,
    KILNS,
    PLANS,
    Instrument,
    Mishap,
    healthy_case,
    held_firing,
    listened,
)

LONG = pytest.mark.soak
QUICK_SEEDS = (4, 647)
LONG_SEEDS = (*range(4), *range(5, 24), 52, 506, 514, 527, 605, 608, 652, 665, 682, 713)


@pytest.mark.parametrize(
    "seed", [*QUICK_SEEDS, *(pytest.param(seed, marks=LONG) for seed in LONG_SEEDS)]
)
def test_a_healthy_firing_is_left_alone(seed: int) -> None:
    words, steps, firing, instrument = healthy_case(seed)
    heard = listened(firing, steps, instrument, until_s=firing.end_s + 2.0 * HOUR_S)
    assert [(n.id, n.at_s / HOUR_S, n.message) for n in heard.acts()] == [], words


@pytest.mark.parametrize(
    ("interval_s", "noise_c"), [(60.0, 0.3), pytest.param(10.0, 1.0, marks=LONG)]
)
@pytest.mark.parametrize("plan", ["bisque", "candled"])
def test_a_power_cut_in_a_warm_hold_is_told_and_not_as_its_end(
    plan: str, interval_s: float, noise_c: float
) -> None:
    """At 95 and 110 °C a kiln falls by some degrees in five minutes: told within eight."""
    steps = PLANS[plan]
    cut_s = held_firing(steps, most_s=4.0 * HOUR_S).arrived_s[0] + 1.2 * HOUR_S
    firing = held_firing(steps, mishap=Mishap(cut_s, 0.0), most_s=cut_s + HOUR_S)
    heard = listened(firing, steps, Instrument(interval_s, noise_c), begin_s=cut_s - 1.2 * HOUR_S)
    first = heard.acts()[0]
    assert first.id == "cooling"
    assert cut_s <= first.at_s <= cut_s + 480.0
    assert [n for n in heard.notices if n.id == "hold-over"] == []


def test_two_of_three_banks_lost_over_minutes_are_told_at_readings_of_five_minutes() -> None:
    steps = PLANS["glaze"]
    lost_s = held_firing(steps, cool_to_c=1000.0).when_s(800.0)
    mishap = Mishap(lost_s, 1.0 / 3.0, over_s=600.0)
    firing = held_firing(steps, mishap=mishap, most_s=lost_s + 1.5 * HOUR_S)
    heard = listened(firing, steps, Instrument(300.0, 0.3), begin_s=lost_s - 2.0 * HOUR_S)
    first = heard.acts()[0]
    assert first.id in ("power-weaker", "cooling")
    assert lost_s <= first.at_s <= lost_s + 1800.0


@pytest.mark.parametrize(
    ("interval_s", "noise_c", "digits_c"),
    [(10.0, 0.0, 0.1), (300.0, 0.3, 0.1), pytest.param(60.0, 1.0, 0.1, marks=LONG)],
)
def test_a_reading_that_is_stuck_on_a_ramp_is_called_that_first(
    interval_s: float, noise_c: float, digits_c: float
) -> None:
    steps = PLANS["glaze"]
    firing = held_firing(steps, cool_to_c=1000.0)
    stuck_s = firing.when_s(700.0)
    heard = listened(
        firing,
        steps,
        Instrument(interval_s, noise_c, digits_c),
        begin_s=stuck_s - 1.5 * HOUR_S,
        until_s=stuck_s + 0.5 * HOUR_S,
        stuck_s=stuck_s,
    )
    assert heard.acts()[0].id == "reading-stuck"
    assert heard.in_time(stuck_s)


def test_whole_degrees_that_stand_still_in_a_steady_hold_are_not_stuck() -> None:
    steps = PLANS["soaked"]
    firing = held_firing(steps, KILNS[0], "proportional", cool_to_c=1100.0)
    begin_s = firing.arrived_s[-1] - 0.2 * HOUR_S
    heard = listened(
        firing, steps, Instrument(10.0, 0.3, 1.0), begin_s=begin_s, until_s=firing.left_s[-1]
    )
    assert [n.id for n in heard.acts()] == []


def test_a_program_that_ended_by_its_clock_below_its_target_is_over() -> None:
    steps = PLANS["glaze"]
    firing = held_firing(steps, KILNS[0], "proportional", waits=False, cool_to_c=700.0)
    assert firing.reading_c.max() < steps[-1][1] - 5.0  # the clock left the kiln behind
    heard = listened(firing, steps, Instrument(60.0, 0.3), begin_s=firing.end_s - HOUR_S)
    assert [n.id for n in heard.acts() if n.at_s > firing.end_s] == []


@pytest.mark.parametrize("noise_c", [0.3, pytest.param(3.0, marks=LONG)])
def test_a_hold_that_goes_on_is_told_after_its_end_and_not_before(noise_c: float) -> None:
    steps = PLANS["soaked"]
    rate, target_c, hold_s = steps[-1]
    firing = held_firing((*steps[:-1], (rate, target_c, hold_s + 2.0 * HOUR_S)), KILNS[1])
    due_s = firing.arrived_s[-1] + hold_s
    heard = listened(
        firing,
        steps,
        Instrument(10.0, noise_c),
        begin_s=due_s - 0.5 * HOUR_S,
        until_s=due_s + 0.5 * HOUR_S,
    )
    raised = [n for n in heard.acts() if n.id == "hold-long"]
    assert raised
    assert due_s - 60.0 <= raised[0].at_s <= due_s + (360.0 if noise_c < 1.0 else 900.0)
