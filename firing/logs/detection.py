"""Finding the dialect of a log in its bytes, before anything is read."""

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import cast

from firing.errors import FiringError
from firing.logs import words
from firing.logs.dialect import (
    DELIMITER_NAMES,
    KIND_OF_UNIT,
    Column,
    ColumnRole,
    Dialect,
    Overrides,
    TimeKind,
    UnitFrom,
)
from firing.logs.layout import Layout, find_layout
from firing.logs.text import clean_text, neutral
from firing.logs.times import DateOrder, TwoParts, date_orders, settle_date_order
from firing.logs.values import match_number
from firing.logs.words import TimeUnit
from firing.units import TemperatureUnit

_DELIMITER_WORDS = {word: mark for mark, word in DELIMITER_NAMES.items()} | {"\\t": "\t"}
_NUMERIC_DATE = re.compile(rb"(?<!\d)\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})(?!\d)")


def detect(data: bytes, *, overrides: Overrides | None = None, name: str = "the log") -> Dialect:
    """Find the dialect of a log in its bytes.

    Parameters
    ----------
    data : bytes
        The whole file.
    overrides : Overrides, optional
        What to take instead of what is found.
    name : str
        The file's name, for messages.

    Raises
    ------
    FiringError
        If the file is no log, or what it says can be read in more than one way.
    """
    overrides = overrides or Overrides()
    text = clean_text(data, name=name, encoding=overrides.encoding)
    return detect_text(text.body, text.encoding, overrides=overrides, name=name)


def detect_text(body: bytes, encoding: str, *, overrides: Overrides, name: str) -> Dialect:
    """Find the dialect of text already cleaned by `firing.logs.text.clean_text`; see `detect`."""
    mark = overrides.delimiter
    if mark is not None:
        mark = _DELIMITER_WORDS.get(mark, mark)
        if len(mark) != 1:
            raise FiringError(
                f'"{neutral(mark)}" is no delimiter; write one character, or semicolon, comma, tab'
            )
    layout = find_layout(body, name=name, delimiter=mark, decimal=overrides.decimal)
    columns = _named_columns(layout)
    places, kind = _find_time(name, layout, columns, overrides)
    notes: list[str] = []
    two_parts: TwoParts = "h:mm"
    if kind == "elapsed clock":
        two_parts = _two_parts(layout, columns[places[-1]], overrides, notes)
    order = _date_order(name, body, layout, places[0], overrides) if kind == "datetime" else None
    columns = _with_roles(name, layout, columns, places)
    columns = _with_units(layout, columns, overrides, notes)
    left_out = [c.name for c in columns if c.role == "other" and layout.kinds[c.index] == "number"]
    if left_out:
        notes.append(f"not read as kiln temperatures: {', '.join(left_out)}")
    return Dialect(
        encoding=encoding,
        delimiter=layout.delimiter,
        decimal=layout.decimal,
        preamble_lines=sum(bool(line.strip()) for line in layout.preamble),
        first_line=layout.first_row + 1,
        header=layout.names is not None,
        columns=tuple(columns),
        time_kind=kind,
        date_order=order,
        two_parts=two_parts,
        notes=tuple(notes),
    )


def _named_columns(layout: Layout) -> list[Column]:
    """Give every column a name of its own to show; roles come later."""
    columns: list[Column] = []
    seen: dict[str, int] = {}
    for index in range(len(layout.kinds)):
        written = layout.names[index] if layout.names else ""
        base = words.display_name(written) or f"column {index + 1}"
        seen[base] = seen.get(base, 0) + 1
        name = base if seen[base] == 1 else f"{base} ({seen[base]})"
        columns.append(Column(index, name, written, "other"))
    return columns


def _find_time(
    name: str, layout: Layout, columns: Sequence[Column], overrides: Overrides
) -> tuple[tuple[int, ...], TimeKind]:
    """Return the places of the time columns and how time is written in them."""
    places = {
        kind: [c.index for c in columns if layout.kinds[c.index] == kind] for kind in layout.kinds
    }
    numeric = [
        column
        for column in columns
        if layout.kinds[column.index] == "number" and words.role(column.written) == "time"
    ]
    told = overrides.time_unit
    if not (told and numeric):
        if places.get("datetime"):
            return (places["datetime"][0],), "datetime"
        if places.get("date") and places.get("clock"):
            return (places["date"][0], places["clock"][0]), "datetime"
    stated = [(c, _stated_time_unit(layout, c)) for c in numeric]
    for column, unit in stated:
        if unit is not None:
            return (column.index,), KIND_OF_UNIT[told or unit]
    if places.get("clock") and not (told and numeric):
        return (places["clock"][0],), "elapsed clock"
    if told is not None:
        rising = [column.index for column in numeric] or _rising(layout)
        if rising:
            return (rising[0],), KIND_OF_UNIT[told]
    elif numeric or (layout.names is None and _rising(layout)):
        which = f'column "{numeric[0].name}"' if numeric else f"column {_rising(layout)[0] + 1}"
        raise FiringError(
            f"{name}: {which} holds times as bare numbers; say their unit with --time-unit s, "
            "--time-unit min or --time-unit h"
        )
    raise FiringError(
        f"{name} has no time column; give one a date and time, or name one "
        '"time_s", "Time (min)" or "elapsed [h]", or say --time-unit for bare numbers'
    )


def _stated_time_unit(layout: Layout, column: Column) -> TimeUnit | None:
    stated = words.time_unit(column.written)
    if stated is None and layout.units_row is not None:
        stated = words.time_unit(layout.units_row[column.index].strip(" ()[]"))
    return stated


