"""Reviews in other processes: killed, stalled, on Dask, with the whole run killed."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from fleet.school import PLAIN, rows_in, run_over, write_studio

from firing.errors import FiringError
from firing.fleet import run as running
from firing.fleet.jobs import Job
from firing.fleet.review_log import Studio
from firing.fleet.row import Row
from firing.fleet.worker import Worker

pytestmark = pytest.mark.soak


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
def test_a_log_that_takes_a_worker_down_is_a_row(plans: Studio, poison: Any, sentence: str) -> None:
    worker = Worker(longest_s=2.0)
    try:
        fatal = worker.review(Job("bad.csv", 1, "", data=poison), plans)
        worker._longest_s = 300.0
        after = worker.review(Job("good.csv", 1, "", data=PLAIN.encode()), plans)
    finally:
        worker.leave()
    assert isinstance(fatal, Row)
    assert fatal.status == "failed"
    assert fatal.sentence is not None
    assert sentence in fatal.sentence
    assert isinstance(after, Row)
    assert after.status != "failed"


@pytest.mark.usefixtures("small_parts")
def test_a_worker_killed_in_the_middle_changes_no_row(
    logs: Path, tmp_path: Path, plans: Studio, monkeypatch: pytest.MonkeyPatch
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
    run_over(logs, one, plans)
    begun.clear()
    run_over(logs, two, plans, workers=2, progress=kill)
    assert len(begun) == 3
    assert rows_in(two) == rows_in(one)


def test_a_run_killed_outright_goes_on(logs: Path, tmp_path: Path, plans: Studio) -> None:
    """The process that writes is killed between two parts; no worker of it is left behind."""
    write_studio(tmp_path)
    code = "from firing.fleet import run; run.FLUSH_ROWS = 2; from firing.cli import main; main()"
    asked = ("fleet", str(logs), "--plans", str(tmp_path / "plans"), "--out", str(tmp_path / "out"))
    first = subprocess.Popen([sys.executable, "-c", code, *asked, "--workers", "1"])
    while not list((tmp_path / "out").glob("new-*.parquet")):
        assert first.poll() is None
        time.sleep(0.01)
    first.send_signal(signal.SIGKILL)
    first.wait()
    done = len(rows_in(tmp_path / "out"))
    assert 0 < done < 12
    again = subprocess.run([sys.executable, "-c", code, *asked], capture_output=True, text=True,
                           check=False)  # fmt: skip
    assert f"{12 - done} of 12 logs were new" in again.stderr
    run_over(logs, tmp_path / "whole", plans)
    assert without_files(rows_in(tmp_path / "out")) == without_files(rows_in(tmp_path / "whole"))


def without_files(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{name: row[name] for name in row if name not in ("plan_file", "kiln_file")}
            for row in rows]  # fmt: skip


def test_a_dask_cluster_gives_the_same_rows(logs: Path, tmp_path: Path, plans: Studio) -> None:
    run_over(logs, tmp_path / "pool", plans)
    run_over(logs, tmp_path / "dask", plans, engine="dask", workers=2)
    assert rows_in(tmp_path / "dask") == rows_in(tmp_path / "pool")


def begin(module: str, *arguments: str) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-m", f"distributed.cli.{module}", *arguments, "--no-dashboard"],
        stderr=subprocess.DEVNULL,
    )


@pytest.mark.usefixtures("small_parts")
def test_a_lost_scheduler_is_a_sentence_and_the_rest_goes_on(
    logs: Path, tmp_path: Path, plans: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    from firing.fleet import engines

    monkeypatch.setattr(engines, "BATCH", 1)
    monkeypatch.setattr(running, "FLUSH_ROWS", 1)
    place = tmp_path / "scheduler.json"
    scheduler = begin("dask_scheduler", "--port", "0", "--host", "127.0.0.1",
                      "--scheduler-file", str(place))  # fmt: skip
    worker = begin("dask_worker", "--scheduler-file", str(place), "--nthreads", "1", "--no-nanny")
    try:
        while not place.exists():
            time.sleep(0.05)
        import json

        address = json.loads(place.read_text(encoding="utf-8"))["address"]

        def lose(progress: Any) -> None:
            if progress.done == 3:
                scheduler.kill()

        with pytest.raises(FiringError, match="scheduler was lost"):
            run_over(logs, tmp_path / "out", plans, scheduler=address, progress=lose)
    finally:
        for process in (worker, scheduler):
            process.kill()
            process.wait()
    done = len(rows_in(tmp_path / "out"))
    assert 3 <= done < 12
    assert run_over(logs, tmp_path / "out", plans).reviewed == 12 - done
    assert len(rows_in(tmp_path / "out")) == 12


def test_a_scheduler_that_does_not_answer_is_a_sentence(
    logs: Path, tmp_path: Path, plans: Studio
) -> None:
    with pytest.raises(FiringError, match="cannot be reached"):
        run_over(logs, tmp_path / "out", plans, scheduler="tcp://127.0.0.1:9")
