"""Small logs, the studio they are of, and runs that need no process for each review."""

from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from fleet.school import PLAIN, write_studio

from firing.fleet import run as running
from firing.fleet.engines import Answers
from firing.fleet.inputs import studio_of
from firing.fleet.jobs import Job
from firing.fleet.review_log import Studio
from firing.fleet.worker import answer


def one_by_one(jobs: Iterable[Job], studio: Studio, workers: int, longest_s: float) -> Answers:
    for job in jobs:
        yield job, answer(job, studio)


@pytest.fixture(scope="module")
def in_process() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(running, "on_pool", one_by_one)
        yield


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """Return the school's plans, without a kiln."""
    folder = tmp_path_factory.mktemp("studio")
    write_studio(folder)
    return studio_of(str(folder / "plans"))


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    """Return a folder of twelve small logs, no two alike."""
    folder = tmp_path / "logs"
    folder.mkdir()
    for number in range(12):
        text = f"{PLAIN}{400 + number},25\n"
        (folder / f"{number:02d} bisque.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "FLUSH_ROWS", 2)
