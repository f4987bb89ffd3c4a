"""A run that is cut off, anywhere, goes on without a row lost or doubled."""

import errno
import os
import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from fleet.school import write_log, write_studio

from firing.errors import FiringError
from firing.fleet import run as running
from firing.fleet import table as tables
from firing.fleet.inputs import read_folder
from firing.fleet.jobs import FolderLogs, Job
from firing.fleet.review_log import Studio
from firing.fleet.row import COLUMNS, Row
from firing.fleet.run import Run, review_all
from firing.fleet.table import FleetTable
from firing.fleet.worker import Worker

PLAIN = "time_s,Kiln (°C)\n" + "".join(f"{60 * n},{20 + n}\n" for n in range(5))


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    folder = tmp_path_factory.mktemp("studio")
    write_studio(folder)
    return Studio(*read_folder("schedule", str(folder / "plans"))[:1])


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    """Return a folder of twelve small logs, no two alike."""
    folder = tmp_path / "logs"
    folder.mkdir()
    for number in range(12):
        (folder / f"{number:02d} bisque.csv").write_text(
            f"{PLAIN}{400 + number},25\n", encoding="utf-8"
        )
    return folder


def run(logs: Path, out: Path, studio: Studio, **options: Any) -> Run:
    return review_all(
        FolderLogs(str(logs)), FleetTable(str(out)), studio, **{"workers": 1, **options}
    )


def rows(out: Path) -> list[dict[str, Any]]:
    found = FleetTable(str(out)).read(COLUMNS).to_pylist()
    assert len({row["log"] for row in found}) == len(found)
    return sorted(found, key=lambda row: str(row["log"]))


class _Ending:
    """Ends the process that unpickles it."""

    def __init__(self, code: int) -> None:
        self._code = code

    def __reduce__(self) -> tuple[Any, ...]:
        return os._exit, (self._code,)


class _Stalling:
    """Keeps the process that unpickles it."""

    def __reduce__(self) -> tuple[Any, ...]:
        import time

        return time.sleep, (60.0,)


@pytest.mark.parametrize(
    ("poison", "sentence"),
    [(_Ending(9), "ended the process"), (_Stalling(), "took longer than 2 s")],
)
def test_a_log_that_takes_a_worker_down_is_a_row(
    studio: Studio, poison: Any, sentence: str
) -> None:
    worker = Worker(longest_s=2.0)
    try:
        fatal = worker.review(Job("bad.csv", 1, "", data=poison), studio)
        worker._longest_s = 300.0
        after = worker.review(Job("good.csv", 1, "", data=PLAIN.encode()), studio)
    finally:
        worker.leave()
    assert isinstance(fatal, Row)
    assert fatal.status == "failed"
    assert fatal.sentence is not None
    assert sentence in fatal.sentence
    assert isinstance(after, Row)
    assert after.status != "failed"


def test_a_second_run_reviews_what_is_new_and_nothing_else(
    logs: Path, tmp_path: Path, studio: Studio
) -> None:
    out = tmp_path / "out"
    assert run(logs, out, studio) == Run(12, 12, 0)
    before = rows(out)
    assert run(logs, out, studio) == Run(12, 0, 0)
    os.utime(logs / "00 bisque.csv", (1.0, 1.0))  # its bytes are as before
    assert run(logs, out, studio).reviewed == 0
    (logs / "01 bisque.csv").write_text(PLAIN, encoding="utf-8")
    (logs / "new bisque.csv").write_text(f"{PLAIN}900,26\n", encoding="utf-8")
    assert run(logs, out, studio).reviewed == 2
    after = rows(out)
    assert len(after) == 13
    assert after[2:12] == before[2:]
    changed = Studio({**studio.plans, "bisque": studio.plans["glaze"]})
    assert run(logs, out, changed).reviewed == 13
    assert len(rows(out)) == 13


def test_logs_that_moved_take_their_rows_along(logs: Path, tmp_path: Path, studio: Studio) -> None:
    out = tmp_path / "out"
    run(logs, out, studio)
    before = rows(out)
    (logs / "attic").mkdir()
    (logs / "03 bisque.csv").rename(logs / "attic" / "03 bisque.csv")
    assert run(logs, out, studio) == Run(12, 0, 1)
    after = rows(out)
    assert [Path(row["log"]).name for row in before] == sorted(
        Path(row["log"]).name for row in after
    )
    shutil.copy(logs / "04 bisque.csv", logs / "attic" / "copy of 04 bisque.csv")
    assert run(logs, out, studio) == Run(13, 0, 0)
    assert run(logs, out, studio) == Run(13, 0, 0)
    assert len(rows(out)) == 13


@pytest.fixture
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "FLUSH_ROWS", 2)


@pytest.mark.usefixtures("small_parts")
@pytest.mark.parametrize("after", [1, 5, 11])
def test_a_run_that_is_broken_off_goes_on(
    logs: Path, tmp_path: Path, studio: Studio, after: int
) -> None:
    whole, broken = tmp_path / "whole", tmp_path / "broken"
    run(logs, whole, studio)

    def stop(progress: Any) -> None:
        if progress.done == after:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(logs, broken, studio, progress=stop)
    assert run(logs, broken, studio, workers=2).reviewed == 12 - after
    assert rows(broken) == rows(whole)


