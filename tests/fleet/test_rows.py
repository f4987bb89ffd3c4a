"""One log to one row: pure, whatever its bytes are; names in paths; the columns."""

import gzip
import pickle
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from fleet.school import PLANS, write_log, write_studio
from hypothesis import given
from hypothesis import strategies as st
from logmaker import BISQUE, CsvStyle, Faults, Sampling, fire, sample, write_csv

from firing.fleet.inputs import Names, studio_of
from firing.fleet.jobs import Job
from firing.fleet.review_log import Studio, review_bytes
from firing.fleet.row import COLUMNS, Row
from firing.fleet.table import schema
from firing.fleet.worker import Worker


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    folder = tmp_path_factory.mktemp("studio")
    write_studio(folder)
    made = studio_of(str(folder / "plans"), str(folder / "kilns"))
    assert set(made.plans) == set(PLANS)
    return made


@given(
    data=st.binary(max_size=200)
    | st.text(alphabet="0123456789.,;:-T \n", max_size=300).map(str.encode)
)
def test_any_bytes_are_a_row_with_its_sentence(studio: Studio, data: bytes) -> None:
    row = review_bytes(data, "any.csv", studio)
    assert row.status in ("unreadable", "no plan", "other program", "reviewed")
    assert row.status == "reviewed" or (row.sentence and "\n" not in row.sentence)
    assert review_bytes(data, "any.csv", studio) == row


@pytest.mark.soak
def test_a_row_is_the_same_in_any_process(studio: Studio, tmp_path: Path) -> None:
    log = tmp_path / "2026-04-01 bisque.csv"
    write_log(log, "bisque", datetime(2026, 4, 1, 8))
    job = Job(str(log), log.stat().st_size, "now", "bisque", "corner")
    worker = Worker()
    try:
        there = worker.review(job, studio)
    finally:
        worker.leave()
    here = review_bytes(
        log.read_bytes(), str(log), pickle.loads(pickle.dumps(studio)), "bisque", "corner"
    )
    assert isinstance(there, Row)
    assert {name: getattr(there, name) for name in COLUMNS if name != "log_mark"} == {
        name: getattr(here, name) for name in COLUMNS if name != "log_mark"
    }
    # BISQUE: 90 K at 50 K/h and 2 h, 490 K at 60 K/h, 300 K at 100 K/h and 15 min
    assert here.planned_s == pytest.approx((90 / 50 + 2 + 490 / 60 + 300 / 100 + 0.25) * 3600)
    assert (here.month, here.dated_by, here.status) == ("2026-04", "log", "reviewed")
    causes = [
        getattr(here, name) for name in COLUMNS if name.endswith("_s") and "part" in WORDS[name]
    ]
    assert sum(causes) == pytest.approx(here.excess_s)


WORDS = {one.name: one.metadata[b"words"].decode() for one in schema()}


def test_every_column_has_its_words_and_its_unit() -> None:
    assert tuple(WORDS) == COLUMNS
    units = {"_s": "[s]", "_c": "[°C]", "_kwh": "[kWh]", "_bytes": "[bytes]", "_c_per_h": "[°C/h]"}
    for name, words in WORDS.items():
        assert words
        for suffix, unit in units.items():
            if name.endswith(suffix):
                assert unit in words, name


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("barrel/2026-01-05.csv", "barrel"),
        ("logs/Barrel Kiln/x.csv", "barrel"),
        ("big_barrel/x.csv", "big-barrel"),  # the longer name
        ("barrel/corner 3.csv", "corner"),  # the file's own name before its folder's
        ("barrels/x.csv", ""),  # whole words only
        ("barrel and corner/x.csv", ""),  # two of one length
        ("x.csv", ""),
    ],
)
def test_the_name_in_a_path(path: str, found: str) -> None:
    names = Names({"barrel": ("barrel kiln",), "big-barrel": (), "corner": ("Corner",)})
    assert names.in_path(path) == found


def test_a_single_name_needs_no_mention() -> None:
    assert Names({"only": ()}).in_path("any/log.csv") == "only"


