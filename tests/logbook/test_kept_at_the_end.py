"""``watch --keep`` and ``review --keep``: kept when it is over, and never in the way."""

import json
from importlib.resources import files
from pathlib import Path

import pytest
from commandline import call

DEMO = files("firing") / "data" / "demo"
WATCH = ("watch", "log.csv", "--schedule", "plan.toml", "--every", "24h")
PLAN = """title = "Test tiles"
[[segment]]
rate = 120
target = 620
"""


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    """A plan of five hours, and the log of it: 120 °C an hour, exactly."""
    rows = [f"2026-03-14 {8 + n // 12:02d}:{n % 12 * 5:02d},{20 + 10 * n}" for n in range(61)]
    (tmp_path / "log.csv").write_text("\n".join(["Time,Kiln (°C)", *rows, ""]), encoding="utf-8")
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    return tmp_path


def listed(place: Path) -> list[dict[str, object]]:
    done = call(place, "logbook", "list", "--logbook", "book.sqlite", "--json")
    found: list[dict[str, object]] = json.loads(done.stdout)["firings"]
    return found


def test_a_watch_keeps_its_recording_when_it_ends(studio: Path) -> None:
    done = call(studio, *WATCH, "--out", "rec.csv", "--keep", "--logbook", "book.sqlite")
    assert done.returncode == 0, done.stderr
    assert "kept in the logbook as number 1" in done.stderr
    (one,) = listed(studio)
    assert (one["log"], one["plan"], one["peak_c"]) == ("rec.csv", "Test tiles", 620.0)


def test_a_logbook_that_fails_leaves_watch_and_recording_as_they_are(studio: Path) -> None:
    (studio / "folder").mkdir()
    done = call(studio, *WATCH, "--out", "rec.csv", "--keep", "--logbook", "folder/no/x.sqlite")
    (studio / "no.sqlite").write_bytes(b"no logbook at all" * 100)
    again = call(studio, *WATCH, "--out", "rec2.csv", "--keep", "--logbook", "no.sqlite")
    plain = call(studio, *WATCH, "--out", "rec3.csv")
    assert done.returncode == again.returncode == plain.returncode == 0
    assert "is not kept in the logbook" in again.stderr
    assert "firing keep rec2.csv" in again.stderr
    rows = {(studio / name).read_text().count("\n") for name in ("rec2.csv", "rec3.csv")}
    assert len(rows) == 1


def test_a_review_keeps_its_log_once(tmp_path: Path) -> None:
    words = ("review", str(DEMO / "plan.toml"), str(DEMO / "log.csv"), "--kiln", "example-kiln",
             "--witness", "6=5:00", "--keep", "--logbook", "book.sqlite", "--json")  # fmt: skip
    kept = json.loads(call(tmp_path, *words).stdout)["kept"]
    assert (kept["state"], kept["id"], kept["kiln"]) == ("kept", 1, "Workshop kiln")
    assert json.loads(call(tmp_path, *words).stdout)["kept"]["state"] == "known"
    (one,) = listed(tmp_path)
    assert len(one["witnesses"]) == 1  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("watch", "x.csv", "--keep"), "give --out"),
        (("review", "plan.toml", "a.csv", "b.csv", "--keep"), "keeps one log"),
    ],
)
def test_what_cannot_be_kept_is_refused_at_once(
    tmp_path: Path, words: tuple[str, ...], told: str
) -> None:
    for name in ("x.csv", "a.csv", "b.csv"):
        (tmp_path / name).write_text("0,20\n")
    (tmp_path / "plan.toml").write_text((DEMO / "plan.toml").read_text())
    done = call(tmp_path, *words)
    assert done.returncode == 2
    assert told in done.stderr
