"""``firing review`` with witness cones, a kiln file to write to, and a second log."""

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from commandline import call
from logmaker import BISQUE, GLAZE, Sampling, fire, sample, write_csv

from firing.files.kinds import ready_text

Run = Callable[..., subprocess.CompletedProcess[str]]
PLAN = 'title = "made"\n' + "".join(
    f'[[segment]]\nrate = {rate}\ntarget = {target}\nhold = "{hold_s / 60:.0f}m"\n'
    for rate, target, hold_s in GLAZE
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("review")
    (path / "plan.toml").write_text(PLAN, encoding="utf-8")
    (path / "other.csv").write_bytes(b"")
    for name, plan in (("log.csv", GLAZE), ("bisque.csv", BISQUE)):
        write_csv(sample(fire(plan), Sampling(interval_s=120.0)), path / name)
    return path


@pytest.fixture
def run(folder: Path) -> Run:
    def ran(*arguments: str) -> subprocess.CompletedProcess[str]:
        return call(folder, "review", "plan.toml", *arguments)

    return ran


def test_the_offset_is_shown_and_written_only_when_asked(run: Run, folder: Path) -> None:
    kiln = folder / "kiln.toml"
    text = ready_text("example-kiln")
    kiln.write_text(text, encoding="utf-8")
    told = ("log.csv", "--kiln", "kiln.toml", "--witness", "7=3:00@top", "--json")
    shown = json.loads(run(*told).stdout)
    offset = shown["heatwork"]["witness"]
    assert offset["low_c"] < offset["offset_c"] < offset["high_c"]
    assert "offset_written" not in shown
    assert kiln.read_text(encoding="utf-8") == text
    result = run(*told, "--write-offset")
    written = json.loads(result.stdout)["offset_written"]
    assert written["after_c"] == pytest.approx(offset["offset_c"], abs=0.05)
    assert "kiln_reads_low_c in [fitted] was 0 °C and is now" in result.stderr
    changed = [
        (a, b)
        for a, b in zip(text.splitlines(), kiln.read_text().splitlines(), strict=True)
        if a != b
    ]
    ((before, after),) = changed
    assert before.startswith("kiln_reads_low_c = 0.0")
    assert after.endswith("# by witness cones")
    again = json.loads(run(*told).stdout)
    assert again["kiln"]["cone_offset_c"] == written["after_c"]
    # The offset is that of the readings: it is not counted twice.
    assert again["heatwork"]["witness"]["offset_c"] == pytest.approx(offset["offset_c"])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--write-offset", "--witness", "6=down"), "--kiln has to name one"),
        (("--write-offset", "--witness", "6=down", "--kiln", "example-kiln"), "has to name one"),
        (("--witness", "six"), "6=3:00@top"),
        (("--witness", "013=3:00"), "check the cone's number"),
        (("--compare", "other.csv"), "empty"),
        (("--compare", "none.csv"), "none.csv"),
    ],
)
def test_slips_are_refused_in_one_sentence(
    run: Run, arguments: tuple[str, ...], words: str
) -> None:
    result = run("log.csv", *arguments)
    assert result.returncode == 2
    assert result.stdout == ""
    assert words in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_second_firing_is_set_beside_in_text_json_and_page(run: Run, folder: Path) -> None:
    result = run("log.csv", "--compare", "log.csv", "--html", "page.html", "--json")
    data = json.loads(result.stdout)["compare"]
    assert data["difference_s"] == 0.0
    assert "comparison-heading" in (folder / "page.html").read_text(encoding="utf-8")
    assert "Beside log.csv" in run("log.csv", "--compare", "log.csv").stdout
    assert "Beside log.csv (other)" in run("log.csv", "--compare", "log.csv", "--full").stdout


def test_a_log_of_another_plan_exits_1_with_its_heat_work(run: Run) -> None:
    result = run("bisque.csv", "--json")
    data = json.loads(result.stdout)
    assert result.returncode == 1
    assert data["segments"] is None
    assert data["causes"] == []
    assert data["findings"][0]["id"] == "plan_unrelated"
    assert data["cones"]["reached"] is not None
    assert set(data["findings"][0]) >= {"confidence", "next_step", "evidence"}
