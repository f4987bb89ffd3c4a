"""The real program on a pseudo-terminal: what a person would see and find in the file."""

import fcntl
import json
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from firing.schedulefile import read_schedule
from firing.units import format_duration

FIRING = "from firing.cli import main; main()"
WIDTH, HEIGHT = 80, 24

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

_SEQUENCE = re.compile(
    r"\x1b\[([0-9;?<=>]*)[ ]?([A-Za-z@`])|\x1b[\]P][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[^\[\]P]"
)


LONGEST_SEQUENCE = 64


class Terminal:
    """A program on a pseudo-terminal, and the little of a terminal that shows what it drew."""

    def __init__(self, arguments: list[str], folder: Path, **environment: str) -> None:
        self.pid, self.file = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            os.environ.update({"TERM": "xterm-256color", "LANG": "C.UTF-8", **environment})
            os.execv(sys.executable, [sys.executable, "-c", FIRING, *arguments])
        fcntl.ioctl(self.file, termios.TIOCSWINSZ, struct.pack("HHHH", HEIGHT, WIDTH, 0, 0))
        self.raw = ""
        self._rest = b""
        self._begun = ""
        self._cells = [[" "] * WIDTH for _ in range(HEIGHT)]
        self._row = self._column = 0
        self.ended = False

    def text(self) -> str:
        return "\n".join("".join(row).rstrip() for row in self._cells)

    def press(self, keys: str) -> None:
        os.write(self.file, keys.encode())

    def wait_for(self, words: str, *, gone: bool = False) -> None:
        """Read until words are on the screen, or no longer are."""
        deadline = time.monotonic() + 30.0
        while (words in self.text()) == gone:
            assert time.monotonic() < deadline, f"never saw {words!r}:\n{self.text()}"
            self._read(0.05)

    def wait_for_end(self) -> int:
        """Read until the program ends; returns its exit code."""
        while not self.ended:
            self._read(0.2)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.file)
        self.ended = True

    def _read(self, wait_s: float) -> None:
        if not select.select([self.file], [], [], wait_s)[0]:
            return
        try:
            data = os.read(self.file, 65536)
        except OSError:
            data = b""
        if not data:
            self.ended = True
            return
        data = self._rest + data
        whole = data.decode("utf-8", "ignore")
        self._rest = data[len(whole.encode()) :]
        self.raw += whole
        self._draw(whole)

    def _draw(self, data: str) -> None:
        data, self._begun = self._begun + data, ""
        position = 0
        while position < len(data):
            match = _SEQUENCE.match(data, position)
            if match is not None:
                position = match.end()
                if match[2] == "H":
                    row, _, column = (match[1] or "1;1").partition(";")
                    self._row, self._column = int(row or 1) - 1, int(column or 1) - 1
                continue
            character = data[position]
            if character == "\x1b" and len(data) - position < LONGEST_SEQUENCE:
                self._begun = data[position:]  # cut in two by the read: the rest is to come
                return
            position += 1
            if character == "\r":
                self._column = 0
            elif character == "\n":
                self._row, self._column = self._row + 1, 0
            elif character.isprintable() and self._row < HEIGHT and self._column < WIDTH:
                self._cells[self._row][self._column] = character
                self._column += 1


Start = Callable[..., Terminal]
CTRL = {letter: chr(ord(letter) - ord("a") + 1) for letter in "abcdefghijklmnopqrstuvwxyz"}
DOWN, RIGHT, ESCAPE = "\x1b[B", "\x1b[C", "\x1b"


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


def forecast_json(path: Path) -> dict[str, object]:
    result = subprocess.run(
        [sys.executable, "-c", FIRING, "forecast", str(path), "--json"],
        capture_output=True, encoding="utf-8", check=False,
    )  # fmt: skip
    return dict(json.loads(result.stdout))


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
    shown = re.search(r"Cone ([\d.]+)", terminal.text())
    assert shown is not None
    assert float(shown[1]) == pytest.approx(float(number), abs=0.051)
    terminal.press(CTRL["q"])
    assert terminal.wait_for_end() == 0
    assert plan.read_text(encoding="utf-8") == EXPECTED
    assert list((plan.parent / "state").rglob("*.json")) == []


def test_work_survives_a_kill_in_mid_edit(start: Start, plan: Path) -> None:
    before = plan.read_text(encoding="utf-8")
    terminal = start(plan.name)
    terminal.wait_for("Cone ")
    terminal.press("77\r")
    terminal.wait_for("Changed: segment 1, rate")
    deadline = time.monotonic() + 20.0
    while not list((plan.parent / "state").rglob("*.json")):
        assert time.monotonic() < deadline
        time.sleep(0.01)
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
    assert read_schedule(plan).segments[0].rate_c_per_h == 77
    assert list((plan.parent / "state").rglob("*.json")) == []


def test_no_color_draws_in_grey_alone(start: Start, plan: Path) -> None:
    terminal = start(plan.name, NO_COLOR="1", COLORTERM="truecolor")
    terminal.wait_for("Cone ")
    colours = re.findall(r"[34]8;2;(\d+);(\d+);(\d+)", terminal.raw)
    assert colours
    assert all(red == green == blue for red, green, blue in colours)


def test_json_tells_how_the_plan_was_left(start: Start, plan: Path) -> None:
    terminal = start(plan.name, "--json")
    terminal.wait_for("Cone ")
    terminal.press(CTRL["q"])
    assert terminal.wait_for_end() == 0
    document = json.loads(terminal.raw[terminal.raw.rindex('{\r\n  "schema"') :])
    assert document["kind"] == "edit"
    assert document["left"] == "clean"
    assert document["file"] == plan.name


def test_without_a_terminal_it_is_refused_in_words(plan: Path, tmp_path: Path) -> None:
    for name, words in ((str(plan), "need a terminal"), ("nowhere.toml", "no such file")):
        result = subprocess.run(
            [sys.executable, "-c", FIRING, "edit", name],
            capture_output=True, stdin=subprocess.DEVNULL, cwd=tmp_path, encoding="utf-8",
            check=False,
        )  # fmt: skip
        assert result.returncode == 2
        assert words in result.stderr
        assert "Traceback" not in result.stderr


@pytest.mark.parametrize(
    "code",
    [
        "import tui.document, tui.edits, tui.journal, tui.session, tui.table, tui.plot, tui.places",
        "from firing.cli import cli; cli.main(['edit', '--help'], standalone_mode=False)",
        "from firing.cli import cli; cli.main(['forecast', 'decal'], standalone_mode=False)",
        "import firing, firing.cli",
    ],
)
def test_only_the_screens_load_what_draws_them(code: str) -> None:
    probe = f"{code}\nimport sys; print('loaded', 'textual' in sys.modules, file=sys.stderr)"
    result = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, encoding="utf-8", check=True
    )
    assert result.stderr.splitlines()[-1] == "loaded False"
