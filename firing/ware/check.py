"""Where a program breaks a limit of the ware: by how much, why, and the smallest mend.

This is the part of the ware's check that needs no simulated wall: rates against steady rates, and
stays against least stays.  The whole is `firing.ware.verdict.check_ware`.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from firing.heat import default_kiln
from firing.schedule.schedule import Schedule, Segment
from firing.serialise import Serialised
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
    format_duration,
    format_temperature,
    rate_from_celsius,
)
from firing.ware.limits import HIGHEST_C, LOWEST_C, Direction, Dwell, Limit, Reason, WareLimits

BreachKind = Literal["rate", "dwell", "dry first", "wall", "vapour", "bound water"]
RateCurve = Callable[[FloatArray], FloatArray]

# A rate is over a limit, or a time short of one, by more than rounding of the arithmetic.
_ROUNDING = 1e-6
_SAMPLE_K = 2.0
# Where in a window a hold is best put: towards its warm end, 90 °C for drying.
_HOLD_PLACE = 2.0 / 3.0
_HOLD_STEP_C = 5.0

COOL_C = 60.0
"""Down to where the kiln's own cooling is looked at [°C]."""
AFTER_PROGRAM = "natural cooling after the program"
"""The name of what follows the last segment, where a check writes it out as one."""


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
    reason: Reason
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


def with_natural_cooling(schedule: Schedule) -> Schedule:
    """Return a schedule that says what happens after its last segment: elements off."""
    if schedule.segments[-1].target_c <= COOL_C:
        return schedule
    off = Segment(COOL_C, None, "off", name=AFTER_PROGRAM)
    return replace(schedule, segments=(*schedule.segments, off))


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
    if schedule.segments[index].drive == "off":
        return f"add a segment that cools at most {rate} from {first} to {last}"
    return f"write at most {rate} from {first} to {last}"


def check_schedule(
    schedule: Schedule,
    limits: WareLimits,
    *,
    heating_curve: RateCurve = default_kiln.full_power_rate_c_per_h,
    cooling_curve: RateCurve = default_kiln.cooling_rate_c_per_h,
) -> tuple[Breach, ...]:
    """Return where a schedule breaks the limits of the ware, in the order of its segments.

    Parameters
    ----------
    schedule : Schedule
        Any program.
    limits : WareLimits
        Of the load that is to be fired.
    heating_curve, cooling_curve : function of temperatures [°C] to rates [°C/h]
        How fast the kiln heats at full power, which an "unlimited" ramp does, and how fast it cools
        by itself, which no programmed cooling exceeds.  The default kiln's unless given.

    Returns
    -------
    tuple of Breach
        Empty if nothing is broken.

    Raises
    ------
    FiringError
        If the schedule leaves −40 to 1450 °C.
    """
    limits.heating(np.array([schedule.start_c, *(s.target_c for s in schedule.segments)]))
    ramps = [
        _Ramp(index, schedule.from_c(index), segment, heating_curve, cooling_curve)
        for index, segment in enumerate(schedule.segments)
    ]
    found = [*_too_wet(limits)]
    for ramp in ramps:
        for limit in limits.of(ramp.direction):
            found.extend(_too_fast(schedule, ramp, limit))
    for dwell in limits.dwells:
        found.extend(_too_short(schedule, ramps, dwell))
    return tuple(sorted(found, key=lambda breach: (breach.segment, breach.from_c)))


def _too_wet(limits: WareLimits) -> Iterator[Breach]:
    if limits.advice is not None:
        yield Breach(
            "dry first",
            0,
            "free water",
            "the ware is too wet to be fired",
            limits.advice.source,
            LOWEST_C,
            HIGHEST_C,
            LOWEST_C,
            limits.advice.message,
        )


@dataclass(frozen=True, slots=True)
class _Ramp:
    index: int
    from_c: float
    segment: Segment
    heating_curve: RateCurve
    cooling_curve: RateCurve

    @property
    def direction(self) -> Literal["heating", "cooling"]:
        return "heating" if self.segment.target_c >= self.from_c else "cooling"

    @property
    def span_c(self) -> tuple[float, float]:
        """Lower and higher end [°C]."""
        target_c = self.segment.target_c
        return min(self.from_c, target_c), max(self.from_c, target_c)

    def rates(self, temperature_c: FloatArray) -> FloatArray:
        """How fast it runs at temperatures [°C/h]."""
        if self.direction == "cooling":
            own = self.cooling_curve(temperature_c)
            written = self.segment.rate_c_per_h
            return own if written is None else np.minimum(own, written)
        if self.segment.rate_c_per_h is None:
            return self.heating_curve(temperature_c)
        return np.full_like(temperature_c, self.segment.rate_c_per_h)

    def samples(self, low_c: float, high_c: float, more_c: FloatArray) -> FloatArray:
        """Temperatures dense enough to judge by, with those of `more_c` that lie between [°C]."""
        count = max(2, math.ceil((high_c - low_c) / _SAMPLE_K) + 1)
        between = more_c[(more_c > low_c) & (more_c < high_c)]
        merged: FloatArray = np.union1d(np.linspace(low_c, high_c, count), between)
        return merged

    def seconds_between(self, low_c: float, high_c: float) -> float:
        """How long the ramp itself is inside a window [s]."""
        low, high = max(self.span_c[0], low_c), min(self.span_c[1], high_c)
        if high <= low:
            return 0.0
        grid = self.samples(low, high, np.array([]))
        slowness = 1.0 / np.maximum(self.rates(grid), 1e-9)
        hours = float(np.sum(np.diff(grid) * 0.5 * (slowness[1:] + slowness[:-1])))
        return hours * SECONDS_PER_HOUR


