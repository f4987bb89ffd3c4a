"""The table of a log: its columns, and for every row the line it stands on.

A short log is split here; a long one takes one pass of pandas' C parser, which costs a fifth of a
second to load and is then thirty times as fast.
"""

import io
import re
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from firing.logs.dialect import Column, Dialect
from firing.logs.physics import DegreeUnit
from firing.logs.text import printable
from firing.logs.times import SECONDS_OF_KIND
from firing.logs.values import MISSING_WORDS, as_celsius, clean_numbers, split_line
from firing.logs.vocabulary import role
from firing.trace import FloatArray

_TAIL_COMPARED = 6  # lines before the last that show how long a line should be
_TAIL_BYTES = 8192


_BEYOND = "beyond"  # what stands right of the table
_HALF_DAY = re.compile(rb"(?<=:\d\d) ([AaPp]\.?[Mm])")


_SHORT_ROWS = 20_000
_Cells: TypeAlias = "npt.NDArray[np.object_] | FloatArray"


class LogTable:
    """The rows of a log, and their line numbers."""

    def __init__(self, name: str, body: bytes, dialect: Dialect) -> None:
        self.name = name
        self.dialect = dialect
        self.notes: list[str] = []
        self._body = _readings_of(body, dialect.first_line - 1)
        if b'"' in self._body:
            self._close_quotes()
        self._cut_tail()
        self._lines: list[bytes] | None = None
        self._shifted: npt.NDArray[np.bool_] | None = None
        short = self._body.count(b"\n") < _SHORT_ROWS
        self._columns = self._split() if short else self._parse()
        self.rows = next(iter(self._columns.values())).size

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

    def _cut_tail(self) -> None:
        """Leave out a last line that was broken off while it was written.

        Such a line has no end of its own, and fewer cells than the others or a shorter last
        number: of 219.25 it may have kept 2, which is a number too.
        """
        body = self._body
        if body.endswith(b"\n") or body.count(b"\n") < _TAIL_COMPARED:
            return
        *others, last = body[-_TAIL_BYTES:].split(b"\n")[-_TAIL_COMPARED - 1 :]
        mark, point = self.dialect.delimiter, self.dialect.decimal
        cells = split_line(last.decode("utf-8", "replace"), mark)
        rows = [split_line(line.decode("utf-8", "replace"), mark) for line in others]
        widths = {len(row) for row in rows}
        if not last.strip() or len(widths) != 1:
            return
        endings = {len(row[-1].rpartition(point)[2]) if point in row[-1] else 0 for row in rows}
        places = len(cells[-1].rpartition(point)[2]) if point in cells[-1] else 0
        short = len(cells) < min(widths)
        cut = len(cells) == min(widths) and len(endings) == 1 and places < min(endings)
        if short or cut:
            self._body = body[: len(body) - len(last)]
            self.notes.append(
                f'the last line, "{printable(last.decode("utf-8", "replace"))}", is cut short and '
                "is left out"
            )

    def _split(self) -> dict[str, _Cells]:
        """Split every line here; what `_parse` does for a long log."""
        dialect = self.dialect
        spaced = dialect.delimiter == " "
        if spaced:
            self._body = _HALF_DAY.sub(rb"\1", self._body)
        text = self._body.decode("utf-8", "replace")
        lines = text.removesuffix("\n").split("\n") if text else []
        if spaced or '"' in text:
            rows = [split_line(line, dialect.delimiter) for line in lines]
        else:
            rows = [line.split(dialect.delimiter) for line in lines]
        width = len(dialect.columns)
        if spaced:
            self._shifted = np.array([len(row) != width for row in rows], dtype=np.bool_)
        numeric = dialect.time_kind in SECONDS_OF_KIND
        texts = () if numeric else dialect.time_columns
        columns: dict[str, _Cells] = {}
        for column in dialect.columns:
            if column.role == "ignore" or (column.role == "other" and not may_be_hot(column)):
                continue
            at = column.index
            cells = [row[at] if at < len(row) else "" for row in rows]
            if not spaced:
                cells = list(map(str.strip, cells))
            columns[str(at)] = self._floats(cells) if at not in texts else _objects(cells)
        return columns

    def _floats(self, cells: list[str]) -> _Cells:
        """Return cells as numbers if all are, or have none; else as they stand."""
        mark = self.dialect.decimal
        try:
            if mark == ".":
                numbers = [float(cell) if cell else _NAN for cell in cells]
            else:
                numbers = [
                    float(cell.replace(mark, ".", 1)) if cell and "." not in cell else _none(cell)
                    for cell in cells
                ]
        except ValueError:
            return _objects(cells)
        if any("_" in cell for cell in cells):  # python's own mark between thousands
            return _objects(cells)
        return np.array(numbers, dtype=np.float64)

    def _parse(self) -> dict[str, _Cells]:
        import pandas as pd

        dialect = self.dialect
        used = [
            str(c.index)
            for c in dialect.columns
            if c.role not in ("other", "ignore") or (c.role == "other" and may_be_hot(c))
        ]
        numeric = dialect.time_kind in SECONDS_OF_KIND
        texts = [] if numeric else [str(index) for index in dialect.time_columns]
        names = [str(column.index) for column in dialect.columns]
        spaced = dialect.delimiter == " "
        if spaced:
            self._body = _HALF_DAY.sub(rb"\1", self._body)
            # between spaces a missing cell shifts the others: rows of another width show here
            used = [*used, *(index for index in (names[-1], _BEYOND) if index not in used)]
            texts = [*texts, _BEYOND]
            names = [*names, _BEYOND]
        # pandas wants one line that fills every column; it goes again below
        extra = b"\n" + b" ".join([b"---"] * len(names)) if spaced else b""
        # naming the used columns lets rows be longer or shorter than the table without an error
        frame = pd.read_csv(
            io.BytesIO(self._body.removesuffix(b"\n") + extra if spaced else self._body),
            sep=r"\s+" if spaced else dialect.delimiter,
            decimal=dialect.decimal,
            engine="c",
            encoding="utf-8",
            encoding_errors="replace",
            header=None,
            index_col=False,
            names=names,
            usecols=used,
            dtype=dict.fromkeys(texts, object),
            na_values={i: [""] if i in texts else list(MISSING_WORDS) for i in used},
            keep_default_na=False,
            skip_blank_lines=False,
            skipinitialspace=True,
            low_memory=False,
            quoting=0 if b'"' in self._body else 3,  # csv.QUOTE_MINIMAL, csv.QUOTE_NONE
        )
        if spaced:
            frame = frame.iloc[:-1]
            self._shifted = self._shifted_rows(frame)
        columns: dict[str, _Cells] = {}
        for index in used:
            if index == _BEYOND:
                continue
            column = frame[index]
            kind = np.float64 if column.dtype.kind in "fiu" else object
            columns[index] = column.to_numpy(dtype=kind)
        return columns

    def _shifted_rows(self, frame: Any) -> "npt.NDArray[np.bool_]":
        shifted: npt.NDArray[np.bool_] = frame[_BEYOND].notna().to_numpy(dtype=np.bool_, copy=True)
        written = frame[str(self.dialect.columns[-1].index)]
        # "" and "nan" are read alike, so short rows are looked at again
        doubtful = np.flatnonzero(written.isna().to_numpy(dtype=np.bool_))
        width = len(self.dialect.columns)
        for row in doubtful:
            shifted[row] |= len(split_line(self.line_text(int(row)), " ")) < width
        return shifted

    def shifted(self) -> npt.NDArray[np.bool_] | None:
        """Tell which rows have cells that cannot be given to a column, shape (rows,).

        Only between spaces, where an empty cell leaves no trace; None where there are none.
        """
        return self._shifted if self._shifted is not None and self._shifted.any() else None

    def line(self, row: int) -> int:
        """Return the line number in the file, from 1, of a row from 0."""
        return self.dialect.first_line + row

    def line_text(self, row: int) -> str:
        """Return one row as written."""
        return self._line(row).decode("utf-8", "replace")

    def delimiters(self, row: int) -> int:
        """Return how often the delimiter stands in a row, quoted or not."""
        return self._line(row).count(self.dialect.delimiter.encode())

    def _line(self, row: int) -> bytes:
        if self._lines is None:
            self._lines = self._body.split(b"\n")
        return self._lines[row] if row < len(self._lines) else b""

    def cell(self, row: int, index: int) -> str:
        """Return one cell as written, harmless to show."""
        cells = split_line(self.line_text(row), self.dialect.delimiter)
        return printable(cells[index]) if index < len(cells) else ""

    def time_text(self, row: int) -> str:
        """Return one row's time as written."""
        return " ".join(self.cell(row, index) for index in self.dialect.time_columns).strip()

    def objects(self, index: int) -> "npt.NDArray[np.object_]":
        """Return one column's cells as they stand."""
        return self._columns[str(index)].astype(object)

    def numbers(self, index: int, unit: DegreeUnit | None = None) -> FloatArray:
        """Return one column as floats, NaN where there is no number."""
        column = self._columns[str(index)]
        if column.dtype == np.float64:
            values: FloatArray = column.astype(np.float64)
            return values
        return clean_numbers(column.astype(object), self.dialect.decimal, unit)

    def rewrite(self, index: int, values: FloatArray) -> None:
        """Put other numbers in a column's place."""
        self._columns[str(index)] = values

    def celsius(self, column: Column) -> FloatArray:
        """Return a temperature column in °C, NaN where there is no temperature."""
        unit = column.degrees
        return as_celsius(self.numbers(column.index, unit), unit)

    def is_blank(self, row: int) -> bool:
        """Tell whether a row holds nothing at all."""
        return not self.line_text(row).strip(self.dialect.delimiter + " \t\x1a")


_NAN = float("nan")


def _none(cell: str) -> float:
    if cell:
        raise ValueError(cell)
    return _NAN


def _objects(cells: list[str]) -> "npt.NDArray[np.object_]":
    return np.array(cells, dtype=object)


def may_be_hot(column: Column) -> bool:
    """Tell whether a column that is left out may be a temperature's: its heat will show."""
    return role(column.written) in ("ambient", "unknown")


def _readings_of(body: bytes, lines_above: int) -> bytes:
    begin = 0
    for _ in range(lines_above):
        begin = body.index(b"\n", begin) + 1
    return body[begin:]
