"""The options that say how a log is to be read, shared by every command that reads one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from firing.cli.arguments import DURATION_S, TEMPERATURE_C
from firing.logs.options import READING_OPTIONS, ROLES, ReadingOptions, parse_columns, parse_part

Command = TypeVar("Command", bound=Callable[..., Any])


def log_options(command: Command) -> Command:
    """Add the options of reading; they settle what a file leaves open."""
    for option in reversed(
        [
            click.option(
                "--channel", metavar="NAME|N", help="The kiln's column, by name or number."
            ),
            click.option(
                "--unit",
                type=click.Choice(
                    [
                        "C",
                        "F",
                        "K",
                        "mV",
                        "C/10",
                        "F/10",
                        "C/100",
                        "C/1000",
                        "K/10",
                        "C/2",
                        "C/4",
                        "C/16",
                    ]
                ),
                help="Unit of the readings; C/10 is tenths of a degree, C/4 a chip's quarters.",
            ),
            click.option(
                "--time-unit",
                type=click.Choice(["ms", "s", "min", "h", "d", "epoch", "serial", "serial-1904"]),
                help="Unit of a time column that does not say; serial is a spreadsheet's days.",
            ),
            click.option(
                "--date-order",
                type=click.Choice(["dmy", "mdy", "ymd"]),
                help="Day or month first, where 03/04/2026 leaves it open.",
            ),
            click.option(
                "--zone", metavar="ZONE", help="Time zone of the clock, like Europe/Berlin or UTC."
            ),
            click.option("--delimiter", metavar="CHAR", help="What separates the columns."),
            click.option("--decimal", type=click.Choice([".", ","]), help="The decimal mark."),
            click.option("--encoding", metavar="NAME", help="The text encoding, like cp1252."),
            click.option(
                "--skip-lines", type=click.IntRange(min=0), help="Lines above the header."
            ),
            click.option(
                "--column",
                "columns",
                multiple=True,
                metavar="NAME=ROLE",
                help=f"What a column holds: {', '.join(ROLES)}; may be given again.",
            ),
            click.option(
                "--thermocouple-type",
                "--thermocouple",
                "thermocouple_type",
                metavar="LETTER",
                help="For readings in mV: K, N, S, R …",
            ),
            click.option(
                "--junction",
                "junction_c",
                type=TEMPERATURE_C,
                metavar="TEMP",
                help="For readings in mV: temperature of the reference junction.",
            ),
            click.option(
                "--restart-pause",
                "restart_pause_s",
                type=DURATION_S,
                metavar="TIME",
                help="Gap when the logger restarted, like 5m.",
            ),
            click.option(
                "--part",
                metavar="N|all",
                help="Which firing of a file that holds several; all takes them for one.",
            ),
            click.option(
                "--as-logged",
                is_flag=True,
                help="Keep impossible readings.",
            ),
            click.option(
                "--with-gaps",
                is_flag=True,
                help="Read a log although many of its rows can't be read.",
            ),
        ]
    ):
        command = option(command)
    return command


def take_reading(told: dict[str, Any]) -> ReadingOptions:
    """Take the options of reading, all but ``--channel``, out of what a command was told."""
    options = {name: told.pop(name) for name in READING_OPTIONS}
    options["columns"] = parse_columns(options["columns"])
    options["part"] = None if options["part"] is None else parse_part(options["part"])
    return ReadingOptions(**options)
