"""`firing watch` in its own process, on a real pseudo-terminal."""

import errno
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from capture.killing import Sender, check_kills
from capture.ptywatch import MAIN, Instrument, Watch, readings, rows
from click.testing import CliRunner
from commandline import call
from firing.tui.live_watch import LiveWatch
from longer import beyond
from ptyscreen import Terminal
from waiting import PATIENCE_S, wait_until
from watch.wornkiln import NAMES, record_hours, write_plan

from firing.capture.text_lines import GARBLED_LINES
from firing.cli import cli
from firing.errors import FiringError
from firing.watch.options import WatchOptions

PLAN = """title = "Test"
[[segment]]
rate = 100
target = 600
hold = "10m"
[[segment]]
rate = 60
target = 1000
"""


def test_three_kills_lose_no_flushed_line(tmp_path: Path, instrument: Instrument) -> None:
    """Two hundred are in the soak tests."""
    check_kills(tmp_path, instrument, kills=3, seed=5)


def test_an_instrument_that_is_unplugged_is_read_again_and_the_gap_marked(
    tmp_path: Path, instrument: Instrument
) -> None:
    out = tmp_path / "log.csv"
    options = ("--fields", "kiln,top", "--out", str(out), "--lost-after", "1s")
    with Watch(tmp_path, str(instrument.port), *options) as watch:
        watch.wait_ready()
        for count in range(3):
            instrument.plug_in() if count else None
            sender = Sender(instrument, 0.01)
            have = len(readings(out))
            wait_until(lambda have=have: len(readings(out)) > have + 3, "lines")  # type: ignore[misc]  # a default binds it
            sender.stop()
            instrument.unplug()
            gone = count + 1
            wait_until(lambda gone=gone: watch.told().count("trying again") == gone, "the loss")  # type: ignore[misc]  # a default binds it
        wait_until(lambda: "ALARM reading-lost" in watch.told(), "the alarm")
        assert watch.stop() == 0
    told = watch.told()
    assert told.count(" is back after ") == 2
    assert "Traceback" not in told
    gaps = [cells[-1] for cells in rows(out) if cells[-1].startswith("gap:")]
    assert len(gaps) == 3
    assert all(str(instrument.port) in gap for gap in gaps)


def test_sigterm_ends_cleanly_with_a_last_status(tmp_path: Path, instrument: Instrument) -> None:
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    options = ("--fields", "kiln,-", "--schedule", "plan.toml", "--json")
    with Watch(tmp_path, str(instrument.port), *options) as watch:
        watch.wait_ready()
        sender = Sender(instrument, 0.02)
        wait_until(lambda: watch.lines(), "a first status")
        sender.stop()
        assert watch.stop(signal.SIGTERM) == 0
    documents = watch.documents()
    assert len(documents) >= 2
    for document in documents:
        assert document["schema"] == 1
        assert document["kind"] == "watch"
        assert document["at"].endswith("Z")
        assert document["readings"] == {
            "kiln": {"temperature_c": None, "status": "no reading"}
        } or isinstance(document["readings"]["kiln"]["temperature_c"], float)
    assert "Traceback" not in watch.told()


REFITTING = """
import firing.watch.kiln_model as kiln_model
kiln_model.REFIT_EVERY_S = 0.0
kiln_model.KilnModel._apply = lambda *_: []
from firing.cli import main
main()
"""


@pytest.mark.soak
def test_sigterm_during_a_refit_ends_both(tmp_path: Path, instrument: Instrument) -> None:
    out, plan = tmp_path / "log.csv", write_plan(tmp_path / "plan.toml")
    last_c = record_hours(out, 8.0)
    options = ("--fields", ",".join(NAMES), "--out", str(out), "--kiln", "example-kiln", "--json")
    main = (sys.executable, "-c", REFITTING)
    with Watch(
        tmp_path, str(instrument.port), "--schedule", str(plan), *options, main=main
    ) as watch:
        watch.wait_ready()
        for _ in range(3):
            instrument.send(f"{last_c:.2f},800,800,800\n".encode())
        children = Path(f"/proc/{watch.process.pid}/task/{watch.process.pid}/children")
        wait_until(lambda: children.read_text().split(), "a refit")
        pid = int(children.read_text().split()[0])
        wait_until(lambda: watch.lines(), "a status")
        assert watch.stop(signal.SIGTERM) == 0
    wait_until(lambda: not Path(f"/proc/{pid}").exists(), "the end of the refit")
    assert "Traceback" not in watch.told()
    status = watch.documents()[-1]
    assert status["energy_total_kwh"] > status["energy_kwh"] > 10.0
    assert set(status["kiln"]) == {"power", "loss", "capacity", "learnt", "refitted_s"}


