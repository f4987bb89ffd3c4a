"""A program against the limits of the ware, without a simulated wall: its rates and its stays.

This is the quick part of :mod:`firing.ware.check`, and what a designer goes by.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firing.heat import default_kiln
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
    format_duration,
    format_temperature,
    rate_from_celsius,
)
from firing.ware.breach import ROUNDING, Breach, floor_rate, slower_words, subject_of
from firing.ware.face import RateCurve
from firing.ware.limits import HIGHEST_C, LOWEST_C, Dwell, Limit, WareLimits

_SAMPLE_K = 2.0
# Where in a window a hold is best put: towards its warm end, 90 °C for drying.
_HOLD_PLACE = 2.0 / 3.0
_HOLD_STEP_C = 5.0


def check_program(
    schedule: Schedule,
    limits: WareLimits,
    *,
    heating_curve: RateCurve = default_kiln.full_power_rate_c_per_h,
    cooling_curve: RateCurve = default_kiln.cooling_rate_c_per_h,
) -> tuple[Breach, ...]:
    """Return where a schedule breaks the limits of the ware, in the order of its segments.

    The curves say how fast the kiln heats at full power, which an "unlimited" ramp does, and how
    fast it cools by itself, which no programmed cooling exceeds.
    """
    limits.heating(np.array([schedule.start_c, *(s.target_c for s in schedule.segments)]))
    ramps = [
        _Ramp(index, schedule.from_c(index), segment, heating_curve, cooling_curve)
        for index, segment in enumerate(schedule.segments)
    ]
    found = [*_too_wet(limits)]
    for ramp in ramps:
        for limit in limits.of(ramp.direction):
            if limit.until is not None and _is_done(ramps, ramp.index, limits, limit.until):
                continue
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


_DONE = 0.97


def _is_done(ramps: list[_Ramp], before: int, limits: WareLimits, reason: str) -> bool:
    """Tell whether the stay that ends a limit was made before a ramp begins, but for its last."""
    for dwell in limits.dwells:
        if dwell.reason != reason:
            continue
        low, high = dwell.window_c
        spent_s = 0.0
        for ramp in ramps[:before]:
            if ramp.segment.target_c > high:
                break
            spent_s += ramp.seconds_between(low, high)
            if low <= ramp.segment.target_c:
                spent_s += ramp.segment.hold_s
        return spent_s >= _DONE * dwell.at_least_s
    return False


def _too_fast(schedule: Schedule, ramp: _Ramp, limit: Limit) -> Iterator[Breach]:
    low = max(ramp.span_c[0], limit.window_c[0])
    high = min(ramp.span_c[1], limit.window_c[1])
    if high - low <= ROUNDING:
        return
    grid = ramp.samples(low, high, limit.knots_c)
    rates, allowed = ramp.rates(grid), limit.at(grid)
    over = rates > allowed * (1.0 + ROUNDING)
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
    if short_s <= ROUNDING * dwell.at_least_s:
        return
    add_s = math.ceil(short_s / SECONDS_PER_MINUTE - ROUNDING) * SECONDS_PER_MINUTE
    unit = schedule.unit
    if holding >= 0:
        index, at_c = holding, ramps[holding].segment.target_c
        cure = f"add {format_duration(add_s)} to the hold of segment {schedule.label(index)}"
    else:
        place_c = low + _HOLD_PLACE * (high - low)
        index, at_c = leaving, _HOLD_STEP_C * round(place_c / _HOLD_STEP_C)
        if at_c < schedule.start_c <= high:
            # A kiln that begins hotter than that need not cool so far to hold.
            at_c = _HOLD_STEP_C * math.ceil((schedule.start_c + 1.0) / _HOLD_STEP_C)
            if at_c > high:
                at_c = _HOLD_STEP_C * math.floor((schedule.start_c - 1.0) / _HOLD_STEP_C)
        where = format_temperature(at_c, unit)
        cure = f"hold {format_duration(add_s)} at {where} on the way"
        if schedule.start_c > high:
            cure = f"start below {format_temperature(low, unit)} and {cure}"
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
            f"are needed: {dwell.text}; {cure}."
        ),
    )
