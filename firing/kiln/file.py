"""The kiln file: its schema, how it is read with every fault at once, and what is written to it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationInfo, WithJsonSchema

from firing.files.kinds import FileKind
from firing.files.tomledit import render
from firing.files.tomlfile import Wrong, clean, file_key, length, number, parse
from firing.heat.properties import (
    Material,
    PropertyTable,
    material_names,
    suggest_material,
    wall_material,
)
from firing.kiln.description import (
    ElementReading,
    Fitted,
    KilnDescription,
    PastFit,
    PastPower,
    WallLayer,
)
from firing.units import TemperatureUnit, format_size, format_temperature

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


def _multiplier(
    key: str, words: str, default: Any = ..., limits: tuple[float, float] = MULTIPLIER
) -> Any:
    return number(words, f"{key} = 1.0", default=default, ge=limits[0], le=limits[1])


MOST_KW = 200.0
MOST_W_PER_L23 = 2000.0
"""The most power a kiln has for the two-thirds power of its litres, 33 kW for each m² of a cube's
inside: more than elements give there (common practice, no source)."""


class WallTable(BaseModel):
    """One ``[[wall]]`` layer, from the inside to the outside."""

    model_config = ConfigDict(extra="forbid", strict=True)

    material: MaterialName = file_key(
        "a material of the table, or one described in [[material]]",
        'material = "insulating brick 1260"',
    )
    thickness_mm: float = length(
        "thickness of the layer",
        "thickness",
        'thickness_mm = 75 or thickness = "3 in"',
        default=...,
        at_most=1000,
    )


class MaterialTable(BaseModel):
    """One ``[[material]]`` of the owner's own."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: Name = file_key("its name", 'name = "my brick"')
    density_kg_per_m3: float = number("density", "density_kg_per_m3 = 600", "kg/m³", gt=0, le=10000)
    conductivity_w_per_mk: Points = file_key(
        "conductivity: a number, or pairs of °C and W/(m K)",
        "conductivity_w_per_mk = [[400, 0.14], [1000, 0.20]]",
    )
    specific_heat_j_per_kgk: Points = file_key(
        "specific heat: a number, or pairs of °C and J/(kg K)", "specific_heat_j_per_kgk = 1000"
    )
    source: Line = Field("", description="where the figures come from")


class FittedTable(BaseModel):
    """``[fitted]``: what logs and witness cones have taught."""

    model_config = ConfigDict(extra="forbid", strict=True)

    power: float = _multiplier("power", "multiplier on the power", 1.0)
    loss: float = _multiplier("loss", "multiplier on what walls carry off", 1.0)
    leak: float | None = _multiplier(
        "leak",
        "multiplier on what leaking air carries off; loss where it is not given",
        None,
        limits=LEAK_MULTIPLIER,
    )
    capacity: float = _multiplier("capacity", "multiplier on every heat capacity", 1.0)
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
    usual_load: float = _multiplier(
        "usual_load", "what usually stands in it, as a multiple of a typical load", 1.0
    )


def _share(example: str, description: str) -> Any:
    return number(description, f"{example} = 0.02", default=None, ge=0, le=10)


class PastFitTable(BaseModel):
    """One ``[[fit]]``: what one fit found, kept to be compared with."""

    model_config = ConfigDict(extra="forbid", strict=True)

    date_: date | None = Field(None, alias="date", description="the day of its latest log")
    power: float = _multiplier("power", "its power")
    loss: float = _multiplier("loss", "its loss")
    capacity: float = _multiplier("capacity", "its capacity")
    leak: float = _multiplier("leak", "its leak", limits=LEAK_MULTIPLIER)
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