def test_a_line_of_two_fields_where_one_is_expected_is_no_reading(
    tmp_path: Path, instrument: Instrument
) -> None:
    with Watch(tmp_path, str(instrument.port)) as watch:
        watch.wait_ready()
        sender = Sender(instrument, 0.005)
        wait_until(lambda: "check the fields" in watch.told(), "the hint")
        sender.stop()
        assert watch.stop() == 1
    assert watch.lines() == []


def test_ctrl_c_leaves_with_130_and_a_whole_file(tmp_path: Path, instrument: Instrument) -> None:
    out = tmp_path / "log.csv"
    with Watch(tmp_path, str(instrument.port), "--fields", "kiln,-", "--out", str(out)) as watch:
        watch.wait_ready()
        sender = Sender(instrument, 0.01)
        wait_until(lambda: len(readings(out)) > 3, "lines")
        sender.stop()
        assert watch.stop(signal.SIGINT) == 130
    assert "interrupted" in watch.told()
    assert "Traceback" not in watch.told()
    assert out.read_bytes().endswith(b"\n")


def test_a_file_deleted_in_mid_run_is_there_at_the_end_and_that_is_said(
    tmp_path: Path, instrument: Instrument
) -> None:
    out = tmp_path / "log.csv"
    with Watch(tmp_path, str(instrument.port), "--fields", "kiln,-", "--out", str(out)) as watch:
        watch.wait_ready()
        sender = Sender(instrument, 0.01)
        wait_until(lambda: len(readings(out)) > 20, "lines")
        early = readings(out)
        out.unlink()
        time.sleep(0.1)
        sender.stop()
        assert watch.stop() == 0
    assert "was deleted; it was written again, with all its lines" in watch.told()
    found = readings(out)
    assert found[: len(early)] == early
    assert len(found) > len(early)
    assert found == [found[0] + 0.25 * number for number in range(len(found))]


def test_a_second_watch_of_the_same_file_is_refused(tmp_path: Path, instrument: Instrument) -> None:
    out = tmp_path / "log.csv"
    with Watch(tmp_path, str(instrument.port), "--out", str(out)) as watch:
        watch.wait_ready()
        second = subprocess.run(
            [*MAIN, "watch", "-", "--out", str(out)],
            input=b"20.0\n",
            capture_output=True,
            check=False,
        )
        assert second.returncode == 2
        assert b"another 'firing watch'" in second.stderr
        assert watch.stop() == 0


def run(folder: Path, *arguments: str, lines: bytes) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [*MAIN, "watch", *arguments],
        cwd=folder,
        input=lines,
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )


LINES = b"".join(b"%d.5,20\n" % number for number in range(20, 40))


def test_standard_input_is_watched_and_recorded_to_its_end(tmp_path: Path) -> None:
    done = run(tmp_path, "-", "--fields", "kiln,room", "--out", "log.csv", lines=LINES)
    assert done.returncode == 0, done.stderr
    assert readings(tmp_path / "log.csv") == [number + 0.5 for number in range(20, 40)]
    assert done.stdout.decode().count("°C") >= 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is full")
def test_a_full_disk_is_told_and_the_watch_goes_on(tmp_path: Path) -> None:
    done = call(tmp_path, "watch", "-", "--fields", "kiln,room", "--out", "/dev/full", lines=LINES)
    told = done.stderr
    assert os.strerror(errno.ENOSPC) in told
    assert "make room" in told
    assert "°C" in done.stdout
    assert done.returncode == 1
    assert "Traceback" not in told


LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (300, 300))
from firing.cli import main
main()
"""


def test_a_file_that_may_not_grow_is_told_and_keeps_whole_lines(tmp_path: Path) -> None:
    """The system itself refuses the write here, in the middle of a line."""
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, "watch", "-", "--fields", "kiln,room", "--out", "log.csv"],
        cwd=tmp_path, input=LINES, capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert os.strerror(errno.EFBIG) in done.stderr.decode()
    data = (tmp_path / "log.csv").read_bytes()
    assert len(data) <= 300
    assert data.endswith(b"\n")
    assert readings(tmp_path / "log.csv") == [
        20.5 + n for n in range(len(rows(tmp_path / "log.csv")))
    ]


@pytest.mark.skipif(not Path("/sys").is_dir(), reason="there is no folder that nobody can write to")
def test_a_folder_that_cannot_be_written_is_told_and_the_watch_goes_on(tmp_path: Path) -> None:
    out = "/sys/firing-log.csv"  # not even by root
    done = call(tmp_path, "watch", "-", "--fields", "kiln,room", "--out", out, lines=LINES)
    assert done.returncode == 1
    assert "NOTHING IS RECORDED" in done.stderr
    assert "°C" in done.stdout
    assert not Path(out).exists()


@pytest.mark.soak
def test_a_socket_is_read_like_a_port(tmp_path: Path) -> None:
    server = socket.create_server(("127.0.0.1", 0))
    port = server.getsockname()[1]

    def serve() -> None:
        connection, _ = server.accept()
        with connection, server:
            # pyserial drops what came before it had opened, so the beginning is not looked at
            for number in range(100, 200):
                connection.sendall(b"%d.0\n" % number)
                time.sleep(0.01)
            wait_until(lambda: 199.0 in readings(tmp_path / "log.csv"), "the last line")

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    with Watch(tmp_path, f"socket://127.0.0.1:{port}", "--out", "log.csv") as watch:
        thread.join(20.0)
        found = readings(tmp_path / "log.csv")
        assert len(found) > 50
        assert found == [float(n) for n in range(200 - len(found), 200)]
        # the other end has hung up, which for a socket is being unplugged
        wait_until(lambda: "trying again" in watch.told(), "the loss")
        assert watch.stop() == 0


@pytest.mark.soak
def test_a_terminal_that_goes_away_does_not_end_a_recording(tmp_path: Path) -> None:
    """Standard output and error are pipes whose reader leaves; the recording goes on."""
    process = subprocess.Popen(
        [*MAIN, "watch", "-", "--out", "log.csv", "--every", "1s", "--lost-after", "1s"],
        cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdin.write(b"20.0\n")
    process.stdin.flush()
    wait_until(lambda: readings(tmp_path / "log.csv"), "a first line")
    process.stdout.close()
    process.stderr.close()
    time.sleep(1.5)  # a status and an alarm find nobody
    process.stdin.write(b"21.0\n")
    process.stdin.flush()
    wait_until(lambda: readings(tmp_path / "log.csv") == [20.0, 21.0], "a line after that")
    process.stdin.close()
    assert process.wait(20.0) == 0


def test_the_users_command_gets_one_argument_and_no_shell(tmp_path: Path) -> None:
    script = tmp_path / "tell.py"
    script.write_text(
        "import json, sys\nopen('told.jsonl', 'a').write(json.dumps(sys.argv[1:]) + '\\n')\n",
        encoding="utf-8",
    )
    lines = b"".join(b"%d\n" % celsius for celsius in (500, 501, 502, 503))
    command = f"{sys.executable} '{script}' 'a b; $HOME'"
    done = run(tmp_path, "-", "--top", "500", "--alarm-command", command, lines=lines)
    assert done.returncode == 1, done.stderr  # over the top at its end, and nobody answered
    wait_until(lambda: (tmp_path / "told.jsonl").exists(), "the command")
    # the first is a trial, so that a message that reaches nobody is known before it matters
    wait_until(lambda: (tmp_path / "told.jsonl").read_text().count("\n") >= 2, "the alarm")
    trial, *told = [json.loads(line) for line in (tmp_path / "told.jsonl").read_text().splitlines()]
    if "trial" not in trial[1]:  # both run at once
        trial, told = told[0], [trial]
    assert "trial" in trial[1]
    assert told[0][0] == "a b; $HOME"
    assert "over the top temperature of 500 °C" in told[0][1]
    assert len(told[0]) == 2


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("nothing.csv",), "there is no such file or port"),
        (("/dev/ttyNONE7",), "there is no such port"),
        (("-", "--speed", "2"), "--speed has no meaning"),
        (("-", "--unit", "mV"), "reference junction"),
        (("-", "--cone", "77"), "is not made"),
        (("-", "--every", "0s"), "--every takes"),
        (("-", "--channel", "9"), "the channels are 1 (kiln)"),
        (("-", "--alarm-command", '"x'), "quotation mark"),
        (("-", "--load", "x.toml"), "give --kiln too"),
        (("-", "--above-plan", "15K"), "15, 10C or 20F"),
        (("source.toml", "--baud", "9600"), "write it there"),
    ],
)
def test_slips_are_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "source.toml").write_text('port = "-"\n', encoding="utf-8")
    result = CliRunner().invoke(cli, ["watch", *arguments])
    assert isinstance(result.exception, FiringError), result
    assert said in str(result.exception)
    assert "\n" not in str(result.exception)
    assert result.stdout == ""


@pytest.mark.parametrize(
    ("lines", "code", "said"),
    beyond(
        3,
        [
            [b"hello\n", 1, "no line was a reading (1 came: a field that is no number)"],
            [b"20\n" + 30 * b"20,30\n", 1, "the last 30 lines were no readings"],
            # a header, a damaged line, and trouble that is over
            [b"kiln\n20\n", 0, ""],
            [b"20\n2x\n", 0, ""],
            [30 * b"x\n" + b"20\n", 0, ""],
            [b"", 0, ""],
            [b"20,30\n21,31\n", 1, "no line was a reading (2 came: another number of fields)"],
        ],
    ),
)
def test_lines_that_are_no_readings_leave_with_1(
    tmp_path: Path, lines: bytes, code: int, said: str
) -> None:
    done = call(tmp_path, "watch", "-", lines=lines)
    assert done.returncode == code, done.stderr
    last = done.stderr.splitlines()[-1]
    assert said in last
    assert ("check the fields" in last) == bool(said)


@pytest.mark.parametrize(("line", "complete"), [(b"20,30\n", False), (b"20.5\n", True)])
def test_a_screen_knows_of_lines_that_are_no_readings(
    instrument: Instrument, line: bytes, complete: bool
) -> None:
    watch = LiveWatch(WatchOptions(str(instrument.port)))
    watch.begin()
    try:
        wait_until(lambda: watch.seen.stage == "waiting")
        instrument.send((GARBLED_LINES + 5) * line)
        wait_until(lambda: watch.seen.reading or "in a row are no readings" in remarks(watch))
    finally:
        assert watch.end(PATIENCE_S)
    assert watch.seen.complete is complete
    assert ("no line was a reading" in remarks(watch)) is not complete


def remarks(watch: LiveWatch) -> str:
    return "; ".join(remark.words for remark in watch.seen.remarks)


def test_a_refusal_leaves_with_2(tmp_path: Path) -> None:
    done = run(tmp_path, "nothing.csv", lines=b"")
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.startswith(b"firing: nothing.csv: there is no such file or port")


PROBE = """
import json, sys
from firing.capture.text_lines import GARBLED_LINES
from firing.cli import cli
cli.main(sys.argv[1:], standalone_mode=False)
screens = {'firing.tui'} & set(sys.modules)
print(json.dumps(sorted({n.split('.')[0] for n in sys.modules} | screens)), file=sys.stderr)
"""
HEAVY = {
    "pandas",
    "plotly",
    "scipy",
    "textual",
    "firing.tui",
    "minimalmodbus",
    "pydantic",
    "tomlkit",
}


@pytest.mark.parametrize(
    ("arguments", "allowed"),
    [
        (("ports",), set()),
        (("watch", "-"), set()),
        (("watch", "-", "--schedule", "thin-ware-bisque", "--out", "log.csv"), set()),
    ],
)
def test_only_what_is_needed_is_loaded(
    tmp_path: Path, arguments: tuple[str, ...], allowed: set[str]
) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *arguments],
        cwd=tmp_path, input=b"20.0\n", capture_output=True, check=True,
    )  # fmt: skip
    assert set(json.loads(done.stderr.splitlines()[-1])) & HEAVY <= allowed


@pytest.mark.parametrize(
    ("answer", "said"),
    beyond(
        1, [["\n", "over-top acknowledged"], ["z\n", "over-top snoozed for 15 min"],
            [signal.SIGUSR1, "over-top acknowledged"]]
    ),
)  # fmt: skip
def test_a_call_is_answered_by_a_key_or_a_signal(
    tmp_path: Path, instrument: Instrument, answer: str | int, said: str
) -> None:
    terminal = Terminal(["watch", str(instrument.port), "--top", "100", "--every", "1h"], tmp_path)
    try:
        terminal.wait_for("no safety device")
        instrument.send(b"x\n" + 3 * b"150.0\n")
        terminal.wait_for("Enter acknowledges")
        if isinstance(answer, str):
            terminal.press(answer)
        else:
            os.kill(terminal.pid, answer)
        terminal.wait_for(said)
        os.kill(terminal.pid, signal.SIGTERM)
        assert terminal.wait_for_end() == 0
    finally:
        if not terminal.ended:
            terminal.kill()
