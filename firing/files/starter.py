"""The first files of a studio, from a few answers: its kiln, its controller and its tariff."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from firing.errors import FiringError
from firing.files.kinds import file_kind
from firing.files.tomledit import render
from firing.files.written import read_written
from firing.units import TemperatureUnit

SQRT_3 = 3.0**0.5
"""Line current to power of a balanced three-phase load, line voltage given (algebra)."""

_NUMBER = r"(\d+(?:[.,]\d+)?)"
_KILOWATTS = re.compile(rf"{_NUMBER}\s*kw\b", re.IGNORECASE)
_VOLTS = re.compile(rf"{_NUMBER}\s*v(?:olts?)?\b", re.IGNORECASE)
_AMPS = re.compile(rf"{_NUMBER}\s*a(?:mps?)?\b", re.IGNORECASE)
_THREE = re.compile(r"\b(?:3|three)\s*[-x×]?\s*(?:ph(?:ases?)?\b|(?=\d))", re.IGNORECASE)
_SUPPLY_EXAMPLES = '"9.6 kW at 240 V", "240 V 40 A" or "400 V 3 x 16 A"'


@dataclass(frozen=True, slots=True)
class Supply:
    """What a kiln's plate says of its electricity."""

    kilowatts: float
    volts: float
    phases: Literal[1, 3]


def parse_supply(text: str) -> Supply:
    """Read power, volts and phases as on a kiln's plate: ``240 V 40 A``, ``9 kW at 230 V``."""
    volts, amps, kilowatts = (
        None if found is None else float(found[1].replace(",", "."))
        for found in (pattern.search(text) for pattern in (_VOLTS, _AMPS, _KILOWATTS))
    )
    three = _THREE.search(text) is not None
    if volts is None or (amps is None and kilowatts is None):
        raise FiringError(
            f'"{text[:60]}" is no supply; write what the plate says, like {_SUPPLY_EXAMPLES}'
        )
    if kilowatts is None:
        assert amps is not None
        kilowatts = volts * amps * (SQRT_3 if three else 1.0) / 1000.0
    return Supply(round(kilowatts, 3), volts, 3 if three else 1)


def checked_size(text: str, kind: Literal["volume", "length", "temperature"]) -> str:
    """Return a figure that carries its unit, once it can be read."""
    read_written(text, kind)
    return text.strip()


def kiln_text(
    name: str, volume: str, shape: Literal["round", "box"], wall: str, supply: Supply, hottest: str
) -> str:
    """Return a kiln file; sizes and temperature stay as they were written."""
    data = {
        "name": name,
        "power_kw": supply.kilowatts,
        "rated_volts": supply.volts,
        "phases": supply.phases,
        "volume": volume,
        "shape": shape,
        "max": hottest,
        "wall": [{"material": "insulating brick 1260", "thickness": wall}],
    }
    return _checked(
        "kiln",
        "# From the kiln's plate and a rule. 'firing kiln materials' lists other walls;\n"
        "# 'firing kiln fit' learns the rest from logs.\n" + render(data),
    )


def controller_text(name: str, segments: int, unit: TemperatureUnit, waits: bool) -> str:
    """Return a controller file: rates in whole degrees an hour, holds in minutes."""
    fahrenheit = unit == "F"
    data = {
        "name": name,
        "max_segments": segments,
        "unit": unit,
        "notation": "rate",
        "rate_min": 1,
        "rate_max": 999 if fahrenheit else 600,
        "rate_step": 1,
        "target_step": 1,
        "hold_max": "48h",
        "hold_step": "1m",
        "waits": waits,
        "controls_cooling": True,
    }
    return _checked(
        "controller",
        "# Check the limits below against the controller's manual.\n" + render(data),
    )


def tariff_text(currency: str, price_per_kwh: float) -> str:
    """Return a tariff of one price."""
    data = {"currency": currency, "period": [{"price_per_kwh": price_per_kwh}]}
    return _checked("tariff", render(data))


def _checked(kind: str, text: str) -> str:
    file_kind(kind).parse(text, f"{kind}.toml")
    return text
