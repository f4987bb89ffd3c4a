"""The times of a log: what a cell means, and reading a whole column of them fast.

A log repeats one spelling of time thousands of times.  So each *shape* (the cell with every digit
written 0) is matched once against the grammar below, and all cells of that shape are then read as
columns of digits.  The grammar stays the single truth, whatever the dialect, at array speed.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Literal

import numpy as np
import numpy.typing as npt

from firing.logs.vocabulary import TIME_UNIT_S, TimeUnit
from firing.trace import FloatArray, median

DateOrder = Literal["ymd", "dmy", "mdy", "ydm"]
CellTime = Literal["datetime", "date", "clock"]
TwoParts = Literal["h:mm", "mm:ss"]
IntArray = npt.NDArray[np.int64]

SECONDS_PER_DAY = 86400.0
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

_DATE = (
    r"(?:(?P<y>\d{4})(?P<s1>[-/.])(?P<m>\d{1,2})(?P=s1)(?P<d>\d{1,2})"
    r"|(?P<a>\d{1,2})(?P<s2>[-/.])(?P<b>\d{1,2})(?P=s2)(?P<c>\d{4}|\d{2})"
    r"|(?P<dn>\d{1,2})[-/. ]+(?P<mon>jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
    r"[-/., ]+(?P<yn>\d{4}))"
)
_CLOCK = (
    r"(?P<H>\d{1,4}):(?P<M>\d{2})(?::(?P<S>\d{2})(?:[.,](?P<f>\d{1,9}))?)?"
    r"(?:\s?(?P<ap>[ap])\.?m\.?)?"
)
_ZONE = r"(?:\s?(?P<z>z|utc|gmt|(?P<zs>[+-])(?P<zh>\d{2})(?::?(?P<zm>\d{2}))?))?"
_DAYS = r"(?:(?P<D>\d{1,3})(?:\s*d(?:ays?)?,?\s*|\s+|\.))?"
GRAMMAR: dict[CellTime, re.Pattern[str]] = {
    "datetime": re.compile(rf"\s*{_DATE}(?:t|,?\s+){_CLOCK}{_ZONE}\s*", re.I | re.A),
    "date": re.compile(rf"\s*{_DATE}\s*", re.I | re.A),
    "clock": re.compile(rf"\s*{_DAYS}{_CLOCK}{_ZONE}\s*", re.I | re.A),
}
_BUDDHIST_YEARS = 543  # the Thai calendar is ahead by; no other counts 2569
_WIDEST = 48  # characters; no time of the grammar is longer
_MOST_SHAPES = 64  # beyond this many spellings, cells are read one by one


def time_of_cell(text: str) -> CellTime | None:
    """Tell what kind of time a cell holds, or None."""
    for kind, pattern in GRAMMAR.items() if len(text) <= _WIDEST else ():
        if pattern.fullmatch(text):
            return kind
    return None


@dataclass(frozen=True, eq=False)
class Moments:
    """Times read from cells; arrays of shape (n,).

    `day` counts from 1970-01-01, or is that of an elapsed clock, whose `second` may pass 86400.
    `offset_s` from UTC is NaN where none is written.
    """

    day: IntArray
    second: FloatArray
    valid: npt.NDArray[np.bool_]
    offset_s: FloatArray

    def joined(self, clock: "Moments") -> "Moments":
        """Return these dates at the times of day of another column."""
        return Moments(self.day + clock.day, clock.second, self.valid & clock.valid, clock.offset_s)

    def elapsed_s(self) -> FloatArray:
        """Return seconds since the first readable moment, NaN where unreadable; offsets count."""
        offset_s = np.where(np.isnan(self.offset_s), 0.0, self.offset_s)
        seconds = np.full(self.day.size, np.nan)
        if self.valid.any():
            first = int(np.argmax(self.valid))
            days = (self.day - self.day[first]).astype(np.float64)
            seconds[self.valid] = (
                days * SECONDS_PER_DAY
                + (self.second - self.second[first])
                - (offset_s - offset_s[first])
            )[self.valid]
        return seconds

    def year(self, index: int) -> int:
        """Return one cell's year, whatever it is."""
        return int(np.datetime64(int(self.day[index]), "D").astype("M8[Y]").astype(np.int64)) + 1970

    def moment(self, index: int) -> datetime:
        """Return one cell's wall-clock moment: in the zone it states, else in the local zone."""
        naive = datetime(1970, 1, 1) + timedelta(
            days=int(self.day[index]), seconds=float(self.second[index])
        )
        offset_s = float(self.offset_s[index])
        if np.isnan(offset_s):
            return naive.astimezone()
        zone = UTC if offset_s == 0 else timezone(timedelta(seconds=offset_s))
        return naive.replace(tzinfo=zone)