def _rising(layout: Layout) -> list[int]:
    """Return the number columns that only ever rise, as a time must."""
    found = []
    for index, kind in enumerate(layout.kinds):
        if kind != "number":
            continue
        numbers = [match_number(cell, layout.decimal) for cell in layout.column(index)]
        values = [number[0] for number in numbers if number is not None]
        if all(a < b for a, b in pairwise(values)):
            found.append(index)
    return found


def _two_parts(layout: Layout, column: Column, overrides: Overrides, notes: list[str]) -> TwoParts:
    cells = [cell for cell in layout.column(column.index) if cell]
    short = [cell for cell in cells if cell.count(":") == 1]
    if not short:
        return "h:mm"
    if overrides.time_unit in ("min", "h"):
        return "mm:ss" if overrides.time_unit == "min" else "h:mm"
    units_cell = layout.units_row[column.index] if layout.units_row else ""
    stated = f"{column.written} {units_cell}".casefold()
    if "h:mm" in stated:
        return "h:mm"
    # beside 1:00:30, 59:30 can only be minutes and seconds
    if "mm:ss" in stated or len(short) < len(cells):
        return "mm:ss"
    notes.append(
        f'times such as "{neutral(short[0])}" are read as hours and minutes; '
        "say --time-unit min if they are minutes and seconds"
    )
    return "h:mm"


def _date_order(
    name: str, body: bytes, layout: Layout, place: int, overrides: Overrides
) -> DateOrder | None:
    cells = layout.column(place)
    if overrides.date_order is None and len(date_orders(cells)[0]) > 1:
        # the sample leaves a choice; perhaps a later day does not
        cells = cells + [match.decode() for match in set(_NUMERIC_DATE.findall(body))]
    return settle_date_order(name, cells, overrides.date_order)


def _with_roles(
    name: str, layout: Layout, columns: Sequence[Column], times: Sequence[int]
) -> list[Column]:
    roles: dict[int, ColumnRole] = dict.fromkeys(times, "time")
    if len(times) == 2:
        roles[times[0]] = "date"
    unknown: list[int] = []
    for column in columns:
        index = column.index
        if index in roles or layout.kinds[index] not in ("number", "missing"):
            continue
        meaning = words.role(column.written)
        if meaning == "time" and words.plain(column.written) == "temps":
            meaning = "temperature"  # French for time, English for temperatures
        if meaning in ("set-point", "duty"):
            role = cast(ColumnRole, meaning)
            roles[index] = "other" if role in roles.values() else role
        elif meaning == "temperature":
            roles[index] = "temperature"
        elif meaning == "unknown" and layout.kinds[index] == "number":
            unknown.append(index)
    if "temperature" not in roles.values():
        counters = [] if layout.names else _row_counters(layout)
        roles |= dict.fromkeys([i for i in unknown if i not in counters], "temperature")
    if "temperature" not in roles.values():
        listed = ", ".join(column.name for column in columns)
        raise FiringError(
            f"{name} has no temperature column among {listed}; "
            'name one, for example "Kiln (°C)" or "Temperature [F]"'
        )
    named = [replace(column, role=roles.get(column.index, "other")) for column in columns]
    if layout.names is not None:
        return named
    numbers = iter(range(1, len(named) + 1))
    return [
        replace(c, name=f"channel {next(numbers)}") if c.role == "temperature" else c for c in named
    ]


def _row_counters(layout: Layout) -> list[int]:
    """Return the number columns that count rows: 0 or 1, and then one more each time."""
    found = []
    for index, kind in enumerate(layout.kinds):
        cells = layout.column(index)[:20]
        if kind == "number" and len(cells) > 2 and cells[0] in ("0", "1"):
            begin = int(cells[0])
            if cells == [str(begin + step) for step in range(len(cells))]:
                found.append(index)
    return found


def _with_units(
    layout: Layout, columns: Sequence[Column], overrides: Overrides, notes: list[str]
) -> list[Column]:
    siblings = frozenset(column.written for column in columns)
    stated: dict[int, tuple[TemperatureUnit, UnitFrom]] = {}
    wanted = [c for c in columns if c.role in ("temperature", "set-point")]
    for column in wanted:
        found = _stated_unit(layout, column, siblings)
        if overrides.unit is not None:
            stated[column.index] = overrides.unit, "option"
        elif found is not None:
            stated[column.index] = found
    fallback: tuple[TemperatureUnit, UnitFrom] | None = None
    if len({unit for unit, _ in stated.values()}) == 1:
        fallback = next(iter(stated.values()))
    elif not stated:
        lines = [unit for unit in map(words.preamble_unit, layout.preamble) if unit]
        fallback = (lines[-1], "preamble") if lines else None
    for column in wanted:
        if column.index not in stated:
            stated[column.index] = fallback or ("C", "assumed")
    if any(stated[c.index][1] == "assumed" for c in wanted if c.role == "temperature"):
        notes.append("no unit is stated, so °C is assumed; say --unit F if the log is in °F")
    return [
        replace(c, unit=stated[c.index][0], unit_from=stated[c.index][1])
        if c.index in stated
        else c
        for c in columns
    ]


def _stated_unit(
    layout: Layout, column: Column, siblings: frozenset[str]
) -> tuple[TemperatureUnit, UnitFrom] | None:
    unit = words.temperature_unit(column.written, siblings)
    if unit is not None:
        return unit, "header"
    if layout.units_row is not None:
        cell = layout.units_row[column.index].strip(" ()[]°º˚").casefold()
        if cell in ("c", "f", "celsius", "fahrenheit", "degc", "degf", "deg c", "deg f"):
            return ("F" if "f" in cell.removeprefix("deg") else "C"), "units row"
    for text in layout.column(column.index):
        number = match_number(text, layout.decimal)
        if number is not None and number[1] is not None:
            return number[1], "readings"
    return None
