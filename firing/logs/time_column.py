"""Which column of a log is its time, and how time is written there."""

import math
import re
from collections.abc import Iterable, Sequence
from datetime import date
from itertools import pairwise

from firing.errors import FiringError
from firing.logs import vocabulary
from firing.logs.dialect import Column, TimeKind
from firing.logs.layout import LogLayout
from firing.logs.options import ReadingOptions
from firing.logs.physics import LONGEST_FIRING_S
from firing.logs.text import printable
from firing.logs.times import (
    GRAMMAR,
    KIND_OF_UNIT,
    DateOrder,
    TwoParts,
    are_day_fractions,
    are_serial_dates,
    is_epoch,
    julian_kind,
    kind_by_size,
    kind_of_option,
)
from firing.logs.values import match_number
from firing.logs.vocabulary import TimeUnit

_NO_TIME = (
    'has no time column; give one a date and time, or name one "time_s", "Time (min)" or '
    '"elapsed [h]"; if it is one of bare numbers, say --time-unit s, --time-unit min or '
    "--time-unit h"
)


def find_time(
    name: str, layout: LogLayout, columns: Sequence[Column], options: ReadingOptions
) -> tuple[tuple[int, ...], TimeKind]:
    """Return the places of the time column, or of a date and its clock, and its kind."""
    given = [c for c in columns if c.role in ("time", "date")]
    if given:
        return _from_stated_columns(name, layout, given, options)
    open_ones = [c for c in columns if c.role == "other"]
    places = {
        kind: [c.index for c in open_ones if layout.kinds[c.index] == kind] for kind in layout.kinds
    }
    numeric = [
        c
        for c in open_ones
        if layout.kinds[c.index] == "number" and vocabulary.role(c.written) == "time"
    ]
    # A moment that stays is of the whole file, as when it was exported.
    moments = places.get("datetime", [])
    moments = [at for at in moments if len(set(layout.column(at))) > 1] or moments
    stated = options.time_unit
    dated = bool(places.get("date"))
    clocks = sorted(
        places.get("clock", []),
        key=lambda at: (
            vocabulary.counts_down(columns[at].written),
            _falls_back(layout.column(at)),
            dated and _counts_from_zero(layout.column(at)),
        ),
    )
    if not (stated and numeric):
        dates = [*moments, *places.get("date", [])]
        _refuse_side_by_side(name, layout, moments)
        if moments and not (clocks and _all_midnight(layout, dates[0])):
            return (dates[0],), "datetime"
        if dates and clocks:
            return (dates[0], clocks[0]), "datetime"
    if clocks and not stated:
        days = _day_count(layout, clocks[0])
        if days:
            return (*days, clocks[0]), "elapsed clock"
    pair = _serial_pair(layout, numeric)
    if pair is not None and stated in (None, "serial", "serial-1904"):
        return pair, "serial days from 1904" if stated == "serial-1904" else "serial days"
    for column in open_ones:
        if layout.kinds[column.index] == "number" and stated is None:
            words = vocabulary.normalized(column.written)
            julian = julian_kind(words, _values(layout, column.index))
            if julian is not None:
                return (column.index,), julian
    for column in numeric:
        unit = _stated_time_unit(layout, column)
        if unit is not None:
            return (column.index,), _number_kind(layout, column.index, unit, options)
    if clocks and not (stated and numeric):
        return (clocks[0],), "elapsed clock"
    numeric = numeric or _named_t(layout, open_ones)
    candidates = (
        [c.index for c in numeric]
        or _rising_columns(layout, open_ones)
        or _rising_columns(layout, open_ones, newest_first=True)
        or _epoch_columns(layout, open_ones)
    )
    if stated is not None and candidates:
        values = _values(layout, candidates[0])
        return (candidates[0],), kind_of_option(stated, values)
    for index in candidates:
        kind_found = kind_by_size(_values(layout, index))
        if kind_found is not None:
            return (index,), kind_found
    if numeric or (layout.names is None and candidates):
        which = f'column "{numeric[0].name}"' if numeric else f"column {candidates[0] + 1}"
        raise _bare_numbers(name, which, _values(layout, candidates[0]))
    # Between blanks a moment may have come apart.
    whole = [" ".join(layout.rows[-1])] if layout.delimiter == " " and layout.rows else []
    likely = [
        *whole[: "text" in layout.kinds],
        *(
            cell
            for index, kind in enumerate(layout.kinds)
            if kind == "text"
            for cell in layout.column(index)[-1:]
            if re.search(r"\d[:h.]\d\d|\d{4}", cell)
        ),
    ]
    if likely:
        raise FiringError(
            f'{name} has no time column that can be read, such as "{printable(likely[0])}"; write '
            "times like 2026-03-14 18:30:00, or 1:30:00 since the start, in a spreadsheet"
        )
    raise FiringError(f"{name} {_NO_TIME}")


