"""A field of a form, whichever form it stands in, and the readers of what is typed into it."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from firing.errors import FiringError
from firing.files.written import WrittenAs, read_written
from firing.report.sanitize import plain
from firing.schedule.file import plain_number
from firing.units import TemperatureUnit, parse_temperature_c

FieldKind = Literal["text", "number", "temperature", "choice", "date", "points"]
Reader = Callable[[str], Any]
"""Turns a text into a value, or refuses it with a `FiringError`."""
Option = tuple[Any, str]
"""A value and its words."""

_INTEGER = re.compile(r"[+-]?\d{1,15}", re.ASCII)
_FLOAT = re.compile(
    r"[+-]?(\d{1,15}\.\d{0,15}|\.\d{1,15}|\d{1,15})(e[+-]?\d{1,2})?", re.ASCII | re.I
)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)
_DAY_FIRST = re.compile(r"(\d{1,2})\. ?(\d{1,2})\. ?(\d{4})", re.ASCII)
_PAIR = re.compile(r"(\d+(?:[.,]\d+)?) ?°?C?: ?(\d+(?:[.,]\d+)?)", re.ASCII)
_BETWEEN = re.compile(r";|, ")
"""Pairs of °C and value, written ``400: 0.14, 1000: 0.2``."""
_COMMA = re.compile(r"[+-]?\d{1,15},\d{1,15}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that a form asks for.

    Attributes
    ----------
    key, label : str
        Its name in the file or among the options, and in words.
    about : str
        What it is, and what may be written.
    read : Reader
        Turns what was typed into its value; the library's own parser.
    options : sequence of Option
        Where it holds one of a few.
    when : (str, object) or None
        Another field and the value it must hold for this one to be asked; None if it always is.
    lines : int
        More than one for a text of several lines.
    kind : FieldKind
        Of the file's value.
    limits, unit : str
        What a file may hold, and what its numbers are counted in.
    required : bool
        Whether the file must have it.
    written : (str, WrittenAs) or None
        The key under which the file holds it with its unit, and what it is then read as.
    left_out : str
        What holds if the file does not have it; empty if nothing definite does.
    """

    key: str
    label: str
    about: str = ""
    read: Reader = str
    options: Sequence[Option] = ()
    when: tuple[str, Any] | None = None
    lines: int = 1
    kind: FieldKind = "text"
    limits: str = ""
    unit: str = ""
    required: bool = False
    left_out: str = ""
    written: tuple[str, WrittenAs] | None = None

    def held(self, table: Mapping[str, Any]) -> Any:
        """Return what a table of the file holds for it, as a number or with its unit, or None."""
        found = table.get(self.key)
        return table.get(self.written[0]) if found is None and self.written else found

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys the file may hold it under."""
        return (self.key,) if self.written is None else (self.key, self.written[0])

    def key_for(self, value: Any) -> str:
        """Return the key that a value of it goes under: one that carries °F, in or lb has its own.

        A value in metric units is a plain number by the time it is written.
        """
        if self.written is None or not isinstance(value, str):
            return self.key
        try:
            read_written(value, self.written[1])
        except FiringError:
            return self.key
        return self.written[0]


# Readers


def optional(read: Reader) -> Reader:
    """Return a reader that takes an empty text for None."""
    return lambda text: read(text.strip()) if text.strip() else None


text_or_none = optional(str)
"""A few words, or none."""


def temperature(unit: TemperatureUnit) -> Reader:
    """Return a reader of a temperature in °C, written in `unit` if it carries none."""
    return lambda text: parse_temperature_c(text, unit)


def cone_name(text: str) -> str:
    """Return the designation of a cone."""
    from firing.cones.table import parse_cone

    return parse_cone(text)


def whole_number(what: str, example: int) -> Reader:
    """Return a reader of a count, or none."""

    def read(text: str) -> int:
        if not text.isdecimal():
            raise FiringError(f'"{text}" is no {what}; write a whole number such as {example}')
        return int(text)

    return optional(read)


# Values of a file.  Nothing is judged here: what cannot be read as a field's kind is handed on as
# text, for the file's own reader to answer.


def file_reader(
    kind: FieldKind,
    unit: str,
    options: Sequence[Option],
    written: tuple[str, WrittenAs] | None = None,
    within: tuple[float, float] | None = None,
) -> Reader:
    """Return a reader of what a file would hold; an empty text leaves the key out.

    `within` are the least and the most that a number may be.
    """
    readers: dict[FieldKind, Reader] = {
        "text": str,
        "choice": lambda typed: _chosen(options, typed),
        "number": lambda typed: _number(
            typed.removesuffix(unit).rstrip() if unit else typed, typed, within
        ),
        "temperature": _temperature,
        "date": _date,
        "points": _points,
    }
    read = readers[kind]
    return optional(read if written is None else lambda typed: _carrying(typed, written[1], read))


def _carrying(typed: str, kind: WrittenAs, read: Reader) -> Any:
    """Return a figure in °F, in, lb or cu ft as it was typed, and any other as a plain number."""
    try:
        value, unit = read_written(typed, kind)
    except FiringError:
        return read(typed)
    return typed if unit == "F" else plain_number(value)


def _chosen(options: Sequence[Option], typed: str) -> Any:
    for value, word in options:
        if typed.casefold() in (word.casefold(), _text(value).casefold()):
            return value
    numbers = all(type(value) is int for value, _ in options)
    return int(typed) if numbers and _INTEGER.fullmatch(typed) else typed


def _number(bare: str, typed: str, within: tuple[float, float] | None) -> Any:
    if _THOUSANDS.fullmatch(bare):
        grouped, decimal = bare.replace(",", ""), bare.replace(",", ".")
        low, high = within or (-math.inf, math.inf)
        fits = [one for one in (grouped, decimal) if low <= float(one) <= high]
        if len(fits) != 1:
            raise FiringError(f'"{typed}" may be {grouped} or {float(decimal):g}; write it so')
        bare = fits[0]
    if _COMMA.fullmatch(bare):
        bare = bare.replace(",", ".")
    if _INTEGER.fullmatch(bare):
        return int(bare)
    return float(bare) if _FLOAT.fullmatch(bare) else typed


def _temperature(typed: str) -> Any:
    try:
        return plain_number(parse_temperature_c(typed, "C"))
    except FiringError:
        return typed


def _date(typed: str) -> Any:
    found = _DAY_FIRST.fullmatch(typed)
    try:
        if found is None:
            return date.fromisoformat(typed)
        return date(int(found[3]), int(found[2]), int(found[1]))
    except ValueError:
        return typed


def _points(typed: str) -> Any:
    if _COMMA.fullmatch(typed):
        typed = typed.replace(",", ".")
    pairs = [_PAIR.fullmatch(part.strip()) for part in _BETWEEN.split(typed)]
    if all(pairs):
        return [
            [float(pair[1].replace(",", ".")), float(pair[2].replace(",", "."))]
            for pair in pairs
            if pair is not None
        ]
    try:
        value = tomllib.loads(f"value = {typed}")["value"]
    except tomllib.TOMLDecodeError:
        return typed
    return value if isinstance(value, int | float | list) else typed


def value_text(field: Field | None, value: Any) -> str:
    """Return a value as it is shown and edited, whatever it is; empty if there is none."""
    if value is None:
        return ""
    known = field.options if field is not None and field.kind == "choice" else ()
    return next((word for one, word in known if same(one, value)), _text(value))


def option_words(value: Any) -> str:
    """Return the words of one of a few values."""
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
        if value and all(_is_pair(pair) for pair in value):
            return ", ".join(f"{_text(at_c)}: {_text(number)}" for at_c, number in value)
        return "[" + ", ".join(map(_text, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{plain(key)} = {_text(v)}" for key, v in value.items()) + "}"
    return value.isoformat() if isinstance(value, date) else str(value)


def _is_pair(value: Any) -> bool:
    return isinstance(value, list) and [type(n) in (int, float) for n in value] == [True, True]


def same(one: Any, other: Any) -> bool:
    """Whether two values are written alike; 1 and true are not."""
    return type(one) is type(other) and bool(one == other)
