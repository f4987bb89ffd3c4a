"""Edits of a plan, judged by the file's own reader."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.files.kinds import ready_names, ready_text
from firing.files.tomlfile import FaultyFile
from firing.schedule.file import parse_schedule, schedule_text
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import set_point_over_time
from firing.tui import edits

FIELDS = st.sampled_from(edits.SEGMENT_KEYS)
TYPED = st.one_of(
    st.sampled_from(
        ["", "60", "900", "-5", "0", "unlimited", "OFF", "30m", "1:30", "400h", "2192F", "60F/h"]
    ),
    st.integers(1, 1500).map(str),
    st.text(max_size=12),
)


@pytest.fixture
def schedule(plan: Path) -> Schedule:
    return parse_schedule(plan.read_text(encoding="utf-8"))


def ready() -> st.SearchStrategy[Schedule]:
    return st.sampled_from([parse_schedule(ready_text(name), name) for name in ready_names()])


def test_a_cell_takes_what_a_file_would(schedule: Schedule) -> None:
    changed = edits.set_cell(schedule, 1, "rate", "100")
    assert changed.segments[1].rate_c_per_h == 100
    assert changed.segments[0] == schedule.segments[0]
    assert edits.set_cell(schedule, 1, "rate", " Unlimited ").segments[1].drive == "unlimited"
    assert edits.set_cell(schedule, 0, "hold", "").segments[0].hold_s == 0
    assert edits.set_cell(schedule, 0, "name", "  Dry out ").segments[0].name == "Dry out"
    assert edits.set_cell(schedule, edits.HEAD_ROW, "target", "18").start_c == 18


def test_a_number_may_carry_its_unit(schedule: Schedule) -> None:
    # 1112 °F is 600 °C, and 90 °F/h is 50 °C/h, by definition
    assert edits.set_cell(schedule, 1, "target", "1112 F").segments[1].target_c == 600
    assert edits.set_cell(schedule, 1, "rate", "90F/h").segments[1].rate_c_per_h == 50


@pytest.mark.parametrize(
    ("field", "typed", "line"),
    [
        ("rate", "0", "rate = 0"),
        ("rate", "fast", 'rate = "fast"'),
        ("target", "9999", "target = 9999"),
        ("target", "hot", 'target = "hot"'),
        ("hold", "30", 'hold = "30"'),
        ("hold", "400h", 'hold = "400h"'),
        ("target", "120", "target = 120"),
    ],
)
def test_a_refusal_is_the_files_own_sentence_without_its_keys(
    schedule: Schedule, plan: Path, field: edits.SegmentKey, typed: str, line: str
) -> None:
    blocks = plan.read_text(encoding="utf-8").split("[[segment]]")
    lines = [row for row in blocks[2].splitlines() if not row.startswith(field)]
    blocks[2] = "\n".join([*lines[:1], line, *lines[1:]]) + "\n"
    with pytest.raises(FaultyFile) as in_file:
        parse_schedule("[[segment]]".join(blocks))
    with pytest.raises(FiringError) as in_cell:
        edits.set_cell(schedule, 1, field, typed)
    # in a cell there is no key to write
    said = [fault.message.replace(f"{field} = ", "") for fault in in_file.value.faults]
    assert str(in_cell.value) in said


@given(ready(), st.integers(-1, 5), FIELDS, TYPED)
def test_every_edit_taken_can_be_saved_and_read_back(
    schedule: Schedule, row: int, field: edits.SegmentKey, typed: str
) -> None:
    try:
        changed = edits.set_cell(schedule, min(row, len(schedule.segments) - 1), field, typed)
    except FiringError:
        return
    again = parse_schedule(schedule_text(changed))
    assert schedule_text(again) == schedule_text(changed)


@given(ready(), st.integers(-1, 5))
def test_a_new_segment_changes_nothing_about_the_firing(schedule: Schedule, row: int) -> None:
    row = min(row, len(schedule.segments) - 2)
    try:
        cut = edits.insert_below(schedule, row)
    except FiringError:
        return
    assert len(cut.segments) == len(schedule.segments) + 1
    _, before, _ = set_point_over_time(schedule)
    _, after, _ = set_point_over_time(cut)
    assert after[-1].end_s == pytest.approx(before[-1].end_s, rel=1e-3)


def test_a_copy_takes_everything_but_the_target(schedule: Schedule) -> None:
    copied = edits.duplicate(schedule, 0).segments
    # half-way from 120 to 600
    assert (copied[1].target_c, copied[1].rate_c_per_h) == (360, 50)
    assert (copied[1].name, copied[1].hold_s, copied[1].action) == ("Dry", 5400, "close the lid")
    assert (copied[0], copied[2]) == (schedule.segments[0], schedule.segments[1])


def test_what_would_not_fit_is_refused_in_words(schedule: Schedule) -> None:
    one = edits.delete(edits.delete(schedule, 2), 1)
    with pytest.raises(FiringError, match="at least one segment"):
        edits.delete(one, 0)
    with pytest.raises(FiringError, match="ends of the program"):
        edits.move(schedule, 0, -1)
    off = edits.set_cell(edits.insert_below(schedule, 2), 3, "rate", "off")
    with pytest.raises(FiringError, match='"off" cools'):
        edits.move(off, 3, -2)
    close = edits.set_cell(schedule, 1, "target", "121")
    with pytest.raises(FiringError, match="no room for another target"):
        edits.insert_below(close, 0)
    with pytest.raises(FiringError, match="only set"):
        edits.delete(schedule, edits.HEAD_ROW)


@given(ready())
def test_the_unit_switch_changes_the_writing_and_not_the_firing(schedule: Schedule) -> None:
    other = edits.switch_unit(schedule)
    assert other.segments == schedule.segments
    assert edits.switch_unit(other) == schedule
    read = parse_schedule(schedule_text(other))
    for was, now in zip(schedule.segments, read.segments, strict=True):
        assert now.target_c == pytest.approx(was.target_c, abs=1e-6)


def test_a_cell_shows_what_the_file_says(schedule: Schedule) -> None:
    fahrenheit = edits.switch_unit(schedule)
    # 120 °C is 248 °F, 50 °C/h is 90 °F/h
    assert edits.cell_text(fahrenheit, 0, "target") == "248"
    assert edits.cell_text(fahrenheit, 0, "rate") == "90"
    assert edits.cell_text(schedule, 0, "hold") == "1h30m"
    assert edits.retyped(schedule, 0, "hold", "1h30m") is schedule
