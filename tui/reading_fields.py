"""How a log is read and a firing watched, as fields of a form.

Refusals speak of the commands' options: `in_fields` says them by the fields' names.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from firing.logs.options import READING_OPTIONS, ReadingOptions, parse_columns, parse_part, spelled
from firing.units import (
    TemperatureUnit,
    format_temperature,
    in_unit,
    parse_duration_s,
    parse_temperature_c,
    write_duration,
)
from firing.watch.options import (
    LINE_OPTIONS,
    WatchOptions,
    parse_command,
    parse_difference_c,
    require_top_c,
)

from .fields import Field, Reader, cone_name, optional, temperature, text_or_none, whole_number
from .session import LogChoice

if TYPE_CHECKING:
    from firing.review.result import Review


_CHANNEL, _START = "Kiln's channel", "Meant to start"
_OPTION = re.compile(r"--[a-z]+(?:-[a-z]+)*")
_OPEN = ("", "as found")
CHOICES = (
    (
        "unit",
        "Unit",
        "of the temperatures; C/10 is tenths of a degree",
        ("C", "F", "K", "mV", "C/10", "F/10", "C/100", "C/1000", "K/10", "C/2", "C/4", "C/16"),
    ),
    (
        "time_unit",
        "Unit of times",
        "of times that are bare numbers",
        ("us", "ms", "s", "min", "h", "d", "epoch", "serial", "serial-1904"),
    ),
    ("date_order", "Day or month", "day or month first", ("dmy", "mdy", "ymd", "ydm")),
    ("decimal", "Decimal mark", "the decimal mark", (".", ",")),
)


def reading_fields(unit: TemperatureUnit) -> list[Field]:
    """Return a field for every option of reading, so that each a refusal names is at hand.

    A junction's temperature may be written without its unit, which is `unit` then.
    """
    fields = [
        Field(
            key,
            label,
            f"{about}; ← → changes it.",
            options=[_OPEN, *((value, value) for value in values)],
        )
        for key, label, about, values in CHOICES
    ]
    return [
        *fields,
        Field(
            "restart_pause_s",
            "Logger stood",
            "Gap when the logger restarted, like 5m.",
            optional(parse_duration_s),
        ),
        Field(
            "part",
            "Which firing",
            "Which firing of a file that holds several, from 1; all takes them for one.",
            optional(parse_part),
        ),
        Field("zone", "Time zone", "Of the clock, like Europe/Berlin or UTC.", text_or_none),
        Field(
            "columns",
            "Columns hold",
            "What columns hold, like Probe=temperature, Set=set-point.",
            lambda text: parse_columns([one.strip() for one in text.split(",") if one.strip()]),
        ),
        # A blank or a tab may be what separates them.
        Field("delimiter", "Separator", "What separates the columns.", lambda text: text or None),
        Field("encoding", "Text encoding", "The text encoding, like cp1252.", text_or_none),
        Field(
            "skip_lines",
            "Lines above",
            "How many lines stand above the header.",
            whole_number("number of lines", 3),
        ),
        Field(
            "thermocouple_type",
            "Thermocouple",
            "For readings in mV: its letter, like K or S.",
            optional(str.upper),
        ),
        Field(
            "junction_c",
            "Junction",
            "For readings in mV: temperature of the reference junction.",
            optional(temperature(unit)),
        ),
        Field(
            "as_logged",
            "Impossible ones",
            "Whether impossible readings are kept; ← → changes it.",
            bool,
            options=(("", "no"), ("yes", "yes")),
        ),
        Field(
            "with_gaps",
            "Rows missing",
            "Whether a log is read although many of its rows can't be; ← → changes it.",
            bool,
            options=(("", "no"), ("yes", "yes")),
        ),
    ]


def in_fields(words: str) -> str:
    """Return a refusal with the fields' names for the commands' options.

    The day that a log has not is told by a command alone: no field takes it.
    """
    words = words.replace("give the moment it began with --date, or ", "")
    labels = {spelled(field.key): field.label for field in reading_fields("C")}
    labels |= {"--channel": _CHANNEL, "--start": _START}
    labels["--thermocouple"] = labels["--thermocouple-type"]
    quoted = {option: f"“{label}”" for option, label in labels.items()}
    return _OPTION.sub(lambda found: quoted.get(found[0], found[0]), words)


def reading_texts(told: ReadingOptions, unit: TemperatureUnit) -> dict[str, str]:
    """Return what was told already, as it would be written into the fields."""
    texts = {name: str(getattr(told, name) or "") for name in READING_OPTIONS}
    pause_s, junction_c, lines = told.restart_pause_s, told.junction_c, told.skip_lines
    return texts | {
        "restart_pause_s": "" if pause_s is None else write_duration(pause_s),
        "columns": ", ".join(f"{name}={role}" for name, role in told.columns.items()),
        "skip_lines": "" if lines is None else str(lines),
        "junction_c": "" if junction_c is None else format_temperature(junction_c, unit),
        "as_logged": "yes" if told.as_logged else "",
        "with_gaps": "yes" if told.with_gaps else "",
    }


def reading_of(filled: Mapping[str, Any]) -> ReadingOptions:
    """Return what was told in the fields that a form had."""
    told = {name: filled[name] for name in READING_OPTIONS if filled.get(name) not in (None, "")}
    return ReadingOptions(**told)


def log_fields(review: Review | None, unit: TemperatureUnit) -> list[Field]:
    """Return the fields about a log; its review, if it could be read, knows the channels."""
    channels = "" if review is None else ", ".join(review.log.trace.channels)
    started = None if review is None else review.log.trace.started
    return [
        Field(
            "channel",
            _CHANNEL,
            f"The kiln's column, by name or number; empty to find it. {channels}".strip(),
            text_or_none,
        ),
        *reading_fields(unit),
        Field(
            "due",
            _START,
            "When it was meant to start, like 07:30; empty if that does not matter.",
            optional(lambda text: _moment(text, started)),
        ),
    ]


def log_texts(log: LogChoice, unit: TemperatureUnit) -> dict[str, str]:
    """Return what the fields about a log begin with."""
    return {
        "channel": log.channel or "",
        **reading_texts(log.reading, unit),
        "due": "" if log.due is None else f"{log.due:%Y-%m-%d %H:%M}",
    }


def told_of(log: LogChoice, filled: Mapping[str, Any]) -> LogChoice:
    """Return the log with what was told in the fields about it."""
    return LogChoice(log.path, filled["channel"], filled["due"], reading_of(filled))


def _moment(text: str, near: datetime | None) -> datetime:
    from firing.clock import parse_when

    return parse_when(text, near=near)


def _top_temperature(unit: TemperatureUnit) -> Reader:
    """Return a reader of a temperature at which an alarm can ring."""

    def read(text: str) -> float:
        top_c = parse_temperature_c(text, unit)
        require_top_c(top_c, unit)
        return top_c

    return read


SourceSort = Literal["line", "file", "log"]
"""A port or an address read line by line; a source file that says how; a log to replay."""

_UNITS = (("", "unknown: °C"), ("C", "°C"), ("F", "°F"), ("mV", "mV of a thermocouple"))


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
            in_unit(
                "Alarm from here on; empty: 20 °C above the plan's peak, or what the kiln stands.",
                unit,
            ),
            optional(_top_temperature(unit)),
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
        Field("unload", "Unload at", "Report when the kiln has cooled to this.", temperature(unit)),
        Field(
            "cones",
            "Report cones",
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
