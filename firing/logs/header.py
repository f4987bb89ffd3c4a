"""The lines above a table that name its columns and their units."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from firing.errors import FiringError
from firing.logs.cells import CellKind, cell_kind, split_line
from firing.logs.text import printable
from firing.logs.vocabulary import LONGEST_NAME, is_unit_cell, role

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
