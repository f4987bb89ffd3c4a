"""An open plan: undo, redo, saving, and losing nothing unasked."""

import os
from dataclasses import replace
from pathlib import Path

import pytest
from firing.tui.document import (
    ChangedOnDisk,
    PlanDocument,
    Selection,
    open_file,
    open_named,
    open_new,
    open_ready,
)
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.schedule.file import open_schedule
from firing.schedule.schedule import Schedule
from firing.tui import edits


def numbered(count: int) -> list[Schedule]:
    plan = edits.new_schedule()
    return [replace(plan, title=f"plan {number}") for number in range(count)]


@given(st.lists(st.sampled_from(["edit", "undo", "redo"]), max_size=60))
def test_undo_and_redo_follow_a_list_with_a_place_in_it(moves: list[str]) -> None:
    """The two stacks against the plainest model there is: all states, and where we are."""
    document = open_new()
    model, at = [document.schedule], 0
    fresh = iter(numbered(len(moves)))
    for move in moves:
        if move == "edit":
            schedule = next(fresh)
            assert document.apply(schedule, schedule.title)
            model, at = [*model[: at + 1], schedule], at + 1
        elif move == "undo":
            assert (document.undo() is None) == (at == 0)
            at = max(at - 1, 0)
        else:
            assert (document.redo() is None) == (at == len(model) - 1)
            at = min(at + 1, len(model) - 1)
        assert document.schedule == model[at]
        assert document.changed == (model[at] != model[0])


def test_undo_brings_the_cursor_back(plan: Path) -> None:
    document = open_file(plan)
    document.cursor = Selection(2, "hold")
    document.apply(edits.delete(document.schedule, 1), "removed", Selection(1, "rate"))
    assert document.undo() == "removed"
    assert document.cursor == Selection(2, "hold")
    assert document.redo() == "removed"
    assert document.cursor == Selection(1, "rate")


def test_an_edit_that_changes_nothing_is_none(plan: Path) -> None:
    document = open_file(plan)
    assert not document.apply(open_schedule(plan), "the same")
    assert document.undo_label is None


def test_saving_keeps_comments_and_clears_the_mark(plan: Path) -> None:
    before = plan.read_text(encoding="utf-8")
    assert before.count("rate = 120") == 1
    document = open_file(plan)
    document.apply(edits.set_cell(document.schedule, 1, "rate", "100"), "rate")
    assert document.changed
    document.save()
    assert not document.changed
    edited = plan.read_text(encoding="utf-8")
    assert edited == before.replace("rate = 120", "rate = 100")
    assert "# why it dries" in edited
    assert 'hold = "1:30"' in edited
    document.undo()
    assert document.changed
    document.save()
    assert plan.read_text(encoding="utf-8") == before


def test_a_file_changed_by_somebody_else_is_not_overwritten(plan: Path) -> None:
    document = open_file(plan)
    document.apply(edits.set_cell(document.schedule, 1, "rate", "100"), "rate")
    other = plan.read_text(encoding="utf-8") + "\n# theirs\n"
    plan.write_text(other, encoding="utf-8")
    with pytest.raises(ChangedOnDisk, match="has changed since"):
        document.save()
    assert plan.read_text(encoding="utf-8") == other
    document.save(replace_changed=True)
    assert open_schedule(plan) == document.schedule
    document.apply(edits.set_cell(document.schedule, 1, "rate", "90"), "rate")
    document.save()


def test_a_file_that_is_gone_is_written_again(plan: Path) -> None:
    document = open_file(plan)
    document.apply(edits.set_cell(document.schedule, 1, "rate", "100"), "rate")
    plan.unlink()
    document.save()
    assert open_schedule(plan) == document.schedule


def test_save_as_takes_no_name_that_is_taken(plan: Path, tmp_path: Path) -> None:
    document = open_ready("thin-ware-bisque")
    assert not document.changed
    with pytest.raises(FiringError, match="no file yet"):
        document.save()
    with pytest.raises(FiringError, match="exists already"):
        document.save_as(plan)
    assert document.path is None
    document.save_as(tmp_path / "mine.toml")
    assert document.path == tmp_path / "mine.toml"
    document.save_as(plan, overwrite=True)
    assert open_schedule(plan) == document.schedule
    with pytest.raises(FiringError, match="is a directory"):
        document.save_as(tmp_path)


def test_a_link_stays_a_link(plan: Path, tmp_path: Path) -> None:
    link = tmp_path / "link.toml"
    os.symlink(plan, link)
    document = open_file(link)
    document.apply(edits.set_cell(document.schedule, 1, "rate", "100"), "rate")
    document.save()
    assert link.is_symlink()
    assert open_schedule(plan) == document.schedule


def test_a_name_is_a_file_or_a_ready_schedule(plan: Path) -> None:
    assert open_named(str(plan)).path == plan
    copy = open_named("thin-ware-bisque")
    assert copy.path is None
    assert copy.suggested_name == "thin-ware-bisque.toml"
    with pytest.raises(FiringError, match="thin-ware-bisque"):
        open_named("thin-ware-bisk")


def test_a_new_plan_can_be_forecast_and_saved(tmp_path: Path) -> None:
    document: PlanDocument = open_new()
    document.save_as(tmp_path / "new.toml")
    assert open_schedule(tmp_path / "new.toml") == document.schedule
