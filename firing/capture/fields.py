"""A line of text, field by field, as the user's list of fields says.

Strict on purpose: a line that is not exactly what the list says is refused whole and counted, as
the damaged halves of two lines may look like one with other numbers.
"""

from __future__ import annotations

import math
import re
import shlex
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from firing.capture.reading import (
    JUNCTION_FIELD,
    OUTPUT_FIELD,
    Converter,
    Reading,
    SourceUnit,
    Status,
    duty_from_percent,
    plain_converter,
)
from firing.errors import FiringError
from firing.logs.plausibility_limits import LIVE_COLDEST_C, LIVE_HOTTEST_C
from firing.units import celsius_from_fahrenheit

UNUSED_FIELD = "-"
NO_CHANNEL = (UNUSED_FIELD, JUNCTION_FIELD, OUTPUT_FIELD)
OVERLOAD_SIZE = 9.9e36
"""SCPI instruments answer ±9.9E37 for an overload and 9.91E37 for no number (SCPI-1999, 7.2.1.4
and 7.2.1.5, cited from memory); no temperature comes near."""

_NUMBER = rb"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?"
_CELL = re.compile(
    rb"\s*(?:[A-Za-z][\w .#/()-]{0,30}?\s*[:=]\s*)?(%s)\s*"
    rb"(?:(?:\xc2\xb0|\xb0|deg\.?\s?)?\s*([CFcf])|(mV))?\s*" % _NUMBER
)
_OUTPUT = re.compile(rb"\s*(?:[A-Za-z][\w .#/()-]{0,30}?\s*[:=]\s*)?(%s)\s*%%?\s*" % _NUMBER)
_LABEL = re.compile(rb"\s*[A-Za-z][\w .#/()-]{0,30}?\s*[:=]\s*")
_NO_READING = {
    **dict.fromkeys((b"", b"-", b"--", b"---", b"----", b"n/a", b"na", b"null"), Status.MISSING),
    **dict.fromkeys((b"none", b"nan", b"err", b"error", b"fault"), Status.MISSING),
    **dict.fromkeys((b"open", b"oc", b"open circuit", b"opn"), Status.OPEN),
    **dict.fromkeys((b"ol", b"ovl", b"ovld", b"over", b"inf", b"+inf", b"-inf"), Status.OVERLOAD),
}


@dataclass(frozen=True, slots=True)
class FieldLayout:
    """How a line is laid out.

    `fields`, in the order of the line: a channel's name, ``-`` for one that is not used,
    ``junction`` for the reference junction in °C, ``output`` for the controller's output in
    percent. A `delimiter` that is a space stands for any run of blanks.
    """

    fields: tuple[str, ...]
    delimiter: str = ","
    decimal: str = "."
    unit: SourceUnit = "C"

    def __post_init__(self) -> None:
        names = self.channels
        if not names:
            raise FiringError(
                'fields names no temperature; write the names in the order of a line, like "kiln"'
            )
        double = sorted(name for name, count in Counter(names).items() if count > 1)
        if double:
            raise FiringError(
                f'fields names "{double[0]}" twice; give every channel its own name, '
                'and "-" to what is none'
            )
        for single in (JUNCTION_FIELD, OUTPUT_FIELD):
            if self.fields.count(single) > 1:
                raise FiringError(f'fields names "{single}" twice; an instrument has one')
        if self.decimal == self.delimiter:
            raise FiringError("the decimal mark and the delimiter are the same character")

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of the channels."""
        return tuple(name for name in self.fields if name not in NO_CHANNEL)

    @property
    def gives_output(self) -> bool:
        """Whether a line tells the controller's output."""
        return OUTPUT_FIELD in self.fields


class LineParser:
    """Reads lines of one layout, and counts in `refused`, by reason, those that are none.

    `converter` makes °C of a number; millivolts need one, else it goes by the layout's unit.
    """

    def __init__(self, layout: FieldLayout, converter: Converter | None = None) -> None:
        self.layout = layout
        self.channels = layout.channels
        self.refused: Counter[str] = Counter()
        self._convert = converter or plain_converter(layout.unit)
        self._is_celsius = converter is None and layout.unit == "C"
        self._mark = None if layout.delimiter == " " else layout.delimiter.encode()
        self._count = len(layout.fields)
        self._places = [i for i, name in enumerate(layout.fields) if name in self.channels]
        self._junction = (
            layout.fields.index(JUNCTION_FIELD) if JUNCTION_FIELD in layout.fields else None
        )
        self._output = layout.fields.index(OUTPUT_FIELD) if layout.gives_output else None
        self._comma = layout.decimal == ","
        self._clean = [Status.OK] * len(self._places)

    def parse(self, line: bytes) -> Reading | None:
        """Return the reading a whole line means, its end cut off; None if it means none."""
        if self._comma:
            line = line.replace(b",", b".")
        cells = line.split(self._mark)
        if len(cells) != self._count:
            return self._refused("another number of fields")
        values = []
        try:
            for place in self._places:
                values.append(float(cells[place]))
        except ValueError:
            return self._slowly(cells)
        if not self._is_celsius or b"_" in line or not -9.9e36 < sum(values) < 9.9e36:
            return self._slowly(cells)
        if self._output is None:
            return Reading(values, self._clean.copy())
        return Reading(values, self._clean.copy(), None, self._duty(cells[self._output]))

    def _duty(self, cell: bytes) -> float:
        found = _OUTPUT.fullmatch(cell)
        return math.nan if found is None else duty_from_percent(float(found[1]))

    def _slowly(self, cells: Sequence[bytes]) -> Reading | None:
        junction_c: float | None = None
        if self._junction is not None:
            found = _CELL.fullmatch(cells[self._junction])
            junction_c = math.nan if found is None else float(found[1])
        values: list[float] = []
        statuses: list[Status] = []
        for place in self._places:
            cell = cells[place]
            match = _CELL.fullmatch(cell)
            if match is None:
                word = _LABEL.sub(b"", cell, count=1).strip().lower()
                status = _NO_READING.get(word)
                if status is None:
                    return self._refused("a field that is no number")
                values.append(math.nan)
                statuses.append(status)
                continue
            stated = (match[2] or match[3] or b"").decode().upper()
            if stated and stated != self.layout.unit.upper():
                return self._refused(f"a unit other than {self.layout.unit}")
            number = float(match[1])
            if abs(number) >= OVERLOAD_SIZE:
                values.append(math.nan)
                statuses.append(Status.OVERLOAD)
                continue
            value_c, status = self._convert(number, junction_c)
            values.append(value_c)
            statuses.append(status)
        duty = math.nan if self._output is None else self._duty(cells[self._output])
        return Reading(values, statuses, None, duty)

    def _refused(self, reason: str) -> Reading | None:
        self.refused[reason] += 1
        return None


