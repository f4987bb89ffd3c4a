"""The table inside a text file: delimiter, decimal mark, first reading, header, units row."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from firing.errors import FiringError
from firing.logs.text import printable
from firing.logs.values import CellKind, Decimal, cell_kind, is_reading, split_line
from firing.logs.vocabulary import LONGEST_NAME, is_unit_cell, role

DELIMITERS = (";", "\t", ",", "|", " ")
_HEAD_BYTES, _TAIL_BYTES = 65_536, 4096
_HEAD_LINES, _TAIL_LINES, _SCORED_LINES = 400, 20, 60
_OVERLAP_LINES = 8  # a header and its row of units stay with the reading below them
_MOST_ABOVE = 10_000  # lines above the table that are looked at for its unit
_FILLED = re.compile(rb"[^\s\0]")
_GROUPED = re.compile(r"\s*[1-9]\d{0,2}([.,])\d{3}\s*")


@dataclass(frozen=True, eq=False)
class LogLayout:
    """Where the table is, below `first_row` lines, and how its cells are written.

    The `preamble` is the lines above the header that are not blank; `kinds` is what each column
    mostly holds, and `rows` a sample of readings, the first ones and the last ones.  `grouped` is
    the mark that stands between thousands.
    """

    delimiter: str
    decimal: Decimal
    first_row: int
    preamble: tuple[str, ...]
    names: tuple[str, ...] | None
    units_row: tuple[str, ...] | None
    kinds: tuple[CellKind, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()
    grouped: str = ""

    def column(self, index: int) -> list[str]:
        """Return the sampled cells of one column."""
        return [row[index] for row in self.rows]


@dataclass(frozen=True, eq=False)
class _Sample:
    """A stretch of a text's lines, the last ones of all, and where the next stretch begins."""

    head: list[str]
    tail: list[str]
    next_byte: int


@dataclass(frozen=True, eq=False)
class _Above:
    """What stands above a stretch: lines that are not blank, and how many lines there are."""

    filled: tuple[str, ...]
    lines: int


def _sample(body: bytes, begin: int) -> _Sample:
    """Return the lines from a byte on and, where there are more, the last ones."""
    stretch = body[begin : begin + _HEAD_BYTES]
    head = stretch.decode("utf-8", "replace").split("\n")
    whole = begin + len(stretch) >= len(body)
    if not whole and len(head) > 1:
        head = head[:-1]  # cut in the middle
    beyond = head[_HEAD_LINES:]
    head = head[:_HEAD_LINES]
    if whole:
        tail = beyond[-_TAIL_LINES:]
    else:
        tail_at = max(len(body) - _TAIL_BYTES, begin + len(stretch))
        tail = body[tail_at:].decode("utf-8", "replace").split("\n")[1:][-_TAIL_LINES:]
    at = begin
    for _ in range(max(1, len(head) - _OVERLAP_LINES)):
        found = body.find(b"\n", at)
        if found < 0:
            return _Sample(head, tail, len(body))
        at = found + 1
    return _Sample(head, tail, at)


def _best_delimiter(lines: Sequence[str], candidates: Sequence[str]) -> tuple[str, int] | None:
    """Return the delimiter that makes the most lines readings, and the width of their table."""
    best: tuple[float, str, int] | None = None
    for delimiter in candidates:
        scores: Counter[int] = Counter()
        for line in lines:
            if delimiter not in line:
                continue
            kinds = [cell_kind(cell) for cell in split_line(line, delimiter)]
            if is_reading(kinds):
                # in thousandths, so that the counter stays whole
                scores[len(kinds)] += 1000 * sum(kind != "text" for kind in kinds) // len(kinds)
        for width, score in scores.items():
            if best is None or score > best[0]:
                best = score, delimiter, width
    return None if best is None else best[1:]


def find_layout(
    body: bytes,
    *,
    name: str,
    delimiter: str | None = None,
    decimal: Decimal | None = None,
    skip_lines: int = 0,
    names: Sequence[str] = (),
) -> LogLayout:
    """Find the table in a log's text, however much stands above it.

    `names` are those of the cells, where they stand apart.  `skip_lines` are surely above the
    header.  A text is refused if no line holds a reading, or if its decimal mark cannot be told
    from a mark of thousands.
    """
    begin = 0
    for _ in range(skip_lines):
        begin = body.find(b"\n", begin) + 1
        if begin == 0:
            raise FiringError(f"{name} has fewer than {skip_lines} lines; say fewer --skip-lines")
    above = body[:begin].decode("utf-8", "replace").split("\n")[:-1]
    lines = len(above)
    while (filled := _FILLED.search(body, begin)) is not None:
        line_at = body.rfind(b"\n", begin, filled.start()) + 1 or begin
        lines += body.count(b"\n", begin, line_at)
        sample = _sample(body, line_at)
        stretch = _Above(tuple(above), lines)
        layout = _layout_of(sample, stretch, body, name=name, delimiter=delimiter, decimal=decimal)
        if layout is not None:
            width = len(layout.kinds)
            if names and layout.names is None and len(names) <= width:
                padded = (*names, *([""] * (width - len(names))))
                layout = replace(layout, names=padded)
            return layout
        passed = body[line_at : sample.next_byte].decode("utf-8", "replace").split("\n")
        lines += len(passed) - 1
        above += [line for line in passed if line.strip()][: max(0, _MOST_ABOVE - len(above))]
        begin = sample.next_byte
    raise _no_reading(name, body, delimiter)


