"""A refit in a process of its own: the same answer, no trace of it left, and its failure told."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from waiting import wait_until
from watch.wornkiln import HOUR_S, PLAN, kiln, truth

from firing.watch.history import History
from firing.watch.kiln_model import KilnModel
from firing.watch.refit import RefitAnswer, RefitJob, RefitWorker, refit


def job(hours: float = 7.0) -> RefitJob:
    made = truth().firing
    time_s = np.arange(0.0, hours * HOUR_S, 30.0)
    course_c = np.interp(time_s, made.time_s, made.reading_c)
    return RefitJob(kiln(), None, PLAN, time_s, course_c, np.full(time_s.size, np.nan))


def taken(worker: RefitWorker) -> RefitAnswer | None:
    found: list[RefitAnswer | None] = []

    def over() -> bool:
        found.append(worker.take_answer())
        return found[-1] is not None or not worker.busy

    wait_until(over, "the worker's answer")
    return found[-1]


def test_it_finds_what_would_be_found_here() -> None:
    worker = RefitWorker()
    worker.start(job())
    assert worker.busy
    answer = taken(worker)
    assert answer is not None
    assert answer.found == refit(job())
    assert answer.found.learnt == ("power",)
    # Less power and more loss: whoever assumes that sees more energy in the same course.
    spent_j = [answer.estimators[side].supplied_j for side in (1, 0, -1)]
    assert spent_j == sorted(spent_j)
    assert not worker.failed
    assert not worker.busy


def test_files_where_the_watch_was_begun_are_no_modules(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("numpy", "firing", "pickle"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit(9)\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", [part for part in sys.path if part])
    worker = RefitWorker()
    worker.start(job(2.5))
    taken(worker)
    assert not worker.failed


def test_closing_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    worker = RefitWorker()
    worker.start(job())
    process = worker._process
    assert process is not None
    worker.close()
    assert process.wait(10.0) != 0
    RefitWorker().close()


def test_without_a_process_the_watch_goes_on_and_says_so_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "executable", "/nonexistent/python")
    model = KilnModel(kiln())
    model.begin(live=True)
    history = History()
    told = []
    for second in range(0, 4000, 10):
        history.add(float(second), 20.0 + 0.02 * second)
        told += model.tick(float(second), history, None)
    assert [notice.id for notice in told] == ["refit"]
    assert "could not be refitted" in told[0].message
    assert model.figures.learnt == ()


def test_a_process_that_dies_is_told_of_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    dying = tmp_path / "dying"
    dying.write_text("#!/bin/sh\nexit 3\n", encoding="utf-8")
    os.chmod(dying, 0o755)
    monkeypatch.setattr(sys, "executable", str(dying))
    worker = RefitWorker()
    worker.start(job())
    assert taken(worker) is None
    assert worker.failed


def test_it_loads_no_more_than_it_needs() -> None:
    probe = (
        "import sys, firing.watch.refit as a, firing.watch.watcher\n"
        "print([n for n in ('scipy', 'pandas', 'pydantic', 'firing.kiln.fit') if n in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
