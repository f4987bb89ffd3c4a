"""The line a person reads, and the user's command."""

import math
import sys
import time
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from firing.tui.watch_text import figures
from watch.replaying import PLAN, Told

from firing.watch.alarm_command import AlarmCommand
from firing.watch.snapshot import WatchState
from firing.watch.state import Estimate, KilnFigures
from firing.watch.status_text import status_line

BEGAN = datetime(2026, 3, 2, 20, 0, tzinfo=ZoneInfo("Europe/Berlin"))


def test_a_status_says_where_when_and_what_next(as_planned: Told) -> None:
    line = status_line(as_planned.at(3.0), BEGAN, PLAN)
    assert line.startswith("23:0")
    for part in (
        " °C/h;", "segment 1 of 2 Rise", "on plan", "cone 012 Tue 04:", "program ends Tue 04:3",
        "unload Tue", "Tue 02:1", ": close the lid",
    ):  # fmt: skip
        assert part in line, (part, line)
    assert "\n" not in line


def test_a_hold_says_what_is_left_of_it_and_an_alarm_stands_out(as_planned: Told) -> None:
    line = status_line(as_planned.at(6.0), BEGAN, PLAN)
    assert "hold, 1" in line
    assert " left" in line
    alarmed = replace(as_planned.at(6.0), alarms=("reading-lost",))
    assert status_line(alarmed, BEGAN, PLAN).endswith("ALARM reading-lost")


def test_without_a_plan_and_without_a_reading() -> None:
    bare = Estimate(0.0, math.nan, None, None, "", None)
    assert status_line(bare, BEGAN, None) == "20:00; no reading"
    warm = replace(bare, temperature_c=812.4, rate_c_per_h=-40.0)
    assert status_line(warm, BEGAN, None) == "20:00; 812 °C −40 °C/h"


def test_ranges_of_a_known_kiln_say_once_what_they_hold(as_planned: Told) -> None:
    guessed = as_planned.at(3.0)
    known = replace(guessed, kiln=KilnFigures(1.0, 1.0, 1.0))
    late = replace(known, program_end_high_s=guessed.now_s + 9.0 * 3600.0)
    seen = WatchState(began=BEGAN, now_s=late.now_s, estimate=late)
    panel = figures(seen, PLAN, "C")
    screen = "; ".join(f"{one.label} {', '.join(one.lines)}" for one in panel)
    for text in (status_line(late, BEGAN, PLAN), screen):
        assert text.count("80 %") == 1, text
        assert ", 80 %)" in text.partition("nload")[2]
    assert "80 %" not in status_line(guessed, BEGAN, PLAN)
    # A kiln that is cool enough when its program ends has one range, the program's.
    cold = replace(late, unload_s=None)
    assert status_line(cold, BEGAN, PLAN).count(", 80 %)") == 1


def test_a_command_that_cannot_be_run_is_told_once() -> None:
    command = AlarmCommand(["/nonexistent/program"])
    command.tell("one")
    command.tell("two")
    assert "cannot be run for alarms" in (command.tick() or "")
    assert command.tick() is None


def test_commands_run_one_after_the_other_and_all(tmp_path: Path) -> None:
    out = tmp_path / "out.txt"
    script = "import sys; open(sys.argv[1], 'a').write(sys.argv[2] + '\\n')"
    command = AlarmCommand([sys.executable, "-c", script, str(out)])
    for number in range(8):
        command.tell(f"notice {number}; rm -rf $HOME")
    until = time.monotonic() + 120.0
    while time.monotonic() < until and (not out.exists() or out.read_text().count("\n") < 8):
        assert command.tick() is None
        time.sleep(0.01)
    command.close()
    assert sorted(out.read_text().splitlines()) == [f"notice {n}; rm -rf $HOME" for n in range(8)]


def test_closing_waits_a_moment_and_no_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("firing.watch.alarm_command.CLOSING_S", 0.1)
    command = AlarmCommand([sys.executable, "-c", "import time; time.sleep(30)"])
    command.tell("x")
    command.tick()
    process = command._running[0][0]
    command.close()
    process.kill()
    process.wait()
