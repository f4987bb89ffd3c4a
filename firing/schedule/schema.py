"""What a schedule file may hold: each key with what its value may be, what it means, an example.

A check of a value returns it or raises `ValueError` with a whole sentence: what, the limit with its
unit, what to write instead.  A file without a fault is read by these checks alone; the model that
names every fault of any other, and is the JSON Schema, is made from the same table of keys.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any

from firing.errors import FiringError
from firing.files.tomlfile import clean, shown, suggest
from firing.schedule.schedule import PURPOSES
from firing.units import (
    SECONDS_PER_HOUR,
    TemperatureUnit,
    from_celsius,
    parse_duration_s,
    parse_rate_c_per_h,
    parse_temperature_c,
    rate_from_celsius,
    to_celsius,
    unit_written,
)

if TYPE_CHECKING:
    from pydantic import BaseModel

# They catch slips of the key, not unsafe plans: an electric kiln for stoneware ends near 1300 °C
# and the hottest cone of the chart at 1384 °C.
TARGET_C = (0.0, 1450.0)
RATE_C_PER_H = (0.5, 2000.0)
HOLD_S = (0.0, 100 * SECONDS_PER_HOUR)
MAX_SEGMENTS = 99


def plain_data(data: dict[str, Any]) -> dict[str, Any]:
    """Return a file's data with every temperature and rate that carries its unit as a plain number.

    In a file that names no unit, °F at every figure makes it one in °F.  What cannot be read, and a
    mixture that nobody can settle, stays as it is for the keys' own checks to answer.
    """
    places = list(_figures(data))
    written = [unit_written(table[key]) for table, key, _ in places if _is_text(table[key])]
    if not any(written):
        return data
    unit = unit_of(data)
    done = {**data, "segment": data.get("segment")}
    if "unit" not in data and "F" in written:
        if any(not _is_text(table[key]) for table, key, _ in places):
            return data
        unit = done["unit"] = "F"
    if isinstance(data.get("segment"), list):
        done["segment"] = [dict(t) if isinstance(t, dict) else t for t in data["segment"]]
    elif "segment" not in data:
        del done["segment"]
    for table, key, rate in _figures(done):
        if _is_text(table[key]) and unit_written(table[key]) is not None:
            table[key] = _in_unit(table[key], unit, rate)
    return done


def _is_text(value: Any) -> bool:
    return isinstance(value, str) and value not in ("unlimited", "off")


def _figures(data: dict[str, Any]) -> Iterator[tuple[dict[str, Any], str, bool]]:
    """Yield the table and the key of every temperature and rate, and whether it is a rate."""
    if "start" in data:
        yield data, "start", False
    segments = data.get("segment")
    for table in segments if isinstance(segments, list) else ():
        if isinstance(table, dict):
            if table.get("rate") not in (None, "unlimited", "off"):
                yield table, "rate", True
            if "target" in table:
                yield table, "target", False


def _in_unit(text: str, unit: TemperatureUnit, rate: bool) -> Any:
    try:
        if rate:
            return round(rate_from_celsius(parse_rate_c_per_h(text), unit), 9)
        return round(from_celsius(parse_temperature_c(text), unit), 9)
    except FiringError:
        return text


def _number(value: Any, example: str) -> float:
    if isinstance(value, str) and unit_written(value) is not None:
        raise ValueError(
            f'"{clean(value)}" carries its unit and other figures carry none; write unit = "F" or '
            'unit = "C" at the top'
        )
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        given = shown(value)
        raise ValueError(f"{given} stands where a number belongs; write {example}")
    return float(value)


def _range(low_c: float, high_c: float, unit: TemperatureUnit, rate: bool = False) -> str:
    convert = rate_from_celsius if rate else from_celsius
    suffix = "/h" if rate else ""
    return f"{convert(low_c, unit):g} to {convert(high_c, unit):g} °{unit}{suffix}"


def _temperature(key: str) -> Callable[[Any, TemperatureUnit], float]:
    """Return a check for a temperature that a file may ask for; `key` is its name there."""

    def check(value: Any, unit: TemperatureUnit) -> float:
        example = f"{key} = {from_celsius(900, unit):g}"
        number = _number(value, example)
        if not TARGET_C[0] <= to_celsius(number, unit) <= TARGET_C[1]:
            outside = f"{number:g} °{unit} is outside {_range(*TARGET_C, unit)}"
            # Above the kilns there are in °C, and a firing in °F: the unit is what is missing.
            if unit == "C" and TARGET_C[0] <= to_celsius(number, "F") <= TARGET_C[1]:
                raise ValueError(
                    f"{outside}; did you mean {number:g} °F ({to_celsius(number, 'F'):.0f} °C)? "
                    'Then write unit = "F" at the top'
                )
            raise ValueError(f"{outside}; write a figure in that range, like {example}")
        return number

    return check


def _check_rate(value: Any, unit: TemperatureUnit) -> float | str:
    """Return a rate in degrees of `unit` per hour, ``"unlimited"`` or ``"off"``."""
    words = f'a rate in {_range(*RATE_C_PER_H, unit, rate=True)}, "unlimited" or "off"'
    if isinstance(value, str):
        if value in ("unlimited", "off"):
            return value
        if unit_written(value) is None:
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


def _check_hold(value: Any) -> str:
    """Return a hold as it is written if it is a duration of 0 to 100 h."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError('a hold is text; write "30m", "6h", "1h30m" or "1:30" (h:mm)')
    try:
        hold_s = parse_duration_s(clean(str(value)))
    except FiringError as error:
        raise ValueError(str(error)) from None
    if hold_s > HOLD_S[1]:
        raise ValueError(
            f"{shown(value)} is longer than {HOLD_S[1] / SECONDS_PER_HOUR:.0f} h; write 0 to "
            f'{HOLD_S[1] / SECONDS_PER_HOUR:.0f} h, like "30m"'
        )
    return str(value)


