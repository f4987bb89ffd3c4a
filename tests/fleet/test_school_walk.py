"""The technician of a school drops a winter's logs into one command, and reads its first lines."""

import json
import shlex
from pathlib import Path

import pytest
from commandline import call
from fleet.school import WEARING, write_school

from firing.fleet.table import FleetTable

ASKED = ("fleet", "logs", "--plans", "plans", "--kilns", "kilns", "--out", "results",
         "--workers", "1")  # fmt: skip


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory, in_process: None) -> Path:
    """Return the school's folder, with every log reviewed once."""
    folder = write_school(tmp_path_factory.mktemp("school"))
    first = call(folder, *ASKED, "--html", "fleet.html")
    assert first.returncode == 1
    assert "40 of 40 logs were new" in first.stderr
    assert "reviewed" not in first.stderr  # two of them can't be read
    return folder


def test_the_first_lines_say_what_is_wrong(school: Path) -> None:
    again = call(school, *ASKED)
    assert again.returncode == 1
    assert "nothing is new" in again.stderr
    lines = again.stdout.splitlines()
    assert len(lines) <= 40
    assert "40 logs of 3 kilns: 38 reviewed, 2 unreadable." in lines[:3]
    said = " ".join(lines[:15])
    told = ("1. barrel is wearing", "2. fast-bisque is always late", "3. 2 logs can't be read")
    order = [said.index(words) for words in told]
    assert order == sorted(order)
    assert "corner is late" not in again.stdout  # the plan is, in every kiln


def test_a_page_is_written_anew_only_if_asked_to_be(school: Path) -> None:
    """As the pages of forecast, review and logbook."""
    page = (school / "fleet.html").read_bytes()
    refused = call(school, *ASKED, "--html", "fleet.html")
    assert refused.returncode == 2
    assert "--overwrite" in refused.stderr
    assert (school / "fleet.html").read_bytes() == page
    assert call(school, *ASKED, "--html", "fleet.html", "--overwrite").returncode == 1
    (school / "mine.html").write_text("mine", encoding="utf-8")
    refused = call(school, *ASKED, "--html", "mine.html")
    assert refused.returncode == 2
    assert "reviewed" not in refused.stderr  # before the work
    assert (school / "mine.html").read_text(encoding="utf-8") == "mine"


def test_the_figures_are_those_the_logs_were_made_with(school: Path) -> None:
    found = json.loads(call(school, "fleet", "--out", "results", "--json").stdout)
    assert found["by_status"] == {"reviewed": 38, "unreadable": 2}
    kilns = {one["kiln"]: one for one in found["kilns"]}
    worn = kilns["barrel"]["wear"]
    lost = WEARING[-1] / WEARING[0] - 1.0
    assert worn["change"] == pytest.approx(lost, abs=0.02)
    assert worn["out_of_reach"]
    assert {name: one["firings"] for name, one in kilns.items()} == {
        "barrel": 14, "corner": 12, "little": 12,
    }  # fmt: skip
    for name in ("corner", "little"):
        assert kilns[name]["late"] == 0.0
        assert abs(kilns[name]["wear"]["change"]) < 0.02
    plans = {one["plan"]: one for one in found["plans"]}
    assert plans["fast-bisque"]["late"] == 1.0
    assert plans["fast-bisque"]["cause"] == "power_limited"
    assert plans["bisque"]["late"] == 0.0
    assert {one["month"] for one in found["months"]} == {"2026-01", "2026-02", "2026-03"}
    assert sum(one["firings"] for one in found["months"]) == 38


@pytest.mark.soak
def test_every_way_to_a_single_review_works(school: Path) -> None:
    found = json.loads(call(school, "fleet", "--out", "results", "--json").stdout)
    assert any(one["command"] for one in found["look_first"])
    for one in found["look_first"]:
        if one["command"] is None:  # nothing of an empty file can be reviewed
            assert one["kind"] == "logs"
            continue
        program, *words = shlex.split(one["command"])
        assert program == "firing"
        result = call(school, *words)
        if one["kind"] == "logs":  # it says why it cannot be read, as the summary does
            assert result.returncode == 2
            assert result.stderr.removeprefix("firing: ").split("; ")[0] in one["reason"]
        else:
            assert result.returncode in (0, 1)
            assert one["plan"] in result.stdout or one["kiln"] in result.stdout


def test_the_page_draws_every_kiln_and_asks_no_server(school: Path) -> None:
    page = (school / "fleet.html").read_text(encoding="utf-8")
    assert page.count('class="panels"') == 2  # hours over the plan, and power
    powers = FleetTable(str(school / "results")).read(["power_over_loss"])["power_over_loss"]
    known = len(powers) - powers.null_count
    assert known >= 30
    assert page.count("<circle") == 38 + known
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert len(page) < 300_000