class HistoryTable(BaseModel):
    """One ``[[history]]``: what the logbook's firing of a day showed; the fit writes it."""

    model_config = ConfigDict(extra="forbid", strict=True)

    date_: date = file_key("when it was fired", "date = 2026-03-01", alias="date")
    power: float = _multiplier("power", "its power")
    power_se: float = number("standard error of it, a share", "power_se = 0.01", ge=0, le=10)
    load: float = _multiplier("load", "what stood in it, as a multiple of a typical load")


class ReadingTable(BaseModel):
    """One ``[[reading]]``: a dated measurement of a bank of elements by a competent person."""

    model_config = ConfigDict(extra="forbid", strict=True)

    date_: date = file_key("when it was measured", "date = 2025-03-01", alias="date")
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

    name: Name = file_key("what the kiln is called", 'name = "Workshop kiln"')
    power_kw: float = number(
        "power of all elements, new and cold, at rated_volts",
        "power_kw = 9.6",
        "kW",
        gt=0,
        le=MOST_KW,
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
    shape: Literal["round", "box"] = file_key(
        "round: a cylinder as high as wide; box: a cube; unless dimensions are given",
        'shape = "round"',
    )
    diameter_mm: float | None = length(
        "inside diameter of a round kiln", "diameter", "diameter_mm = 610", at_most=5000
    )
    width_mm: float | None = length(
        "inside width of a box", "width", "width_mm = 500", at_most=5000
    )
    depth_mm: float | None = length(
        "inside depth of a box", "depth", "depth_mm = 500", at_most=5000
    )
    height_mm: float | None = length("inside height", "height", "height_mm = 610", at_most=5000)
    max_c: float = number(
        "what its maker allows",
        "max_c = 1300",
        "°C",
        default=1300.0,
        written=("max", "temperature"),
        ge=200,
        le=1450,
    )
    vent: bool = file_key(
        "whether a powered vent runs through the firing", "vent = false", default=False
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
    wall: list[WallTable] = file_key(
        "layers from the inside to the outside",
        "a table [[wall]] with material and thickness_mm or thickness",
        min_length=1,
        max_length=8,
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
    history: list[HistoryTable] = Field(
        default_factory=list, max_length=10000, description="what each day's firing showed"
    )


LEAST_W_PER_L = 5.0
"""The least power a kiln has a litre; they have 10 to 500 (common practice, no source) [W/l]."""
THINNEST_WALL_MM = 1.0
THINNEST_IN_ALL_MM = 15.0
"""A kiln's wall with all its layers is thicker (common practice, no source): thinner, it was told
in centimetres or inches."""
LEAST_RISE_K = 180.0
"""A kiln comes this much above its room at least, to 200 °C [K]."""
SHARE_OF_VOLUME = 0.1
"""How far the inside dimensions may disagree with the volume."""


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _across(data: dict[str, Any], unit: TemperatureUnit) -> list[Wrong]:
    """Return what is wrong between keys, wherever they can be read."""
    found: list[Wrong] = []
    wanted = {"round": ("diameter_mm", "height_mm"), "box": ("width_mm", "depth_mm", "height_mm")}
    shape = data.get("shape")
    keys = wanted.get(shape) if isinstance(shape, str) else None
    if keys is not None:
        given = [key for key in ("diameter_mm", "width_mm", "depth_mm", "height_mm") if key in data]
        odd = [key for key in given if key not in keys]
        found.extend(
            ((key,), f"does not fit a {shape} kiln; write {', '.join(keys)}") for key in odd
        )
        if given and not odd:
            missing = [key for key in keys if key not in data]
            if missing:
                found.append(((given[0],), f"needs {' and '.join(missing)} beside it"))
            elif all(_is_number(data[key]) for key in keys) and _is_number(data.get("volume_l")):
                sizes = [0.01 * data[key] for key in keys]
                volume = math.prod(sizes)
                if shape == "round":
                    volume = 0.25 * math.pi * sizes[0] ** 2 * sizes[1]
                if abs(volume - data["volume_l"]) > SHARE_OF_VOLUME * volume:
                    found.append(
                        (
                            ("volume_l",),
                            f"{_volume(data['volume_l'], unit)} disagrees with the inside "
                            f"dimensions, which make {_volume(round(volume), unit)}; "
                            f"{_write(volume, unit)}",
                        )
                    )
    found.extend(_power_wrong(data, unit))
    materials = data.get("material")
    names: list[Any] = []
    for index, table in enumerate(materials if isinstance(materials, list) else []):
        name = table.get("name") if isinstance(table, dict) else None
        if isinstance(name, str) and (name in names or name in material_names()):
            found.append((("material", index, "name"), f'"{name}" is taken; choose another name'))
        names.append(name)
    readings = data.get("reading")
    for index, table in enumerate(readings if isinstance(readings, list) else []):
        if not isinstance(table, dict) or "ohms" in table:
            continue
        if not ("amps" in table and "volts" in table):
            found.append(
                (
                    ("reading", index),
                    "needs ohms, or both amps and volts; write ohms = 12.2",
                )
            )
    return found


def _volume(volume_l: float, unit: TemperatureUnit) -> str:
    return f"{volume_l:g} l" if unit == "C" else format_size(volume_l, "volume", unit)


def _write(volume_l: float, unit: TemperatureUnit) -> str:
    if unit == "C":
        return f"write volume_l = {volume_l:.0f}"
    return f'write volume = "{format_size(volume_l, "volume", unit)}"'


def _power_wrong(data: dict[str, Any], unit: TemperatureUnit) -> list[Wrong]:
    """Return walls, powers and leaks that no kiln can be fired with."""
    power_kw, volume_l = data.get("power_kw"), data.get("volume_l")
    leak = data.get("leak_w_per_k")
    found: list[Wrong] = []
    walls = data.get("wall")
    for index, table in enumerate(walls if isinstance(walls, list) else ()):
        thick_mm = table.get("thickness_mm") if isinstance(table, dict) else None
        if isinstance(thick_mm, int | float) and 0 < thick_mm < THINNEST_WALL_MM:
            found.append(
                (
                    ("wall", index, "thickness_mm"),
                    f"{thick_mm:g} mm is no wall; write millimetres, like thickness_mm = 75"
                    if unit == "C"
                    else f"{format_size(thick_mm, 'length', unit)} is no wall; write inches, like "
                    'thickness = "3 in"',
                )
            )
    tables = walls if isinstance(walls, list) else ()
    layers = [one.get("thickness_mm") if isinstance(one, dict) else None for one in tables]
    told = [thick for thick in layers if isinstance(thick, int | float)]
    if not found and len(told) == len(layers) and 0 < sum(told) < THINNEST_IN_ALL_MM:
        also = format_size(sum(told), "length", unit)
        found.append(
            (
                ("wall", 0, "thickness_mm"),
                f"{also} in all is thinner than any kiln's wall: centimetres or inches? Write "
                'thickness_mm = 75 or thickness = "3 in"',
            )
        )
    if not isinstance(power_kw, int | float) or not isinstance(volume_l, int | float):
        return found
    if power_kw <= 0 or volume_l <= 0:
        return found
    if power_kw * 1000.0 < LEAST_W_PER_L * volume_l:
        found.append(
            (
                ("power_kw",),
                f"{power_kw:g} kW is too little to fire {_volume(volume_l, unit)}, "
                f"{power_kw * 1000.0 / volume_l:.2g} W a litre; write kilowatts, like "
                f"power_kw = {0.05 * volume_l:.2g}",
            )
        )
    elif MOST_W_PER_L23 * volume_l ** (2 / 3) < power_kw * 1000.0 <= 1000.0 * MOST_KW:
        found.append(
            (
                ("volume_l",),
                f"{volume_l:g} l cannot take {power_kw:g} kW, {power_kw * 1000.0 / volume_l:.0f} W "
                f'a litre: cubic feet? Write volume = "{volume_l:g} cu ft", or see power_kw',
            )
        )
    elif isinstance(leak, int | float) and leak * LEAST_RISE_K > power_kw * 1000.0:
        found.append(
            (
                ("leak_w_per_k",),
                f"{leak:g} W/K carries off {0.001 * leak * LEAST_RISE_K:.2g} kW at 200 °C, more "
                f"than the {power_kw:g} kW the kiln has; write watts a degree, like "
                "leak_w_per_k = 0.8, or leave it out",
            )
        )
    return found


def _own(table: MaterialTable) -> Material:
    return Material(
        table.name,
        table.density_kg_per_m3,
        PropertyTable(
            f"conductivity of {table.name}", "W/(m K)", tuple(table.conductivity_w_per_mk)
        ),
        PropertyTable(
            f"specific heat of {table.name}", "J/(kg K)", tuple(table.specific_heat_j_per_kgk)
        ),
        (table.source or "the kiln file",),
    )


def _kiln(table: KilnTable) -> KilnDescription:
    own = {entry.name: _own(entry) for entry in table.material}
    sizes = (
        (table.diameter_mm, table.height_mm)
        if table.shape == "round"
        else (table.width_mm, table.depth_mm, table.height_mm)
    )
    given = tuple(0.001 * size for size in sizes if size is not None)
    fitted = table.fitted
    return KilnDescription(
        name=table.name,
        power_w=1000.0 * table.power_kw,
        rated_volts=table.rated_volts,
        actual_volts=table.actual_volts,
        phases=table.phases,
        volume_l=table.volume_l,
        shape=table.shape,
        dimensions_m=given if len(given) == len(sizes) else None,
        max_c=table.max_c,
        vent=table.vent,
        leak_w_per_k=table.leak_w_per_k,
        outside_w_per_m2k=table.outside_w_per_m2k,
        element_kg=table.element_kg,
        thermocouple=table.thermocouple,
        thermocouple_class=table.thermocouple_class,
        wall=tuple(
            WallLayer(
                own[entry.material] if entry.material in own else wall_material(entry.material),
                0.001 * entry.thickness_mm,
            )
            for entry in table.wall
        ),
        fitted=Fitted()
        if fitted is None
        else Fitted(
            power=fitted.power,
            loss=fitted.loss,
            capacity=fitted.capacity,
            cone_offset_c=fitted.kiln_reads_low_c,
            learnt=fitted.date_,
            basis=fitted.basis,
            leak=fitted.leak,
            errors=tuple(float(part) for part in fitted.errors.split()),
            hottest_c=fitted.hottest_c,
            fastest_c_per_h=fitted.fastest_c_per_h,
            usual_load=fitted.usual_load,
        ),
        history=tuple(
            PastPower(day.date_, day.power, day.power_se, day.load) for day in table.history
        ),
        readings=tuple(
            ElementReading(entry.date_, entry.bank, entry.ohms, entry.amps, entry.volts)
            for entry in table.reading
        ),
        fits=tuple(
            PastFit(
                on=entry.date_,
                **{name: value for name, value in entry.model_dump().items() if name != "date_"},
            )
            for entry in table.fit
        ),
    )


def _described(kiln: KilnDescription, unit: TemperatureUnit) -> list[str]:
    return [
        kiln.name,
        f"{kiln.power_w / 1000.0:g} kW",
        format_size(kiln.volume_l, "volume", unit),
        f"to {format_temperature(kiln.max_c, unit)}",
        "" if kiln.fitted.learnt is None else "fitted to its logs",
    ]


KILN_FILE = FileKind(
    "kiln",
    lambda: KilnTable,
    _kiln,
    across=_across,
    describe=_described,
    owned=lambda kiln, unit: replace(kiln, unit=unit),
    renamed={"cone_offset_c": "kiln_reads_low_c", "cone_offset": "kiln_reads_low"},
)
parse_kiln, open_kiln = KILN_FILE.parse, KILN_FILE.open


def _entry(past: PastFit) -> dict[str, Any]:
    """Return a fit as its table in the file."""
    shown: dict[str, Any] = {} if past.on is None else {"date": past.on}
    for name in ("power", "loss", "capacity", "leak"):
        shown[name] = round(getattr(past, name), 4)
    for name in ("power_se", "power_over_capacity_se", "power_over_losses_se", "least_power"):
        if (value := getattr(past, name)) is not None:
            shown[name] = round(value, 4)
    return {**shown, "loaded": past.loaded, "basis": past.basis}


def write_fitted(
    kiln_text: str,
    fitted: Fitted,
    past: PastFit | None = None,
    history: Sequence[PastPower] = (),
) -> str:
    """Return a kiln file's text with new ``[fitted]`` values, all else and its comments kept.

    Multipliers are written to four decimals.  `past`, the fit itself, is kept in the list of them,
    the same logs once; with it goes what stood in ``[fitted]`` and is not in the list yet.
    `history` is what each day's firing showed, the same day once.
    """
    kiln_text = KILN_FILE.current(kiln_text)
    data = parse(kiln_text, "kiln")
    unlisted = _unlisted(data)
    table: dict[str, Any] = {
        "power": round(fitted.power, 4),
        "loss": round(fitted.loss, 4),
        "capacity": round(fitted.capacity, 4),
        **({} if fitted.leak is None else {"leak": round(fitted.leak, 4)}),
        "kiln_reads_low_c": round(fitted.cone_offset_c, 1),
    }
    if fitted.learnt is not None:
        table["date"] = fitted.learnt
    if fitted.basis:
        table["basis"] = fitted.basis
    if fitted.errors:
        table["errors"] = " ".join(f"{error:.4f}" for error in fitted.errors)
    for name, value in (
        ("hottest_c", fitted.hottest_c),
        ("fastest_c_per_h", fitted.fastest_c_per_h),
    ):
        if value is not None:
            table[name] = round(value, 1)
    if fitted.usual_load != 1.0:
        table["usual_load"] = round(fitted.usual_load, 3)
    data["fitted"] = table
    if history:
        new = [
            {
                "date": day.on,
                "power": round(day.power, 4),
                "power_se": round(day.power_se, 4),
                "load": round(day.load, 3),
            }
            for day in history
        ]
        dated = {day.on for day in history}
        earlier = data.get("history")
        data["history"] = [
            day
            for day in (earlier if isinstance(earlier, list) else [])
            if not (isinstance(day, dict) and day.get("date") in dated)
        ] + new
    if past is not None:
        entries = data.get("fit")
        kept = [
            entry
            for entry in [*(entries if isinstance(entries, list) else []), *unlisted]
            if not (isinstance(entry, dict) and entry.get("basis") == past.basis)
        ]
        data["fit"] = [*kept, _entry(past)]
    return render(data, kiln_text)


def _unlisted(data: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the fit in ``[fitted]`` as an entry of the list, unless it stands there already.

    A file of before the list holds one fit, and nothing of how sure it was.
    """
    old, entries = data.get("fitted"), data.get("fit")
    if not isinstance(old, dict) or not ({"power", "loss", "capacity"} & old.keys()):
        return []
    learnt = {name: old.get(name, 1.0) for name in ("power", "loss", "capacity")}
    learnt["leak"] = old.get("leak", learnt["loss"])
    when = {"date": old["date"]} if "date" in old else {}
    if not when and all(value == 1.0 for value in learnt.values()):
        return []
    for entry in entries if isinstance(entries, list) else []:
        if isinstance(entry, dict) and (
            all(entry.get(name) == value for name, value in {**when, **learnt}.items())
            or (old.get("basis") and entry.get("basis") == old["basis"])
        ):
            return []
    return [{**when, **learnt, "loaded": False, "basis": old.get("basis", "")}]
