"""The forms: the keys of each file a plan is fired with, in the order that they are shown."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from firing.errors import FiringError
from firing.files.kinds import FileKind, file_kind
from firing.files.tomlfile import KeyPath
from firing.report.sanitize import display_width, plain, wrap
from firing.schedule.schedule import Purpose
from firing.units import (
    ROOM_C,
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
    in_unit,
    rate_to_celsius,
)

from .fields import Field, FieldKind, Option, file_reader, option_words

FormKind = Literal["kiln", "load", "controller", "tariff"]


@dataclass(frozen=True, slots=True)
class Group:
    """Keys under one heading; of the file itself, or of the single table they stand in."""

    title: str
    fields: tuple[Field, ...]
    table: str = ""


@dataclass(frozen=True, slots=True)
class Items:
    """A list of tables, one a line: `word` is what one is called, `most` how many there may be.

    `more` are the fields of a second line, for an item that has the key `more_when` or one of them.
    """

    title: str
    word: str
    table: str
    fields: tuple[Field, ...]
    most: int
    more: tuple[Field, ...] = ()
    more_when: str = ""

    @property
    def every(self) -> tuple[Field, ...]:
        """The fields of both lines."""
        return (*self.fields, *self.more)

    def has_more(self, item: Mapping[str, Any]) -> bool:
        """Whether an item has a second line."""
        return any(key in item for key in (self.more_when, *(entry.key for entry in self.more)))


@dataclass(frozen=True, slots=True)
class Form:
    """A kind of file, as a form shows it.

    Attributes
    ----------
    kind : {"kiln", "load", "controller", "tariff"}
        What it is.
    parts : tuple of Group or Items
        From top to bottom.
    main : str
        The list that a new item is for where the cursor stands in none; empty if it has no list.
    forget : str
        The single table that can be taken out as a whole, and the words for it.
    """

    kind: FormKind
    parts: tuple[Group | Items, ...]
    main: str
    forget: tuple[str, str] = ("", "")

    @property
    def file(self) -> FileKind[Any, Any]:
        """Its reader, and the schema that judges one value at a time."""
        return file_kind(self.kind)

    def items(self, table: str) -> Items | None:
        """Return the list of a key; None if it is none."""
        return next((p for p in self.parts if isinstance(p, Items) and p.table == table), None)

    def field_at(self, path: KeyPath) -> Field | None:
        """Return the field that a path leads to; None if there is none."""
        table = "" if len(path) == 1 else str(path[0])
        for part in self.parts:
            depth = 3 if isinstance(part, Items) else 2 if part.table else 1
            if part.table == table and len(path) == depth:
                for entry in part.every if isinstance(part, Items) else part.fields:
                    if path[-1] in entry.keys:
                        return entry
        return None


_KILN = {
    "name": "name",
    "shape": "shape of the inside",
    "volume_l": "volume",
    "diameter_mm": "inside diameter",
    "width_mm": "inside width",
    "depth_mm": "inside depth",
    "height_mm": "inside height",
    "max_c": "its maker allows",
    "vent": "powered vent",
    "power_kw": "power, elements new",
    "rated_volts": "volts it is rated at",
    "actual_volts": "volts under load",
    "phases": "phases",
    "element_kg": "mass of the elements",
    "leak_w_per_k": "leaking air carries off",
    "outside_w_per_m2k": "outside coefficient",
    "thermocouple": "thermocouple",
    "thermocouple_class": "its tolerance class",
}
_KILN_GROUPS = {
    "The kiln": (
        "name", "shape", "volume_l", "diameter_mm", "width_mm", "depth_mm", "height_mm", "max_c",
        "vent",
    ),
    "Its power": ("power_kw", "rated_volts", "actual_volts", "phases", "element_kg"),
    "What it loses and how it is measured": (
        "leak_w_per_k", "outside_w_per_m2k", "thermocouple", "thermocouple_class",
    ),
}  # fmt: skip
_ONLY_WHEN = {
    "diameter_mm": ("shape", "round"),
    "width_mm": ("shape", "box"),
    "depth_mm": ("shape", "box"),
}
_WALL = {"material": "material", "thickness_mm": "thickness"}
_MATERIAL = {
    "name": "name",
    "density_kg_per_m3": "density",
    "conductivity_w_per_mk": "W/(m K)",
    "specific_heat_j_per_kgk": "J/(kg K)",
    "source": "source",
}
_READING = {"date": "date", "bank": "bank", "ohms": "ohms", "amps": "amps", "volts": "volts"}
_FITTED = {
    "power": "power is times",
    "loss": "losses are times",
    "leak": "leaking air is times",
    "capacity": "heat capacity is times",
    "usual_load": "usual load is times",
    "kiln_reads_low_c": "reads low by",
    "date": "learnt on",
    "basis": "learnt from",
    "errors": "how far off together",
    "hottest_c": "logs went up to",
    "fastest_c_per_h": "logs rose at most at",
}
_LOAD = {
    "dryness": "dryness",
    "body": "body",
    "dark": "dark body",
    "furniture_kg": "shelves and posts",
}
_PIECE = {
    "name": "name",
    "count": "count",
    "thickest_mm": "thickest",
    "mass_kg": "each",
    "shape": "shape",
    "heated_from": "faces",
}
_PIECE_MORE = {
    "wall_mm": "wall",
    "foot_mm": "foot",
    "stacked": "stacked",
    "across_mm": "across",
    "raised": "air under",
    "vents": "holes",
}


_CONTROLLER_GROUPS = {
    "The controller": {
        "name": "name",
        "unit": "its degrees",
        "max_segments": "segments at most",
        "notation": "a ramp is keyed as",
        "waits": "waits for a slow kiln",
        "controls_cooling": "can slow the cooling",
    },
    "What can be keyed": {
        "rate_min": "slowest rate",
        "rate_max": "fastest rate",
        "rate_step": "step of a rate",
        "target_step": "step of a target",
        "hold_max": "longest hold",
        "hold_step": "step of a hold",
    },
}
_PERIOD = {"days": "days", "from": "from", "to": "until", "price_per_kwh": "price of a kWh"}
_WRITTEN_LIKE = {
    "hold_max": "like 48h",
    "hold_step": "like 1m or 30s",
    "days": "like mon-fri or sat, sun",
    "from": "like 07:00",
    "to": "like 22:00; 24:00 is midnight",
    "currency": "a short name like EUR",
}


def _tables(kind: FormKind) -> dict[str, Any]:
    """Return the schema of a file and of every table in it, by the table's key."""
    schema = file_kind(kind).json_schema()
    found: dict[str, Any] = {"": schema}
    for key, entry in schema["properties"].items():
        shapes = [entry, entry.get("items", {}), *entry.get("anyOf", ())]
        for shape in shapes:
            if "$ref" in shape:
                found[key] = schema["$defs"][shape["$ref"].rpartition("/")[2]]
    return found


