"""A run that is cut off, anywhere, goes on without a row lost or doubled."""

import errno
import os
import shutil
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from commandline import call
from fleet.school import PLAIN, PLANS, rows_in, run_over, write_log, write_plan
from longer import beyond

from firing.errors import FiringError
from firing.fleet import table as tables
from firing.fleet.inputs import studio_of
from firing.fleet.jobs import FolderLogs
from firing.fleet.review_log import Studio
from firing.fleet.row import Row
from firing.fleet.run import Run, review_all
from firing.fleet.table import FleetTable


@pytest.mark.usefixtures("in_process")
def test_a_second_run_reviews_what_is_new_and_nothing_else(
    logs: Path, tmp_path: Path, plans: Studio
) -> None:
    out = tmp_path / "out"
    assert run_over(logs, out, plans) == Run(12, 12, 0)
    before = rows_in(out)
    assert run_over(logs, out, plans) == Run(12, 0, 0)
    os.utime(logs / "00 bisque.csv", (1.0, 1.0))  # its bytes are as before
    assert run_over(logs, out, plans).reviewed == 0
    (logs / "01 bisque.csv").write_text(PLAIN, encoding="utf-8")
    (logs / "new bisque.csv").write_text(f"{PLAIN}900,26\n", encoding="utf-8")
    assert run_over(logs, out, plans).reviewed == 2
    after = rows_in(out)
    assert len(after) == 13
    assert after[2:12] == before[2:]
    changed = Studio({**plans.plans, "bisque": plans.plans["glaze"]})
    assert run_over(logs, out, changed).reviewed == 13
    assert len(rows_in(out)) == 13


@pytest.mark.usefixtures("in_process")
def test_logs_that_moved_take_their_rows_along(logs: Path, tmp_path: Path, plans: Studio) -> None:
    out = tmp_path / "out"
    run_over(logs, out, plans)
    before = rows_in(out)
    (logs / "attic").mkdir()
    (logs / "03 bisque.csv").rename(logs / "attic" / "03 bisque.csv")
    assert run_over(logs, out, plans) == Run(12, 0, 1)
    after = rows_in(out)
    assert [Path(row["log"]).name for row in before] == sorted(
        Path(row["log"]).name for row in after
    )
    shutil.copy(logs / "04 bisque.csv", logs / "attic" / "copy of 04 bisque.csv")
    assert run_over(logs, out, plans) == Run(13, 0, 0)
    assert run_over(logs, out, plans) == Run(13, 0, 0)
    assert len(rows_in(out)) == 13


@pytest.mark.usefixtures("small_parts", "in_process")
@pytest.mark.parametrize("after", [1, 5, 11])
def test_a_run_that_is_broken_off_goes_on(
    logs: Path, tmp_path: Path, plans: Studio, after: int
) -> None:
    whole, broken = tmp_path / "whole", tmp_path / "broken"
    run_over(logs, whole, plans)

    def stop(progress: Any) -> None:
        if progress.done == after:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_over(logs, broken, plans, progress=stop)
    assert run_over(logs, broken, plans, workers=2).reviewed == 12 - after
    assert rows_in(broken) == rows_in(whole)


@pytest.mark.usefixtures("small_parts", "in_process")
def test_a_full_disk_keeps_what_was_written(
    logs: Path, tmp_path: Path, plans: Studio, monkeypatch: pytest.MonkeyPatch
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
            run_over(logs, out, plans)
    assert len(rows_in(out)) == 4
    assert run_over(logs, out, plans).reviewed == 8
    assert len(rows_in(out)) == 12


@pytest.mark.parametrize("place", beyond(1, ["memory", "folder"]))
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


@pytest.mark.usefixtures("in_process")
def test_logs_and_table_in_a_bucket(plans: Studio) -> None:
    """fsspec's memory stands for a bucket: no renaming, no folders."""
    import fsspec

    bucket = fsspec.filesystem("memory")
    bucket.pipe_file("/school/barrel/01 bisque.csv", PLAIN.encode())
    bucket.pipe_file("/school/barrel/readme.md", b"no log")
    table = FleetTable("memory://results")
    logs = FolderLogs("memory://school")
    assert review_all(logs, table, plans, workers=1) == Run(1, 1, 0)
    assert review_all(logs, table, plans, workers=1) == Run(1, 0, 0)
    (row,) = table.read(["log", "plan"]).to_pylist()
    assert row == {"log": "memory:///school/barrel/01 bisque.csv", "plan": "bisque"}


@pytest.mark.usefixtures("in_process")
def test_a_month_is_that_of_the_log_or_of_the_files_name(tmp_path: Path, plans: Studio) -> None:
    folder = tmp_path / "logs"
    write_log(folder / "2020-01-01 bisque.csv", "bisque", datetime(2026, 5, 31, 23, 30))
    (folder / "2026-06-02 bisque.csv").write_text(PLAIN, encoding="utf-8")
    (folder / "99 bisque.csv").write_text(PLAIN, encoding="utf-8")
    run_over(folder, tmp_path / "out", plans)
    assert [row["month"] for row in rows_in(tmp_path / "out")] == ["2026-05", "2026-06", None]


@pytest.mark.parametrize("missing", ["pyarrow", "fsspec.core"])
def test_without_the_extra_the_command_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, missing: str
) -> None:
    monkeypatch.setitem(sys.modules, missing, None)
    refused = call(tmp_path, "fleet", "--out", "results")
    assert refused.returncode == 2
    assert refused.stderr == (
        "firing: many logs need the extra 'fleet'; in firing's folder run: pip install '.[fleet]'\n"
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("title = 'x\n[[segment]]\nrate = 60\n", "is not TOML here"),
        ("\x00 sl ips 60 90", "is not TOML"),
        ('title = "slips"\npurpose = "bisqe"\n[[segment]]\nrate = 60\ntarget = 90\n', "bisque"),
    ],
)
def test_a_faulty_plan_is_never_passed_over_in_silence(
    tmp_path: Path, text: str, told: str
) -> None:
    """Its logs would be taken for another plan's."""
    folder = tmp_path / "plans"
    folder.mkdir()
    write_plan(folder / "bisque.toml", PLANS["bisque"])
    (folder / "slips.toml").write_text(text, encoding="utf-8")
    (folder / "pyproject.toml").write_text("[tool.other]\nx = 1\n", encoding="utf-8")
    with pytest.raises(FiringError, match=r"slips\.toml") as refused:
        studio_of(str(folder))
    assert told in str(refused.value)
    (folder / "slips.toml").unlink()
    assert set(studio_of(str(folder)).plans) == {"bisque"}


def test_what_is_missing_is_said_in_a_sentence(logs: Path, tmp_path: Path) -> None:
    for asked, sentence in (
        ([], "--out is missing"),
        ([str(logs), "--out", "r"], "--plans is missing"),
        (["--out", "r"], "holds no table"),
        (["--out", "r", "--plans", "p"], "nothing to review"),
        ([str(logs), "--logbook", "b", "--out", "r"], "not both"),
        (["nowhere", "--plans", "plans", "--out", "r"], "nowhere does not exist"),
    ):
        (tmp_path / "plans").mkdir(exist_ok=True)
        write_plan(tmp_path / "plans" / "bisque.toml", PLANS["bisque"])
        refused = call(tmp_path, "fleet", *asked)
        assert refused.returncode == 2
        assert sentence in refused.stderr
        assert refused.stdout == ""
