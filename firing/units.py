"""Temperatures, rates, durations and sizes: parse what people write, print what they read.

Inside the package temperatures are °C, rates °C/h, times seconds, and sizes mm, kg and litres.  °F,
inches, pounds and cubic feet exist at the edges only, and this module is those edges.  A document
has one unit: with °C go mm, kg and litres, with °F go inches, pounds and cubic feet.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from firing.errors import FiringError

TemperatureUnit = Literal["C", "F"]
Size = Literal["length", "mass", "volume"]

SECONDS_PER_MINUTE = 60.0
SECONDS_PER_HOUR = 3600.0
KELVIN_AT_0_C = 273.15  # exact, definition of the Celsius scale (BIPM SI brochure, 9th ed., 2.3.1)
PSI_PER_KPA = 0.1450377
"""NIST SP 811 (2008), B.8: 1 psi = 6.894757 kPa."""
ROOM_C = 20.0
"""The room, where nobody says how warm it is [°C]."""

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_DEGREES = r"(?:(?:°|º|deg(?:rees?)?\.?)\s*)?"
# A pattern is compiled when it is first used: most commands need few of them.
_TEMPERATURE = rf"\s*({_NUMBER})\s*{_DEGREES}([CFcf])?\s*"
_RATE = rf"\s*({_NUMBER})\s*{_DEGREES}([CFcf])?\s*(?:(?:/|\s+per\s+|\s+an\s+)\s*(?:h|hr|hour))?\s*"
_CLOCK_DURATION = re.compile(r"\s*([+-]?)(\d+):([0-5]\d)(?::([0-5]\d))?\s*")
_PART = re.compile(r"(\d+(?:[.,]\d*)?|[.,]\d+)\s*(hours?|hrs?|h|minutes?|mins?|m|seconds?|secs?|s)")
_PART_SECONDS = {"h": SECONDS_PER_HOUR, "m": SECONDS_PER_MINUTE, "s": 1.0}


def celsius_from_fahrenheit(temperature_f: float) -> float:
    """Convert a temperature from °F to °C (exact by definition, NIST SP 811, B.8)."""
    return (temperature_f - 32.0) / 1.8


def fahrenheit_from_celsius(temperature_c: float) -> float:
    """Convert a temperature from °C to °F (exact by definition, NIST SP 811, B.8)."""
    return temperature_c * 1.8 + 32.0


def unit_written(text: str) -> TemperatureUnit | None:
    """Return the unit that a temperature or rate is written in; None if it carries none."""
    match = re.fullmatch(_TEMPERATURE, text) or re.fullmatch(_RATE, text)
    return _unit(match[2], "C") if match is not None and match[2] else None


def common_unit(*texts: str | None) -> TemperatureUnit:
    """Return the unit of the first text that carries one, °C if none does.

    It is that of the plain numbers beside it, and of the answer.
    """
    found = (unit_written(text) for text in texts if text is not None)
    return next((unit for unit in found if unit is not None), "C")


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
    # A comma before three digits groups thousands for some and begins decimals for others.
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text):
        grouped, decimal = text.replace(",", ""), text.replace(",", ".")
        raise FiringError(f'"{text}" may be {grouped} or {float(decimal):g}; write it so')
    return float(text.replace(",", "."))


def parse_temperature_c(text: str, default_unit: TemperatureUnit = "C") -> float:
    """Read a temperature such as ``1200``, ``1200 °C`` or ``2192F``."""
    match = re.fullmatch(_TEMPERATURE, text)
    if match is None:
        raise FiringError(f'"{text}" is not a temperature; write 1200, 1200C or 2192F')
    return to_celsius(_number(match[1]), _unit(match[2], default_unit))


def parse_rate_c_per_h(text: str, default_unit: TemperatureUnit = "C") -> float:
    """Read a heating or cooling rate such as ``60``, ``60C/h`` or ``108F/h``."""
    match = re.fullmatch(_RATE, text)
    if match is None:
        raise FiringError(f'"{text}" is not a rate; write degrees per hour: 60, 60C/h or 108F/h')
    return rate_to_celsius(_number(match[1]), _unit(match[2], default_unit))


def _unit(letter: str | None, default_unit: TemperatureUnit) -> TemperatureUnit:
    if letter is None:
        return default_unit
    return "F" if letter in "fF" else "C"


@dataclass(frozen=True, slots=True)
class _SizeUnit:
    """A unit of size: what it is in mm, kg or litres, and the unit of temperature it goes with."""

    value: float
    beside: TemperatureUnit
    spellings: str


# Exact by definition: NIST SP 811 (2008), appendix B.8.
_SIZE_UNITS: dict[Size, dict[str, _SizeUnit]] = {
    "length": {
        "mm": _SizeUnit(1.0, "C", r"mm|millimet(?:er|re)s?"),
        "cm": _SizeUnit(10.0, "C", r"cm|centimet(?:er|re)s?"),
        "m": _SizeUnit(1000.0, "C", r"m|met(?:er|re)s?"),
        "in": _SizeUnit(25.4, "F", r"in\.?|inch(?:es)?|\"|″|”"),
        "ft": _SizeUnit(304.8, "F", r"ft\.?|foot|feet|'|′|’"),
    },
    "mass": {
        "kg": _SizeUnit(1.0, "C", r"kgs?|kilos?|kilograms?"),
        "g": _SizeUnit(0.001, "C", r"g|grams?"),
        "lb": _SizeUnit(0.45359237, "F", r"lbs?\.?|pounds?"),
        "oz": _SizeUnit(0.028349523125, "F", r"oz\.?|ounces?"),
    },
    "volume": {
        "l": _SizeUnit(1.0, "C", r"l|lit(?:er|re)s?"),
        "m³": _SizeUnit(1000.0, "C", r"m3|m³|m\^3|cubic met(?:er|re)s?"),
        "cu ft": _SizeUnit(
            28.316846592, "F", r"cu\.?\s*f(?:ee)?t\.?|cf|ft3|ft³|ft\^3|cubic (?:feet|foot|ft)"
        ),
        "cu in": _SizeUnit(0.016387064, "F", r"cu\.?\s*in\.?|in3|in³|in\^3|cubic inch(?:es)?"),
    },
}
SIZE_EXAMPLES: dict[Size, str] = {
    "length": '"2.5 in" or "64 mm"',
    "mass": '"12 lb" or "5.4 kg"',
    "volume": '"7 cu ft" or "198 l"',
}
_SHOWN_IN: dict[Size, dict[TemperatureUnit, str]] = {
    "length": {"C": "mm", "F": "in"},
    "mass": {"C": "kg", "F": "lb"},
    "volume": {"C": "l", "F": "cu ft"},
}
_FRACTIONS = {"¼": 0.25, "½": 0.5, "¾": 0.75, "⅛": 0.125, "⅜": 0.375, "⅝": 0.625, "⅞": 0.875}
_SIZE_NUMBER = (
    rf"(?:(?:\d+[\s-]\s*)?\d+\s*/\s*[1-9]\d*|\d*\s*[{''.join(_FRACTIONS)}]"
    r"|\d+(?:[.,]\d*)?|[.,]\d+)"
)
_SIZES: dict[Size, str] = {
    size: (
        rf"(?i)\s*({_SIZE_NUMBER})\s*(?:"
        + "|".join(f"(?P<u{i}>{unit.spellings})" for i, unit in enumerate(units.values()))
        + r")(?![a-z0-9³])"
    )
    for size, units in _SIZE_UNITS.items()
}


def parse_size(text: str, size: Size) -> tuple[float, TemperatureUnit]:
    """Read a size such as ``2.5 in``, ``2 1/2"``, ``12 lb 4 oz``, ``7 cu ft`` or ``64 mm``.

    The unit has to be in it.  With the size [mm, kg or l] goes the unit of temperature used with
    the units written, °F with inches and pounds.
    """
    total, position, beside = 0.0, 0, set[TemperatureUnit]()
    units = tuple(_SIZE_UNITS[size].values())
    while match := re.compile(_SIZES[size]).match(text, position):
        place = next(i for i in range(len(units)) if match[f"u{i}"])
        total += _size_number(match[1]) * units[place].value
        beside.add(units[place].beside)
        position = match.end()
    if text[position:].strip() or len(beside) != 1:
        wanted = f"write {SIZE_EXAMPLES[size]}"
        if re.fullmatch(rf"\s*{_SIZE_NUMBER}\s*", text):
            raise FiringError(f'"{text}" names no unit; {wanted}')
        raise FiringError(f'"{text}" is no {size}; {wanted}')
    return total, beside.pop()


def _size_number(text: str) -> float:
    whole, total = text.strip(), 0.0
    if whole and whole[-1] in _FRACTIONS:
        whole, total = whole[:-1].strip(), _FRACTIONS[whole[-1]]
    if "/" in whole:
        before, _, below = whole.rpartition("/")
        *units, above = before.replace("-", " ").split()
        return sum(map(float, units)) + float(above) / float(below)
    return total + (_number(whole) if whole else 0.0)


def from_base_size(value: float, size: Size, unit: TemperatureUnit) -> float:
    """Return a size in mm, kg or l in what goes with `unit`: in, lb or cu ft with °F."""
    return value / _SIZE_UNITS[size][_SHOWN_IN[size][unit]].value


def write_size(value: float, size: Size, unit: TemperatureUnit) -> str:
    """Return a size in the notation files use, ``2.5 in``; `parse_size` reads it back."""
    return f"{round(from_base_size(value, size, unit), 6):.10g} {_SHOWN_IN[size][unit]}"


_EIGHTHS_FROM_IN = 0.5
_FRACTION_OFF = 1 / 12


def format_size(
    value: float, size: Size, unit: TemperatureUnit = "C", *, by_rule: bool = True
) -> str:
    """Return a size for reading: ``64 mm``, ``2 1/2 in`` or ``6.4 cu ft``.

    Inches are told as a rule has them, in eighths and below half an inch in sixteenths, where that
    is near; all else has three figures, and cubic feet one decimal.  A bound wants three figures
    always: not `by_rule`.
    """
    shown, name = from_base_size(value, size, unit), _SHOWN_IN[size][unit]
    parts = 8 if shown >= _EIGHTHS_FROM_IN else 16
    count = round(shown * parts)
    if by_rule and name == "in" and abs(count / parts - shown) < _FRACTION_OFF * shown:
        whole, rest = divmod(count, parts)
        common = math.gcd(rest, parts)
        fraction = f"{rest // common}/{parts // common}" if rest else ""
        return f"{' '.join(filter(None, (f'{whole}' if whole else '', fraction)))} {name}"
    digits = 2 - math.floor(math.log10(shown)) if shown > 0.0 else 0
    digits = min(digits, 1) if by_rule and name == "cu ft" and shown >= 1.0 else digits
    return f"{round(shown, max(digits, 0)):.10g} {name}"


def parse_duration_s(text: str) -> float:
    """Read a duration such as ``6h``, ``1h30m``, ``90m``, ``45s`` or ``1:30`` (h:mm).

    A bare number is refused: nobody can tell whether 30 means minutes or hours.
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


