"""The commands: exit codes, documents, files, and one sentence for every slip."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from longer import beyond

from firing.cli import cli
from firing.errors import FiringError
from firing.schedule.file import open_schedule

LOAD = "example-load-planters-and-cups"


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli, arguments, standalone_mode=False)


def test_design_prints_and_writes_a_schedule_with_reasons(tmp_path: Path) -> None:
    out = tmp_path / "plan.toml"
    arguments = ("design", "bisque", "--load", LOAD, "--kiln", "example-kiln", "--cone", "06")
    result = run(*arguments, "--controller", "example-controller", "--out", str(out))
    assert result.return_value == 0
    assert "Why" in result.stdout
    assert open_schedule(out).purpose == "bisque"
    again = run(*arguments, "--out", str(out))
    assert isinstance(again.exception, FiringError)
    assert "exists already" in str(again.exception)


def test_design_as_a_document() -> None:
    result = run("design", "bisque", "--load", LOAD, "--top", "980", "--segments", "6", "--json")
    data = json.loads(result.stdout)
    assert (data["schema"], data["kind"], data["safe"]) == (1, "design", True)
    assert data["controller"]["max_segments"] == 6


def test_damp_tiles_exit_1(tmp_path: Path) -> None:
    load = tmp_path / "tiles.toml"
    load.write_text(
        'dryness = "damp"\nbody = "stoneware"\n[[piece]]\nname = "tile"\ncount = 20\n'
        'thickest_mm = 30\nmass_kg = 2.0\nheated_from = "one"\n',
        encoding="utf-8",
    )
    result = run("design", "bisque", "--load", str(load), "--top", "980")
    assert result.return_value == 1
    assert "Dry first" in result.stdout


def test_mending_a_ready_schedule(tmp_path: Path) -> None:
    out = tmp_path / "mended.toml"
    arguments = ("design", "bisque", "--load", LOAD, "--from", "thin-ware-bisque")
    result = run(*arguments, "--out", str(out))
    assert result.return_value == 0
    assert "# Made safe: " in out.read_text(encoding="utf-8")


def test_a_card_as_text_page_and_document(tmp_path: Path) -> None:
    page = tmp_path / "card.html"
    arguments = ("card", "thin-ware-bisque", "--controller", "example-controller")
    result = run(*arguments, "--start", "2026-11-27 20:00", "--html", str(page))
    assert result.return_value == 0
    assert "read back" in result.stdout
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert json.loads(run(*arguments, "--json").stdout)["kind"] == "card"


def test_resume_reads_a_log(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    # 20 to 700 °C at 100 °C/h
    rows = [f"{60 * m},{20 + m * 100 / 60:.1f}" for m in range(409)]
    log.write_text("time_s,Kiln (°C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    out = tmp_path / "rest.toml"
    arguments = ("resume", "thin-ware-bisque", str(log), "--load", "example-load-thin-cups")
    result = run(*arguments, "--reads", "500", "--ago", "1h", "--out", str(out))
    assert result.return_value in (0, 1)
    assert "To key in now" in result.stdout
    assert open_schedule(out).start_c == 500.0
    assert json.loads(run(*arguments, "--json").stdout)["kind"] == "resume"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("design", "bisque", "--cone", "06"), "--load"),
        (("design", "bisque", "--load", LOAD), "one end"),
        (("design", "glaze", "--load", LOAD, "--cone", "6"), "bone dry"),
        (("design", "bisque", "--load", LOAD, "--cone", "06", "--segments", "1"), "collide"),
        (("design", "bisque", "--load", LOAD, "--cone", "6.25"), "6.25"),
        (("design", "bisque", "--load", LOAD, "--from", "decal", "--cone", "06"), "leave one"),
        (("design", "bisque", "--load", "none.toml", "--cone", "06"), "no such file"),
        (("card", "thin-ware-bisque", "--controller", "none.toml"), "no such file"),
    ],
)
def test_slips_are_one_sentence(arguments: tuple[str, ...], words: str) -> None:
    result = run(*arguments)
    assert isinstance(result.exception, FiringError)
    assert words in str(result.exception)
    assert "\n" not in str(result.exception)


@pytest.mark.parametrize(
    ("dryness", "thickest_mm", "unit"),
    beyond(1, [["leather hard", 8, "F"], ["damp", 20, "C"]]),
)
def test_from_damp_to_the_peak_in_one_program_that_leaves_nothing_to_do(
    tmp_path: Path, dryness: str, thickest_mm: int, unit: str
) -> None:
    load, plan, controller = (tmp_path / f"{name}.toml" for name in ("load", "plan", "controller"))
    load.write_text(
        f'dryness = "{dryness}"\nbody = "stoneware"\nfurniture_kg = 28\n[[piece]]\n'
        f'name = "planter"\ncount = 4\nthickest_mm = {thickest_mm}\nmass_kg = 3.2\n',
        encoding="utf-8",
    )
    controller.write_text(
        f'name = "Bench controller"\nmax_segments = 10\nunit = "{unit}"\n', encoding="utf-8"
    )
    with_all = ("--load", str(load), "--kiln", "example-kiln", "--controller", str(controller))
    made = run("design", "bisque", "--cone", "06", *with_all, "--out", str(plan), "--full")
    assert made.return_value == 0
    printed = " ".join(made.stdout.split())
    # What dampness and reserve cost is told once.
    assert printed.count(f"Because the ware is {dryness} the firing takes") == 1
    assert printed.count("longer without the safety margin") == 1
    assert printed.count("10 % weaker") == 1
    assert "Dry first" not in printed
    assert run("forecast", str(plan), *with_all[:4]).return_value == 0
    assert run("card", str(plan), *with_all).return_value == 0
    again = run("design", "bisque", "--from", str(plan), *with_all, "--json")
    assert again.return_value == 0
    document = json.loads(again.stdout)
    assert "Nothing had to be changed." in document["notes"]
    # One figure: the design's own hours are the list's for its number of segments, and mending's.
    data = json.loads(run("design", "bisque", "--cone", "06", *with_all, "--json").stdout)
    count = len(data["schedule"]["segments"])
    assert dict(data["by_segments"])[count] == pytest.approx(data["total_s"], abs=0.01)
    assert document["total_s"] == pytest.approx(data["total_s"], abs=1.0)
