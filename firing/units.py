"""Temperatures, rates and durations: parse what people write, print what they read.

Inside the package temperatures are °C, rates °C/h and times seconds.  °F exists at the edges only,
and this module is those edges.
"""

import re
from typing import Literal

from firing.errors import FiringError

TemperatureUnit = Literal["C", "F"]

SECONDS_PER_MINUTE = 60.0
SECONDS_PER_HOUR = 3600.0
KELVIN_AT_0_C = 273.15  # exact, definition of the Celsius scale (BIPM SI brochure, 9th ed., 2.3.1)
ROOM_C = 20.0
"""The room, where nobody says how warm it is [°C]."""

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_TEMPERATURE = re.compile(rf"\s*({_NUMBER})\s*(?:°\s*)?([CFcf])?\s*")
_RATE = re.compile(
    rf"\s*({_NUMBER})\s*(?:°\s*)?([CFcf])?\s*(?:(?:/|\s+per\s+)\s*(?:h|hr|hour))?\s*"
)
_CLOCK_DURATION = re.compile(r"\s*([+-]?)(\d+):([0-5]\d)(?::([0-5]\d))?\s*")
_PART = re.compile(r"(\d+(?:[.,]\d*)?|[.,]\d+)\s*(hours?|hrs?|h|minutes?|mins?|m|seconds?|secs?|s)")
_PART_SECONDS = {"h": SECONDS_PER_HOUR, "m": SECONDS_PER_MINUTE, "s": 1.0}


def celsius_from_fahrenheit(temperature_f: float) -> float:
    """Convert a temperature from °F to °C (exact by definition, NIST SP 811, B.8)."""
    return (temperature_f - 32.0) / 1.8


def fahrenheit_from_celsius(temperature_c: float) -> float:
    """Convert a temperature from °C to °F (exact by definition, NIST SP 811, B.8)."""
    return temperature_c * 1.8 + 32.0


def to_celsius(value: float, unit: TemperatureUnit) -> float:
    """Return a temperature given in `unit` as °C."""
    return value if unit == "C" else celsius_from_fahrenheit(value)


def from_celsius(temperature_c: float, unit: TemperatureUnit) -> float:
    """Return a temperature in °C as a number in `unit`."""
    return temperature_c if unit == "C" else fahrenheit_from_celsius(temperature_c)


def rate_to_celsius(value: float, unit: TemperatureUnit) -> float:
    """Return a rate given in degrees of `unit` per hour as °C/h."""
    return value if unit == "C" else value / 1.8


def rate_from_celsius(rate_c_per_h: float, unit: TemperatureUnit) -> float:
    """Return a rate in °C/h as degrees of `unit` per hour."""
    return rate_c_per_h if unit == "C" else rate_c_per_h * 1.8


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def parse_temperature_c(text: str, default_unit: TemperatureUnit = "C") -> float:
    """Read a temperature such as ``1200``, ``1200 °C`` or ``2192F``.

    Parameters
    ----------
    text : str
        What a person wrote.
    default_unit : {"C", "F"}
        The unit of a bare number.

    Returns
    -------
    float
        The temperature [°C].

    Raises
    ------
    FiringError
        If `text` is not one temperature.
    """
    match = _TEMPERATURE.fullmatch(text)
    if match is None:
        raise FiringError(f'"{text}" is not a temperature; write 1200, 1200C or 2192F')
    return to_celsius(_number(match[1]), _unit(match[2], default_unit))


def parse_rate_c_per_h(text: str, default_unit: TemperatureUnit = "C") -> float:
    """Read a heating or cooling rate such as ``60``, ``60C/h`` or ``108F/h``.

    Parameters
    ----------
    text : str
        What a person wrote.
    default_unit : {"C", "F"}
        The unit of a bare number.

    Returns
    -------
    float
        The rate [°C/h].

    Raises
    ------
    FiringError
        If `text` is not one rate.
    """
    match = _RATE.fullmatch(text)
    if match is None:
        raise FiringError(f'"{text}" is not a rate; write degrees per hour: 60, 60C/h or 108F/h')
    return rate_to_celsius(_number(match[1]), _unit(match[2], default_unit))


