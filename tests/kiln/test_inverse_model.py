"""The model asked backwards gives back what it was driven with."""

from dataclasses import replace

import numpy as np
import pytest
from kilns import BISQUE, BISQUED, GLAZE, RAW, trial_kiln

from firing.kiln.description import Fitted
from firing.kiln.inverse_model import (
    ChamberCourse,
    CourseHeat,
    contents_heat_j,
    heat_needed,
    wall_heat_j,
)
from firing.kiln.simulation import simulate
from firing.kiln.thermal_network import Network
from firing.schedule.schedule import Schedule
from firing.ware.load import Load, Piece

MIXED = Load((Piece("planter", 4, 30.0, 3.2), Piece("cup", 24, 5.0, 0.32)), "leather hard")


@pytest.mark.parametrize(
    ("schedule", "load"), [(BISQUE, RAW), (BISQUE, MIXED), (GLAZE, BISQUED)], ids=lambda x: ""
)
@pytest.mark.parametrize("fitted", [Fitted(), Fitted(power=0.9, loss=1.3, capacity=1.2)])
def test_the_heat_needed_is_what_was_supplied(
    schedule: Schedule, load: Load, fitted: Fitted
) -> None:
    kiln = trial_kiln(fitted=fitted)
    run = simulate(kiln, load, schedule, until_c=120.0)
    grid = np.arange(0.0, run.total_s, 300.0)
    course = ChamberCourse(grid, np.interp(grid, run.time_s, run.chamber_c))
    network = Network(replace(kiln, fitted=replace(fitted, power=1.0)), load, room_c=20.0)
    found = heat_needed(
        network,
        course,
        contents_j=contents_heat_j(network, course),
        wall_j=wall_heat_j(network, course),
    )
    supplied = np.interp(grid, run.time_s, run.supplied_j)
    assert float(np.max(np.abs(found.heat_j - supplied))) < 0.012 * supplied[-1]
    hot = np.interp(grid, run.time_s, run.power_w) > 1500.0
    hot &= grid > 3600.0
    wire = np.interp(grid, run.time_s, run.element_c)
    assert float(np.median(np.abs(found.wire_c - wire)[hot])) < 5.0


def test_a_course_that_begins_hot_does_not_take_the_waters_heat() -> None:
    grid = np.arange(0.0, 3.0 * 3600.0 + 1.0, 300.0)
    course = ChamberCourse(grid, 700.0 + grid / 36.0)
    # The same dry mass, raw and bisqued: 1.5 % of it is water that raw ware brings along.
    raw = replace(RAW, pieces=(replace(RAW.pieces[0], mass_kg=0.7 * 1.015),))
    taken = [
        contents_heat_j(Network(trial_kiln(), load, room_c=20.0), course)[-1]
        for load in (raw, BISQUED)
    ]
    assert taken[0] == pytest.approx(taken[1], rel=0.005)


@pytest.mark.parametrize("load", [RAW, BISQUED], ids=["wet", "dry"])
def test_a_course_solved_at_once_is_the_one_followed_step_by_step(load: Load) -> None:
    kiln = trial_kiln()
    run = simulate(kiln, load, GLAZE, until_c=500.0)
    grid = np.arange(0.0, run.total_s, 300.0)
    course = ChamberCourse(grid, np.interp(grid, run.time_s, run.chamber_c))
    network = Network(kiln, load, room_c=20.0)
    found = CourseHeat(network, course)
    for at_once, marched in (
        (found.contents_j, contents_heat_j(network, course)),
        (found.wall_j, wall_heat_j(network, course)),
    ):
        assert float(np.max(np.abs(at_once - marched))) < 1e-3 * float(marched.max())
    # The slope is that of walls that lose a little more and a little less, their air with them.
    needed = []
    for step in (-0.03, 0.03):
        other = Network(replace(kiln, fitted=Fitted(loss=float(np.exp(step)))), load, room_c=20.0)
        leak_w = other.leak_w_per_k * (course.chamber_c - 20.0)
        leak_j = np.concatenate(([0.0], np.cumsum(150.0 * (leak_w[1:] + leak_w[:-1]))))
        needed.append(wall_heat_j(other, course) + leak_j)
    slope_j = (needed[1] - needed[0]) / 0.06
    assert float(np.max(np.abs(found.loss_slope_j - slope_j))) < 5e-3 * float(slope_j.max())
    # Left at a moment for its own further course, it is the same again.
    place = int(np.argmax(course.chamber_c)) - 20
    rest = ChamberCourse(grid[place : place + 10], course.chamber_c[place : place + 10])
    (onwards,) = found.onwards(place, [rest])
    for more, whole in zip(onwards, (found.contents_j, found.wall_j), strict=True):
        expected = whole[place : place + 10] - whole[place]
        assert float(np.max(np.abs(more - expected))) < 0.01 * float(np.max(np.abs(expected)))
