"""Arguments and options that several commands share."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from firing.errors import FiringError
from firing.forecast.opening import UNLOAD_C
from firing.units import (
    TemperatureUnit,
    parse_duration_s,
    parse_rate_c_per_h,
    parse_temperature_c,
)

if TYPE_CHECKING:
    from firing.heat.default_kiln import UsualKiln
    from firing.logs.options import ReadingOptions

Command = TypeVar("Command", bound=Callable[..., Any])


class Subcommands(click.Group):
    """A group that lists its commands in whole sentences, and names the one that was meant."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands, each with all of its first sentence."""
        rows = [
            (name, self.commands[name].get_short_help_str(200)) for name in sorted(self.commands)
        ]
        with formatter.section("Commands"):
            formatter.write_dl(rows)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a command, or say what may have been meant."""
        if args and args[0] not in self.commands and not args[0].startswith("-"):
            import difflib

            near = difflib.get_close_matches(args[0], self.commands, n=1)
            meant = f"; did you mean '{near[0]}'?" if near else ""
            ctx.fail(f"no such command '{args[0]}'{meant}")
        return super().resolve_command(ctx, args)


class Parsed(click.ParamType[Any]):
    """A value that one of the library's parsers reads; its refusal is the reason given."""

    def __init__(self, name: str, parse: Callable[[str], Any]) -> None:
        self.name = name
        self._parse = parse

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not isinstance(value, str):
            return value
        try:
            return self._parse(value)
        except FiringError as error:
            self.fail(str(error), param, ctx)


class Number(click.FloatRange):
    """A finite number; click's own takes NaN for one in every range."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        found = super().convert(value, param, ctx)
        if not math.isfinite(found):
            self.fail(f"{value!r} is not a valid number.", param, ctx)
        return found

    def _describe_range(self) -> str:
        return "" if self.min is None and self.max is None else super()._describe_range()


class WholeNumber(click.IntRange):
    """A whole number from `least`, which every file and system can hold."""

    name = "whole number"

    def __init__(self, least: int, most: int = 2**31 - 1) -> None:
        super().__init__(least, most)

    def _describe_range(self) -> str:
        return f"{self.min} or more" if self.max == 2**31 - 1 else f"{self.min} to {self.max}"


TEMPERATURE_C = Parsed("temperature", parse_temperature_c)


def _as_written(parse: Callable[[str], float]) -> Callable[[str], str]:
    """Return what lets a text through that a parser reads."""

    def read(text: str) -> str:
        parse(text)
        return text

    return read


# A plain number has the unit of the plan, which no option knows: 150 is a warm kiln in °F and a
# burning one in °C.  These keep the text until the plan is read.
TEMPERATURE = Parsed("temperature", _as_written(parse_temperature_c))
RATE = Parsed("rate", _as_written(parse_rate_c_per_h))
DURATION_S = Parsed("duration", parse_duration_s)


def _kiln_size(text: str) -> UsualKiln:
    from firing.heat.default_kiln import parse_size

    return parse_size(text)


KILN_SIZE = Parsed("size", _kiln_size)


def temperature_in(text: str | None, unit: TemperatureUnit) -> float | None:
    """Return a temperature told by an option in °C, a plain number taken in `unit`."""
    return None if text is None else parse_temperature_c(text, unit)


def rate_in(text: str | None, unit: TemperatureUnit) -> float | None:
    """Return a rate told by an option in °C/h, a plain number taken in `unit`."""
    return None if text is None else parse_rate_c_per_h(text, unit)


def json_option(command: Command) -> Command:
    """Add ``--json``."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print one JSON document instead of text."
    )(command)


def html_option(command: Command) -> Command:
    """Add ``--html`` and ``--overwrite``."""
    overwrite = click.option(
        "--overwrite", is_flag=True, help="Replace the --html file if it is there already."
    )
    page = click.option(
        "--html",
        "html",
        type=click.Path(path_type=Path, dir_okay=False),
        help="Also write a self-contained page to this file, to send or to print.",
    )
    interactive = click.option(
        "--interactive", is_flag=True, expose_value=False, callback=_keep("interactive"),
        help="Make the --html page one to zoom and point at (about 5 MB, needs JavaScript).",
    )  # fmt: skip
    return page(interactive(overwrite(command)))


def out_option(words: str) -> Callable[[Command], Command]:
    """Return what adds ``--out``, by its line of help, and ``--overwrite``."""
    out = click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help=words)
    overwrite = click.option(
        "--overwrite", is_flag=True, help="Replace the --out file if it is there already."
    )
    return lambda command: out(overwrite(command))


def start_option(*, required: bool = False) -> Callable[[Command], Command]:
    """Return what adds ``--start``."""
    return click.option(
        "--start",
        metavar="WHEN",
        required=required,
        help='When it starts: "07:30", "2026-03-01 07:30", "now".',
    )


