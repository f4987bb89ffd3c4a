"""The table of a log: one pass of pandas' C parser, and for every row the line it stands on."""

import io
from datetime import datetime
from typing import Any

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.logs.dialect import SECONDS_OF_KIND, Column, Dialect
from firing.logs.layout import split_line
from firing.logs.text import neutral
from firing.logs.times import SECONDS_PER_DAY, Moments, read_moments
from firing.logs.values import MISSING_WORDS, as_celsius, clean_numbers
from firing.trace import FloatArray
from firing.units import TemperatureUnit


class ReadingTable:
    """The rows of a log as pandas' C parser read them, and their line numbers."""

    def __init__(self, name: str, body: bytes, dialect: Dialect) -> None:
        self.name = name
        self.dialect = dialect
        self.notes: list[str] = []
        self._body = _readings_of(body, dialect.first_line - 1)
        if b'"' in self._body:
            self._close_quotes()
        self._lines: list[bytes] | None = None
        self._frame = self._parse()
        self.rows = int(self._frame.shape[0])

    def _close_quotes(self) -> None:
        """Drop the quotation marks of lines that hold an odd number of them.

        One mark left open would swallow every line up to the next one.
        """
        lines = self._body.split(b"\n")
        odd = [index for index, line in enumerate(lines) if line.count(b'"') % 2]
        for index in odd:
            lines[index] = lines[index].replace(b'"', b"")
        if odd:
            self._body = b"\n".join(lines)
            self.notes.append(
                f"line {self.line(odd[0])} has a quotation mark that is never closed; it is ignored"
            )

    def _parse(self) -> Any:
        import pandas as pd

        dialect = self.dialect
        used = [str(c.index) for c in dialect.columns if c.role != "other"]
        numeric = dialect.time_kind in SECONDS_OF_KIND
        texts = [] if numeric else [str(index) for index in dialect.time_columns]
        # naming the used columns lets rows be longer or shorter than the table without an error
        return pd.read_csv(
            io.BytesIO(self._body),
            sep=dialect.delimiter,
            decimal=dialect.decimal,
            engine="c",
            encoding="utf-8",
            encoding_errors="replace",
            header=None,
            index_col=False,
            names=[str(column.index) for column in dialect.columns],
            usecols=used,
            dtype=dict.fromkeys(texts, object),
            na_values={i: list(MISSING_WORDS) for i in used if i not in texts},
            keep_default_na=False,
            skip_blank_lines=False,
            skipinitialspace=True,
            low_memory=False,
            quoting=0 if b'"' in self._body else 3,  # csv.QUOTE_MINIMAL, csv.QUOTE_NONE
        )

    def line(self, row: int) -> int:
        """Return the line number in the file, from 1, of a row from 0."""
        return self.dialect.first_line + row

    def line_text(self, row: int) -> str:
        """Return one row as written."""
        if self._lines is None:
            self._lines = self._body.split(b"\n")
        return self._lines[row].decode("utf-8", "replace") if row < len(self._lines) else ""

    def cell(self, row: int, index: int) -> str:
        """Return one cell as written, harmless to show."""
        cells = split_line(self.line_text(row), self.dialect.delimiter)
        return neutral(cells[index]) if index < len(cells) else ""

    def time_text(self, row: int) -> str:
        """Return one row's time as written."""
        return " ".join(self.cell(row, index) for index in self.dialect.time_columns).strip()

    def _objects(self, index: int) -> "npt.NDArray[np.object_]":
        cells: npt.NDArray[np.object_] = self._frame[str(index)].to_numpy(dtype=object)
        return cells

    def numbers(self, index: int, unit: TemperatureUnit | None = None) -> FloatArray:
        """Return one column as floats, NaN where there is no number."""
        column = self._frame[str(index)]
        if column.dtype.kind in "fiu":
            values: FloatArray = column.to_numpy(dtype=np.float64)
            return values
        return clean_numbers(self._objects(index), self.dialect.decimal, unit)

    def celsius(self, column: Column) -> FloatArray:
        """Return a temperature column in °C, NaN where there is no temperature."""
        unit = column.unit or "C"
        return as_celsius(self.numbers(column.index, unit), unit)

    def times(self, notes: list[str]) -> tuple[FloatArray, datetime | None]:
        """Return seconds since the first reading (NaN: unreadable) and its wall-clock moment."""
        dialect = self.dialect
        places = dialect.time_columns
        factor = SECONDS_OF_KIND.get(dialect.time_kind)
        if factor is not None:
            numbers = self.numbers(places[0]) * factor
            numbers[~np.isfinite(numbers)] = np.nan
            return numbers, None
        moments = self._moments(places)
        seconds = moments.elapsed_s()
        if dialect.time_kind == "elapsed clock":
            return self._past_midnight(seconds, moments, notes), None
        readable = np.flatnonzero(moments.valid)
        if not readable.size:
            return seconds, None
        started, ended = (moments.moment(int(readable[place])) for place in (0, -1))
        if np.isnan(moments.offset_s[readable[0]]) and started.utcoffset() != ended.utcoffset():
            notes.append(
                "the clocks were changed between the first and the last reading; the times are "
                "taken as written, so an hour may be missing or counted twice"
            )
        return seconds, started

    def _moments(self, places: tuple[int, ...]) -> Moments:
        dialect = self.dialect
        order, parts = dialect.date_order, dialect.two_parts
        if len(places) == 2:
            dates = read_moments(self._objects(places[0]), "date", order)
            return dates.joined(read_moments(self._objects(places[1]), "clock"))
        if dialect.time_kind == "elapsed clock":
            return read_moments(self._objects(places[0]), "clock", two_parts=parts)
        return read_moments(self._objects(places[0]), "datetime", order)

    def _past_midnight(self, seconds: FloatArray, moments: Moments, notes: list[str]) -> FloatArray:
        """Go on counting where a clock without a date starts again at 0:00."""
        rows = np.flatnonzero(moments.valid)
        clock_s = moments.second[rows]
        if not rows.size or moments.day[rows].any() or clock_s.max() >= SECONDS_PER_DAY:
            return seconds
        wraps = np.diff(clock_s) < -0.5 * SECONDS_PER_DAY
        if not wraps.any():
            return seconds
        seconds = seconds.copy()
        seconds[rows[1:]] += np.cumsum(wraps) * SECONDS_PER_DAY
        at = int(rows[1:][np.argmax(wraps)])
        notes.append(
            f"the clock passes midnight at line {self.line(at)}; the times go on from there"
        )
        return seconds

    def is_blank(self, row: int) -> bool:
        """Tell whether a row holds nothing at all."""
        return not self.line_text(row).strip(self.dialect.delimiter + " \t\x1a")


