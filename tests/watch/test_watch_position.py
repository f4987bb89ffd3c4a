"""Where a running firing stands, against firings whose truth is known."""

import numpy as np
import pytest
from logmaker import BISQUE, GLAZE, Controller, Faults, Firing, PlanStep, fire
from watch.replaying import Told

from firing.review.position import Plan, Position, locate
from firing.schedule.schedule import Schedule, Segment
from firing.watch.history import GRID_S, History

UNSURE_S = 420.0
"""Within so long of an edge either side of it is right: a kiln shows nothing of it sooner."""

SMALL = Schedule("s", (Segment(600.0, 100.0, hold_s=1800.0), Segment(900.0, 150.0, hold_s=900.0)))


def as_schedule(plan: tuple[PlanStep, ...]) -> Schedule:
    return Schedule("made", tuple(Segment(t, rate, "rate", hold_s) for rate, t, hold_s in plan))


def positions(
    plan: tuple[PlanStep, ...], firing: Firing, every_s: float, from_s: float = 0.0
) -> list[tuple[float, Position]]:
    """Return where the firing is said to stand, every so often while it runs."""
    laid_out = Plan(as_schedule(plan))
    noise = np.random.default_rng(3).normal(0.0, 0.3, firing.time_s.size)
    history = History()
    found = []
    next_s = from_s + 1200.0
    for moment, celsius in zip(firing.time_s, firing.reading_c + noise, strict=True):
        if moment < from_s:
            continue
        history.add(float(moment), float(celsius))
        if moment >= next_s:
            next_s += every_s
            found.append((float(moment), locate(laid_out, *history.trace(), history.now_c())))
    return found


def true_place(firing: Firing, moment_s: float) -> tuple[str, int | None]:
    if moment_s < firing.program_start_s:
        return "waiting", None
    for index, boundary in enumerate(firing.boundaries):
        if boundary.ramp_end_s is None or moment_s < boundary.ramp_end_s:
            return "ramp", index
        if boundary.hold_end_s is None or moment_s < boundary.hold_end_s:
            return "hold", index
    return "done", len(firing.boundaries) - 1


def unsure(firing: Firing, moment_s: float) -> bool:
    edges = [firing.program_start_s]
    for boundary in firing.boundaries:
        edges += [e for e in (boundary.ramp_end_s, boundary.hold_end_s) if e is not None]
    return any(abs(moment_s - edge) < UNSURE_S for edge in edges)


@pytest.mark.parametrize(
    ("plan", "controller", "faults"),
    [
        pytest.param(BISQUE, Controller(), Faults(), id="bisque"),
        pytest.param(GLAZE, Controller(), Faults(), id="glaze"),
        pytest.param(GLAZE, Controller(waits=False), Faults(), id="glaze by the clock"),
        pytest.param(BISQUE, Controller(), Faults(late_start_s=3600.0), id="started late"),
        pytest.param(GLAZE, Controller(), Faults(power_factor=0.8), id="worn elements"),
        pytest.param(BISQUE, Controller(), Faults(outage_at_c=400.0, outage_s=1500.0), id="outage"),
    ],
)
def test_the_place_in_the_plan(
    plan: tuple[PlanStep, ...], controller: Controller, faults: Faults
) -> None:
    firing = fire(plan, controller=controller, faults=faults, cool_to_c=700.0)
    right = wrong = 0
    mistaken = []
    for moment_s, position in positions(plan, firing, 900.0):
        if unsure(firing, moment_s):
            continue
        phase, index = true_place(firing, moment_s)
        agrees = (position.phase, position.segment) == (phase, index)
        right, wrong = right + agrees, wrong + (not agrees)
        if not agrees:
            mistaken.append((moment_s / 3600.0, position, phase, index))
    outage_s = faults.outage_s
    # while the power is out a firing is away from its plan; nothing else may be mistaken
    assert wrong * 900.0 <= 2.0 * outage_s, mistaken
    assert right > 20


def test_a_watch_that_begins_in_the_middle_finds_its_place() -> None:
    firing = fire(GLAZE, cool_to_c=700.0)
    middle_s = firing.boundaries[1].start_s + 4800.0
    found = positions(GLAZE, firing, 1800.0, from_s=middle_s)
    for moment_s, position in found:
        if not unsure(firing, moment_s):
            assert (position.phase, position.segment) == true_place(firing, moment_s)
    assert found[0][1].late_s is None


def straight(*points: tuple[float, float]) -> History:
    """Return a history that runs straight between (hours, °C)."""
    hours, celsius = np.array(points).T
    history = History()
    for moment in np.arange(0.0, hours[-1] * 3600.0 + 1.0, 5.0):
        history.add(float(moment), float(np.interp(moment / 3600.0, hours, celsius)))
    return history


def at_end(history: History) -> Position:
    return locate(Plan(SMALL), *history.trace(), history.now_c())


