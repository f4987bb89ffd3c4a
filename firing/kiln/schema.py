"""The schema of the kiln file: every key with its limits, unit and an example."""

from __future__ import annotations

import math
from datetime import date
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationInfo, WithJsonSchema

from firing.files.tomlfile import clean, number
from firing.kiln.materials import material_names, suggest_material

# What a file may ask for.  They catch slips of the key: mains are 100 to 480 V nominal, and studio
# kilns have 1 to some 60 kW (common practice, no source).
VOLTS = (90.0, 500.0)
MULTIPLIER = (0.2, 5.0)
LEAK_MULTIPLIER = (0.0, 20.0)


def _line(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{clean(str(value)).lower()} stands where text in quotes belongs")
    if clean(value) != value or len(value) > 200:
        raise ValueError("must be one plain line of at most 200 characters")
    return value


def _name(value: Any) -> str:
    name = _line(value)
    if not name.strip():
        raise ValueError('is empty; write a name, like name = "Workshop kiln"')
    return name


def _own_materials(info: ValidationInfo) -> tuple[str, ...]:
    tables = (info.context or {}).get("data", {}).get("material", [])
    if not isinstance(tables, list):
        return ()
    return tuple(
        table["name"]
        for table in tables
        if isinstance(table, dict) and isinstance(table.get("name"), str)
    )


def _material(value: Any, info: ValidationInfo) -> str:
    name = _line(value)
    known = (*_own_materials(info), *material_names())
    if name not in known:
        raise ValueError(f'"{name}" is not a known material; {suggest_material(name, known)}')
    return name


def _points(value: Any, info: ValidationInfo) -> list[tuple[float, float]]:
    """Read one number, or a list of [°C, value] pairs."""
    example = f"{info.field_name} = 0.2, or pairs of °C and value: [[400, 0.14], [1000, 0.20]]"
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = [[20.0, value]]
    pairs: list[tuple[float, float]] = []
    for pair in value if isinstance(value, list) else [None]:
        numbers = pair if isinstance(pair, list) else []
        if len(numbers) != 2 or not all(
            isinstance(n, int | float) and not isinstance(n, bool) and math.isfinite(n)
            for n in numbers
        ):
            raise ValueError(f"must be a number or pairs of °C and value; write {example}")
        pairs.append((float(numbers[0]), float(numbers[1])))
    if not pairs:
        raise ValueError(f"has no values; write {example}")
    if any(second[0] <= first[0] for first, second in pairwise(pairs)):
        raise ValueError("its temperatures in °C must rise from pair to pair; sort the pairs")
    if any(not number > 0 for _, number in pairs):
        raise ValueError(f"its values must be above 0; write {example}")
    return pairs


ERRORS = 10
"""Numbers in the lower triangle of a factor of the covariance of four multipliers."""


def _errors(value: Any) -> str:
    line = _line(value)
    try:
        numbers = [float(part) for part in line.split()]
    except ValueError:
        numbers = [math.nan]
    if len(numbers) not in (0, ERRORS) or not all(abs(number) <= 10.0 for number in numbers):
        raise ValueError(
            f"must be {ERRORS} numbers with spaces between; take the line out, or fit again"
        )
    return line


Errors = Annotated[str, PlainValidator(_errors), WithJsonSchema({"type": "string"})]
Line = Annotated[str, PlainValidator(_line), WithJsonSchema({"type": "string"})]
Name = Annotated[str, PlainValidator(_name), WithJsonSchema({"type": "string", "minLength": 1})]
MaterialName = Annotated[str, PlainValidator(_material), WithJsonSchema({"type": "string"})]
Points = Annotated[
    list[tuple[float, float]],
    PlainValidator(_points),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "exclusiveMinimum": 0},
                {"type": "array", "items": {"type": "array", "items": {"type": "number"}}},
            ]
        }
    ),
]


def _noted(example: str, unit: str = "") -> dict[str, Any]:
    return {"example": example, **({"unit": unit} if unit else {})}


class WallTable(BaseModel):
    """One ``[[wall]]`` layer, from the inside to the outside."""

    model_config = ConfigDict(extra="forbid", strict=True)

    material: MaterialName = Field(
        description="a material of the table, or one described in [[material]]",
        json_schema_extra=_noted('material = "insulating brick 1260"'),
    )
    thickness_mm: float = number(
        "thickness of the layer",
        'thickness_mm = 75 or thickness = "3 in"',
        "mm",
        written=("thickness", "length"),
        gt=0,
        le=1000,
    )


