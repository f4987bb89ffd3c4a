"""Whatever a person gives it, a command answers in a sentence: never a traceback, never a crash."""

import json
import os
import runpy
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable
from importlib import resources
from pathlib import Path

import click
import pytest
from longer import beyond

import firing.cli
from firing.cli import outcome

Run = Callable[..., subprocess.CompletedProcess[str]]

LOAD = """dryness = "bone dry"
body = "stoneware"
[[piece]]
name = "cup"
count = 24
thickest_mm = 5
mass_kg = 0.32
"""
KILN = """name = "Kiln"
power_kw = 9.6
rated_volts = 240
volume_l = 180
shape = "round"
leak_w_per_k = 0.8
[[wall]]
material = "insulating brick 1260"
thickness_mm = 75
"""
PLAN = """title = "Plan"
[[segment]]
rate = 100
target = 1000
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in (("load.toml", LOAD), ("kiln.toml", KILN), ("plan.toml", PLAN)):
        (tmp_path / name).write_text(text)
    rows = [f"2026-01-01 {i // 60:02d}:{i % 60:02d},{20 + 2 * i}" for i in range(480)]
    (tmp_path / "log.csv").write_text("time,kiln (C)\n" + "\n".join(rows) + "\n")
    return tmp_path


ABSURD = {
    "grams": ("load.toml", "mass_kg = 0.32", "mass_kg = 300", ("300 kg", "grams?", ":7:")),
    "less than nothing": ("load.toml", "mass_kg = 0.32", "mass_kg = -1", ("above 0 kg", ":7:")),
    "thin": ("load.toml", "thickest_mm = 5", "thickest_mm = 1e-308", ("thickest_mm", "mm")),
    "centimetres": ("load.toml", "thickest_mm = 5", "thickest_mm = 0.5", ("centimetres?", "= 5")),
    "wall in inches": ("kiln.toml", "thickness_mm = 75", "thickness_mm = 3", ("inches?", ":9:")),
    "cubic feet": ("kiln.toml", "volume_l = 180", "volume_l = 7", ("cubic feet?", '"7 cu ft"')),
    "many": ("load.toml", "count = 24", "count = 1203", ("too heavy", '"Kiln"', "180 l")),
    "power": ("kiln.toml", "power_kw = 9.6", "power_kw = 0.5", ("0.5 kW", "180 l")),
    "leak": ("kiln.toml", "leak_w_per_k = 0.8", "leak_w_per_k = 72", ("72 W/K", "9.6 kW")),
    "wall": ("kiln.toml", "thickness_mm = 75", "thickness_mm = 1e-308", ("thickness_mm", "mm")),
    "mass beyond 1e308": ("load.toml", "= 0.32", f"= 1{'0' * 400}", ("too large",)),
    "count beyond 1e308": ("load.toml", "= 24", f"= 1{'0' * 400}", ("too large",)),
    "rate beyond 1e308": ("plan.toml", "= 100", f"= 1{'0' * 400}", ("too large",)),
    "digits by thousands": ("plan.toml", "= 100", f"= 1{'0' * 5000}", ("digits",)),
}


@pytest.mark.parametrize("case", ABSURD)
@pytest.mark.parametrize("command", ["design", "forecast"])
def test_an_absurd_value_is_named_with_its_unit(
    case: str, command: str, folder: Path, ask: Run
) -> None:
    name, old, new, words = ABSURD[case]
    text = (folder / name).read_text()
    assert old in text
    (folder / name).write_text(text.replace(old, new, 1))
    begin = {"design": ("bisque", "--cone", "06"), "forecast": ("plan.toml",)}[command]
    if name == "plan.toml" and command == "design":
        begin = ("bisque", "--from", "plan.toml")
    answer = ask(command, *begin, "--kiln", "kiln.toml", "--load", "load.toml")
    assert answer.returncode == 2
    for word in words:
        assert word in answer.stderr
    assert max(map(len, answer.stderr.splitlines())) < 300


@pytest.mark.parametrize(
    "options", [(), ("--kiln", "kiln.toml"), ("--kiln", "kiln.toml", "--load", "load.toml")]
)
def test_a_plan_that_begins_hotter_than_it_ever_gets(
    options: tuple[str, ...], folder: Path, ask: Run
) -> None:
    (folder / "hot.toml").write_text(
        'title = "Hot"\nstart = 1300\n[[segment]]\nrate = 100\ntarget = 90\n'
        "[[segment]]\nrate = 100\ntarget = 900\n"
    )
    answer = ask("forecast", "hot.toml", *options)
    assert answer.returncode in (0, 1)
    if not options:
        assert "Start 0:00 at 1300 °C, and goes no hotter" in answer.stdout
    assert ask("review", "hot.toml", "log.csv").returncode in (0, 1)


@pytest.mark.parametrize(
    "time", ["0001-01-01T{:02d}:{:02d}:00+05:00", "0001-01-01T{:02d}:{:02d}:00-05:00"]
)
def test_a_clock_that_was_never_set_is_no_clock(time: str, folder: Path, ask: Run) -> None:
    rows = [f"{time.format(i // 60, i % 60)},{20 + 2 * i}" for i in range(480)]
    (folder / "log.csv").write_text("time,kiln (C)\n" + "\n".join(rows) + "\n")
    answer = ask("review", "plan.toml", "log.csv", "--html", "out.html", "--json")
    assert answer.returncode in (0, 1)
    assert "0001-01" not in answer.stdout


def test_a_zone_that_is_none_is_a_time_that_cannot_be_read(folder: Path, ask: Run) -> None:
    rows = [f"2026-01-01T{i // 60:02d}:{i % 60:02d}:00+99:99,{20 + i}" for i in range(480)]
    (folder / "log.csv").write_text("time,kiln (C)\n" + "\n".join(rows) + "\n")
    answer = ask("heatwork", "log.csv")
    assert answer.returncode == 2
    assert "time" in answer.stderr


@pytest.mark.parametrize("when", ["0001-01-01 00:00", "9999-12-31 23:59"])
def test_a_start_beyond_the_calendar(when: str, folder: Path, ask: Run) -> None:
    answer = ask("forecast", "plan.toml", "--start", when)
    assert answer.returncode == 2
    assert "1971" in answer.stderr


def test_a_name_too_long_for_a_page(folder: Path, ask: Run) -> None:
    answer = ask("forecast", "plan.toml", "--html", "x" * 300)
    assert answer.returncode == 2
    assert len(answer.stderr) < 300


@pytest.mark.parametrize("end", ["+1e10", "2000"])
def test_times_over_longer_than_a_logger_lasts(end: str, folder: Path, ask: Run) -> None:
    if end == "2000":
        old = [f"2000-01-01 00:{i:02d},{20 + i}" for i in range(10)]
        rows = old + [f"2026-01-01 00:{i:02d},{30 + i}" for i in range(60)]
        text = "time,kiln (C)\n"
    else:
        rows = ["0,20", "60,25", "120,30", "10000000000,35", "10000000060,40"]
        text = "seconds,kiln (C)\n"
    (folder / "log.csv").write_text(text + "\n".join(rows) + "\n")
    for command in (("review", "plan.toml", "log.csv"), ("heatwork", "log.csv")):
        answer = ask(*command)
        assert answer.returncode in (0, 1, 2)
        assert answer.returncode != 2 or "days" in answer.stderr


def test_more_columns_than_a_logger_has(folder: Path, ask: Run) -> None:
    rows = [f"00:{i:02d},{20 + i}" + "," * 16_000 for i in range(20)]
    (folder / "log.csv").write_text("time,kiln (C)" + "," * 16_000 + "\n" + "\n".join(rows))
    answer = ask("heatwork", "log.csv")
    assert answer.returncode == 2
    assert "columns" in answer.stderr


@pytest.mark.parametrize(
    "text",
    ["a" + ".a" * 40_000 + " = 1\n", "[" + "a." * 40_000 + "a]\n", "a = " + "[" * 40_000],
)
def test_a_file_nested_without_end(text: str, folder: Path, ask: Run) -> None:
    (folder / "plan.toml").write_text(text)
    answer = ask("forecast", "plan.toml")
    assert answer.returncode == 2
    assert len(answer.stderr) < 300


def test_ten_faults_are_told_and_the_rest_are_counted(folder: Path, ask: Run) -> None:
    (folder / "plan.toml").write_text(PLAN + "".join(f"[t{i}]\n" for i in range(3000)))
    answer = ask("forecast", "plan.toml")
    assert answer.returncode == 2
    assert len(answer.stderr.splitlines()) == 11
    assert "2990 more" in answer.stderr


@pytest.mark.parametrize("command", ["forecast", "heatwork", "review"])
def test_a_device_in_the_place_of_a_file(command: str, ask: Run, folder: Path) -> None:
    words = ("plan.toml", "/dev/zero") if command == "review" else ("/dev/zero",)
    answer = ask(command, *words)
    assert answer.returncode == 2
    assert "device" in answer.stderr


STEERING = "\x1b]0;owned\x07\x9b31m\u202e\x7f"


def steers(text: str) -> bool:
    return any(c not in "\n\t" and (ord(c) < 32 or 0x7F <= ord(c) < 0xA0) for c in text) or any(
        c in text for c in "\u202e\u2066\u2028"
    )


def test_nothing_that_is_printed_steers_a_terminal(folder: Path, ask: Run) -> None:
    key = "".join(f"\\u{ord(c):04x}" for c in STEERING)
    (folder / "plan.toml").write_text(f'"{key}" = 1\n' + PLAN)
    wild = f"wild{STEERING}.toml"
    (folder / wild).write_text(PLAN + "nonsense = 1\n")
    (folder / "titled.toml").write_text(PLAN.replace('"Plan"', '"Plan \u00a0x"'))
    beginning = "".join((folder / "log.csv").read_text().splitlines(keepends=True)[:60])
    (folder / f"log{STEERING}.csv").write_text(beginning)
    (folder / "good.toml").write_text(PLAN)
    asked = [
        ("forecast", "plan.toml"),
        ("forecast", wild),
        ("forecast", wild, "--json"),
        ("forecast", f"none{STEERING}"),
        ("forecast", "titled.toml", "--json"),
        ("forecast", "good.toml", "--html", f"page{STEERING}.html"),
        ("heatwork", f"log{STEERING}.csv", "--json"),
        ("heatwork", f"log{STEERING}.csv"),
        ("schedules", f"{STEERING}"),
        ("sources", f"{STEERING}"),
        (f"none{STEERING}",),
        ("forecast", f"--none{STEERING}"),
        ("hold", "6", "--at", f"{STEERING}"),
        ("watch", f"log{STEERING}.csv", "--json"),
        ("watch", f"log{STEERING}.csv", "--out", f"recorded{STEERING}.csv"),
    ]
    for arguments in asked:
        answer = ask(*arguments)
        assert answer.returncode in (0, 1, 2)
        assert not steers(answer.stdout), arguments
        assert not steers(answer.stderr), arguments


def test_json_keeps_what_it_escapes(folder: Path, ask: Run) -> None:
    name = "log\x9b\x7f\u202e.csv"
    (folder / name).write_text((folder / "log.csv").read_text())
    answer = ask("heatwork", name, "--json")
    assert not steers(answer.stdout)
    assert json.loads(answer.stdout)["file"] == name


@pytest.mark.parametrize("redirected", [">&-", ">&- 2>&-", ">/dev/full", ">/dev/full 2>/dev/full"])
@pytest.mark.parametrize("words", ["cone 6", "--help"])
def test_an_output_that_takes_nothing(words: str, redirected: str) -> None:
    code = f'"{sys.executable}" -c "from firing.cli import main; main()" {words} {redirected}'
    answer = subprocess.run(["sh", "-c", code], capture_output=True, text=True, check=False)
    assert answer.returncode in (0, 2)
    assert "Traceback" not in answer.stderr
    if words == "cone 6":
        assert answer.returncode == 2


@pytest.mark.parametrize(
    ("words", "codes"), [("watch - --fields kiln", (0,)), ("setup", (outcome.REFUSED,))]
)
def test_a_closed_standard_input_has_ended(words: str, codes: tuple[int, ...]) -> None:
    code = f'"{sys.executable}" -c "from firing.cli import main; main()" {words} <&-'
    answer = subprocess.run(["sh", "-c", code], capture_output=True, text=True, timeout=60)
    assert answer.returncode in codes
    assert "mistake of the program" not in answer.stderr
    assert "again" not in answer.stderr
    if words == "setup":
        assert "nobody answers here; give the answers as options" in answer.stderr


PROJECT = Path(__file__).parents[2] / "pyproject.toml"
DEMO = resources.files("firing") / "data" / "demo"
STARTED = """
import runpy, sys