def write_temperature(temperature_c: float, unit: TemperatureUnit) -> str:
    """Return a temperature in the notation files use, ``2192F``; `parse_temperature_c` reads it."""
    return f"{round(from_celsius(temperature_c, unit), 6):.10g}{unit}"


def write_rate(rate_c_per_h: float, unit: TemperatureUnit) -> str:
    """Return a rate in the notation files use, ``108F/h``; `parse_rate_c_per_h` reads it back."""
    return f"{round(rate_from_celsius(rate_c_per_h, unit), 6):.10g}{unit}/h"


def format_duration(duration_s: float, *, signed: bool = False) -> str:
    """Return a duration for reading, to the minute: ``6 h 05 min``; seconds below two minutes.

    `signed` puts a plus sign before what is above zero, as differences want.
    """
    sign = "−" if duration_s < 0 else ("+" if signed and duration_s > 0 else "")
    size_s = abs(duration_s)
    if size_s < 119.5:
        return f"{sign}{size_s:.0f} s" if size_s >= 0.5 else "0 min"
    minutes = round(size_s / SECONDS_PER_MINUTE)
    if minutes < 60:
        return f"{sign}{minutes} min"
    return f"{sign}{minutes // 60} h {minutes % 60:02d} min"


def format_hold(hold_s: float) -> str:
    """Return a hold as it is keyed, ``1 min`` or ``1 h 05 min``; seconds where it has a part."""
    minutes, rest_s = divmod(round(hold_s), int(SECONDS_PER_MINUTE))
    return "1 min" if (minutes, rest_s) == (1, 0) else format_duration(hold_s)


