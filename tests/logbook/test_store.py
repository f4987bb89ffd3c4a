"""The store: what goes in comes out, once, for its owner's eyes, whatever happens on the way."""

import json
import os
import sqlite3
import stat
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from logbook.made import FIRST_S, KILNS, body_of, entry_of, make_book, put, shown_of

from firing.cones.table import describe_number
from firing.errors import FiringError
from firing.logbook import store
from firing.logbook.record import Entry, Filter, Firing
from firing.logbook.rescue import restore
from firing.logbook.store import Logbook, network_share


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return Logbook.open(make_book(tmp_path / "studio.sqlite", 30, rows=20))


def numbers(firings: tuple[Firing, ...]) -> list[int]:
    return [int(one.log.removeprefix("log-").removesuffix(".csv")) for one in firings]


# -- once, and whole --------------------------------------------------------------------------


def test_what_is_kept_comes_back_as_it_was(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "new" / "studio.sqlite") as book:
        kept = put(book, 3)
        assert (kept.new, kept.grown) == (True, False)
        assert book.entry(kept.id) == entry_of(3)
        one = book.show(kept.id)
    assert (one.kiln, one.plan, one.member) == (KILNS[0], "Glaze, cone 6", "Ann")
    assert (one.kwh, one.cost, one.currency) == (53.0, 12.5, "EUR")
    assert one.notes.splitlines() == list(entry_of(3).notes)
    assert one.measure == shown_of(3).measure
    assert one.course_c == shown_of(3).course_c
    assert f"{one.started:%Y-%m-%d %H:%M}" == "2025-01-07 00:00"


def test_the_same_log_twice_is_one_firing(book: Logbook) -> None:
    again = put(book, 4, rows=20)
    assert not again.new
    renamed = Entry("another name.csv", body_of(4, 20))
    assert book.keep(renamed, shown_of(4)).id == again.id
    assert book.count() == 30


def test_a_log_that_has_grown_takes_the_shorter_ones_place_with_all_that_was_said(
    book: Logbook,
) -> None:
    old = book.find_file(body_of(4, 20))
    assert old is not None
    longer = Entry("log-4.csv", body_of(4, 20) + b"1200,600.00\n")
    kept = book.keep(longer, shown_of(4))
    assert (kept.id, kept.new, kept.grown) == (old, False, True)
    assert book.entry(old).body == longer.body
    assert "note number 4" in book.show(old).notes
    assert book.count() == 30


def test_nothing_of_a_failed_write_stays(book: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("in the middle")

    monkeypatch.setattr(Logbook, "_put_shown", fail)
    with pytest.raises(RuntimeError):
        put(book, 99)
    monkeypatch.undo()
    assert book.count() == 30
    assert book.check().wrong == ()
    assert put(book, 99).new


def test_an_event_twice_is_one(book: Logbook) -> None:
    for _ in range(2):
        book.add_event("blue KILN", "repair", "lid", at_s=5.0)
    assert [(e.kiln, e.kind) for e in book.events("Blue kiln")] == [
        ("Blue kiln", "repair"), ("Blue kiln", "new elements"),
    ]  # fmt: skip
    assert book.events("Old box") == ()


# -- found again ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("which", "meant"),
    [
        (Filter(), lambda n: True),
        (Filter(kiln="old BOX"), lambda n: n % 3 % 2 == 1),
        (Filter(purpose="glaze"), lambda n: n % 2 == 1),
        (Filter(cone="06"), lambda n: n % 2 == 0),
        (Filter(plan="bone"), lambda n: n % 2 == 0),
        (Filter(member="ann"), lambda n: n % 3 == 0),
        (Filter(late=True), lambda n: n % 5 == 0),
        # 2 days apart from 1 January 2025: the 16th falls on 2 February, the 29th on 28 February.
        (Filter(month="2025-02"), lambda n: 16 <= n <= 29),
        (Filter(month="feb"), lambda n: 16 <= n <= 29),
        (Filter(month="January 2025"), lambda n: n <= 15),
        (Filter(month="2024"), lambda n: False),
        (Filter(words="CELADON"), lambda n: n % 7 == 0),
        (Filter(words="that celadon glaze of february"),
         lambda n: n % 7 == 0 and n % 2 == 1 and n >= 16),
        (Filter(words="teno"), lambda n: False),
        (Filter(words="tenm"), lambda n: n % 7 != 0),
        (Filter(words='"; DROP TABLE firing; -- * NEAR('), lambda n: False),
        (Filter(words="celadon porcelain", any_word=True), lambda n: n % 7 == 0),
        (Filter(since_s=FIRST_S + 86_400.0 * 50), lambda n: n >= 25),
    ],
)  # fmt: skip
def test_a_filter_finds_what_is_meant(
    book: Logbook, which: Filter, meant: Callable[[int], bool]
) -> None:
    expected = [number for number in range(30) if meant(number)]
    assert numbers(book.firings(which))[::-1] == expected
    assert book.count(which) == len(expected)


