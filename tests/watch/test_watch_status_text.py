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

from firing.errors import FiringError
from firing.watch.alarm_command import AlarmCommand
from firing.watch.calls import REPEATED_FOR_S, SNOOZE_S, CallBoard
from firing.watch.events import WatchEvent
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


def event(message: str, at_s: float = 0.0) -> WatchEvent:
    return WatchEvent("over-top", "act", "raised", at_s, message)


def test_a_command_that_is_not_there_is_refused() -> None:
    with pytest.raises(FiringError, match="no program /nonexistent/program"):
        AlarmCommand(["/nonexistent/program"])


def test_a_command_that_cannot_be_run_any_more_is_told_once(tmp_path: Path) -> None:
    program = tmp_path / "program"
    program.write_text("#!/bin/sh\n", encoding="utf-8")
    program.chmod(0o755)
    command = AlarmCommand([str(program)])
    program.unlink()
    command.tell(event("one"))
    command.tell(event("two"))
    (trouble,) = command.tick()
    assert "cannot be run for alarms" in trouble
    assert command.tick() == []


def test_commands_run_one_after_the_other_and_all(tmp_path: Path) -> None:
    out = tmp_path / "out.txt"
    script = "import sys; open(sys.argv[1], 'a').write(sys.argv[2] + '\\n')"
    command = AlarmCommand([sys.executable, "-c", script, str(out)])
    for number in range(8):
        command.tell(event(f"notice {number}; rm -rf $HOME"))
    until = time.monotonic() + 120.0
    while time.monotonic() < until and (not out.exists() or out.read_text().count("\n") < 8):
        assert command.tick() == []
        time.sleep(0.01)
    command.close()
    assert sorted(out.read_text().splitlines()) == [f"notice {n}; rm -rf $HOME" for n in range(8)]


def test_closing_waits_a_moment_and_no_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("firing.watch.alarm_command.CLOSING_S", 0.1)
    command = AlarmCommand([sys.executable, "-c", "import time; time.sleep(30)"])
    command.tell(event("x"))
    command.tick()
    process = command._running[0].process
    command.close()
    process.kill()
    process.wait()


def test_a_command_is_given_id_and_severity_and_that_it_failed_is_told_once(tmp_path: Path) -> None:
    out = tmp_path / "out.txt"
    script = (
        "import os, sys; open(sys.argv[1], 'a').write(' '.join([*sys.argv[2:4], "
        "os.environ['FIRING_ID'], os.environ['FIRING_SEVERITY'], os.environ['FIRING_REPEAT']])"
        " + '\\n'); sys.exit(3)"
    )
    command = AlarmCommand([sys.executable, "-c", script, str(out), "{id}={severity}", "{state}"])
    command.begin(0.0)
    command.tell(replace(event("hot"), repeat=2))
    told: list[str] = []
    until = time.monotonic() + 120.0
    while time.monotonic() < until and len(told) < 2:
        told += command.tick()
        time.sleep(0.01)
    command.tell(replace(event("hot"), repeat=3))
    command.close()
    assert sorted(out.read_text().splitlines()) == [
        "over-top=act raised over-top act 2",
        "over-top=act raised over-top act 3",
        "trial=note told trial note 0",
    ]
    assert sorted("at its trial" in sentence for sentence in told) == [False, True]
    assert all("exit code 3" in sentence for sentence in told)
    assert command.tick() == []


def told_again(board: CallBoard, from_s: float, to_s: float) -> list[tuple[float, int]]:
    """Return when something is told again, and the how-manieth time."""
    seconds = range(int(from_s), int(to_s))
    return [(s, again.repeat) for s in seconds for again in board.due(float(s))]


def test_a_call_is_told_again_until_it_is_acknowledged() -> None:
    board = CallBoard()
    board.take(event("hot", 100.0))
    # after 5, 10 and then every 15 min
    assert told_again(board, 100, 3700) == [
        (400, 1), (1000, 2), (1900, 3), (2800, 4),
    ]  # fmt: skip
    assert board.answer() == ("over-top",)
    assert board.answer() == ()
    assert told_again(board, 3700, 20000) == []
    (call,) = board.open()
    assert call.acknowledged  # the alarm stands all the same
    board.take(WatchEvent("over-top", "note", "over", 20000.0, "back"))
    assert board.open() == ()


def test_a_call_that_is_snoozed_comes_back_and_notes_never_do() -> None:
    clock = [0.0]
    board = CallBoard(lambda: clock[0])
    board.take(event("hot", 0.0))
    board.take(WatchEvent("hold-over", "note", "told", 1.0, "the hold is over"))
    assert board.answer(snooze=True) == ("over-top",)
    assert told_again(board, 0, 800) == []
    clock[0] = SNOOZE_S + 1.0
    assert told_again(board, 800, 1400) == [(800, 1)]
    board.take(WatchEvent("over-top", "note", "over", 1400.0, "back"))
    assert told_again(board, 1400, 9000) == []


def test_what_happened_once_is_not_told_for_ever() -> None:
    board = CallBoard()
    board.take(WatchEvent("action", "act", "told", 0.0, "close the lid"))
    assert told_again(board, 0, 3 * int(REPEATED_FOR_S))[-1][0] <= REPEATED_FOR_S
    assert [call.id for call in board.open()] == ["action"]  # it is still to be done
    assert board.answer() == ("action",)
    assert board.open() == ()
