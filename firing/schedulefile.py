"""The schedule file: its schema, how it is read with every fault at once, and how it is written."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal, cast

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationInfo, WithJsonSchema

from firing.errors import FiringError
from firing.schedule import PURPOSES, ROOM_C, Drive, Purpose, Schedule, Segment
from firing.tomledit import render
from firing.tomlfile import (
    Fault,
    FaultyFile,
    KeyPath,
    clean,
    describe_path,
    key_lines,
    line_of,
    read_text,
    validate,
    write_text,
)
from firing.units import (
    SECONDS_PER_HOUR,
    TemperatureUnit,
    from_celsius,
    parse_duration_s,
    rate_from_celsius,
    rate_to_celsius,
    to_celsius,
    write_duration,
)

# What a file may ask for.  They catch slips of the key, not unsafe plans: an electric kiln for
# stoneware ends near 1300 °C and the hottest cone of the chart at 1384 °C.
TARGET_C = (0.0, 1450.0)
RATE_C_PER_H = (0.5, 2000.0)
HOLD_S = (0.0, 100 * SECONDS_PER_HOUR)
MAX_SEGMENTS = 99


def _unit(info: ValidationInfo) -> TemperatureUnit:
    data = (info.context or {}).get("data", {})
    return "F" if data.get("unit") == "F" else "C"


def _number(value: Any, example: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        shown = f'"{clean(value)}"' if isinstance(value, str) else str(value).lower()
        raise ValueError(f"{shown} stands where a number is wanted; write {example}")
    return float(value)


def _range(low_c: float, high_c: float, unit: TemperatureUnit, rate: bool = False) -> str:
    convert = rate_from_celsius if rate else from_celsius
    suffix = "/h" if rate else ""
    return f"{convert(low_c, unit):g} to {convert(high_c, unit):g} °{unit}{suffix}"


def _temperature(value: Any, info: ValidationInfo) -> float:
    unit = _unit(info)
    example = f"{info.field_name} = {from_celsius(900, unit):g}"
    number = _number(value, example)
    if not TARGET_C[0] <= to_celsius(number, unit) <= TARGET_C[1]:
        raise ValueError(
            f"{number:g} °{unit} is outside {_range(*TARGET_C, unit)}; write {example}"
        )
    return number


def _rate(value: Any, info: ValidationInfo) -> float | str:
    unit = _unit(info)
    words = f'a rate in {_range(*RATE_C_PER_H, unit, rate=True)}, "unlimited" or "off"'
    if isinstance(value, str):
        if value in ("unlimited", "off"):
            return value
        raise ValueError(f'"{clean(value)}" is not a rate; write {words}')
    number = _number(value, words)
    if number == 0:
        raise ValueError(f"0 °{unit}/h never arrives; write {words}")
    if number < 0:
        raise ValueError(
            f"{number:g} °{unit}/h is negative; write {-number:g}: whether it heats or cools "
            "follows from the target"
        )
    low, high = (rate_from_celsius(limit, unit) for limit in RATE_C_PER_H)
    if not low <= number <= high:
        raise ValueError(f"{number:g} °{unit}/h is out of reach; write {words}")
    return number


def _hold(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError('a hold is text; write "30m", "6h", "1h30m" or "1:30" (h:mm)')
    try:
        hold_s = parse_duration_s(clean(str(value)))
    except FiringError as error:
        raise ValueError(str(error)) from None
    if hold_s > HOLD_S[1]:
        raise ValueError(
            f'"{value}" is longer than {HOLD_S[1] / SECONDS_PER_HOUR:.0f} h; write 0 to '
            f'{HOLD_S[1] / SECONDS_PER_HOUR:.0f} h, like "30m"'
        )
    return str(value)


def _line(longest: int) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError(f"{str(value).lower()} stands where text in quotes is wanted")
        if clean(value) != value:
            raise ValueError("holds a line break or control character; write it on one plain line")
        if len(value) > longest:
            raise ValueError(f"is {len(value)} characters long; write at most {longest}")
        return value

    return check


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{str(value).lower()} stands where text in quotes is wanted")
    return "\n".join(clean(line) for line in value.splitlines())


def _title(value: Any) -> str:
    title = _line(120)(value)
    if not title.strip():
        raise ValueError('is empty; write what is fired and why, like title = "Mugs, bone dry"')
    return title


Temperature = Annotated[float, PlainValidator(_temperature), WithJsonSchema({"type": "number"})]
Rate = Annotated[
    float | Literal["unlimited", "off"],
    PlainValidator(_rate),
    WithJsonSchema(
        {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"enum": ["unlimited", "off"]}]}
    ),
]
Hold = Annotated[str, PlainValidator(_hold), WithJsonSchema({"type": "string"})]
Title = Annotated[str, PlainValidator(_title), WithJsonSchema({"type": "string", "minLength": 1})]
Line = Annotated[str, PlainValidator(_line(200)), WithJsonSchema({"type": "string"})]
Text = Annotated[str, PlainValidator(_text), WithJsonSchema({"type": "string"})]


class SegmentTable(BaseModel):
    """One ``[[segment]]`` of a schedule file."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: Line = Field("", description="what the segment is for")
    rate: Rate = Field(
        description='degrees of the file\'s unit per hour, "unlimited" (all the power there is) '
        'or "off" (elements off until the target)',
        json_schema_extra={"example": "rate = 60"},
    )
    target: Temperature = Field(
        description="temperature the ramp ends at, in the file's unit",
        json_schema_extra={"example": "target = 900"},
    )
    hold: Hold = Field(
        "0m",
        description='time kept at the target: "6h", "1h30m", "90m" or "1:30" (h:mm)',
        json_schema_extra={"example": 'hold = "30m"'},
    )
    action: Line = Field("", description="what a person does when this segment ends")


