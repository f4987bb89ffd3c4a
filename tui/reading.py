"""How a log is read, as fields of a form, named like the options that refusals speak of."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from firing.errors import FiringError
from firing.logs.options import READING_OPTIONS, ReadingOptions, parse_columns, parse_part
from firing.units import (
    TemperatureUnit,
    format_temperature,
    parse_duration_s,
    parse_temperature_c,
    write_duration,
)

from .screens.filling import Blank, Filling
from .session import LogChoice

if TYPE_CHECKING:
    from textual.app import App

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


def reading_blanks(told: ReadingOptions, unit: TemperatureUnit) -> list[Blank]:
    """Return a field for every option of reading, so that each a refusal names is at hand.

    Parameters
    ----------
    told : ReadingOptions
        What they begin with.
    unit : {"C", "F"}
        The unit of a junction's temperature written without one.
    """
    blanks = [
        Blank(
            key,
            label,
            str(getattr(told, key) or ""),
            f"{words}; ← → changes it.",
            options=[_OPEN, *((value, value) for value in values)],
        )
        for key, label, words, values in CHOICES
    ]
    pause_s, junction_c = told.restart_pause_s, told.junction_c
    blanks += [
        Blank(
            "restart_pause_s",
            "--restart-pause",
            "" if pause_s is None else write_duration(pause_s),
            "How long the logger stood still where its elapsed time begins again, like 5m.",
            lambda text: parse_duration_s(text) if text.strip() else None,
        ),
        Blank(
            "part",
            "--part",
            "" if told.part is None else str(told.part),
            "Which firing of a file that holds several, from 1; all takes them for one.",
            lambda text: parse_part(text.strip()) if text.strip() else None,
        ),
        Blank(
            "zone",
            "--zone",
            told.zone or "",
            "Time zone of the clock, like Europe/Berlin or UTC.",
            _text,
        ),
        Blank(
            "columns",
            "--column",
            ", ".join(f"{name}={role}" for name, role in told.columns.items()),
            "What columns hold, like Probe=temperature, Set=set-point.",
            lambda text: parse_columns([one.strip() for one in text.split(",") if one.strip()]),
        ),
        Blank(
            "delimiter",
            "--delimiter",
            told.delimiter or "",
            "What separates the columns.",
            lambda text: text or None,
        ),
        Blank(
            "encoding", "--encoding", told.encoding or "", "The text encoding, like cp1252.", _text
        ),
        Blank(
            "skip_lines",
            "--skip-lines",
            "" if told.skip_lines is None else str(told.skip_lines),
            "How many lines stand above the header.",
            _count,
        ),
        Blank(
            "thermocouple_type",
            "--thermocouple",
            told.thermocouple_type or "",
            "For readings in mV: its letter, like K or S.",
            lambda text: text.strip().upper() or None,
        ),
        Blank(
            "junction_c",
            "--junction",
            "" if junction_c is None else format_temperature(junction_c, unit),
            "For readings in mV: temperature of the reference junction.",
            lambda text: parse_temperature_c(text, unit) if text.strip() else None,
        ),
        Blank(
            "as_logged",
            "--as-logged",
            "yes" if told.as_logged else "",
            "Whether readings that no kiln can have given are used, too; ← → changes it.",
            bool,
            options=(("", "no"), ("yes", "yes")),
        ),
    ]
    return blanks


def reading_of(filled: Mapping[str, Any]) -> ReadingOptions:
    """Return what was told in the fields that a form had."""
    told = {name: filled[name] for name in READING_OPTIONS if filled.get(name) not in (None, "")}
    return ReadingOptions(**told)


async def fill_reading(
    app: App[Any],
    log: LogChoice,
    review: Review | None,
    trouble: str,
    unit: TemperatureUnit = "C",
) -> LogChoice | None:
    """Let the form be filled in; returns the log with its options, or None.

    Parameters
    ----------
    app : App
        What shows it.
    log : LogChoice
        The log and its options so far.
    review : Review or None
        The review, if the log could be read: it knows the channels.
    trouble : str
        What the last reading was refused for.
    unit : {"C", "F"}
        The unit of temperatures written without one.
    """
    channels = "" if review is None else ", ".join(review.log.trace.channels)
    started = None if review is None else review.log.trace.started
    blanks = [
        Blank(
            "channel",
            "--channel",
            log.channel or "",
            f"The kiln's column, by name or number; empty to find it. {channels}".strip(),
        )
    ]
    blanks += reading_blanks(log.reading, unit)
    blanks.append(
        Blank(
            "due",
            "--start",
            "" if log.due is None else f"{log.due:%Y-%m-%d %H:%M}",
            "When it was meant to start, like 07:30; empty if that does not matter.",
            lambda text: _moment(text, started),
        )
    )
    filled = await app.push_screen_wait(Filling(f"Reading {log.path.name}", blanks, trouble))
    if filled is None:
        return None
    return LogChoice(log.path, filled["channel"].strip() or None, filled["due"], reading_of(filled))


def _text(text: str) -> str | None:
    return text.strip() or None


def _count(text: str) -> int | None:
    if not text.strip():
        return None
    if not text.strip().isdecimal():
        raise FiringError(f'"{text}" is no number of lines; write a whole number such as 3')
    return int(text)


def _moment(text: str, near: datetime | None) -> datetime | None:
    from firing.clock import parse_when

    return parse_when(text, near=near) if text.strip() else None