def hours_minutes(duration_s: float | None, *, signed: bool = False) -> str:
    """Return a duration for a table, ``1:05`` (h:mm) to the minute; a dash for None."""
    if duration_s is None:
        return "–"
    minutes = round(abs(duration_s) / SECONDS_PER_MINUTE)
    sign = "" if minutes == 0 else "−" if duration_s < 0 else "+" if signed else ""
    return f"{sign}{minutes // 60}:{minutes % 60:02d}"


def minutes_adding_up(parts_s: Sequence[float], total_min: int) -> list[int]:
    """Return durations in whole minutes, each rounded so that together they make the total.

    The parts with the largest remainders are rounded up (Hamilton's method of apportionment).
    Where the total is further off than rounding makes it, every part is rounded by itself.
    """
    exact = [part_s / SECONDS_PER_MINUTE for part_s in parts_s]
    floors = [math.floor(minutes) for minutes in exact]
    missing = total_min - sum(floors)
    if not 0 <= missing <= len(exact):
        return [round(minutes) for minutes in exact]
    by_remainder = sorted(range(len(exact)), key=lambda i: floors[i] - exact[i])
    for i in by_remainder[:missing]:
        floors[i] += 1
    return floors


def format_temperature(
    temperature_c: float, unit: TemperatureUnit = "C", *, digits: int = 0
) -> str:
    """Return a temperature for reading, ``1222 °C`` or ``2232 °F``."""
    return f"{from_celsius(temperature_c, unit):.{digits}f} °{unit}"