def _fields_of(
    schema: Mapping[str, Any],
    labels: Mapping[str, str],
    *,
    choices: Mapping[str, Sequence[str]] | None = None,
    temperatures: Sequence[str] = (),
) -> dict[str, Field]:
    """Return the fields of one table of a file, by their keys.

    A key without a label, which would be a list of tables or a table, has no field; `choices` are
    what a key may hold beyond what the schema says, and `temperatures` may carry their unit.
    """
    required = schema.get("required", ())
    either = {
        key for pair in schema.get("allOf", ()) for one in pair["anyOf"] for key in one["required"]
    }
    found: dict[str, Field] = {}
    for key, entry in schema["properties"].items():
        if key not in labels:
            continue
        kind, options = _kind(entry, (choices or {}).get(key, ()))
        if key in temperatures:
            kind = "temperature"
        unit = str(entry.get("unit", ""))
        notes = entry.get("written")
        written = None if notes is None else (notes["key"], notes["as"])
        default = entry.get("default")
        known = None if default in (None, "") else option_words(default)
        found[key] = Field(
            key,
            labels[key],
            str(entry.get("description", "")),
            file_reader(kind, unit, options, written, _within(entry)),
            options,
            _ONLY_WHEN.get(key),
            kind=kind,
            limits=_WRITTEN_LIKE.get(key) or _limits(entry, kind, unit),
            unit=unit,
            required=key in required or key in either,
            left_out="" if known is None else f"{known} {unit}".rstrip(),
            written=written,
        )
    return found


