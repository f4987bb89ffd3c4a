"""From what an instrument gives, °C, °F or mV, to °C, one number at a time."""

import math
from collections.abc import Callable
from typing import Literal

from firing.capture.reading import Status
from firing.errors import FiringError
from firing.units import celsius_from_fahrenheit

SourceUnit = Literal["C", "F", "mV"]
JUNCTION_FIELD = "junction"
OUTPUT_FIELD = "output"
"""Names of what is no channel: the reference junction, and the controller's output in percent."""

Converter = Callable[[float, float | None], tuple[float, Status]]
"""Takes a number and the reference junction [°C] or None; gives °C and what is held against it."""


def plain_converter(unit: SourceUnit) -> Converter:
    """Return the converter of a unit that is a temperature's; refuse millivolts."""
    if unit == "C":
        return lambda value, junction_c: (value, Status.OK)
    if unit == "F":
        return lambda value, junction_c: (celsius_from_fahrenheit(value), Status.OK)
    raise FiringError(
        "millivolts mean a temperature only for a stated thermocouple and reference junction; give "
        'the type, like "K", and the junction\'s temperature or a field "junction"'
    )


def thermocouple_converter(type: str, junction_c: float | None) -> Converter:
    """Return the converter of uncompensated millivolts.

    `junction_c` is the reference junction [°C]; None where every line brings its own.
    """
    import numpy as np

    from firing.thermocouple.junction import convert
    from firing.thermocouple.reference import Reason

    meaning = {
        Reason.OK: Status.OK,
        Reason.MISSING: Status.MISSING,
        Reason.ABOVE: Status.OVERLOAD,
        Reason.BELOW: Status.OUT_OF_SPAN,
        Reason.MAYBE_REVERSED: Status.REVERSED,
        Reason.AMBIGUOUS: Status.TOO_COLD,
        Reason.NO_JUNCTION: Status.NO_JUNCTION,
    }
    # One conversion now refuses a wrong type or junction before a firing begins.
    convert(np.array([1.0]), type, 25.0 if junction_c is None else junction_c)

    def converter(value_mv: float, own_junction_c: float | None) -> tuple[float, Status]:
        at_c = junction_c if junction_c is not None else own_junction_c
        at = np.array([math.nan if at_c is None else at_c])
        result = convert(np.array([value_mv]), type, at)
        return float(result.temperature_c[0]), meaning[Reason(int(result.reasons[0]))]

    return converter


def converter_for(unit: SourceUnit, type: str | None, junction_c: float | None) -> Converter:
    """Return the converter for a unit, with the thermocouple that millivolts need."""
    if unit == "mV" and type is not None:
        return thermocouple_converter(type, junction_c)
    return plain_converter(unit)
