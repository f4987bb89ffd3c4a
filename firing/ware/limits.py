"""The fastest safe rate at every temperature, and the least time in some windows, with reasons.

A `Limit` is one reason's rate over one window, straight between its knots, so that the lowest rate
between two temperatures is exact.  `firing.ware.safe_rates` makes them for a load.

A `Breach` is a place where a firing is not safe, in words that name it and its cure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from firing.errors import FiringError
from firing.schedule.schedule import Schedule
from firing.serialise import Serialised, named, rounded
from firing.trace import FloatArray
from firing.units import format_duration, format_temperature, rate_from_celsius
from firing.ware.face import AFTER_PROGRAM

if TYPE_CHECKING:
    from firing.ware.drying import DryingAdvice
    from firing.ware.load import Goes, Piece, Place


Direction = Literal["heating", "cooling"]

USUAL_MARGIN = 1.5
"""What rates of common practice and published advice contain already; ``usual-margin-choice``."""

Reason = Literal[
    "shrinkage",
    "free water",
    "bound water",
    "carbon",
    "quartz",
    "cristobalite",
    "thermal stress",
    "common practice",
]
REASONS: tuple[Reason, ...] = get_args(Reason)
StayReason = Reason | Literal["asked for"]

LOWEST_C, HIGHEST_C = -40.0, 1450.0
"""What the limits answer for [°C]."""

# Windows that only touch do not overlap.
_TOUCHING_C = 1e-6


@dataclass(frozen=True, eq=False)
class RateCap:
    """A fastest rate over a window of temperature, whoever says so: ware, kiln, or a person.

    Attributes
    ----------
    reason : str
        A word or two.
    text : str
        The reason in words, with its figures.
    source : str
        Id of the bibliography.
    knots_c, rates_c_per_h : ndarray, shape (n,)
        Temperatures [°C], rising, the first and last being the window, and rates there [°C/h],
        straight in between.
    """

    reason: str
    text: str
    source: str
    knots_c: FloatArray
    rates_c_per_h: FloatArray

    @property
    def window_c(self) -> tuple[float, float]:
        """Where it holds, both ends included [°C]."""
        return float(self.knots_c[0]), float(self.knots_c[-1])

    def at(self, temperature_c: FloatArray) -> FloatArray:
        """Return the rate at temperatures [°C], same shape; infinite outside the window [°C/h]."""
        return np.interp(temperature_c, self.knots_c, self.rates_c_per_h, left=np.inf, right=np.inf)

    def lowest_between(self, low_c: FloatArray, high_c: FloatArray) -> FloatArray:
        """Return the lowest rate inside intervals [°C/h].

        Infinite where they lie outside; one that only touches the window does.
        """
        first, last = self.window_c
        low, high = np.maximum(low_c, first), np.minimum(high_c, last)
        inside = (self.knots_c > low[:, None]) & (self.knots_c < high[:, None])
        between = np.where(inside, self.rates_c_per_h, np.inf).min(axis=1)
        ends = np.minimum(
            np.interp(low, self.knots_c, self.rates_c_per_h),
            np.interp(high, self.knots_c, self.rates_c_per_h),
        )
        return np.where(high - low > _TOUCHING_C, np.minimum(between, ends), np.inf)


def lowest_of(caps: Iterable[RateCap], edges_c: FloatArray) -> FloatArray:
    """Return the fastest rate that every cap allows between neighbouring edges [°C/h]."""
    lowest = np.full(edges_c.size - 1, np.inf)
    for cap in caps:
        lowest = np.minimum(lowest, cap.lowest_between(edges_c[:-1], edges_c[1:]))
    return lowest


@dataclass(frozen=True, eq=False)
class Limit(RateCap):
    """One reason's fastest rate for the ware, one of `REASONS`.

    Attributes
    ----------
    direction : {"heating", "cooling"}
        Which way it limits.
    spread : (float, float)
        The range of the rate as multiples of it.
    allowed_k : float or None
        Where the reason is a difference through the wall, the most it may be [K].
    watched_c : (float, float) or None
        Face temperatures between which that counts [°C]; the rest of the window is the approach, in
        which the wall loses the lag of a faster ramp before.
    until : str or None
        The reason of the dwell that ends it before its window does, once it is done.
    """

    reason: Reason
    direction: Direction
    spread: tuple[float, float]
    allowed_k: float | None = None
    watched_c: tuple[float, float] | None = None
    until: StayReason | None = None


@dataclass(frozen=True, slots=True)
class RateLimit(Serialised):
    """The limit at one temperature.

    Attributes
    ----------
    temperature_c : float
        [°C].
    direction : {"heating", "cooling"}
        Which way.
    rate_c_per_h : float
        The fastest safe rate [°C/h].
    reason, text, source : str
        What binds, in words, and on what authority.
    low_c_per_h, high_c_per_h : float
        The range of that rate [°C/h].
    """

    temperature_c: float = field(metadata=named("temp_c"))
    direction: Direction
    rate_c_per_h: float = field(metadata=rounded(1))
    reason: Reason
    text: str
    source: str
    low_c_per_h: float = field(metadata=rounded(1))
    high_c_per_h: float = field(metadata=rounded(1))


@dataclass(frozen=True, slots=True)
class Dwell(Serialised):
    """The least time inside a window of temperature on the way up, before leaving it upwards.

    Attributes
    ----------
    window_c : (float, float)
        Both ends included [°C].
    at_least_s : float
        [s].
    reason, text, source : str
        What needs the time, in words, and on what authority.
    low_s, high_s : float
        The range of that time [s].
    """

    window_c: tuple[float, float]
    at_least_s: float = field(metadata=rounded(None))
    reason: StayReason
    text: str
    source: str
    low_s: float = field(metadata=rounded(None))
    high_s: float = field(metadata=rounded(None))

    def sentence(self) -> str:
        """Return the dwell as one sentence."""
        low, high = self.window_c
        spread = f" (range {format_duration(self.low_s)} to {format_duration(self.high_s)})"
        return (
            f"At least {format_duration(self.at_least_s)} from {low:.0f} to {high:.0f} °C: "
            f"{self.text}{spread if self.low_s < self.high_s else ''}."
        )


@dataclass(frozen=True, eq=False)
class WareLimits:
    """All limits of a load, governed by the piece whose middle is furthest from the heat.

    Attributes
    ----------
    piece : Piece
        The governing piece.
    purpose : str
        What the firing is for.
    margin : float
        Caution: rates are divided by it, dwells multiplied.
    limits : tuple of Limit
        Every reason, both directions; thermal stress holds at every temperature.
    dwells : tuple of Dwell
        From the coldest window to the hottest.
    vapour_kpa : float
        The vapour pressure the ware may hold on the way up [kPa].
    places : mapping
        Where heat, water, steam and air have the longest way.
    advice : DryingAdvice or None
        Set if the load should be dried before it is fired: then no schedule is called safe.
    """

    piece: Piece
    purpose: str
    margin: float
    limits: tuple[Limit, ...]
    dwells: tuple[Dwell, ...]
    vapour_kpa: float
    places: Mapping[Goes, Place]
    advice: DryingAdvice | None = None

    def __repr__(self) -> str:
        """Return the governing piece, the purpose and the margin, on one line."""
        return f"<WareLimits of {self.piece.name!r}, {self.purpose}, margin {self.margin:g}>"

    def of(self, direction: Direction) -> tuple[Limit, ...]:
        """Return the limits of one direction."""
        return tuple(limit for limit in self.limits if limit.direction == direction)

    def limit(self, temperature_c: float, direction: Direction = "heating") -> RateLimit:
        """Return the fastest safe rate at a temperature, and why."""
        _check(np.array([temperature_c]))
        at = np.array(temperature_c)
        rates = [(float(limit.at(at)), limit) for limit in self.of(direction)]
        rate, binding = min(rates, key=lambda pair: pair[0], default=(np.inf, None))
        if binding is None or not np.isfinite(rate):
            raise FiringError(
                f"nothing limits {direction} at {temperature_c:g} °C once thermal stress is left "
                "out; ask with every reason in"
            )
        return RateLimit(
            temperature_c=temperature_c,
            direction=direction,
            rate_c_per_h=rate,
            reason=binding.reason,
            text=binding.text,
            source=binding.source,
            low_c_per_h=rate * binding.spread[0],
            high_c_per_h=rate * binding.spread[1],
        )

    def heating(self, temperature_c: FloatArray) -> FloatArray:
        """Return the fastest safe heating rate at each temperature [°C/h], same shape."""
        return self._at(temperature_c, "heating")

    def cooling(self, temperature_c: FloatArray) -> FloatArray:
        """Return the fastest safe cooling rate at each temperature [°C/h], same shape."""
        return self._at(temperature_c, "cooling")

    @property
    def breakpoints_c(self) -> tuple[float, ...]:
        """Where a window of a limit or a dwell begins or ends [°C], rising: edges for a grid."""
        ends = {end for limit in self.limits for end in limit.window_c}
        ends.update(end for dwell in self.dwells for end in dwell.window_c)
        return tuple(sorted(ends - {LOWEST_C, HIGHEST_C}))

    @property
    def watched_edges_c(self) -> tuple[float, ...]:
        """Where a difference through the wall begins or ceases to count [°C], rising."""
        ends = {end for limit in self.limits for end in limit.watched_c or ()}
        return tuple(sorted(ends - {LOWEST_C, HIGHEST_C}))

    def without(self, reason: Reason) -> WareLimits:
        """Return the limits less one reason, to see what it costs; never a plan for real ware.

        Without thermal stress some rates are infinite.
        """
        return replace(
            self,
            limits=tuple(limit for limit in self.limits if limit.reason != reason),
            dwells=tuple(dwell for dwell in self.dwells if dwell.reason != reason),
        )

    def _at(self, temperature_c: FloatArray, direction: Direction) -> FloatArray:
        _check(temperature_c)
        lowest = np.full(np.shape(temperature_c), np.inf)
        for limit in self.of(direction):
            lowest = np.minimum(lowest, limit.at(temperature_c))
        return lowest


def _check(temperature_c: FloatArray) -> None:
    known = np.asarray(temperature_c)
    outside = known[~((known >= LOWEST_C) & (known <= HIGHEST_C))]
    if outside.size:
        raise FiringError(
            f"the ware's limits are known from {LOWEST_C:.0f} to {HIGHEST_C:.0f} °C; "
            f"{outside.flat[0]:g} °C is outside that; ask for a temperature inside"
        )


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
