"""The kiln file: how it is read with every fault at once, and what is written back to it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from firing.files.kinds import FileKind
from firing.files.tomledit import render
from firing.files.tomlfile import Wrong, parse
from firing.heat.properties import Material, PropertyTable
from firing.kiln.description import ElementReading, Fitted, KilnDescription, PastFit, WallLayer
from firing.kiln.materials import material_names, wall_material
from firing.kiln.schema import KilnTable, MaterialTable
from firing.units import TemperatureUnit, format_size, format_temperature

LEAST_W_PER_L = 5.0
"""The least power a kiln has a litre; they have 10 to 500 (common practice, no source) [W/l]."""
THINNEST_WALL_MM = 1.0
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


def write_fitted(kiln_text: str, fitted: Fitted, past: PastFit | None = None) -> str:
    """Return a kiln file's text with new ``[fitted]`` values, all else and its comments kept.

    Multipliers are written to four decimals.  `past`, the fit itself, is kept in the list of them,
    the same logs once; with it goes what stood in ``[fitted]`` and is not in the list yet.
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
    data["fitted"] = table
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
