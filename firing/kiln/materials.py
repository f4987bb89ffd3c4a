"""The wall materials that a kiln file may name, from a table in which every row has a source."""

import csv
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from firing.errors import FiringError
from firing.heat.properties import Material, PropertyTable

Points = list[tuple[float, float]]


@cache
def _library() -> dict[str, Material]:
    text = files("firing").joinpath("data/kiln_materials.csv").read_text(encoding="utf-8")
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
    close = get_close_matches(name, known, n=1, cutoff=0.5)
    if close:
        return f'did you mean "{close[0]}"?'
    return f"write one of: {', '.join(known)}; or describe it in a table [[material]]"


def wall_material(name: str) -> Material:
    """Return a material of the table."""
    material = _library().get(name)
    if material is None:
        raise FiringError(f'there is no material "{name}"; {suggest_material(name)}')
    return material
