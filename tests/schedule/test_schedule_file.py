"""Schedule files: every fault at once and in place; what is written is what is read."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.files.kinds import ready_names, ready_text
from firing.files.tomlfile import FaultyFile
from firing.schedule.file import open_schedule, parse_schedule, schedule_text, write_schedule
from firing.schedule.schedule import Schedule, Segment

GOOD = """# kept
title = "18 mm planters, bone dry, to 900"  # said
purpose = "bisque"
unit = "F"
start = 68

# below boiling
[[segment]]
name = "Dry out"
rate = 72
target = 194
hold = "1:30"
action = "close the lid"

# all it has
[[segment]]
rate = "unlimited"
target = 1652
hold = "15m"

[[segment]]
rate = "off"
target = 1112
"""


def _faults(text: str) -> list[str]:
    with pytest.raises(FaultyFile) as refusal:
        parse_schedule(text, "plan.toml")
    return str(refusal.value).splitlines()


def _one_segment(line: str, *, head: str = 'title = "t"') -> str:
    rows = {"rate": "rate = 60", "target": "target = 900", "hold": 'hold = "30m"'}
    rows[line.split(" ")[0]] = line
    return head + "\n[[segment]]\n" + "\n".join(rows.values()) + "\n"


def test_fahrenheit_files_become_celsius_inside() -> None:
    schedule = parse_schedule(GOOD)
    first, second, third = schedule.segments
    # 72 °F/h is 40 °C/h; 194, 1652 and 1112 °F are 90, 900 and 600 °C (exact by definition)
    assert first.rate_c_per_h == pytest.approx(40.0)
    assert first.target_c == pytest.approx(90.0)
    assert first.hold_s == 5400
    assert (second.drive, second.rate_c_per_h) == ("unlimited", None)
    assert second.target_c == pytest.approx(900.0)
    assert (third.drive, third.target_c) == ("off", pytest.approx(600.0))
    assert schedule.start_c == pytest.approx(20.0)
    assert schedule.peak_c == pytest.approx(900.0)
    assert schedule.peak_index == 1


def test_an_unchanged_schedule_leaves_every_byte_of_its_file() -> None:
    assert schedule_text(parse_schedule(GOOD), GOOD) == GOOD


def test_an_edit_touches_only_its_own_value() -> None:
    schedule = parse_schedule(GOOD)
    longer = replace(schedule.segments[1], hold_s=1800.0)
    edited = replace(schedule, segments=(schedule.segments[0], longer, schedule.segments[2]))
    assert schedule_text(edited, GOOD) == GOOD.replace('"15m"', '"30m"')


def test_every_fault_of_a_file_is_told_at_once_with_its_line() -> None:
    text = """title = "t"
