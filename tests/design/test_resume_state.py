"""Where an interrupted firing stood, against made firings whose truth is known."""

import numpy as np
import pytest
from logmaker import BISQUE, GLAZE, Controller, Faults, Firing, PlanStep, Sampling, fire, sample

from firing.design.resume import interrupted_segment
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray

COOLS_OVER_S = 14400.0
"""Time constant of a kiln without power, small and cool."""
UNSURE_S = 420.0
"""So near to an edge either side of it is right, and a hold is timed to as much."""


def as_schedule(plan: tuple[PlanStep, ...]) -> Schedule:
    return Schedule("made", tuple(Segment(t, rate, "rate", hold_s) for rate, t, hold_s in plan))


def cut_off(
    firing: Firing, at_s: float, noise_c: float, cools_s: float
) -> tuple[FloatArray, FloatArray]:
    """The firing's log up to a moment, and then a kiln without power."""
    log = sample(firing, Sampling(interval_s=60.0, noise_c=noise_c, seed=5))
    before = log.time_s <= at_s
    time_s, reading_c = log.time_s[before], log.temperature_c[before, 0]
    after_s = np.arange(60.0, cools_s + 1.0, 60.0)
    falling_c = 20.0 + (np.mean(reading_c[-5:]) - 20.0) * np.exp(-after_s / COOLS_OVER_S)
    falling_c += np.random.default_rng(5).normal(0.0, noise_c, after_s.size)
    return np.append(time_s, time_s[-1] + after_s), np.append(reading_c, falling_c)


def true_place(firing: Firing, at_s: float) -> tuple[int, float]:
    for index, edge in enumerate(firing.boundaries):
        if edge.ramp_end_s is None or at_s < edge.ramp_end_s:
            return index, 0.0
        if edge.hold_end_s is None or at_s < edge.hold_end_s:
            return index, at_s - edge.ramp_end_s
    return len(firing.boundaries), 0.0


@pytest.mark.parametrize("noise_c", [0.3, 1.5])
@pytest.mark.parametrize("cools_s", [0.0, 7200.0])
@pytest.mark.parametrize(("plan", "faults"), [(BISQUE, Faults()), (GLAZE, Faults(load_factor=1.3))])
def test_the_segment_and_its_hold_are_those_the_power_failed_in(
    plan: tuple[PlanStep, ...], faults: Faults, cools_s: float, noise_c: float
) -> None:
    schedule = as_schedule(plan)
    firing = fire(plan, controller=Controller(), faults=faults)
    edges = [firing.program_start_s]
    for edge in firing.boundaries[: schedule.peak_index + 1]:
        edges += [e for e in (edge.ramp_end_s, edge.hold_end_s) if e is not None]
    looked_at = 0
    for at_s in np.linspace(edges[0], edges[-1], 16)[1:-1]:
        if min(abs(at_s - edge) for edge in edges) < UNSURE_S:
            continue
        index, held_s = interrupted_segment(schedule, *cut_off(firing, at_s, noise_c, cools_s))
        true_index, true_held_s = true_place(firing, at_s)
        assert index == true_index, at_s
        # A kiln without power is still at its hold until it has lost the 4 °C it is held within.
        lingers_s = COOLS_OVER_S * 4.0 / (schedule.segments[index].target_c - 20.0)
        assert held_s == pytest.approx(true_held_s, abs=UNSURE_S + lingers_s * (cools_s > 0.0))
        looked_at += 1
    assert looked_at > 5


@pytest.mark.parametrize("plan", [BISQUE, GLAZE])
def test_a_noisy_log_of_a_whole_firing_leaves_nothing_to_heat(plan: tuple[PlanStep, ...]) -> None:
    schedule = as_schedule(plan)
    log = sample(fire(plan), Sampling(interval_s=60.0, noise_c=1.5, seed=5))
    index, _ = interrupted_segment(schedule, log.time_s, log.temperature_c[:, 0])
    assert index > schedule.peak_index


@pytest.mark.parametrize("noise_c", [0.3, 2.5])
def test_a_long_wait_before_the_first_ramp_is_no_end_of_the_program(noise_c: float) -> None:
    firing = fire(BISQUE, faults=Faults(late_start_s=3 * 3600.0))
    log = cut_off(firing, firing.program_start_s + 2000.0, noise_c, 1200.0)
    assert interrupted_segment(as_schedule(BISQUE), *log) == (0, 0.0)


def test_what_lies_below_a_log_that_begins_hot_is_not_fired_again() -> None:
    schedule = Schedule("s", (Segment(120.0, 100.0, hold_s=7200.0), Segment(1000.0, 120.0)))
    time_s = np.arange(0.0, 7200.0, 60.0)
    assert interrupted_segment(schedule, time_s, 600.0 + time_s / 30.0) == (1, 0.0)
