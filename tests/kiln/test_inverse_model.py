"""The model asked backwards gives back what it was driven with."""

from dataclasses import replace

import numpy as np
import pytest
from kilns import BISQUE, BISQUED, GLAZE, RAW, trial_kiln

from firing.kiln.description import Fitted
from firing.kiln.inverse_model import ChamberCourse, contents_heat_j, heat_needed, wall_heat_j
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
