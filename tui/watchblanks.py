"""The fields of the form about a watch; they are named like the options of `firing watch`."""

from __future__ import annotations

from typing import Any, Literal

from firing.errors import FiringError
from firing.logs.options import ReadingOptions
from firing.units import (
    TemperatureUnit,
    format_temperature,
    parse_duration_s,
    parse_temperature_c,
    write_duration,
)
from firing.watch.options import LINE_OPTIONS, WatchOptions, parse_command, parse_difference_c

from .reading import reading_blanks
from .screens.filling import Blank

SourceSort = Literal["line", "file", "log"]
"""A port or an address read line by line; a source file that says how; a log to replay."""

_UNITS = (("", "not told: °C"), ("C", "°C"), ("F", "°F"), ("mV", "mV of a thermocouple"))


def watch_blanks(order: WatchOptions, sort: SourceSort, unit: TemperatureUnit) -> list[Blank]:
    """Return the fields for a source, filled in as an order has them.

    Parameters
    ----------
    order : WatchOptions
        What the form begins with.
    sort : {"line", "file", "log"}
        What the source is: not every field has a meaning for each.
    unit : {"C", "F"}
        The unit of temperatures written without one.
    """
    told = {name: order.line.get(name) for name in LINE_OPTIONS}
    blanks = [
        Blank(
            "out",
            "Record to",
            "" if order.out is None else str(order.out),
            "A CSV file; one that is there is continued, never replaced; if its firing is over, "
            "one beside it is made.  Empty: NO recording.",
        ),
        Blank(
            "channel",
            "Kiln's channel",
            order.channel or "",
            "By name or number from 1; empty for the one named like a kiln, or the first.",
        ),
        Blank(
            "top",
            "Top temperature",
            "" if order.top_c is None else format_temperature(order.top_c, unit),
            "Alarm from here on; empty: 20 °C above the plan's peak, or what the kiln stands.",
            lambda text: parse_temperature_c(text, unit) if text.strip() else None,
        ),
        Blank(
            "above",
            "Above plan by",
            f"{order.above_c * _per_c(unit):g}",
            f"Alarm when so many °{unit} above the plan.",
            lambda text: parse_difference_c(text, unit),
        ),
        Blank(
            "lost",
            "Lost after",
            write_duration(order.lost_after_s),
            "Alarm when there is no reading for so long, like 1m.",
            parse_duration_s,
        ),
        Blank(
            "unload",
            "Unload at",
            format_temperature(order.unload_c, unit),
            "Tell when the kiln has cooled to this.",
            lambda text: parse_temperature_c(text, unit),
        ),
        Blank(
            "cones",
            "Tell of cones",
            ", ".join(order.cones),
            "Like 6 or 5, 6; empty: the one the plan comes nearest to.",
            _cones,
        ),
        Blank(
            "command",
            "Run for notices",
            order.command or "",
            "A program with its arguments, the sentence becomes the last; no shell.  Empty: none.",
            _command,
        ),
    ]
    if sort == "log":
        blanks[:0] = [
            Blank(
                "follow",
                "Is the log",
                "yes" if told["follow"] else "",
                "Whether a logger still writes it, or it is replayed; ← → changes it.",
                lambda text: bool(text) or None,
                options=(("", "finished: replay it"), ("yes", "growing: follow it")),
            ),
            Blank(
                "speed",
                "Speed",
                told["speed"] or "max",
                "Times real time: 1, 600, or max for as fast as it goes.",
                when=("follow", ""),
            ),
        ]
    if sort == "log":
        return blanks + reading_blanks(order.reading, unit)
    return blanks + (_line_blanks(told, order.reading, unit) if sort == "line" else [])


def _line_blanks(
    told: dict[str, Any], reading: ReadingOptions, unit: TemperatureUnit
) -> list[Blank]:
    junction_c = reading.junction_c
    return [
        Blank(
            "fields",
            "Fields of a line",
            told["fields"] or "",
            'Names in their order, "-" for one to pass over, like kiln,top,-; empty: kiln.',
        ),
        Blank(
            "unit",
            "Unit of readings",
            reading.unit or "",
            "What the instrument sends; ← → changes it.",
            options=_UNITS,
        ),
        Blank(
            "thermocouple_type",
            "Thermocouple",
            reading.thermocouple_type or "",
            "Its letter, like K or S, for readings in mV.",
            lambda text: text.strip().upper() or None,
        ),
        Blank(
            "junction_c",
            "Junction",
            "" if junction_c is None else format_temperature(junction_c, unit),
            "Temperature of the reference junction, for readings in mV.",
            lambda text: parse_temperature_c(text, unit) if text.strip() else None,
        ),
        Blank(
            "delimiter",
            "Delimiter",
            reading.delimiter or "",
            'Between the fields of a line; empty for ",".',
        ),
        Blank(
            "decimal",
            "Decimal mark",
            reading.decimal or "",
            "Of the numbers in a line; ← → changes it.",
            options=(("", "point"), (",", "comma")),
        ),
        Blank(
            "baud",
            "Baud rate",
            "" if told["baud"] is None else str(told["baud"]),
            "Of a serial port; empty for 9600.",
            _baud,
        ),
    ]


def _per_c(unit: TemperatureUnit) -> float:
    return 1.8 if unit == "F" else 1.0


def _cones(text: str) -> tuple[str, ...]:
    from firing.cones.table import parse_cone

    return tuple(parse_cone(part) for part in text.replace(",", " ").split())


def _command(text: str) -> str:
    parse_command(text.strip() or None)
    return text


def _baud(text: str) -> int | None:
    if not text.strip():
        return None
    if not text.strip().isdecimal():
        raise FiringError(f'"{text}" is no baud rate; write a whole number such as 9600')
    return int(text)
