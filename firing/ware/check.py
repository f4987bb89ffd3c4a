"""The one check of the ware: a firing, its natural cooling included, against its load's limits.

Rates and stays of the program come first: the quick part, and what a designer goes by.  Then a
simulated wall is held against what each limit allows, for what no steady rate tells.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

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
from firing.ware.face import FaceCourse, RateCurve, with_natural_cooling
from firing.ware.limits import (
    HIGHEST_C,
    LOWEST_C,
    ROUNDING,
    Breach,
    Dwell,
    Limit,
    WareLimits,
    floor_rate,
    slower_words,
    subject_of,
)
from firing.ware.load import Load, WareState
from firing.ware.reactions import BURN_OUT_C

if TYPE_CHECKING:
    from firing.ware.simulate import WareCourse

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


@dataclass(frozen=True, eq=False)
class WareVerdict:
    """What a firing does to its load.

    Attributes
    ----------
    limits : WareLimits
        What was asked of it.
    course : WareCourse
        The thickest wall along it.
    breaches : tuple of Breach
        Where it is not safe, in the order of the segments; a breach of the segment after the last
        is in the natural cooling.
    cautions : tuple of Breach
        What it would break if the ware is less good-natured than usual.
    """

    limits: WareLimits
    course: WareCourse
    breaches: tuple[Breach, ...]
    cautions: tuple[Breach, ...]

    def __repr__(self) -> str:
        """Return whether the firing is safe and how much is said of it, on one line."""
        safe = "safe" if self.safe else f"not safe, {len(self.breaches)} limits broken"
        return f"<WareVerdict {safe}, {len(self.cautions)} cautions>"

    @property
    def safe(self) -> bool:
        """Whether nothing is broken."""
        return not self.breaches


def check_ware(
    schedule: Schedule,
    load: Load,
    face: FaceCourse,
    limits: WareLimits,
    *,
    state: WareState | None = None,
) -> WareVerdict:
    """Check a firing against the limits of its load.

    `state` is what earlier firing has done to the ware.  A course that leaves −40 to 1450 °C is
    refused.
    """
    from firing.ware.simulate import simulate_ware

    whole = with_natural_cooling(schedule)
    by_rates = check_program(whole, limits, heating_curve=face.heating, cooling_curve=face.cooling)
    course = simulate_ware(
        load, face.time_s, face.face_c, start=state, through_c=limits.watched_edges_c
    )
    in_wall = check_wall(course, limits, whole, face.ends_s)
    # A rate that is too fast says already, and more plainly, why the wall differs too much; water
    # that has no time to leave says why there is too much vapour.
    said = {(b.reason, b.direction, b.segment) for b in by_rates if b.kind == "rate"}
    short = {b.reason for b in by_rates if b.kind in ("dwell", "dry first")}
    more = [
        b
        for b in in_wall
        if (b.reason, b.direction, b.segment) not in said
        and not (b.kind in ("vapour", "bound water") and b.reason in short)
    ]
    found = sorted((*by_rates, *more), key=lambda breach: (breach.segment, breach.from_c))
    wet = any(b.reason == "free water" and b.kind != "rate" for b in found)
    slow = None if wet else slow_drying(course, limits, whole)
    cautions = [caution for caution in (still_shrinks(limits), slow) if caution is not None]
    return WareVerdict(limits, course, tuple(found), tuple(cautions))


# The limits are of the steady ramp; where the reaction sweeps through, the wall may lag this much
# more for a while.
TOLERANCE = 0.04
BOUND_WATER_LEFT = 0.05


@dataclass(frozen=True, slots=True)
class LargestDifference:
    """The largest difference through the wall that a limit watches [K], and when [s]."""

    difference_k: float
    at_s: float


def largest_difference(course: WareCourse, limit: Limit) -> LargestDifference:
    """Return the largest difference through the wall where and while a limit watches it.

    A difference counts from edge to edge of the watched window, the moments at which the face
    passes its edges included: on the way down the first of them is where it is largest.  0 K where
    the limit watches no difference.
    """
    if limit.watched_c is None:
        return LargestDifference(0.0, 0.0)
    time_s, face_c, apart_k = course.time_s, course.surface_c, np.abs(course.difference_k)
    rises = np.diff(face_c) >= 0.0
    goes = rises if limit.direction == "heating" else ~rises
    low_c, high_c = limit.watched_c
    inside = (face_c >= low_c) & (face_c <= high_c)
    inside &= np.append(goes, goes[-1]) | np.append(goes[0], goes)
    moments, differences = [time_s[inside]], [apart_k[inside]]
    for edge_c in limit.watched_c:
        place = np.flatnonzero(((face_c[:-1] < edge_c) != (face_c[1:] < edge_c)) & goes)
        share = (edge_c - face_c[place]) / (face_c[place + 1] - face_c[place])
        moments.append(time_s[place] + share * (time_s[place + 1] - time_s[place]))
        differences.append(apart_k[place] + share * (apart_k[place + 1] - apart_k[place]))
    found: FloatArray = np.concatenate(differences)
    if found.size == 0:
        return LargestDifference(0.0, 0.0)
    worst = int(np.argmax(found))
    return LargestDifference(float(found[worst]), float(np.concatenate(moments)[worst]))


def check_wall(
    course: WareCourse,
    limits: WareLimits,
    schedule: Schedule,
    ends_s: Sequence[float] | None = None,
) -> tuple[Breach, ...]:
    """Return what a course does to the ware beyond its limits.

    Checked are the vapour pressure in the middle against a tenth of the strength
    (``vapour-choice``), the difference through the wall against what each limit allows in its
    window, and that the bound water has left the middle before sintering begins.  The schedule has
    its natural cooling as a last segment; unless `ends_s` tells when its segments end, they count
    as one.
    """
    ends = [] if ends_s is None else list(ends_s)

    def segment_at(time_s: float) -> int:
        return min(bisect_left(ends, time_s), len(schedule.segments) - 1)

    found = [*_too_much_vapour(course, limits, schedule, segment_at)]
    for limit in limits.limits:
        if limit.allowed_k is None or limit.watched_c is None:
            continue
        largest = largest_difference(course, limit)
        if largest.difference_k > limit.allowed_k * (1.0 + TOLERANCE):
            found.append(_too_uneven(schedule, segment_at(largest.at_s), course, limit, largest))
    found.extend(_bound_water_left(course, schedule, segment_at))
    return tuple(found)


def still_shrinks(limits: WareLimits) -> Breach | None:
    """Return the caution that goes with ware which shrinks while it is fired; None if it does not.

    The stay it needs is a rule of thumb for an even wall, and no wall is even.
    """
    shrinking = [dwell for dwell in limits.dwells if dwell.reason == "shrinkage"]
    if not shrinking:
        return None
    (dwell,) = shrinking
    low_c, high_c = dwell.window_c
    return Breach(
        "dry first",
        0,
        "shrinkage",
        dwell.text,
        dwell.source,
        low_c,
        high_c,
        high_c,
        f'"{limits.piece.name}" still shrinks as it dries, thin parts before thick ones. '
        "Bone-dry ware is safer: dry it in air first if you have the time.",
    )


def slow_drying(course: WareCourse, limits: WareLimits, schedule: Schedule) -> Breach | None:
    """Return the vapour that a clay which dries slowly would build up; None if it stays harmless.

    Clay loses its water at a pace known to a factor of five (``drying-diffusivity``): this is the
    cautious end, for a caution beside a plan that is safe at the usual pace.
    """
    worst = int(np.argmax(course.slow_vapour_kpa))
    vapour_kpa, at_c = float(course.slow_vapour_kpa[worst]), float(course.core_c[worst])
    if vapour_kpa <= limits.vapour_kpa or course.core_vapour_kpa.max() > limits.vapour_kpa:
        return None
    wettest = limits.places["water"].words
    return Breach(
        "vapour",
        0,
        "free water",
        "clay may dry five times as slowly as usual",
        "drying-diffusivity",
        0.0,
        at_c,
        at_c,
        f"If your clay dries slowly, the vapour in {wettest} reaches {vapour_kpa:.0f} kPa at "
        f"{format_temperature(at_c, schedule.unit)}; {limits.vapour_kpa:.0f} kPa is the most. "
        "Keep it below boiling until a cold mirror at the opening stays clear."
        f"{_to_hold(schedule)}",
        has_kpa=vapour_kpa,
        allowed_kpa=limits.vapour_kpa,
    )


def _to_hold(schedule: Schedule) -> str:
    """Return how a program that goes on by itself is held below boiling, after a space."""
    held = None
    for index, segment in enumerate(schedule.segments):
        if segment.target_c >= _BOILING_C:
            break
        if segment.hold_s:
            held = index
    if held is None:
        return " This program does not wait there: give it a hold below boiling."
    at = format_temperature(schedule.segments[held].target_c, schedule.unit)
    return (
        f" The program goes on by itself, so be there before segment {held + 1} ends: "
        f"while the mirror mists, hold it at {at}, by the controller's pause or by a longer hold "
        "keyed into that segment."
    )


_BOILING_C = 100.0  # at sea level
_SegmentAt = Callable[[float], int]


def _too_much_vapour(
    course: WareCourse, limits: WareLimits, schedule: Schedule, segment_at: _SegmentAt
) -> Iterator[Breach]:
    worst = int(np.argmax(course.core_vapour_kpa))
    vapour_kpa, at_c = float(course.core_vapour_kpa[worst]), float(course.core_c[worst])
    if vapour_kpa <= limits.vapour_kpa:
        return
    yield Breach(
        "vapour",
        segment_at(float(course.time_s[worst])),
        "free water",
        "the vapour in a wall may press with a tenth of its strength",
        "vapour-choice",
        0.0,
        at_c,
        at_c,
        f"The vapour in the middle of the wall reaches {vapour_kpa:.0f} kPa at "
        f"{format_temperature(at_c, schedule.unit)}, above a tenth of its strength, "
        f"{limits.vapour_kpa:.0f} kPa: dry longer.",
        has_kpa=vapour_kpa,
        allowed_kpa=limits.vapour_kpa,
    )


def _too_uneven(
    schedule: Schedule, segment: int, course: WareCourse, limit: Limit, largest: LargestDifference
) -> Breach:
    low_c, high_c = limit.watched_c or limit.window_c
    allowed_k = limit.allowed_k or 0.0
    # The steady limit, or what the course does on its way there if that is slower, and less of it
    # by what the wall still differs too much.
    share = min(allowed_k / largest.difference_k, 1.0)
    fastest = min(float(limit.rates_c_per_h.min()), _fastest_c_per_h(course, limit))
    # The face lags, and leaps a little where the rate turns: the program is what can be changed.
    through = _segments_through(schedule, limit)
    rates = [schedule.segments[index].rate_c_per_h for index in through]
    fastest = min(fastest, max((rate or fastest for rate in rates), default=fastest))
    if through and segment not in through:
        segment = max((index for index in through if index < segment), default=through[0])
    write = floor_rate(fastest * share, schedule)
    first, last = (low_c, high_c) if limit.direction == "heating" else (high_c, low_c)
    window = (
        f"from {format_temperature(first, schedule.unit)} to "
        f"{format_temperature(last, schedule.unit)}"
    )
    return Breach(
        "wall",
        segment,
        limit.reason,
        limit.text,
        limit.source,
        low_c,
        high_c,
        float(np.interp(largest.at_s, course.time_s, course.surface_c)),
        f"{subject_of(schedule, segment)}: while {limit.direction} {window} the wall differs by "
        f"{largest.difference_k:.1f} K where {allowed_k:.1f} K is the most: {limit.text}; "
        f"{slower_words(schedule, segment, write, limit.window_c)}.",
        write_c_per_h=write,
        has_k=largest.difference_k,
        allowed_k=allowed_k,
        direction=limit.direction,
    )


def _segments_through(schedule: Schedule, limit: Limit) -> list[int]:
    """Return the segments that go through where a limit holds, in its direction."""
    low_c, high_c = limit.window_c
    found = []
    for index, segment in enumerate(schedule.segments):
        ends_c = sorted((schedule.from_c(index), segment.target_c))
        falls = segment.target_c < schedule.from_c(index)
        if falls == (limit.direction == "cooling") and ends_c[0] < high_c and ends_c[1] > low_c:
            found.append(index)
    return found


def _fastest_c_per_h(course: WareCourse, limit: Limit) -> float:
    """Return how fast the face goes at most where a limit holds, in its direction [°C/h]."""
    middle_c = 0.5 * (course.surface_c[1:] + course.surface_c[:-1])
    rates = np.diff(course.surface_c) / np.diff(course.time_s) * SECONDS_PER_HOUR
    if limit.direction == "cooling":
        rates = -rates
    inside = (middle_c >= limit.window_c[0]) & (middle_c <= limit.window_c[1]) & (rates > 0.0)
    return float(np.max(rates[inside], initial=0.0)) or float(limit.rates_c_per_h.min())


def _bound_water_left(
    course: WareCourse, schedule: Schedule, segment_at: _SegmentAt
) -> Iterator[Breach]:
    sinters_c = BURN_OUT_C[1]
    if not np.any(course.surface_c > sinters_c):
        return
    first = int(np.argmax(course.surface_c > sinters_c))
    left = 1.0 - float(course.bound_water_gone[first])
    if left > BOUND_WATER_LEFT:
        unit = schedule.unit
        yield Breach(
            "bound water",
            segment_at(float(course.time_s[first])),
            "bound water",
            "the bound water is to leave before sintering begins",
            "vaughan-1955",
            500.0,
            sinters_c,
            sinters_c,
            f"{100 * left:.0f} % of the bound water is still in the middle when the face passes "
            f"{format_temperature(sinters_c, unit)} and sintering begins: slow down from "
            f"{format_temperature(500.0, unit)} on.",
        )