@pytest.mark.usefixtures("small_parts")
def test_a_worker_killed_in_the_middle_changes_no_row(
    logs: Path, tmp_path: Path, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[Any] = []
    begin = Worker._begin

    def begin_and_tell(worker: Worker) -> Any:
        begun.append(begin(worker))
        return begun[-1]

    monkeypatch.setattr(Worker, "_begin", begin_and_tell)

    def kill(progress: Any) -> None:
        if progress.done == 4:
            begun[0].kill()

    one, two = tmp_path / "one", tmp_path / "two"
    run(logs, one, studio)
    begun.clear()
    run(logs, two, studio, workers=2, progress=kill)
    assert len(begun) == 3
    assert rows(two) == rows(one)


@pytest.mark.usefixtures("small_parts")
def test_a_full_disk_keeps_what_was_written(
    logs: Path, tmp_path: Path, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    replace = tables._replace
    written: list[str] = []

    def full(path: str, data: Any) -> None:
        if len(written) == 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        written.append(path)
        replace(path, data)

    out = tmp_path / "out"
    with monkeypatch.context() as patched:
        patched.setattr(tables, "_replace", full)
        with pytest.raises(FiringError, match=r"No space left.*run again"):
            run(logs, out, studio)
    assert len(rows(out)) == 4
    assert run(logs, out, studio).reviewed == 8
    assert len(rows(out)) == 12


@pytest.mark.parametrize("place", ["folder", "memory"])
def test_settling_cut_off_at_any_step_loses_and_doubles_nothing(
    tmp_path: Path, place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each step that changes the storage is the last in turn; the next opening goes on."""
    monkeypatch.setattr(tables, "PART_ROWS", 4)

    def row(number: int, version: int) -> Row:
        return Row(log=f"{number:02d}", status="reviewed", sentence=str(version))

    class Cut(Exception):
        pass

    def fill(table: FleetTable) -> None:
        table.add([row(n, 1) for n in range(10)])
        table.settle()
        table.add([row(n, 2) for n in range(3)])
        table.add([row(n, 3) for n in range(2, 5)])
        table.add([row(n, 4) for n in range(20, 22)])

    wanted = {f"{n:02d}": str(v) for n, v in [(0, 2), (1, 2), *((n, 3) for n in range(2, 5)),
              *((n, 1) for n in range(5, 10)), (20, 4), (21, 4)]}  # fmt: skip
    for last in range(40):
        where = (
            f"memory://cut-{tmp_path.name}-{last}"
            if place == "memory"
            else str(tmp_path / str(last))
        )
        table = FleetTable(where)
        table.open_for_writing()
        fill(table)
        left = [last]

        def counted(step: Callable[..., Any], left: list[int] = left) -> Callable[..., Any]:
            def taken(*arguments: Any, **options: Any) -> Any:
                if left[0] == 0:
                    raise Cut
                left[0] -= 1
                return step(*arguments, **options)

            return taken

        with monkeypatch.context() as patched:
            for name in ("rm_file", "mv"):
                patched.setattr(table._fs, name, counted(getattr(table._fs, name)))
            patched.setattr(FleetTable, "_write", counted(FleetTable._write))
            try:
                table.settle()
                done = True
            except Cut:
                done = False
        table.close()
        for again in (FleetTable(where), FleetTable(where)):
            read = again.read(["log", "sentence"]).to_pylist()
            assert {one["log"]: one["sentence"] for one in read} == wanted
            assert len(read) == len(wanted)
            again.open_for_writing()
            again.close()
        if done:
            break
    assert done
    assert last > 5


def test_one_run_at_a_time_writes_to_a_place(tmp_path: Path) -> None:
    first, second = FleetTable(str(tmp_path)), FleetTable(str(tmp_path))
    first.open_for_writing()
    with pytest.raises(FiringError, match="another run writes there"):
        second.open_for_writing()
    first.close()
    second.open_for_writing()
    second.close()


def test_logs_and_table_in_a_bucket(studio: Studio) -> None:
    """fsspec's memory stands for a bucket: no renaming, no folders."""
    import fsspec

    bucket = fsspec.filesystem("memory")
    bucket.pipe_file("/school/barrel/01 bisque.csv", PLAIN.encode())
    bucket.pipe_file("/school/barrel/readme.md", b"no log")
    table = FleetTable("memory://results")
    logs = FolderLogs("memory://school")
    assert review_all(logs, table, studio, workers=1) == Run(1, 1, 0)
    assert review_all(logs, table, studio, workers=1) == Run(1, 0, 0)
    (row,) = table.read(["log", "plan"]).to_pylist()
    assert row == {"log": "memory:///school/barrel/01 bisque.csv", "plan": "bisque"}


def test_a_month_is_that_of_the_log_or_of_the_files_name(tmp_path: Path, studio: Studio) -> None:
    folder = tmp_path / "logs"
    write_log(folder / "2020-01-01 bisque.csv", "bisque", datetime(2026, 5, 31, 23, 30))
    (folder / "2026-06-02 bisque.csv").write_text(PLAIN, encoding="utf-8")
    (folder / "99 bisque.csv").write_text(PLAIN, encoding="utf-8")
    run(folder, tmp_path / "out", studio)
    assert [row["month"] for row in rows(tmp_path / "out")] == ["2026-05", "2026-06", None]
