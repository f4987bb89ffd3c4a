"""Materials by temperature, with an explicit rule for what lies outside their tables.

Between the points of a table a property is linear.  Outside it the line through the last two
points goes on for a stated margin, and whoever uses it must say so (`beyond`); further out nothing
is answered.  The wall materials that a kiln file may name come from a table in which every row has
a source.
"""

import csv
import math
import re
from bisect import bisect_right
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from itertools import pairwise
from pathlib import Path

from firing.errors import FiringError
from firing.serialise import Serialised
from firing.units import (
    ROOM_C,
    TemperatureUnit,
    celsius_from_fahrenheit,
    fahrenheit_from_celsius,
    format_temperature,
    from_celsius,
)

GRID_C = 10.0
"""Spacing of the even grid that tables are spread on for quick look-up [°C]."""


COLD_ROOM_C = 30.0
"""How far below the first point of a table from room temperature a room may be [°C]."""


@dataclass(frozen=True, slots=True)
class PropertyTable:
    """One property by temperature.

    Attributes
    ----------
    name : str
        What it is of, for sentences: ``"conductivity of insulating brick 1260"``.
    unit : str
        Its unit.
    points : tuple of (float, float)
        Temperature [°C], rising, and value, above 0.  A single point is a constant that holds at
        every temperature.
    margin_c : float
        How far beyond its ends the table may be continued [°C].
    """

    name: str
    unit: str
    points: tuple[tuple[float, float], ...]
    margin_c: float = 200.0

    def __post_init__(self) -> None:
        if not self.points:
            raise FiringError(f"the {self.name} has no values; give at least one")
        if any(second[0] <= first[0] for first, second in pairwise(self.points)):
            raise FiringError(f"the temperatures of the {self.name} must rise from point to point")
        if any(not value > 0 for _, value in self.points):
            raise FiringError(f"the {self.name} must be above 0 {self.unit} at every temperature")

    @property
    def range_c(self) -> tuple[float, float]:
        """Where the table has values [°C]; unbounded for a constant."""
        if len(self.points) == 1:
            return (-273.15, 4000.0)
        return (self.points[0][0], self.points[-1][0])

    @property
    def limit_c(self) -> tuple[float, float]:
        """Where the table may be used at all, its margin included [°C]."""
        if len(self.points) == 1:
            return self.range_c
        low, high = self.range_c
        return (low - self.margin_c, high + self.margin_c)

    def at(self, temperature_c: float) -> float:
        """Return the value at a temperature [°C].

        Refused beyond the margin, or where the continued line is no longer above 0.
        """
        if len(self.points) == 1:
            return self.points[0][1]
        low, high = self.limit_c
        if not low <= temperature_c <= high:
            raise FiringError(self._refusal(temperature_c))
        place = bisect_right([point[0] for point in self.points], temperature_c)
        after = min(max(place, 1), len(self.points) - 1)
        (t0, v0), (t1, v1) = self.points[after - 1], self.points[after]
        value = v0 + (v1 - v0) * (temperature_c - t0) / (t1 - t0)
        if not value > 0:
            raise FiringError(
                f"the {self.name}, continued to {temperature_c:.0f} °C, is not above 0 "
                f"{self.unit}; give a value nearer to that temperature"
            )
        return value

    def _refusal(self, temperature_c: float) -> str:
        (low, high), (first, last) = self.range_c, self.limit_c
        return (
            f"the {self.name} is known from {low:.0f} to {high:.0f} °C and may be continued from "
            f"{first:.0f} to {last:.0f} °C; {temperature_c:.0f} °C is outside that; give values "
            "that reach it"
        )

    def beyond(self, low_c: float, high_c: float, unit: TemperatureUnit = "C") -> str | None:
        """Return a sentence if a use from `low_c` to `high_c` [°C] left the table, else None."""
        low, high = self.range_c
        # A table from 20 °C on is one from room temperature on, and rooms are colder, too.
        least = low - COLD_ROOM_C if low <= ROOM_C else low - 0.5
        if low_c >= least and high_c <= high + 0.5:
            return None
        reached = high_c if high_c > high + 0.5 else low_c
        known = f"{from_celsius(low, unit):.0f} to {format_temperature(high, unit)}"
        return (
            f"the {self.name} is known from {known}; its last slope was continued to "
            f"{format_temperature(reached, unit)}"
        )


