"""Commands: exit codes, streams, JSON documents, and one sentence for every slip."""

import json
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from commandline import PLAN

from firing.cli import COMMANDS
from firing.cli.logbook import logbook_command

Run = Callable[..., subprocess.CompletedProcess[str]]


def write_log(path: Path, *, scale: float = 1.0, offset: float = 0.0) -> None:
    """Write a log of PLAN fired exactly: 580 °C and 300 °C at 100 °C/h, 15 min, then cooling."""
    rows = ["time_s,Kiln (°C)"]
    for minute in range(0, 1200, 2):
        celsius = 20.0 + minute / 60.0 * 100.0
        if minute > 528:
            celsius = 900.0
        if minute > 543:
            celsius = max(60.0, 900.0 - (minute - 543) * 1.6)
        rows.append(f"{minute * 60},{celsius * scale + offset:.1f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "plan.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def refused(result: subprocess.CompletedProcess[str]) -> str:
    """Check that a run was refused without a traceback, and return what it said."""
    assert result.returncode == 2, result.stderr
    assert "Traceback" not in result.stderr
    assert result.stdout == ""
    return result.stderr


def document(result: subprocess.CompletedProcess[str], code: int = 0) -> dict[str, object]:
    assert result.returncode == code, result.stderr
    data = json.loads(result.stdout)
    assert data["schema"] == 1
    return dict(data)


def test_every_command_has_help_and_a_json_option(ask: Run) -> None:
    listed = ask("--help").stdout
    for name, (_, line) in COMMANDS.items():
        assert re.search(rf"^  {name} +", listed, re.M), name
        assert line[:40] in listed
    under = [f"logbook {name}" for name in logbook_command.commands]
    for name in (*COMMANDS, "kiln show", "kiln fit", *under):
        page = ask(*name.split(), "--help")
        assert page.returncode == 0
        assert "--json" in page.stdout or name in ("kiln", "logbook")
        assert "None" not in page.stdout
        assert "Example: firing" in page.stdout or name not in under


def test_a_group_lists_its_commands_whole_and_knows_a_slip(ask: Run) -> None:
    for group, slip, meant in (("kiln", "shw", "show"), ("logbook", "lst", "list")):
        assert "..." not in ask(group, "--help").stdout.partition("Commands:")[2]
        assert f"no such command '{slip}'; did you mean '{meant}'?" in ask(group, slip).stderr


def test_every_command_is_told_of_in_the_readme() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for name in COMMANDS:
        assert f"firing {name}" in readme, name


def test_forecast_says_hours_and_cone(ask: Run, plan: Path) -> None:
    data = document(ask("forecast", str(plan), "--json"))
    assert data["kind"] == "forecast"
    # 880 °C at 100 °C/h and 15 min
    assert data["program_s"] == pytest.approx(8.8 * 3600 + 900)
    text = ask("forecast", str(plan))
    assert text.returncode == 0
    assert "9 h 03 min" in text.stdout
    assert "firing safety" in text.stdout


def test_forecast_with_a_cone_out_of_reach_exits_1(ask: Run, plan: Path) -> None:
    data = document(ask("forecast", str(plan), "--cone", "6", "--json"), code=1)
    assert any(w["severity"] == "act" for w in data["warnings"])  # type: ignore[attr-defined]  # a list


def test_a_start_gives_clock_times(run: Run, plan: Path) -> None:
    result = run("forecast", str(plan), "--start", "2026-03-28 20:00", "--json", TZ="Europe/Berlin")
    data = document(result)
    # 9 h 3 min on, the clocks have gone forward an hour in between (last Sunday of March)
    assert data["program_ends_at"] == "2026-03-29T06:03:00+02:00"


def test_a_start_that_the_clock_skips_is_refused(run: Run, plan: Path) -> None:
    result = run("forecast", str(plan), "--start", "2026-03-29 02:30", TZ="Europe/Berlin")
    assert "skipped" in refused(result)


def test_review_of_a_firing_as_planned(ask: Run, plan: Path, tmp_path: Path) -> None:
    write_log(tmp_path / "log.csv")
    data = document(ask("review", str(plan), "log.csv", "--json"))
    assert data["kind"] == "review"
    assert data["excess_s"] == pytest.approx(0.0, abs=300.0)
    assert data["planned_s"] == pytest.approx(8.8 * 3600 + 900)
    wanted = {
        "log", "lead_in_s", "planned_s", "planned_basis", "forecast_s", "actual_s", "excess_s",
        "segments", "causes", "cooling", "cones", "kiln", "findings",
    }  # fmt: skip
    assert wanted <= set(data)


def test_fahrenheit_without_its_unit_is_asked_back(ask: Run, plan: Path, tmp_path: Path) -> None:
    write_log(tmp_path / "log.csv", scale=1.8, offset=32.0)
    assert "--unit F" in refused(ask("review", str(plan), "log.csv", "--json"))
    data = document(ask("review", str(plan), "log.csv", "--json", "--unit", "C"), code=1)
    assert "maybe_fahrenheit" in {f["id"] for f in data["findings"]}  # type: ignore[attr-defined]  # a list
    document(ask("review", str(plan), "log.csv", "--json", "--unit", "F"))


def test_review_with_a_start_counts_a_late_start(ask: Run, plan: Path, tmp_path: Path) -> None:
    write_log(tmp_path / "log.csv")
    message = refused(ask("review", str(plan), "log.csv", "--start", "07:00"))
    assert "no clock times" in message


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, "log.csv"),
        (b"time_s,kiln\n0,20\n", "one reading"),
        (b"time_s,kiln\n0,20\n60,21\n120,22\n90,23\n150,24\n", "backwards"),
        (b"time_s,kiln\n0,open\n60,open\n120,open\n", "log.csv"),
        (b"once upon a time\nthere was a kiln\n", "log.csv"),
    ],
)
def test_logs_that_cannot_be_used_are_one_sentence(
    ask: Run, plan: Path, tmp_path: Path, content: bytes, words: str
) -> None:
    (tmp_path / "log.csv").write_bytes(content)
    message = refused(ask("review", str(plan), "log.csv"))
    assert words in message
    assert message.count("\n") == 1


