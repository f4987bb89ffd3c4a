"""The times of a log: what a cell means, and reading a whole column of them fast.

A log repeats one spelling of time thousands of times.  So each *shape* (the cell with every digit
written 0) is matched once against the grammar below, and all cells of that shape are then read as
columns of digits.  The grammar stays the single truth, whatever the dialect, at array speed.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Literal

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray

DateOrder = Literal["ymd", "dmy", "mdy"]
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
