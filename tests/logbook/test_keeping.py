"""What a log brings along: several firings, no clock, no plan, prices by the hour, older code."""

import os
import re
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import logmaker
import numpy as np
import pytest
from commandline import call
from logbook.studio import steps_of, write_log

from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.fleet.review_log import Studio, review_bytes
from firing.kiln.file import open_kiln
from firing.kiln.tariff_file import open_tariff
from firing.logbook import keeping
from firing.logbook.keeping import (
    KeptLog,
    Paper,
    Shelf,
    derive,
    derive_again,
    keep_logs,
    shelf_of,
)
from firing.logbook.record import Entry
from firing.logbook.store import Logbook
from firing.logs.reader import read_log
from firing.report.logbook import keep_report
from firing.report.review import review_report
from firing.report.text import render_text
from firing.review.review import review
from firing.schedule.file import open_schedule, schedule_text
from firing.schedule.schedule import Schedule, Segment
from firing.version import code_version


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return Logbook.open(tmp_path / "studio.sqlite")


@pytest.fixture
def shelf(book: Logbook) -> Shelf:
    return shelf_of(book, kilns=["example-kiln"])


def two_in_one(folder: Path) -> Path:
    """One file with a bisque, and a glaze begun 21 days later."""
    first, second = (write_log(folder / f"{n}.csv", n).read_text() for n in (0, 1))
    return_path = folder / "both.csv"
    return_path.write_text(first + second.partition("\n")[2], encoding="utf-8")
    return return_path


def test_a_file_of_several_firings_is_kept_as_several(
    book: Logbook, shelf: Shelf, tmp_path: Path
) -> None:
    both = two_in_one(tmp_path)
    found = keep_logs(book, [both], shelf)
    assert [(one.state, one.plan[:4]) for one in found] == [("kept", "Cups"), ("kept", "Ston")]
    assert [(one.part, one.log) for one in book.firings()] == [(2, "both.csv"), (1, "both.csv")]
    assert [one.state for one in keep_logs(book, [both], shelf)] == ["known", "known"]


def test_an_import_that_stopped_between_the_firings_of_a_file_goes_on(
    book: Logbook, shelf: Shelf, tmp_path: Path
) -> None:
    both = two_in_one(tmp_path)
    said = Entry("both.csv", both.read_bytes(), part=1, reading={"part": 1})
    book.keep(said, derive(said))
    assert [one.state for one in keep_logs(book, [both], shelf)] == ["known", "kept"]


def test_of_plans_that_fit_alike_the_own_ones_come_first() -> None:
    names = ("in the folder", "fired here", "fired elsewhere", "ready")
    shelf = Shelf(
        plans=dict.fromkeys(names, Paper("", "")) | {names[0]: Paper("", "", Path("logs"))},
        fired=frozenset({("fired here", "Blue"), ("fired elsewhere", "Red")}),
    )
    liked = shelf.liked("Blue")
    assert sorted(names, key=lambda name: liked[name]) == list(names)
    assert len(set(liked.values())) == 4


def test_a_folder_of_doubtful_logs_is_told_in_forty_lines() -> None:
    why = "leaves 2 h 06 min to explain, at its peak; another plan fits nearly as well " * 2
    kept = [
        KeptLog(f"logs/a-logger's-long-name-{n:02d}.csv", n, plan="Glaze, cone 6 " * 4,
                kiln=f"Kiln {n % 2}", sure=False, why=why, notes=(f"say --unit F {n}",))
        for n in range(12)
    ]  # fmt: skip
    refused = [KeptLog(f"{n}.csv", state="refused", why=why) for n in range(9)]
    told = render_text(keep_report([*kept, *refused]), width=80)
    assert len(told.splitlines()) <= 40
    one_table = render_text(keep_report(kept[:9]), width=80)
    assert len(one_table.splitlines()) <= 40
    assert one_table.count("match") == 1
    whole = " ".join(render_text(keep_report(kept, full=True)).split())
    assert whole.count(" ".join(why.split())) == len(kept)