def _one_line(longest: int) -> Callable[[Any], str]:
    """Return a check for text on one plain line of at most `longest` characters."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError(f"{shown(value)} stands where text in quotes belongs")
        if clean(value) != value:
            raise ValueError("holds a line break or control character; write it on one plain line")
        if len(value) > longest:
            raise ValueError(f"is {len(value)} characters long; write at most {longest}")
        return value

    return check


def _check_text(value: Any) -> str:
    """Return text of any number of lines, control characters made visible."""
    if not isinstance(value, str):
        raise ValueError(f"{shown(value)} stands where text in quotes belongs")
    return "\n".join(clean(line) for line in value.splitlines())


def _check_title(value: Any) -> str:
    """Return a title if it says something."""
    title = _one_line(120)(value)
    if not title.strip():
        raise ValueError('is empty; write what is fired and why, like title = "Mugs, bone dry"')
    return title


def _one_of(words: tuple[str, ...]) -> Callable[[Any], str]:
    """Return a check for one of a few words."""

    def check(value: Any) -> str:
        if value not in words:
            raise ValueError(f"{shown(value)} is not known; {suggest(str(value), words)}")
        return str(value)

    return check


def _check_cone(value: Any) -> str:
    """Return a cone in its printed spelling."""
    from firing.cones.table import parse_cone

    if not isinstance(value, str):
        raise ValueError(f'{shown(value)} is no cone in quotes; write cone = "6" or cone = "06"')
    try:
        return parse_cone(value)
    except FiringError as error:
        raise ValueError(str(error)) from None


_check_line = _one_line(200)

WARE_DONE_KEYS = ("paths_mm", "drying", "bound_water", "burn_out")
_WARE_DONE = 'ware_done = {paths_mm = [8, 8, 8], drying = 2.5, bound_water = 0.4, burn_out = "30m"}'


def _check_ware_done(value: Any) -> dict[str, Any]:
    """Return what an earlier firing has done to the ware, if it is all there and can be."""
    if not isinstance(value, dict) or set(value) != set(WARE_DONE_KEYS):
        raise ValueError(f"holds {', '.join(WARE_DONE_KEYS)} and no more; write {_WARE_DONE}")
    paths = value["paths_mm"]
    if not isinstance(paths, list) or len(paths) != 3:
        raise ValueError(f"paths_mm holds three lengths in mm; write {_WARE_DONE}")
    lengths = [_number(path, _WARE_DONE) for path in paths]
    drying = _number(value["drying"], _WARE_DONE)
    bound_water = _number(value["bound_water"], _WARE_DONE)
    if not (all(0.0 < length <= 1000.0 for length in lengths) and 0.0 <= drying <= 1e9):
        raise ValueError(f"paths_mm are above 0 and drying is not below it; write {_WARE_DONE}")
    if not 0.0 <= bound_water <= 1.0:
        raise ValueError(f"bound_water is a share from 0 to 1; write {_WARE_DONE}")
    return {
        "paths_mm": lengths,
        "drying": drying,
        "bound_water": bound_water,
        "burn_out": _check_hold(value["burn_out"]),
    }


REQUIRED: Any = ...


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table."""

    # Returns a value, given with the file's unit, or raises `ValueError` with a sentence.
    check: Callable[[Any, TemperatureUnit], Any]
    # What it means, and how it is written.
    description: str
    example: str = ""
    default: Any = REQUIRED  # what leaving it out means; `REQUIRED` if it has to be there
    shape: Mapping[str, Any] = field(default_factory=lambda: {"type": "string"})  # its JSON Schema


