"""How a log is to be read, as a person says it, and the one way to open it for every command."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from firing.errors import FiringError

if TYPE_CHECKING:
    from firing.logs.dialect import ColumnRole, ReadingUnit
    from firing.logs.numeric_times import ToldTimeUnit
    from firing.logs.parts import PartChoice
    from firing.logs.reader import Log
    from firing.logs.times import DateOrder
    from firing.logs.values import Decimal

ROLES = ("time", "date", "temperature", "set-point", "duty", "junction", "ignore")


@dataclass(frozen=True)
class ReadingOptions:
    """What is told of a log; None leaves a thing to be found.

    Attributes
    ----------
    unit, time_unit, date_order, zone, delimiter, decimal, encoding, skip_lines, columns, part
        See `firing.logs.reader.read_log`.
    thermocouple_type, junction_c, restart_pause_s
        The same: a letter, a temperature [°C], a pause [s].
    as_logged : bool
        Whether readings that no kiln can have given are used, too.
    """

    unit: ReadingUnit | None = None
    time_unit: ToldTimeUnit | None = None
    date_order: DateOrder | None = None
    zone: str | None = None
    delimiter: str | None = None
    decimal: Decimal | None = None
    encoding: str | None = None
    skip_lines: int | None = None
    columns: Mapping[str, ColumnRole] = field(default_factory=dict)
    thermocouple_type: str | None = None
    junction_c: float | None = None
    restart_pause_s: float | None = None
    part: PartChoice | None = None
    as_logged: bool = False

    def given(self) -> dict[str, Any]:
        """Return what is told, by name, without what is left to be found."""
        told = {one.name: getattr(self, one.name) for one in fields(self)}
        return {name: value for name, value in told.items() if value not in (None, {}, False)}


READING_OPTIONS = tuple(one.name for one in fields(ReadingOptions))


def spelled(name: str) -> str:
    """Return the option that tells a thing, as it is written: ``--junction`` for ``junction_c``."""
    if name == "columns":
        return "--column"
    return f"--{name.removesuffix('_c').removesuffix('_s').replace('_', '-')}"


def parse_columns(told: Sequence[str]) -> dict[str, ColumnRole]:
    """Read what columns hold, ``NAME=ROLE`` each.

    Raises
    ------
    FiringError
        If one is not so written.
    """
    roles: dict[str, ColumnRole] = {}
    for entry in told:
        name, mark, role = entry.rpartition("=")
        if not mark or role not in ROLES:
            raise FiringError(
                f'--column "{entry}" is not understood; write NAME=ROLE with one of '
                f"{', '.join(ROLES)}"
            )
        roles[name] = cast("ColumnRole", role)
    return roles


def parse_part(text: str) -> PartChoice:
    """Read which firing of a file is meant: its number from 1, or ``all``.

    Raises
    ------
    FiringError
        If it is neither.
    """
    if text == "all":
        return "all"
    if text.isdecimal() and int(text) >= 1:
        return int(text)
    raise FiringError(f'--part "{text}" is not a part; write its number from 1, or all')


def open_log(
    paths: Path | Sequence[Path],
    channel: str | None,
    told: ReadingOptions,
    *,
    whole_lines: bool = False,
) -> tuple[Log, int]:
    """Read the log of one firing from one file or several, and choose its kiln channel.

    Parameters
    ----------
    paths : Path or sequence of Path
        The file, or the parts of one firing.
    channel : str or None
        The kiln's channel, by name or number from 1; None to find it.
    told : ReadingOptions
        How it is to be read.
    whole_lines : bool
        Whether a last line without its end is left out, as it is still being written.

    Returns
    -------
    Log
        The log.
    int
        The place of its kiln channel, from 0.

    Raises
    ------
    FiringError
        If it cannot be read as a log, or has no such channel.
    """
    from firing.logs.reader import pick_channel, read_logs

    files = [paths] if isinstance(paths, Path) else list(paths)
    log = read_logs(
        files,
        unit=told.unit,
        time_unit=told.time_unit,
        date_order=told.date_order,
        zone=told.zone,
        delimiter=told.delimiter,
        decimal=told.decimal,
        encoding=told.encoding,
        skip_lines=told.skip_lines,
        columns=told.columns,
        thermocouple_type=told.thermocouple_type,
        junction_c=told.junction_c,
        restart_pause_s=told.restart_pause_s,
        part=told.part,
        cleaning=not told.as_logged,
        whole_lines=whole_lines,
    )
    return log, pick_channel(log, channel)


def how_read(log: Log, index: int, which: str | None) -> list[str]:
    """Return how a log was read and which channel was taken, a sentence each.

    What its cleaning held against readings is not among them: only the whole log could tell that,
    and a watch judges reading by reading.
    """
    from firing.logs.reader import describe_channel

    known = log.notes[: len(log.notes) - len(log.cleaning.notes)]
    return [*known, describe_channel(log, index, which)]
