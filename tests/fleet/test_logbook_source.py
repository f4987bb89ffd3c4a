"""The logbook's firings as what there is to review; the book is read and stays as it is."""

from pathlib import Path

import pytest
from fleet.school import PLAIN, PLANS, rows_of, write_plan

from firing.errors import FiringError
from firing.fleet.jobs import LogbookLogs
from firing.fleet.review_log import Studio
from firing.fleet.run import Run, review_all
from firing.fleet.table import FleetTable
from firing.logbook.record import Entry, Shown
from firing.logbook.store import Logbook


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """Return a logbook of three firings: two plans of one title, and a meter's count."""
    path = tmp_path / "book.sqlite"
    texts = []
    for name in ("bisque", "glaze"):
        write_plan(tmp_path / f"{name}.toml", PLANS[name])
        text = (tmp_path / f"{name}.toml").read_text(encoding="utf-8")
        texts.append(text.replace(f'title = "{name}"', 'title = "autumn"'))
    with Logbook.open(path) as book:
        for number, text in enumerate((*texts, "")):
            body = f"{PLAIN}{300 + number},26\n".encode()
            said = Entry("log.csv", body, plan="autumn" if text else "", plan_text=text,
                         kiln="Blue kiln", kwh=41.5 if number == 0 else None)  # fmt: skip
            book.keep(said, Shown(started_at=1000.0 * number))
    return path


@pytest.mark.usefixtures("in_process")
def test_a_logbook_is_reviewed_and_left_alone(book: Path, tmp_path: Path) -> None:
    before = book.read_bytes()
    table = FleetTable(str(tmp_path / "out"))
    logs = LogbookLogs(book)
    studio = logs.studio(Studio())
    assert review_all(logs, table, studio, workers=1) == Run(3, 3, 0)
    again = LogbookLogs(book)
    assert review_all(again, table, again.studio(Studio()), workers=1) == Run(3, 0, 0)
    assert book.read_bytes() == before
    rows = rows_of(table)
    assert [row["plan"] for row in rows[:2]] == ["autumn", "autumn (another)"]
    assert {row["kiln"] for row in rows} == {"Blue kiln"}
    assert (rows[0]["energy_kwh"], rows[0]["energy_from"]) == (41.5, "meter")


def test_an_empty_logbook_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(FiringError, match="holds no firing"):
        LogbookLogs(tmp_path / "none.sqlite")