class Seen:
    def find_spec(self, name, path=None, target=None):
        if name == "firing.cli":
            print("begun", flush=True)

sys.meta_path.insert(0, Seen())
"""
"""Says when the first module of the commands is loaded; before, the interpreter itself starts."""
MODULE = "runpy.run_module('firing', run_name='__main__')"


def console_script() -> str:
    """Return what the installed ``firing`` runs, as the project says."""
    scripts = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["scripts"]
    module, function = scripts["firing"].split(":")
    return f"from {module} import {function}; sys.exit({function}())"


@pytest.mark.parametrize("start", [console_script(), MODULE], ids=["script", "module"])
@pytest.mark.parametrize("words", beyond(1, [("review", "plan.toml", "log.csv"), ("--help",)]))
@pytest.mark.parametrize("after_s", beyond(3, [0.0, 0.03, 0.1, *(n / 50 for n in range(2, 20))]))
def test_an_interruption_at_any_moment_is_one_sentence(
    start: str, words: tuple[str, ...], after_s: float
) -> None:
    begun = subprocess.Popen(
        [sys.executable, "-c", STARTED + start, *words],
        cwd=str(DEMO), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert begun.stdout is not None
    assert begun.stdout.readline() == "begun\n"
    time.sleep(after_s)
    begun.send_signal(signal.SIGINT)
    _, told = begun.communicate(timeout=60)
    if begun.returncode == outcome.INTERRUPTED:
        assert told.strip() == "firing: interrupted"
    else:  # it was over before; the interpreter at its very end dies of the signal without a word
        assert begun.returncode in (outcome.DONE, outcome.ACT, -signal.SIGINT)
        assert not told


def test_an_interruption_that_is_ignored_stays_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["firing", "cone", "6"])
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with pytest.raises(SystemExit):
            runpy.run_module("firing", run_name="__main__")
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> None:
    @click.command("broken")
    def broken_command() -> int:
        raise ZeroDivisionError("nobody foresaw this")

    monkeypatch.setattr(outcome, "broken_command", broken_command, raising=False)
    monkeypatch.setitem(firing.cli.COMMANDS, "broken", ("firing.cli.outcome", ""))


@pytest.mark.usefixtures("broken")
def test_what_nobody_foresaw_is_one_sentence_with_a_way_to_report_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for words, traced in ((["broken"], False), (["--debug", "broken"], True)):
        monkeypatch.setattr("sys.argv", ["firing", *words])
        with pytest.raises(SystemExit) as left:
            firing.cli.main()
        told = capsys.readouterr().err
        assert left.value.code == 70
        assert "ZeroDivisionError" in told
        assert "--debug" in told
        assert ("Traceback" in told) is traced


def test_a_page_never_takes_the_place_of_what_is_read(folder: Path, ask: Run) -> None:
    (folder / "link.html").symlink_to(folder / "log.csv")
    before = {path: path.read_text() for path in folder.iterdir() if path.is_file()}
    for target in ("plan.toml", "log.csv", "link.html", "kiln.toml"):
        answer = ask(
            "review", "plan.toml", "log.csv", "--kiln", "kiln.toml", "--html", target, "--overwrite"
        )
        assert answer.returncode == 2
        assert "reads" in answer.stderr
    answer = ask(
        "design", "bisque", "--cone", "06", "--load", "load.toml", "--out", "load.toml",
        "--overwrite",
    )  # fmt: skip
    assert answer.returncode == 2
    assert {path: path.read_text() for path in folder.iterdir() if path.is_file()} == before


def test_learning_writes_through_a_link(folder: Path, ask: Run) -> None:
    (folder / "link.toml").symlink_to("kiln.toml")
    answer = ask(
        "review", "plan.toml", "log.csv", "--kiln", "link.toml",
        "--witness", "018=3:00", "--write-offset",
    )  # fmt: skip
    assert answer.returncode in (0, 1, 2)
    assert (folder / "link.toml").is_symlink()


def test_nothing_is_recorded_to_a_port(folder: Path, ask: Run) -> None:
    ours, port = os.openpty()
    answer = ask("watch", "log.csv", "--speed", "max", "--out", os.ttyname(port))
    os.set_blocking(ours, False)
    assert answer.returncode == 2
    with pytest.raises(BlockingIOError):
        os.read(ours, 1)
    os.close(ours), os.close(port)


@pytest.mark.parametrize("name", ["=1+1", "+1", "@x", "-1"])
def test_no_field_may_be_named_as_a_spreadsheet_formula(name: str, ask: Run) -> None:
    answer = ask("watch", "-", "--fields", f"kiln,{name}")
    assert answer.returncode == 2
    assert "spreadsheet" in answer.stderr


def test_a_column_named_as_a_formula_is_recorded_as_text(folder: Path, ask: Run) -> None:
    beginning = "".join((folder / "log.csv").read_text().splitlines(keepends=True)[:60])
    (folder / "log.csv").write_text(beginning.replace("kiln (C)", "=HYPERLINK(1) (C)"))
    ask("watch", "log.csv", "--out", "out.csv")
    header = (folder / "out.csv").read_text().splitlines()[0]
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in header.split(","))


@pytest.mark.parametrize(("columns", "width"), [(20, 50), (52, 52), (96, 96), (300, 120)])
def test_text_keeps_to_the_terminal_within_reason(
    columns: int, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    assert outcome.width() == width
    monkeypatch.setattr(sys.stdout, "isatty", lambda: False)
    assert outcome.width() == 80


@pytest.mark.parametrize(("name", "value"), [("NO_COLOR", "1"), ("TERM", "dumb")])
def test_a_terminal_that_has_no_colours_gets_none(
    name: str, value: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert outcome.colour_wanted()
    monkeypatch.setenv(name, value)
    assert not outcome.colour_wanted()
