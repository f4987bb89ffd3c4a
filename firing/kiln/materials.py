"""The wall materials that a kiln file may name, from a table in which every row has a source."""

import csv
import re
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path

from firing.errors import FiringError
from firing.heat.properties import Material, PropertyTable
from firing.serialise import Serialised
from firing.units import celsius_from_fahrenheit, fahrenheit_from_celsius

#: What people call a material, in lower case.
_ALSO_CALLED = {
    "dense fireclay": ("dense brick", "hard brick", "fire brick", "firebrick", "fireclay brick"),
    "calcium silicate board": (
        "backing board",
        "back-up board",
        "backup board",
        "block insulation",
    ),
    "ceramic fibre blanket 128": ("fibre blanket", "fiber blanket", "ceramic fiber blanket"),
}
#: Insulating bricks are named by the class of their service temperature [°C]; grades in °F and
#: groups, a hundredth of it, name the same bricks (source ``astm-c155``).
_BRICK_CLASSES_C = (1260, 1400, 1540)
_BRICK_GROUPS = {23: 1260, 26: 1400, 28: 1540}
_GRADES_C, _GRADES_F = (1100.0, 1650.0), (2000.0, 3000.0)

Points = list[tuple[float, float]]


@cache
def _library() -> dict[str, Material]:
    text = (Path(__file__).parent.parent / "data" / "kiln_materials.csv").read_text(
        encoding="utf-8"
    )
    rows = list(csv.DictReader(text.splitlines()))
    found: dict[str, Material] = {}
    for name in dict.fromkeys(row["material"] for row in rows):
        tables: dict[str, Points] = {}
        sources: dict[str, None] = {}
        for row in rows:
            if row["material"] == name:
                point = (float(row["temperature_c"]), float(row["value"]))
                tables.setdefault(row["property"], []).append(point)
                sources[row["source"]] = None
        found[name] = Material(
            name=name,
            density_kg_per_m3=tables["density"][0][1],
            conductivity=PropertyTable(
                f"conductivity of {name}", "W/(m K)", tuple(tables["conductivity"])
            ),
            specific_heat=PropertyTable(
                f"specific heat of {name}", "J/(kg K)", tuple(tables["specific heat"])
            ),
            sources=tuple(sources),
        )
    return found


def material_names() -> tuple[str, ...]:
    """Return the names a kiln file may use without describing the material itself."""
    return tuple(_library())


def suggest_material(name: str, known: tuple[str, ...] | None = None) -> str:
    """Return the end of a sentence that helps somebody who named an unknown material."""
    known = material_names() if known is None else known
    grade = _brick_by_grade(name)
    if grade is not None:
        return grade
    plain = " ".join(name.casefold().split())
    if re.search(r"\bsoft (fire ?)?brick|\bifb\b|insulating (fire ?)?brick", plain):
        # The grades differ by twice in conductivity, so none of them is guessed.
        grades = " or ".join(f'"insulating brick {brick_c}"' for brick_c in _BRICK_CLASSES_C)
        return f"write its class: {grades}"
    for material, others in _ALSO_CALLED.items():
        if any(other in plain for other in others) and material in known:
            return f'write "{material}"'
    close = get_close_matches(name, known, n=1, cutoff=0.5)
    if close:
        return f'did you mean "{close[0]}"?'
    return f"write one of: {', '.join(known)}; or describe it in a table [[material]]"


def _brick_by_grade(name: str) -> str | None:
    """Return the insulating brick that a grade in °F or a group means; None for any other name."""
    found = re.search(r"(?<![\d.])(\d{2}|\d{4})(?![\d.])", name)
    if found is None or not re.search(r"brick|ifb|insulating", name, re.IGNORECASE):
        return None
    figure = int(found[1])
    if figure in _BRICK_GROUPS:
        brick_c = _BRICK_GROUPS[figure]
        return f'did you mean "insulating brick {brick_c}", group {figure}?'
    if _GRADES_C[0] <= figure <= _GRADES_C[1]:
        brick_c = min(_BRICK_CLASSES_C, key=lambda c: abs(c - figure))
        return f'did you mean "insulating brick {brick_c}"?'
    if not _GRADES_F[0] <= figure <= _GRADES_F[1]:
        return None
    service_c = celsius_from_fahrenheit(figure)
    brick_c = min(_BRICK_CLASSES_C, key=lambda c: abs(c - service_c))
    return (
        f'did you mean "insulating brick {brick_c}"? Its class is {brick_c} °C, which is '
        f"{fahrenheit_from_celsius(brick_c):.0f} °F"
    )


@dataclass(frozen=True, slots=True)
class MaterialRow(Serialised):
    """One material of the table, as ``firing kiln materials`` lists it."""

    name: str  # what a kiln file calls it
    also_called: tuple[str, ...]  # what else people call it
    density_kg_per_m3: float  # density [kg/m³]
    # Temperature [°C] with W/(m K), or J/(kg K).
    conductivity: tuple[tuple[float, float], ...]
    specific_heat: tuple[tuple[float, float], ...]
    sources: tuple[str, ...]  # ids of the bibliography


def material_rows() -> tuple[MaterialRow, ...]:
    """Return every material of the table with its values and sources."""
    return tuple(
        MaterialRow(
            name,
            _ALSO_CALLED.get(name, ())[:2],
            found.density_kg_per_m3,
            found.conductivity.points,
            found.specific_heat.points,
            found.sources,
        )
        for name, found in _library().items()
    )


def wall_material(name: str) -> Material:
    """Return a material of the table."""
    material = _library().get(name)
    if material is None:
        raise FiringError(f'there is no material "{name}"; {suggest_material(name)}')
    return material
