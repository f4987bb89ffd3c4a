"""An evening in commands: forecast, the power fails, resume, forecast of what was keyed in."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from firing.cli import cli
from firing.files.kinds import ready_text
from firing.kiln.file import parse_kiln
from firing.kiln.simulation import simulate
from firing.schedule.file import parse_schedule
from firing.schedule.schedule import Segment
from firing.ware.file import parse_load

PLAN, LOAD, KILN = "thin-ware-bisque", "example-load-thin-cups", "example-kiln"
IN_KILN = ("--kiln", KILN)
LOADED = (*IN_KILN, "--load", LOAD)
ONLY_THE_TOP = """title = "Only the top"
purpose = "bisque"
unit = "C"
start = {start}

[[segment]]
rate = 100
target = 1000
hold = "20m"
"""


def firing(*arguments: str) -> Result:
    return CliRunner().invoke(cli, arguments, standalone_mode=False)


def log_until(path: Path, reached_c: float, falls_to_c: float) -> None:
    """A log of the plan in the example kiln, whose power failed, minute by minute."""
    plan = parse_schedule(ready_text(PLAN))
    below = [s for s in plan.segments if s.target_c < reached_c]
    last = replace(plan.segments[len(below)], target_c=reached_c, hold_s=0.0, action="")
    off = Segment(falls_to_c, None, "off")
    until = replace(plan, segments=(*below, last, off))
    run = simulate(
        parse_kiln(ready_text(KILN)), parse_load(ready_text(LOAD)), until, until_c=falls_to_c
    )
    grid = np.append(np.arange(0.0, run.total_s, 60.0), run.total_s)
    readings = np.interp(grid, run.time_s, run.chamber_c)
    rows = [f"{t:.0f},{c:.1f}" for t, c in zip(grid, readings, strict=True)]
    path.write_text("time_s,Kiln (°C)\n" + "\n".join(rows) + "\n", encoding="utf-8")


@pytest.mark.parametrize("known", [IN_KILN, LOADED], ids=["kiln alone", "kiln and load"])
@pytest.mark.parametrize(("reached_c", "falls_to_c"), [(780.0, 621.0), (650.0, 621.0)])
def test_the_power_fails_and_the_kiln_is_still_at_621(
    tmp_path: Path, reached_c: float, falls_to_c: float, known: tuple[str, ...]
) -> None:
    whole = firing("forecast", PLAN, *LOADED, "--json")
    assert whole.return_value == 0
    log, rest = tmp_path / "log.csv", tmp_path / "rest.toml"
    log_until(log, reached_c, falls_to_c)

    said = firing("resume", PLAN, str(log), *known, "--out", str(rest))
    assert said.return_value == 0
    assert "never" not in said.stdout.split("Cautions that apply")[0]
    assert "no further" not in said.stdout
    # The kiln was never colder than 621 °C: nothing can have been cooled from 550 to 580 °C.
    assert "cooling from 550" not in said.stdout
    found = json.loads(firing("resume", PLAN, str(log), *known, "--json").stdout)
    assert found["problems"] == []
    # From 621 °C up at 100 to 150 °C/h, and the plan's 20 min at 900 °C or a little less.
    least_h, most_h = (900.0 - 621.0) / 150.0, (900.0 - 621.0) / 100.0 + 20.0 / 60.0
    assert least_h < found["program_s"] / 3600.0 < most_h + 0.1

    # What was keyed in is a program that starts hot: it takes as long, and nothing is to be done.
    again = firing("forecast", str(rest), *known, "--json")
    assert again.return_value == 0
    course = json.loads(again.stdout)
    assert course["reaches_peak"] is True
    assert course["program_s"] == pytest.approx(found["program_s"], abs=120.0)
    if known == LOADED:  # the file carries what the log did to the load, so nothing is assumed
        assert course["assumed_at_start"] is None
        card = firing("card", str(rest), *known, "--controller", "example-controller")
        assert card.return_value == 0
        assert "To do" not in card.stdout
    else:
        assert "starts at 621 °C" in course["assumed_at_start"]


@pytest.mark.parametrize("known", [IN_KILN, LOADED], ids=["kiln alone", "kiln and load"])
@pytest.mark.parametrize("start_c", [621, 700, 850])
def test_a_program_that_starts_hot_takes_its_own_time_and_says_what_it_assumes(
    tmp_path: Path, start_c: int, known: tuple[str, ...]
) -> None:
    plan = tmp_path / "top.toml"
    plan.write_text(ONLY_THE_TOP.format(start=start_c), encoding="utf-8")
    said = firing("forecast", str(plan), *known)
    assert said.return_value == 0
    assert "no further" not in said.stdout
    assert "To do" not in said.stdout
    assert f"The program starts at {start_c} °C." in said.stdout
    assert "bound water" in said.stdout
    course = json.loads(firing("forecast", str(plan), *known, "--json").stdout)
    # 100 °C an hour, and 20 min at the top.
    assert course["program_s"] / 3600.0 == pytest.approx(
        (1000.0 - start_c) / 100.0 + 20.0 / 60.0, rel=0.02
    )


@pytest.mark.parametrize("purpose", ["bisque", "once-fired"])
@pytest.mark.parametrize("load", ["example-load-planters-and-cups", LOAD])
def test_a_drying_program_is_mended_in_a_kiln(purpose: str, load: str) -> None:
    known = ("--load", load, *IN_KILN)
    result = firing("design", purpose, "--from", "thick-ware-drying", *known, "--json")
    assert result.exception is None
    document = json.loads(result.stdout)
    # 12 h at 40 °C and 12 h at 75 °C, and 55 °C of ramp at 10 °C/h: 29.5 h as written.
    assert document["program_s"] / 3600.0 == pytest.approx(29.5, rel=0.02)
