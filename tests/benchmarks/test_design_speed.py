"""A design against one forecast, and the limit curve, in one run: times are only reported."""

from collections.abc import Callable

import numpy as np
import pytest
from benchmarks.turns import in_turns
from design.making import CONTROLLER, GLAZED, PLANTERS_AND_CUPS, example_kiln

from firing.design.designer import design
from firing.design.request import DesignRequest
from firing.forecast.forecast import forecast
from firing.ware.limits import lowest_of
from firing.ware.safe_rates import limits_for

pytestmark = pytest.mark.soak  # ratios ask for a machine that does nothing else

MOST_FORECASTS = 50.0
"""A design is one forecast, two trial runs of the kiln, some optima, and a simulated wall: half a
second, of which a forecast that takes 13 ms is a fortieth."""


def test_a_design_costs_some_forecasts(record_property: Callable[[str, object], None]) -> None:
    kiln = example_kiln()
    for name, load, wish in (
        ("bisque", PLANTERS_AND_CUPS, DesignRequest("bisque", cone="06")),
        ("glaze", GLAZED, DesignRequest("glaze", cone="6")),
    ):
        made = design(load, wish, kiln=kiln, controller=CONTROLLER)
        turns = in_turns(
            lambda: design(load, wish, kiln=kiln, controller=CONTROLLER),  # noqa: B023  called at once
            lambda: forecast(made.schedule, kiln=kiln, load=load),  # noqa: B023  called at once
            most=MOST_FORECASTS,
        )
        record_property(name, str(turns))
        print(f"\ndesign {name} against a forecast: {turns}")
        assert turns.ratio <= MOST_FORECASTS


def test_the_limit_curve_costs_less_than_a_forecast(
    record_property: Callable[[str, object], None],
) -> None:
    kiln = example_kiln()
    grid = np.linspace(20.0, 1260.0, 60)
    plan = design(
        PLANTERS_AND_CUPS, DesignRequest("bisque", cone="06"), controller=CONTROLLER
    ).schedule
    turns = in_turns(
        lambda: lowest_of(limits_for(PLANTERS_AND_CUPS, purpose="bisque").of("heating"), grid),
        lambda: forecast(plan, kiln=kiln, load=PLANTERS_AND_CUPS),
        most=1.0,
    )
    record_property("limit curve", str(turns))
    print(f"\nlimit curve against a forecast: {turns}")
    assert turns.ratio <= 1.0