def _kind(entry: Mapping[str, Any], more: Sequence[str]) -> tuple[FieldKind, tuple[Option, ...]]:
    shapes = [entry, *entry.get("anyOf", ())]
    values: list[Any] = [value for shape in shapes for value in shape.get("enum", more)]
    types = {shape.get("type") for shape in shapes}
    if "boolean" in types:
        values = [False, True]
    if values:
        return "choice", tuple((value, option_words(value)) for value in dict.fromkeys(values))
    if "array" in types:
        return "points", ()
    if any(shape.get("format") == "date" for shape in shapes):
        return "date", ()
    return ("number" if types & {"number", "integer"} else "text"), ()


def _within(entry: Mapping[str, Any]) -> tuple[float, float]:
    bounds: dict[str, Any] = {}
    for shape in [entry, *entry.get("anyOf", ())]:
        bounds.update(shape)
    low = bounds.get("minimum", bounds.get("exclusiveMinimum", -math.inf))
    return float(low), float(bounds.get("maximum", math.inf))


def _limits(entry: Mapping[str, Any], kind: FieldKind, unit: str) -> str:
    if kind == "choice":
        return "space: the next, enter: all"
    if kind == "date":
        return "like 2026-03-12 or 12.3.2026"
    if kind == "points":
        return "a number, or °C: value, °C: value"
    if kind == "text":
        return "a few words"
    bounds: dict[str, Any] = {}
    for shape in [entry, *entry.get("anyOf", ())]:
        bounds.update(shape)
    low, above, high = (bounds.get(k) for k in ("minimum", "exclusiveMinimum", "maximum"))
    if above is not None:
        return f"above {above:g}, up to {high:g} {unit}".rstrip()
    return f"{low:g} to {high:g} {unit}".rstrip()


def _items(
    title: str,
    word: str,
    table: str,
    tables: Mapping[str, Any],
    labels: Mapping[str, str],
    choices: Mapping[str, tuple[str, ...]] | None = None,
) -> Items:
    fields = _fields_of(tables[table], labels, choices=choices)
    most = tables[""]["properties"][table]["maxItems"]
    return Items(title, word, table, tuple(fields.values()), most)


@cache
def kiln_form() -> Form:
    """Return the form of a kiln file."""
    from firing.heat.properties import material_names

    tables = _tables("kiln")
    head = _fields_of(tables[""], _KILN, temperatures=("max_c",))
    groups = [
        Group(title, tuple(head[key] for key in keys)) for title, keys in _KILN_GROUPS.items()
    ]
    wall = _items(
        "Wall, from inside", "layer", "wall", tables, _WALL, {"material": material_names()}
    )
    fitted = Group(
        "Learnt from firings", tuple(_fields_of(tables["fitted"], _FITTED).values()), "fitted"
    )
    return Form(
        kind="kiln",
        parts=(
            *groups[:2],
            wall,
            groups[2],
            _items("Own materials", "material", "material", tables, _MATERIAL),
            _items("Element readings", "reading", "reading", tables, _READING),
            fitted,
        ),
        main="wall",
        forget=("fitted", "Forget what was learnt"),
    )


@cache
def load_form() -> Form:
    """Return the form of a load file."""
    tables = _tables("load")
    head = Group("The load", tuple(_fields_of(tables[""], _LOAD).values()))
    more = tuple(_fields_of(tables["piece"], _PIECE_MORE).values())
    pieces = replace(
        _items("Pieces", "piece", "piece", tables, _PIECE), more=more, more_when="shape"
    )
    return Form("load", (head, pieces), "piece")


@cache
def controller_form() -> Form:
    """Return the form of a controller file."""
    tables = _tables("controller")
    parts = tuple(
        Group(title, tuple(_fields_of(tables[""], labels)[key] for key in labels))
        for title, labels in _CONTROLLER_GROUPS.items()
    )
    return Form("controller", parts, "")


@cache
def tariff_form() -> Form:
    """Return the form of a tariff file."""
    tables = _tables("tariff")
    head = Group("The tariff", tuple(_fields_of(tables[""], {"currency": "currency"}).values()))
    periods = _items("Prices; the first that holds counts", "price", "period", tables, _PERIOD)
    return Form("tariff", (head, periods), "period")


