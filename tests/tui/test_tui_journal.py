"""Unsaved work: kept while there is any, offered once nobody holds it, gone when it is saved."""

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from firing.tui.document import ChangedOnDisk, PlanDocument, open_file, open_new
from firing.tui.journal import Journal, leftovers
from waiting import wait_until

from firing.schedule.file import parse_schedule
from firing.tui import edits

KILLED = """
import sys, time
from pathlib import Path
from firing.tui import edits
from firing.tui.document import open_file
from firing.tui.journal import Journal
document, journal = open_file(Path(sys.argv[1])), Journal(Path(sys.argv[2]))
document.apply(edits.set_cell(document.schedule, 1, "rate", "77"), "rate")
journal.keep(document)
journal.settle()
print("kept", flush=True)
time.sleep(60)
"""


@pytest.fixture
def journal(state: Path) -> Iterator[Journal]:
    made = Journal(state)
    yield made
    made.close()


def edited(plan: Path, rate: str = "77") -> PlanDocument:
    document = open_file(plan)
    document.apply(edits.set_cell(document.schedule, 1, "rate", rate), "rate")
    return document


def test_kept_work_is_not_offered_while_it_is_held(
    plan: Path, state: Path, journal: Journal
) -> None:
    assert leftovers(state) == []
    journal.keep(edited(plan))
    journal.settle()
    assert len(list(state.glob("*.json"))) == 1
    assert leftovers(state) == []
    journal.clear()
    assert list(state.iterdir()) == []


def test_the_last_of_many_states_is_the_one_kept(plan: Path, state: Path, journal: Journal) -> None:
    document = open_file(plan)
    for rate in range(50, 90):
        document.apply(edits.set_cell(document.schedule, 1, "rate", str(rate)), "rate")
        journal.keep(document)
    journal.settle()
    journal.close()
    (left,) = leftovers(state, plan)
    assert left.restore().schedule == document.schedule


def test_work_of_a_killed_program_is_offered(plan: Path, state: Path) -> None:
    arguments = [sys.executable, "-c", KILLED, str(plan), str(state)]
    with subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "kept\n"
        assert leftovers(state, plan) == []
        process.send_signal(signal.SIGKILL)
    wait_until(lambda: leftovers(state, plan))
    (left,) = leftovers(state, plan)
    document = left.restore()
    assert document.schedule == edited(plan).schedule
    assert document.path == plan
    assert document.changed
    # one undo away from what the file holds, whose comments are kept when it is saved
    document.save()
    assert "# why it dries" in plan.read_text(encoding="utf-8")
    document.undo()
    assert document.schedule == parse_schedule(left.restore().base_text or "")
    left.remove()
    assert list(state.iterdir()) == []


def test_a_file_that_changed_meanwhile_is_noticed(
    plan: Path, state: Path, journal: Journal
) -> None:
    journal.keep(edited(plan))
    journal.settle()
    journal.close()
    plan.write_text(plan.read_text(encoding="utf-8") + "# theirs\n", encoding="utf-8")
    document = leftovers(state, plan)[0].restore()
    with pytest.raises(ChangedOnDisk):
        document.save()


def test_a_plan_without_a_file_is_kept_too(state: Path, plan: Path, journal: Journal) -> None:
    document = open_new()
    document.apply(edits.set_cell(document.schedule, 0, "target", "600"), "target")
    journal.keep(document)
    journal.settle()
    journal.close()
    assert leftovers(state, plan) == []
    (left,) = leftovers(state)
    restored = left.restore()
    assert restored.schedule == document.schedule
    assert restored.path is None
    assert restored.changed


def test_two_programs_on_one_file_keep_their_own(plan: Path, state: Path, journal: Journal) -> None:
    other = Journal(state)
    journal.keep(edited(plan, "60"))
    other.keep(edited(plan, "70"))
    journal.settle()
    other.settle()
    assert len(list(state.glob("*.json"))) == 2
    other.close()
    assert [left.restore().schedule.segments[1].rate_c_per_h for left in leftovers(state)] == [70]


def test_what_cannot_be_read_is_left_alone(plan: Path, state: Path) -> None:
    state.mkdir()
    (state / "new-1-0.json").write_text("{", encoding="utf-8")
    (state / "new-2-0.json").write_text('{"schema": 99}', encoding="utf-8")
    assert leftovers(state) == []
    assert len(list(state.glob("*.json"))) == 2


def test_a_folder_that_cannot_be_made_is_told(plan: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    blocked = Journal(tmp_path / "file" / "state")
    blocked.keep(edited(plan))
    blocked.settle()
    assert blocked.trouble
    blocked.close()
