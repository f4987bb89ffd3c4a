"""The real program on a pseudo-terminal: what a person would see and find in the file."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from commandline import call
from ptyscreen import CTRL, DOWN, FIRING, RIGHT, Terminal
from waiting import wait_until

from firing.schedule.file import open_schedule
from firing.units import format_duration

# The file after a rate was changed, a segment added and given a target, and one more change made
# and taken back; written by hand.  360 is half-way from 120 to 600, and 480 was typed over it.
EXPECTED = """# kept above
title = "Plates, invented"  # kept behind
purpose = "glaze"
unit = "C"
start = 20

# why it dries
[[segment]]
name = "Dry"
rate = 40
target = 120
hold = "1:30"
action = "close the lid"

[[segment]]
rate = 120
target = 480

[[segment]]
name = "Rise"
rate = 120
target = 600

# the cone
[[segment]]
rate = 150
target = 1200
hold = "30m"
"""

Start = Callable[..., Terminal]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Return what starts the program in a folder of its own; none outlives its test."""
    started: list[Terminal] = []

    def run(*arguments: str, **environment: str) -> Terminal:
        state = {"XDG_STATE_HOME": str(tmp_path / "state")}
        started.append(Terminal(["edit", *arguments], tmp_path, **state, **environment))
        return started[-1]

    yield run
    for terminal in started:
        if not terminal.ended:
            terminal.kill()


@pytest.mark.soak
def test_a_terminal_that_is_gone_ends_the_screens_under_nohup_and_keeps_what_is_unsaved(
    tmp_path: Path, plan: Path
) -> None:
    state = tmp_path / "state"
    ignoring = "import signal; signal.signal(signal.SIGHUP, signal.SIG_IGN)\n" + FIRING
    terminal = Terminal(["edit", plan.name], tmp_path, code=ignoring, XDG_STATE_HOME=str(state))
    terminal.wait_for("Plates, invented")
    terminal.press("40\r")
    terminal.wait_for("Changed: segment 1, rate")
    os.close(terminal.file)
    assert os.waitstatus_to_exitcode(os.waitpid(terminal.pid, 0)[1]) == 2
    assert any("40" in left.read_text(encoding="utf-8") for left in state.rglob("*.json"))


def forecast_json(path: Path, *options: str) -> dict[str, object]:
    return dict(json.loads(call(path.parent, "forecast", path.name, "--json", *options).stdout))


def test_open_edit_undo_save_quit(start: Start, plan: Path) -> None:
    terminal = start(plan.name)
    terminal.wait_for("Plates, invented")
    terminal.wait_for("Cone ")
    terminal.press("40\r")
    terminal.wait_for("Changed: segment 1, rate")
    terminal.press(CTRL["n"])
    terminal.wait_for("Changed: new segment")
    terminal.press(RIGHT + "480\r")
    terminal.wait_for("Changed: segment 2, to")
    terminal.press(RIGHT + "3h\r")
    terminal.wait_for("Changed: segment 2, hold")
    terminal.press(CTRL["z"])
    terminal.wait_for("Taken back: segment 2, hold")
    terminal.press(CTRL["s"])
    terminal.wait_for("Saved in")
    expected = forecast_json(plan)
    heating_s, total_s = float(str(expected["heating_s"])), float(str(expected["total_s"]))
    terminal.wait_for(f"Heats {format_duration(heating_s)}")
    terminal.wait_for(f"after {format_duration(total_s)}")
    # 2.5 h and a half-hour less to 120, 3 h to 480, 1 h to 600, 4 h and 30 min to 1200
    assert heating_s == (2.5 + 1.5 + 3 + 1 + 4 + 0.5) * 3600
    cones = expected["cones"]
    assert isinstance(cones, dict)
    number = cones["reached_number"]
    shown = re.search(r"[Cc]one ([\d.]+)", terminal.text())
    assert shown is not None
    assert float(shown[1]) == pytest.approx(float(number), abs=0.051)
    terminal.press(CTRL["q"])
    assert terminal.wait_for_end() == 0
    assert plan.read_text(encoding="utf-8") == EXPECTED
    assert list((plan.parent / "state").rglob("*.json")) == []