def _counts_from_zero(cells: Sequence[str]) -> bool:
    """Tell whether clocks begin at zero, as elapsed ones do beside the date and time of day."""
    return any(cells) and not next(filter(None, cells)).strip("0:., ")


def _falls_back(cells: Sequence[str]) -> bool:
    """Tell whether a clock begins anew again and again, as that of each segment does."""
    known = [cell.rjust(12) for cell in cells if cell]
    return sum(two < one for one, two in pairwise(known)) > _FEW_DAYS


_FEW_DAYS = 2


def _refuse_side_by_side(name: str, layout: LogLayout, moments: Sequence[int]) -> None:
    """Refuse a table in two blocks side by side: the second goes on where the first ends."""
    names = layout.names or ("its time",) * len(layout.kinds)
    for one, two in pairwise(moments):
        if names[one] != names[two] or not names[one]:
            continue
        first, second = layout.column(one), layout.column(two)
        if not any(cell in first for cell in second if cell):
            raise FiringError(
                f'{name}: the table stands in blocks side by side, as "{names[one]}" is '
                "there twice with other times; copy one block below the other in a spreadsheet"
            )


_MINUTE_NAME = re.compile(r":\d\d|\+?\d{1,2} ?(?:min|mn|m|')")


def refuse_many_times_a_row(name: str, layout: LogLayout) -> None:
    """Refuse a table with a row for each hour and a column for each minute."""
    if sum(kind in ("datetime", "clock") for kind in layout.kinds) > _MOST_MOMENTS:
        raise FiringError(
            f"{name}: its times stand beside each other in one row; turn rows into columns in a "
            "spreadsheet (paste, transposed), so that each reading has a row"
        )
    named = [cell.strip() for cell in layout.names or () if cell.strip()]
    if len(named) > _FEW_MINUTES and all(map(_MINUTE_NAME.fullmatch, named[1:])):
        raise FiringError(
            f'{name}: its columns are minutes, such as "{printable(named[1])}", so each row holds '
            "several times; give each reading a row with its own time in a spreadsheet"
        )


_FEW_MINUTES, _MOST_MOMENTS = 3, 8
_MOST_BARE = 1e9  # milliseconds of a week and a half; larger numbers are dates, and count no time
_LATEST_BARE = 1e11  # milliseconds of three years since the logger was switched on


def _bare_numbers(name: str, which: str, values: Sequence[float]) -> FiringError:
    """Return the refusal of times without a unit; only numbers that can be durations have one."""
    known = [value for value in values if math.isfinite(value)]
    if not known or max(known) - min(known) > _MOST_BARE or max(known) > _LATEST_BARE:
        shown = f"numbers such as {known[0]:.15g}" if known else "other numbers than the readings"
        return FiringError(
            f"{name}: {which} holds {shown}, which are no time that can be read; "
            "export the log with dates like 2026-03-14 18:30:00, or say --column with the name of "
            "another column and =time"
        )
    span = max(known) - min(known)
    fitting = [
        unit
        for unit, unit_s in vocabulary.TIME_UNIT_S.items()
        if _SHORT_FIRING_S <= span * unit_s <= _LONG_FIRING_S
    ]
    units = [f"--time-unit {unit}" for unit in ("ms", *fitting, "s", "min", "h")]
    units = [unit for unit in dict.fromkeys(units) if unit != "--time-unit ms" or "ms" in fitting]
    return FiringError(
        f"{name}: {which} holds times as bare numbers; say their unit with "
        f"{', '.join(units[:-1])} or {units[-1]}"
    )