def read_moments(
    cells: "npt.NDArray[np.object_]",
    kind: CellTime,
    order: DateOrder | None = None,
    *,
    two_parts: TwoParts = "h:mm",
) -> Moments:
    """Read a column of time cells; `order` is that of dates without a four-digit year in front."""
    count = cells.size
    day = np.zeros(count, dtype=np.int64)
    second = np.zeros(count)
    valid = np.zeros(count, dtype=np.bool_)
    offset_s = np.full(count, np.nan)
    for match, rows, digits in _shapes(cells, GRAMMAR[kind]):
        good = np.ones(digits.shape[0], dtype=np.bool_)
        if kind != "clock":
            days, proper = _days(match, digits, order)
            day[rows], good = days, good & proper
        if kind != "date":
            seconds, zone_s, proper = _seconds(match, digits, capped=kind == "datetime")
            if two_parts == "mm:ss" and not match["S"]:
                seconds = seconds / 60.0
            second[rows], offset_s[rows], good = seconds, zone_s, good & proper
        if kind == "clock" and match["D"]:
            day[rows] = _number(match, digits, "D")
        valid[rows] = good
    return Moments(day, second, valid, offset_s)


Rows = slice | IntArray
Digits = npt.NDArray[np.uint8]


def _as_bytes(cells: "npt.NDArray[np.object_]") -> "npt.NDArray[np.bytes_]":
    try:
        width = max(map(len, cells))
    except TypeError:  # a row too short to have this column
        cells = np.array([c if isinstance(c, str) else "" for c in cells], dtype=object)
        width = max(map(len, cells), default=0)
    # one character more than the grammar can match, so that what is cut does not match either
    kind = f"S{min(max(width, 1), _WIDEST + 1)}"
    try:
        return cells.astype(kind)
    except UnicodeEncodeError:
        plain = [c.replace("\u00a0", " ").encode("ascii", "replace") for c in cells]
        return np.array(plain, dtype=kind)


def _shapes(
    cells: "npt.NDArray[np.object_]", grammar: re.Pattern[str]
) -> Iterator[tuple[re.Match[str], Rows, Digits]]:
    """Yield (match of one cell, rows of its shape, their characters as (rows, width) bytes)."""
    if not cells.size:
        return
    texts = np.ascontiguousarray(_as_bytes(cells))
    width = texts.dtype.itemsize
    characters = texts.view(np.uint8).reshape(texts.size, width)
    digit = (characters >= 48) & (characters <= 57)
    shapes = np.where(digit, np.uint8(48), characters).view(f"S{width}").ravel()
    left = np.arange(texts.size)
    for _ in range(_MOST_SHAPES):
        same = shapes[left] == shapes[left[0]]
        rows = left[same]
        match = grammar.fullmatch(texts[rows[0]].decode("ascii"))
        if match is not None:
            whole: Rows = slice(None) if rows.size == texts.size else rows
            yield match, whole, characters[whole]
        left = left[~same]
        if not left.size:
            return
    for row in left:
        match = grammar.fullmatch(texts[row].decode("ascii"))
        if match is not None:
            yield match, np.array([row]), characters[row : row + 1]


def _number(match: re.Match[str], digits: Digits, group: str) -> IntArray:
    begin, end = match.span(group)
    total = np.zeros(digits.shape[0], dtype=np.int64)
    for column in range(begin, end):
        total = total * 10 + (digits[:, column] - np.uint8(48))
    return total


