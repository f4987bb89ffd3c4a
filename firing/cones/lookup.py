"""What ``firing cone`` shows: the chart's rows for one cone, or its end points at one rate.

Seger cones are looked up only, in two published series that differ by up to 40 °C and print no
heating rate.  A Seger number is never equated with another maker's number.
"""

import csv
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from firing.cones.table import end_points, parse_cone
from firing.errors import FiringError
from firing.serialise import Serialised
from firing.units import TemperatureUnit

SELF_SUPPORTING = "self_supporting"


@dataclass(frozen=True, slots=True)
class ConeRow(Serialised):
    """One end point: cone type, heating rate [°C/h], end point [°C], quality and source id."""

    type: str
    rate_c_per_h: float
    end_point_c: float
    quality: str
    note: str
    source: str


@dataclass(frozen=True, slots=True)
class ConeRows(Serialised):
    """The rows of one cone, with what has to be said about them."""

    cone: str
    rows: tuple[ConeRow, ...]
    warnings: tuple[str, ...]


def cone_rows(
    cone: str, rate_c_per_h: float | None = None, unit: TemperatureUnit = "C"
) -> ConeRows:
    """Return the end points of a cone.

    Without a rate the rows are those printed; with it, one row for each type the chart or the
    fitted law can answer for.
    """
    name = parse_cone(cone)
    cells = end_points(name)
    if rate_c_per_h is None:
        rows = tuple(
            ConeRow(c.type, c.heating_rate_c_per_h, c.end_point_c, c.quality, c.note, c.source)
            for c in cells
        )
        warnings = tuple(
            f"{c.type.replace('_', ' ')} at {c.heating_rate_c_per_h:.0f} °C/h: {c.note}"
            for c in cells
            if c.note
        )
        return ConeRows(name, rows, warnings)
    # The printed rows need neither the law nor numpy, which takes longer to load than all else.
    from firing.cones.kinetics import check_rate, cone_law, end_point_c
    from firing.cones.uncertainty import rate_warnings

    check_rate(rate_c_per_h, unit)
    found: list[ConeRow] = []
    left_out: list[str] = []
    for type in dict.fromkeys(cell.type for cell in cells):
        printed = [c for c in cells if c.type == type and c.heating_rate_c_per_h == rate_c_per_h]
        try:
            value_c = end_point_c(name, rate_c_per_h, type)
        except FiringError as error:
            left_out.append(str(error))
            continue
        by_law = "cone-model" if type == SELF_SUPPORTING else "cone-chart-1996"
        source = printed[0].source if printed else by_law
        note = printed[0].note if printed else "between the printed rates"
        found.append(ConeRow(type, rate_c_per_h, value_c, "good", note, source))
    return ConeRows(
        name, tuple(found), (*rate_warnings(cone_law(name), rate_c_per_h, unit), *left_out)
    )


@dataclass(frozen=True, slots=True)
class SegerRow(Serialised):
    """One end point of a Seger cone [°C]: of which published series, and its source id."""

    series: str
    end_point_c: float
    source: str


@dataclass(frozen=True, slots=True)
class SegerRows(Serialised):
    """What the published series print for one Seger cone."""

    cone: str
    rows: tuple[SegerRow, ...]
    note: str


_SEGER = re.compile(r"(?:sk|seger(?:\s+cone)?)\s*(0?\d+)\s*(a?)", re.IGNORECASE)
_SEGER_SERIES = {"jis_nominal": "Japanese standard, nominal", "german_large": "later German series"}
_SEGER_NOTE = (
    "The series differ by up to 40 °C (72 °F), and neither prints a heating rate: use the figure "
    "of your cone's own maker.  A Seger number is no other maker's number, so there is no hold or "
    "peak for it here."
)


def is_seger(text: str) -> bool:
    """Whether a text asks for a Seger cone, such as ``SK 6a``."""
    return _SEGER.fullmatch(text.strip()) is not None


@cache
def _seger_table() -> dict[str, tuple[SegerRow, ...]]:
    path = Path(__file__).parent.parent / "data" / "seger_cones.csv"
    found: dict[str, list[SegerRow]] = {}
    for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
        entry = SegerRow(_SEGER_SERIES[row["series"]], float(row["end_point_c"]), row["source"])
        found.setdefault(row["cone"], []).append(entry)
    return {cone: tuple(rows) for cone, rows in found.items()}


def seger_rows(text: str) -> SegerRows:
    """Return what the published series print for a Seger cone."""
    match = _SEGER.fullmatch(text.strip())
    table = _seger_table()
    name = "" if match is None else match[1]
    # The middle of the series bears an a; people leave it out.
    cone = name if name in table else f"{name}a"
    if cone not in table or (match is not None and match[2] and name in table):
        known = list(table)
        raise FiringError(
            f'"{text}" is in no published series of Seger cones; they run from SK {known[0]} to '
            f"SK {known[-1]}"
        )
    return SegerRows(cone, table[cone], _SEGER_NOTE)
