"""Whether readings so far are of another program: courses of straight lines and of physics.

What each course is follows from how it is made: lines at the plan's own rates, at others, or a
body that a share of its power heats (a first-order balance, solved in closed form).
"""

import numpy as np
import pytest

from firing.review.other_program import other_program, soonest
from firing.review.resample import resampled
from firing.review.which_plan import which_plan_so_far
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray

HOUR_S = 3600.0
SLOW = Schedule("slow", (Segment(100.0, 60.0, hold_s=2.0 * HOUR_S), Segment(1000.0, 90.0)))
QUICK = Schedule("quick", (Segment(600.0, 150.0), Segment(1200.0, 180.0, hold_s=1800.0)))
Course = tuple[FloatArray, FloatArray]


def _course(*points: tuple[float, float], noise_c: float = 0.3) -> Course:
    """Return a course that runs straight between points of (hours, °C), every half minute."""
    hours, celsius = np.array(points).T
    time_s = np.arange(0.0, hours[-1] * HOUR_S, 30.0)
    noise = np.random.default_rng(3).normal(0.0, noise_c, time_s.size)
    return time_s, np.interp(time_s / HOUR_S, hours, celsius) + noise


def _doubt(schedule: Schedule, course: Course) -> str:
    return other_program(schedule, resampled(*course))


def _limited(from_c: float, most_c_per_h: float, ceiling_c: float, hours: float) -> Course:
    """Return a body at constant power from `from_c` on: it comes ever more slowly to its ceiling.

    Its rate is `most_c_per_h` there and falls in proportion to what is left to the ceiling.
    """
    time_s = np.arange(0.0, hours * HOUR_S, 30.0)
    scale_s = (ceiling_c - from_c) / most_c_per_h * HOUR_S
    return time_s, ceiling_c - (ceiling_c - from_c) * np.exp(-time_s / scale_s)


def _joined(first: Course, second: Course) -> Course:
    time_s = np.concatenate((first[0], first[0][-1] + 30.0 + second[0]))
    return time_s, np.concatenate((first[1], second[1]))


@pytest.mark.parametrize("noise_c", [0.0, 0.3, 3.0])
def test_a_firing_of_its_own_plan_is_none_of_another(noise_c: float) -> None:
    slow = _course((0, 20), (4 / 3, 100), (10 / 3, 100), (40 / 3, 1000), noise_c=noise_c)
    quick = _course((0, 20), (58 / 15, 600), (7.2, 1200), (7.7, 1200), noise_c=noise_c)
    assert _doubt(SLOW, slow) == ""
    assert _doubt(QUICK, quick) == ""


def test_a_quicker_program_is_told_before_it_has_come_to_a_third_of_its_way() -> None:
    told = _doubt(SLOW, _course((0, 20), (2.5, 395)))
    # By 60 °C/h the plan is at 100 °C after 80 min and stays for two hours.
    assert "the plan cannot be above 100 °C by then" in told


def test_a_cold_kiln_that_climbs_steadily_at_far_less_than_planned_runs_another() -> None:
    told = _doubt(QUICK, _course((0, 20), (4.0, 380)))
    assert "climbed steadily at 90 °C/h, where the plan has 150 °C/h" in told


def test_a_hold_where_the_plan_has_none_is_of_another_program_after_an_hour_not_before() -> None:
    climb = (0.0, 20.0), (13 / 15, 150.0)
    assert _doubt(QUICK, _course(*climb, (1.6, 150))) == ""
    assert "stood at 150 °C" in _doubt(QUICK, _course(*climb, (2.2, 150)))


def test_a_kiln_at_its_limit_runs_its_own_plan_however_late() -> None:
    warm = _course((0, 20), (58 / 15, 600), noise_c=0.0)
    assert _doubt(QUICK, _joined(warm, _limited(600.0, 150.0, 1150.0, 30.0))) == ""


def test_a_kiln_whose_power_was_away_and_came_back_runs_its_own_plan() -> None:
    course = _course((0, 20), (4.2, 650), (5.0, 560), (6.0, 710), (10.0, 1200), (10.5, 1200))
    assert _doubt(QUICK, course) == ""


def test_a_pause_at_the_kilns_door_is_no_other_program() -> None:
    course = _course((0, 20), (2.0, 320), (2.5, 320), (58 / 15 + 0.5, 600), (7.7, 1200))
    assert _doubt(QUICK, course) == ""


def test_a_relay_that_sticks_is_no_other_program() -> None:
    """It leaves its plan at a corner, at full power, which fades."""
    led = _course((0, 20), (4 / 3, 100), (10 / 3, 100), (10 / 3 + 4, 460), noise_c=0.0)
    assert _doubt(SLOW, _joined(led, _limited(460.0, 260.0, 1300.0, 2.5))) == ""


def test_a_sensor_a_few_degrees_high_is_no_other_program() -> None:
    time_s, celsius = _course((0, 20), (4 / 3, 100), (10 / 3, 100), (40 / 3, 1000))
    assert other_program(SLOW, resampled(time_s, celsius + 15.0)) == ""


def test_the_soonest_course_is_the_programs_own_arithmetic() -> None:
    time_s, highest_c = soonest(SLOW, 20.0)
    assert time_s / HOUR_S == pytest.approx([0.0, 4 / 3, 10 / 3, 40 / 3, 40 / 3])
    assert highest_c == pytest.approx([20.0, 100.0, 100.0, 1000.0, 1000.0])


def test_the_plan_that_fits_is_named_and_none_where_two_do() -> None:
    trace = resampled(*_course((0, 20), (4 / 3, 100), (10 / 3, 100), (7.0, 430)))
    near = Schedule("near", (*SLOW.segments[:1], Segment(950.0, 90.0)))
    assert which_plan_so_far(trace, {"quick": QUICK, "slow": SLOW}) == "slow"
    assert which_plan_so_far(trace, {"quick": QUICK}) == ""
    assert which_plan_so_far(trace, {"near": near, "slow": SLOW}) == ""
