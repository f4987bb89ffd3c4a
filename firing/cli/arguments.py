"""Arguments and options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from firing.errors import FiringError
from firing.units import parse_duration_s, parse_rate_c_per_h, parse_temperature_c

Command = TypeVar("Command", bound=Callable[..., Any])


class _Parsed(click.ParamType[Any]):
    """A value that one of the library's parsers reads."""

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


TEMPERATURE_C = _Parsed("temperature", parse_temperature_c)
RATE_C_PER_H = _Parsed("rate", parse_rate_c_per_h)
DURATION_S = _Parsed("duration", parse_duration_s)


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
        help="Also write a self-contained page to this file.",
    )
    return page(overwrite(command))


def kiln_options(command: Command) -> Command:
    """Add ``--kiln`` and ``--load``."""
    kiln = click.option("--kiln", metavar="K", help="Kiln file (TOML), or example-kiln.")
    load = click.option("--load", metavar="L", help="Load file (TOML), or an example load's name.")
    return kiln(load(command))


def controller_option(*, required: bool = False) -> Callable[[Command], Command]:
    """Return a decorator that adds ``--controller``."""
    return click.option(
        "--controller",
        metavar="C",
        required=required,
        help="Controller file (TOML), or example-controller.",
    )