def _readings_of(body: bytes, lines_above: int) -> bytes:
    begin = 0
    for _ in range(lines_above):
        begin = body.index(b"\n", begin) + 1
    return body[begin:]


def usable_rows(table: ReadingTable, time_s: FloatArray, notes: list[str]) -> npt.NDArray[np.intp]:
    """Return the rows with a time of their own, in order; refuse a log that runs backwards.

    Blank lines are no rows and leave `table.rows`.
    """
    readable = np.isfinite(time_s)
    lost = [int(row) for row in np.flatnonzero(~readable) if not table.is_blank(int(row))]
    table.rows -= int(np.count_nonzero(~readable)) - len(lost)
    if lost:
        text = table.time_text(lost[0])
        notes.append(
            f"{len(lost)} of {table.rows} lines have no readable time and are left out "
            f'(the first is line {table.line(lost[0])}: "{text}")'
        )
    rows: npt.NDArray[np.intp] = np.flatnonzero(readable)
    steps_s = np.diff(time_s[rows])
    if np.any(steps_s < 0):
        at = int(np.argmax(steps_s < 0))
        before, after = int(rows[at]), int(rows[at + 1])
        raise FiringError(
            f"{table.name}, line {table.line(after)}: time runs backwards, from "
            f'"{table.time_text(before)}" to "{table.time_text(after)}"; a log must be in the '
            "order of its times"
        )
    first_of_its_time = np.concatenate([[True], steps_s > 0])[: rows.size]
    twice = rows[~first_of_its_time]
    if twice.size:
        lines = "line repeats" if twice.size == 1 else "lines repeat"
        notes.append(
            f"{twice.size} {lines} the time before and only the first reading counts "
            f"(first at line {table.line(int(twice[0]))}: {table.time_text(int(twice[0]))})"
        )
    rows = rows[first_of_its_time]
    if rows.size < 2:
        count = "one reading" if rows.size else "no reading with a readable time"
        raise FiringError(f"{table.name} holds {count}; a firing needs at least two")
    return rows