def form_of(kind: FormKind) -> Form:
    """Return the form of a kind of file."""
    forms = {"kiln": kiln_form, "load": load_form, "controller": controller_form}
    return forms.get(kind, tariff_form)()


_BETWEEN = " · "

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.ware.load import Load


def derived(kind: FormKind, value: Any) -> tuple[str, ...]:
    """Return what follows from what a form holds, part by part."""
    try:
        if kind == "kiln":
            parts = kiln_words(value)
        elif kind == "load":
            parts = load_words(value)
        else:
            parts = (file_kind(kind).described(value),)
    except FiringError as error:
        parts = (str(error),)
    unit: TemperatureUnit = getattr(value, "unit", "C")
    return tuple(plain(in_unit(part, unit)) for part in parts)


def kiln_words(kiln: KilnDescription) -> tuple[str, ...]:
    """Return how hot a kiln can stay, what it draws and what it loses.

    Refused if there is no temperature at which it comes to rest.
    """
    from firing.kiln.simulation import highest_hold

    highest = highest_hold(kiln)
    by_tables = ", as far as its wall's tables go" if highest.by_tables else ""
    lines = " a line" if kiln.phases == 3 else ""
    return (
        f"Can hold {format_temperature(highest.temperature_c)} at most{by_tables}",
        f"full power, cold: {kiln.available_w / 1000.0:.3g} kW, {kiln.full_amps:.3g} A{lines}",
        _lost_words(kiln),
        f"wall {1000.0 * kiln.wall_m:g} mm",
    )


def _lost_words(kiln: KilnDescription) -> str:
    """Return what a degree costs, in watts by the degree of the kiln's owner."""
    a_degree = rate_to_celsius(1.0, kiln.unit)
    wall, air = kiln.wall_w_per_k * a_degree, kiln.air_w_per_k * a_degree
    unit = "K" if kiln.unit == "C" else "°F"
    return f"lost near 600 °C: wall {wall:.3g}, air {air:.3g} W/{unit}"


def load_words(load: Load) -> tuple[str, ...]:
    """Return what a load weighs, which piece governs it, and what limits its firing.

    Refused if its limits are not known.
    """
    from firing.ware.safe_rates import limits_for

    piece = load.thickest
    pieces = sum(each.count for each in load.pieces)
    furniture = "in proportion to the kiln"
    if load.furniture_kg is not None:
        furniture = f"{load.furniture_kg:g} kg"
    purpose: Purpose = "bisque" if load.has_bound_water else "glaze"
    limits = limits_for(load, purpose=purpose)
    words = [
        f"{pieces} {'piece' if pieces == 1 else 'pieces'}, {load.ware_kg:.4g} kg of ware",
        f"furniture {furniture}",
        f"slowest spot: {piece.words_of(piece.slowest_spot)}",
    ]
    if limits.advice is not None:
        return (*words, limits.advice.message)
    # A limit is straight between its knots, so the lowest of all stands at one of them.
    at_c = np.unique(np.concatenate([limit.knots_c for limit in limits.of("heating")]))
    at_c = at_c[at_c >= ROOM_C]
    slowest = limits.limit(float(at_c[int(np.argmin(limits.heating(at_c)))]))
    words.append(
        f"as a {purpose} slowest near {format_temperature(slowest.temperature_c)}: "
        f"{format_rate(slowest.rate_c_per_h)}, {slowest.reason}"
    )
    if limits.dwells:
        longest = max(limits.dwells, key=lambda dwell: dwell.at_least_s)
        low, high = longest.window_c
        words.append(
            f"at least {format_duration(longest.at_least_s)} from {low:.0f} to {high:.0f} °C, "
            f"{longest.reason}"
        )
    return tuple(words)


def flowing(parts: Sequence[str], room: int) -> list[str]:
    """Put parts on as few lines as hold them, each part whole if a line can hold it."""
    lines: list[str] = []
    for part in parts:
        if lines and display_width(lines[-1]) + len(_BETWEEN) + display_width(part) <= room:
            lines[-1] += _BETWEEN + part
        else:
            lines += wrap(part, room)
    return lines