def _plain(check: Callable[[Any], Any]) -> Callable[[Any, TemperatureUnit], Any]:
    return lambda value, _: check(value)


SEGMENT_KEYS = {
    "name": Key(_plain(_check_line), "what the segment is for", default=""),
    "rate": Key(
        _check_rate,
        'degrees of the file\'s unit per hour, "unlimited" (all the power there is) or "off" '
        "(elements off until the target)",
        "rate = 60",
        shape={
            "anyOf": [
                {"type": "number", "exclusiveMinimum": 0},
                {"enum": ["unlimited", "off"]},
                {"type": "string", "description": 'with its unit, "108F/h" or "60C/h"'},
            ]
        },
    ),
    "target": Key(
        _temperature("target"),
        "temperature the ramp ends at, in the file's unit",
        "target = 900",
        shape={
            "anyOf": [
                {"type": "number"},
                {"type": "string", "description": 'with its unit, "2190F" or "1200C"'},
            ]
        },
    ),
    "hold": Key(
        _plain(_check_hold),
        'time kept at the target: "6h", "1h30m", "90m" or "1:30" (h:mm)',
        'hold = "30m"',
        default="0m",
    ),
    "action": Key(_plain(_check_line), "what a person does when this segment ends", default=""),
}

SCHEDULE_KEYS = {
    "title": Key(
        _plain(_check_title),
        "ware and purpose in a few words",
        'title = "Mugs, bone dry, to 900"',
        shape={"type": "string", "minLength": 1},
    ),
    "purpose": Key(
        _plain(_one_of(PURPOSES)),
        "which cautions and limits apply",
        'purpose = "bisque"',
        default="other",
        shape={"enum": list(PURPOSES), "type": "string"},
    ),
    "unit": Key(
        _plain(_one_of(("C", "F"))),
        "unit of every temperature and rate in the file",
        'unit = "C"',
        default="C",
        shape={"enum": ["C", "F"], "type": "string"},
    ),
    "start": Key(
        _temperature("start"),
        "room temperature that the program starts from; 20 °C if not given",
        default=None,
        shape={"anyOf": [{"type": "number"}, {"type": "string"}, {"type": "null"}]},
    ),
    "cone": Key(
        _plain(_check_cone),
        "the cone the firing is for: forecast, card, watch and review speak of it",
        'cone = "6"',
        default=None,
        shape={"anyOf": [{"type": "string"}, {"type": "null"}]},
    ),
    "ware_done": Key(
        _plain(_check_ware_done),
        "what an earlier firing has done to the ware, as a resumed one writes it: how far water, "
        "steam and air go in it, drying as the Fourier number of moisture, share of the bound "
        "water gone, time in the burn-out; counts for ware no thicker",
        _WARE_DONE,
        default=None,
        shape={
            "anyOf": [
                {
                    "type": "object",
                    "properties": {
                        "paths_mm": {"type": "array", "items": {"type": "number"}},
                        "drying": {"type": "number", "minimum": 0},
                        "bound_water": {"type": "number", "minimum": 0, "maximum": 1},
                        "burn_out": {"type": "string"},
                    },
                    "required": list(WARE_DONE_KEYS),
                    "additionalProperties": False,
                },
                {"type": "null"},
            ]
        },
    ),
    "notes": Key(_plain(_check_text), "free text", default=""),
}
"""Every key of a schedule file but ``segment``, a list of tables of `SEGMENT_KEYS`."""


def unit_of(data: Mapping[str, Any]) -> TemperatureUnit:
    """Return the unit of a file's data, °C wherever they do not say °F."""
    return "F" if data.get("unit") == "F" else "C"


def checked(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return every value of a file without a fault, given or by default."""
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
