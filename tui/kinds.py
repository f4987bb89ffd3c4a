"""Kinds of TOML files: told apart by their keys, quickly and whatever their faults; described."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from firing.report.sanitize import plain
from firing.units import TemperatureUnit, format_temperature

from .equipment import Kind

if TYPE_CHECKING:
    from firing.controller.controller import Controller
    from firing.kiln.description import KilnDescription
    from firing.kiln.tariff import Tariff
    from firing.ware.load import Load

FileKind = Kind | Literal["schedule", "source"]

_MOST_BYTES = 65536
_KEY = re.compile(r"^[ \t]*(?:\[{1,2}[ \t]*(\w+)[ \t]*\]{1,2}|(\w+)[ \t]*=)", re.MULTILINE)
# Keys and tables that no other kind of file has.
_MARKS: dict[FileKind, frozenset[str]] = {
    "schedule": frozenset({"segment", "purpose", "start", "target"}),
    "kiln": frozenset({"power_kw", "rated_volts", "volume_l", "wall", "thermocouple", "max_c"}),
    "load": frozenset({"dryness", "piece", "furniture_kg", "thickest_mm", "heated_from"}),
    "controller": frozenset({"max_segments", "notation", "rate_max", "hold_max", "waits"}),
    "source": frozenset({"kind", "port", "baud", "fields", "interval", "register", "query"}),
    "tariff": frozenset({"currency", "period", "price_per_kwh"}),
}


def kind_of_text(text: str) -> FileKind | None:
    """Return the kind that most keys of a text belong to; None if no key tells."""
    found = {table or key for table, key in _KEY.findall(text)}
    counts = {kind: len(found & marks) for kind, marks in _MARKS.items()}
    best = max(counts, key=lambda kind: counts[kind])
    return best if counts[best] else None


def kind_of(path: Path) -> FileKind | None:
    """Return the kind of a file by its beginning; None if it cannot be told."""
    try:
        if not path.is_file():
            return None
        with path.open("rb") as file:
            return kind_of_text(file.read(_MOST_BYTES).decode("utf-8", "replace"))
    except OSError:
        return None


def description(kind: Kind, value: Any, unit: TemperatureUnit = "C") -> str:
    """Return what was read from a file, in one line.

    Parameters
    ----------
    kind : {"kiln", "load", "controller", "tariff"}
        What it is.
    value : KilnDescription, Load, Controller or Tariff
        What was read.
    unit : {"C", "F"}
        Of temperatures.
    """
    parts = _kiln(value, unit) if kind == "kiln" else _DESCRIBED[kind](value)
    return plain(" · ".join(part for part in parts if part))


def _kiln(kiln: KilnDescription, unit: TemperatureUnit) -> list[str]:
    fitted = kiln.fitted.learnt is not None
    return [
        kiln.name,
        f"{kiln.power_w / 1000.0:g} kW",
        f"{kiln.volume_l:g} l",
        f"to {format_temperature(kiln.max_c, unit)}",
        "fitted to its logs" if fitted else "",
    ]


def _load(load: Load) -> list[str]:
    thickest = load.thickest
    return [
        load.dryness,
        f"{sum(piece.count for piece in load.pieces)} pieces",
        f"thickest {thickest.thickest_mm:g} mm ({thickest.name})",
        f"{load.ware_kg:.0f} kg",
    ]


def _controller(controller: Controller) -> list[str]:
    keyed = "degrees per hour" if controller.notation == "rate" else "minutes to target"
    return [
        controller.name,
        f"{controller.max_segments} segments",
        f"°{controller.unit}",
        keyed,
        "" if controller.waits else "its clock does not wait",
    ]


def _tariff(tariff: Tariff) -> list[str]:
    prices = sorted({period.price_per_kwh for period in tariff.periods})
    span = f"{prices[0]:g}" if len(prices) == 1 else f"{prices[0]:g} to {prices[-1]:g}"
    return [f"{tariff.currency} {span} per kWh"]


_DESCRIBED: dict[Kind, Callable[[Any], list[str]]] = {
    "load": _load,
    "controller": _controller,
    "tariff": _tariff,
}
