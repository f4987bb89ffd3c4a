"""The model asked backwards gives back what it was driven with."""

from dataclasses import replace

import numpy as np
import pytest
from kilns import BISQUE, BISQUED, GLAZE, RAW, trial_kiln

from firing.kiln.description import Fitted
from firing.kiln.heatneed import Course, contents_heat_j, needed, wall_heat_j
from firing.kiln.network import Network
from firing.kiln.thermal import simulate
from firing.schedule import Schedule
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
    course = Course(grid, np.interp(grid, run.time_s, run.chamber_c))
    network = Network(replace(kiln, fitted=replace(fitted, power=1.0)), load, room_c=20.0)
    found = needed(
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