def _days(
    match: re.Match[str], digits: Digits, order: DateOrder | None
) -> tuple[IntArray, npt.NDArray[np.bool_]]:
    if match["y"]:
        year, month, day = (_number(match, digits, group) for group in ("y", "m", "d"))
        if order == "ydm":
            month, day = day, month
    elif match["mon"]:
        year, day = _number(match, digits, "yn"), _number(match, digits, "dn")
        month = np.full(day.size, _MONTHS.index(match["mon"].lower()) + 1, dtype=np.int64)
    else:
        if match["s2"] == "." and order is None:
            order = "dmy"
        first, second, third = (_number(match, digits, group) for group in ("a", "b", "c"))
        if order == "ymd":
            year, month, day = first, second, third
        elif order == "mdy":
            year, month, day = third, first, second
        else:
            year, month, day = third, second, first
        if order == "ymd" or len(match["c"]) == 2:
            year = year + 2000
    year = np.where((year > 2500) & (year < 2643), year - _BUDDHIST_YEARS, year)
    good = (month >= 1) & (month <= 12) & (day >= 1) & (year >= 1)
    whole_months = np.where(good, (year - 1970) * 12 + month - 1, 0)
    start = whole_months.astype("M8[M]").astype("M8[D]").astype(np.int64)
    after = (whole_months + 1).astype("M8[M]").astype("M8[D]").astype(np.int64)
    days = start + day - 1
    good &= days < after
    return np.where(good, days, 0), good


