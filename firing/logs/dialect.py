"""The dialect of a log: how a file writes what it says, and how that is told in one line."""

from dataclasses import dataclass
from typing import Any, Literal

from firing.logs.physics import UNIT_WORDS, DegreeUnit
from firing.logs.text import encoding_label
from firing.logs.times import DateOrder, NumberKind, TwoParts
from firing.logs.values import Decimal
from firing.units import TemperatureUnit

TimeKind = NumberKind | Literal["datetime", "elapsed clock"]
ReadingUnit = Literal[DegreeUnit, "mV"]
ColumnRole = Literal[
    "time", "date", "temperature", "set-point", "duty", "junction", "other", "ignore"
]
UnitFrom = Literal["option", "header", "units row", "readings", "preamble", "physics", "assumed"]

DELIMITER_NAMES = {";": "semicolon", ",": "comma", "\t": "tab", "|": "bar", " ": "spaces"}
_ORDER_WORDS = {
    "dmy": "day first",
    "mdy": "month first",
    "ymd": "year first",
    "ydm": "year and day first",
}
_KIND_WORDS: dict[TimeKind, str] = {
    "elapsed clock": "an elapsed clock",
    "epoch seconds": "seconds since 1970",
    "epoch milliseconds": "milliseconds since 1970",
    "epoch microseconds": "microseconds since 1970",
    "epoch nanoseconds": "nanoseconds since 1970",
    "serial days": "a spreadsheet's days since 1900",
    "serial days from 1904": "a spreadsheet's days since 1904",
    "Julian days": "Julian days",
    "modified Julian days": "modified Julian days",
}


@dataclass(frozen=True, eq=False)
class Column:
    """One column: its place (from 0), name to show, name as written, role and unit."""

    index: int
    name: str
    written: str
    role: ColumnRole
    unit: ReadingUnit | None = None
    unit_from: UnitFrom | None = None

    @property
    def celsius_unit(self) -> TemperatureUnit:
        """The unit to speak of its temperatures in; °C for all but degrees Fahrenheit."""
        return "F" if self.unit in ("F", "F/10") else "C"

    @property
    def degrees(self) -> DegreeUnit:
        """The unit as a temperature's; °C where the readings are no temperatures yet."""
        return "C" if self.unit is None or self.unit == "mV" else self.unit


@dataclass(frozen=True, eq=False)
class Dialect:
    """How a log is written.

    `preamble_lines` stand above the header, or above the readings where there is none; `first_line`
    is the line number, from 1, of the first reading.  `date_order` is that of numeric dates without
    a four-digit year in front.
    """

    encoding: str
    delimiter: str
    decimal: Decimal
    preamble_lines: int
    first_line: int
    header: bool
    columns: tuple[Column, ...]
    time_kind: TimeKind
    date_order: DateOrder | None = None
    two_parts: TwoParts = "h:mm"
    notes: tuple[str, ...] = ()

    def of_role(self, *roles: ColumnRole) -> tuple[Column, ...]:
        """Return the columns of these roles."""
        return tuple(column for column in self.columns if column.role in roles)

    @property
    def time_columns(self) -> tuple[int, ...]:
        """Places of the time column, or of the date's (or the days') and the clock's."""
        return tuple(c.index for c in (*self.of_role("date"), *self.of_role("time")))

    @property
    def channel_columns(self) -> tuple[Column, ...]:
        """The temperature channels."""
        return self.of_role("temperature")

    @property
    def unit(self) -> ReadingUnit:
        """The first channel's unit."""
        return self.channel_columns[0].unit or "C"

    @property
    def unit_from(self) -> UnitFrom:
        """Where the first channel's unit was read."""
        return self.channel_columns[0].unit_from or "assumed"

    def describe(self) -> str:
        """Return the dialect as one line for a person."""
        parts = [
            DELIMITER_NAMES.get(self.delimiter, repr(self.delimiter)) + " between columns",
            "decimal comma" if self.decimal == "," else "decimal point",
            encoding_label(self.encoding),
        ]
        if self.preamble_lines:
            lines = "1 line" if self.preamble_lines == 1 else f"{self.preamble_lines} lines"
            parts.append(f"{lines} before the {'header' if self.header else 'readings'}")
        if not self.header:
            parts.append("no header")
        parts.append(self._time_words())
        units = {column.unit for column in self.channel_columns}
        names = ", ".join(
            column.name + (f" {_unit_words(column.unit)}" if len(units) > 1 else "")
            for column in self.channel_columns
        )
        origin = {
            "assumed": "assumed",
            "option": "as asked",
            "physics": "as a kiln can be in no other",
        }.get(self.unit_from, f"from the {self.unit_from}")
        stated = "" if len(units) > 1 else f"{_unit_words(self.unit)} ({origin}) "
        parts.append(f"temperatures {stated}in {names}")
        parts += [f"{c.role} in {c.name}" for c in self.of_role("set-point", "duty")]
        if "mV" in units:
            parts += [f"reference junction in {c.name}" for c in self.of_role("junction")]
        return ", ".join(parts)

    def _time_words(self) -> str:
        text = _KIND_WORDS.get(self.time_kind, self.time_kind)
        if self.time_kind == "datetime":
            text = "date and time"
            if self.date_order:
                text += f" ({_ORDER_WORDS[self.date_order]})"
        names = " and ".join(self.columns[index].name for index in self.time_columns)
        return f"time as {text} in {names}"

    def to_dict(self) -> dict[str, Any]:
        """Return the dialect as plain data."""
        return {
            "encoding": self.encoding,
            "delimiter": self.delimiter,
            "decimal": self.decimal,
            "preamble_lines": self.preamble_lines,
            "header": self.header,
            "columns": [column.name for column in self.columns],
            "time_columns": [self.columns[index].name for index in self.time_columns],
            "time_kind": self.time_kind,
            "date_order": self.date_order,
            "channels": [column.name for column in self.channel_columns],
            "channel_units": [column.unit for column in self.channel_columns],
            "set_point": next((c.name for c in self.of_role("set-point")), None),
            "duty": next((c.name for c in self.of_role("duty")), None),
            "unit": self.unit,
            "unit_from": self.unit_from,
            "description": self.describe(),
        }


def _unit_words(unit: ReadingUnit | None) -> str:
    return "as mV" if unit == "mV" else UNIT_WORDS[unit or "C"]
