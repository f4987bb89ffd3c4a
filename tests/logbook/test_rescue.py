"""A damaged logbook: always a sentence, never a traceback, and never a lost firing."""

import random
import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

import pytest
from commandline import call
from logbook.made import body_of, entry_of, make_book, put, shown_of

from firing.errors import FiringError
from firing.logbook.record import Entry, Filter, Shown
from firing.logbook.rescue import Rescue, restore
from firing.logbook.store import Logbook, backups_of
from firing.report.logbook import rescue_report
from firing.report.text import render_text

COUNT = 12
ROWS = 120


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The bytes of a sound logbook of twelve firings, in one file."""
    folder = tmp_path_factory.mktemp("sound")
    with Logbook.open(make_book(folder / "studio.sqlite", COUNT, ROWS)) as book:
        return book.backup().read_bytes()


def derive(entry: Entry) -> Shown:
    return shown_of(int(entry.log_name.removeprefix("log-").removesuffix(".csv") or 0))


def damaged(content: bytes, seed: int) -> bytes:
    """Cut a file short, or change bytes, zero a stretch or swap pages anywhere in it."""
    chance = random.Random(seed)
    data = bytearray(content)
    kind = seed % 5
    if kind == 0:
        return bytes(data[: chance.randrange(len(data))])
    if kind == 1:
        for _ in range(chance.randrange(1, 4)):
            data[chance.randrange(len(data))] = chance.randrange(256)
    elif kind == 2:
        at, size = chance.randrange(len(data)), chance.randrange(1, 40_000)
        data[at : at + size] = bytes(len(data[at : at + size]))
    elif kind == 3:  # where everything begins: the header and the tables' list
        for _ in range(chance.randrange(1, 60)):
            data[chance.randrange(4096)] = chance.randrange(256)
    else:
        pages = len(data) // 4096
        one, two = chance.randrange(pages), chance.randrange(pages)
        first = data[4096 * one : 4096 * one + 4096]
        data[4096 * one : 4096 * one + 4096] = data[4096 * two : 4096 * two + 4096]
        data[4096 * two : 4096 * two + 4096] = first
    return bytes(data)


def use(path: Path) -> None:
    """Ask all of a logbook; a refusal is an answer, and nothing else may be one."""
    try:
        with Logbook.open(path) as book:
            for asked in (
                book.firings,
                lambda: book.firings(Filter(words="celadon", late=True)),
                book.count,
                book.events,
                book.kilns,
                book.plans,
                lambda: [book.entry(number) for number in range(1, COUNT + 1)],
                book.check,
                lambda: put(book, 99, ROWS),
            ):
                with suppress(FiringError):
                    asked()
    except FiringError:
        pass


def logs_in(path: Path) -> set[str]:
    with Logbook.open(path) as book:
        assert book.check().wrong == ()
        for one in book.firings():
            number = int(one.log.removeprefix("log-").removesuffix(".csv"))
            assert book.entry(one.id).body == body_of(number, ROWS)
        return {one.log for one in book.firings()}


def restored(path: Path) -> Rescue | None:
    """Restore a logbook; None where nothing uses the bytes that are damaged."""
    try:
        return restore(path, derive)
    except FiringError as error:
        if "not damaged" not in str(error):
            raise
        return None


ALL = {f"log-{number}.csv" for number in range(COUNT)}
CASES = [
    *range(5),
    76,
    *(pytest.param(seed, marks=pytest.mark.soak) for seed in range(5, 100) if seed != 76),
]


@pytest.mark.parametrize("seed", CASES)
def test_damage_is_a_sentence_and_with_its_backup_nothing_is_lost(
    seed: int, sound: bytes, tmp_path: Path
) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(sound)
    with Logbook.open(path) as book:
        book.back_up_when_due()
    path.write_bytes(damaged(sound, seed))
    use(path)
    broken = path.read_bytes()
    found = restored(path)
    if found is None:
        assert logs_in(path) >= ALL
        return
    assert found.from_backup == COUNT
    assert logs_in(path) >= ALL
    assert found.damaged is not None
    assert found.damaged.read_bytes() == broken


@pytest.mark.parametrize("seed", [CASES[1], CASES[3], *CASES[6:]])
def test_without_a_backup_whatever_can_be_read_is_saved(
    seed: int, sound: bytes, tmp_path: Path
) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(damaged(sound, seed))
    found = restored(path)
    if found is None:
        assert logs_in(path) == ALL
        return
    assert found.from_backup == 0
    saved = logs_in(path)
    assert len(saved) == found.firings
    if seed % 5 == 1:  # a byte in eight at most of the pages
        assert saved


def test_a_lost_first_page_loses_nothing(sound: bytes, tmp_path: Path) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(b"\xff" * 4096 + sound[4096:])
    with pytest.raises(FiringError, match="firing logbook restore"):
        Logbook.open(path)
    found = restore(path, derive)
    assert (found.firings, found.bare, found.unreadable) == (COUNT, 0, 0)
    with Logbook.open(path) as book:
        for one in book.firings():
            number = int(one.log.removeprefix("log-").removesuffix(".csv"))
            assert book.entry(one.id) == entry_of(number, ROWS)
        assert len(book.events()) == 1


def test_one_bad_log_costs_one_log(sound: bytes, tmp_path: Path) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(sound)
    with Logbook.open(path) as book:
        book._db.execute("UPDATE file SET body = x'00' WHERE id = 5")
    found = restore(path, derive)
    assert (found.firings, found.unreadable) == (COUNT - 1, 1)
    assert logs_in(path) == ALL - {"log-4.csv"}


def test_events_that_can_not_be_read_are_said_to_be_lost(sound: bytes, tmp_path: Path) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(sound)
    with closing(sqlite3.connect(path)) as db:
        (root,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'event'").fetchone()
    data = bytearray(sound)
    data[4096 * (root - 1) : 4096 * root] = b"\xff" * 4096
    path.write_bytes(data)
    found = restore(path, derive)
    assert (found.firings, found.lost, found.incomplete) == (COUNT, ("events",), True)
    assert "Not all events could be read" in render_text(rescue_report(found), width=200)


def test_a_damaged_backup_is_passed_over_for_an_older_one(sound: bytes, tmp_path: Path) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(sound)
    with Logbook.open(path) as book:
        older = book.backup()
        newer = book.backup()
    newer.write_bytes(newer.read_bytes()[:20_000])
    path.unlink()
    for side in ("-wal", "-shm"):
        Path(f"{path}{side}").unlink(missing_ok=True)
    found = restore(path, derive)
    assert (found.backup, found.firings, found.damaged) == (older, COUNT, None)
    assert backups_of(path) == [older, newer]
    with pytest.raises(FiringError, match="is damaged, too"):
        restore(path, derive, newer)
    shutil.rmtree(tmp_path)
    tmp_path.mkdir()
    with pytest.raises(FiringError, match="no logbook and no backup"):
        restore(path, derive)


def test_a_file_of_which_nothing_is_left_is_said_to_be_one(sound: bytes, tmp_path: Path) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(sound[:9000])
    listed = call(tmp_path, "logbook", "list", "--logbook", path.name)
    assert listed.returncode == 2
    assert "run 'firing logbook restore'" in listed.stderr
    done = call(tmp_path, "logbook", "restore", "--logbook", path.name)
    assert done.returncode == 1
    assert "keep newer logs again" in " ".join(done.stdout.split())


def test_every_change_is_in_a_copy_and_what_the_damaged_file_shows_wins(
    sound: bytes, tmp_path: Path
) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(sound)
    place = ("--logbook", path.name)
    call(tmp_path, "logbook", "add", "6", "--note", "first words", *place)
    older = backups_of(path)[-1]
    content = older.read_bytes()
    call(tmp_path, "logbook", "add", "6", "--note", "later words", "--kwh", "77", *place)
    call(tmp_path, "logbook", "event", "Blue kiln", "--remove", "1", *place)
    call(tmp_path, "logbook", "remove", "12", "--yes", *place)
    with Logbook.open(backups_of(path)[-1]) as newest:
        assert (newest.count(), newest.events()) == (COUNT - 1, ())
        assert newest.show(6).notes.splitlines()[-2:] == ["first words", "later words"]
    refused = call(tmp_path, "logbook", "restore", *place)
    assert (refused.returncode, "is not damaged; nothing done" in refused.stderr) == (2, True)
    for copy in backups_of(path):
        copy.unlink()
    older.write_bytes(content)
    with Logbook.open(path) as book:
        book._db.execute("UPDATE file SET body = x'00' WHERE id = 5")
    done = call(tmp_path, "logbook", "restore", *place)
    assert f"backup {older.name}, made 20" in " ".join(done.stdout.split())
    assert "may be lost" in " ".join(done.stdout.split())
    with Logbook.open(path) as book:
        one = book.show(6)
        assert one.notes.splitlines()[-2:] == ["first words", "later words"]
        assert one.kwh == 77.0


def test_a_copy_of_each_of_some_earlier_days_stays(sound: bytes, tmp_path: Path) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(sound)
    days = [f"202501{day:02d}T12000{n}000" for day in range(1, 7) for n in (0, 1)]
    for stamp in days:
        path.with_name(f"studio-backup-{stamp}-auto.sqlite").write_bytes(sound)
    with Logbook.open(path) as book:
        copy = book.back_up_when_due()
    left = [one.name[14:29] for one in backups_of(path) if one != copy]
    assert left == ["20250103T120001", "20250104T120001", "20250105T120001",
                    "20250106T120000", "20250106T120001"]  # fmt: skip


def test_a_check_says_in_a_sentence_that_the_file_is_damaged(sound: bytes, tmp_path: Path) -> None:
    path = tmp_path / "studio.sqlite"
    content = bytearray(sound)
    content[5 * 4096 : -4096] = bytes(len(sound) - 6 * 4096)
    path.write_bytes(content)
    done = call(tmp_path, "logbook", "check", "--logbook", path.name)
    words = " ".join((done.stdout + done.stderr).split())
    assert done.returncode in (1, 2)
    assert "logbook restore" in words
    assert "0 firings" not in words
    assert words.count("Tree") <= 1
    assert "***" not in words


def test_a_damaged_logbook_drives_no_copy_out(sound: bytes, tmp_path: Path) -> None:
    path = tmp_path / "studio.sqlite"
    path.write_bytes(sound)
    with Logbook.open(path) as book:
        copies = [book.back_up_when_due() for _ in range(3)]
        (page,) = book._db.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'file'"
        ).fetchone()
    with path.open("r+b") as file:
        file.seek(4096 * (page - 1))
        file.write(b"\x07" * 4096)
    noted = call(tmp_path, "logbook", "event", "Blue kiln", "relay", "--logbook", path.name)
    assert "the change is in the logbook, but has no copy" in noted.stderr
    assert "run 'firing logbook restore'" in noted.stderr
    assert backups_of(path) == copies
    restore(path, derive)
    with Logbook.open(path) as book:
        assert [event.kind for event in book.events()] == ["new elements", "relay"]
