"""Finding the dialect of a log in its text, before anything is read."""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import cast, get_args

from firing.errors import FiringError
from firing.logs import vocabulary
from firing.logs.dialect import (
    DELIMITER_NAMES,
    Column,
    ColumnRole,
    Dialect,
    ReadingUnit,
    UnitFrom,
)
from firing.logs.layout import LogLayout, find_layout
from firing.logs.options import ReadingOptions
from firing.logs.text import Text, printable
from firing.logs.time_column import (
    date_orders,
    day_before_month,
    find_time,
    refuse_many_times_a_row,
    settle_date_order,
    two_parts,
)
from firing.logs.times import DateOrder, TwoParts
from firing.logs.values import match_number

_DELIMITER_WORDS = {word: mark for mark, word in DELIMITER_NAMES.items()} | {"\\t": "\t"}
_UNIT_OF_LETTER: dict[str, ReadingUnit] = {"c": "C", "f": "F", "k": "K"}
_NUMERIC_DATE = re.compile(rb"(?<!\d)\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})(?!\d)")


MOST_COLUMNS = 500


def layout_of(text: Text, options: ReadingOptions, name: str) -> LogLayout:
    """Find the table in a log's text."""
    mark = options.delimiter
    if mark is not None:
        mark = _DELIMITER_WORDS.get(mark, mark)
        if len(mark) != 1:
            raise FiringError(
                f'"{printable(mark)}" is no delimiter; write one character, or semicolon, comma, '
                "tab"
            )
    layout = find_layout(
        text.body,
        name=name,
        delimiter=mark,
        decimal=options.decimal,
        skip_lines=options.skip_lines or 0,
        names=text.names,
    )
    if len(layout.kinds) > MOST_COLUMNS:
        raise FiringError(
            f"{name} has {len(layout.kinds)} columns, and {MOST_COLUMNS} is the most; say "
            "--delimiter if another character separates them"
        )
    return layout


def detect(
    text: Text, options: ReadingOptions, name: str, layout: LogLayout | None = None
) -> Dialect:
    """Find the dialect of a log in its text; refuse one that can be read in more than one way."""
    layout = layout or layout_of(text, options, name)
    notes: list[str] = list(layout.notes)
    refuse_many_times_a_row(name, layout)
    columns = _with_stated_roles(name, _named_columns(layout), options)
    places, kind = find_time(name, layout, columns, options)
    parts: TwoParts = "h:mm"
    if kind == "elapsed clock":
        parts = two_parts(layout, columns[places[-1]], options, notes)
    if kind == "serial days":
        notes.append(
            "dates are a spreadsheet's days counted from 1900; "
            "say --time-unit serial-1904 if its dates come out four years early"
        )
    order = (
        _date_order(name, text.body, layout, places[0], options, notes)
        if kind == "datetime"
        else None
    )
    columns = _with_roles(name, layout, columns, places, options)
    columns = _with_units(name, layout, columns, options, notes)
    columns = [replace(c, written=printable(c.written)) for c in columns]
    left_out = [c.name for c in columns if c.role == "other" and layout.kinds[c.index] == "number"]
    if left_out:
        notes.append(f"not read as kiln temperatures: {', '.join(left_out)}")
    return Dialect(
        encoding=text.encoding,
        delimiter=layout.delimiter,
        decimal=layout.decimal,
        preamble_lines=len(layout.preamble),
        first_line=layout.first_row + 1,
        header=layout.names is not None,
        columns=tuple(columns),
        time_kind=kind,
        date_order=order,
        two_parts=parts,
        notes=tuple(notes),
    )


def _with_stated_roles(name: str, columns: list[Column], options: ReadingOptions) -> list[Column]:
    """Give the columns a person named the roles they were given."""
    named = list(columns)
    for which, role in options.columns.items():
        if role not in get_args(ColumnRole):
            listed = ", ".join(get_args(ColumnRole))
            raise FiringError(f'"{printable(role)}" is no role of a column; write one of {listed}')
        wanted = printable(which)
        found = [
            c.index
            for c in columns
            if wanted.casefold() in (c.name.casefold(), printable(c.written).casefold())
        ]
        if not found and wanted.isdecimal() and 1 <= int(wanted) <= len(columns):
            found = [int(wanted) - 1]
        if not found:
            listed = ", ".join(f"{c.index + 1} ({c.name})" for c in columns)
            raise FiringError(f'{name} has no column "{wanted}"; its columns are {listed}')
        named[found[0]] = replace(named[found[0]], role=role)
    return named


