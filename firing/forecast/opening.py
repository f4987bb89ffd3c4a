"""When a kiln can be opened: at what temperature, at what hour, and how surely that is known."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from firing.errors import FiringError
from firing.units import TemperatureUnit, format_temperature, from_celsius

if TYPE_CHECKING:
    from firing.heat.default_kiln import FreeRun, UsualKiln

UNLOAD_C = 60.0
"""The ware can be handled at about this temperature, and every command opens the kiln at it unless
told otherwise (common practice, no source)."""
HOTTEST_UNLOAD_C = 300.0
RANGES_HOLD = "80 %"
"""What share of firings the ranges of a kiln that is known hold: said once in a document."""


@dataclass(frozen=True, slots=True)
class Opening:
    """The hour of opening and its range, in seconds after the start."""

    at_s: float
    low_s: float
    high_s: float


def require_unload_c(unload_c: float, room_c: float, unit: TemperatureUnit) -> None:
    """Refuse a temperature that no kiln is opened at."""
    if not room_c + 2.0 <= unload_c <= HOTTEST_UNLOAD_C:
        raise FiringError(
            f"the kiln is opened at {from_celsius(room_c + 2.0, unit):.0f} to "
            f"{format_temperature(HOTTEST_UNLOAD_C, unit)}; {from_celsius(unload_c, unit):g} "
            f"°{unit} is outside that"
        )


def start_to_end(text: str, program_s: float, now: datetime | None = None) -> datetime:
    """Return when to start a program so that it ends at a moment, to the minute.

    A time of day alone is the first at which it can end if it starts from `now` on.  Refused if the
    start has gone by.
    """
    from firing.clock import parse_when

    now = datetime.now().astimezone() if now is None else now
    lasts = timedelta(seconds=program_s)
    ends = parse_when(text, near=now + lasts + timedelta(hours=12))
    # On the clock of the place, which may be put on or back in between.
    start = (ends - lasts).astimezone(ends.tzinfo if now.tzinfo is None else now.tzinfo)
    start = start.replace(second=0, microsecond=0)
    if start < now - timedelta(minutes=1):
        raise FiringError(
            f"to end at {ends:%Y-%m-%d %H:%M} it would have started at {start:%Y-%m-%d %H:%M}; "
            "write a later end"
        )
    return start


def opening_by_default(
    program_s: float, last_c: float, unload_c: float, room_c: float, usual: UsualKiln
) -> tuple[Opening, FreeRun | None]:
    """Return the opening of a kiln that nobody described, and its cooling after the program."""
    from firing.heat import default_kiln

    if last_c <= unload_c:
        return Opening(program_s, program_s, program_s), None
    run = default_kiln.cool(last_c, unload_c, room_c=room_c, factor=usual.cooling_factor)
    ends_s = (program_s + times * run.duration_s for times in (1.0, *usual.hours_range))
    return Opening(*ends_s), run
