"""How far off a thermocouple may be: as delivered by its class, and after its hours in the heat.

The figures of the classes are those of IEC 60584-1 (1 to 3) and ASTM E230 (standard and special),
with the range each holds in.  None is stretched beyond its range.

No figure of °C per 100 hours is computed, as none that can be cited was found for bare type K or N
in air (``thermocouple-ageing-practice``): hours are counted, the direction is put in words, and
witness cones tell the rest.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from firing.errors import FiringError
from firing.serialise import Serialised
from firing.trace import Trace
from firing.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from firing.thermocouple.reference import ThermocoupleType

#: Classes of each standard, as they are written in files.
CLASSES: dict[str, tuple[str, ...]] = {
    "IEC 60584-1": ("1", "2", "3"),
    "ASTM E230": ("standard", "special"),
}


def _letter(type: str) -> ThermocoupleType:
    from firing.thermocouple.reference import parse_type  # not needed where hours are only added up

    return parse_type(type)


@dataclass(frozen=True)
class ToleranceRow:
    """One row of a standard's table."""

    # Which standard, thermocouple type and class.
    standard: str
    type: ThermocoupleType
    class_name: str
    # The range it holds in, both ends included [°C].
    from_c: float
    to_c: float
    floor_c: float  # the least tolerance, ± [°C]
    fraction: float  # tolerance per degree Celsius [1]
    offset_c: float  # where above 0 °C the fraction begins to count, on top of the floor [°C]
    source: str  # entry of the bibliography

    def value_c(self, temperature_c: float) -> float:
        """Return the tolerance at a temperature of its range, ± [°C]."""
        if self.offset_c > 0.0:
            return self.floor_c + self.fraction * (temperature_c - self.offset_c)
        return max(self.floor_c, self.fraction * abs(temperature_c))


@dataclass(frozen=True)
class Tolerance:
    """The answer for one temperature."""

    # The tolerance as delivered, ± [°C]; None where the class promises nothing.
    value_c: float | None
    reason: str  # where the figure is from, or why there is none, in one clause without a full stop
    source: str  # entry of the bibliography
    # Whether the class ends below that temperature, so that its last figure is the least to reckon
    # with.
    at_least: bool = False
    ends_c: float = math.inf  # where the class ends, if that is so [°C]


@cache
def tolerance_rows() -> tuple[ToleranceRow, ...]:
    """Return every row (sources ``iec-60584-1`` and ``astm-e230``), in the order of the file."""
    path = Path(__file__).parent.parent / "data" / "thermocouple_tolerances.csv"
    rows = csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    return tuple(
        ToleranceRow(
            standard=row["standard"].partition(":")[0],
            type=_letter(row["type"]),
            class_name=row["class"],
            from_c=float(row["from_c"]),
            to_c=float(row["to_c"]),
            floor_c=float(row["floor_c"]),
            fraction=float(row["fraction"]),
            offset_c=float(row["offset_c"]),
            source=row["source"],
        )
        for row in rows
    )


def tolerance_c(
    type: str, class_name: str, temperature_c: float, standard: str | None = None
) -> Tolerance:
    """Return the tolerance of a class at a temperature, or why it promises none.

    Classes are ``1``, ``2`` and ``3`` (IEC 60584-1), ``standard`` and ``special`` (ASTM E230);
    `standard` says whose it is where the class itself does not.
    """
    letter = _letter(type)
    name, whose = _class(class_name, standard)
    if temperature_c != temperature_c:
        raise FiringError("a tolerance needs a temperature in °C, such as 1200, and got no number")
    own = [row for row in tolerance_rows() if row.standard == whose and row.type == letter]
    rows = [row for row in own if row.class_name == name]
    source = next(row.source for row in tolerance_rows() if row.standard == whose)
    label = f"class {name}" if name.isdigit() else f"{name} tolerance"
    if not rows:
        others = " and ".join(dict.fromkeys(row.class_name for row in own))
        there = f", only {others}" if others else ", nor any other"
        return Tolerance(
            None, f"no {label} of {whose} for type {letter} is in the table here{there}", source
        )
    for row in rows:
        if row.from_c <= temperature_c <= row.to_c:
            return Tolerance(
                row.value_c(temperature_c),
                f"{label} of {whose} for type {letter}, as delivered",
                source,
            )
    low_c, high_c = min(row.from_c for row in rows), max(row.to_c for row in rows)
    end = f"ends at {high_c:g}" if temperature_c > high_c else f"begins at {low_c:g}"
    return Tolerance(
        None,
        f"{label} of {whose} for type {letter} {end} °C and promises nothing at "
        f"{temperature_c:g} °C",
        source,
    )