@pytest.mark.parametrize(
    ("planned_c", "told"), [(1200.0, "so °C are taken"), (650.0, "say --unit F or --unit C")]
)
def test_a_plan_settles_the_unit_that_a_log_leaves_open(
    planned_c: float, told: str, tmp_path: Path
) -> None:
    # From 34, 34 °C or 34 °F (1 °C), to 1202, 1202 °C or 1202 °F (650 °C).
    rows = [f"{n * 600},{min(max(34.0, 16.22 * n), 1202.0):.1f}" for n in range(76)]
    path = tmp_path / "open.csv"
    path.write_text("time_s,Kiln\n" + "\n".join(rows) + "\n", encoding="utf-8")
    plan = Schedule("plan", (Segment(planned_c, 100.0),))
    try:
        said = " ".join(review(plan, read_log(path)).log.notes)
    except FiringError as error:
        said = str(error)
    assert told in said


def test_a_log_without_clock_times_is_dated_by_its_file_or_by_what_is_said(
    book: Logbook, shelf: Shelf, tmp_path: Path
) -> None:
    fired = logmaker.fire(steps_of("thin-ware-bisque"), step_s=60.0)
    paths = []
    for seed in (1, 2):
        made = logmaker.sample(fired, logmaker.Sampling(interval_s=300.0, seed=seed))
        style = logmaker.CsvStyle(time="seconds")
        paths.append(logmaker.write_csv(made, tmp_path / f"{seed}.csv", style))
    ended = datetime(2026, 3, 15, 12, 0).astimezone()
    os.utime(paths[0], (ended.timestamp(), ended.timestamp()))
    keep_logs(book, paths[:1], shelf)
    began = datetime(2026, 4, 1, 8, 0).astimezone()
    keep_logs(book, paths[1:], shelf, Entry("", b"", began_at=began.timestamp()))
    given, by_file = book.firings()
    assert (by_file.started_from, given.started_from) == ("file", "given")
    lasted_s = float(np.max(made.time_s))
    assert by_file.started == ended - timedelta(seconds=lasted_s)
    assert given.started == began


def test_the_cost_is_the_energy_at_the_price_of_its_hour(
    book: Logbook, shelf: Shelf, tmp_path: Path
) -> None:
    prices = tmp_path / "tariff.toml"
    prices.write_text(
        'currency = "EUR"\n[[period]]\nfrom = "12:00"\nto = "24:00"\nprice_per_kwh = 0.5\n'
        "[[period]]\nprice_per_kwh = 0.2\n", encoding="utf-8",
    )  # fmt: skip
    log = write_log(tmp_path / "log.csv", 0, interval_s=60.0)
    found = keep_logs(book, [log], shelf, tariff=open_tariff(prices))
    one = book.show(found[0].id or 0)
    # The log maker's own truth: what its elements gave, from 8:00 on, before noon and after.
    fired = logmaker.fire(steps_of("thin-ware-bisque"), step_s=60.0)
    kwh = fired.power_w[1:] * np.diff(fired.time_s) / 3.6e6
    early = fired.time_s[1:] <= 4 * 3600.0
    assert one.kwh == pytest.approx(kwh.sum(), rel=0.01)
    assert one.cost == pytest.approx(0.2 * kwh[early].sum() + 0.5 * kwh[~early].sum(), rel=0.01)
    assert one.currency == "EUR"


def test_worn_elements_take_less_once(tmp_path: Path) -> None:
    """At nine tenths of the power the same output is nine tenths of the energy."""
    log, kwh = write_log(tmp_path / "log.csv", 1), []
    for power in (1.0, 0.9):
        kiln = tmp_path / "kiln.toml"
        kiln.write_text(ready_text("example-kiln").replace("power = 1.0", f"power = {power}"))
        with Logbook.open(tmp_path / f"{power}.sqlite") as other:
            shelf = shelf_of(other, plans=["stoneware-glaze-1240"], kilns=[kiln])
            keep_logs(other, [log], shelf)
            kwh.append(other.show(1).kwh or 0.0)
    assert kwh[1] == pytest.approx(0.9 * kwh[0], rel=1e-6)


