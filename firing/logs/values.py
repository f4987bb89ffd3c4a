"""The numbers of a log, its words for a missing reading, and a line of its table cut into cells."""

import csv
import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from firing.logs.physics import DegreeUnit, celsius_of
from firing.logs.plausibility_limits import LOG_COLDEST_C, LOG_HOTTEST_C
from firing.logs.times import CellTime, time_of_cell
from firing.logs.vocabulary import HeadUnit
from firing.trace import FloatArray

Decimal = Literal[".", ","]

_LONGEST = 64  # characters; no number is longer

# how loggers say that there is no reading: a blank, an open or overloaded input, an error
_MISSING_TEXT = """
-|--|---|----|-----|?|*|***|open|ol|-ol|+ol|o.l|o.l.|ovl|ovld|over|overload|overrange|under
over range|underrange|ur|or|err|error|fault|fail|failed|invalid|bad|nan|na|n/a|#n/a|n.a.|null|none
nil|missing|off|offline|no data|nodata|disconnected|burnout|open circuit|tc open|open tc|short
inf|-inf|+inf|#value!|#div/0!|#num!|#ref!|#null!|fehler|offen|erreur|ouvert|defaut|abierto|fallo
"""
_MISSING = ("", *_MISSING_TEXT.strip().replace("\n", "|").split("|"))
_MISSING_SET = frozenset(_MISSING)
MISSING_WORDS: tuple[str, ...] = tuple(
    dict.fromkeys(form for word in _MISSING for form in (word, word.upper(), word.capitalize()))
)

_UNIT = (
    r"\s*(?:(?:[°º˚\ufffd^o]|deg(?:rees?)?\.?|gr(?:ad)?\.?)?\s*(?P<unit>[CFK])"
    r"(?:elsius|ahrenheit|elvin)?|[°º˚%度]|grad|deg(?:rees?)?)?"
    # an alarm, a quality, how sure it is, the same in the other unit
    r"(?-i:\s?(?:[*!†]|HH|LL|H|L|HI|LO|ALM?))?(?:\s?\{[a-z, ]{1,20}\})?"
    r"(?:\s?(?:±|\+/?-)\s?\d+(?:[.,]\d+)?)?"
    r"(?:\s?[/(|]\s?[-+]?\d+(?:[.,]\d+)?\s?[°º˚]?\s?[CFK]\)?)?"
)
_MARKS: tuple[tuple[Decimal, Decimal], ...] = ((".", ","), (",", "."))
_NUMBERS: dict[Decimal, re.Pattern[str]] = {
    mark: re.compile(
        r"\s*(?P<number>[-+−]?\s?(?:"
        rf"\d{{1,3}}(?:[{other}\u00a0\u202f' ]\d{{3}})+{re.escape(mark)}\d+"
        r"|\d{1,3}(?:[\u00a0\u202f' ]\d{3})+"
        rf"|\d+{re.escape(other)}\d{{1,2}}(?!\d)"
        rf"|\d+(?:{re.escape(mark)}\d*)?|{re.escape(mark)}\d+)(?:e[+-]?\d+)?){_UNIT}\s*",
        re.I | re.A,
    )
    for mark, other in _MARKS
}


_SHORT_FRACTION = {mark: re.compile(rf"\d{re.escape(mark)}\d{{1,2}}(?!\d)") for mark in ".,"}
_UNIT_OF_LETTER: dict[str, HeadUnit] = {"C": "C", "F": "F", "K": "K"}


def is_missing(text: str) -> bool:
    """Tell whether a cell's text stands for a missing reading."""
    return text.strip().casefold() in _MISSING_SET


def match_number(text: str, decimal: Decimal) -> tuple[float, HeadUnit | None] | None:
    """Read one cell as a number and the temperature unit written behind it, or return None.

    A group of thousands is understood only where a decimal mark follows it: ``1.234,5`` with a
    decimal comma is 1234.5, while ``1.234`` stays unread rather than guessed.
    """
    match = _NUMBERS[decimal].fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        return None
    other = "," if decimal == "." else "."
    number = match["number"]
    if decimal not in number and _SHORT_FRACTION[other].search(number):
        # one or two digits are no thousand: a mark that changed on the way
        number = number.replace(other, decimal)
    digits = re.sub(rf"[{other}'\s]", "", number).replace("−", "-")
    unit: HeadUnit | None = None
    if match["unit"]:
        unit = _UNIT_OF_LETTER[match["unit"].upper()]
    return float(digits.replace(decimal, ".")), unit


_FEW = 25_000  # cells, for which pandas is not worth its loading


def clean_numbers(
    cells: "npt.NDArray[np.object_]", decimal: Decimal, unit: DegreeUnit | None = None
) -> FloatArray:
    """Read a column that is not all numbers, shape (n,); what is no number becomes NaN.

    A cell with another unit behind its number than the column's is converted.
    """
    # a log repeats its readings: each distinct text is parsed once
    if cells.size < _FEW:
        seen: dict[object, float] = {}
        numbers = np.empty(cells.size)
        for row, cell in enumerate(cells.tolist()):
            value = seen.get(cell)
            if value is None:
                value = seen[cell] = _one(cell, decimal, unit)
            numbers[row] = value
        return numbers
    import pandas as pd

    codes, distinct = pd.factorize(cells)
    known = np.array([_one(cell, decimal, unit) for cell in distinct] + [np.nan])
    values: FloatArray = known[codes]
    return values


def _one(cell: object, decimal: Decimal, unit: DegreeUnit | None) -> float:
    if isinstance(cell, str):
        bare = cell.replace(decimal, "", 1)
        if bare.isdigit() and bare.isascii():  # nearly every cell, at a tenth of the grammar's cost
            return float(cell.replace(decimal, ".", 1))
        found = None if is_missing(cell) else match_number(cell, decimal)
        if found is None:
            return float("nan")
        value, stated = found
        if stated is None or unit is None or stated == unit or "/" in unit:
            return value
        value_c = {"C": value, "F": (value - 32.0) / 1.8, "K": value - 273.15}[stated]
        return {"C": value_c, "F": value_c * 1.8 + 32.0, "K": value_c + 273.15}[unit]
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        try:
            return float(cell)
        except OverflowError:  # a whole number of hundreds of digits
            return float("nan")
    return float("nan")


def as_celsius(values: FloatArray, unit: DegreeUnit) -> FloatArray:
    """Return readings in °C, NaN where no temperature of a kiln can be meant.

    Overload codes such as 9.9e37 (SCPI) or −9999 fall outside −273.15 to 3000 °C and are marked.
    """
    celsius = celsius_of(values, unit)
    with np.errstate(invalid="ignore"):
        possible = (celsius >= LOG_COLDEST_C) & (celsius <= LOG_HOTTEST_C)
    return np.where(possible, celsius, np.nan)


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
    """Tell whether a row of such cells could be a reading: a time or number, and little text.

    Behind a whole moment a number may have a sensor's name, a unit and a state beside it.
    """
    known = sum(kind != "text" for kind in kinds)
    real = sum(kind not in ("text", "missing") for kind in kinds)
    share = 3 if "number" in kinds and kinds[0] == "datetime" else 2
    return known >= 2 and real >= 1 and share * known >= len(kinds)
