"""The fields of the form about a watch; they are named like the options of `firing watch`."""

from __future__ import annotations

from typing import Literal

from firing.units import (
    TemperatureUnit,
    format_temperature,
    parse_duration_s,
    write_duration,
)
from firing.watch.options import LINE_OPTIONS, WatchOptions, parse_command, parse_difference_c

from .fields import Field, cone_name, optional, temperature, whole_number
from .reading_fields import reading_fields, reading_texts

SourceSort = Literal["line", "file", "log"]
"""A port or an address read line by line; a source file that says how; a log to replay."""

_UNITS = (("", "not told: °C"), ("C", "°C"), ("F", "°F"), ("mV", "mV of a thermocouple"))


def watch_fields(sort: SourceSort, unit: TemperatureUnit) -> list[Field]:
    """Return the fields for a source; not every one has a meaning for each sort.

    Temperatures may be written without their unit, which is `unit` then.
    """
    fields = [
        Field(
            "out",
            "Record to",
            "A CSV file; one that is there is continued, never replaced; if its firing is over, "
            "one beside it is made.  Empty: NO recording.",
        ),
        Field(
            "channel",
            "Kiln's channel",
            "By name or number from 1; empty for the one named like a kiln, or the first.",
        ),
        Field(
            "top",
            "Top temperature",
            "Alarm from here on; empty: 20 °C above the plan's peak, or what the kiln stands.",
            optional(temperature(unit)),
        ),
        Field(
            "above",
            "Above plan by",
            f"Alarm when so many °{unit} above the plan.",
            lambda text: parse_difference_c(text, unit),
        ),
        Field(
            "lost",
            "Lost after",
            "Alarm when there is no reading for so long, like 1m.",
            parse_duration_s,
        ),
        Field("unload", "Unload at", "Tell when the kiln has cooled to this.", temperature(unit)),
        Field(
            "cones",
            "Tell of cones",
            "Like 6 or 5, 6; empty: the one the plan comes nearest to.",
            lambda text: tuple(map(cone_name, text.replace(",", " ").split())),
        ),
        Field(
            "command",
            "Run for notices",
            "A program with its arguments, the sentence becomes the last; no shell.  Empty: none.",
            _command,
        ),
    ]
    if sort == "log":
        return [*_LOG, *fields, *reading_fields(unit)]
    return fields + (_line_fields(unit) if sort == "line" else [])


_LOG = (
    Field(
        "follow",
        "Is the log",
        "Whether a logger still writes it, or it is replayed; ← → changes it.",
        lambda text: bool(text) or None,
        options=(("", "finished: replay it"), ("yes", "growing: follow it")),
    ),
    Field(
        "speed",
        "Speed",
        "Times real time: 1, 600, or max for as fast as it goes.",
        when=("follow", ""),
    ),
)


def _line_fields(unit: TemperatureUnit) -> list[Field]:
    return [
        Field(
            "fields",
            "Fields of a line",
            'Names in their order, "-" for one to pass over, like kiln,top,-; empty: kiln.',
        ),
        Field(
            "unit", "Unit of readings", "What the instrument sends; ← → changes it.", options=_UNITS
        ),
        Field(
            "thermocouple_type",
            "Thermocouple",
            "Its letter, like K or S, for readings in mV.",
            optional(str.upper),
        ),
        Field(
            "junction_c",
            "Junction",
            "Temperature of the reference junction, for readings in mV.",
            optional(temperature(unit)),
        ),
        Field("delimiter", "Delimiter", 'Between the fields of a line; empty for ",".'),
        Field(
            "decimal",
            "Decimal mark",
            "Of the numbers in a line; ← → changes it.",
            options=(("", "point"), (",", "comma")),
        ),
        Field(
            "baud",
            "Baud rate",
            "Of a serial port; empty for 9600.",
            whole_number("baud rate", 9600),
        ),
    ]


def watch_texts(order: WatchOptions, unit: TemperatureUnit) -> dict[str, str]:
    """Return what the fields begin with, as an order has them."""
    told = {name: order.line.get(name) for name in LINE_OPTIONS}
    return {
        "out": "" if order.out is None else str(order.out),
        "channel": order.channel or "",
        "top": "" if order.top_c is None else format_temperature(order.top_c, unit),
        "above": f"{order.above_c * (1.8 if unit == 'F' else 1.0):g}",
        "lost": write_duration(order.lost_after_s),
        "unload": format_temperature(order.unload_c, unit),
        "cones": ", ".join(order.cones),
        "command": order.command or "",
        "follow": "yes" if told["follow"] else "",
        "speed": told["speed"] or "max",
        "fields": told["fields"] or "",
        "baud": "" if told["baud"] is None else str(told["baud"]),
        **reading_texts(order.reading, unit),
    }


def _command(text: str) -> str:
    parse_command(text.strip() or None)
    return text
