"""The options that say in which kiln, with which load and at which price a plan is fired."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from firing.cli.arguments import parse_when
from firing.errors import FiringError

if TYPE_CHECKING:
    from firing.controller.controller import Controller
    from firing.forecast.result import Forecast
    from firing.kiln.description import KilnDescription
    from firing.kiln.tariff import Tariff
    from firing.ware.load import Load


Command = TypeVar("Command", bound=Callable[..., Any])
Read = TypeVar("Read")

WINDOW_DAYS = 2
_AWAKE = re.compile(r"\s*(\d{1,2}):(\d{2})\s*(?:-|–|to)\s*(\d{1,2}):(\d{2})\s*")


def kiln_options(command: Command) -> Command:
    """Add ``--kiln`` and ``--load``."""
    kiln = click.option("--kiln", metavar="K", help="Kiln file (TOML), or example-kiln.")
    load = click.option("--load", metavar="L", help="Load file (TOML), or an example load's name.")
    return kiln(load(command))


def _read(name: str, parse: Callable[[str, str], Read], read: Callable[[Path], Read]) -> Read:
    """Read a file, or an example that ships with the package by its name."""
    from firing.files.ready import example_names, ready_text

    if name in example_names() and not Path(name).exists():
        return parse(ready_text(name), name)
    return read(Path(name))


def open_kiln(name: str) -> KilnDescription:
    """Read a kiln file, or the example kiln."""
    from firing.kiln.file import parse_kiln, read_kiln

    return _read(name, parse_kiln, read_kiln)


def open_load(name: str) -> Load:
    """Read a load file, or an example load."""
    from firing.ware.file import parse_load, read_load

    return _read(name, parse_load, read_load)


def open_tariff(name: str) -> Tariff:
    """Read a tariff file, or the example tariff."""
    from firing.kiln.tariff_file import parse_tariff, read_tariff

    return _read(name, parse_tariff, read_tariff)


def parse_awake(text: str) -> tuple[time, time]:
    """Read waking hours such as ``07:00-22:00``.

    Raises
    ------
    FiringError
        If it is not two times of the day.
    """
    match = _AWAKE.fullmatch(text)
    try:
        if match is not None:
            return time(int(match[1]), int(match[2])), time(int(match[3]), int(match[4]))
    except ValueError:
        pass
    raise FiringError(f'"{text}" is not a span of the day; write "07:00-22:00"')


def parse_window(text: str | None, started: datetime | None) -> tuple[datetime, datetime]:
    """Read a window for the start, ``MOMENT to MOMENT``; else two days from the start or now.

    Raises
    ------
    FiringError
        If it is not two moments.
    """
    if text is None:
        begin = parse_when("now") if started is None else started
        return begin, begin + timedelta(days=WINDOW_DAYS)
    parts = re.split(r"\s+to\s+", text.strip())
    if len(parts) != 2:
        raise FiringError(f'"{text}" is not a window; write "2026-03-01 18:00 to 2026-03-02 12:00"')
    return parse_when(parts[0]), parse_when(parts[1])


def with_tariff(
    result: Forecast,
    tariff: Tariff | None,
    window: str | None,
    awake: str | None,
) -> Forecast:
    """Return a forecast with its cost, its cheapest start and its waking starts.

    Raises
    ------
    FiringError
        If there is no kiln to take the energy from, or a moment cannot be read.
    """
    from dataclasses import replace

    from firing.forecast.result import Starts
    from firing.kiln.tariff import cheapest_start, cost, waking_starts

    if result.kiln is None:
        raise FiringError("a tariff, a window or waking hours need a kiln; add --kiln")
    course = result.kiln.course
    amount = None
    if tariff is not None and result.started is not None:
        amount = cost(course, result.started, tariff)
    cheapest, stretches = None, None
    if window is not None or awake is not None or (tariff is not None and result.started is None):
        earliest, latest = parse_window(window, result.started)
        if tariff is not None:
            cheapest = cheapest_start(course, tariff, earliest, latest)
        if awake is not None:
            peak = result.segments[result.schedule.peak_index]
            found = waking_starts(peak.ramp_end_s, peak.end_s, parse_awake(awake), earliest, latest)
            stretches = tuple(
                (a.isoformat(timespec="minutes"), b.isoformat(timespec="minutes")) for a, b in found
            )
    kiln = replace(result.kiln, cost=amount, starts=Starts(cheapest, stretches))
    return replace(result, kiln=kiln)


ControllerCommand = TypeVar("ControllerCommand", bound=Callable[..., Any])


def controller_option(
    *, required: bool = False
) -> Callable[[ControllerCommand], ControllerCommand]:
    """Return a decorator that adds ``--controller``."""
    return click.option(
        "--controller",
        metavar="C",
        required=required,
        help="Controller file (TOML), or example-controller.",
    )


def open_controller(name: str) -> Controller:
    """Read a controller file, or the example controller."""
    from firing.controller.file import parse_controller, read_controller
    from firing.files.ready import example_names, ready_text

    if name in example_names() and not Path(name).exists():
        return parse_controller(ready_text(name), name)
    return read_controller(Path(name))