def report_options(command: Command) -> Command:
    """Add ``--full`` and ``--plain``, which `outcome.report` takes from the command's context."""
    full = click.option(
        "--full", is_flag=True, expose_value=False, callback=_keep("full"),
        help="Print all of it: every table, finding, reason and source.",
    )  # fmt: skip
    plain = click.option(
        "--plain", is_flag=True, expose_value=False, callback=_keep("plain"),
        help="No chart and no bars, a sentence a row: for a screen reader.",
    )  # fmt: skip
    return full(plain(command))


def _keep(name: str) -> Callable[[click.Context, click.Parameter, bool], bool]:
    def callback(context: click.Context, parameter: click.Parameter, value: bool) -> bool:
        context.meta[f"firing.{name}"] = value
        return value

    return callback


def calendar_option(command: Command) -> Command:
    """Add ``--calendar``; it goes with ``--start`` and ``--overwrite``."""
    return click.option(
        "--calendar",
        "ics",
        metavar="FILE",
        type=click.Path(path_type=Path, dir_okay=False),
        help="Also write its moments for a calendar (.ics); needs --start.",
    )(command)


def unload_option(name: str, words: str) -> Callable[[Command], Command]:
    """Return what adds ``--unload-at``, by its parameter's name and its line of help."""
    return click.option(
        "--unload-at",
        name,
        type=TEMPERATURE,
        default=f"{UNLOAD_C:g}C",
        show_default=True,
        metavar="TEMP",
        help=words,
    )


def kiln_options(command: Command) -> Command:
    """Add ``--kiln`` and ``--load``."""
    kiln = click.option("--kiln", metavar="K", help="Kiln file (TOML), or example-kiln.")
    load = click.option("--load", metavar="L", help="Load file (TOML), or an example load's name.")
    return kiln(load(command))


def logbook_option(command: Command) -> Command:
    """Add ``--logbook``."""
    return click.option(
        "--logbook",
        "place",
        metavar="FILE",
        type=click.Path(path_type=Path, dir_okay=False),
        help="The logbook's file; by default this user's own.",
    )(command)


def optional_logbook(words: str) -> Callable[[Command], Command]:
    """Return what adds ``--logbook`` as a source; without a file it is this user's own, ``""``."""
    return click.option(
        "--logbook", "book", metavar="[FILE]", is_flag=False, flag_value="", help=words
    )


def align_option(command: Command) -> Command:
    """Add ``--align`` of firings laid over each other."""
    return click.option(
        "--align",
        type=click.Choice(["segment", "clock"]),
        default="segment",
        show_default=True,
        help="Let every segment begin at one place for all, or count from when each began to heat.",
    )(command)


def kiln_size_option(command: Command) -> Command:
    """Add ``--kiln-size``, which stands in for a kiln file."""
    return click.option(
        "--kiln-size",
        "usual",
        metavar="SIZE",
        type=KILN_SIZE,
        help="Without a kiln file: volume, brick wall, and where it opens, as in "
        '"300 l, 115 mm, front" or "10 cu ft, 4.5 in, front".',
    )(command)


def one_kiln(kiln: str | None, usual: UsualKiln | None) -> UsualKiln:
    """Return the kiln whose cooling stands in; refuse a size beside a kiln file."""
    from firing.heat.default_kiln import TRIAL

    if kiln is not None and usual is not None:
        raise FiringError(
            "--kiln says more than --kiln-size: its file has the walls; leave --kiln-size out"
        )
    return TRIAL if usual is None else usual


def controller_option(*, required: bool = False) -> Callable[[Command], Command]:
    """Return a decorator that adds ``--controller``."""
    return click.option(
        "--controller",
        metavar="C",
        required=required,
        help="Controller file (TOML), or example-controller.",
    )


def log_options(command: Command) -> Command:
    """Add the options of reading; they settle what a file leaves open."""
    from firing.logs.options import ROLES

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
                type=click.Choice(
                    ["us", "ms", "s", "min", "h", "d", "epoch", "serial", "serial-1904"]
                ),
                help="Unit of a time column that does not say; serial is a spreadsheet's days.",
            ),
            click.option(
                "--date-order",
                type=click.Choice(["dmy", "mdy", "ymd", "ydm"]),
                help="Day or month first, where 03/04/2026 leaves it open.",
            ),
            click.option(
                "--zone", metavar="ZONE", help="Time zone of the clock, like Europe/Berlin or UTC."
            ),
            click.option("--delimiter", metavar="CHAR", help="What separates the columns."),
            click.option("--decimal", type=click.Choice([".", ","]), help="The decimal mark."),
            click.option("--encoding", metavar="NAME", help="The text encoding, like cp1252."),
            click.option("--skip-lines", type=WholeNumber(0), help="Lines above the header."),
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
    from firing.logs.options import READING_OPTIONS, ReadingOptions, parse_columns, parse_part

    options = {name: told.pop(name) for name in READING_OPTIONS}
    options["columns"] = parse_columns(options["columns"])
    options["part"] = None if options["part"] is None else parse_part(options["part"])
    return ReadingOptions(**options)