def test_deviation_and_lateness_are_the_plans_arithmetic() -> None:
    # 80 °C/h instead of 100 for three hours: 260 where the plan has 320, 36 min late
    position = at_end(straight((0.0, 20.0), (3.0, 260.0)))
    assert (position.phase, position.segment) == ("ramp", 0)
    assert position.set_point_c == pytest.approx(320.0, abs=2.0)
    assert position.late_s == pytest.approx(36 * 60.0, abs=60.0)
    assert position.program_s == pytest.approx(2.4 * 3600.0, abs=60.0)


def test_a_warm_kiln_skips_the_beginning_of_its_plan() -> None:
    position = at_end(straight((0.0, 120.0), (2.0, 320.0)))
    assert position.set_point_c == pytest.approx(320.0, abs=2.0)
    assert position.late_s == pytest.approx(0.0, abs=60.0)


def test_a_hold_is_known_from_its_first_minutes_and_counted() -> None:
    just = at_end(straight((0.0, 20.0), (5.8, 600.0), (5.85, 600.0)))
    assert (just.phase, just.segment, just.set_point_c) == ("hold", 0, 600.0)
    later = straight((0.0, 20.0), (5.8, 600.0), (6.2, 600.0))
    position = at_end(later)
    assert (position.phase, position.segment) == ("hold", 0)
    assert position.hold_left_s(6.2 * 3600.0, 1800.0) == pytest.approx(0.1 * 3600.0, abs=60.0)


def test_a_kiln_that_stands_below_its_target_is_on_its_ramp() -> None:
    position = at_end(straight((0.0, 20.0), (4.0, 420.0), (7.0, 425.0)))
    assert (position.phase, position.segment) == ("ramp", 0)
    assert position.arrived_s is None


def test_before_heating_it_waits() -> None:
    assert at_end(straight((0.0, 20.0), (1.0, 20.0))).phase == "waiting"


def test_history_keeps_means_and_little_memory() -> None:
    history = History()
    random = np.random.default_rng(4)
    for second in range(20_000):
        history.add(float(second), 100.0 + second / 36.0 + random.normal(0.0, 1.0))
    assert history.points <= 20_000 / GRID_S + 1
    time_s, temperature_c = history.trace()
    off = temperature_c - (100.0 + time_s / 36.0)
    # the mean of 30 readings scatters by 1/√30 of one
    assert np.std(off) == pytest.approx(1.0 / 30**0.5, rel=0.2)
    assert history.now_c() == pytest.approx(100.0 + 20_000 / 36.0, abs=2.0)
    # 1/36 °C/s is 100 °C/h
    assert history.rate_c_per_h() == pytest.approx(100.0, abs=15.0)


def test_the_rate_bears_a_quarter_of_wrong_readings() -> None:
    history = History()
    for minute in range(10):
        wrong = 80.0 if minute in (3, 6) else 0.0
        history.add(60.0 * minute, 500.0 + 2.0 * minute + wrong)
    assert history.rate_c_per_h() == pytest.approx(120.0, rel=0.1)


@pytest.mark.parametrize("interval_s", [1.0, 30.0, 60.0, 300.0])
def test_the_rate_is_known_at_any_interval(interval_s: float) -> None:
    history = History()
    assert history.rate_c_per_h() is None
    for number in range(int(3600.0 / interval_s) + 1):
        history.add(number * interval_s, 500.0 - number * interval_s / 60.0)
    assert history.rate_c_per_h() == pytest.approx(-60.0, abs=1e-6)


def test_a_replayed_log_ends_where_it_ends(as_planned: Told) -> None:
    assert as_planned.estimates[-1].now_s == pytest.approx(8.55 * 3600.0, abs=20.0)
    assert as_planned.notes[-1] == "log.csv ended"
    assert not any("not known" in note or "failed" in note for note in as_planned.notes)


def test_a_relays_swing_in_a_candling_hold_is_no_next_ramp() -> None:
    """Up by 22 °C in 2 min and down in 10, about a set point that stays at 100 °C for 150 min."""
    time_s = np.arange(0.0, 14_400.0, 20.0)
    arrived_s = 80.0 / 50.0 * 3600.0
    in_cycle_s = time_s % 720.0
    swing_c = np.where(in_cycle_s < 120.0, in_cycle_s / 120.0, (720.0 - in_cycle_s) / 600.0)
    reading_c = np.minimum(20.0 + 50.0 * time_s / 3600.0, 100.0) - 2.0 + 22.0 * swing_c
    reading_c += np.random.default_rng(4).normal(0.0, 0.5, time_s.size)
    segments = (Segment(100.0, 50.0, hold_s=9000.0), Segment(580.0, 80.0), Segment(960.0, 140.0))
    plan, found = Plan(Schedule("candled", segments)), []
    for moment_s in np.arange(arrived_s + 900.0, arrived_s + 8000.0, 400.0):
        so_far = time_s <= moment_s
        now_c = float(reading_c[so_far][-1])
        position = locate(plan, time_s[so_far], reading_c[so_far], now_c)
        found.append((position.phase, position.segment))
    assert set(found) == {("hold", 0)}
