"""What ``firing cone`` shows: the chart's rows for one cone, or its end points at one rate."""

from dataclasses import dataclass

from firing.cones.kinetics import check_rate, cone_law, end_point_c
from firing.cones.table import end_points, parse_cone
from firing.cones.uncertainty import rate_warnings
from firing.errors import FiringError
from firing.serialise import Serialised

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


def cone_rows(cone: str, rate_c_per_h: float | None = None) -> ConeRows:
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
    check_rate(rate_c_per_h)
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
    return ConeRows(name, tuple(found), (*rate_warnings(cone_law(name), rate_c_per_h), *left_out))