def test_the_energy_is_by_the_power_learnt_for_the_day(tmp_path: Path) -> None:
    """Logbook and fleet reckon one log alike: at 80 % of the power on its day, four fifths."""
    log = write_log(tmp_path / "log.csv", 3)  # of 14 March
    bare = ready_text("example-kiln").partition("[fitted]")[0]
    learnt = (
        '\n[fitted]\npower = 1.0\ndate = 2026-05-20\nbasis = "b"\n'
        "[[history]]\ndate = 2026-03-10\npower = 0.8\npower_se = 0.01\nload = 1.0\n"
        "[[history]]\ndate = 2026-05-20\npower = 1.0\npower_se = 0.01\nload = 1.0\n"
    )
    found: dict[str, list[float]] = {"logbook": [], "fleet": []}
    said = []
    for name, text in (("new", bare), ("learnt", bare + learnt)):
        kiln = tmp_path / f"{name}.toml"
        kiln.write_text(text, encoding="utf-8")
        book = ("--logbook", f"{name}.sqlite")
        call(tmp_path, "keep", str(log), "--plan", "stoneware-glaze-1240", "--kiln", kiln.name,
             *book)  # fmt: skip
        said.append(call(tmp_path, "logbook", "show", "1", *book).stdout)
        with Logbook.open(tmp_path / f"{name}.sqlite") as other:
            found["logbook"].append(other.show(1).kwh or 0.0)
        studio = Studio(
            plans={"glaze": open_schedule("stoneware-glaze-1240")},
            kilns={"kiln": open_kiln(str(kiln))},
        )
        row = review_bytes(log.read_bytes(), log.name, studio, "glaze", "kiln")
        assert row.energy_from == "output"
        found["fleet"].append(row.energy_kwh or 0.0)
    for whole, worn in found.values():
        assert worn == pytest.approx(0.8 * whole, rel=1e-6)
    assert found["fleet"] == pytest.approx(found["logbook"], rel=1e-6)
    # The example kiln has 9.6 kW.
    assert "by the logged output at 9.6 kW (the kiln file's power, elements new)" in " ".join(
        said[0].split()
    )
    assert "by the logged output at 7.7 kW (its learnt power)" in " ".join(said[1].split())


@pytest.mark.parametrize("by", ["the same log", "another log", "the command"])
def test_a_kiln_learnt_later_counts_for_the_firings_kept_before(tmp_path: Path, by: str) -> None:
    logs = [write_log(tmp_path / f"{n}.csv", n) for n in (1, 3)]
    bare = ready_text("example-kiln").partition("[fitted]")[0]
    kiln = tmp_path / "kiln.toml"
    kiln.write_text(bare, encoding="utf-8")
    place = tmp_path / "studio.sqlite"
    plans = ["stoneware-glaze-1240"]
    with Logbook.open(place) as book:
        keep_logs(book, logs[:1], shelf_of(book, plans=plans, kilns=[kiln]))
        before = book.show(1).kwh or 0.0
    kiln.write_text(
        f'{bare}\n[fitted]\npower = 0.8\ndate = 2026-01-31\nbasis = "b"\n', encoding="utf-8"
    )
    if by == "the command":
        added = call(
            tmp_path, "logbook", "add", "1", "--kiln", "kiln.toml", "--logbook", place.name
        )
        assert added.returncode == 0, added.stderr
    else:
        with Logbook.open(place) as book:
            shelf = shelf_of(book, plans=plans, kilns=[kiln])
            (found,) = keep_logs(book, logs[:1] if by == "the same log" else logs[1:], shelf)
            if by == "the same log":
                assert found.added == ("the kiln file Workshop kiln as it is now",)
                (again,) = keep_logs(book, logs[:1], shelf)
                assert again.added == ()
    with Logbook.open(place) as book:
        assert book.show(1).kwh == pytest.approx(0.8 * before, rel=1e-6)
        assert book.show(1).kwh == pytest.approx(derive(book.entry(1)).kwh_by_log, rel=1e-6)
        assert book.older_than(code_version()) == ()


