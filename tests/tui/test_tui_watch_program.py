"""The Watch screen of the real program: on one pseudo-terminal, with its instrument on another."""

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from capture.ptywatch import Instrument, readings
from commandline import call
from longer import beyond
from ptyscreen import CTRL, DOWN, ESCAPE, FIRING, Terminal
from waiting import wait_until

from firing.capture.recorder import Recorder
from firing.logs.reader import read_log

Start = Callable[..., Terminal]


@pytest.fixture
def start(tmp_path: Path, plan: Path, instrument: Instrument) -> Iterator[Start]:
    """Return what watches the instrument on the screen; no program outlives its test."""
    started: list[Terminal] = []

    def run(*arguments: str) -> Terminal:
        state = {"XDG_STATE_HOME": str(tmp_path / "state")}
        options = ["--schedule", plan.name, "--out", "out.csv", "--screen", *arguments]
        started.append(Terminal(["watch", str(instrument.port), *options], tmp_path, **state))
        started[-1].wait_for("no safety device")
        started[-1].press(ESCAPE)
        started[-1].wait_for("Connected to")
        return started[-1]

    yield run
    for terminal in started:
        if not terminal.ended:
            terminal.kill()


def feed(instrument: Instrument, terminal: Terminal, values_c: list[float]) -> None:
    """Send lines, the first of which may be dropped as half of one; wait for them."""
    instrument.send(b"x\n")
    for value_c in values_c:
        instrument.send(f"{value_c}\n".encode())
    terminal.wait_for(f"{len(values_c)} lines in out.csv")


def let_go(path: Path) -> bool:
    """Tell whether nobody else writes a recording."""
    Recorder(path, ("kiln",)).close()
    return True


def test_lines_come_in_are_shown_and_are_in_the_file_after_quitting(
    start: Start, instrument: Instrument, tmp_path: Path
) -> None:
    terminal = start("--top", "1260")
    # No kiln leaps: a jump of hundreds of degrees is marked, and not shown as its temperature.
    values_c = [20.0 + 0.25 * number for number in range(40)] + [31.0] * 15
    feed(instrument, terminal, values_c)
    terminal.wait_for("31 °C")
    # the line goes and comes back while the screen is up
    instrument.unplug()
    terminal.wait_for("LOST, reconnecting")
    instrument.plug_in()
    terminal.wait_for("is back after")
    terminal.press(CTRL["q"])
    terminal.wait_for("A watch is running")
    terminal.press(DOWN + "\r")
    assert terminal.wait_for_end() == 0
    out = tmp_path / "out.csv"
    assert readings(out) == values_c
    # seconds of such a rise in milliseconds are no firing, so nothing is to be cleaned out of it
    read_c = read_log(out, cleaning=False).trace.channel_c()
    assert [value for value in read_c if value == value] == values_c
    assert let_go(out)


@pytest.mark.soak
def test_a_closed_line_to_the_terminal_ends_the_recording_in_order(
    start: Start, instrument: Instrument, tmp_path: Path
) -> None:
    terminal = start()
    values_c = [20.0, 20.5, 21.0]
    feed(instrument, terminal, values_c)
    os.close(terminal.file)  # what an ssh connection leaves behind when it drops
    code = os.waitstatus_to_exitcode(os.waitpid(terminal.pid, 0)[1])
    terminal.ended = True
    assert code == -signal.SIGHUP or code > 0
    out = tmp_path / "out.csv"
    assert readings(out) == values_c
    assert let_go(out)


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="counts its processor time there")
def test_a_terminal_that_is_gone_under_nohup_takes_the_screen_along_and_nothing_else(
    instrument: Instrument, plan: Path, tmp_path: Path
) -> None:
    """A window is closed, or ssh is cut, and the hang-up is ignored: recording and alarms go on."""
    call_out = "import sys; open('called.txt', 'a').write(sys.argv[1] + chr(10))"
    terminal = Terminal(
        [
            *("watch", str(instrument.port), "--schedule", plan.name, "--out", "out.csv"),
            *("--top", "100", "--screen"),
            *("--alarm-command", f'"{sys.executable}" -c "{call_out}"'),
        ],
        tmp_path,
        code="import signal; signal.signal(signal.SIGHUP, signal.SIG_IGN)\n" + FIRING,
        XDG_STATE_HOME=str(tmp_path / "state"),
    )
    try:
        terminal.wait_for("no safety device")
        terminal.press(ESCAPE)
        terminal.wait_for("Connected to")
        feed(instrument, terminal, [20.0, 20.5, 21.0])
        os.close(terminal.file)
        files = Path(f"/proc/{terminal.pid}/fd")
        wait_until(
            lambda: (
                not any("/dev/pts" in str(file.readlink()) for file in (files / "0", files / "2"))
            ),
            "leaving the terminal",
        )
        began_s, used_s = time.monotonic(), processor_s(terminal.pid)
        for value_c in (21.5, 150.0, 150.5):
            instrument.send(f"{value_c}\n".encode())
        out, called = tmp_path / "out.csv", tmp_path / "called.txt"
        wait_until(lambda: len(readings(out)) == 6, "the lines after it")
        wait_until(lambda: called.exists() and "over the top" in called.read_text(), "the call")
        time.sleep(1.0)
        share = (processor_s(terminal.pid) - used_s) / (time.monotonic() - began_s)
        assert share < 0.5  # what spins takes all of a core; a watch takes some hundredths
        os.kill(terminal.pid, signal.SIGTERM)
        code = os.waitstatus_to_exitcode(os.waitpid(terminal.pid, 0)[1])
        terminal.ended = True
    finally:
        if not terminal.ended:
            os.kill(terminal.pid, signal.SIGKILL)
            os.waitpid(terminal.pid, 0)
    assert code == 0
    assert readings(out) == [20.0, 20.5, 21.0, 21.5, 150.0, 150.5]
    assert let_go(out)


