"""What the values of a schedule file may be: one check a kind of value.

Each returns the value or raises `ValueError` with a whole sentence: what, the limit with its unit,
what to write instead.  They stand apart from the file's schema so that a file without a fault is
read without loading the library that names faults.
"""

import math
from collections.abc import Callable
from typing import Any

from firing.errors import FiringError
from firing.files.tomlfile import clean, shown, suggest
from firing.units import (
    SECONDS_PER_HOUR,
    TemperatureUnit,
    from_celsius,
    parse_duration_s,
    rate_from_celsius,
    to_celsius,
)

# They catch slips of the key, not unsafe plans: an electric kiln for stoneware ends near 1300 °C
# and the hottest cone of the chart at 1384 °C.
TARGET_C = (0.0, 1450.0)
RATE_C_PER_H = (0.5, 2000.0)
HOLD_S = (0.0, 100 * SECONDS_PER_HOUR)
MAX_SEGMENTS = 99


def _number(value: Any, example: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        shown = f'"{clean(value)}"' if isinstance(value, str) else str(value).lower()
        raise ValueError(f"{shown} stands where a number is wanted; write {example}")
    return float(value)


def _range(low_c: float, high_c: float, unit: TemperatureUnit, rate: bool = False) -> str:
    convert = rate_from_celsius if rate else from_celsius
    suffix = "/h" if rate else ""
    return f"{convert(low_c, unit):g} to {convert(high_c, unit):g} °{unit}{suffix}"


def check_temperature(value: Any, unit: TemperatureUnit, key: str) -> float:
    """Return a temperature in `unit` if it is one a file may ask for; `key` is its name there."""
    example = f"{key} = {from_celsius(900, unit):g}"
    number = _number(value, example)
    if not TARGET_C[0] <= to_celsius(number, unit) <= TARGET_C[1]:
        raise ValueError(
            f"{number:g} °{unit} is outside {_range(*TARGET_C, unit)}; write {example}"
        )
    return number


def check_rate(value: Any, unit: TemperatureUnit) -> float | str:
    """Return a rate in degrees of `unit` per hour, ``"unlimited"`` or ``"off"``."""
    words = f'a rate in {_range(*RATE_C_PER_H, unit, rate=True)}, "unlimited" or "off"'
    if isinstance(value, str):
        if value in ("unlimited", "off"):
            return value
        raise ValueError(f'"{clean(value)}" is not a rate; write {words}')
    number = _number(value, words)
    if number == 0:
        raise ValueError(f"0 °{unit}/h never arrives; write {words}")
    if number < 0:
        raise ValueError(
            f"{number:g} °{unit}/h is negative; write {-number:g}: whether it heats or cools "
            "follows from the target"
        )
    low, high = (rate_from_celsius(limit, unit) for limit in RATE_C_PER_H)
    if not low <= number <= high:
        raise ValueError(f"{number:g} °{unit}/h is out of reach; write {words}")
    return number


def check_hold(value: Any) -> str:
    """Return a hold as it is written if it is a duration of 0 to 100 h."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError('a hold is text; write "30m", "6h", "1h30m" or "1:30" (h:mm)')
    try:
        hold_s = parse_duration_s(clean(str(value)))
    except FiringError as error:
        raise ValueError(str(error)) from None
    if hold_s > HOLD_S[1]:
        raise ValueError(
            f'"{value}" is longer than {HOLD_S[1] / SECONDS_PER_HOUR:.0f} h; write 0 to '
            f'{HOLD_S[1] / SECONDS_PER_HOUR:.0f} h, like "30m"'
        )
    return str(value)


def one_line(longest: int) -> Callable[[Any], str]:
    """Return a check for text on one plain line of at most `longest` characters."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError(f"{str(value).lower()} stands where text in quotes is wanted")
        if clean(value) != value:
            raise ValueError("holds a line break or control character; write it on one plain line")
        if len(value) > longest:
            raise ValueError(f"is {len(value)} characters long; write at most {longest}")
        return value

    return check


def check_text(value: Any) -> str:
    """Return text of any number of lines, control characters made visible."""
    if not isinstance(value, str):
        raise ValueError(f"{str(value).lower()} stands where text in quotes is wanted")
    return "\n".join(clean(line) for line in value.splitlines())


def check_title(value: Any) -> str:
    """Return a title if it says something."""
    title = one_line(120)(value)
    if not title.strip():
        raise ValueError('is empty; write what is fired and why, like title = "Mugs, bone dry"')
    return title


def one_of(words: tuple[str, ...]) -> Callable[[Any], str]:
    """Return a check for one of a few words."""

    def check(value: Any) -> str:
        if value not in words:
            raise ValueError(f"{shown(value)} is not known; {suggest(str(value), words)}")
        return str(value)

    return check


check_line = one_line(200)