def test_the_newest_come_first_and_no_more_than_asked(book: Logbook) -> None:
    assert numbers(book.firings(limit=2)) == [29, 28]
    assert numbers(book.firings(limit=2, newest_first=False)) == [0, 1]


def test_a_firing_is_late_in_a_list_as_by_itself(book: Logbook) -> None:
    late = {one.id for one in book.firings(Filter(late=True))}
    assert late == {one.id for one in book.firings() if one.late}


@pytest.mark.parametrize(
    ("number", "listed"),
    [(-4.566, "06–05.5"), (-5.0, "06"), (5.97, "6"), (6.371, "6.4"), (None, "")],
)
def test_a_list_names_the_cone_as_a_review_does(number: float | None, listed: str) -> None:
    reached = "" if number is None else describe_number(number)
    assert Firing(0.0, reached_number=number).cone_reached == listed
    assert reached in (listed, f"{listed}, nearer 05.5")


def test_a_note_added_later_is_found(book: Logbook) -> None:
    book.add_to(7, Entry("", b"", notes=("ash glaze, Überlauf",)))
    assert [one.id for one in book.firings(Filter(words="uberlauf"))] == [7]


# -- whose, where, and which version ----------------------------------------------------------


@pytest.mark.skipif(os.name != "posix", reason="rights of POSIX")
def test_only_its_owner_reads_it(book: Logbook) -> None:
    book.backup()
    put(book, 99)  # so that there is a journal
    for path in book.path.parent.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path
    book.path.chmod(0o644)
    Logbook.open(book.path).close()
    assert stat.S_IMODE(book.path.stat().st_mode) == 0o600


