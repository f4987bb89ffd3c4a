"""The load file: its schema, and how it is read with every fault at once."""

from __future__ import annotations

from dataclasses import replace
from difflib import get_close_matches
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema

from firing.files.kinds import FileKind
from firing.files.tomlfile import clean, number, plain_line
from firing.units import TemperatureUnit, format_size
from firing.ware.load import BODIES, Dryness, Load, Piece

THICKEST_MM = 500.0
"""Nothing a studio fires is thicker (common practice, no source); it catches slips of the key."""


def _body(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{clean(str(value)).lower()} stands where text in quotes is wanted")
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

    name: Line = Field(description="what it is", json_schema_extra={"example": 'name = "planter"'})
    count: int = Field(
        1,
        ge=1,
        le=10000,
        description="how many",
        json_schema_extra={"example": "count = 4"},
    )
    thickest_mm: float = number(
        "its thickest place",
        'thickest_mm = 18 or thickest = "0.7 in"',
        "mm",
        written=("thickest", "length"),
        gt=0,
        le=THICKEST_MM,
    )
    mass_kg: float = number(
        "mass of one as it goes into the kiln",
        'mass_kg = 3.2 or mass = "7 lb"',
        "kg",
        written=("mass", "mass"),
        gt=0,
        le=2000,
    )
    heated_from: Literal["both", "one"] = Field(
        "both",
        description="both faces of the thickest place, or one: tiles, a wide foot on the shelf, "
        "stacked ware",
        json_schema_extra={"example": 'heated_from = "both"'},
    )


class LoadTable(BaseModel):
    """A load file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Kiln load")

    dryness: Dryness = Field(
        description="how dry the ware goes in",
        json_schema_extra={"example": 'dryness = "bone dry"'},
    )
    body: Body = Field(
        description="what it is made of", json_schema_extra={"example": 'body = "stoneware"'}
    )
    furniture_kg: float | None = number(
        "shelves and posts of this load; in proportion to the kiln if left out",
        "furniture_kg = 28",
        "kg",
        default=None,
        written=("furniture", "mass"),
        ge=0,
        le=5000,
    )
    piece: list[PieceTable] = Field(
        min_length=1,
        max_length=500,
        description="the pieces by kind",
        json_schema_extra={"example": "a table [[piece]] with name, thickest_mm and mass_kg"},
    )


def _load(table: LoadTable) -> Load:
    return Load(
        pieces=tuple(Piece(**entry.model_dump()) for entry in table.piece),
        dryness=table.dryness,
        body=table.body,
        furniture_kg=table.furniture_kg,
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
    describe=_described,
    owned=lambda load, unit: replace(load, unit=unit),
)
parse_load, open_load = LOAD_FILE.parse, LOAD_FILE.open