def _seconds(
    match: re.Match[str], digits: Digits, *, capped: bool
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    hour, minute = _number(match, digits, "H"), _number(match, digits, "M")
    good = minute < 60
    if match["ap"]:
        good &= hour <= 12
        hour = hour % 12 + (12 if match["ap"] in "pP" else 0)
    elif capped:
        good &= (hour < 24) | ((hour == 24) & (minute == 0))
    total = (hour * 60 + minute).astype(np.float64) * 60.0
    if match["S"]:
        whole = _number(match, digits, "S")
        good &= whole < 60
        total += whole
    if match["f"]:
        begin, end = match.span("f")
        total += _number(match, digits, "f") / 10.0 ** (end - begin)
    zone_s = np.full(total.size, np.nan if not match["z"] else 0.0)
    if match["zs"]:
        zone_s = _number(match, digits, "zh") * 3600.0
        if match["zm"]:
            zone_s += _number(match, digits, "zm") * 60.0
        good &= zone_s < SECONDS_PER_DAY
        zone_s = -zone_s if match["zs"] == "-" else zone_s
    return total, zone_s, good


NumberKind = Literal[
    "microseconds",
    "milliseconds",
    "seconds",
    "minutes",
    "hours",
    "days",
    "epoch seconds",
    "epoch milliseconds",
    "epoch microseconds",
    "epoch nanoseconds",
    "serial days",
    "serial days from 1904",
    "Julian days",
    "modified Julian days",
]
TimeUnitOption = TimeUnit | Literal["epoch", "serial", "serial-1904"]

KIND_OF_UNIT: dict[TimeUnit, NumberKind] = {
    "us": "microseconds",
    "ms": "milliseconds",
    "s": "seconds",
    "min": "minutes",
    "h": "hours",
    "d": "days",
}
_EPOCH_KINDS: dict[NumberKind, float] = {
    "epoch seconds": 1.0,
    "epoch milliseconds": 1e-3,
    "epoch microseconds": 1e-6,
    "epoch nanoseconds": 1e-9,
}
SECONDS_OF_KIND: dict[NumberKind, float] = {
    **{kind: TIME_UNIT_S[unit] for unit, kind in KIND_OF_UNIT.items()},
    **_EPOCH_KINDS,
    "serial days": 86400.0,
    "serial days from 1904": 86400.0,
    "Julian days": 86400.0,
    "modified Julian days": 86400.0,
}
# Day 1 of a spreadsheet is 1 January 1900 and it counts a 29 February 1900 that never was, so from
# March 1900 its days count from 30 December 1899 (ECMA-376 part 1, 18.17.4.1); the other system
# counts from 1 January 1904.
DAYS_TO_1970: dict[NumberKind, int] = {"serial days": 25569, "serial days from 1904": 24107}

JULIAN_TO_1970: dict[NumberKind, float] = {
    "Julian days": 2440587.5,
    "modified Julian days": 40587.0,
}
"""From noon UT on 1 January 4713 BC, and from midnight UT on 17 November 1858."""
_JULIAN_NAMES: dict[str, NumberKind] = {
    "jd": "Julian days",
    "julian": "Julian days",
    "julian date": "Julian days",
    "julian day": "Julian days",
    "mjd": "modified Julian days",
    "modified julian date": "modified Julian days",
}

_EPOCH_S = (9.4e8, 3.4e9)  # late 1999 to 2077; what counts from 1904 is beyond it
_SERIAL_DAYS = (29_000.0, 75_000.0)  # 1979 to 2105 counted from 1900, four years later from 1904
_SERIAL_STEP_DAYS = 0.05  # readings an hour and more apart are no log of a firing


def is_epoch(kind: str) -> bool:
    """Tell whether a kind of time counts from 1970, UTC."""
    return kind in _EPOCH_KINDS or kind in JULIAN_TO_1970


def julian_kind(name: str, values: Sequence[float]) -> NumberKind | None:
    """Tell whether a column, by its name and its numbers, counts Julian days."""
    kind = _JULIAN_NAMES.get(name)
    if kind is None or not values:
        return None
    begin = JULIAN_TO_1970[kind]
    low, high = (begin + day for day in (_EPOCH_S[0] / 86400.0, _EPOCH_S[1] / 86400.0))
    return kind if low <= min(values) and max(values) <= high else None


def is_serial(kind: str) -> bool:
    """Tell whether a kind of time counts a spreadsheet's days, in wall-clock time."""
    return kind in DAYS_TO_1970


def _epoch_kind(values: Sequence[float]) -> NumberKind | None:
    low, high = _EPOCH_S
    for kind, factor in _EPOCH_KINDS.items():
        late = sum(low <= value * factor <= high for value in values)
        # a logger counts from 1970 until its clock is set
        unset = sum(0.0 <= value * factor < _UNSET_S for value in values)
        if late and late + unset == len(values) and late >= _MOSTLY * len(values):
            return kind
    return None


_UNSET_S, _MOSTLY = 3e7, 0.5


def kind_by_size(values: Sequence[float]) -> NumberKind | None:
    """Tell by their size, in file order, which numbers count from a calendar's beginning.

    None for numbers that may be anything.
    """
    if len(values) < 2:
        return None
    low, high = min(values), max(values)
    found = _epoch_kind(values)
    if found is not None:
        return found
    broken = any(value != int(value) for value in values)
    if broken and low >= _SERIAL_DAYS[0] and high <= _SERIAL_DAYS[1]:
        step = median(np.abs(np.diff(values)))
        if step <= _SERIAL_STEP_DAYS:
            return "serial days"
    return None


def kind_of_option(option: TimeUnitOption, values: Sequence[float]) -> NumberKind:
    """Return the kind a person named; an epoch's unit is option by the size of its numbers."""
    if option == "epoch":
        return _epoch_kind(values) or "epoch seconds"
    if option == "serial":
        return "serial days"
    if option == "serial-1904":
        return "serial days from 1904"
    return KIND_OF_UNIT[option]


def are_serial_dates(values: Sequence[float]) -> bool:
    """Tell whether numbers could be a spreadsheet's whole dates."""
    low, high = _SERIAL_DAYS
    return bool(values) and all(low <= value <= high and value == int(value) for value in values)


def are_day_fractions(values: Sequence[float]) -> bool:
    """Tell whether numbers could be a spreadsheet's times of day."""
    return bool(values) and all(0.0 <= value < 1.0 for value in values) and max(values) > 0.0
