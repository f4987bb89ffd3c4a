"""The options that say how a log is to be read, shared by every command that reads one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from firing.logs.reader import Log

Command = TypeVar("Command", bound=Callable[..., Any])


def log_options(command: Command) -> Command:
    """Add the options of reading; they settle what a file leaves open."""
    for option in reversed(
        [
            click.option(
                "--channel", metavar="NAME|N", help="The kiln's column, by name or number."
            ),
            click.option("--unit", type=click.Choice(["C", "F"]), help="Unit of the readings."),
            click.option(
                "--time-unit",
                type=click.Choice(["ms", "s", "min", "h", "d"]),
                help="Unit of a time column that does not say.",
            ),
            click.option(
                "--date-order",
                type=click.Choice(["dmy", "mdy", "ymd"]),
                help="Day or month first, where 03/04/2026 leaves it open.",
            ),
            click.option("--delimiter", metavar="CHAR", help="What separates the columns."),
            click.option("--decimal", type=click.Choice([".", ","]), help="The decimal mark."),
            click.option("--encoding", metavar="NAME", help="The text encoding, like cp1252."),
        ]
    ):
        command = option(command)
    return command


def open_log(path: Path, channel: str | None, reading: dict[str, Any]) -> tuple[Log, int]:
    """Read a log and choose its kiln channel; tells on stderr what was found.

    Raises
    ------
    FiringError
        If the file cannot be read as a log, or has no such channel.
    """
    from firing.logs.channels import pick_channel
    from firing.logs.reader import read_log

    log = read_log(path, **reading)
    return log, pick_channel(log, channel)
