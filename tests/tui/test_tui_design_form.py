"""What is wanted of a design: the form's fields, and the command line's figures."""

import io
import json
from contextlib import redirect_stdout
from dataclasses import replace
from typing import Any

import pytest
from click.testing import CliRunner
from firing.tui.design_form import (
    MEND,
    WantedDesign,
    begin,
    continued,
    design_fields,
    make,
    taken,
)
from firing.tui.equipment import KINDS, Circumstances, Equipment, read_all
from firing.tui.reading_fields import watch_fields

from firing.cli import cli, outcome
from firing.design.result import Design
from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.schedule.file import parse_schedule
from firing.schedule.schedule import Schedule
from firing.units import TemperatureUnit

CUPS = "example-load-glazed-cups"
PLANTERS = "example-load-planters-and-cups"


def equipment(**names: str) -> Equipment:
    return read_all({kind: names[kind] for kind in KINDS if kind in names}).equipment


def wanted(schedule: Schedule, now: Circumstances, **texts: str) -> dict[str, Any]:
    """Return the fields as the form returns them, some with other texts."""
    written = begin(schedule, now) | texts
    fields = [f for f in design_fields(schedule.unit) if f.when in (None, ("how", written["how"]))]
    return {f.key: f.read(written[f.key]) for f in fields}


def read(key: str, text: str, unit: TemperatureUnit) -> Any:
    """Return what one field makes of a text."""
    return {f.key: f for f in design_fields(unit)}[key].read(text)


GLAZE = parse_schedule(ready_text("mid-range-glaze-cone-6-hold"), "glaze")


def test_the_form_begins_with_the_plan_and_goes_on_with_what_was_written() -> None:
    now = Circumstances(target_cone="6", equipment=equipment(controller="example-controller"))
    begun = begin(GLAZE, now)
    assert (begun["purpose"], begun["cone"], begun["top"]) == ("glaze", "6", "")
    assert (begun["segments"], begun["open"], begun["margin"]) == ("10", "60 °C", "1.5")
    last = WantedDesign(begun, begun | {"margin": "2", "cone": "5", "segments": "4"})
    assert continued(begin(GLAZE, now), last)["cone"] == "5"
    # Another cone is wanted of the plan, and no controller is chosen any more.
    later = continued(begin(GLAZE, Circumstances(target_cone="04")), last)
    assert (later["cone"], later["top"], later["segments"]) == ("04", "", "")
    assert later["margin"] == "2"
    without = begin(replace(GLAZE, cone=None), Circumstances())
    assert (without["cone"], without["top"]) == ("", "1200 °C")


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("top", "212", 100.0),
        ("drop", "100C", 100.0),
        ("slow", "90", 50.0),
        ("least", "1h30m", 5400.0),
        ("cone", "cone 06", "06"),
        ("margin", "1,5", 1.5),
        ("segments", " 8 ", 8),
        ("segments", "", None),
    ],
)
def test_fields_are_read_in_the_plans_unit(key: str, text: str, value: Any) -> None:
    found = read(key, text, "F")
    assert found == (pytest.approx(value) if isinstance(value, float) else value)


@pytest.mark.parametrize("text", ["0", "100", "2.5", "many", "-3"])
def test_a_number_of_segments_is_1_to_99(text: str) -> None:
    with pytest.raises(FiringError, match="1 to 99"):
        read("segments", text, "C")


def test_a_margin_out_of_bounds_is_refused_by_the_library() -> None:
    now = Circumstances(target_cone="6", equipment=equipment(load=CUPS))
    with pytest.raises(FiringError, match="a margin of 9 is outside 1 to 5"):
        make(GLAZE, now.equipment, wanted(GLAZE, now, margin="9"))


# The figures are those of the command line


def printed(*arguments: str) -> dict[str, Any]:
    result = CliRunner().invoke(cli, ["design", *arguments, "--json"], standalone_mode=False)
    assert result.exception is None, result.output
    document: dict[str, Any] = json.loads(result.stdout)
    return document


def document(found: Design) -> dict[str, Any]:
    """Return a design as the command prints it: with its digits."""
    with redirect_stdout(io.StringIO()) as out:
        outcome.document(found.to_dict())
    read_back: dict[str, Any] = json.loads(out.getvalue())
    return read_back


def test_a_new_plan_is_that_of_the_command_line() -> None:
    now = Circumstances(target_cone="04", equipment=equipment(load=PLANTERS, kiln="example-kiln"))
    bisque = replace(GLAZE, purpose="bisque")
    texts = {"margin": "2", "least": "10m", "final": "60C/h", "segments": "5"}
    texts |= {"slow": "80", "slow_to": "700"}
    found = make(bisque, now.equipment, wanted(bisque, now, **texts))
    expected = printed(
        *("bisque", "--cone", "04", "--load", PLANTERS, "--kiln", "example-kiln"),
        *("--margin", "2", "--hold-at-least", "10m", "--final-at-most", "60", "--segments", "5"),
        *("--slow-cool", "80", "--slow-to", "700"),
    )
    assert document(found) == expected


def test_a_mended_plan_is_that_of_the_command_line() -> None:
    now = Circumstances(equipment=equipment(load=CUPS, controller="example-controller"))
    found = make(GLAZE, now.equipment, wanted(GLAZE, now, how=MEND))
    expected = printed(
        *("glaze", "--from", "mid-range-glaze-cone-6-hold", "--load", CUPS),
        *("--controller", "example-controller"),
    )
    assert document(found) == expected


def test_a_design_takes_the_plans_unit_and_keeps_its_notes() -> None:
    here = replace(GLAZE, unit="F", notes="the kiln's left switch sticks")
    now = Circumstances(target_cone="6", equipment=equipment(load=CUPS))
    after = taken(here, make(here, now.equipment, wanted(here, now)))
    assert (after.unit, after.notes) == ("F", "the kiln's left switch sticks")
    # Without a controller it is made in whole degrees and rates of the plan's unit.
    for segment in after.segments:
        fahrenheit = segment.target_c * 1.8 + 32.0
        assert fahrenheit == pytest.approx(round(fahrenheit), abs=1e-6)
    keyed = replace(now, equipment=equipment(load=CUPS, controller="example-controller"))
    assert taken(here, make(here, keyed.equipment, wanted(here, keyed))).unit == "F"


def test_the_help_of_a_field_speaks_the_plans_unit() -> None:
    fields = [*design_fields("F"), *watch_fields("log", "F")]
    said = {field.key: field.about for field in fields}
    assert "last 180 °F per hour; with a cone at most 270 °F/h" in said["final"]  # x 1.8
    assert "36 °F above the plan's peak" in said["top"]
    assert not any("°C" in field.about for field in design_fields("F"))


def test_a_top_of_a_watch_that_never_rings_is_refused() -> None:
    read = {field.key: field.read for field in watch_fields("line", "C")}["top"]
    assert read("1260") == 1260.0
    with pytest.raises(FiringError, match=r"did you mean 2300F \(1260 °C\)"):
        read("2300")
