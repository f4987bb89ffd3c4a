"""How a log is read, as fields of a form, named like the options that refusals speak of."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from firing.logs.options import READING_OPTIONS, ReadingOptions, parse_columns, parse_part
from firing.units import TemperatureUnit, format_temperature, parse_duration_s, write_duration

from .fields import Field, optional, temperature, text_or_none, whole_number
from .session import LogChoice

if TYPE_CHECKING:
    from firing.review.result import Review

_OPEN = ("", "as found")
CHOICES = (
    ("unit", "--unit", "of the temperatures", ("C", "F", "mV")),
    (
        "time_unit",
        "--time-unit",
        "of times that are bare numbers",
        ("ms", "s", "min", "h", "d", "epoch", "serial", "serial-1904"),
    ),
    ("date_order", "--date-order", "day or month first", ("dmy", "mdy", "ymd")),
    ("decimal", "--decimal", "the decimal mark", (".", ",")),
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
            "--restart-pause",
            "How long the logger stood still where its elapsed time begins again, like 5m.",
            optional(parse_duration_s),
        ),
        Field(
            "part",
            "--part",
            "Which firing of a file that holds several, from 1; all takes them for one.",
            optional(parse_part),
        ),
        Field("zone", "--zone", "Time zone of the clock, like Europe/Berlin or UTC.", text_or_none),
        Field(
            "columns",
            "--column",
            "What columns hold, like Probe=temperature, Set=set-point.",
            lambda text: parse_columns([one.strip() for one in text.split(",") if one.strip()]),
        ),
        # A blank or a tab may be what separates them.
        Field("delimiter", "--delimiter", "What separates the columns.", lambda text: text or None),
        Field("encoding", "--encoding", "The text encoding, like cp1252.", text_or_none),
        Field(
            "skip_lines",
            "--skip-lines",
            "How many lines stand above the header.",
            whole_number("number of lines", 3),
        ),
        Field(
            "thermocouple_type",
            "--thermocouple",
            "For readings in mV: its letter, like K or S.",
            optional(str.upper),
        ),
        Field(
            "junction_c",
            "--junction",
            "For readings in mV: temperature of the reference junction.",
            optional(temperature(unit)),
        ),
        Field(
            "as_logged",
            "--as-logged",
            "Whether readings that no kiln can have given are used, too; ← → changes it.",
            bool,
            options=(("", "no"), ("yes", "yes")),
        ),
    ]


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
            "--channel",
            f"The kiln's column, by name or number; empty to find it. {channels}".strip(),
            text_or_none,
        ),
        *reading_fields(unit),
        Field(
            "due",
            "--start",
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