def least_tolerance_c(type: str, class_name: str, temperature_c: float) -> Tolerance:
    """Return the tolerance to reckon with: above the end of a class, at least its last figure.

    Nothing is promised up there; leaving the error out would make a range narrow where the
    thermocouple is known least.
    """
    found = tolerance_c(type, class_name, temperature_c)
    letter, (name, _) = _letter(type), _class(class_name, None)
    ends_c = max(
        (row.to_c for row in tolerance_rows() if (row.type, row.class_name) == (letter, name)),
        default=temperature_c,
    )
    if found.value_c is not None or temperature_c <= ends_c:
        return found
    return replace(tolerance_c(type, class_name, ends_c), at_least=True, ends_c=ends_c)


def _class(class_name: str, standard: str | None) -> tuple[str, str]:
    """Return a class and its standard in their own spelling."""
    name = class_name.strip().casefold().removeprefix("class").strip()
    whose = next((known for known, classes in CLASSES.items() if name in classes), None)
    if whose is None:
        known = ", ".join(f"{' or '.join(names)} ({of})" for of, names in CLASSES.items())
        raise FiringError(f'"{class_name}" is no thermocouple class; write {known}')
    if standard is not None and standard not in CLASSES:
        raise FiringError(
            f'"{standard}" is no standard of thermocouple tolerances here; write '
            f"{' or '.join(CLASSES)}"
        )
    if standard is not None and standard != whose:
        raise FiringError(
            f"{standard} has no class {name}; write {' or '.join(CLASSES[standard])}, or leave the "
            f"standard out for {whose}"
        )
    return name, whose


#: Levels the hours are counted above [°C].
LEVELS_C = (900.0, 1100.0, 1200.0)

_AGEING = "thermocouple-ageing-practice"
_ORDERING = "type-k-ordering-practice"


@dataclass(frozen=True)
class Exposure:
    """Hours of one thermocouple above each level.

    Attributes
    ----------
    levels_c : tuple of float
        The levels [°C].
    hours : tuple of float
        Hours above each [h].
    """

    levels_c: tuple[float, ...]
    hours: tuple[float, ...]

    def __add__(self, other: Exposure) -> Exposure:
        """Return the hours of two firings together."""
        if self.levels_c != other.levels_c:
            raise FiringError(
                f"hours above {_listed(self.levels_c)} °C cannot be added to hours above "
                f"{_listed(other.levels_c)} °C; count both above the same levels"
            )
        both = zip(self.hours, other.hours, strict=True)
        return Exposure(self.levels_c, tuple(one + another for one, another in both))

    def to_dict(self) -> dict[str, float]:
        """Return the hours keyed for JSON, ``hours_above_900_c`` and so on."""
        both = zip(self.levels_c, self.hours, strict=True)
        return {f"hours_above_{level:g}_c": round(hours, 3) for level, hours in both}


def _listed(levels_c: tuple[float, ...]) -> str:
    return ", ".join(f"{level:g}" for level in levels_c)


def exposure(
    trace: Trace, channel: int | str = 0, levels_c: tuple[float, ...] = LEVELS_C
) -> Exposure:
    """Return how long one channel of a trace was above each level.

    Between its readings the trace is taken to run straight, across gaps too.
    """
    if not np.isfinite(trace.channel_c(channel)).any():
        name = channel if isinstance(channel, str) else trace.channels[channel]
        raise FiringError(
            f'channel "{name}" has no reading, so its hours cannot be counted; choose another of: '
            f"{', '.join(trace.channels)}"
        )
    seconds = (trace.seconds_above(level_c, channel) for level_c in levels_c)
    return Exposure(tuple(levels_c), tuple(each / SECONDS_PER_HOUR for each in seconds))


@dataclass(frozen=True)
class DriftRemark(Serialised):
    """One sentence about ageing and the source it rests on."""

    text: str
    source: str


def drift_remarks(type: str) -> tuple[DriftRemark, ...]:
    """Return what is known of the way a type drifts in a kiln, in words, never in degrees per hour.

    The last one is what to do.
    """
    letter = _letter(type)
    return (*_direction(letter), _WITNESS)


_WITNESS = DriftRemark(
    "How much cannot be said from hours alone: set witness cones, and replace the thermocouple "
    "when cones and thermocouple disagree.",
    _AGEING,
)


def _direction(type: ThermocoupleType) -> tuple[DriftRemark, ...]:
    if type in ("K", "N"):
        ageing = DriftRemark(
            f"A bare type {type} in air usually reads high with age, so the kiln is colder than "
            "it says; after long firings with little oxygen between 800 and 1050 °C (green rot) "
            "it reads low, and the kiln is hotter.",
            _AGEING,
        )
        ordering = DriftRemark(
            "Ordering in the alloy moves a type K by 1 to 4 °C between 250 and 600 °C; that is no "
            "fault.",
            _ORDERING,
        )
        return (ageing, ordering) if type == "K" else (ageing,)
    if type in ("S", "R", "B"):
        return (
            DriftRemark(
                f"Type {type} usually reads low with age, so the kiln is hotter than it says.",
                _AGEING,
            ),
        )
    return (
        DriftRemark(f"Which way type {type} drifts in a kiln is not known to this tool.", _AGEING),
    )