MOUNTS = """\
/dev/vda / ext4 rw 0 0
server:/home /home nfs4 rw 0 0
//nas/pots /mnt/my\\040nas cifs rw 0 0
tmpfs /home/ann/local tmpfs rw 0 0
user@far:/ /mnt/far fuse.sshfs rw 0 0
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/var/lib/logbook.sqlite", ""),
        ("/home/ann/logbook.sqlite", "nfs4"),
        ("/mnt/my nas/logbook.sqlite", "cifs"),
        ("/mnt/far/book.sqlite", "fuse.sshfs"),
        ("/home/ann/local/book.sqlite", ""),
        ("/homes/book.sqlite", ""),
    ],
)
def test_a_network_share_is_known_by_its_mount(path: str, kind: str) -> None:
    assert network_share(Path(path), MOUNTS) == kind


def test_a_logbook_on_a_network_share_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FiringError, match=r"network share \(nfs\).*own disk"):
        Logbook.open(tmp_path / "b.sqlite", mounts=f"server:/x {tmp_path} nfs rw 0 0")
    assert not list(tmp_path.iterdir())


def test_a_newer_logbook_is_refused_and_not_changed(book: Logbook) -> None:
    book._db.execute("PRAGMA user_version = 99")
    book.close()
    before = book.path.read_bytes()
    with pytest.raises(FiringError, match="newer firing"):
        Logbook.open(book.path)
    assert book.path.read_bytes() == before


def test_an_older_logbook_is_copied_before_it_is_brought_up_to_date(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.close()
    step = "ALTER TABLE kiln ADD COLUMN place TEXT NOT NULL DEFAULT ''"
    monkeypatch.setattr(store, "_STEPS", (*store._STEPS, step))
    with Logbook.open(book.path) as newer:
        assert newer._db.execute("SELECT place FROM kiln").fetchall()
        assert newer.count() == 30
    (copy,) = store.backups_of(book.path)
    monkeypatch.undo()
    with Logbook.open(copy) as older:
        assert older.count() == 30
    with pytest.raises(FiringError, match="newer firing"):
        Logbook.open(book.path)


def test_a_migration_that_fails_leaves_the_logbook_as_it_was(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.close()
    steps = "ALTER TABLE kiln ADD COLUMN place TEXT;\nALTER TABLE nothing ADD COLUMN x TEXT"
    monkeypatch.setattr(store, "_STEPS", (*store._STEPS, steps))
    with pytest.raises(FiringError):
        Logbook.open(book.path)
    monkeypatch.undo()
    with Logbook.open(book.path) as again:
        assert again.check().wrong == ()


@pytest.mark.parametrize("content", [b"time,kiln\n0,20\n", b"SQLite format 3\x00 and no more"])
def test_another_file_is_no_logbook_and_not_changed(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    with pytest.raises(FiringError):
        Logbook.open(path)
    assert path.read_bytes() == content


def test_a_database_of_another_program_is_no_logbook(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE mine (a)")
    path.chmod(0o644)
    with pytest.raises(FiringError, match="is a database, and no logbook"):
        Logbook.open(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o644


@pytest.mark.skipif(os.name != "posix", reason="rights and pipes of POSIX")
def test_a_plan_or_a_pipe_is_no_logbook_and_nothing_brings_one_to_its_place(
    book: Logbook, tmp_path: Path
) -> None:
    plan, pipe, copy = tmp_path / "plan.toml", tmp_path / "pipe", book.backup()
    plan.write_text('title = "Plan"\n')
    plan.chmod(0o644)
    os.mkfifo(pipe, 0o644)
    for path, said in ((plan, "is a text file"), (pipe, "is a device or a pipe")):
        refused = pytest.raises(FiringError, match=f"{said}, and no logbook")
        with refused:
            Logbook.open(path)
        with refused:
            restore(path, lambda *_: None, copy)
        with refused:
            restore(book.path, lambda *_: None, path)
        assert stat.S_IMODE(path.stat().st_mode) == 0o644
    assert plan.read_text() == 'title = "Plan"\n'


def test_reading_makes_no_file(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "none.sqlite", create=False) as book:
        assert book.firings() == ()
    assert not list(tmp_path.iterdir())


# -- beside others, and copies ----------------------------------------------------------------


@pytest.mark.parametrize("word", ["application_id", "user_version", "sqlite_schema"])
def test_a_file_that_another_makes_a_logbook_while_it_is_opened_is_one(
    word: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, connected, asked = tmp_path / "studio.sqlite", store._connected, []

    def slowly(place: Path, create: bool) -> sqlite3.Connection:
        connection = connected(place, create)

        def before(statement: str) -> None:
            if word in statement and not asked:
                asked.append(statement)
                Logbook.open(place).close()

        if not asked:
            connection.set_trace_callback(before)
        return connection

    monkeypatch.setattr(store, "_connected", slowly)
    Logbook.open(path).close()
    assert asked


def test_two_writers_and_a_reader_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "studio.sqlite"
    failures: list[Exception] = []

    def write(first: int) -> None:
        try:
            with Logbook.open(path) as own:
                for number in range(first, first + 15):
                    put(own, number, rows=20)
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=write, args=(first,)) for first in (0, 100)]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        with Logbook.open(path) as reader:
            reader.count()
    assert failures == []
    with Logbook.open(path) as book:
        assert book.count() == 30
        assert book.check().wrong == ()


def test_a_logbook_that_stays_locked_is_a_sentence(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "BUSY_MS", 50)
    with Logbook.open(book.path) as other:
        book._db.execute("BEGIN IMMEDIATE")
        with pytest.raises(FiringError, match="another program has been writing"):
            put(other, 99)
        assert other.count() == 30  # a reader waits for nobody
        book._db.execute("ROLLBACK")


def test_copies_after_a_change_are_three_at_most(book: Logbook) -> None:
    for number in range(40, 46):
        put(book, number, rows=20)
        copy = book.back_up_when_due()
        assert copy is not None
        with Logbook.open(copy) as one:
            assert one.count() == book.count()
    assert len(store.backups_of(book.path)) == store.COPIES_KEPT
    own = book.backup()
    for number in range(50, 55):
        put(book, number, rows=20)
        book.back_up_when_due()
    assert own.exists()  # one that was asked for stays


def test_the_check_reads_every_log(book: Logbook) -> None:
    book._db.execute("UPDATE file SET body = (SELECT body FROM file WHERE id = 2) WHERE id = 1")
    (wrong,) = book.check().wrong
    assert "log-0.csv" in wrong
    with pytest.raises(FiringError, match="firing logbook restore"):
        book.entry(1)


WRITER = """
import sys
sys.path[:0] = {paths!r}
from pathlib import Path
from logbook.made import put
from firing.logbook.store import Logbook
with Logbook.open(Path({path!r})) as book:
    for number in range({first}, {first} + 400):
        print(put(book, number, rows=400).id, number, flush=True)
"""


def killed_writes(path: Path, times: int) -> list[int]:
    """Let a process keep firings until it is killed, again and again; return what it acknowledged.

    It is killed after another number of acknowledgements each time, and in between of them.
    """
    acknowledged: list[int] = []
    for kill in range(times):
        code = WRITER.format(paths=[*sys.path], path=str(path), first=1000 * kill)
        with subprocess.Popen(
            [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True
        ) as writer:
            assert writer.stdout is not None
            for _ in range(1 + kill % 7):
                acknowledged.append(int(writer.stdout.readline().split()[1]))
            writer.kill()  # SIGKILL
            rest = writer.stdout.read().splitlines(keepends=True)
            acknowledged += [int(row.split()[1]) for row in rest if row.endswith("\n")]
    return acknowledged


@pytest.mark.parametrize("times", [3, pytest.param(100, marks=pytest.mark.soak)])
def test_kill_9_in_mid_import_loses_nothing_acknowledged(tmp_path: Path, times: int) -> None:
    path = tmp_path / "studio.sqlite"
    acknowledged = killed_writes(path, times)
    assert len(acknowledged) >= times
    with Logbook.open(path) as book:
        assert book.check().wrong == ()
        there = set(numbers(book.firings()))
        assert set(acknowledged) <= there
        assert json.dumps(book.check().to_dict())