def _no_reading(name: str, body: bytes, delimiter: str | None) -> FiringError:
    """Return the refusal of a text without a reading, with the cell that is no time."""
    lines = [line for line in _sample(body, 0).head if line.strip()]
    for mark in [delimiter] if delimiter else DELIMITERS[:-1]:
        rows = [split_line(line, mark) for line in lines[len(lines) // 2 :]]
        odd = [
            row[0]
            for row in rows
            if cell_kind(row[0]) == "text" and "number" in [cell_kind(cell) for cell in row[1:]]
        ]
        if len(odd) > 0.8 * len(rows):
            return FiringError(
                f'{name} holds no reading: "{printable(odd[0])}" is no time that can be read; '
                "write times like 2026-03-14 18:30:00 or 1:30:00, or say --delimiter if another "
                "mark stands between the columns"
            )
    return FiringError(
        f"{name} holds no reading: no line has a time and a temperature between commas, "
        "semicolons, tabs or spaces; say --delimiter if another mark stands between them, or "
        "export the log with one time and its numbers on a line"
    )


def _layout_of(
    sample: _Sample,
    above: _Above,
    body: bytes,
    *,
    name: str,
    delimiter: str | None,
    decimal: Decimal | None,
) -> LogLayout | None:
    """Return the layout of a table that begins in this stretch of the text, if one does."""
    head, tail = sample.head, sample.tail
    scored = [line for line in head[-_SCORED_LINES:] + tail if line.strip()]
    found = _best_delimiter(scored, [delimiter] if delimiter else DELIMITERS)
    if found is None:
        return None
    mark, width = found
    width = _header_width(scored, head, mark, width)
    split = [split_line(line, mark) for line in (*head, *tail)]
    kinds_of = [tuple(cell_kind(cell) for cell in cells) for cells in split]
    like = [len(k) == width and is_reading(k) for k in kinds_of]
    columns = _column_kinds([k for k, good in zip(kinds_of, like, strict=True) if good], width)
    readings = [good and _fits(kinds, columns) for good, kinds in zip(like, kinds_of, strict=True)]
    begins = [row for row in (readings, like) if True in row[: len(head)]]
    if not begins:
        return None
    first = begins[0].index(True)
    rows = tuple(
        tuple(cells) for cells, good in zip(split[first:], readings[first:], strict=True) if good
    )
    near = () if mark == " " else _rows_at_a_thousand(body, mark, width)
    grouped = _group_mark(name, (*rows, *near), columns, decimal)
    comma = decimal or _decimal_mark(body, mark, rows, columns, grouped)
    header = find_header(name, head, first, mark, columns, above.lines + 1)
    preamble = (*above.filled, *(line for line in head[: header.lines_above] if line.strip()))
    return LogLayout(
        delimiter=mark,
        decimal=comma,
        first_row=above.lines + first,
        preamble=preamble,
        names=header.names,
        units_row=header.units_row,
        kinds=columns,
        rows=rows,
        notes=header.notes,
        grouped=grouped,
    )


def _header_width(scored: Sequence[str], head: Sequence[str], mark: str, width: int) -> int:
    """Return the width of the header where many readings have it; others have more cells."""
    named = next((line for line in head[:_SCORED_LINES] if looks_like_header(line, mark)), None)
    if named is None or mark == " ":
        return width
    cells = split_line(named, mark)
    while cells and not cells[-1]:
        cells.pop()
    own = len(cells)
    if own == width:
        return width
    widths = []
    for line in (*head[:_SCORED_LINES], *scored):
        row = split_line(line, mark)
        if is_reading([cell_kind(cell) for cell in row]):
            widths.append(len(row))
    return own if widths.count(own) > 0.2 * len(widths) else width


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
    # beside a clock, a date may stand only where it changes
    optional = [i for i in times if columns[i] == "date"] if "clock" in columns else []
    return all(kinds[i] == columns[i] or (i in optional and kinds[i] == "missing") for i in watched)


def _decimal_mark(
    body: bytes,
    delimiter: str,
    rows: Sequence[Sequence[str]],
    columns: Sequence[CellKind],
    grouped: str,
) -> Decimal:
    if grouped:
        return "," if grouped == "." else "."
    marks: Counter[str] = Counter()
    for index, kind in enumerate(columns):
        if kind != "number":
            continue
        cells = [row[index] for row in rows]
        for cell in cells:
            if cell_kind(cell) == "number":
                last = max(cell.rfind("."), cell.rfind(","))
                if last >= 0:
                    marks[cell[last]] += 1
    if marks:
        return "," if marks[","] > marks["."] else "."
    # whole numbers only in the sample: a decimal comma may first come further down
    return "," if delimiter != "," and re.search(rb"\d,\d", body) else "."


_SMOOTH, _LEAP = 100.0, 300.0


def _group_mark(
    name: str,
    rows: Sequence[Sequence[str]],
    columns: Sequence[CellKind],
    decimal: Decimal | None,
) -> str:
    """Return the mark between thousands in whole numbers: a kiln does not fall from 998 to 1.002.

    Refuse a column where ``1.000`` after ``998`` may be one or a thousand and nothing shows it.
    """
    for index, kind in enumerate(columns):
        cells = [row[index] for row in rows]
        marked = [cell for cell in cells if "." in cell or "," in cell]
        plain = [cell for cell in cells if cell.isascii() and cell.strip().isdigit()]
        if kind != "number" or not marked or not plain:
            continue
        if not all(_GROUPED.fullmatch(cell) for cell in marked):
            continue
        mark = "." if "." in marked[0] else ","
        if decimal is not None:
            return mark if mark != decimal else ""
        if max(int(cell) for cell in plain) < 100:
            continue
        grouped = split = 0
        for one, two in pairwise(cells):
            if (one in marked) == (two in marked) or not (one.strip() and two.strip()):
                continue
            grouped += abs(_value(one, "") - _value(two, "")) < _SMOOTH
            split += abs(_value(one, ".") - _value(two, ".")) < _LEAP
        if grouped and not split:
            return mark
        raise FiringError(
            f'{name}: "{printable(marked[0])}" beside "{printable(plain[0])}" can be a number with '
            "decimals or one with a mark for thousands; say --decimal . or --decimal ,"
        )
    return ""


def _rows_at_a_thousand(body: bytes, delimiter: str, width: int) -> tuple[tuple[str, ...], ...]:
    """Return the rows around the first 1.002 of a text: no sample need hold where 998 came."""
    edge = re.escape(delimiter)
    before = rf'{edge} ?"' if delimiter == "," else rf'{edge} ?"?'
    found = re.search(rf'{before}1[.,]0\d\d"?(?=[ ]?(?:{edge}|\n))'.encode(), body)
    if found is None:
        return ()
    begin = max(0, found.start() - _NEAR_BYTES)
    lines = body[begin : found.end() + _NEAR_BYTES].decode("utf-8", "replace").split("\n")[1:-1]
    split = (tuple(split_line(line, delimiter)) for line in lines)
    return tuple(cells for cells in split if len(cells) == width)


_NEAR_BYTES = 1000


def _value(cell: str, mark: str) -> float:
    try:
        return float(cell.strip().replace(",", mark).replace(".", mark))
    except ValueError:
        return 0.0


_COMMENT = re.compile(r"^\s*(?:#|//|%|;(?=\s*\w))\s*")
_RULER = " \t-=|+:_*~"  # a line of these alone divides a header from its table
_LONGEST_HEADER = 8192  # characters
_VALUE = re.compile(r"\d+(?:[.,]\d+)? ?(?:s|sec|min|h|hours?|samples|points)\.?", re.I)
_BRACKET = re.compile(r"\s+(?=[(\[{])")


@dataclass(frozen=True)
class Header:
    """The names, the row of units, how many lines stand above them, and what was odd."""

    names: tuple[str, ...] | None
    units_row: tuple[str, ...] | None
    lines_above: int
    notes: tuple[str, ...] = ()


def find_header(
    name: str,
    head: Sequence[str],
    first: int,
    delimiter: str,
    columns: Sequence[CellKind],
    first_line: int,
) -> Header:
    """Find the header above the first reading, ``head[first]``, of a table of these `columns`.

    `first_line` is the number, from 1, of ``head[0]``.  A header that names fewer columns than the
    readings hold is refused.
    """
    above = [index for index in range(first) if head[index].strip(_RULER)]
    width = len(columns)
    units_row: tuple[str, ...] | None = None
    notes: tuple[str, ...] = ()
    broken = [index for index in above if _is_broken_reading(head[index], delimiter, width)]
    if broken and broken[-1] == above[-1]:
        # rows right above the first whole one were readings before they were damaged
        while above and above[-1] in broken:
            above.pop()
        lost = first_line + (above[-1] + 1 if above else broken[0])
        notes = (
            f"the readings before line {first_line + first} are damaged and left out, "
            f"from line {lost} on",
        )
    if len(above) >= 2:
        cells = header_cells(head[above[-1]], delimiter, columns)
        given = [cell for cell in cells if cell]
        named = len(header_cells(head[above[-2]], delimiter, columns)) > 1
        if given and len(cells) > 1 and named and all(is_unit_cell(cell) for cell in given):
            units_row = _padded(cells, width)
            above.pop()
    if not above:
        return Header(None, units_row, first, notes)
    line = head[above[-1]]
    cells = header_cells(line, delimiter, columns)
    if delimiter == " " and len(cells) != width:
        knows = sum(role(cell) != "unknown" for cell in cells)
        odd = (
            f'the line "{printable(line)}" does not fit the columns below it and names none of them'
        )
        return Header(None, units_row, first, (*notes, odd) if knows >= 2 else notes)
    unnamed = [kind for kind in columns[len(cells) :] if kind not in ("missing", "text")]
    knows = sum(role(cell) != "unknown" for cell in cells)
    if len(cells) < 2 or (unnamed and knows < 2) or all(not cell for cell in cells):
        return Header(None, units_row, first, notes)
    if any(_VALUE.fullmatch(cell) for cell in cells):
        return Header(None, units_row, first, notes)  # "Interval, 180 s" is no header
    timed = columns[0] == "number" and columns[1] in ("datetime", "date", "clock")
    if timed and len(cells) == width - 1 and role(cells[0]) == "time":
        # a table written with a number before each row, which the header does not name
        return Header(("", *cells), units_row, above[-1], notes)
    if unnamed:
        raise FiringError(
            f"{name}, line {first_line + above[-1]}: the header names {len(cells)} columns and the "
            f"readings hold {width}; if the numbers have a decimal comma, put a semicolon between "
            "columns, or say --delimiter and --decimal"
        )
    return Header(_padded(cells, width), units_row, above[-1], notes)


def _is_broken_reading(line: str, delimiter: str, width: int) -> bool:
    """Tell whether a line holds more numbers and times than words, as no header does."""
    cells = [cell for cell in split_line(line, delimiter) if cell]
    if any(role(cell) == "time" for cell in cells):
        return False  # channels may be named by their numbers
    known = sum(cell_kind(cell) not in ("text", "missing") for cell in cells)
    return abs(len(cells) - width) <= 1 and known >= 1 and 2 * known >= len(cells)


def header_cells(line: str, delimiter: str, columns: Sequence[CellKind]) -> list[str]:
    """Split a header line; a comment mark before it goes when the rest fits the table."""
    bare = _COMMENT.sub("", line[:_LONGEST_HEADER].strip())
    if delimiter == " ":
        return _spaced(bare, columns)
    if bare != line and len(split_line(bare, delimiter)) == len(columns):
        line = bare
    return split_line(line, delimiter)


def _spaced(line: str, columns: Sequence[CellKind]) -> list[str]:
    """Split names with spaces between them, which may hold spaces themselves."""
    width = len(columns)
    by_words = line.split()
    bracketed = _BRACKET.sub("\0", line[: 4 * LONGEST_NAME]).split()
    tries = (
        re.split(r"\s{2,}|\t", line.strip()),
        [cell.replace("\0", " ") for cell in bracketed],
        by_words,
    )
    # one name over a date and its clock, or over the days and the clock of an elapsed time
    joined = tuple(columns[:2]) in (("date", "clock"), ("number", "clock"))
    for cells in tries:
        if len(cells) == width:
            return cells
        if joined and len(cells) == width - 1 and role(cells[0]) == "time":
            return ["days" if columns[0] == "number" else "date", *cells]
    return by_words


def looks_like_header(line: str, delimiter: str) -> bool:
    """Tell whether a line among the readings names columns: a time, something else, no number."""
    cells = [cell for cell in split_line(_COMMENT.sub("", line), delimiter) if cell]
    if len(cells) < 2 or any(cell_kind(cell) != "text" for cell in cells):
        return False
    roles = [role(cell) for cell in cells]
    return "time" in roles and any(
        meaning in ("temperature", "emf", "set-point", "duty") for meaning in roles
    )


def _padded(cells: Sequence[str], width: int) -> tuple[str, ...]:
    return tuple((list(cells) + [""] * width)[:width])
