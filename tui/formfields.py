"""The fields of a form, from the schema of the file that it edits: text to value and back.

Nothing is judged here: what cannot be read as a field's kind is handed on as text, for the file's
own reader to answer.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from firing.errors import FiringError
from firing.report.sanitize import plain
from firing.schedule.file import plain_number
from firing.units import parse_temperature_c

FieldKind = Literal["text", "number", "temperature", "choice", "date", "points"]

_INTEGER = re.compile(r"[+-]?\d{1,15}", re.ASCII)
_FLOAT = re.compile(
    r"[+-]?(\d{1,15}\.\d{0,15}|\.\d{1,15}|\d{1,15})(e[+-]?\d{1,2})?", re.ASCII | re.I
)


@dataclass(frozen=True, slots=True)
class Field:
    """One key of a file, as a form shows it.

    Attributes
    ----------
    key, label : str
        In the file, and in words.
    kind : str
        What is written into it.
    about, limits, unit : str
        What it is, what may be written, and what its numbers are counted in.
    options : tuple of (object, str)
        Values and their words, where it holds one of a few.
    required : bool
        Whether the file must have it.
    left_out : str
        What holds if the file does not have it; empty if nothing definite does.
    """

    key: str
    label: str
    kind: FieldKind = "text"
    about: str = ""
    limits: str = ""
    unit: str = ""
    options: tuple[tuple[Any, str], ...] = ()
    required: bool = False
    left_out: str = ""


def fields_of(
    schema: Mapping[str, Any],
    labels: Mapping[str, str],
    *,
    choices: Mapping[str, Sequence[str]] | None = None,
    temperatures: Sequence[str] = (),
) -> dict[str, Field]:
    """Return the fields of one table of a file, by their keys.

    Parameters
    ----------
    schema : mapping
        JSON schema of the table, as ``firing schema`` prints it.
    labels : mapping
        What keys are called; a key without a label, which would be a list of tables or a table, has
        no field.
    choices : mapping, optional
        What a key may hold beyond what the schema says.
    temperatures : sequence of str
        Keys that hold a temperature, which may be written with its unit.
    """
    required = schema.get("required", ())
    found: dict[str, Field] = {}
    for key, entry in schema["properties"].items():
        if key not in labels:
            continue
        kind, options = _kind(entry, (choices or {}).get(key, ()))
        if key in temperatures:
            kind = "temperature"
        unit = str(entry.get("unit", ""))
        default = entry.get("default")
        known = None if default in (None, "") else _word(default)
        found[key] = Field(
            key=key,
            label=labels[key],
            kind=kind,
            about=str(entry.get("description", "")),
            limits=_limits(entry, kind, unit),
            unit=unit,
            options=options,
            required=key in required,
            left_out="" if known is None else f"{known} {unit}".rstrip(),
        )
    return found


def _kind(entry: Mapping[str, Any], more: Sequence[str]) -> tuple[FieldKind, tuple[Any, ...]]:
    shapes = [entry, *entry.get("anyOf", ())]
    values: list[Any] = [value for shape in shapes for value in shape.get("enum", more)]
    types = {shape.get("type") for shape in shapes}
    if "boolean" in types:
        values = [False, True]
    if values:
        return "choice", tuple((value, _word(value)) for value in dict.fromkeys(values))
    if "array" in types:
        return "points", ()
    if any(shape.get("format") == "date" for shape in shapes):
        return "date", ()
    return ("number" if types & {"number", "integer"} else "text"), ()


def _limits(entry: Mapping[str, Any], kind: FieldKind, unit: str) -> str:
    if kind == "choice":
        return "space: the next, enter: all"
    if kind == "date":
        return "year-month-day"
    if kind == "points":
        return "a number, or pairs of °C and value"
    if kind == "text":
        return "a few words"
    bounds: dict[str, Any] = {}
    for shape in [entry, *entry.get("anyOf", ())]:
        bounds.update(shape)
    low, above, high = (bounds.get(k) for k in ("minimum", "exclusiveMinimum", "maximum"))
    if above is not None:
        return f"above {above:g}, up to {high:g} {unit}".rstrip()
    return f"{low:g} to {high:g} {unit}".rstrip()


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return _text(value)


def _text(value: Any) -> str:
    if isinstance(value, str):
        return plain(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    if isinstance(value, list):
        return "[" + ", ".join(map(_text, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{plain(key)} = {_text(v)}" for key, v in value.items()) + "}"
    return value.isoformat() if isinstance(value, date) else str(value)


def same(one: Any, other: Any) -> bool:
    """Whether two values are written alike; 1 and true are not."""
    return type(one) is type(other) and bool(one == other)


def option_of(field: Field, value: Any) -> int | None:
    """Return which of a field's options a value is."""
    return next((n for n, (known, _) in enumerate(field.options) if same(known, value)), None)


def value_text(field: Field | None, value: Any) -> str:
    """Return a value as it is shown and edited, whatever it is; empty if there is none."""
    if value is None:
        return ""
    if field is not None and field.kind == "choice":
        at = option_of(field, value)
        if at is not None:
            return field.options[at][1]
    return _text(value)


def text_value(field: Field, text: str) -> Any:
    """Return what was typed as the value a file would hold; None leaves the key out."""
    typed = text.strip()
    if not typed:
        return None
    if field.kind == "choice":
        return _chosen(field, typed)
    if field.kind in ("number", "temperature"):
        return _number(field, typed)
    if field.kind == "date":
        try:
            return date.fromisoformat(typed)
        except ValueError:
            return typed
    if field.kind == "points":
        try:
            value = tomllib.loads(f"value = {typed}")["value"]
        except tomllib.TOMLDecodeError:
            return typed
        return value if isinstance(value, int | float | list) else typed
    return typed


def _chosen(field: Field, typed: str) -> Any:
    for value, word in field.options:
        if typed.casefold() in (word.casefold(), _text(value).casefold()):
            return value
    numbers = all(type(value) is int for value, _ in field.options)
    return int(typed) if numbers and _INTEGER.fullmatch(typed) else typed


def _number(field: Field, typed: str) -> Any:
    if field.kind == "temperature":
        try:
            return plain_number(parse_temperature_c(typed, "C"))
        except FiringError:
            return typed
    bare = typed.removesuffix(field.unit).rstrip() if field.unit else typed
    if _INTEGER.fullmatch(bare):
        return int(bare)
    return float(bare) if _FLOAT.fullmatch(bare) else typed