def _named_columns(layout: LogLayout) -> list[Column]:
    """Give every column a name of its own to show; roles come later."""
    columns: list[Column] = []
    seen: dict[str, int] = {}
    for index in range(len(layout.kinds)):
        written = layout.names[index][: vocabulary.LONGEST_NAME] if layout.names else ""
        base = vocabulary.display_name(written) or f"column {index + 1}"
        seen[base] = seen.get(base, 0) + 1
        name = base if seen[base] == 1 else f"{base} ({seen[base]})"
        columns.append(Column(index, name, written, "other"))
    return columns


def _date_order(
    name: str,
    body: bytes,
    layout: LogLayout,
    place: int,
    options: ReadingOptions,
    notes: list[str],
) -> DateOrder | None:
    cells = layout.column(place)
    possible, example = date_orders(cells) if options.date_order is None else (set(), None)
    if options.date_order is None and not possible:
        shown = day_before_month(cells, body)
        if shown is not None:
            notes.append(
                f'dates such as "{printable(shown)}" are read as year, day and month, as only so '
                "the log goes on day by day; say --date-order ymd if the month stands second"
            )
            return "ydm"
    if len(possible) > 1 and "." not in (example or ""):
        # the sample leaves a choice; perhaps a later day does not
        cells = cells + [match.decode() for match in set(_NUMERIC_DATE.findall(body))]
    return settle_date_order(name, cells, options.date_order, notes)


def _with_roles(
    name: str,
    layout: LogLayout,
    columns: Sequence[Column],
    times: Sequence[int],
    options: ReadingOptions,
) -> list[Column]:
    roles: dict[int, ColumnRole] = {c.index: c.role for c in columns if c.role != "other"}
    roles |= dict.fromkeys(times, "time")
    if len(times) == 2:
        roles[times[0]] = "date"
    unknown: list[int] = []
    emf: list[int] = []
    counters = _row_counters(layout)
    free = [i for i, kind in enumerate(layout.kinds) if kind == "number" and i not in roles]
    if set(free) <= set(counters):
        counters = []  # a kiln may climb by a degree a row, and is then alone
    for column in columns:
        index = column.index
        if index in roles or layout.kinds[index] not in ("number", "missing"):
            continue
        meaning = vocabulary.role(column.written)
        if meaning == "time" and vocabulary.normalized(column.written) == "temps":
            meaning = "temperature"  # French for time, English for temperatures
        if _unit_cell(layout, index) == "mv" and meaning in ("temperature", "unknown"):
            meaning = "emf"
        if meaning in ("set-point", "duty", "junction"):
            role = cast(ColumnRole, meaning)
            roles[index] = "other" if role in roles.values() else role
        elif meaning == "temperature" and index in counters:
            continue  # "Reading" is its number, too
        elif meaning == "temperature":
            roles[index] = "temperature"
        elif meaning == "emf":
            emf.append(index)
        elif meaning == "unknown" and layout.kinds[index] == "number":
            unknown.append(index)
    if unknown or "temperature" in roles.values():
        # "MV" is also a controller's word for its output
        emf = [i for i in emf if columns[i].written != "MV" or not _are_percents(layout, i)]
    if "temperature" not in roles.values():
        # millivolts beside temperatures are the same thermocouples once more
        roles |= dict.fromkeys(emf, "temperature")
    if "temperature" not in roles.values():
        roles |= dict.fromkeys([i for i in unknown if i not in counters], "temperature")
    if "temperature" not in roles.values():
        # "data" is a date in one language and a reading in another
        roles |= {
            c.index: "temperature"
            for c in columns
            if c.index not in roles
            and layout.kinds[c.index] == "number"
            and vocabulary.normalized(c.written) == "data"
        }
    if "temperature" not in roles.values():
        raise _no_temperature(name, layout, columns, times)
    named = [replace(column, role=roles.get(column.index, "other")) for column in columns]
    if layout.names is not None:
        return named
    numbers = iter(range(1, len(named) + 1))
    return [
        replace(c, name=f"channel {next(numbers)}") if c.role == "temperature" else c for c in named
    ]


_MOST_LISTED = 10


def _no_temperature(
    name: str, layout: LogLayout, columns: Sequence[Column], times: Sequence[int]
) -> FiringError:
    """Return the refusal of a table that names no temperature, with the column it may be."""
    listed = ", ".join(column.name for column in columns[:_MOST_LISTED])
    if len(columns) > _MOST_LISTED:
        listed += f" and {len(columns) - _MOST_LISTED} more"
    numbers = [c for c in columns if layout.kinds[c.index] == "number" and c.index not in times]
    if layout.names is None and not numbers:
        return FiringError(
            f"{name}: no column of numbers stands beside its times; put each reading on a line of "
            "its own, with its time and its temperature"
        )
    likely = f'"{numbers[0].name}=temperature"' if numbers else "with a name and =temperature"
    return FiringError(
        f"{name} has no temperature column among {listed}; name one, for example "
        f'"Kiln (°C)" or "Temperature [F]", or say --column {likely}'
    )


