"""What to watch, and how, as a person says it."""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from firing.errors import FiringError
from firing.forecast.opening import UNLOAD_C
from firing.logs.options import ReadingOptions
from firing.units import TemperatureUnit, from_celsius, rate_to_celsius, to_celsius

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.schedule.schedule import Schedule
    from firing.ware.load import Load
    from firing.watch.alarm_command import AlarmCommand

ABOVE_C = (1.0, 200.0)
"""How far above the plan an alarm may be asked for [°C]."""
TOP_C = (30.0, 1500.0)
"""Where a top temperature may stand [°C]: an alarm beyond what kilns reach would never ring."""
LINE_OPTIONS = ("fields", "baud", "speed", "follow")

_DIFFERENCE = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(?:°\s*)?([CcFf])?\s*")


@dataclass(frozen=True, eq=False)
class WatchOptions:
    """What to watch, and how.

    Attributes
    ----------
    source : str
        A source file, a serial port, ``socket://HOST:PORT``, ``-``, or a log, replayed or followed.
    line : dict
        What only a port or a replay has, by the names in `LINE_OPTIONS`; one that is missing is
        not given.
    reading : ReadingOptions
        How its readings are written.
    out : Path, optional
        The file to record to.
    channel : str, optional
        The kiln's channel, by name or number from 1.
    schedule, kiln, load
        What the firing goes by.
    plan_file : Path, optional
        The schedule's file: where the readings are not of it, one beside it may have been meant.
    cones : tuple of str
        Cones to tell of, in their printed spelling; the plan's own unless given.
    top_c : float, optional
        The top temperature [°C]; from the plan and the kiln unless given.
    above_c, lost_after_s, unload_c : float
        Limits of the alarms [°C, s, °C].
    waits : bool, optional
        Whether the controller's clock waits while the kiln lags; None where nobody said.
    command : str, optional
        A program to run for every notice, and its arguments, as a person writes them.
    patient : bool
        Whether a source that cannot be reached at the start is tried again, and not refused.
    plain_in : {"C", "F"}, optional
        The unit that plain numbers were taken in; None if every limit came with its own.
    """

    source: str
    line: dict[str, Any] = field(default_factory=dict)
    reading: ReadingOptions = field(default_factory=ReadingOptions)
    out: Path | None = None
    channel: str | None = None
    schedule: Schedule | None = None
    kiln: KilnDescription | None = None
    load: Load | None = None
    plan_file: Path | None = None
    cones: tuple[str, ...] = ()
    top_c: float | None = None
    above_c: float = 15.0
    lost_after_s: float = 60.0
    unload_c: float = UNLOAD_C
    waits: bool | None = None
    command: str | None = None
    patient: bool = False
    plain_in: TemperatureUnit | None = None

    @property
    def replays(self) -> bool:
        """Whether the source is a log that is replayed: it waits, and nothing runs meanwhile."""
        path = Path(self.source)
        is_log = path.is_file() and path.suffix.lower() != ".toml"
        return is_log and not self.line.get("follow")


def require_top_c(top_c: float, unit: TemperatureUnit) -> None:
    """Refuse a top temperature that no firing comes to, such as 2200 °F taken for °C."""
    low, high = TOP_C
    if low <= top_c <= high:
        return
    told = f"{from_celsius(top_c, unit):.0f}"
    meant = to_celsius(from_celsius(top_c, unit), "F")
    hint = ""
    if unit == "C" and low <= meant <= high:
        hint = f"; did you mean {told}F ({meant:.0f} °C)?"
    raise FiringError(
        f"a top temperature of {told} °{unit} is outside {from_celsius(low, unit):.0f} to "
        f"{from_celsius(high, unit):.0f} °{unit}, so its alarm would be of no use{hint}"
    )


def parse_difference_c(text: str, unit: TemperatureUnit = "C") -> float:
    """Read a difference of temperatures such as ``15``, ``10C`` or ``20F``, as one in °C.

    A bare number is in `unit`, the plan's.
    """
    match = _DIFFERENCE.fullmatch(text)
    low, high = ABOVE_C
    if match is not None:
        stated: TemperatureUnit = "F" if (match[2] or unit) in "fF" else "C"
        # A difference scales as a rate does: without the zero of its scale.
        difference_c = rate_to_celsius(float(match[1].replace(",", ".")), stated)
        if low <= difference_c <= high:
            return difference_c
    raise FiringError(
        f'"{text}" is not a difference of {low:g} to {high:g} °C, which is {1.8 * low:g} to '
        f"{1.8 * high:g} °F; write 15, 10C or 20F"
    )


def parse_command(text: str | None) -> AlarmCommand | None:
    """Return a person's own command; it is an argument list, and no shell ever sees it."""
    if text is None:
        return None
    from firing.watch.alarm_command import AlarmCommand

    try:
        arguments = shlex.split(text)
    except ValueError:
        raise FiringError(f"--alarm-command {text}: a quotation mark is not closed") from None
    if not arguments:
        raise FiringError("--alarm-command is empty; write a program and its arguments")
    return AlarmCommand(arguments)
