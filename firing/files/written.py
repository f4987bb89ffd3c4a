"""Figures that carry their own unit: ``volume = "7 cu ft"`` beside ``volume_l = 198``.

A model says which of its numbers may be written so, under which key and as what.  Before it judges
a file, such texts are turned into the plain numbers it knows; faults still name what was written.
What most figures of a file are written in is its owner's unit, and what is printed of it speaks
that unit: °F goes with inches, pounds and cubic feet.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, get_args

from firing.errors import FiringError
from firing.units import (
    SIZE_EXAMPLES,
    Size,
    TemperatureUnit,
    format_size,
    parse_rate_c_per_h,
    parse_size,
    parse_temperature_c,
    rate_from_celsius,
    rate_to_celsius,
    unit_written,
    write_rate,
    write_size,
    write_temperature,
)

if TYPE_CHECKING:
    from pydantic import BaseModel

KeyPath = tuple[str | int, ...]
WrittenAs = Literal["length", "mass", "volume", "temperature", "difference", "rate"]
_SIZES = get_args(Size)

_EXAMPLES: dict[WrittenAs, str] = {
    "length": SIZE_EXAMPLES["length"],
    "mass": SIZE_EXAMPLES["mass"],
    "volume": SIZE_EXAMPLES["volume"],
    "temperature": '"2300F" or "1260C"',
    "difference": '"10F" or "5C"',
    "rate": '"150F/h" or "80C/h"',
}


@dataclass(frozen=True, slots=True)
class Written:
    """One figure as it stands in a file: its key path there, its text, and its unit."""

    path: KeyPath
    text: str
    kind: WrittenAs
    unit: TemperatureUnit


@dataclass(slots=True)
class PlainFigures:
    """A file's data in the plain numbers its model knows."""

    # The data, every figure that carried its unit turned into a number of the model's.
    data: dict[str, Any]
    unit: TemperatureUnit  # the unit of the file's owner
    # By the path that the model knows, what stands in the file.
    written: dict[KeyPath, Written] = field(default_factory=dict)
    # What is wrong with such figures.
    wrong: list[tuple[KeyPath, str]] = field(default_factory=list)


def read_written(text: str, kind: WrittenAs) -> tuple[float, TemperatureUnit]:
    """Read a figure that carries its unit, in mm, kg, l, °C, K or °C/h."""
    if kind in _SIZES:
        return parse_size(text, kind)  # type: ignore[arg-type]  # one of them, as just seen
    unit = unit_written(text)
    if unit is None:
        if re.fullmatch(r"\s*[+-]?[\d.,]+\s*", text):
            raise FiringError(f'"{text}" names no unit; write {_EXAMPLES[kind]}')
        raise FiringError(f'"{text}" is no {kind}; write {_EXAMPLES[kind]}')
    if kind == "temperature":
        return parse_temperature_c(text), unit
    return parse_rate_c_per_h(text), unit


def write_written(value: float, kind: WrittenAs, unit: TemperatureUnit) -> str:
    """Return a figure with its unit, as `read_written` reads it back."""
    if kind == "temperature":
        return write_temperature(value, unit)
    if kind == "rate":
        return write_rate(value, unit)
    if kind == "difference":
        return f"{round(rate_from_celsius(value, unit), 6):.10g}{unit}"
    return write_size(value, kind, unit)


def written_notes(key: str, kind: WrittenAs) -> dict[str, Any]:
    """Return what a model's field says of the key and the kind that it may be written as."""
    return {"written": {"key": key, "as": kind}}


def plain_figures(data: Mapping[str, Any], model: type[BaseModel]) -> PlainFigures:
    """Return a file's data in the plain numbers of its model."""
    stated = data.get("unit")
    found = PlainFigures(dict(data), "F" if stated == "F" else "C")
    places = list(_places(found.data, model, ()))
    units = [unit for place in places if (unit := _unit_of(place)) is not None]
    if "unit" not in data and "F" in units and "unit" in model.model_fields:
        found.unit = "F"
        found.data["unit"] = "F"
        # Numbers in the file's own unit would change their meaning under the owner's hand.
        bare = [p for p in places if p.own and p.key in p.table and not _text(p.table[p.key])]
        if bare:
            found.wrong.append(
                (
                    (*bare[0].path, bare[0].key),
                    f"{bare[0].table[bare[0].key]} carries no unit, and other figures are in °F; "
                    'write unit = "F" or unit = "C" at the top',
                )
            )
    elif "unit" not in model.model_fields:
        present = sum(any(key in p.table for key in (p.name, p.key)) for p in places)
        found.unit = "F" if 2 * units.count("F") > present else "C"
    for place in places:
        _settle(place, found)
    return found


