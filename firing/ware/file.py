"""The load file: its schema, and how it is read with every fault at once."""

from __future__ import annotations

from dataclasses import replace
from difflib import get_close_matches
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, PlainValidator, WithJsonSchema

from firing.files.kinds import FileKind, WrongKeys
from firing.files.tomlfile import Wrong, clean, file_key, length, number, plain_line, shown
from firing.units import TemperatureUnit, format_size, in_unit
from firing.ware.load import (
    BODIES,
    BODY_DENSITY_KG_PER_M3,
    THINNEST_MM,
    Dryness,
    Load,
    Piece,
    too_thin,
)
from firing.ware.shape import HeatedFrom, PieceForm, Shape, Vents

THICKEST_MM = 500.0
"""Nothing a studio fires is thicker (common practice, no source); it catches slips of the key."""
MOST_SLENDER = 350.0
"""No piece is wider than so many times its thickest place (common practice, no source): thinner,
it was measured in centimetres or inches, which makes thirty times that of real ware."""
WIDEST_M2 = 6.0
"""No piece has more wall than this (common practice, no source): heavier, it was weighed in grams,
which makes a thousand times the wall."""


def _body(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{clean(str(value)).lower()} stands where text in quotes belongs")
    if value not in BODIES:
        close = get_close_matches(value, BODIES, n=1, cutoff=0.5)
        listed = "; ".join(f'"{body}"' for body in BODIES)
        hint = f'did you mean "{close[0]}"?' if close else f"write one of: {listed}"
        raise ValueError(f'"{clean(value)}" is not a known body; {hint}')
    return value


Line = Annotated[
    str,
    PlainValidator(plain_line("planter")),
    WithJsonSchema({"type": "string", "minLength": 1}),
]
Body = Annotated[str, PlainValidator(_body), WithJsonSchema({"enum": list(BODIES)})]


class PieceTable(BaseModel):
    """One ``[[piece]]`` of a load file."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: Line = file_key("what it is", 'name = "planter"')
    count: int = file_key("how many", "count = 4", default=1, ge=1, le=10000)
    thickest_mm: float = length(
        "its thickest place",
        "thickest",
        'thickest_mm = 18 or thickest = "0.7 in"',
        default=...,
        at_most=THICKEST_MM,
    )
    mass_kg: float = number(
        "mass of one as it goes into the kiln",
        'mass_kg = 3.2 or mass = "7 lb"',
        "kg",
        written=("mass", "mass"),
        gt=0,
        le=2000,
    )
    shape: Shape | None = file_key(
        "what it is: a plate or tile on the shelf, a stack of them, a free wall, a "
        "hollow form open to the kiln or closed, or solid",
        'shape = "open hollow"',
        default=None,
    )
    wall_mm: float | None = length(
        "wall of a hollow form, where thinner than its thickest place",
        "wall",
        "wall_mm = 15",
        at_most=THICKEST_MM,
    )
    foot_mm: float | None = length(
        "foot or floor of a standing piece", "foot", "foot_mm = 20", at_most=THICKEST_MM
    )
    stacked: int = file_key(
        "how many that lie are on each other", "stacked = 4", default=1, ge=1, le=100
    )
    across_mm: float | None = length(
        "how wide a piece that lies is", "across", "across_mm = 250", at_most=3000
    )
    raised: bool = file_key(
        "whether air passes under it: a foot ring, props or stilts", "raised = true", default=False
    )
    vents: Vents = file_key(
        "holes in a closed hollow form: none, drilled, or a wide opening",
        'vents = "drilled"',
        default="none",
    )
    heated_from: HeatedFrom = file_key(
        "instead of a shape: both faces of the thickest place are heated, or one",
        'heated_from = "both"',
        default="both",
    )


class LoadTable(BaseModel):
    """A load file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Kiln load")

    dryness: Dryness = file_key("how dry the ware goes in", 'dryness = "bone dry"')
    body: Body = file_key("what it is made of", 'body = "stoneware"')
    furniture_kg: float | None = number(
        "shelves and posts of this load; in proportion to the kiln if left out",
        "furniture_kg = 28",
        "kg",
        default=None,
        written=("furniture", "mass"),
        ge=0,
        le=5000,
    )
    dark: bool = file_key(
        "whether the body is dark, iron-rich or full of organic matter",
        "dark = true",
        default=False,
    )
    piece: list[PieceTable] = file_key(
        "the pieces by kind",
        "a table [[piece]] with name, thickest_mm and mass_kg",
        min_length=1,
        max_length=500,
    )


def _across(data: dict[str, Any], unit: TemperatureUnit) -> list[Wrong]:
    """Return which pieces are too heavy for how thin they are."""
    found: list[Wrong] = []
    pieces = data.get("piece")
    for index, entry in enumerate(pieces if isinstance(pieces, list) else ()):
        if not isinstance(entry, dict):
            continue
        mass_kg, thick_mm = entry.get("mass_kg"), entry.get("thickest_mm")
        if not isinstance(mass_kg, int | float) or not isinstance(thick_mm, int | float):
            continue
        if thick_mm < THINNEST_MM:
            if thick_mm > 0:
                found.append((("piece", index, "thickest_mm"), in_unit(too_thin(thick_mm), unit)))
            continue
        what = entry.get("name")
        one = shown(what) if isinstance(what, str) else "piece"
        wall_m2 = mass_kg / BODY_DENSITY_KG_PER_M3 / (0.001 * thick_mm)
        if wall_m2 > WIDEST_M2:
            found.append(
                (
                    ("piece", index, "mass_kg"),
                    f"{mass_kg:g} kg for one {one} of {thick_mm:g} mm: grams? That would be "
                    f"{wall_m2:.0f} m² of wall; write kilograms, like mass_kg = "
                    f"{0.001 * mass_kg:g}"
                    if unit == "C"
                    else f"{format_size(mass_kg, 'mass', unit)} for one {one} of "
                    f"{format_size(thick_mm, 'length', unit)} is far too heavy; write the mass of "
                    'one, like mass = "7 lb"',
                )
            )
        elif wall_m2 > (MOST_SLENDER * 0.001 * thick_mm) ** 2:
            found.append(
                (
                    ("piece", index, "thickest_mm"),
                    f"{thick_mm:g} mm for one {one} of {mass_kg:g} kg: centimetres? That would be "
                    f"{wall_m2:.2g} m² of wall; write millimetres, like thickest_mm = "
                    f"{10.0 * thick_mm:g}"
                    if unit == "C"
                    else f"{format_size(thick_mm, 'length', unit)} is far too thin for one {one} "
                    f"of {format_size(mass_kg, 'mass', unit)}; write its thickest place, like "
                    'thickest = "0.7 in"',
                )
            )
    return found


def _load(table: LoadTable) -> Load:
    wrong: list[Wrong] = []
    for index, entry in enumerate(table.piece):
        form = PieceForm(**entry.model_dump(exclude={"name", "count", "mass_kg"}))
        wrong += [(("piece", index, key), words) for key, words in form.faults()]
        # Left out, it is "both" and means nothing beside a shape; written, it is a claim.
        said = "heated_from" in entry.model_fields_set
        if said and entry.heated_from == "both" and form.lies_on_shelf:
            words = f'a "{form.shape}" on the shelf is heated from above; write raised = true'
            wrong.append((("piece", index, "heated_from"), f"{words} if air passes under it"))
    if wrong:
        raise WrongKeys(*wrong)
    return Load(
        pieces=tuple(Piece(**entry.model_dump()) for entry in table.piece),
        dryness=table.dryness,
        body=table.body,
        furniture_kg=table.furniture_kg,
        dark=table.dark,
    )


def _described(load: Load, unit: TemperatureUnit) -> list[str]:
    thickest = load.thickest
    return [
        load.dryness,
        f"{sum(piece.count for piece in load.pieces)} pieces",
        f"thickest {format_size(thickest.thickest_mm, 'length', unit)} ({thickest.name})",
        f"{load.ware_kg:.0f} kg" if unit == "C" else format_size(load.ware_kg, "mass", unit),
    ]


LOAD_FILE = FileKind(
    "load",
    lambda: LoadTable,
    _load,
    across=_across,
    describe=_described,
    owned=lambda load, unit: replace(load, unit=unit),
)
parse_load, open_load = LOAD_FILE.parse, LOAD_FILE.open