purpose = "bisqe"
hodl = 3
[[segment]]
rate = 0
target = 90
hold = "400h"
[[segment]]
rate = "unlimted"
target = 90
hold = "-2h"
[[segment]]
rate = -60
tagret = 1200
hold = 30
"""
    faults = _faults(text)
    assert [fault.split(":")[1] for fault in faults] == [
        "2", "3", "5", "7", "9", "10", "11", "12", "13", "14", "15"
    ]  # fmt: skip
    assert all(fault.startswith("plan.toml:") for fault in faults)
    by_line = {fault.split(":")[1]: fault for fault in faults}
    assert 'did you mean "bisque"' in by_line["2"]
    assert "0.5 to 2000 °C/h" in by_line["5"]
    assert "0 to 100 h" in by_line["7"]
    assert "equals the target of segment 1 (90 °C)" in by_line["10"]
    assert "negative" in by_line["11"]
    assert "target: is missing; write target = 900" in by_line["12"]
    assert "write 60" in by_line["13"]
    assert 'did you mean "target"' in by_line["14"]
    assert 'write "30m" or "30h"' in by_line["15"]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("target = 1600", "outside 0 to 1450 °C"),
        # (2190 − 32) / 1.8 = 1198.9
        ("target = 2190", 'did you mean 2190 °F (1199 °C)? Then write unit = "F" at the top'),
        ("target = -5", "outside 0 to 1450 °C"),
        ("target = 20", "equals the start"),
        ('target = "900"', "stands where a number belongs"),
        ("target = true", "true stands where a number belongs"),
        ("target = nan", "nan stands where a number belongs"),
        ("target = inf", "inf stands where a number belongs"),
        ("rate = 5000", "out of reach"),
        ('rate = "fast"', '"unlimited" or "off"'),
        ("rate = 0", "never arrives"),
        ("rate = [1]", "number belongs"),
        ('hold = "1h1h"', "not a duration"),
        ("hold = 1.5", "names no unit"),
        ("hold = [1]", "a hold is text"),
        ('name = "a\\u001b[31mb"', "control character"),
        ("name = 5", "text in quotes"),
    ],
)
def test_each_slip_is_one_sentence_with_what_to_write(line: str, words: str) -> None:
    (fault,) = _faults(_one_segment(line))
    assert words in fault
    assert fault.startswith("plan.toml:")


def test_limits_are_told_in_the_unit_of_the_file() -> None:
    (fault,) = _faults(_one_segment("target = 3000", head='title = "t"\nunit = "F"'))
    assert "outside 32 to 2642 °F" in fault


@pytest.mark.parametrize(
    ("rate", "target", "words"), [("off", 1000, "cools"), ("unlimited", 500, 'rate = "off"')]
)
def test_a_drive_that_contradicts_its_direction_is_refused(
    rate: str, target: int, words: str
) -> None:
    text = f'{_one_segment("target = 900")}[[segment]]\nrate = "{rate}"\ntarget = {target}\n'
    (fault,) = _faults(text)
    assert words in fault


@pytest.mark.parametrize("text", ['title = "t"\n', 'title = "t"\nsegment = []\n'])
def test_a_schedule_without_segments_is_refused(text: str) -> None:
    (fault,) = _faults(text)
    assert "segment" in fault


def test_a_schedule_needs_a_title() -> None:
    assert any("title: is missing" in fault for fault in _faults("[[segment]]\nrate=1\ntarget=2\n"))
    (fault,) = _faults(_one_segment("rate = 60", head='title = "  "'))
    assert "is empty" in fault


def test_nothing_is_overwritten_unasked(tmp_path: Path) -> None:
    schedule = parse_schedule(GOOD)
    path = tmp_path / "plan.toml"
    write_schedule(schedule, path)
    before = path.read_bytes()
    with pytest.raises(Exception, match="exists already"):
        write_schedule(replace(schedule, title="other"), path)
    assert path.read_bytes() == before
    assert open_schedule(path) == schedule


@pytest.mark.parametrize("name", ready_names())
def test_every_ready_schedule_reads_and_survives_writing(name: str) -> None:
    text = ready_text(name)
    schedule = parse_schedule(text, name)
    assert schedule_text(schedule, text) == text
    assert parse_schedule(schedule_text(schedule)) == schedule


_PRINTABLE = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=30
)


@st.composite
def _schedules(draw: st.DrawFn) -> Schedule:
    unit = draw(st.sampled_from(["C", "F"]))
    scale, zero = (1.0, 0.0) if unit == "C" else (1.8, 32.0)
    segments: list[Segment] = []
    before = draw(st.integers(0, 50))
    start_c = float(before)
    for _ in range(draw(st.integers(1, 12))):
        # whole degrees of the file's own unit, as a person writes them
        written = draw(st.integers(40, 2400 if unit == "F" else 1400))
        target_c = (written - zero) / scale
        if abs(target_c - before) < 0.5:
            continue
        drives = ["rate", "unlimited" if target_c > before else "off"]
        drive = draw(st.sampled_from(drives))
        rate = draw(st.integers(1, 900)) / scale if drive == "rate" else None
        hold_s = float(draw(st.integers(0, 99 * 3600)))
        name = draw(st.sampled_from(["", "Dry out"]) | _PRINTABLE)
        segments.append(Segment(target_c, rate, drive, hold_s, name))
        before = target_c
    if not segments:
        segments = [Segment(1000.0, 100.0)]
    purpose = draw(st.sampled_from(["bisque", "glaze", "other"]))
    return Schedule(draw(_PRINTABLE), tuple(segments), purpose, start_c, unit)


def _rounded(schedule: Schedule) -> Schedule:
    """Return the schedule to a hundred-thousandth of a degree, which is all a file keeps."""
    return replace(
        schedule,
        start_c=round(schedule.start_c, 5),
        segments=tuple(
            replace(
                s,
                target_c=round(s.target_c, 5),
                rate_c_per_h=None if s.rate_c_per_h is None else round(s.rate_c_per_h, 5),
            )
            for s in schedule.segments
        ),
    )


@given(_schedules())
def test_what_is_written_is_what_is_read(schedule: Schedule) -> None:
    back = parse_schedule(schedule_text(schedule))
    assert _rounded(back) == _rounded(schedule)
    # … and what was read once stays the same for good
    assert schedule_text(back) == schedule_text(parse_schedule(schedule_text(back)))


@given(_schedules(), st.data())
def test_edits_keep_the_comments_of_what_stays(schedule: Schedule, data: st.DataObject) -> None:
    plain = schedule_text(schedule)
    commented = plain.replace("[[segment]]", "# a reason\n[[segment]]")
    base = parse_schedule(commented)
    index = data.draw(st.integers(0, len(base.segments) - 1))
    kept = base.segments[:index] + base.segments[index + 1 :]
    first_from = base.start_c
    if not kept or kept[0].target_c == first_from:
        return
    if any(a.target_c == b.target_c for a, b in pairwise(kept)):
        return
    kept = tuple(replace(s, drive="rate", rate_c_per_h=s.rate_c_per_h or 100.0) for s in kept)
    edited = replace(base, segments=kept)
    text = schedule_text(edited, commented)
    assert text.count("# a reason") == len(kept)
    assert _rounded(parse_schedule(text)) == _rounded(edited)