_SHORT_FIRING_S, _LONG_FIRING_S = 3600.0, 30 * 86400.0


def _from_stated_columns(
    name: str, layout: LogLayout, given: Sequence[Column], options: ReadingOptions
) -> tuple[tuple[int, ...], TimeKind]:
    """Take the columns a person named."""
    dates = [c.index for c in given if c.role == "date"]
    times = [c.index for c in given if c.role == "time"]
    if len(dates) > 1 or len(times) != 1:
        raise FiringError(f"{name}: name one column as time, and at most one as date")
    place = times[0]
    kind = layout.kinds[place]
    if dates:
        pair = (dates[0], place)
        if layout.kinds[dates[0]] == "number":
            elapsed = kind == "clock"
            return pair, "elapsed clock" if elapsed else "serial days"
        return pair, "datetime"
    if kind == "datetime":
        return (place,), "datetime"
    if kind == "clock":
        return (place,), "elapsed clock"
    if kind != "number":
        raise FiringError(f'{name}: column "{given[0].name}" holds no times that can be read')
    column = given[0]
    unit = _stated_time_unit(layout, column)
    if unit is None and options.time_unit is None:
        found = kind_by_size(_values(layout, place))
        if found is None:
            raise _bare_numbers(name, f'column "{column.name}"', _values(layout, place))
        return (place,), found
    return (place,), _number_kind(layout, place, unit or "s", options)


def _number_kind(
    layout: LogLayout, index: int, unit: TimeUnit, options: ReadingOptions
) -> TimeKind:
    """Return the kind of bare numbers with a stated unit: elapsed, or since 1970 by their size."""
    values = _values(layout, index)
    if options.time_unit is not None:
        return kind_of_option(options.time_unit, values)
    found = kind_by_size(values)
    expected = {
        "us": "epoch microseconds",
        "ms": "epoch milliseconds",
        "s": "epoch seconds",
        "d": "serial days",
    }.get(unit)
    if found is not None and (found == expected or _lasts_s(values, unit) > LONGEST_FIRING_S):
        return found  # "hora" names the time, and no firing lasts so many hours
    return KIND_OF_UNIT[unit]


def _lasts_s(values: Sequence[float], unit: TimeUnit) -> float:
    return (max(values) - min(values)) * vocabulary.TIME_UNIT_S[unit] if values else 0.0


def _all_midnight(layout: LogLayout, index: int) -> bool:
    """Tell whether dates are written with an idle clock: ``2025-03-14 00:00:00``."""
    cells = [cell for cell in layout.column(index) if cell]
    return all(" 0:00" in cell.replace("T", " ").replace(" 00:", " 0:") for cell in cells) and (
        len(cells) > 2
    )


def _day_count(layout: LogLayout, clock: int) -> tuple[int, ...]:
    """Return the place of a column of days that the header puts under one name with a clock."""
    if clock != 1 or layout.names is None or vocabulary.time_unit(layout.names[0]) != "d":
        return ()
    values = _values(layout, 0)
    return (0,) if values and all(0 <= v < 100 and v == int(v) for v in values) else ()


def _serial_pair(layout: LogLayout, numeric: Sequence[Column]) -> tuple[int, int] | None:
    """Return a spreadsheet's date and time of day, each in a column of its own."""
    for day, clock in pairwise(c.index for c in numeric):
        if are_serial_dates(_values(layout, day)) and are_day_fractions(_values(layout, clock)):
            return day, clock
    return None


def _values(layout: LogLayout, index: int) -> list[float]:
    numbers = [match_number(cell, layout.decimal) for cell in layout.column(index)]
    return [number[0] for number in numbers if number is not None and math.isfinite(number[0])]


