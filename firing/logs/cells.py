"""One line of a table cut into cells, and what a cell holds."""

import csv
import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

from firing.logs.times import CellTime, time_of_cell
from firing.logs.values import is_missing, match_number

CellKind = CellTime | Literal["number", "missing", "text"]

# with spaces between columns, the space before a.m. and p.m. is none between columns
_HALF_DAY = re.compile(r"(?<=:\d\d) (?=[ap]\.?m\.?(?:\s|$))", re.I)


def split_line(line: str, delimiter: str) -> list[str]:
    """Split one line into cells, honouring quotation marks.

    Columns with spaces between them may be any number of spaces apart; a line that holds a tab
    is none of theirs.
    """
    if delimiter == " ":
        return [line] if "\t" in line else _HALF_DAY.sub("", line).split()
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


def is_reading(kinds: Sequence[CellKind]) -> bool:
    """Tell whether a row of such cells could be a reading: a time or number, and little text."""
    known = sum(kind != "text" for kind in kinds)
    real = sum(kind not in ("text", "missing") for kind in kinds)
    return known >= 2 and real >= 1 and 2 * known >= len(kinds)