def test_a_directory_and_a_missing_log_are_one_sentence(
    ask: Run, plan: Path, tmp_path: Path
) -> None:
    (tmp_path / "folder").mkdir()
    for name in ("folder", "none.csv"):
        message = refused(ask("review", str(plan), name))
        assert message.count("\n") == 1
        assert name in message


def test_readings_that_say_open_are_marked_and_told(ask: Run, plan: Path, tmp_path: Path) -> None:
    write_log(tmp_path / "log.csv")
    rows = (tmp_path / "log.csv").read_text(encoding="utf-8").splitlines()
    for number in range(100, 140):
        rows[number] = rows[number].split(",")[0] + (",open" if number % 2 else ",NaN")
    (tmp_path / "log.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    data = document(ask("review", str(plan), "log.csv", "--json"))
    assert "readings_lost" in {f["id"] for f in data["findings"]}  # type: ignore[attr-defined]  # a list


@pytest.mark.parametrize(
    ("segment", "words"),
    [
        ("", "segment"),
        ('[[segment]]\nrate = 60\ntarget = 900\nhold = "-1h"\n', "negative"),
        ("[[segment]]\nrate = 60\ntarget = 20\n", "equals the start"),
        ("[[segment]]\nrate = 0\ntarget = 900\n", "never arrives"),
        ('[[segment]]\nrate = 60\ntarget = 900\nhold = "400h"\n', "longer than 100 h"),
    ],
)
def test_schedules_that_cannot_be_used_are_told_with_their_line(
    ask: Run, tmp_path: Path, segment: str, words: str
) -> None:
    (tmp_path / "bad.toml").write_text(f'title = "t"\n{segment}', encoding="utf-8")
    message = refused(ask("forecast", "bad.toml"))
    assert words in message
    assert message.startswith("firing: bad.toml:")


SLIPS: tuple[tuple[str, ...], ...] = (
    ("hold", "6.25", "--at", "1200"),
    ("cone", "42"),
    ("cone", ""),
    ("hold", "6", "--at", "900"),
    ("hold", "6", "--at", "hot"),
    ("hold", "6", "--at", "1200", "--rate", "0"),
    ("peak", "6", "--hold", "30"),
    ("peak", "6", "--hold", "300h"),
    ("forecast", "no-such-plan.toml"),
    ("forecast", "thin-ware-bisqu"),
    ("schedules", "nothing"),
    ("sources", "nothing"),
    ("schema", "nothing"),
    ("heatwork", "none.csv"),
    ("forecast", "thin-ware-bisque", "--unload-at", "5"),
    ("forecast", "thin-ware-bisque", "--start", "whenever"),
    ("forecast", "thin-ware-bisque", "--cone", "6.25"),
    ("demolish",),
    (),
)


def test_slips_are_answered_and_not_traced_back(ask: Run, subtests: pytest.Subtests) -> None:
    for arguments in SLIPS:
        with subtests.test(" ".join(arguments)):
            result = ask(*arguments)
            assert result.returncode == 2
            assert "Traceback" not in result.stderr
            assert result.stderr.strip() or result.stdout.strip()


def test_a_process_refuses_as_told(run: Run) -> None:
    message = refused(run("forecast", "no-such-plan.toml"))
    assert message.startswith("firing: ")
    assert "no-such-plan.toml" in message
    assert message.count("\n") == 1


def test_hold_peak_cone_and_heatwork_have_the_keys_others_build_on(ask: Run) -> None:
    hold = document(ask("hold", "6", "--at", "1200", "--json"))
    assert {"kind", "cone", "at_c", "rate_c_per_h", "hold_s", "low_s", "high_s", "warnings"} <= set(
        hold
    )
    peak = document(ask("peak", "6", "--hold", "15m", "--json"))
    assert {"hold_s", "rate_c_per_h", "peak_c", "low_c", "high_c"} <= set(peak)
    cone = document(ask("cone", "6", "--json"))
    rows = cone["rows"]
    assert isinstance(rows, list)
    assert {"type", "rate_c_per_h", "end_point_c", "source"} <= set(rows[0])
    heat = document(ask("heatwork", "stoneware-glaze-1240", "--json"))
    assert {"cones", "time_above_1000_s"} <= set(heat)
    between = ask("heatwork", "thin-ware-bisque").stdout
    assert between.startswith("Cone 010–09, nearer 010 (between 011 and 09).")
    assert "nearer 010 to" not in between  # a range names whole cones


def test_the_other_listings_are_json_too(ask: Run) -> None:
    for arguments in (("schedules",), ("sources",), ("safety",), ("safety", "decal")):
        document(ask(*arguments, "--json"))
    schema = json.loads(ask("schema", "schedule").stdout)
    assert schema["properties"]["segment"]["minItems"] == 1


def test_a_page_is_written_once_and_not_again(ask: Run, plan: Path, tmp_path: Path) -> None:
    assert ask("forecast", str(plan), "--html", "page.html").returncode == 0
    first = (tmp_path / "page.html").read_bytes()
    again = ask("forecast", str(plan), "--html", "page.html")
    assert again.returncode == 2
    assert "exists already" in again.stderr
    assert (tmp_path / "page.html").read_bytes() == first
    assert ask("forecast", str(plan), "--html", "page.html", "--overwrite").returncode == 0


def test_demo_makes_a_new_folder_each_time_and_exits_0(ask: Run, tmp_path: Path) -> None:
    first = ask("demo")
    assert first.returncode == 0, first.stderr
    assert "invented" in first.stdout
    assert sorted(p.name for p in (tmp_path / "firing-demo").iterdir()) == [
        "log.csv", "plan.toml", "review.html"
    ]  # fmt: skip
    assert len(first.stdout.splitlines()) <= 40
    ending = first.stdout[first.stdout.rindex("Go on with") :]
    assert re.findall(r"^  firing forecast ", ending, re.M)
    second = ask("demo", "--json")
    data = document(second)
    assert data["invented"] is True
    assert (tmp_path / "firing-demo-2" / "review.html").exists()
    review = data["review"]
    assert isinstance(review, dict)
    left = sum(c["seconds"] for c in review["causes"] if c["cause"] == "unexplained")
    assert abs(left) <= max(600.0, 0.1 * abs(review["excess_s"]))


def test_output_without_colour_and_in_ascii(run: Run, ask: Run, plan: Path) -> None:
    piped = ask("forecast", str(plan))
    assert "\x1b" not in piped.stdout
    plain = run("forecast", str(plan), PYTHONIOENCODING="ascii:strict")
    assert plain.returncode == 0, plain.stderr
    assert plain.stdout.isascii()


def test_a_closed_pipe_is_nobodys_fault(tmp_path: Path) -> None:
    import sys

    command = f"{sys.executable} -c 'from firing.cli import main; main()' sources"
    for reader, lines in (("head -1", 1), ("true", 0)):
        result = subprocess.run(
            ["bash", "-c", f"{command} | ({reader}); exit ${{PIPESTATUS[0]}}"],
            capture_output=True, text=True, cwd=tmp_path, check=False,
        )  # fmt: skip
        assert result.stderr == ""
        assert result.stdout.count("\n") == lines
        assert result.returncode == 0  # 1 would say that there is something to act on