def _stated_time_unit(layout: LogLayout, column: Column) -> TimeUnit | None:
    stated = vocabulary.time_unit(column.written)
    if stated is None and layout.units_row is not None:
        stated = vocabulary.time_unit(layout.units_row[column.index].strip(" ()[]"))
    return stated


def _rising_columns(
    layout: LogLayout, columns: Sequence[Column], *, newest_first: bool = False
) -> list[int]:
    """Return the number columns that only ever rise, as a time must; or only fall."""
    found = []
    for column in columns:
        if layout.kinds[column.index] == "number":
            values = _values(layout, column.index)
            if all(a < b for a, b in pairwise(values[::-1] if newest_first else values)):
                found.append(column.index)
    return found


def _epoch_columns(layout: LogLayout, columns: Sequence[Column]) -> list[int]:
    """Return the number columns that count from 1970, in whatever order their rows stand."""
    found = []
    for column in columns:
        if layout.kinds[column.index] == "number":
            values = _values(layout, column.index)
            kind = kind_by_size(values)
            if kind is not None and is_epoch(kind) and len(set(values)) > 0.5 * len(values):
                found.append(column.index)
    return found


def _named_t(layout: LogLayout, columns: Sequence[Column]) -> list[Column]:
    """Return a rising column called t: beside a count of the rows it is the time."""
    called = [c for c in columns if c.written.strip() == "t"]
    return [c for c in called if c.index in _rising_columns(layout, called)]


def two_parts(
    layout: LogLayout, column: Column, options: ReadingOptions, notes: list[str]
) -> TwoParts:
    """Tell what a clock of two numbers means in this log: hours and minutes, if nothing is said."""
    cells = [cell for cell in layout.column(column.index) if cell]
    short = [cell for cell in cells if cell.count(":") == 1]
    if not short:
        return "h:mm"
    if options.time_unit in ("min", "h"):
        return "mm:ss" if options.time_unit == "min" else "h:mm"
    units_cell = layout.units_row[column.index] if layout.units_row else ""
    stated = f"{column.written} {units_cell}".casefold()
    if "h:mm" in stated:
        return "h:mm"
    # beside 1:00:30, 59:30 can only be minutes and seconds
    if "mm:ss" in stated or len(short) < len(cells):
        return "mm:ss"
    longest = max((int(part) for part in (cell.partition(":")[0] for cell in short)
                   if part.isdecimal()), default=0)  # fmt: skip
    if longest > _LONGEST_HOURS:
        notes.append(
            f'times such as "{printable(short[-1])}" are read as minutes and seconds, as no firing '
            "lasts so many hours; say --time-unit h if it did"
        )
        return "mm:ss"
    notes.append(
        f'times such as "{printable(short[0])}" are read as hours and minutes; '
        "say --time-unit min if they are minutes and seconds"
    )
    return "h:mm"


_LONGEST_HOURS = 240


def date_orders(cells: Iterable[str]) -> tuple[set[DateOrder], str | None]:
    """Return the orders in which every date can be read, and one that leaves a choice between them.

    Dates that begin with a four-digit year or name their month leave none; numbers between dots
    are day first (the custom wherever dots are used).
    """
    possible: set[DateOrder] | None = None
    example: str | None = None
    for cell in cells:
        match = GRAMMAR["date"].match(cell)
        if match is None or not match["a"]:
            continue
        here = _readings_in_each_order(match)
        possible = set(here) if possible is None else possible & set(here)
        if len(set(here.values())) > 1:
            example = example or cell[: match.end()].strip()
    if possible is None:
        return set(), None
    return possible, example


def _readings_in_each_order(match: re.Match[str]) -> dict[DateOrder, date]:
    a, b, c = int(match["a"]), int(match["b"]), int(match["c"])
    century = 2000 if len(match["c"]) == 2 else 0
    tries: dict[DateOrder, tuple[int, int, int]] = {"dmy": (c + century, b, a)}
    tries["mdy"] = (c + century, a, b)
    if century:
        tries["ymd"] = (a + 2000, b, c)
    found: dict[DateOrder, date] = {}
    for order, parts in tries.items():
        try:
            found[order] = date(*parts)
        except ValueError:
            continue
    return found