GridRow = tuple[float, float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class PropertyGrid:
    """A material's tables on an even grid, plain tuples for use inside tight loops.

    For a temperature T [°C] ``k0, k1, c0, c1, h0 = rows[int((T - low_c) * per_c)]``; the
    conductivity is ``k0 + k1·T`` [W/(m K)], the heat capacity of a cubic metre ``c0 + c1·T`` [J/(m³
    K)] and its heat content ``h0 + T·(c0 + c1·T/2)`` [J/m³] above an arbitrary level.
    """

    # Where it may be asked [°C].
    low_c: float
    high_c: float
    per_c: float  # inverse of the spacing [1/°C]
    rows: list[GridRow]  # one for each interval

    def heat(self, temperature_c: float) -> tuple[float, float]:
        """Return heat capacity [J/(m³ K)] and heat content [J/m³] at a temperature [°C]."""
        if not self.low_c <= temperature_c <= self.high_c:
            raise FiringError(
                f"a material of the load is known for use from {self.low_c:.0f} to "
                f"{self.high_c:.0f} °C; {temperature_c:.0f} °C is outside that"
            )
        _, _, c0, c1, h0 = self.rows[int((temperature_c - self.low_c) * self.per_c)]
        return c0 + c1 * temperature_c, h0 + temperature_c * (c0 + 0.5 * c1 * temperature_c)


@dataclass(frozen=True, slots=True)
class Material:
    """What a wall, a shelf or a piece is made of.

    Attributes
    ----------
    name : str
        Its trade name.
    density_kg_per_m3 : float
        Density [kg/m³].
    conductivity, specific_heat : PropertyTable
        [W/(m K)] and [J/(kg K)].
    sources : tuple of str
        Ids of the bibliography, or the owner's own words for a material of a kiln file.
    """

    name: str
    density_kg_per_m3: float
    conductivity: PropertyTable
    specific_heat: PropertyTable
    sources: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.density_kg_per_m3 > 0:
            raise FiringError(
                f"{self.name}: a density of {self.density_kg_per_m3:g} kg/m³ must be above 0 kg/m³"
            )

    @property
    def limit_c(self) -> tuple[float, float]:
        """Where both tables may be used, margins included [°C]."""
        first, second = self.conductivity.limit_c, self.specific_heat.limit_c
        return (max(first[0], second[0]), min(first[1], second[1]))

    def refusal(self, temperature_c: float) -> str:
        """Return why the material cannot be asked at a temperature [°C]."""
        for table in (self.conductivity, self.specific_heat):
            try:
                table.at(temperature_c)
            except FiringError as error:
                return str(error)
        low, high = self.limit_c
        return (
            f"{self.name} is known for use from {low:.0f} to {high:.0f} °C; {temperature_c:.0f} °C "
            "is outside that"
        )

    def beyond(self, low_c: float, high_c: float, unit: TemperatureUnit = "C") -> list[str]:
        """Return one sentence for each table that a use from `low_c` to `high_c` [°C] left."""
        tables = (self.conductivity, self.specific_heat)
        said = (table.beyond(low_c, high_c, unit) for table in tables)
        return [sentence for sentence in said if sentence is not None]


@cache
def grid_of(material: Material) -> PropertyGrid:
    """Return a material's tables on an even grid of `GRID_C`, over all it may be used for."""
    conductivity, specific_heat = material.conductivity, material.specific_heat
    # PropertyGrid points on whole tens, so that tables given at whole tens are met exactly.
    first, last = material.limit_c
    low = GRID_C * math.ceil(first / GRID_C)
    knots = [low + GRID_C * i for i in range(int((last - low) / GRID_C) + 1)]
    k = [_positive(conductivity, knot) for knot in knots]
    c = [_positive(specific_heat, knot) * material.density_kg_per_m3 for knot in knots]
    # A steep line may cross 0 inside the margin: the grid begins above that.
    below = max((i + 1 for i in range(len(knots)) if min(k[i], c[i]) <= 0.0), default=0)
    low, k, c = low + GRID_C * below, k[below:], c[below:]
    rows: list[GridRow] = []
    reached = 0.0
    for i, ((k_a, k_b), (c_a, c_b)) in enumerate(zip(pairwise(k), pairwise(c), strict=True)):
        start = low + GRID_C * i
        k1, c1 = (k_b - k_a) / GRID_C, (c_b - c_a) / GRID_C
        k0, c0 = k_a - k1 * start, c_a - c1 * start
        # Heat content goes on from where the interval before ended.
        rows.append((k0, k1, c0, c1, reached - start * (c0 + 0.5 * c1 * start)))
        reached += 0.5 * GRID_C * (c_a + c_b)
    return PropertyGrid(low, low + GRID_C * len(rows) - 1e-6, 1.0 / GRID_C, rows)


def _positive(table: PropertyTable, temperature_c: float) -> float:
    try:
        return table.at(temperature_c)
    except FiringError:
        return 0.0


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
