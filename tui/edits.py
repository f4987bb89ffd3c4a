"""Edits of a schedule: each returns a new one, or refuses in the words of the schedule's file.

Nothing is checked here.  What was typed is put into the file's own form and read back by the
file's own reader, so that a cell is judged exactly as the same value in a file would be.
"""

import re
from dataclasses import replace
from typing import Any, Literal, get_args

from firing.errors import FiringError
from firing.files.tomledit import inline_text
from firing.files.tomlfile import FaultyFile, KeyPath, describe_path
from firing.schedule.file import faultless_schedule, parse_schedule, plain_number, schedule_data
from firing.schedule.schedule import Schedule, Segment
from firing.schedule.schema import MAX_SEGMENTS
from firing.units import (
    TemperatureUnit,
    from_celsius,
    parse_rate_c_per_h,
    parse_temperature_c,
    rate_from_celsius,
    to_celsius,
    write_duration,
)

SegmentKey = Literal["name", "rate", "target", "hold", "action"]
SEGMENT_KEYS: tuple[SegmentKey, ...] = get_args(SegmentKey)

Head = Literal["title", "purpose", "start", "notes"]

HEAD_ROW = -1
"""The row above the segments: where the program starts from."""

_BEYOND_C = 100.0
"""A new last segment goes this far on [°C]."""
_TOP_C = 900.0
"""A rise that ends here or higher is the last one: ware is fired; common practice, no source."""

CONE_CHANGES: dict[str, Literal["hold", "peak", "rate"]] = {
    "hold": "hold",
    "target": "peak",
    "rate": "rate",
}
"""What a column's cell is changed in so that the plan comes to its cone."""


def set_cell(schedule: Schedule, row: int, field: SegmentKey, text: str) -> Schedule:
    """Return the schedule with one cell set to what was typed.

    Rows count from 0; of `HEAD_ROW` only the target, which is the start, can be set.  A bare number
    is in the schedule's unit, and an empty text leaves out what may be left out.  Refused if the
    file's reader would refuse it, in its words.
    """
    if row == HEAD_ROW:
        if field != "target":
            raise FiringError("the program's start has a temperature only; write it under “to”")
        return set_head(schedule, "start", text)
    value = _value(text, field, schedule.unit)
    checked = _read_back(schedule, ("segment", row, field), value)
    segments = list(schedule.segments)
    segments[row] = checked.segments[row]
    return replace(schedule, segments=tuple(segments))


def retyped(schedule: Schedule, row: int, field: SegmentKey, text: str) -> Schedule:
    """Return the schedule with a cell set, the very same one if it held that text already.

    Refused as `set_cell`.
    """
    if text.strip() == cell_text(schedule, row, field):
        return schedule
    return set_cell(schedule, row, field, text)


def set_head(schedule: Schedule, key: Head, text: str) -> Schedule:
    """Return the schedule with its title, purpose, start or notes set to what was typed."""
    value = _value(text, "target", schedule.unit) if key == "start" else text
    checked = _read_back(schedule, (key,), value)
    return replace(
        schedule,
        title=checked.title,
        purpose=checked.purpose,
        notes=checked.notes,
        start_c=checked.start_c if key == "start" else schedule.start_c,
    )


def cell_text(schedule: Schedule, row: int, field: SegmentKey) -> str:
    """Return what a cell holds, as a file would write it; empty for what may be left out."""
    unit = schedule.unit
    if row == HEAD_ROW:
        return f"{plain_number(from_celsius(schedule.start_c, unit))}" if field == "target" else ""
    segment = schedule.segments[row]
    if field == "rate":
        rate = segment.rate_c_per_h
        return segment.drive if rate is None else f"{plain_number(rate_from_celsius(rate, unit))}"
    if field == "target":
        return f"{plain_number(from_celsius(segment.target_c, unit))}"
    if field == "hold":
        return write_duration(segment.hold_s) if segment.hold_s else ""
    return segment.name if field == "name" else segment.action


