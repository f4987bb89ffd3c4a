"""A place where a firing is not safe for its ware, and the words that name it and its cure."""

import math
from dataclasses import dataclass
from typing import Literal

from firing.schedule.schedule import Schedule
from firing.serialise import Serialised
from firing.units import format_temperature, rate_from_celsius
from firing.ware.face import AFTER_PROGRAM
from firing.ware.limits import Direction, StayReason

BreachKind = Literal["rate", "dwell", "dry first", "wall", "vapour", "bound water"]

ROUNDING = 1e-6
"""A rate is over a limit, or a time short of one, by more than rounding of the arithmetic."""


@dataclass(frozen=True, slots=True)
class Breach(Serialised):
    """One place where a schedule is not safe for the ware.

    Attributes
    ----------
    kind : {"rate", "dwell", "dry first", "wall", "vapour", "bound water"}
        Too fast, too short a stay, or ware too wet for any schedule; or in the simulated wall too
        large a difference, too much vapour, or bound water left when sintering begins.
    segment : int
        Number from 0: the segment that is too fast; the one to hold at, or before whose end a hold
        is to be put.  The number of segments, if it is the natural cooling after the last.
    reason, text, source : str
        Why, and on what authority.
    from_c, to_c : float
        The stretch that is too fast, or the window [°C].
    at_c : float
        Where it is worst, or where to hold [°C].
    written_c_per_h, limit_c_per_h, write_c_per_h : float or None
        What is written, allowed, and to be written instead along the stretch [°C/h].
    has_s, at_least_s, add_hold_s : float or None
        Time in the window, time needed, and hold to add, in whole minutes [s].
    has_k, allowed_k : float or None
        Difference through the wall, and the most it may be [K].
    has_kpa, allowed_kpa : float or None
        Vapour pressure in the middle of the wall, and the most it may be [kPa].
    direction : {"heating", "cooling"} or None
        Which way it goes, if it is about a rate or a difference.
    message : str
        All that as one sentence.
    """

    kind: BreachKind
    segment: int
    reason: StayReason
    text: str
    source: str
    from_c: float
    to_c: float
    at_c: float
    message: str
    written_c_per_h: float | None = None
    limit_c_per_h: float | None = None
    write_c_per_h: float | None = None
    has_s: float | None = None
    at_least_s: float | None = None
    add_hold_s: float | None = None
    has_k: float | None = None
    allowed_k: float | None = None
    has_kpa: float | None = None
    allowed_kpa: float | None = None
    direction: Direction | None = None


def subject_of(schedule: Schedule, index: int) -> str:
    """Return what a sentence about a segment begins with; natural cooling goes by that name."""
    segment = schedule.segments[index]
    if segment.name == AFTER_PROGRAM:
        return AFTER_PROGRAM[0].upper() + AFTER_PROGRAM[1:]
    if segment.drive == "off":
        return f"Natural cooling in segment {schedule.label(index)}"
    return f"Segment {schedule.label(index)}"


def slower_words(
    schedule: Schedule, index: int, rate_c_per_h: float, window_c: tuple[float, float]
) -> str:
    """Return what to write so that a stretch goes no faster than a rate."""
    unit = schedule.unit
    low, high = (format_temperature(end_c, unit) for end_c in window_c)
    falls = schedule.segments[index].target_c < schedule.from_c(index)
    first, last = (high, low) if falls else (low, high)
    rate = f"{rate_from_celsius(rate_c_per_h, unit):g} °{unit}/h"
    where = f"from {first} to {last}" if first != last else f"near {first}"
    if schedule.segments[index].drive == "off":
        return f"add a segment that cools at most {rate} {where}"
    return f"write at most {rate} {where}"


def floor_rate(rate_c_per_h: float, schedule: Schedule) -> float:
    """Return a rate that is whole in the schedule's unit, or to a tenth below 1, never above."""
    shown = rate_from_celsius(rate_c_per_h, schedule.unit)
    step = 1.0 if shown >= 1.0 else 0.1
    floored = math.floor(shown / step + ROUNDING) * step
    return floored / rate_from_celsius(1.0, schedule.unit)
