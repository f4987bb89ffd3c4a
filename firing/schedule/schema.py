"""The keys of a schedule file: for each what its value may be, what it means and an example.

One table a level of the file.  A file without a fault is read by these checks alone; the model
that names every fault of any other, and is the JSON Schema, is made from the same tables.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any

from firing.schedule.schedule import PURPOSES
from firing.schedule.values import (
    MAX_SEGMENTS,
    check_hold,
    check_line,
    check_rate,
    check_temperature,
    check_text,
    check_title,
    one_of,
)
from firing.units import TemperatureUnit

if TYPE_CHECKING:
    from pydantic import BaseModel

REQUIRED: Any = ...


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table.

    Attributes
    ----------
    check : callable
        Returns a value, given with the file's unit, or raises `ValueError` with a sentence.
    description, example : str
        What it means, and how it is written.
    default : object
        What leaving it out means; `REQUIRED` if it has to be there.
    shape : mapping
        Its JSON Schema.
    """

    check: Callable[[Any, TemperatureUnit], Any]
    description: str
    example: str = ""
    default: Any = REQUIRED
    shape: Mapping[str, Any] = field(default_factory=lambda: {"type": "string"})


def _plain(check: Callable[[Any], str]) -> Callable[[Any, TemperatureUnit], str]:
    return lambda value, _: check(value)


def _temperature(key: str) -> Callable[[Any, TemperatureUnit], float]:
    return lambda value, unit: check_temperature(value, unit, key)


SEGMENT_KEYS = {
    "name": Key(_plain(check_line), "what the segment is for", default=""),
    "rate": Key(
        check_rate,
        'degrees of the file\'s unit per hour, "unlimited" (all the power there is) or "off" '
        "(elements off until the target)",
        "rate = 60",
        shape={
            "anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"enum": ["unlimited", "off"]}]
        },
    ),
    "target": Key(
        _temperature("target"),
        "temperature the ramp ends at, in the file's unit",
        "target = 900",
        shape={"type": "number"},
    ),
    "hold": Key(
        _plain(check_hold),
        'time kept at the target: "6h", "1h30m", "90m" or "1:30" (h:mm)',
        'hold = "30m"',
        default="0m",
    ),
    "action": Key(_plain(check_line), "what a person does when this segment ends", default=""),
}

SCHEDULE_KEYS = {
    "title": Key(
        _plain(check_title),
        "ware and purpose in a few words",
        'title = "Mugs, bone dry, to 900"',
        shape={"type": "string", "minLength": 1},
    ),
    "purpose": Key(
        _plain(one_of(PURPOSES)),
        "which cautions and limits apply",
        'purpose = "bisque"',
        default="other",
        shape={"enum": list(PURPOSES), "type": "string"},
    ),
    "unit": Key(
        _plain(one_of(("C", "F"))),
        "unit of every temperature and rate in the file",
        'unit = "C"',
        default="C",
        shape={"enum": ["C", "F"], "type": "string"},
    ),
    "start": Key(
        _temperature("start"),
        "room temperature that the program starts from; 20 °C if not given",
        default=None,
        shape={"anyOf": [{"type": "number"}, {"type": "null"}]},
    ),
    "notes": Key(_plain(check_text), "free text", default=""),
}
"""Every key of a schedule file but ``segment``, a list of tables of `SEGMENT_KEYS`."""


def unit_of(data: Mapping[str, Any]) -> TemperatureUnit:
    """Return the unit of a file's data, °C wherever they do not say °F."""
    return "F" if data.get("unit") == "F" else "C"


def checked(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return every value of a file without a fault, given or by default.

    Raises
    ------
    ValueError
        If there is any fault within one key; `table_model` names them all.
    """
    unit = unit_of(data)
    segments = data.get("segment")
    if not isinstance(segments, list) or not 1 <= len(segments) <= MAX_SEGMENTS:
        raise ValueError("segment")
    head = {key: value for key, value in data.items() if key != "segment"}
    tables = [_checked(table, SEGMENT_KEYS, unit) for table in segments]
    return {**_checked(head, SCHEDULE_KEYS, unit), "segment": tables}


def _checked(table: Any, keys: Mapping[str, Key], unit: TemperatureUnit) -> dict[str, Any]:
    if not isinstance(table, dict) or not table.keys() <= keys.keys():
        raise ValueError("table")
    found = {
        name: key.check(table[name], unit) if name in table else key.default
        for name, key in keys.items()
    }
    if REQUIRED in found.values():
        raise ValueError("missing")
    return found


@cache
def table_model() -> type[BaseModel]:
    """Return the model of a schedule file, which names all its faults at once."""
    from pydantic import ConfigDict, Field, create_model

    strict = ConfigDict(extra="forbid", strict=True)
    segment = create_model(
        "SegmentTable",
        __config__=strict,
        __doc__="One ``[[segment]]`` of a schedule file.",
        **_fields(SEGMENT_KEYS),
    )
    segments = Field(
        min_length=1,
        max_length=MAX_SEGMENTS,
        description="the ramps and holds, in order",
        json_schema_extra={"example": "a table [[segment]] with rate and target"},
    )
    return create_model(
        "ScheduleTable",
        __config__=strict | {"title": "Firing schedule"},
        __doc__="A schedule file.",
        **_fields(SCHEDULE_KEYS),
        segment=(list[segment], segments),  # type: ignore[valid-type]  # made just above
    )


def _fields(keys: Mapping[str, Key]) -> dict[str, Any]:
    from pydantic import Field, PlainValidator, ValidationInfo, WithJsonSchema

    def validator(key: Key) -> PlainValidator:
        def check(value: Any, info: ValidationInfo) -> Any:
            return key.check(value, unit_of((info.context or {}).get("data", {})))

        return PlainValidator(check)

    return {
        name: (
            Annotated[Any, validator(key), WithJsonSchema(dict(key.shape))],
            Field(
                key.default,
                description=key.description,
                json_schema_extra={"example": key.example} if key.example else None,
            ),
        )
        for name, key in keys.items()
    }