def temperature_figure(temperature_c: float, unit: TemperatureUnit) -> str:
    """Return a temperature for a table whose header has the unit."""
    return f"{from_celsius(temperature_c, unit):.0f}"


def format_rate(rate_c_per_h: float, unit: TemperatureUnit = "C") -> str:
    """Return a rate for reading, ``60 °C/h`` or ``108 °F/h``."""
    return f"{rate_from_celsius(rate_c_per_h, unit):.0f} °{unit}/h"


_HOURS_AND_MINUTES = re.compile(r"(?<=\d) h (?=\d\d min)")
_VALUE_AND_UNIT = re.compile(r"(?<=\d) (?=(?:h|min|s|kW|°[CF]|%)(?!\w))")


def join_units(text: str) -> str:
    """Return `text` with no-break spaces between numbers and their units."""
    return _VALUE_AND_UNIT.sub("\N{NO-BREAK SPACE}", _HOURS_AND_MINUTES.sub("\u00a0h\u00a0", text))


_DECIMAL = r"\d+(?:\.\d+)?"
_METRIC = (
    rf"(?<![\w.])(?P<before>±\s?|\b(?:last|every|by|by up to|within|off by|at least by)\s)?"
    rf"(?P<first>[−-]?{_DECIMAL})(?:(?P<between>-|\s?(?:to|and|or|–)\s?)(?P<second>{_DECIMAL}))?"
    r"(?P<space>[ \N{NO-BREAK SPACE}])(?P<unit>°C/h|°C|mm|kg|kPa|K|l)"
    r"(?P<after>\s(?:or more\s)?(?:below|above|behind|hotter|cooler|colder|higher|lower|too|apart|"
    r"more|less)\b)?"
    r"(?![\w/³²])"
)


def in_unit(words: str, unit: TemperatureUnit) -> str:
    """Return a sentence with its metric figures in the units that go with `unit`.

    The rooms below the reports write their reasons in °C, mm and kg; a document speaks one unit.
    A figure after ± or "by", or before "above" or "lower", is taken for a difference.
    """
    if unit == "C":
        return words
    # the trade's rule for a soak is told in quarters of an inch
    return re.sub(_METRIC, _spoken, re.sub(r"\b(per|every) 6 mm\b", r"\1 1/4 in", words))


def _spoken(match: re.Match[str]) -> str:
    kind = match["unit"]
    figures = [float(match[name].replace("−", "-")) for name in ("first", "second") if match[name]]
    difference = bool(match["before"] or match["after"])
    texts = []
    for given, value in zip(("first", "second"), figures, strict=False):
        decimals = len(match[given].partition(".")[2])
        if kind in ("°C/h", "K") or (kind == "°C" and difference):
            text = f"{rate_from_celsius(value, 'F'):.{decimals}f}"
        elif kind == "kPa":
            text = f"{value * PSI_PER_KPA:.{decimals}f}"
        elif kind == "°C":
            text = f"{fahrenheit_from_celsius(value):.{decimals}f}"
        else:
            size: Size = "length" if kind == "mm" else "mass" if kind == "kg" else "volume"
            text = format_size(value, size, "F").removesuffix(f" {_SHOWN_IN[size]['F']}")
        texts.append(text.replace("-", "−"))
    shown = {"°C/h": "°F/h", "°C": "°F", "K": "°F", "kPa": "psi", "mm": "in", "kg": "lb"}.get(
        kind, "cu ft"
    )
    between = match["between"] or ""
    return (
        f"{match['before'] or ''}{between.join(texts)}{match['space']}{shown}{match['after'] or ''}"
    )


@dataclass(frozen=True, slots=True)
class Wording:
    """How a report of one unit writes its figures."""

    unit: TemperatureUnit

    def degrees(self, temperature_c: float) -> str:
        """Return a temperature."""
        return format_temperature(temperature_c, self.unit)

    def rate(self, rate_c_per_h: float) -> str:
        """Return a rate."""
        return format_rate(rate_c_per_h, self.unit)

    def difference(self, difference_k: float, *, signed: bool = False) -> str:
        """Return a difference of temperatures in whole degrees."""
        value = rate_from_celsius(difference_k, self.unit)
        sign = "−" if round(value) < 0 else "+" if signed else ""
        return f"{sign}{abs(value):.0f} °{self.unit}"

    def finely(self, difference_k: float, *, signed: bool = False) -> str:
        """Return a difference of temperatures to a tenth."""
        value = round(rate_from_celsius(difference_k, self.unit), 1)
        sign = "−" if value < 0 else "+" if signed else ""
        return f"{sign}{abs(value):.1f} °{self.unit}"