def _too_fast(schedule: Schedule, ramp: _Ramp, limit: Limit) -> Iterator[Breach]:
    low = max(ramp.span_c[0], limit.window_c[0])
    high = min(ramp.span_c[1], limit.window_c[1])
    if high - low <= _ROUNDING:
        return
    grid = ramp.samples(low, high, limit.knots_c)
    rates, allowed = ramp.rates(grid), limit.at(grid)
    over = rates > allowed * (1.0 + _ROUNDING)
    if not np.any(over):
        return
    worst = int(np.argmax(np.where(over, rates / allowed, 0.0)))
    first, last = float(grid[over][0]), float(grid[over][-1])
    # Along the stretch the lowest limit decides what to write, which need not be where it is worst.
    lowest = float(allowed[over].min())
    write = floor_rate(lowest, schedule)
    unit = schedule.unit
    natural_cooling = ramp.direction == "cooling" and ramp.segment.drive == "off"
    verb = "heats" if ramp.direction == "heating" else "runs" if natural_cooling else "cools"
    # Where a limit is a unit's fraction away a whole number would show both as equal.
    was = rate_from_celsius(float(rates[worst]), unit)
    most = rate_from_celsius(float(allowed[worst]), unit)
    digits = 0 if was - most >= 1.0 else 1
    yield Breach(
        kind="rate",
        segment=ramp.index,
        reason=limit.reason,
        text=limit.text,
        source=limit.source,
        from_c=first,
        to_c=last,
        at_c=float(grid[worst]),
        written_c_per_h=float(rates[worst]),
        limit_c_per_h=float(allowed[worst]),
        write_c_per_h=write,
        direction=ramp.direction,
        message=(
            f"{subject_of(schedule, ramp.index)} {verb} at {was:.{digits}f} °{unit}/h at "
            f"{format_temperature(float(grid[worst]), unit)}, above the safe {most:.{digits}f} "
            f"°{unit}/h: {limit.text}; {slower_words(schedule, ramp.index, write, (first, last))}."
        ),
    )


def floor_rate(rate_c_per_h: float, schedule: Schedule) -> float:
    """Return a rate that is whole in the schedule's unit, or to a tenth below 1, never above."""
    shown = rate_from_celsius(rate_c_per_h, schedule.unit)
    step = 1.0 if shown >= 1.0 else 0.1
    floored = math.floor(shown / step + _ROUNDING) * step
    return floored / rate_from_celsius(1.0, schedule.unit)


def _too_short(schedule: Schedule, ramps: list[_Ramp], dwell: Dwell) -> Iterator[Breach]:
    low, high = dwell.window_c
    if schedule.peak_c <= high:
        return
    spent_s, leaving, holding = 0.0, 0, -1
    if schedule.start_c <= high:
        for ramp in ramps:
            spent_s += ramp.seconds_between(low, high)
            target_c = ramp.segment.target_c
            if target_c > high:
                leaving = ramp.index
                break
            if low <= target_c:
                spent_s += ramp.segment.hold_s
                holding = ramp.index
    short_s = dwell.at_least_s - spent_s
    if short_s <= _ROUNDING * dwell.at_least_s:
        return
    add_s = math.ceil(short_s / SECONDS_PER_MINUTE - _ROUNDING) * SECONDS_PER_MINUTE
    unit = schedule.unit
    if holding >= 0:
        index, at_c = holding, ramps[holding].segment.target_c
        mend = f"add {format_duration(add_s)} to the hold of segment {schedule.label(index)}"
    else:
        place_c = low + _HOLD_PLACE * (high - low)
        index, at_c = leaving, _HOLD_STEP_C * round(place_c / _HOLD_STEP_C)
        if at_c < schedule.start_c <= high:
            # A kiln that begins hotter than that need not cool so far to hold.
            at_c = _HOLD_STEP_C * math.ceil((schedule.start_c + 1.0) / _HOLD_STEP_C)
            if at_c > high:
                at_c = _HOLD_STEP_C * math.floor((schedule.start_c - 1.0) / _HOLD_STEP_C)
        where = format_temperature(at_c, unit)
        mend = f"hold {format_duration(add_s)} at {where} on the way"
        if schedule.start_c > high:
            mend = f"start below {format_temperature(low, unit)} and {mend}"
    yield Breach(
        kind="dwell",
        segment=index,
        reason=dwell.reason,
        text=dwell.text,
        source=dwell.source,
        from_c=low,
        to_c=high,
        at_c=at_c,
        has_s=spent_s,
        at_least_s=dwell.at_least_s,
        add_hold_s=add_s,
        message=(
            f"Between {format_temperature(low, unit)} and {format_temperature(high, unit)} the "
            f"program spends {format_duration(spent_s)}, and {format_duration(dwell.at_least_s)} "
            f"are needed: {dwell.text}; {mend}."
        ),
    )