_ORDERS: dict[DateOrder, str] = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}
_YEAR_FIRST = re.compile(r"(?<!\d)(\d{4})([-/.])(\d\d?)\2(\d\d?)(?!\d)")
_HOURS_MINUTES = re.compile(r"(?<!\d)(\d\d?):(\d\d)")
_NIGHT_S = 3 * 3600


def day_before_month(cells: Sequence[str], body: bytes) -> str | None:
    """Return a date that shows that the day stands between year and month, or None.

    Either no month has its number, or each midnight that the log's lines pass leaps a month.
    """
    found = [m for m in map(_YEAR_FIRST.match, dict.fromkeys(cells)) if m is not None]
    odd = next((m[0] for m in found if int(m[3]) > 12), None)
    if odd is not None:
        return odd if all(int(m[4]) <= 12 for m in found) else None
    if len({m[3] for m in found}) < 2 or len({m[4] for m in found}) > 1:
        return None
    nights = 0
    before: tuple[re.Match[str], int] | None = None
    for line in body.decode("utf-8", "replace").split("\n"):
        day, clock = _YEAR_FIRST.search(line), _HOURS_MINUTES.search(line)
        if day is None or clock is None:
            continue
        at_s = int(clock[1]) * 3600 + int(clock[2]) * 60
        if before is not None and before[0][0] != day[0]:
            next_number = int(before[0][3]) + 1 == int(day[3]) and before[0][4] == day[4]
            if not next_number or at_s + 86400 - before[1] > _NIGHT_S:
                return None
            nights += 1
        before = day, at_s
    return found[0][0] if nights else None


_NIGHTS, _OTHER_DAYS = 12, 25


def _shortest(cells: Sequence[str], possible: set[DateOrder]) -> set[DateOrder]:
    """Keep the order in which a log goes on day by day, where the others make it leap a month."""
    spans: dict[DateOrder, int] = {}
    found = [GRAMMAR["date"].match(cell) for cell in dict.fromkeys(cells)]
    for order in possible:
        days = {
            _readings_in_each_order(match)[order].toordinal()
            for match in found
            if match is not None and match["a"]
        }
        spans[order] = max(days) - min(days)
    near = {order for order, span in spans.items() if span <= _NIGHTS}
    far = {order for order, span in spans.items() if span >= _OTHER_DAYS}
    return near if near and near | far == set(spans) else possible


def settle_date_order(
    name: str,
    cells: Sequence[str],
    stated: DateOrder | None,
    notes: list[str] | None = None,
) -> DateOrder | None:
    """Return the order of a log's dates, or refuse to guess it."""
    if stated is not None:
        return stated
    possible, example = date_orders(cells)
    if len(possible) > 1:
        possible = _shortest(cells, possible)
    if len(possible) > 1 and example is not None and "." in example:
        possible -= {"mdy"}  # dots are day first wherever they are the custom
    if len(possible) == 2 and "ymd" in possible and example is not None and "-" not in example:
        [order] = possible - {"ymd"}
        (notes if notes is not None else []).append(
            f'dates such as "{printable(example)}" are read {_ORDERS[order]}; say --date-order ymd '
            "if the year stands first"
        )
        return order
    if len(possible) == 1 or example is None:  # 04/04/2025 is the same day either way
        return min(possible, default=None)
    if not possible:
        raise FiringError(
            f'{name}: no one order of day and month fits all its dates, such as "{example}"; '
            "say --date-order dmy (day first) or --date-order mdy (month first)"
        )
    choice = " or ".join(f"--date-order {order} ({_ORDERS[order]})" for order in sorted(possible))
    raise FiringError(
        f'{name}: the date "{example}" can be read in more than one way; say {choice}'
    )