def _are_percents(layout: LogLayout, index: int) -> bool:
    """Tell whether a column's numbers are those of an output, whole or beyond any millivolts."""
    cells = [cell for cell in layout.column(index) if cell]
    numbers = [found[0] for cell in cells if (found := match_number(cell, layout.decimal))]
    whole = all(number == int(number) for number in numbers if abs(number) < _MOST_OUTPUT)
    return bool(numbers) and min(numbers) >= 0.0 and max(numbers) <= _MOST_OUTPUT and whole


_MOST_OUTPUT = 100.0


def _row_counters(layout: LogLayout) -> list[int]:
    """Return the number columns that count rows: one more each time, or one less to the end."""
    found = []
    for index, kind in enumerate(layout.kinds):
        # a unit of its own column stands behind every number of the row
        cells = [cell.partition(" ")[0] for cell in layout.column(index)]
        shown = cells[:20]
        if kind != "number" or len(shown) < 3 or not shown[0].isdecimal():
            continue
        begin = int(shown[0])
        for step in (1, -1):
            one_end = cells[0] if step > 0 else cells[-1]
            counted = [str(begin + step * row) for row in range(len(shown))]
            if one_end in ("0", "1") and shown == counted:
                found.append(index)
    return found


def _with_units(
    name: str,
    layout: LogLayout,
    columns: Sequence[Column],
    options: ReadingOptions,
    notes: list[str],
) -> list[Column]:
    siblings = frozenset(column.written for column in columns)
    stated: dict[int, tuple[ReadingUnit, UnitFrom]] = {}
    wanted = [c for c in columns if c.role in ("temperature", "set-point", "junction")]
    for column in wanted:
        found = _stated_unit(layout, column, siblings)
        foreign = vocabulary.foreign_unit(column.written)
        if foreign and found is None and options.unit is None and column.role == "temperature":
            raise FiringError(
                f'{name}: column "{column.name}" is in {foreign}, which is not read; change its '
                "numbers into °C, °F, kelvins or millivolts in a spreadsheet, or say "
                f'--column "{column.name}=ignore" to do without it'
            )
        if (options.unit is not None and column.role == "temperature") or (
            options.unit in ("C", "F") and column.role == "set-point"
        ):
            stated[column.index] = options.unit, "option"
        elif found is not None:
            stated[column.index] = found
    fallback: tuple[ReadingUnit, UnitFrom] | None = None
    degrees = {place: found for place, found in stated.items() if found[0] != "mV"}
    if len({unit for unit, _ in degrees.values()}) == 1:
        fallback = next(iter(degrees.values()))
    elif not stated:
        fallback = _preamble_unit(name, layout, wanted)
    for column in wanted:
        if column.index not in stated:
            stated[column.index] = fallback or ("C", "assumed")
    return [
        replace(c, unit=stated[c.index][0], unit_from=stated[c.index][1])
        if c.index in stated
        else c
        for c in columns
    ]


def _preamble_unit(
    name: str, layout: LogLayout, wanted: Sequence[Column]
) -> tuple[ReadingUnit, UnitFrom] | None:
    units = vocabulary.preamble_units(layout.preamble)
    if len(units) > 1 and wanted:
        raise FiringError(
            f"{name} speaks of °C and of °F above its table and says for no column which it is; "
            "say --unit C or --unit F"
        )
    return (next(iter(units)), "preamble") if units else None


def _unit_cell(layout: LogLayout, index: int) -> str:
    if layout.units_row is None:
        return ""
    return layout.units_row[index].strip(" ()[]°º˚\ufffd").casefold()


def _stated_unit(
    layout: LogLayout, column: Column, siblings: frozenset[str]
) -> tuple[ReadingUnit, UnitFrom] | None:
    if vocabulary.states_millivolts(column.written):
        return "mV", "header"
    unit = vocabulary.temperature_unit(column.written, siblings)
    if unit is not None:
        return unit, "header"
    cell = _unit_cell(layout, column.index)
    if cell == "mv":
        return "mV", "units row"
    bare = cell.removeprefix("deg").strip(". ")
    if bare in ("c", "f", "k", "celsius", "fahrenheit", "kelvin"):
        return _UNIT_OF_LETTER[bare[0]], "units row"
    for text in layout.column(column.index):
        number = match_number(text, layout.decimal)
        if number is not None and number[1] is not None:
            return number[1], "readings"
    return None
