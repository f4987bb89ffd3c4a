"""Arguments that several commands share: schedules by file or name, units, and moments."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from firing.errors import FiringError
from firing.units import parse_duration_s, parse_rate_c_per_h, parse_temperature_c

if TYPE_CHECKING:
    from firing.schedule.schedule import Schedule

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


def load_schedule(name: str) -> Schedule:
    """Read a schedule from a file, or a ready one by its name.

    Raises
    ------
    FiringError
        If there is neither, with the nearest name, or the file is faulty.
    """
    from firing.files.ready import ready_names, ready_text
    from firing.schedule.file import parse_schedule, read_schedule

    path = Path(name)
    if path.exists() or name not in ready_names():
        if not path.exists():
            near = difflib.get_close_matches(path.name.removesuffix(".toml"), ready_names(), n=1)
            hint = f'; the ready schedule "{near[0]}" has a name like it' if near else ""
            raise FiringError(
                f"{name}: there is no such file{hint}; 'firing schedules' lists the ready ones"
            )
        return read_schedule(path)
    return parse_schedule(ready_text(name), name)


_CLOCK = re.compile(r"(?:(today|tomorrow)\s+)?(\d{1,2}):(\d{2})")
_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T\s]+(\d{1,2}):(\d{2}))?")


def parse_when(text: str, *, near: datetime | None = None) -> datetime:
    """Read a moment of local time: ``now``, ``07:30``, ``tomorrow 07:30`` or ``2026-03-01 07:30``.

    Parameters
    ----------
    text : str
        What a person wrote.
    near : datetime, optional
        With a time of day alone, the day nearest to this moment is meant; without it, the next
        such time from now on.

    Returns
    -------
    datetime
        With the time zone of this machine.

    Raises
    ------
    FiringError
        If it is not a moment, or the clock skips it when summer time begins.
    """
    words = " ".join(text.strip().lower().split())
    now = datetime.now()
    if words == "now":
        return now.astimezone().replace(second=0, microsecond=0)
    clock, date = _CLOCK.fullmatch(words), _DATE.fullmatch(words.replace("t", " "))
    try:
        if date is not None:
            parts = [int(part or 0) for part in date.groups()]
            return _local(datetime(*parts))  # type: ignore[arg-type]  # five whole numbers
        if clock is not None:
            base = now if near is None else near.astimezone().replace(tzinfo=None)
            moment = base.replace(hour=int(clock[2]), minute=int(clock[3]), second=0, microsecond=0)
            if clock[1] == "tomorrow":
                return _local(moment + timedelta(days=1))
            if clock[1] is None and near is None and moment < now:
                moment += timedelta(days=1)
            if near is not None:
                moment = min(
                    (moment + timedelta(days=days) for days in (-1, 0, 1)),
                    key=lambda choice: abs(choice - base),
                )
            return _local(moment)
    except ValueError:
        raise FiringError(f'"{text}" is not on the calendar or the clock') from None
    raise FiringError(
        f'"{text}" is not a moment; write "07:30", "tomorrow 07:30", "2026-03-01 07:30" or "now"'
    )


def _local(naive: datetime) -> datetime:
    local = naive.astimezone()
    back = datetime.fromtimestamp(local.timestamp())
    if back != naive:
        raise FiringError(
            f"{naive:%Y-%m-%d %H:%M} is skipped by the change to summer time; "
            f"write {back:%H:%M} or an earlier time"
        )
    return local