def processor_s(pid: int) -> float:
    """Return the processor time that a process has taken [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def test_sigterm_ends_the_recording_and_gives_the_terminal_back(
    start: Start, instrument: Instrument, tmp_path: Path
) -> None:
    terminal = start()
    values_c = [20.0, 20.5, 21.0]
    feed(instrument, terminal, values_c)
    os.kill(terminal.pid, signal.SIGTERM)
    assert terminal.wait_for_end() == 0
    assert "\x1b[?1049l" in terminal.raw
    assert "Traceback" not in terminal.raw
    assert readings(tmp_path / "out.csv") == values_c


@pytest.mark.soak
def test_a_kill_loses_no_line_that_was_shown(
    start: Start, instrument: Instrument, tmp_path: Path
) -> None:
    terminal = start()
    values_c = [20.0, 20.5, 21.0, 21.5]
    feed(instrument, terminal, values_c)
    terminal.kill()
    assert readings(tmp_path / "out.csv") == values_c


def wait_for_raw(terminal: Terminal, words: str) -> None:
    """Read until words came, on a terminal that scrolls after the screens are gone."""
    deadline = time.monotonic() + 30.0
    while words not in terminal.raw:
        assert time.monotonic() < deadline, f"never came: {words}"
        terminal._read(0.05)


@pytest.mark.soak
def test_a_crash_of_the_screens_ends_neither_the_recording_nor_the_alarms(
    instrument: Instrument, plan: Path, tmp_path: Path
) -> None:
    """The program's own code with a screen that fails once three lines are there."""
    code = (
        "import firing.tui.screens.watch as w\n"
        "look = w.WatchScreen.look\n"
        "def failing(self):\n"
        "    look(self)\n"
        "    kept = self.live and self.live.seen.recording\n"
        "    if kept and kept.rows == 3:\n"
        "        raise ZeroDivisionError('made up')\n"
        "w.WatchScreen.look = failing\n" + FIRING
    )
    options = ["--schedule", plan.name, "--out", "out.csv", "--top", "100", "--screen"]
    terminal = Terminal(
        ["watch", str(instrument.port), *options],
        tmp_path,
        code=code,
        XDG_STATE_HOME=str(tmp_path / "state"),
    )
    try:
        terminal.wait_for("no safety device")
        terminal.press(ESCAPE)
        terminal.wait_for("Connected to")
        for line in (b"x\n", b"20.0\n", b"20.5\n", b"21.0\n"):
            instrument.send(line)
        wait_for_raw(terminal, "the watch goes on here")
        for line in (b"21.5\n", b"150.0\n", b"150.5\n"):
            instrument.send(line)
        wait_for_raw(terminal, "over the top temperature")
        terminal.press(CTRL["c"])
        assert terminal.wait_for_end() != 0
    finally:
        if not terminal.ended:
            terminal.kill()
    assert "made up" in terminal.raw
    assert readings(tmp_path / "out.csv") == [20.0, 20.5, 21.0, 21.5, 150.0, 150.5]
    assert let_go(tmp_path / "out.csv")


@pytest.mark.parametrize(
    ("arguments", "words"),
    beyond(
        2,
        [
            [["-", "--screen"], "keys come from standard input"],
            [["port", "--screen"], "needs a terminal"],
            [["nowhere", "--screen"], "there is no such file or port"],
            [["port", "--screen", "--json"], "--json prints and --screen draws"],
            [["port", "--screen", "--schedule", "none.toml"], "none.toml"],
            [["port", "--screen", "--load", "example-load-glazed-cups"], "give --kiln too"],
        ],
    ),
)
def test_what_cannot_be_shown_is_refused_in_words(
    arguments: list[str], words: str, instrument: Instrument, tmp_path: Path
) -> None:
    arguments = [str(instrument.port) if part == "port" else part for part in arguments]
    result = call(tmp_path, "watch", *arguments)
    assert result.returncode == 2
    assert words in result.stderr
    assert "Traceback" not in result.stderr