LONGEST_SHOWN = 60
LEAST_SHARE = 0.6
"""So many of the lines have to be laid out alike [-]."""
MOST_CHANNELS = 4
_DELIMITERS = (",", ";", "\t", " ")
_PRINTED_NUMBER = re.compile(
    r"\s*(?:[A-Za-z][\w .#/()-]{0,30}?\s*[:=]\s*)?([+-]?\d+(?:([.,])\d+)?)\s*"
    r"(?:°|deg\.?)?\s*([CcFf])?\s*"
)
_NAMES = ("kiln", "second", "third", "fourth")


def raw_text(line: bytes) -> str:
    """Return bytes as they came, in quotation marks; what cannot be printed as its number."""
    shown = "".join(chr(b) if 32 <= b < 127 else f"\\x{b:02x}" for b in line[:LONGEST_SHOWN])
    return f'"{shown}…"' if len(line) > LONGEST_SHOWN else f'"{shown}"'


def is_text(line: bytes) -> bool:
    """Tell whether bytes are a line of text, not what a wrong baud rate makes of one."""
    allowed = sum(32 <= b < 127 or b in (9, 0xB0, 0xC2) for b in line)
    return bool(line) and allowed >= 0.95 * len(line)


@dataclass(frozen=True, slots=True)
class LineLayout:
    """How lines seem to be laid out, in the words of the options."""

    fields: tuple[str, ...]
    delimiter: str = ","
    decimal: str = "."
    unit: SourceUnit = "C"

    def options(self) -> str:
        """Return the options that say so."""
        words = ["--fields", ",".join(self.fields)]
        if self.delimiter != ",":
            words += ["--delimiter", self.delimiter]
        if self.decimal != ".":
            words += ["--decimal", self.decimal]
        if self.unit != "C":
            words += ["--unit", self.unit]
        return shlex.join(words)


def layout_of(lines: Iterable[bytes]) -> LineLayout | None:
    """Return how most of the lines are laid out; None if they are no lines of readings."""
    texts = [line.decode("latin-1").strip() for line in lines if is_text(line.strip())]
    found: Counter[LineLayout] = Counter()
    for text in texts:
        layout = _layout_of_one(text)
        if layout is not None:
            found[layout] += 1
    if not found:
        return None
    layout, count = found.most_common(1)[0]
    return layout if count >= LEAST_SHARE * len(texts) else None


def _layout_of_one(text: str) -> LineLayout | None:
    best: LineLayout | None = None
    most = 0
    for delimiter in _DELIMITERS:
        cells = text.split(None if delimiter == " " else delimiter)
        if delimiter != "," and len(cells) == 1:
            continue
        numbers = [_PRINTED_NUMBER.fullmatch(cell) for cell in cells]
        comma = any(match is not None and match[2] == "," for match in numbers)
        if comma and delimiter == ",":
            continue
        fahrenheit = any(
            match is not None and (match[3] or "") in "Ff" and match[3] for match in numbers
        )
        names: list[str] = []
        channels = 0
        for match in numbers:
            if match is None or channels == MOST_CHANNELS or not _may_be_hot(match[1], fahrenheit):
                names.append(UNUSED_FIELD)
                continue
            names.append(_NAMES[channels])
            channels += 1
        if channels > most:
            most = channels
            best = LineLayout(
                tuple(names), delimiter, "," if comma else ".", "F" if fahrenheit else "C"
            )
    return best


def _may_be_hot(number: str, fahrenheit: bool) -> bool:
    value = float(number.replace(",", "."))
    value_c = celsius_from_fahrenheit(value) if fahrenheit else value
    return LIVE_COLDEST_C <= value_c <= LIVE_HOTTEST_C


def suggestion(lines: Iterable[bytes]) -> str:
    """Return, in words, which options would read the lines; empty if none would."""
    layout = layout_of(lines)
    if layout is None:
        return ""
    return (
        f"check the fields: {layout.options()} reads such lines, if the kiln's number is the one "
        'called kiln; "-" passes one over'
    )
