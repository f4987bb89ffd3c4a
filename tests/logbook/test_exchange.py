"""To a folder of plain files and back: what comes back is equal, and nothing else comes in."""

import csv
import os
from pathlib import Path

import pytest
from commandline import call
from logbook.studio import make_folder, write_log

from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.logbook.exchange import export, import_
from firing.logbook.keeping import amend, derive, keep_logs, shelf_of
from firing.logbook.record import Entry, Photo
from firing.logbook.store import Logbook


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Logbook:
    place = tmp_path_factory.mktemp("exchange")
    folder = make_folder(place / "logs", 3)
    kept = Logbook.open(place / "studio.sqlite")
    said = Entry(
        "",
        b"",
        notes=('two\nlines, "quoted" \x7f = ü',),
        kwh=61.25,
        cost=1 / 3,
        currency="EUR",
        member="Åsa, Bo",
        load="my load.toml",
        load_text=ready_text("example-load-glazed-cups"),
        photos=(Photo("/somewhere/é.jpg", "0" * 64),),
    )
    found = keep_logs(kept, sorted(folder.glob("*.csv")), shelf_of(kept, beside=[folder]), said)
    assert [one.state for one in found] == ["kept"] * 3, found
    amend(kept, 2, Entry("", b"", witnesses=("8=5:00@top",)))
    kept.keep(Entry("strange name?.csv", b"\xff\x00no log", kiln="Old one"), derive(
        Entry("strange name?.csv", b"\xff\x00no log")))  # fmt: skip
    kept.add_event("Workshop kiln", "new elements", "=six", at_s=1.7e9, utc_offset_s=3600)
    return kept


def test_what_comes_back_is_equal(book: Logbook, tmp_path: Path) -> None:
    assert export(book, tmp_path / "out") == 4
    with Logbook.open(tmp_path / "new.sqlite") as new:
        found = import_(new, tmp_path / "out")
        assert [one.state for one in found] == ["kept"] * 4
        assert new.firings() == book.firings()
        assert new.events() == book.events()
        assert (new.kilns(), new.plans()) == (book.kilns(), book.plans())
        for one in book.firings():
            assert new.entry(one.id) == book.entry(one.id)
        again = import_(new, tmp_path / "out")
        assert [one.state for one in again] == ["known"] * 4
        assert new.events() == book.events()
        export(new, tmp_path / "again")
    files = sorted(p.relative_to(tmp_path / "out") for p in (tmp_path / "out").rglob("*.*"))
    assert len(files) >= 4 + 3 + 2
    for name in files:
        assert (tmp_path / "out" / name).read_bytes() == (tmp_path / "again" / name).read_bytes()


def test_the_logs_are_byte_for_byte_and_the_table_opens_in_a_spreadsheet(
    book: Logbook, tmp_path: Path
) -> None:
    export(book, tmp_path / "out")
    original = write_log(tmp_path / "log.csv", 0)
    assert (tmp_path / "out" / "logs" / "00001-log-00.csv").read_bytes() == original.read_bytes()
    with (tmp_path / "out" / "firings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["log"] for row in rows} >= {"log-00.csv", "log-01.csv", "log-02.csv"}
    with (tmp_path / "out" / "events.csv").open(encoding="utf-8", newline="") as file:
        assert [row["words"] for row in csv.DictReader(file)] == ["'=six"]  # no formula


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("format = 1", "format = 2", "this version reads 1"),
        ("format = 1", "format = = 1", "logbook.toml:1: is not TOML here"),
        ("format = 1", f"format = 1\nx = {'[' * 9999}", "nested too deeply"),
        ("at_s = ", "at_s = 9e9999 # ", "inf is outside"),
        ("utc_offset_s = ", "utc_offset_s = 90000 # ", "less than a day"),
        ("part = 1", "part = inf", "inf is outside"),
        ("part = 1", "part = 1\nreading = {unit = 5}", "write one of C, F, K"),
        ("part = 1", "part = 1\nreading = {unitt = 5}", "is damaged"),
        ('log = "logs/00001', 'log = "pipe" # ', "is a pipe that nothing writes to"),
        ('log = "logs/00001', 'log = "../../00001', "outside the folder"),
        ('log = "logs/00001', 'log = "logs/9', "can't be read"),
        ("sha256 = ", "sha512 = ", "are not those that were kept"),
        ("part = 1", 'part = "one"', "is faulty"),
        ('kind = "new elements"', 'kind = "new bricks"', "a kind of"),
    ],
)
def test_a_faulty_folder_is_a_sentence(
    book: Logbook, tmp_path: Path, old: str, new: str, told: str
) -> None:
    export(book, tmp_path / "out")
    os.mkfifo(tmp_path / "out" / "pipe")
    index = tmp_path / "out" / "logbook.toml"
    text = index.read_text(encoding="utf-8")
    assert old in text
    index.write_text(text.replace(old, new), encoding="utf-8")
    with Logbook.open(tmp_path / "new.sqlite") as other:
        try:
            words = " ".join(one.why for one in import_(other, tmp_path / "out"))
        except FiringError as error:
            words = str(error)
    assert told in words


def test_a_folder_is_never_written_over(book: Logbook, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    done = call(tmp_path, "logbook", "export", "out", "--logbook", str(book.path))
    assert done.returncode == 2
    assert "is there already" in done.stderr
    done = call(tmp_path, "logbook", "import", "out", "--logbook", "new.sqlite")
    assert "holds no logbook.toml" in done.stderr
