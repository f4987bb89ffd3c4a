"""The table inside a text file: delimiter, decimal mark, first reading, header, units row."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from firing.errors import FiringError
from firing.logs.text import neutral
from firing.logs.times import CellTime, time_of_cell
from firing.logs.values import Decimal, is_missing, match_number
from firing.logs.words import is_unit_cell, role

CellKind = CellTime | Literal["number", "missing", "text"]

DELIMITERS = (";", "\t", ",", "|")
_HEAD_BYTES, _TAIL_BYTES = 65_536, 4096
_HEAD_LINES, _TAIL_LINES, _SCORED_LINES = 400, 20, 60
_COMMENT = re.compile(r"^\s*(?:#|//|%|;(?=\s*\w))\s*")
_GROUPED = re.compile(r"\s*[1-9]\d{0,2}([.,])\d{3}\s*")


@dataclass(frozen=True)
class Layout:
    """Where the table is and how its cells are written.

    Attributes
    ----------
    delimiter, decimal : str
        The marks between cells and inside numbers.
    first_row : int
        Lines above the first reading.
    preamble : tuple of str
        Lines above the header (or above the first reading where there is no header).
    names : tuple of str, optional
        The header, as long as the table is wide; None where there is none.
    units_row : tuple of str, optional
        The row of units below the header.
    kinds : tuple of CellKind
        What each column mostly holds.
    rows : tuple of tuple of str
        A sample of readings, the first ones and the last ones.
    """

    delimiter: str
    decimal: Decimal
    first_row: int
    preamble: tuple[str, ...]
    names: tuple[str, ...] | None
    units_row: tuple[str, ...] | None
    kinds: tuple[CellKind, ...]
    rows: tuple[tuple[str, ...], ...]

    def column(self, index: int) -> list[str]:
        """Return the sampled cells of one column."""
        return [row[index] for row in self.rows]


def split_line(line: str, delimiter: str) -> list[str]:
    """Split one line into cells, honouring quotation marks."""
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)]
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]


@lru_cache(maxsize=4096)
def cell_kind(text: str) -> CellKind:
    """Tell what one cell holds."""
    if is_missing(text):
        return "missing"
    if match_number(text, ".") or match_number(text, ","):
        return "number"
    return time_of_cell(text) or "text"


def _sample(body: bytes) -> tuple[list[str], list[str]]:
    """Return the first lines of a text and, where there are more, its last ones."""
    head = body[:_HEAD_BYTES].decode("utf-8", "replace").split("\n")
    if len(body) <= _HEAD_BYTES:
        return head[:_HEAD_LINES], head[_HEAD_LINES:][-_TAIL_LINES:]
    # the first line of each part but the first one is cut in the middle
    begin = max(len(body) - _TAIL_BYTES, _HEAD_BYTES)
    tail = body[begin:].decode("utf-8", "replace").split("\n")[1:]
    return head[:-1][:_HEAD_LINES], tail[-_TAIL_LINES:]


def _is_reading(kinds: Sequence[CellKind]) -> bool:
    """Tell whether a row of such cells could be a reading: a time or number, and little text."""
    known = sum(kind != "text" for kind in kinds)
    real = sum(kind not in ("text", "missing") for kind in kinds)
    return known >= 2 and real >= 1 and 2 * known >= len(kinds)


def _best_delimiter(lines: Sequence[str], candidates: Sequence[str]) -> tuple[str, int] | None:
    """Return the delimiter that makes the most lines readings, and the width of their table."""
    best: tuple[float, str, int] | None = None
    for delimiter in candidates:
        scores: Counter[int] = Counter()
        for line in lines:
            if delimiter not in line:
                continue
            kinds = [cell_kind(cell) for cell in split_line(line, delimiter)]
            if _is_reading(kinds):
                # in thousandths, so that the counter stays whole
                scores[len(kinds)] += 1000 * sum(kind != "text" for kind in kinds) // len(kinds)
        for width, score in scores.items():
            if best is None or score > best[0]:
                best = score, delimiter, width
    return None if best is None else best[1:]


def find_layout(
    body: bytes, *, name: str, delimiter: str | None = None, decimal: Decimal | None = None
) -> Layout:
    """Find the table in a log's text.

    Parameters
    ----------
    body : bytes
        UTF-8 with plain line feeds, see `firing.logs.text.clean_text`.
    name : str
        The file's name, for messages.
    delimiter, decimal : str, optional
        What to use instead of what is found.

    Raises
    ------
    FiringError
        If no line holds a reading, or the decimal mark cannot be told from a mark of thousands.
    """
    head, tail = _sample(body)
    scored = [line for line in head[-_SCORED_LINES:] + tail if line.strip()]
    found = _best_delimiter(scored, [delimiter] if delimiter else DELIMITERS)
    if found is None:
        raise FiringError(
            f"{name} holds no reading: no line has a time and a temperature between commas, "
            "semicolons or tabs; say --delimiter if another mark stands between them"
        )
    mark, width = found
    split = [split_line(line, mark) for line in (*head, *tail)]
    kinds_of = [tuple(cell_kind(cell) for cell in cells) for cells in split]
    like = [len(k) == width and _is_reading(k) for k in kinds_of]
    columns = _column_kinds([k for k, good in zip(kinds_of, like, strict=True) if good], width)
    readings = [good and _fits(kinds, columns) for good, kinds in zip(like, kinds_of, strict=True)]
    begins = [row for row in (readings, like) if True in row[: len(head)]]
    if not begins:
        raise FiringError(
            f"{name} holds no reading in its first {len(head)} lines; "
            "take away what stands above the table"
        )
    first = begins[0].index(True)
    rows = tuple(
        tuple(cells) for cells, good in zip(split[first:], readings[first:], strict=True) if good
    )
    comma = _decimal_mark(name, body, mark, rows, columns) if decimal is None else decimal
    names, units_row, above = _header(name, head, first, mark, columns)
    return Layout(mark, comma, first, tuple(head[:above]), names, units_row, columns, rows)


def _column_kinds(rows: Sequence[Sequence[CellKind]], width: int) -> tuple[CellKind, ...]:
    columns: list[CellKind] = []
    for index in range(width):
        counts = Counter(row[index] for row in rows if row[index] != "missing")
        columns.append(counts.most_common(1)[0][0] if counts else "missing")
    return tuple(columns)


def _fits(kinds: Sequence[CellKind], columns: Sequence[CellKind]) -> bool:
    """Tell whether a row agrees with the table's columns: its times are times."""
    times = [i for i, kind in enumerate(columns) if kind in ("datetime", "date", "clock")]
    watched = times or [i for i, kind in enumerate(columns) if kind == "number"][:1]
    return all(kinds[i] == columns[i] for i in watched)