def test_figures_by_other_walls_are_derived_again(book: Logbook, tmp_path: Path) -> None:
    logs, kiln = [write_log(tmp_path / f"{n}.csv", n) for n in (1, 3)], tmp_path / "kiln.toml"
    text = ready_text("example-kiln")
    for log, wall in zip(logs, ("75", "100"), strict=True):
        kiln.write_text(text.replace("thickness_mm = 75", f"thickness_mm = {wall}"))
        keep_logs(book, [log], shelf_of(book, plans=["stoneware-glaze-1240"], kilns=[kiln]))
    assert book.older_than(code_version()) == (1,)


def test_a_firing_of_no_plan_is_kept_without_one(book: Logbook, tmp_path: Path) -> None:
    log = write_log(tmp_path / "log.csv", 1)
    with_decal = shelf_of(book, plans=["decal", "thin-ware-bisque"], kilns=["example-kiln"])
    (found,) = keep_logs(book, [log], with_decal)
    assert (found.state, found.plan, found.sure) == ("kept", "", False)
    assert found.why.startswith("no plan fits")
    one = book.show(found.id or 0)
    assert (one.end, one.excess_s) == ("1241 °C", None)
    assert one.measure is not None  # its kiln wears by any firing, but it promises no peak
    assert one.measure["planned_rate_c_per_h"] is one.measure["planned_peak_c"] is None
    assert one.reached == "8"