def test_a_change_of_any_figure_is_another_basis(studio: Studio) -> None:
    plan, kiln = studio.plans["bisque"], studio.kilns["corner"]
    first, *others = plan.segments
    wall = replace(kiln.wall[0], thickness_m=kiln.wall[0].thickness_m + 1e-4)
    changed = [
        {
            "plans": {
                **studio.plans,
                "bisque": replace(plan, segments=(replace(first, hold_s=1.0), *others)),
            }
        },
        {"kilns": {**studio.kilns, "corner": replace(kiln, wall=(wall,))}},
        {
            "kilns": {
                **studio.kilns,
                "corner": replace(kiln, fitted=replace(kiln.fitted, loss=1.01)),
            }
        },
        {"options": replace(studio.options, zone="UTC")},
        {"channel": "top"},
    ]
    bases = [replace(studio, bases={}, **one).basis("bisque", "corner") for one in changed]
    assert len({studio.basis("bisque", "corner"), *bases}) == 1 + len(changed)
    other = {"plans": {**studio.plans, "glaze": plan}}
    same = replace(studio, bases={}, **other)
    assert same.basis("bisque", "corner") == studio.basis("bisque", "corner")
    assert same.basis("", "corner") != studio.basis("", "corner")


def test_a_plan_that_was_found_by_its_review_is_not_reviewed_again(
    plans: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = tmp_path / "some firing.csv"
    write_log(log, "bisque", datetime(2026, 4, 1, 8))
    asked = review_bytes(log.read_bytes(), log.name, plans, "bisque")
    monkeypatch.delattr("firing.fleet.review_log.review")
    found = review_bytes(log.read_bytes(), log.name, plans)
    assert found.status == "reviewed"
    assert replace(found, plan_by=asked.plan_by, basis=asked.basis) == asked


def bisque_log(path: Path, faults: Faults | None = None, seed: int = 1) -> bytes:
    fired = fire(BISQUE, faults=faults or Faults(), step_s=30.0)
    made = sample(fired, Sampling(interval_s=180.0, seed=seed))
    return write_csv(made, path, CsvStyle(started=datetime(2026, 4, 1, 8))).read_bytes()


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A bisque's log without the controller's output, one line a reading."""
    return bisque_log(tmp_path_factory.mktemp("plain") / "log.csv")


def test_a_forecast_is_no_energy_of_a_firing_that_was_broken_off(
    studio: Studio, plain: bytes, tmp_path: Path
) -> None:
    whole = review_bytes(plain, "log.csv", studio, "bisque", "corner")
    assert whole.energy_from == "forecast"
    # Of three hours nobody knows what the plan's fifteen would have taken.
    cut = b"\n".join(plain.split(b"\n")[:61])
    row = review_bytes(cut, "log.csv", studio, "bisque", "corner")
    assert row.status == "reviewed"
    assert (row.energy_kwh, row.energy_from, row.cost) == (None, None, None)
    dark = bisque_log(tmp_path / "log.csv", Faults(outage_at_c=500.0, outage_s=3 * 3600.0))
    row = review_bytes(dark, "log.csv", studio, "bisque", "corner")
    assert (row.interruption_s or 0.0) > 3600.0
    assert (row.energy_kwh, row.energy_from) == (None, None)


def test_two_logs_of_one_firing_begin_alike(studio: Studio, plain: bytes, tmp_path: Path) -> None:
    def begins(data: bytes) -> int | None:
        return review_bytes(data, "log.csv", studio, "bisque", "corner").begins_like

    first = begins(plain)
    assert first is not None
    assert begins(plain.replace(b".", b"#").replace(b",", b";").replace(b"#", b",")) == first
    assert begins(b"\n".join(plain.split(b"\n")[:200])) == first
    assert begins(gzip.compress(plain)) == first
    assert begins(plain.replace(b"2026-04-0", b"2026-05-0")) not in (None, first)
    # Another kiln that begins at the same second reads other tenths of a degree.
    assert begins(bisque_log(tmp_path / "log.csv", seed=2)) not in (None, first)


@pytest.mark.parametrize("minutes", range(1, 40, 6))
def test_a_log_of_minutes_is_reviewed_in_its_kiln(studio: Studio, minutes: int) -> None:
    text = "time_s,Kiln (°C)\n" + "".join(f"{60 * n},{20 + n}\n" for n in range(minutes + 1))
    row = review_bytes(text.encode(), "short.csv", studio, "bisque", "barrel")
    assert row.status in ("reviewed", "other program"), row.sentence
    assert row.power_over_loss is None
