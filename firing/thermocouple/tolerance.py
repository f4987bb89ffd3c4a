"""What a thermocouple's class promises, as delivered, and where it promises nothing.

The figures are those of IEC 60584-1 (classes 1 to 3) and ASTM E230 (standard and special), with
the range each holds in.  None is stretched beyond its range.
"""

import csv
import math
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from firing.errors import FiringError
from firing.thermocouple.reference import ThermocoupleType, parse_type

#: Classes of each standard, as they are written in files.
CLASSES: dict[str, tuple[str, ...]] = {
    "IEC 60584-1": ("1", "2", "3"),
    "ASTM E230": ("standard", "special"),
}


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
            type=parse_type(row["type"]),
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
    letter = parse_type(type)
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
    letter, (name, _) = parse_type(type), _class(class_name, None)
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