class MaterialTable(BaseModel):
    """One ``[[material]]`` of the owner's own."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: Name = Field(description="its name", json_schema_extra=_noted('name = "my brick"'))
    density_kg_per_m3: float = number("density", "density_kg_per_m3 = 600", "kg/m³", gt=0, le=10000)
    conductivity_w_per_mk: Points = Field(
        description="conductivity: a number, or pairs of °C and W/(m K)",
        json_schema_extra=_noted("conductivity_w_per_mk = [[400, 0.14], [1000, 0.20]]"),
    )
    specific_heat_j_per_kgk: Points = Field(
        description="specific heat: a number, or pairs of °C and J/(kg K)",
        json_schema_extra=_noted("specific_heat_j_per_kgk = 1000"),
    )
    source: Line = Field("", description="where the figures come from")


class FittedTable(BaseModel):
    """``[fitted]``: what logs and witness cones have taught."""

    model_config = ConfigDict(extra="forbid", strict=True)

    power: float = number(
        "multiplier on the power", "power = 1.0", default=1.0, ge=MULTIPLIER[0], le=MULTIPLIER[1]
    )
    loss: float = number(
        "multiplier on what walls carry off",
        "loss = 1.0",
        default=1.0,
        ge=MULTIPLIER[0],
        le=MULTIPLIER[1],
    )
    leak: float | None = number(
        "multiplier on what leaking air carries off; loss where it is not given",
        "leak = 1.0",
        default=None,
        ge=LEAK_MULTIPLIER[0],
        le=LEAK_MULTIPLIER[1],
    )
    capacity: float = number(
        "multiplier on every heat capacity",
        "capacity = 1.0",
        default=1.0,
        ge=MULTIPLIER[0],
        le=MULTIPLIER[1],
    )
    kiln_reads_low_c: float = number(
        "what the thermocouple reads too low by, from witness cones",
        "kiln_reads_low_c = 0.0",
        "°C",
        default=0.0,
        written=("kiln_reads_low", "difference"),
        ge=-100,
        le=100,
    )
    date_: date | None = Field(None, alias="date", description="when it was learnt")
    basis: Line = Field("", description="from what it was learnt")
    errors: Errors = Field(
        "", description="how far the multipliers may be off together; the fit writes it"
    )
    hottest_c: float | None = number(
        "how hot the logs were", "hottest_c = 1222", "°C", default=None, ge=0, le=2000
    )
    fastest_c_per_h: float | None = number(
        "how fast they rose", "fastest_c_per_h = 180", "°C/h", default=None, ge=0, le=5000
    )


def _share(example: str, description: str) -> Any:
    return number(description, f"{example} = 0.02", default=None, ge=0, le=10)


class PastFitTable(BaseModel):
    """One ``[[fit]]``: what one fit found, kept to be compared with."""

    model_config = ConfigDict(extra="forbid", strict=True)

    date_: date | None = Field(None, alias="date", description="the day of its latest log")
    power: float = number("its power", "power = 1.0", ge=MULTIPLIER[0], le=MULTIPLIER[1])
    loss: float = number("its loss", "loss = 1.0", ge=MULTIPLIER[0], le=MULTIPLIER[1])
    capacity: float = number("its capacity", "capacity = 1.0", ge=MULTIPLIER[0], le=MULTIPLIER[1])
    leak: float = number("its leak", "leak = 1.0", ge=LEAK_MULTIPLIER[0], le=LEAK_MULTIPLIER[1])
    power_se: float | None = _share("power_se", "standard error of the power, a share")
    power_over_capacity_se: float | None = _share(
        "power_over_capacity_se", "that of power over capacity"
    )
    power_over_losses_se: float | None = _share(
        "power_over_losses_se", "that of power over all losses"
    )
    loaded: bool = Field(False, description="whether the load was weighed")
    least_power: float | None = number(
        "the power its firings needed at the least",
        "least_power = 0.8",
        default=None,
        ge=0,
        le=10,
    )
    basis: Line = Field("", description="from what it was learnt")


class ReadingTable(BaseModel):
    """One ``[[reading]]``: a dated measurement of a bank of elements by a competent person."""

    model_config = ConfigDict(extra="forbid", strict=True)

    date_: date = Field(
        alias="date",
        description="when it was measured",
        json_schema_extra=_noted("date = 2025-03-01"),
    )
    bank: Line = Field("all", description="which bank of elements")
    ohms: float | None = number(
        "resistance, kiln off and isolated", "ohms = 12.2", "Ω", default=None, gt=0, le=1000
    )
    amps: float | None = number(
        "current under load", "amps = 20.1", "A", default=None, gt=0, le=500
    )
    volts: float | None = number(
        "volts at the same moment", "volts = 238", "V", default=None, ge=VOLTS[0], le=VOLTS[1]
    )


class KilnTable(BaseModel):
    """A kiln file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Kiln")

    name: Name = Field(
        description="what the kiln is called", json_schema_extra=_noted('name = "Workshop kiln"')
    )
    power_kw: float = number(
        "power of all elements, new and cold, at rated_volts", "power_kw = 9.6", "kW", gt=0, le=200
    )
    rated_volts: float = number(
        "volts the power is rated at", "rated_volts = 240", "V", ge=VOLTS[0], le=VOLTS[1]
    )
    actual_volts: float | None = number(
        "volts measured under load by a competent person",
        "actual_volts = 236",
        "V",
        default=None,
        ge=VOLTS[0],
        le=VOLTS[1],
    )
    phases: Literal[1, 3] = Field(
        1, description="1, or 3 for a three-phase supply with the volts between lines"
    )
    volume_l: float = number(
        "what the chamber holds",
        'volume_l = 180 or volume = "7 cu ft"',
        "l",
        written=("volume", "volume"),
        ge=0.5,
        le=20000,
    )
    shape: Literal["round", "box"] = Field(
        description="round: a cylinder as high as wide; box: a cube; unless dimensions are given",
        json_schema_extra=_noted('shape = "round"'),
    )
    diameter_mm: float | None = number(
        "inside diameter of a round kiln",
        "diameter_mm = 610",
        "mm",
        default=None,
        written=("diameter", "length"),
        gt=0,
        le=5000,
    )
    width_mm: float | None = number(
        "inside width of a box",
        "width_mm = 500",
        "mm",
        default=None,
        written=("width", "length"),
        gt=0,
        le=5000,
    )
    depth_mm: float | None = number(
        "inside depth of a box",
        "depth_mm = 500",
        "mm",
        default=None,
        written=("depth", "length"),
        gt=0,
        le=5000,
    )
    height_mm: float | None = number(
        "inside height",
        "height_mm = 610",
        "mm",
        default=None,
        written=("height", "length"),
        gt=0,
        le=5000,
    )
    max_c: float = number(
        "what its maker allows",
        "max_c = 1300",
        "°C",
        default=1300.0,
        written=("max", "temperature"),
        ge=200,
        le=1450,
    )
    vent: bool = Field(
        False,
        description="whether a powered vent runs through the firing",
        json_schema_extra=_noted("vent = false"),
    )
    leak_w_per_k: float | None = number(
        "heat that leaking air carries off, a degree",
        "leak_w_per_k = 0.8",
        "W/K",
        default=None,
        ge=0,
        le=100,
    )
    outside_w_per_m2k: float | None = number(
        "heat transfer coefficient of the outside, radiation included",
        "outside_w_per_m2k = 10",
        "W/(m² K)",
        default=None,
        ge=1,
        le=100,
    )
    element_kg: float | None = number(
        "mass of the elements",
        "element_kg = 3",
        "kg",
        default=None,
        written=("element", "mass"),
        gt=0,
        le=200,
    )
    thermocouple: Literal["B", "E", "J", "K", "N", "R", "S", "T"] = Field(
        "K", description="letter of the thermocouple"
    )
    thermocouple_class: Literal["1", "2", "3"] = Field(
        "2", description="its tolerance class as delivered"
    )
    wall: list[WallTable] = Field(
        min_length=1,
        max_length=8,
        description="layers from the inside to the outside",
        json_schema_extra=_noted("a table [[wall]] with material and thickness_mm or thickness"),
    )
    material: list[MaterialTable] = Field(
        default_factory=list, max_length=20, description="materials of the owner's own"
    )
    reading: list[ReadingTable] = Field(
        default_factory=list, max_length=1000, description="dated element readings"
    )
    fitted: FittedTable | None = Field(None, description="what logs and cones have taught")
    fit: list[PastFitTable] = Field(
        default_factory=list, max_length=1000, description="every fit, to be compared with"
    )
