"""How a log is to be read, as a person says it: what is told beats what is found."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from itertools import chain
from typing import TYPE_CHECKING, Any, Literal, cast, get_args, get_origin

from firing.errors import FiringError

if TYPE_CHECKING:
    from firing.logs.dialect import ColumnRole, ReadingUnit
    from firing.logs.times import DateOrder, TimeUnitOption
    from firing.logs.values import Decimal

PartChoice = int | Literal["all"]
"""Which firing of a file that holds several: its number from 1, or all of them taken for one."""
ROLES = ("time", "date", "temperature", "set-point", "duty", "junction", "ignore")


@dataclass(frozen=True)
class ReadingOptions:
    """What a person says of a log; None leaves a thing to be found.

    Attributes
    ----------
    unit, time_unit, date_order, zone, delimiter, decimal, encoding, skip_lines, columns, part,
    thermocouple_type, junction_c, restart_pause_s
        See `firing.logs.reader.read_log`.
    as_logged : bool
        Whether readings that no kiln can have given are used, too.
    with_gaps : bool
        Whether a log is read although many of its rows cannot be.
    """

    unit: ReadingUnit | None = None
    time_unit: TimeUnitOption | None = None
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
    with_gaps: bool = False

    def __post_init__(self) -> None:
        """Refuse what is no option: a caller's slip, or a damaged file's."""
        from firing.logs.dialect import ReadingUnit
        from firing.logs.times import DateOrder, TimeUnitOption
        from firing.logs.values import Decimal

        def refuse(name: str, belongs: str) -> None:
            raise FiringError(f"{name} = {getattr(self, name)!r:.60} is no option; write {belongs}")

        for name, kind in (("unit", ReadingUnit), ("time_unit", TimeUnitOption),
                           ("date_order", DateOrder), ("decimal", Decimal)):  # fmt: skip
            told, known = getattr(self, name), _all(kind)
            if told is not None and not (isinstance(told, str) and told in known):
                refuse(name, f"one of {', '.join(known)}")
        for name in ("as_logged", "with_gaps"):
            if not isinstance(getattr(self, name), bool):
                refuse(name, "True or False")
        for name in ("zone", "delimiter", "encoding", "thermocouple_type"):
            if not isinstance(getattr(self, name), str | None):
                refuse(name, "a text")
        for name, least in (("junction_c", -math.inf), ("restart_pause_s", 0.0)):
            told = getattr(self, name)
            if told is not None and not (_is_number(told) and told >= least):
                refuse(name, "a number" if least else "a number of 0 or more")
        for name, least in (("skip_lines", 0), ("part", 1)):
            told = getattr(self, name)
            if told is None or (name == "part" and isinstance(told, str) and told == "all"):
                continue
            if type(told) is not int or told < least:
                refuse(name, f"a whole number from {least}")
        if not isinstance(self.columns, Mapping) or not all(
            isinstance(each, str) for each in chain(*self.columns.items())
        ):
            refuse("columns", "a name and a role for each")

    @classmethod
    def from_dict(cls, document: Any) -> ReadingOptions:
        """Return the options that `given` made the document of."""
        if not isinstance(document, Mapping) or not set(document) <= {*READING_OPTIONS}:
            raise FiringError("how this log is read can't be understood: its entry is damaged")
        return cls(**document)

    def given(self) -> dict[str, Any]:
        """Return what is told, by name, without what is left to be found."""
        values = {one.name: getattr(self, one.name) for one in fields(self)}
        return {name: value for name, value in values.items() if value not in (None, {}, False)}


def _all(kind: Any) -> list[str]:
    """Return the words of a literal type, or of a union of them."""
    return [w for one in get_args(kind) for w in (_all(one) if get_origin(one) else [one])]


def _is_number(told: Any) -> bool:
    return isinstance(told, int | float) and not isinstance(told, bool) and abs(told) < 1e9


READING_OPTIONS = tuple(one.name for one in fields(ReadingOptions))


def spelled(name: str) -> str:
    """Return the option that tells a thing, as it is written: ``--junction`` for ``junction_c``."""
    if name == "columns":
        return "--column"
    return f"--{name.removesuffix('_c').removesuffix('_s').replace('_', '-')}"


def parse_columns(texts: Sequence[str]) -> dict[str, ColumnRole]:
    """Read what columns hold, ``NAME=ROLE`` each."""
    roles: dict[str, ColumnRole] = {}
    for entry in texts:
        name, mark, role = entry.rpartition("=")
        if not mark or role not in ROLES:
            raise FiringError(
                f'--column "{entry}" is not understood; write NAME=ROLE with one of '
                f"{', '.join(ROLES)}"
            )
        roles[name] = cast("ColumnRole", role)
    return roles


def parse_part(text: str) -> PartChoice:
    """Read which firing of a file is meant: its number from 1, or ``all``."""
    if text == "all":
        return "all"
    if text.isdecimal() and int(text) >= 1:
        return int(text)
    raise FiringError(f'--part "{text}" is not a part; write its number from 1, or all')