def _header(
    name: str, head: Sequence[str], first: int, delimiter: str, columns: Sequence[CellKind]
) -> tuple[tuple[str, ...] | None, tuple[str, ...] | None, int]:
    """Return (names, units row, lines above the header)."""
    above = [index for index in range(first) if head[index].strip()]
    units_row: tuple[str, ...] | None = None
    if len(above) >= 2:
        cells = _cells(head[above[-1]], delimiter, len(columns))
        given = [cell for cell in cells if cell]
        named = len(_cells(head[above[-2]], delimiter, len(columns))) > 1
        if given and len(cells) > 1 and named and all(is_unit_cell(cell) for cell in given):
            units_row = _padded(cells, len(columns))
            above.pop()
    if not above:
        return None, units_row, first
    cells = _cells(head[above[-1]], delimiter, len(columns))
    unnamed = [kind for kind in columns[len(cells) :] if kind not in ("missing", "text")]
    knows = sum(role(cell) != "unknown" for cell in cells)
    if len(cells) < 2 or (unnamed and knows < 2) or all(not cell for cell in cells):
        return None, units_row, first
    if unnamed:
        raise FiringError(
            f"{name}, line {above[-1] + 1}: the header names {len(cells)} columns and the readings "
            f"hold {len(columns)}; if the numbers have a decimal comma, put a semicolon between "
            "columns, or say --delimiter and --decimal"
        )
    return _padded(cells, len(columns)), units_row, above[-1]


def _cells(line: str, delimiter: str, width: int) -> list[str]:
    """Split a header line; a comment mark before it goes when the rest fits the table."""
    bare = _COMMENT.sub("", line)
    if bare != line and len(split_line(bare, delimiter)) == width:
        line = bare
    return split_line(line, delimiter)


def _padded(cells: Sequence[str], width: int) -> tuple[str, ...]:
    return tuple((list(cells) + [""] * width)[:width])


def _decimal_mark(
    name: str,
    body: bytes,
    delimiter: str,
    rows: Sequence[Sequence[str]],
    columns: Sequence[CellKind],
) -> Decimal:
    marks: Counter[str] = Counter()
    for index, kind in enumerate(columns):
        if kind != "number":
            continue
        cells = [row[index] for row in rows]
        _refuse_thousands(name, cells)
        for cell in cells:
            if cell_kind(cell) == "number":
                last = max(cell.rfind("."), cell.rfind(","))
                if last >= 0:
                    marks[cell[last]] += 1
    if marks:
        return "," if marks[","] > marks["."] else "."
    # whole numbers only in the sample: a decimal comma may first come further down
    return "," if delimiter != "," and re.search(rb"\d,\d", body) else "."


def _refuse_thousands(name: str, cells: Sequence[str]) -> None:
    """Refuse a column where ``1.000`` after ``998`` may be one or a thousand."""
    marked = [cell for cell in cells if "." in cell or "," in cell]
    plain = [cell for cell in cells if cell.strip().isdigit()]
    if not marked or not plain or not all(_GROUPED.fullmatch(cell) for cell in marked):
        return
    if max(int(cell) for cell in plain) >= 100:
        raise FiringError(
            f'{name}: "{neutral(marked[0])}" beside "{neutral(plain[0])}" can be a number with '
            "decimals or one with a mark for thousands; say --decimal . or --decimal ,"
        )