def test_with_kiln_load_and_tariff_it_shows_what_the_command_prints(
    start: Start, plan: Path
) -> None:
    """The same options, and the same figures in the file's own words afterwards."""
    fired = ["--kiln", "example-kiln", "--load", "example-load-glazed-cups"]
    priced = [*fired, "--tariff", "example-tariff", "--start", "2026-03-02 18:00", "--cone", "6"]
    terminal = start(plan.name, *priced)
    terminal.wait_for("In Workshop kiln with glazed-cups")
    # The dishes of the load are dried on the way: an edit, and its forecast.
    terminal.press("90\r")
    terminal.wait_for("Changed: segment 1, rate")
    terminal.press(CTRL["s"])
    terminal.wait_for("Saved in")
    expected = forecast_json(plan, *priced)
    energy_kwh, cost = float(str(expected["energy_kwh"])), float(str(expected["cost"]))
    terminal.wait_for(f"Heats {format_duration(float(str(expected['heating_s'])))}".lower())
    low, high = (float(str(expected[f"energy_kwh_{end}"])) for end in ("low", "high"))
    in_range = f"{energy_kwh:.0f} kWh ({low:.0f} to {high:.0f})"
    terminal.wait_for(f"{in_range} · {expected['currency']} {cost:.2f}")
    opens = datetime.fromisoformat(str(expected["opens_at"]))
    opens += timedelta(seconds=30)  # to the nearest minute
    terminal.wait_for(f"pens {opens:%a %H:%M}")  # also where a line begins with it
    cones = expected["cones"]
    assert isinstance(cones, dict)
    shown = re.search(r"[Cc]one ([\d.]+) \(([\d.]+) to ([\d.]+)\)", terminal.text())
    assert shown is not None, terminal.text()
    for number, key in zip(shown.groups(), ("reached_number", "low", "high"), strict=True):
        assert float(number) == pytest.approx(float(cones[key]), abs=0.051)
    assert expected["reaches_peak"] is True
    assert "reaches 1200 °C" in terminal.text()
    warnings = expected["warnings"]
    assert isinstance(warnings, list)
    for severity, words in (("act", "to do"), ("check", "to check"), ("note", "to know")):
        number = sum(warning["severity"] == severity for warning in warnings)
        assert (f"{number} {words}" in terminal.text()) == (number > 0)
    terminal.press(CTRL["q"])
    assert terminal.wait_for_end() == 0


def test_what_is_named_and_cannot_be_read_is_told_before_the_screens(
    start: Start, plan: Path
) -> None:
    terminal = start(plan.name, "--kiln", "nowhere.toml")
    assert terminal.wait_for_end() == 2
    assert "nowhere.toml: there is no such file" in terminal.text()


def test_work_survives_a_kill_in_mid_edit(start: Start, plan: Path) -> None:
    before = plan.read_text(encoding="utf-8")
    terminal = start(plan.name)
    terminal.wait_for("Cone ")
    terminal.press("77\r")
    terminal.wait_for("Changed: segment 1, rate")
    wait_until(lambda: list((plan.parent / "state").rglob("*.json")))
    terminal.press(DOWN + "9")
    terminal.wait_for("segment 2, rate 9")
    terminal.kill()
    assert plan.read_text(encoding="utf-8") == before
    again = start(plan.name)
    again.wait_for("There is unsaved work")
    again.press("\r")
    again.wait_for("The unsaved work is back")
    again.press(CTRL["s"])
    again.wait_for("Saved in")
    again.press(CTRL["q"])
    assert again.wait_for_end() == 0
    assert open_schedule(plan).segments[0].rate_c_per_h == 77
    assert list((plan.parent / "state").rglob("*.json")) == []


def test_without_colour_it_is_grey_alone_and_json_tells_how_the_plan_was_left(
    start: Start, plan: Path
) -> None:
    terminal = start(plan.name, "--json", NO_COLOR="1", COLORTERM="truecolor")
    terminal.wait_for("Cone ")
    colours = re.findall(r"[34]8;2;(\d+);(\d+);(\d+)", terminal.raw)
    assert colours
    assert all(red == green == blue for red, green, blue in colours)
    terminal.press(CTRL["q"])
    assert terminal.wait_for_end() == 0
    document = json.loads(terminal.raw[terminal.raw.rindex('{\r\n  "schema"') :])
    assert document["kind"] == "edit"
    assert document["left"] == "clean"
    assert document["file"] == plan.name


def test_without_a_terminal_it_is_refused_in_words(plan: Path, tmp_path: Path) -> None:
    for name, words in ((str(plan), "need a terminal"), ("nowhere.toml", "no such file")):
        result = call(tmp_path, "edit", name)
        assert result.returncode == 2
        assert words in result.stderr
        assert "Traceback" not in result.stderr


def test_only_the_screens_load_what_draws_them() -> None:
    probe = "import sys\n" + "\n".join(
        f"{code}\nprint('loaded', 'textual' in sys.modules, file=sys.stderr)"
        for code in (
            "import firing, firing.cli",
            "from firing.cli import cli; cli.main(['edit', '--help'], standalone_mode=False)",
            "from firing.tui import document, edits, journal, session, segment_table, plot",
            "cli.main(['forecast', 'decal'], standalone_mode=False)",
        )
    )
    result = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, encoding="utf-8", check=True
    )
    assert result.stderr.splitlines() == ["loaded False"] * 4