class ScheduleTable(BaseModel):
    """A schedule file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Firing schedule")

    title: Title = Field(
        description="ware and purpose in a few words",
        json_schema_extra={"example": 'title = "Mugs, bone dry, to 900"'},
    )
    purpose: Purpose = Field(
        "other",
        description="which cautions and limits apply",
        json_schema_extra={"example": 'purpose = "bisque"'},
    )
    unit: Literal["C", "F"] = Field(
        "C",
        description="unit of every temperature and rate in the file",
        json_schema_extra={"example": 'unit = "C"'},
    )
    start: Temperature | None = Field(
        None, description="room temperature that the program starts from; 20 °C if not given"
    )
    notes: Text = Field("", description="free text")
    segment: list[SegmentTable] = Field(
        min_length=1,
        max_length=MAX_SEGMENTS,
        description="the ramps and holds, in order",
        json_schema_extra={"example": "a table [[segment]] with rate and target"},
    )


def _across(data: dict[str, Any], unit: TemperatureUnit) -> list[tuple[KeyPath, str]]:
    """Return what is wrong between one segment and the next, wherever both can be read."""
    found: list[tuple[KeyPath, str]] = []
    start = data.get("start", from_celsius(ROOM_C, unit))
    before, where = start, "the start"
    segments = data.get("segment")
    for index, table in enumerate(segments if isinstance(segments, list) else []):
        target = table.get("target") if isinstance(table, dict) else None
        readable = [
            isinstance(v, int | float) and not isinstance(v, bool) for v in (before, target)
        ]
        if all(readable):
            path: KeyPath = ("segment", index, "target")
            if target == before:
                found.append(
                    (
                        path,
                        f"{target:g} °{unit} equals {where}, so there is nothing to ramp; write "
                        "another target, or put the hold on the segment before",
                    )
                )
            elif table.get("rate") == "off" and target > before:
                found.append(
                    (path, f'{target:g} °{unit} is above {where}, and a kiln that is "off" cools')
                )
            elif table.get("rate") == "unlimited" and target < before:
                found.append(
                    (
                        path,
                        f"{target:g} °{unit} is below {where}; to cool as fast as the kiln does, "
                        'write rate = "off"',
                    )
                )
        before = target
        where = f"the target of segment {index + 1} ({target:g} °{unit})" if readable[1] else ""
    return found


def parse_schedule(text: str, name: str = "schedule") -> Schedule:
    """Read a schedule from TOML text.

    Parameters
    ----------
    text : str
        The file's text.
    name : str
        What faults call the file.

    Returns
    -------
    Schedule

    Raises
    ------
    FaultyFile
        With every fault of the file, each with its line, field, limit and unit.
    """
    table, faults, data = validate(text, name, ScheduleTable)
    unit: TemperatureUnit = "F" if data.get("unit") == "F" else "C"
    lines = key_lines(text)
    known = {(fault.line, fault.field) for fault in faults}
    for path, message in _across(data, unit):
        fault = Fault(name, line_of(path, lines), describe_path(path), message)
        if (fault.line, fault.field) not in known:
            faults.append(fault)
    if faults or table is None:
        raise FaultyFile(faults)
    return _schedule(table)


def _schedule(table: ScheduleTable) -> Schedule:
    unit: TemperatureUnit = table.unit
    segments = []
    for entry in table.segment:
        drive = cast("Drive", entry.rate) if isinstance(entry.rate, str) else "rate"
        rate = None if isinstance(entry.rate, str) else rate_to_celsius(entry.rate, unit)
        segments.append(
            Segment(
                target_c=to_celsius(entry.target, unit),
                rate_c_per_h=rate,
                drive=drive,
                hold_s=parse_duration_s(entry.hold),
                name=entry.name,
                action=entry.action,
            )
        )
    return Schedule(
        title=table.title,
        segments=tuple(segments),
        purpose=table.purpose,
        start_c=ROOM_C if table.start is None else to_celsius(table.start, unit),
        unit=unit,
        notes=table.notes,
    )


def read_schedule(path: Path) -> Schedule:
    """Read a schedule file; see `parse_schedule`."""
    return parse_schedule(read_text(path), str(path))


def schedule_text(schedule: Schedule, base_text: str | None = None) -> str:
    """Return a schedule as the text of its file.

    Parameters
    ----------
    schedule : Schedule
        What to write, in its own unit.
    base_text : str, optional
        The file as it was: its comments, order and notation stay wherever they still say the same.
    """
    data = _data(schedule)
    if base_text is not None:
        # A hold written "1:30" means 1h30m already; only what changes in meaning is rewritten.
        old, faults, raw = validate(base_text, "", ScheduleTable)
        if old is not None and not faults:
            _keep_notation(data, raw, schedule.unit)
    return render(data, base_text)


def _keep_notation(data: dict[str, Any], raw: dict[str, Any], unit: TemperatureUnit) -> None:
    if "start" in raw and raw.get("unit", "C") == unit and "start" not in data:
        data["start"] = plain_number(from_celsius(ROOM_C, unit))
    for key, default in (("purpose", "other"), ("unit", "C"), ("notes", "")):
        if key not in raw and data.get(key) == default:
            data.pop(key, None)
    by_meaning = {
        (i, parse_duration_s(str(t["hold"]))): t["hold"]
        for i, t in enumerate(raw["segment"])
        if "hold" in t
    }
    spellings = {seconds: spelling for (_, seconds), spelling in by_meaning.items()}
    for index, table in enumerate(data["segment"]):
        seconds = parse_duration_s(table.get("hold", "0m"))
        spelling = by_meaning.get((index, seconds), spellings.get(seconds))
        if spelling is not None:
            table["hold"] = spelling


def plain_number(value: float) -> int | float:
    """Return a number as a person would write it: rounded past conversion noise, whole if whole."""
    rounded = round(value, 6)
    return int(rounded) if rounded == int(rounded) else rounded


def _data(schedule: Schedule) -> dict[str, Any]:
    unit = schedule.unit
    data: dict[str, Any] = {"title": schedule.title, "purpose": schedule.purpose, "unit": unit}
    if schedule.start_c != ROOM_C:
        data["start"] = plain_number(from_celsius(schedule.start_c, unit))
    if schedule.notes:
        data["notes"] = schedule.notes
    data["segment"] = []
    for segment in schedule.segments:
        table: dict[str, Any] = {}
        if segment.name:
            table["name"] = segment.name
        table["rate"] = (
            segment.drive
            if segment.rate_c_per_h is None
            else plain_number(rate_from_celsius(segment.rate_c_per_h, unit))
        )
        table["target"] = plain_number(from_celsius(segment.target_c, unit))
        if segment.hold_s:
            table["hold"] = write_duration(segment.hold_s)
        if segment.action:
            table["action"] = segment.action
        data["segment"].append(table)
    return data


def write_schedule(
    schedule: Schedule, path: Path, *, base_text: str | None = None, overwrite: bool = False
) -> None:
    """Write a schedule file whole or not at all, keeping the comments of `base_text`.

    Raises
    ------
    FiringError
        If the file exists and `overwrite` is false, or it cannot be written.
    """
    write_text(path, schedule_text(schedule, base_text), overwrite=overwrite)


__all__ = [
    "PURPOSES",
    "ScheduleTable",
    "parse_schedule",
    "read_schedule",
    "schedule_text",
    "write_schedule",
]