def test_what_other_code_derived_is_derived_again(
    book: Logbook, shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep_logs(book, [write_log(tmp_path / "log.csv", 0)], shelf)
    assert book.older_than(code_version()) == ()
    monkeypatch.setattr(keeping, "code_version", lambda: "9.9/9")
    (number,) = book.older_than("9.9/9")
    before = book.show(number)
    assert derive_again(book, [number]) == 0
    assert book.show(number) == replace(before, code="9.9/9")


def test_a_log_that_can_not_be_read_any_more_keeps_what_was_known(
    book: Logbook, shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep_logs(book, [write_log(tmp_path / "log.csv", 0)], shelf)
    before = book.show(1)
    book._db.execute("UPDATE firing SET channel = 'gone'")
    assert derive_again(book, [1]) == 1
    after = book.show(1)
    assert 'no channel "gone"' in after.trouble
    assert replace(after, trouble="", measure=before.measure) == before
    assert after.measure is None


def a_log(
    path: Path, *, rows: int = 120, digits: int = 2, off_c: float = 0.0, day: int = 14
) -> Path:
    """A log of so many of 120 readings, five minutes apart: 120 °C an hour, then a cooling."""
    peak = 80
    read_c = [
        20.0 + 10.0 * n + 0.37 if n <= peak else 820.0 * 0.98 ** (n - peak) for n in range(rows)
    ]
    lines = [
        f"2026-03-{day} {8 + n // 12:02d}:{n % 12 * 5:02d},{one + off_c * (n % 3):.{digits}f}"
        for n, one in enumerate(read_c)
    ]
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(["Time,Kiln (°C)", *lines, ""]), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("other", "state"),
    [
        ({"digits": 0}, "known"),
        ({"rows": 70}, "known"),
        ({"rows": 100, "digits": 1}, "known"),
        ({"off_c": 1.5}, "kept"),  # another kiln that runs the same program beside it
        ({"day": 15}, "kept"),
    ],
)
@pytest.mark.parametrize("dry_run", [False, True])
def test_the_same_firing_is_known_by_its_readings(
    book: Logbook, shelf: Shelf, tmp_path: Path, other: dict[str, int], state: str, dry_run: bool
) -> None:
    logs = [a_log(tmp_path / "log.csv"), a_log(tmp_path / "rec.csv", **other)]
    _, found = keep_logs(book, logs, shelf, dry_run=dry_run)
    dry = {"kept": "would be kept"} if dry_run else {}
    assert found.state == dry.get(state, state)
    assert found.twin == (str(logs[0]) if state == "known" else "")
    assert book.count() == (0 if dry_run else 1 if state == "known" else 2)


def test_a_longer_log_of_the_same_firing_takes_the_shorter_ones_place(
    book: Logbook, shelf: Shelf, tmp_path: Path
) -> None:
    short, long = a_log(tmp_path / "rec.csv", rows=90, digits=0), a_log(tmp_path / "log.csv")
    keep_logs(book, [short], shelf, Entry("", b"", notes=("mine",)))
    (found,) = keep_logs(book, [long], shelf, Entry("", b"", kwh=50.0))
    assert (found.state, found.id, found.added) == ("grown", 1, ("50 kWh",))
    assert book.entry(1).body == long.read_bytes()
    assert (book.show(1).notes, book.show(1).kwh) == ("mine", 50.0)
    assert book.check().wrong == ()
    assert [one.state for one in keep_logs(book, [short], shelf)] == ["known"]


def test_minutes_of_one_firing_are_one_firing(book: Logbook, tmp_path: Path) -> None:
    """Two recordings of a log replayed, stopped after 28 and 15 readings, and another kiln's."""
    shelf = shelf_of(book, plans=["decal"])
    chance = np.random.default_rng(4)
    read_c = 18.0 + 0.3 * np.arange(28) + chance.normal(0.0, 0.4, 28)
    made = {
        "long": read_c, "short": read_c[:15],
        "beside": 18.0 + 0.3 * np.arange(28) + chance.normal(0.0, 0.4, 28),
        "idle": np.full(28, 18.0), "idle too": np.full(20, 18.0),
    }  # fmt: skip
    states = {}
    for name, values in made.items():
        lines = [f"2026-11-27T20:{n:02d}:00,{one:.2f}," for n, one in enumerate(values)]
        log = tmp_path / f"{name}.csv"
        text = "\n".join(["time,kiln (°C),status", *lines, ""])
        log.write_text(text if name != "idle too" else text + "\n", encoding="utf-8")
        (found,) = keep_logs(book, [log], shelf)
        states[name] = found.state, found.id
    assert states["short"] == ("known", states["long"][1])
    assert {states[name][0] for name in ("long", "beside", "idle", "idle too")} == {"kept"}


REST = Schedule(
    "Rest", (Segment(500.0, 120.0), Segment(820.0, 120.0)), purpose="bisque", start_c=400.0
)
WHOLE = Schedule("Whole", (Segment(820.0, 120.0),), purpose="bisque")


@pytest.mark.parametrize("grows", ["another log", "the same file"])
def test_a_grown_firing_is_of_one_plan_with_its_figures(
    book: Logbook, tmp_path: Path, grows: str
) -> None:
    """The rest was watched by a plan of its own; the whole log is kept by the whole's."""
    paths = {}
    for plan in (REST, WHOLE):
        paths[plan.title] = tmp_path / f"{plan.title}.toml"
        paths[plan.title].write_text(schedule_text(plan), encoding="utf-8")
    whole = a_log(tmp_path / "whole.csv")
    lines = whole.read_text(encoding="utf-8").splitlines(keepends=True)
    if grows == "another log":
        short = tmp_path / "rest.csv"  # from 400 °C on
        short.write_text(lines[0] + "".join(lines[39:]), encoding="utf-8")
    else:
        whole = tmp_path / "logs" / "rest.csv"
        short = tmp_path / "rest.csv"
        whole.parent.mkdir()
        whole.write_text("".join(lines), encoding="utf-8")
        short.write_text("".join(lines[:60]), encoding="utf-8")
    keep_logs(book, [short], shelf_of(book, plans=[paths["Rest"]]))
    (found,) = keep_logs(book, [whole], shelf_of(book, plans=[paths["Whole"]]))
    assert (found.state, found.id, found.plan, found.differs) == ("grown", 1, "Whole", ())
    assert found.sure
    assert found.added == ("the plan Whole instead of Rest",)
    one = book.show(1)
    # 800 °C at 120 °C/h are 6 h 40 min.
    assert (one.plan, one.planned_s) == ("Whole", pytest.approx(24_000.0))
    assert one.excess_s == pytest.approx(0.0, abs=600.0)
    again = derive(book.entry(1))
    assert (again.planned_s, again.duration_s) == (one.planned_s, one.duration_s)


def test_a_grown_firing_stays_with_the_plan_that_was_named(book: Logbook, tmp_path: Path) -> None:
    plan = tmp_path / "whole.toml"
    plan.write_text(schedule_text(WHOLE), encoding="utf-8")
    (tmp_path / "logs").mkdir()
    keep_logs(book, [a_log(tmp_path / "rec.csv", rows=60)], shelf_of(book, plans=[plan]))
    (found,) = keep_logs(book, [a_log(tmp_path / "logs" / "rec.csv")], shelf_of(book))
    assert (found.state, found.plan, found.why) == ("grown", "Whole", "you named it")
    assert book.show(1).planned_s == pytest.approx(24_000.0)
    assert derive(book.entry(1)).planned_s == book.show(1).planned_s


def test_what_is_said_of_a_kept_log_is_added_once(
    book: Logbook, shelf: Shelf, tmp_path: Path
) -> None:
    log = write_log(tmp_path / "log.csv", 1)
    keep_logs(book, [log], shelf_of(book, plans=["stoneware-glaze-1240"]))
    named = shelf_of(book, plans=["decal"], kilns=["example-kiln"])
    said = Entry("", b"", notes=("second note",), kwh=50.0, cost=4.2, currency="EUR", member="Ann")
    (found,) = keep_logs(book, [log], named, said)
    one = book.show(1)
    assert (one.notes, one.kwh, one.cost, one.member) == ("second note", 50.0, 4.2, "Ann")
    assert one.kiln == "Workshop kiln"
    assert "1240" in one.plan
    assert found.added == (
        "a note",
        "50 kWh",
        "a cost of 4.20 EUR",
        "for Ann",
        "the kiln Workshop kiln",
    )
    (differs,) = found.differs
    assert "'firing logbook add 1 --plan ...' changes that" in differs
    (again,) = keep_logs(book, [log], shelf, said)
    assert (again.added, again.differs, book.show(1).notes) == ((), (), "second note")


def test_prices_and_a_beginning_are_added_to_a_kept_firing(
    book: Logbook, shelf: Shelf, tmp_path: Path
) -> None:
    log, tariff = write_log(tmp_path / "log.csv", 1), open_tariff("example-tariff")
    keep_logs(book, [log], shelf_of(book, plans=["stoneware-glaze-1240"]))
    (bare,) = keep_logs(book, [log], shelf_of(book), tariff=tariff)
    assert "add its --kiln" in bare.differs[0]
    (found,) = keep_logs(book, [log], shelf, Entry("", b"", began_at=1.8e9), tariff=tariff)
    cost = book.show(1).cost
    assert cost
    assert found.added == ("the kiln Workshop kiln", f"a cost of {cost:.2f} EUR")
    assert "its own clock" in found.differs[0]
    (again,) = keep_logs(book, [log], shelf, tariff=tariff)
    assert (again.added, again.differs) == ((), ())
    assert book.entry(1).body == log.read_bytes()
    # A log without clock times is dated by its file until somebody says when it began.
    clockless = tmp_path / "other.csv"
    lines = log.read_text().splitlines()
    rows = [f"{n * 300},{line.split(',', 1)[1]}" for n, line in enumerate(lines[1:])]
    clockless.write_text("\n".join([f"seconds,{lines[0].split(',', 1)[1]}", *rows, ""]))
    (kept,) = keep_logs(book, [clockless], shelf)
    began_at = datetime(2026, 2, 7, 8, 30).timestamp()
    (dated,) = keep_logs(book, [clockless], shelf, Entry("", b"", began_at=began_at))
    assert dated.added == ("that it began 2026-02-07 08:30",)
    one = book.show(kept.id or 0)
    assert (one.started_at, one.started_from) == (began_at, "given")


def test_a_log_of_march_is_reviewed_with_the_power_of_march(book: Logbook, tmp_path: Path) -> None:
    """Elements lost a fifth of their power until March, and are new since May."""
    then = (
        '\n[fitted]\npower = 1.0\nloss = 1.1\ndate = 2026-05-20\nbasis = "b"\n'
        '[[fit]]\ndate = 2026-03-14\nbasis = "a"\npower = 0.8\nloss = 0.9\ncapacity = 1.0\n'
        "leak = 1.2\n"
    )
    for day, power in (("03-10", 0.82), ("03-14", 0.8), ("05-20", 1.0)):
        then += f"[[history]]\ndate = 2026-{day}\npower = {power}\npower_se = 0.01\nload = 1.0\n"
    path = tmp_path / "kiln.toml"
    text = ready_text("example-kiln").partition("[fitted]")[0]
    path.write_text(text + then, encoding="utf-8")
    log = write_log(tmp_path / "log.csv", 3)  # of 14 March
    keep_logs(book, [log], shelf_of(book, kilns=[path]))
    kiln = open_kiln(str(path))
    by_itself = review(open_schedule("stoneware-glaze-1240"), read_log(log), kiln=kiln)
    for found in (by_itself, keeping.review_of(book.entry(1))):
        assert found.kiln is not None
        fitted = found.kiln.fitted
        assert (fitted.power, fitted.loss, fitted.leak) == (0.8, 0.9, 1.2)
    assert "power is that of 2026-03-14, 80 %" in " ".join(
        render_text(review_report(by_itself), width=80).split()
    )
    march = date(2026, 3, 12)
    assert kiln.as_of(march).fitted.power == 0.82
    assert kiln.as_of(date(2026, 4, 30)).fitted.power == 0.8
    assert kiln.as_of(date(2026, 2, 1)).fitted.power == 0.82
    assert kiln.as_of(date(2026, 7, 1)) is kiln
    assert kiln.as_of(march).as_of(march) == kiln.as_of(march)


def test_the_plan_beside_a_log_wins_a_tie(book: Logbook, tmp_path: Path) -> None:
    text = ready_text("stoneware-glaze-1240")
    title = open_schedule("stoneware-glaze-1240").title
    (tmp_path / "mine").mkdir()
    log = write_log(tmp_path / "mine" / "log.csv", 1)
    (tmp_path / "mine" / "plan.toml").write_text(text.replace(title, "My glaze"), encoding="utf-8")
    (found,) = keep_logs(book, [log], shelf_of(book, beside=[log]))
    assert (found.plan, found.sure) == ("My glaze", True)
    assert "lies in the log's folder" in found.why
    elsewhere = write_log(tmp_path / "log.csv", 3)
    (found,) = keep_logs(book, [elsewhere], shelf_of(book, beside=[log, elsewhere]))
    assert not found.sure


def test_a_logbook_speaks_the_unit_of_its_plans(book: Logbook, tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    fahrenheit = replace(open_schedule("stoneware-glaze-1240"), unit="F")
    plan.write_text(schedule_text(fahrenheit), encoding="utf-8")
    assert book.unit() == "C"
    keep_logs(book, [write_log(tmp_path / "log.csv", 3)], shelf_of(book, plans=[plan]))
    assert book.unit() == "F"
    for command in ("list", "find stoneware", "trends"):
        words = call(tmp_path, "logbook", *command.split(), "--logbook", str(book.path)).stdout
        assert "°C" not in words, command
    # A review in the other unit is written in it as a whole.
    for unit, other in (("C", "F"), ("F", "C")):
        shown = render_text(review_report(keeping.review_of(book.entry(1), unit)), width=80)
        assert f" °{unit}" in shown
        assert not re.search(rf"\d °{other}", shown)
