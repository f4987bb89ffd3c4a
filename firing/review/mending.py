"""The plan mended after a firing: rates that the kiln keeps, and the cone that the plan is for.

What the kiln keeps is simulated in the kiln as the review found it, where that is known from its
logs, and read off the firing itself where it is not.  Either way the cone stays the plan's: by a
shorter hold, else by a lower peak.  One mending serves the command line and the screens.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from firing.cones.equivalence import cone_reached
from firing.cones.table import cone_number, describe_number
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.kiln.simulation import Simulation, simulate
from firing.review import thresholds as limit
from firing.review.alignment import AnalysedSegment
from firing.review.findings.power import was_short
from firing.review.heat_verdict import with_hold
from firing.review.result import Mended, Review, Shortfall
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    Wording,
    format_duration,
    from_celsius,
    rate_from_celsius,
    rate_to_celsius,
    to_celsius,
)
from firing.ware.load import Load

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription


@dataclass(frozen=True, slots=True, eq=False)
class _Fired:
    """A plan with rates that are kept, and the course it then takes.

    `hold_s` is when the hold at the peak begins and ends; `charted` is whether the chart of cones
    covers the rate at which it gets to the peak.
    """

    schedule: Schedule
    time_s: FloatArray
    cone_c: FloatArray
    hold_s: tuple[float, float]
    program_s: float
    reaches: bool
    charted: bool

    def cone(self, hold_s: float | None = None) -> float | None:
        """Return the running number of the cone it comes to, with a hold of another length."""
        course = self.time_s, self.cone_c
        if hold_s is not None:
            course = with_hold(*course, *self.hold_s, hold_s)
        return cone_reached(*course).reached_number


_Fire = Callable[[Schedule, Sequence[int]], _Fired]
"""Fires a plan, and is told which segment of the whole plan each of its segments is."""


def mend(
    schedule: Schedule,
    kiln: KilnDescription,
    load: Load | None,
    found: Shortfall | None,
    planned_number: float | None,
) -> Mended:
    """Return the plan with rates that the kiln as found keeps, for the cone it is for.

    Only heating ramps are slowed, never quickened, and nothing of the cooling is touched.  `found`
    is what is the matter with the kiln, None for one that is as it was learnt; `planned_number`
    the cone that the plan comes to without that.  Where no plan for this kiln keeps its cone, it is
    refused.
    """
    inside = kiln.inside(load, schedule.purpose)
    as_is, holds = _as_found(kiln, inside, found)
    unchanged = simulate(as_is, holds, schedule, until_c=_until_c(schedule))

    def fire(plan: Schedule, _: Sequence[int]) -> _Fired:
        mended, run = _slowed(plan, as_is, holds)
        return _simulated(plan, mended, run)

    anew = None
    if found is not None and found.reason == "power":
        new = replace(kiln, fitted=replace(kiln.fitted, power=max(kiln.fitted.power, 1.0)))
        anew = simulate(new, inside, schedule, until_c=_until_c(schedule)).program_s
    waiting_s = unchanged.program_s if unchanged.reaches_peak else None
    mended = _for_the_cone(schedule, fire, _wanted(schedule, planned_number), unchanged.peak_c)
    return replace(mended, with_new_elements_s=anew, unchanged_s=waiting_s)


def mending_of(review: Review) -> Mended:
    """Return the plan mended after a firing, the one that command line and screens hand over.

    Raises `FiringError` saying why, where no plan can be mended by this log; where the plan can
    stay, the mended one has no changes.
    """
    found = _outcome(review)
    if isinstance(found, str):
        raise FiringError(found)
    return found


@lru_cache(maxsize=2)  # a screen asks again at every key
def _outcome(review: Review) -> Mended | str:
    """Return the mended plan, or why there is none."""
    try:
        return _mending_of(review)
    except FiringError as error:
        return str(error)


def _mending_of(review: Review) -> Mended:
    _refuse(review)
    if review.mended is not None and review.mended.changes:
        return review.mended
    kiln, found, planned = review.kiln, review.shortfall, review.cones_planned.reached_number
    if kiln is not None and found is not None and found.mendable and review.mended is None:
        return mend(review.schedule, kiln, review.load, found, planned)  # it says what is wrong
    return _as_held(review, _wanted(review.schedule, planned))


def _refuse(review: Review) -> None:
    """Refuse by a log that shows nothing a plan could be mended by."""
    found = review.shortfall
    if review.refused or review.plan_doubt:
        raise FiringError("this log may be of another plan; give the one that was fired")
    if review.sensor_shift is not None:
        raise FiringError("its thermocouple moved, so no plan can be made by this log's readings")
    if found is not None and found.reason == "supply":
        raise FiringError(
            "the supply sagged and came back; keep the plan, and fire at another hour"
        )
    if found is not None and found.water_kg is not None:
        raise FiringError("the ware was damp; keep the plan, and dry the ware longer")


def _wanted(schedule: Schedule, planned: float | None) -> float | None:
    """Return the cone to keep: the one that the plan is for, else the one that it comes to."""
    return planned if schedule.cone is None else cone_number(schedule.cone)


def _as_found(
    kiln: KilnDescription, load: Load, found: Shortfall | None
) -> tuple[KilnDescription, Load]:
    """Return the kiln and its load as the review found them."""
    if found is None:
        return kiln, load
    real = {r: p for r, p in found.probabilities.items() if r in ("power", "losses", "load")}
    if found.as_learnt > max(real.values()):
        return kiln, load
    reason = found.reason if found.reason in real else max(real, key=lambda r: real[r])
    if reason == "power":
        power = kiln.fitted.power * (1.0 - found.power_down)
        return replace(kiln, fitted=replace(kiln.fitted, power=power)), load
    if reason == "losses":
        fitted = kiln.fitted
        own_w_per_k = fitted.loss * kiln.wall_w_per_k + fitted.leak_factor * kiln.air_w_per_k
        # The kiln's leak is multiplied by what was learnt of it; the fault's is what it is.
        leak = kiln.leak_in_w_per_k + found.leak_more * own_w_per_k / fitted.leak_factor
        return replace(kiln, leak_w_per_k=leak), load
    return kiln, load.times(found.load_times)


def _until_c(schedule: Schedule) -> float:
    """Return down to where a course is followed: colder than this no cone moves any more."""
    return max(schedule.segments[-1].target_c - limit.MEND_COOLED_C, schedule.room_c + 40.0)


def _slowed(schedule: Schedule, kiln: KilnDescription, load: Load) -> tuple[Schedule, Simulation]:
    """Slow every ramp that the kiln does not keep, until it keeps them."""
    for _ in range(limit.MEND_ROUNDS):
        run = simulate(kiln, load, schedule, until_c=_until_c(schedule))
        segments, slowed = list(schedule.segments), False
        for part in run.segments:
            segment = segments[part.index]
            if segment.rate_c_per_h is None or not part.finished:
                continue
            travel_c = segment.target_c - schedule.from_c(part.index)
            if travel_c <= 0.0 or part.limited_by != "power":
                continue
            took_s = part.ramp_end_s - part.start_s
            planned_s = travel_c / segment.rate_c_per_h * SECONDS_PER_HOUR
            if took_s <= limit.MEND_KEPT * planned_s:
                continue
            kept_c_per_h = limit.MEND_MARGIN * travel_c / took_s * SECONDS_PER_HOUR
            rate = _rounded_down(kept_c_per_h, schedule.unit)
            segments[part.index] = replace(segment, rate_c_per_h=rate)
            slowed = True
        if not slowed:
            return schedule, run
        schedule = replace(schedule, segments=tuple(segments))
    return schedule, simulate(kiln, load, schedule, until_c=_until_c(schedule))


def _rounded_down(rate_c_per_h: float, unit: TemperatureUnit) -> float:
    rate = rate_from_celsius(rate_c_per_h, unit)
    step = limit.MEND_STEP if rate >= 10.0 * limit.MEND_STEP else 1.0
    return rate_to_celsius(max(step * math.floor(rate / step), 1.0), unit)


def _simulated(plan: Schedule, mended: Schedule, run: Simulation) -> _Fired:
    """Return a simulation as a course; `mended` is what is kept of a `plan`."""
    peak, at = mended.peak_index, (run.program_s, run.program_s)
    if peak < len(run.segments):
        at = run.segments[peak].ramp_end_s, run.segments[peak].end_s
    return _Fired(
        schedule=mended,
        time_s=run.time_s,
        cone_c=run.chamber_c + run.kiln.fitted.cone_offset_c,
        hold_s=at,
        program_s=run.program_s,
        reaches=run.reaches_peak and run.stall is None,
        charted=_charted(plan, mended),
    )


def _charted(plan: Schedule, mended: Schedule) -> bool:
    """Return whether the ramp to the peak was not slowed below what the chart of cones covers."""
    slowest = mended.segments[mended.peak_index].rate_c_per_h
    planned = plan.segments[plan.peak_index].rate_c_per_h
    return slowest is None or slowest >= limit.MEND_CHARTED_C_PER_H or slowest == planned


def _for_the_cone(
    schedule: Schedule, fire: _Fire, wanted: float | None, highest_c: float
) -> Mended:
    """Return the plan as it is kept, with the hold or else the peak that keeps its cone."""
    every = range(len(schedule.segments))
    say, fired = Wording(schedule.unit), fire(schedule, every)
    number, peak = fired.cone(), say.degrees(schedule.peak_c)
    if fired.reaches and (fired.schedule == schedule or wanted is None or number is None):
        return _mended(schedule, fired, every, number)
    if wanted is None or number is None:
        raise FiringError(
            f"this kiln as it is comes to {say.degrees(highest_c)} only, and the plan goes to "
            f"{peak}; see to the kiln first"
        )
    cone = describe_number(wanted)
    if fired.reaches and (fired.charted or number < wanted):
        held_s, held = _hold_for(fired, wanted, limit.TELLING_CONES)
        if abs(held - wanted) < limit.TELLING_CONES:
            return _mended(schedule, _with_hold(fired, held_s), every, held)
        if held < wanted:
            raise FiringError(
                f"this plan comes to cone {describe_number(held)} at {peak}, and it is for cone "
                f"{cone}; raise its peak first"
            )
    found = _lower_peak(schedule, fire, wanted, highest_c, charted=True)
    found = found or _lower_peak(schedule, fire, wanted, highest_c, charted=False)
    if found is None:
        raise FiringError(
            f"the kiln gets to {say.degrees(highest_c)} only, and no plan up to there keeps cone "
            f"{cone}; see to the kiln first"
        )
    lower, kept, number = found
    if fired.reaches:
        least_s = _least_hold_s(schedule.segments[schedule.peak_index].hold_s)
        why = (
            f"At {peak} and the rates this kiln keeps, cone {cone} becomes cone "
            f"{describe_number(fired.cone(least_s))}"
        )
    else:
        why = f"This kiln as it is does not get to {peak}"
    glazed = ", as some glazes need their temperature, too"
    glazed *= schedule.purpose in ("glaze", "once-fired", "decal")
    words = (
        f"{why}. A peak of {say.degrees(lower.schedule.peak_c)} keeps cone {cone}; try it with "
        f"witness cones first{glazed}."
    )
    return replace(_mended(schedule, lower, kept, number), peak_words=words)


def _mended(plan: Schedule, fired: _Fired, kept: Sequence[int], number: float | None) -> Mended:
    return Mended(fired.schedule, _changes(plan, fired.schedule, kept), fired.program_s, number)


def _least_hold_s(held_s: float) -> float:
    return min(limit.MEND_LEAST_HOLD_S, held_s)


def _hold_for(fired: _Fired, wanted: float, within: float) -> tuple[float, float]:
    """Return the hold that just brings a cone down [s], and the running number it comes to.

    It stays where the number is `within` so much already; a plan without a hold gets none.
    """
    held_s = fired.schedule.segments[fired.schedule.peak_index].hold_s

    def reached(hold_s: float) -> float:
        found = fired.cone(None if hold_s == held_s else hold_s)
        return -99.0 if found is None else found

    if abs(reached(held_s) - wanted) < within or held_s <= 0.0:
        return held_s, reached(held_s)
    least_s, most_s = _least_hold_s(held_s), held_s + limit.MEND_MORE_HOLD_S
    for _ in range(limit.MEND_HOLD_ROUNDS):
        middle_s = 0.5 * (least_s + most_s)
        if reached(middle_s) < wanted:
            least_s = middle_s
        else:
            most_s = middle_s
    hold_s = SECONDS_PER_MINUTE * math.ceil(most_s / SECONDS_PER_MINUTE - 0.1)
    return hold_s, reached(hold_s)


def _with_hold(fired: _Fired, hold_s: float) -> _Fired:
    schedule = fired.schedule
    segments = list(schedule.segments)
    peak = schedule.peak_index
    more_s = hold_s - segments[peak].hold_s
    segments[peak] = replace(segments[peak], hold_s=hold_s)
    return replace(
        fired,
        schedule=replace(schedule, segments=tuple(segments)),
        program_s=fired.program_s + more_s,
    )


def _lower_peak(
    schedule: Schedule, fire: _Fire, wanted: float, highest_c: float, *, charted: bool
) -> tuple[_Fired, tuple[int, ...], float] | None:
    """Return the plan with a lower peak, in whole degrees, that just brings its cone down.

    With it go the plan's segments that are left, and the cone's running number.  The hold stays,
    unless only a longer one does at the highest peak that the kiln comes to, or that it comes to
    at a `charted` rate.
    """
    unit, per_k = schedule.unit, 1.8 if schedule.unit == "F" else 1.0
    high = math.ceil(from_celsius(schedule.peak_c, unit))  # too hot, or not reached
    low = high - math.ceil(limit.MEND_LOWER_C * per_k)  # too cold
    found: list[tuple[_Fired, tuple[int, ...], float]] = []
    at = math.floor(from_celsius(highest_c - limit.MEND_BELOW_TOP_C, unit))
    for _ in range(limit.MEND_PEAK_ROUNDS):
        at = min(max(at, low + 1), high - 1)
        lower, kept = _with_peak(schedule, to_celsius(float(at), unit))
        fired = fire(lower, kept)
        number = fired.cone()
        if number is None:
            low, step_c = at, limit.MEND_C_PER_CONE
        elif not fired.reaches or (charted and not fired.charted):
            high, step_c = at, -limit.MEND_BELOW_TOP_C
        else:
            found.append((fired, kept, number))
            off = number - wanted
            if 0.0 <= off < limit.MEND_CONES_OVER:
                break
            low, high = (at, high) if off < 0.0 else (low, at)
            step_c = -limit.MEND_C_PER_CONE * max(min(off, 3.0), -3.0)
        if high - low <= 1:
            break
        at += round(step_c * per_k) or (1 if step_c > 0.0 else -1)
        if not low < at < high:
            at = (low + high) // 2
    if not found:
        return None
    fired, kept, number = min(found, key=lambda each: abs(each[2] - wanted))
    hold_s, number = _hold_for(fired, wanted, limit.MEND_CONES_OVER)
    if abs(number - wanted) >= limit.TELLING_CONES:
        return None
    return _with_hold(fired, hold_s), kept, number


def _with_peak(schedule: Schedule, top_c: float) -> tuple[Schedule, tuple[int, ...]]:
    """Return a plan that goes no higher, and which of its segments are left.

    What only led above it is left out.
    """
    kept = tuple(
        index
        for index, segment in enumerate(schedule.segments)
        if index == schedule.peak_index
        or segment.target_c < top_c
        or segment.hold_s
        or segment.action
    )
    segments = tuple(
        replace(schedule.segments[i], target_c=min(schedule.segments[i].target_c, top_c))
        for i in kept
    )
    return replace(schedule, segments=segments), kept


def _changes(plan: Schedule, mended: Schedule, kept: Sequence[int]) -> tuple[str, ...]:
    """Return what to key otherwise, a clause a segment of the plan."""
    say, new_of = Wording(plan.unit), dict(zip(kept, mended.segments, strict=True))
    found = []
    for index, old in enumerate(plan.segments):
        new = new_of.get(index)
        parts = ["leave it out"] if new is None else list(_changed(old, new, say))
        if parts:
            found.append(f"segment {plan.label(index)}: {', '.join(parts)}")
    return tuple(found)


def _changed(old: Segment, new: Segment, say: Wording) -> list[str]:
    parts = []
    if new.rate_c_per_h != old.rate_c_per_h:
        assert new.rate_c_per_h is not None
        assert old.rate_c_per_h is not None
        parts.append(f"{say.rate(new.rate_c_per_h)}, planned {say.rate(old.rate_c_per_h)}")
    if new.target_c != old.target_c:
        parts.append(f"to {say.degrees(new.target_c)}, planned {say.degrees(old.target_c)}")
    if new.hold_s != old.hold_s:
        parts.append(f"hold {format_duration(new.hold_s)}, planned {format_duration(old.hold_s)}")
    return parts


# What the firing itself kept


@dataclass(frozen=True, slots=True, eq=False)
class _Climb:
    """A logged ramp in steps of temperature: where each ends [°C], its size [K] and time [s].

    `steady_c_per_h` is the one rate that all of it ran at, None where it fell behind.
    """

    to_c: FloatArray
    rise_c: FloatArray
    took_s: FloatArray
    steady_c_per_h: float | None

    def rate_kept_c_per_h(self, planned_c_per_h: float, top_c: float) -> float:
        """Return the fastest rate at which a set point is not left behind up to a temperature.

        Where it is set slower than the kiln climbed, the kiln keeps up; where faster, it takes the
        time that it took.
        """
        used = self.to_c <= top_c + limit.MEND_STEP_C
        rise_c, took_s = self.rise_c[used], self.took_s[used]
        if not rise_c.size:
            return planned_c_per_h

        def late_s(rate_c_per_h: float) -> tuple[float, float]:
            set_s = rise_c / rate_c_per_h * SECONDS_PER_HOUR
            return float((np.maximum(set_s, took_s) - set_s).sum()), float(set_s.sum())

        # By its whole time: noise makes single steps look late, and others as much too early.
        set_s = float(rise_c.sum()) / planned_c_per_h * SECONDS_PER_HOUR
        if took_s.sum() - set_s <= max((limit.MEND_KEPT - 1.0) * set_s, limit.CAUSE_LEAST_S):
            return planned_c_per_h
        if self.steady_c_per_h is not None:
            return min(self.steady_c_per_h, planned_c_per_h)
        # The slowest step is kept for sure, and not much faster the whole.
        rate = min(planned_c_per_h, float((rise_c / took_s).max()) * SECONDS_PER_HOUR)
        while True:
            late, whole = late_s(rate)
            if late <= limit.MEND_LATE * whole:
                return rate
            rate *= limit.MEND_FINER


def _climb(analysed: AnalysedSegment) -> _Climb | None:
    """Return a logged ramp in steps, without its corners and without what interrupted it."""
    start_s, end_s, run = analysed.passage.start_s, analysed.ramp_until_s, analysed.run
    if start_s is None or run is None or not analysed.heats:
        return None
    if end_s - start_s < limit.WEAK_RAMP_S:
        return None
    trace, corner_s = analysed.trace, min(
        limit.RAMP_CORNER_S, limit.RAMP_CORNER_SHARE * (end_s - start_s)
    )  # fmt: skip
    time_s, inside = trace.time_s, np.ones(trace.time_s.size, dtype=bool)
    inside &= (time_s >= start_s + corner_s) & (time_s <= end_s - corner_s)
    ran_s = time_s.copy()
    for gap in run.interruptions:
        inside &= (time_s <= gap.start_s) | (time_s >= gap.end_s)
        ran_s[time_s >= gap.end_s] -= gap.seconds
    if np.count_nonzero(inside) < 3:
        return None
    ran_s, reached_c = ran_s[inside], np.maximum.accumulate(trace.temperature_c[inside])
    step_c = max(limit.MEND_STEP_C, limit.MEND_STEP_NOISE * trace.noise_c)
    steps = max(int((reached_c[-1] - reached_c[0]) / step_c), 1)
    to_c = np.linspace(reached_c[0], reached_c[-1], steps + 1)
    first = np.concatenate(([True], np.diff(reached_c) > 0.0))
    took_s = np.diff(np.interp(to_c, reached_c[first], ran_s[first]))
    if not (took_s > 0.0).all():
        return None
    steady = run.kept_c_per_h if run.behind_from_c is None else None
    return _Climb(to_c[1:], np.diff(to_c), took_s, steady)


def _cooled_c_per_h(review: Review, index: int) -> float | None:
    """Return the rate of a ramp that cooled slower than planned, where the log has it whole."""
    segment = review.segments[index]
    if segment.target_c >= review.schedule.from_c(index) or segment.actual_s is None:
        return None
    slow = any(share.cause == "slow_cooling" for share in segment.causes)
    return segment.rate_c_per_h if slow else None


def _as_held(review: Review, wanted: float | None) -> Mended:
    """Return the plan with the rates that its firing kept, for the cone that it is for."""
    schedule, unit = review.schedule, review.schedule.unit
    kiln = None if review.kiln_unused else review.kiln
    climbs = [_climb(segment) for segment in review.analysed.segments]
    cooled = [_cooled_c_per_h(review, index) for index in range(len(schedule.segments))]
    # A peak that somebody stopped short of says nothing of the kiln.
    highest_c = review.peak_c
    short = was_short(review)

    def fire(plan: Schedule, origins: Sequence[int]) -> _Fired:
        segments = []
        for segment, index in zip(plan.segments, origins, strict=True):
            planned, climb, rate = segment.rate_c_per_h, climbs[index], cooled[index]
            if planned is not None and climb is not None:
                rate = climb.rate_kept_c_per_h(planned, segment.target_c)
            if planned is not None and rate is not None and rate <= limit.MEND_MARGIN * planned:
                whole = max(math.floor(rate_from_celsius(rate, unit) + 1e-9), 1)
                segment = replace(segment, rate_c_per_h=rate_to_celsius(float(whole), unit))
            segments.append(segment)
        fired = _followed(plan, replace(plan, segments=tuple(segments)), kiln, review.load)
        beyond = short and plan.peak_c > highest_c + limit.PEAK_MISSED_C
        return replace(fired, reaches=not beyond)

    mended = _for_the_cone(schedule, fire, wanted, highest_c)
    changed = [
        index
        for index in range(len(schedule.segments))
        if any(change.startswith(f"segment {schedule.label(index)}: ") for change in mended.changes)
    ]
    return replace(mended, doubt_words=_doubt(review, changed))


def _doubt(review: Review, changed: Sequence[int]) -> str:
    """Return which of the slowed ramps ran as if they had been keyed in so."""
    keyed = [
        str(index + 1)
        for index in changed
        if any(c.cause == "other_program" and c.seconds > 0 for c in review.segments[index].causes)
        and not any(c.cause in _OF_THE_KILN for c in review.segments[index].causes)
    ]
    if not keyed:
        return ""
    which = f"Segments {' and '.join(keyed)}" if len(keyed) > 1 else f"Segment {keyed[0]}"
    return f"{which} ran steadily, as if keyed in so: keep the planned rate if the kiln can do it."


_OF_THE_KILN = ("power_limited", "waiting", "slow_cooling")


def _followed(
    plan: Schedule, mended: Schedule, kiln: KilnDescription | None, load: Load | None
) -> _Fired:
    """Return the course of a plan that its kiln keeps: in the file's kiln if that can follow it."""
    if kiln is not None:
        with suppress(FiringError):
            inside = kiln.inside(load, mended.purpose)
            fired = _simulated(
                plan, mended, simulate(kiln, inside, mended, until_c=_until_c(mended))
            )
            if fired.reaches:
                return fired
    written = forecast(mended)
    peak = written.segments[mended.peak_index]
    offset_c = 0.0 if kiln is None else kiln.fitted.cone_offset_c
    return _Fired(
        schedule=mended,
        time_s=written.trace.time_s,
        cone_c=written.trace.channel_c() + offset_c,
        hold_s=(peak.ramp_end_s, peak.end_s),
        program_s=written.program_s,
        reaches=True,
        charted=_charted(plan, mended),
    )