_SPACED = re.compile(r"(?<=\d)\s(?=\d{3}\b)")
_GROUPED = re.compile(r"([1-9]\d?)(?:,(\d{3})|\.(\d\d0))(?!\d)")
_FULL = re.compile(r"(full( power)?|max(imum)?|free)", re.IGNORECASE)
_HALF_WRITTEN = re.compile(r"^(\d+) ?h ?(\d\d)$")
"""As people write 1200, 1.2 or 1200, full power, and 1h30m."""

_SETTING = re.compile(r"\b[a-z_]+ = (?=\S)")
_UNIT_AT_TOP = re.compile(r'Then write unit = "([CF])" at the top')


def _plainly(message: str) -> str:
    """Return a fault of a file as it is said of a cell: what to write, and no keys of the file."""
    return _SETTING.sub("", _UNIT_AT_TOP.sub(r"Then write its unit behind it, like 900\1", message))


def _value(text: str, field: SegmentKey, unit: TemperatureUnit) -> Any:
    """Return typed text as the value a file would hold; None leaves the key out."""
    typed = " ".join(text.split())
    if field in ("rate", "target"):
        typed = _FULL.sub("unlimited", _SPACED.sub("", typed))
        if found := _GROUPED.match(typed):
            whole, part = found[1], found[2] or found[3]
            raise FiringError(
                f'"{typed}" may be {whole}{part} or {float(f"{whole}.{part}"):g}; write which'
            )
        # A number may carry its unit: 60F/h in a °C schedule is what it says.  Anything else is
        # handed on as text, for the file's check to answer.
        try:
            if field == "rate":
                rate = parse_rate_c_per_h(typed, unit)
                return plain_number(rate_from_celsius(rate, unit))
            return plain_number(from_celsius(parse_temperature_c(typed, unit), unit))
        except FiringError:
            return typed.lower()
    if field == "hold":
        return _HALF_WRITTEN.sub(r"\1h\2m", typed) or None
    return text.strip() or None


def _read_back(schedule: Schedule, path: KeyPath, value: Any) -> Schedule:
    data: Any = schedule_data(schedule)
    table = data
    for part in path[:-1]:
        table = table[part]
    if value is None:
        table.pop(path[-1], None)
    else:
        table[path[-1]] = value
    return _judged(data, describe_path(path))


def _judged(data: dict[str, Any], field: str = "") -> Schedule:
    """Return what the data describe, or refuse them in the words of the file's reader."""
    found = faultless_schedule(data)
    if found is not None:
        return found
    # Written as text only to have the faults named, and plainly: a layout takes a tenth of a second
    # for a long plan, at every key.
    try:
        return parse_schedule(inline_text(data))
    except FaultyFile as error:
        own = [fault.message for fault in error.faults if fault.field == field]
        if own:
            raise FiringError(_plainly(own[0])) from None
        first = error.faults[0]
        raise FiringError(
            _plainly(f"{first.field}: {first.message}" if first.field else first.message)
        ) from None


def checked(schedule: Schedule) -> Schedule:
    """Return `schedule` if its file could be read back.

    Refused if a segment does not fit the one before it.
    """
    _judged(schedule_data(schedule))
    return schedule


def insert_below(schedule: Schedule, row: int) -> Schedule:
    """Return the schedule with the ramp after `row` cut in two, so that its course stays the same.

    Below the last segment the new one goes on 100 °C the same way, and down from a firing's top.
    """
    return _put_below(schedule, row, None)


def duplicate(schedule: Schedule, row: int) -> Schedule:
    """Return the schedule with a copy of segment `row` below it, its target half-way to the next.

    Refused if `row` is the start, or there is no room between the targets.
    """
    if row == HEAD_ROW:
        raise FiringError("the program's start is no segment; go to the segment to copy")
    return _put_below(schedule, row, schedule.segments[row])


