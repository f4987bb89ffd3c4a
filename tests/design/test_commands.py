"""The commands: exit codes, documents, files, and one sentence for every slip."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

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
    assert "# Mended: " in out.read_text(encoding="utf-8")


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