def _unit(letter: str | None, default_unit: TemperatureUnit) -> TemperatureUnit:
    if letter is None:
        return default_unit
    return "F" if letter in "fF" else "C"


def parse_duration_s(text: str) -> float:
    """Read a duration such as ``6h``, ``1h30m``, ``90m``, ``45s`` or ``1:30`` (h:mm).

    A bare number is refused: nobody can tell whether 30 means minutes or hours.

    Parameters
    ----------
    text : str
        What a person wrote.

    Returns
    -------
    float
        The duration [s], never negative.

    Raises
    ------
    FiringError
        If `text` is not a duration, is negative or names no unit.
    """
    stripped = text.strip().lower()
    clock = _CLOCK_DURATION.fullmatch(stripped)
    if clock is not None:
        if clock[1] == "-":
            raise FiringError(f'"{text}" is negative; a duration is 0 or more, like "1:30" (h:mm)')
        seconds = float(clock[4] or 0)
        return float(clock[2]) * SECONDS_PER_HOUR + float(clock[3]) * SECONDS_PER_MINUTE + seconds
    if stripped.startswith("-"):
        raise FiringError(f'"{text}" is negative; a duration is 0 or more, like "30m"')
    total_s, position, seen = 0.0, 0, set[str]()
    for match in _PART.finditer(stripped):
        letter = match[2][0]
        if stripped[position : match.start()].strip() or letter in seen:
            break
        seen.add(letter)
        total_s += _number(match[1]) * _PART_SECONDS[letter]
        position = match.end()
    if not seen or stripped[position:].strip():
        if re.fullmatch(_NUMBER, stripped):
            if _number(stripped) == 0:
                return 0.0
            raise FiringError(f'"{text}" names no unit; write "{stripped}m" or "{stripped}h"')
        raise FiringError(
            f'"{text}" is not a duration; write "6h", "1h30m", "90m" or "1:30" (h:mm)'
        )
    return total_s


def write_duration(duration_s: float) -> str:
    """Return a duration in the notation files use, ``1h30m``; the inverse of `parse_duration_s`."""
    if duration_s < 0:
        raise FiringError(f"{duration_s:g} s is negative; a duration is 0 or more")
    whole_s = round(duration_s, 3)
    hours, rest_s = divmod(whole_s, SECONDS_PER_HOUR)
    minutes, seconds = divmod(rest_s, SECONDS_PER_MINUTE)
    parts = [f"{int(hours)}h" if hours else "", f"{int(minutes)}m" if minutes else ""]
    seconds = round(seconds, 3)
    parts.append(f"{seconds:.3f}".rstrip("0").rstrip(".") + "s" if seconds else "")
    return "".join(parts) or "0m"


def format_duration(duration_s: float, *, signed: bool = False) -> str:
    """Return a duration for reading, to the minute: ``6 h 05 min``; seconds below two minutes.

    Parameters
    ----------
    duration_s : float
        The duration [s]; may be negative.
    signed : bool
        Put a plus sign before what is above zero, as differences want.
    """
    sign = "−" if duration_s < 0 else ("+" if signed and duration_s > 0 else "")
    size_s = abs(duration_s)
    if size_s < 119.5:
        return f"{sign}{size_s:.0f} s" if size_s >= 0.5 else "0 min"
    minutes = round(size_s / SECONDS_PER_MINUTE)
    if minutes < 60:
        return f"{sign}{minutes} min"
    return f"{sign}{minutes // 60} h {minutes % 60:02d} min"


def format_temperature(
    temperature_c: float, unit: TemperatureUnit = "C", *, digits: int = 0
) -> str:
    """Return a temperature for reading, ``1222 °C`` or ``2232 °F``."""
    return f"{from_celsius(temperature_c, unit):.{digits}f} °{unit}"


def format_rate(rate_c_per_h: float, unit: TemperatureUnit = "C") -> str:
    """Return a rate for reading, ``60 °C/h`` or ``108 °F/h``."""
    return f"{rate_from_celsius(rate_c_per_h, unit):.0f} °{unit}/h"