def _put_below(schedule: Schedule, row: int, pattern: Segment | None) -> Schedule:
    segments = list(schedule.segments)
    if len(segments) >= MAX_SEGMENTS:
        raise FiringError(f"a plan has at most {MAX_SEGMENTS} segments; remove one first")
    before_c = schedule.start_c if row == HEAD_ROW else segments[row].target_c
    if row + 1 < len(segments):
        after = segments[row + 1]
        target_c = _half_way_c(before_c, after.target_c, schedule.unit)
        new = replace(after, target_c=target_c, hold_s=0.0, name="", action="")
    else:
        down = _past_the_top(schedule, row)
        step = from_celsius(before_c, schedule.unit) + (-1 if down else 1) * (
            from_celsius(_BEYOND_C, schedule.unit) - from_celsius(0.0, schedule.unit)
        )
        new = Segment(to_celsius(round(step), schedule.unit), _BEYOND_C)
    if pattern is not None:
        same_way = (pattern.target_c > schedule.from_c(row)) == (new.target_c > before_c)
        # A copied "off" or "unlimited" only makes sense in its own direction.
        driven = pattern if same_way or pattern.drive == "rate" else new
        new = replace(
            pattern,
            target_c=new.target_c,
            rate_c_per_h=driven.rate_c_per_h,
            drive=driven.drive,
        )
    segments.insert(row + 1, new)
    return checked(replace(schedule, segments=tuple(segments)))


def _past_the_top(schedule: Schedule, row: int) -> bool:
    """Whether what comes after the last segment cools: it does already, or a top has been held."""
    if row == HEAD_ROW:
        return False
    last = schedule.segments[row]
    if last.target_c < schedule.from_c(row):
        return last.target_c - schedule.room_c > 2 * _BEYOND_C
    return last.target_c >= _TOP_C


def _half_way_c(from_c: float, to_c: float, unit: TemperatureUnit) -> float:
    low, high = sorted((from_celsius(from_c, unit), from_celsius(to_c, unit)))
    middle = round((low + high) / 2)
    if not low < middle < high:
        raise FiringError(
            f"between {low:g} and {high:g} °{unit} there is no room for another target in whole "
            "degrees; set the targets further apart first"
        )
    return to_celsius(middle, unit)


def delete(schedule: Schedule, row: int) -> Schedule:
    """Return the schedule without segment `row`.

    Refused if it is the only one, the start, or what follows would no longer fit.
    """
    if row == HEAD_ROW:
        raise FiringError("the program's start cannot be removed, only set")
    kept = schedule.segments[:row] + schedule.segments[row + 1 :]
    return checked(replace(schedule, segments=kept))


def move(schedule: Schedule, row: int, by: int) -> Schedule:
    """Return the schedule with segment `row` moved `by` places, down if positive.

    Refused if there is no such place, or a segment would no longer fit the one before it.
    """
    to = row + by
    if row == HEAD_ROW or not 0 <= to < len(schedule.segments):
        raise FiringError("a segment cannot move past the ends of the program")
    segments = list(schedule.segments)
    segments.insert(to, segments.pop(row))
    return checked(replace(schedule, segments=tuple(segments)))


def rearranged(schedule: Schedule, what: str, row: int) -> tuple[Schedule, str, int]:
    """Return the schedule with segments added, removed or moved; what that was; where to go.

    `what` is ``new``, ``copy``, ``remove``, ``up`` or ``down``; refused if it cannot be done.
    """
    if what == "new":
        return insert_below(schedule, row), "new segment", row + 1
    if what == "copy":
        return duplicate(schedule, row), "copied segment", row + 1
    if what == "remove":
        left = delete(schedule, row)
        return left, f"segment {row + 1} removed", min(row, len(left.segments) - 1)
    by = -1 if what == "up" else 1
    return move(schedule, row, by), "segment moved", row + by


def switch_unit(schedule: Schedule) -> Schedule:
    """Return the same program in the other unit: the same temperatures, written in °F or °C."""
    return replace(schedule, unit="F" if schedule.unit == "C" else "C")


def new_schedule() -> Schedule:
    """Return what a new plan begins with: one slow rise, to be changed."""
    return Schedule("New plan", (Segment(100.0, 60.0, name="First rise"),))