@dataclass(frozen=True, slots=True)
class _Place:
    """A table of the data, and one number of its model that may be written with its unit."""

    table: dict[str, Any]
    path: KeyPath
    name: str
    key: str
    kind: WrittenAs
    example: str

    @property
    def own(self) -> bool:
        """Whether the number has no key of its own: it then counts in the file's unit."""
        return self.key == self.name


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _places(table: dict[str, Any], model: type[BaseModel], path: KeyPath) -> Iterator[_Place]:
    """Yield every number of a model's table, and of the tables in it, that may carry its unit."""
    from pydantic import BaseModel

    for name, info in model.model_fields.items():
        extra = info.json_schema_extra
        notes: Any = extra.get("written") if isinstance(extra, dict) else None
        if isinstance(extra, dict) and isinstance(notes, dict):
            example = str(extra.get("example", "")).partition(" or ")[0]
            yield _Place(table, path, name, notes["key"], notes["as"], example)
        inner = next(
            (kind for kind in _kinds(info.annotation) if issubclass(kind, BaseModel)), None
        )
        held = table.get(name)
        if inner is None or not held:
            continue
        if isinstance(held, dict):
            table[name] = dict(held)
            yield from _places(table[name], inner, (*path, name))
        elif isinstance(held, list):
            table[name] = [dict(entry) if isinstance(entry, dict) else entry for entry in held]
            for number, entry in enumerate(table[name]):
                if isinstance(entry, dict):
                    yield from _places(entry, inner, (*path, name, number))


def _kinds(annotation: Any) -> Iterator[type]:
    if isinstance(annotation, type) and not get_args(annotation):
        yield annotation
    for part in get_args(annotation):
        yield from _kinds(part)


def _unit_of(place: _Place) -> TemperatureUnit | None:
    value = place.table.get(place.key)
    if not isinstance(value, str):
        return None
    try:
        return read_written(value, place.kind)[1]
    except FiringError:
        return None


def _settle(place: _Place, found: PlainFigures) -> None:
    """Turn what is written at a place into the number its model knows, or say what is wrong."""
    table, name, key = place.table, place.name, place.key
    here: KeyPath = (*place.path, key)
    if not place.own and _text(table.get(name)):
        given = table.pop(name)
        words = f'"{given}" stands where a number belongs, like {place.example}'
        try:
            read_written(given, place.kind)
            words = f'"{given}" carries its own unit; write {key} = "{given}"'
        except FiringError:
            words += f", or {key} = {_EXAMPLES[place.kind]}"
        found.wrong.append(((*place.path, name), words))
        return
    if key not in table or (place.own and not _text(table[key])):
        return
    given = table.pop(key)
    if not place.own and name in table:
        found.wrong.append((here, f"stands beside {name}; keep one of the two"))
        return
    if not isinstance(given, str):
        words = f"{given} names no unit; write {key} = {_EXAMPLES[place.kind]}"
        found.wrong.append((here, f"{words}, or {place.example}"))
        return
    try:
        value, unit = read_written(given, place.kind)
    except FiringError as error:
        found.wrong.append((here, str(error)))
        return
    table[name] = rate_from_celsius(value, found.unit) if place.own else value
    found.written[(*place.path, name)] = Written(here, given, place.kind, unit)


def limit_words(written: Written, limit: float, file_unit: TemperatureUnit) -> str:
    """Return a model's limit in the unit that a figure was written in."""
    kind, unit = written.kind, written.unit
    if kind in _SIZES:
        return format_size(limit, kind, unit, by_rule=False)  # type: ignore[arg-type]  # one of them
    if kind == "temperature":
        return write_temperature(limit, unit)
    return write_written(rate_to_celsius(limit, file_unit), kind, unit)


def describe_written(schema: dict[str, Any]) -> None:
    """Add to the JSON Schema of a table the keys under which its numbers carry their unit."""
    required = list(schema.get("required", ()))
    either = []
    for name, entry in list(schema.get("properties", {}).items()):
        notes = entry.pop("written", None)
        if notes is None:
            continue
        example = _EXAMPLES[notes["as"]]
        if notes["key"] == name:
            entry["description"] = f"{entry.get('description', '')}; or with its unit: {example}"
            entry["anyOf"] = [
                {k: entry.pop(k) for k in list(entry) if k in _NUMERIC},
                {"type": "string"},
            ]
            continue
        schema["properties"][notes["key"]] = {
            "type": "string",
            "description": f"{entry.get('description', '')}, with its unit: {example}",
        }
        entry["written"] = {"key": notes["key"], "as": notes["as"]}
        if name in required:
            required.remove(name)
            either.append({"anyOf": [{"required": [name]}, {"required": [notes["key"]]}]})
    if "required" in schema:
        schema["required"] = required
    if either:
        schema["allOf"] = either


_NUMERIC = ("type", "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum")
