"""A program made for a cone comes to that cone in its own forecast, in holds that can be keyed.

What a cone needs is the maker's chart and the law fitted to it (sources ``cone-chart-1996`` and
``cone-model``); here the forecast's own heat-work is the measure: 1 is down.
"""

from dataclasses import replace

import pytest
from design.making import CONTROLLER, GLAZED, PLANTERS_AND_CUPS, example_kiln, ware

from firing.cones.table import CONES, cone_number, describe_number
from firing.controller.controller import Controller
from firing.design.designer import design
from firing.design.explain import designed_text
from firing.design.request import Bounds, CoolingRequest, DesignRequest
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.report.forecast import forecast_report
from firing.report.text import render_text
from firing.schedule.file import parse_schedule
from firing.schedule.schedule import Purpose, Schedule, Segment
from firing.units import format_hold
from firing.ware.load import Load

MADE = CONES[: CONES.index("10") + 1]
LOADS: dict[Purpose, Load] = {"bisque": PLANTERS_AND_CUPS, "glaze": GLAZED}


def _told(course: Forecast, cone: str) -> None:
    """The forecast names the cone, has it down, and nothing is left to be said of it."""
    number = course.cones.reached_number
    assert course.cones.reached == cone
    assert course.cones.by_cone[cone].heatwork >= 1.0 - 1e-6
    assert number is not None
    assert number - cone_number(cone) < 0.15  # the seventh of a cone
    if cone.startswith("0"):
        assert describe_number(number) == cone
    assert not [w for w in course.warnings if w.id == "cone_off_target"]


@pytest.mark.parametrize("cone", MADE)
@pytest.mark.parametrize("purpose", ["bisque", "glaze"])
def test_a_design_for_a_cone_forecasts_as_that_cone(purpose: Purpose, cone: str) -> None:
    kiln, load = example_kiln(), LOADS[purpose]
    made = design(load, DesignRequest(purpose, cone=cone), kiln=kiln, controller=CONTROLLER)
    top = made.schedule.segments[made.schedule.peak_index]
    assert top.hold_s % 60.0 == 0.0
    assert top.target_c % 1.0 == 0.0
    assert made.safe
    # as the file has it, forecast anew
    again = parse_schedule(designed_text(made.schedule, made.reasons), "plan.toml")
    _told(forecast(again, kiln=kiln, load=load), cone)


@pytest.mark.parametrize("cone", ["022", "015", "06", "6"])
def test_without_a_kiln_too(cone: str) -> None:
    purpose: Purpose = "glaze" if cone == "6" else "bisque"
    made = design(LOADS[purpose], DesignRequest(purpose, cone=cone))
    _told(forecast(made.schedule, load=LOADS[purpose]), cone)


@pytest.mark.parametrize("cone", ["010", "06", "2"])
def test_with_damp_ware_and_a_thermocouple_that_reads_low(cone: str) -> None:
    kiln = example_kiln()
    low = replace(kiln, fitted=replace(kiln.fitted, cone_offset_c=9.0))
    load = ware(12.0, "damp")
    made = design(load, DesignRequest("bisque", cone=cone), kiln=low)
    _told(forecast(made.schedule, kiln=low, load=load), cone)


@pytest.mark.parametrize("unit", ["C", "F"])
def test_a_hold_that_is_set_leaves_the_peak(unit: str) -> None:
    held = Bounds(hold_at_least_s=600.0, hold_at_most_s=600.0)
    controller = Controller(unit="F", rate_max=1000.0) if unit == "F" else Controller()
    kiln = example_kiln()
    made = design(
        GLAZED, DesignRequest("glaze", cone="6", bounds=held), kiln=kiln, controller=controller
    )
    assert made.schedule.segments[made.schedule.peak_index].hold_s == 600.0
    course = forecast(made.schedule, kiln=kiln, load=GLAZED)
    assert course.cones.reached == "6"
    assert course.cones.reached_number == pytest.approx(6.0, abs=0.15)


def test_minutes_to_the_target_are_whole_and_bring_the_cone_down() -> None:
    controller = Controller(notation="time")
    kiln = example_kiln()
    made = design(GLAZED, DesignRequest("glaze", cone="6"), kiln=kiln, controller=controller)
    for leg in made.forecast.segments:
        assert leg.planned_s / 60.0 == pytest.approx(round(leg.planned_s / 60.0), abs=1e-3)
    _told(forecast(made.schedule, kiln=kiln, load=GLAZED), "6")


def test_bounds_of_the_top_are_kept_or_refused() -> None:
    kiln = example_kiln()
    for most_c in (1200.0, 1210.0):
        bounds = Bounds(peak_at_most_c=most_c, hold_at_most_s=3600.0)
        request = DesignRequest("glaze", cone="6", bounds=bounds)
        made = design(GLAZED, request, kiln=kiln, controller=CONTROLLER)
        top = made.schedule.segments[made.schedule.peak_index]
        assert top.target_c <= most_c
        assert top.hold_s <= 3600.0
        _told(made.forecast, "6")
    narrow = Bounds(peak_at_most_c=1150.0, hold_at_most_s=600.0)
    with pytest.raises(FiringError, match="collide"):
        design(GLAZED, DesignRequest("glaze", cone="6", bounds=narrow), kiln=kiln)


def test_what_is_missing_of_a_cone_is_told_in_whole_minutes() -> None:
    short = Schedule("t", (Segment(900.0, 120.0), Segment(999.0, 101.0)), "bisque", cone="06")
    [told] = [w.message for w in forecast(short).warnings if w.id == "cone_off_target"]
    assert " s more hold" not in told
    minutes = int(told.split(" min more hold")[0].split()[-1])
    held = (short.segments[0], replace(short.segments[1], hold_s=60.0 * minutes))
    assert forecast(replace(short, segments=held)).cones.reached == "06"


def test_a_hold_is_written_as_it_is_keyed() -> None:
    assert [format_hold(s) for s in (0.0, 60.0, 90.0, 120.0, 3900.0)] == [
        "0 min", "1 min", "90 s", "2 min", "1 h 05 min",
    ]  # fmt: skip


def test_a_cone_that_still_stands_where_the_heat_ends_is_said_to() -> None:
    kiln = example_kiln()
    # The hold after a small drop and the slow cooling do a good part of what brings the cone down.
    cooling = CoolingRequest(drop_to_c=1180.0, drop_hold_s=1800.0, rate_c_per_h=60.0, until_c=900.0)
    request = DesignRequest("glaze", cone="6", cooling=cooling)
    made = design(GLAZED, request, kiln=kiln)
    falls_s = made.forecast.cones.by_cone["6"].reached_s
    assert falls_s is not None
    assert falls_s > made.forecast.heating_s + 600.0
    # One looks where the heat ends; hours later, at the end of the cooling, would be no use.
    printed = " ".join(render_text(forecast_report(made.forecast)).split())
    assert "look at the cone (cone 6 still stands then; it falls after about" in printed
    _told(made.forecast, "6")
