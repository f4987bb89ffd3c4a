"""One firing all the way round: design, forecast, card, watch and review, in one unit, one time."""

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commandline import call

from firing.files.kinds import ready_text
from firing.kiln.file import parse_kiln
from firing.kiln.simulation import simulate
from firing.schedule.file import open_schedule
from firing.ware.file import parse_load

KILN, LOAD = "example-kiln", "example-load-dry-bowls"
KNOWN = ("--kiln", KILN, "--load", LOAD)
DESIGN = ("design", "bisque", *KNOWN, "--top", "1796F", "--controller", "bench.toml")
FORECAST = ("forecast", "plan.toml", *KNOWN)
CARD = ("card", "plan.toml", *KNOWN, "--controller", "bench.toml")
WATCH = ("watch", "log.csv", "--schedule", "plan.toml")
REVIEW = ("review", "plan.toml", "log.csv", *KNOWN)


def log_of(plan: Path, path: Path) -> None:
    """The plan as the example kiln fires it, in °F; every half hour once it cools by itself."""
    run = simulate(
        parse_kiln(ready_text(KILN)), parse_load(ready_text(LOAD)), open_schedule(plan),
        until_c=60.0,
    )  # fmt: skip
    fired = np.arange(0.0, run.program_s + 1800.0, 600.0)
    grid = np.append(np.arange(fired[-1], run.total_s, 1800.0), run.total_s)
    grid = np.concatenate((fired[:-1], grid))
    readings_f = 1.8 * np.interp(grid, run.time_s, run.chamber_c) + 32.0
    rows = [f"{t:.0f},{f:.1f}" for t, f in zip(grid, readings_f, strict=True)]
    path.write_text("time_s,Kiln (°F)\n" + "\n".join(rows) + "\n", encoding="utf-8")


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a controller in °F, the plan designed for it, and the log of its firing."""
    folder = tmp_path_factory.mktemp("round")
    bench = ready_text("example-controller").replace('unit = "C"', 'unit = "F"')
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    made = call(folder, *DESIGN, "--out", "plan.toml")
    assert made.returncode == 0, made.stderr
    log_of(folder / "plan.toml", folder / "log.csv")
    return folder


def document(folder: Path, command: tuple[str, ...]) -> dict[str, Any]:
    result = call(folder, *command, "--json")
    assert result.returncode == 0, (command, result.stdout, result.stderr)
    last: dict[str, Any] = json.loads(result.stdout.splitlines()[-1] if command is WATCH else
                                      result.stdout)  # fmt: skip
    return last


def test_one_set_of_hours_all_the_way_round(studio: Path) -> None:
    designed, course, card = (document(studio, c) for c in (DESIGN, FORECAST, CARD))
    assert course["program_s"] == pytest.approx(designed["program_s"], abs=1.0)
    assert card["program_s"] == pytest.approx(designed["program_s"], abs=1.0)
    assert course["unload_c"] == card["unload_c"] == designed["unload_c"]
    assert course["total_s"] == pytest.approx(designed["total_s"], abs=1.0)
    assert card["total_s"] == pytest.approx(designed["total_s"], abs=1.0)
    # What is designed for a controller is keyed as it is, and nothing remains to be done.
    assert (card["changes"], card["to_do"], course["breaches"]) == ([], [], [])
    assert designed["problems"] == []
    watched, review = document(studio, WATCH), document(studio, REVIEW)
    assert watched["alarms"] == []
    # A log of every ten minutes tells an end to a few minutes.
    assert watched["unload_s"] == pytest.approx(course["total_s"], abs=300.0)
    assert review["planned_s"] == pytest.approx(course["program_s"], abs=1.0)
    assert review["actual_s"] == pytest.approx(course["program_s"], abs=300.0)
    assert sum(cause["seconds"] for cause in review["causes"]) == pytest.approx(
        review["excess_s"], abs=1.0
    )
    for one in (course, card, review, designed):
        number = one["cones"]["reached_number"] if "cones" in one else one["cone_after"]
        assert number == pytest.approx(course["cones"]["reached_number"], abs=0.3)


@pytest.mark.parametrize("command", [DESIGN, FORECAST, CARD, (*WATCH, "--every", "4h"), REVIEW],
                         ids=lambda command: command[0])  # fmt: skip
def test_one_unit_all_the_way_round(studio: Path, command: tuple[str, ...]) -> None:
    result = call(studio, *command)
    assert result.returncode == 0, result.stderr
    said = result.stdout + result.stderr
    assert "°F" in said
    assert not re.findall(r".*\d\s*°C.*", said)
