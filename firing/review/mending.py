"""The plan mended for the kiln that a review found: rates it can keep, and the cone as planned."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from firing.cones.equivalence import cone_reached
from firing.errors import FiringError
from firing.kiln.simulation import Simulation, simulate
from firing.review import thresholds as limit
from firing.review.heat_verdict import with_hold
from firing.review.result import Mended, Shortfall
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    Wording,
    format_duration,
    rate_from_celsius,
    rate_to_celsius,
)
from firing.ware.load import Load

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription


def mend(
    schedule: Schedule,
    kiln: KilnDescription,
    load: Load | None,
    found: Shortfall | None,
    cone_number: float | None,
) -> Mended:
    """Return the plan with rates that the kiln as found keeps, and a hold that keeps its cone.

    Only heating ramps are slowed, never quickened, and nothing of the cooling is touched.  `found`
    is what is the matter with the kiln, None for one that is as it was learnt; `cone_number` the
    plan's own.  A kiln that does not come to the plan's peak at all is refused.
    """
    say = Wording(schedule.unit)
    inside = kiln.inside(load, schedule.purpose)
    as_is, holds = _as_found(kiln, inside, found)
    unchanged = simulate(as_is, holds, schedule, until_c=_until_c(schedule))
    mended, run = _slowed(schedule, as_is, holds)
    if not run.reaches_peak:
        raise FiringError(
            f"this kiln as it is comes to {say.degrees(run.peak_c)} only, and the plan goes to "
            f"{say.degrees(schedule.peak_c)}; see to the kiln first"
        )
    program_s = run.program_s
    offset_c = kiln.fitted.cone_offset_c
    course = run.time_s, run.chamber_c + offset_c
    number = cone_reached(*course).reached_number
    if cone_number is not None and number is not None and schedule.peak_index < len(run.segments):
        mended, number, change_s = _same_cone(mended, run, course, number, cone_number)
        program_s += change_s
    anew = None
    if found is not None and found.reason == "power":
        new = replace(kiln, fitted=replace(kiln.fitted, power=max(kiln.fitted.power, 1.0)))
        anew = simulate(new, inside, schedule, until_c=_until_c(schedule)).program_s
    waiting_s = unchanged.program_s if unchanged.reaches_peak else None
    return Mended(mended, _changes(schedule, mended), program_s, number, anew, waiting_s)


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
    return max(schedule.segments[-1].target_c - 50.0, schedule.room_c + 40.0)


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


def _same_cone(
    schedule: Schedule,
    run: Simulation,
    course: tuple[FloatArray, FloatArray],
    number: float,
    wanted: float,
) -> tuple[Schedule, float, float]:
    """Set the hold at the peak so that the cone stays the plan's; return the change of time too."""
    peak = run.segments[schedule.peak_index]
    held_s = schedule.segments[peak.index].hold_s
    if abs(number - wanted) < limit.TELLING_CONES or held_s <= 0.0:
        return schedule, number, 0.0

    def reached(hold_s: float) -> float:
        found = cone_reached(*with_hold(*course, peak.ramp_end_s, peak.end_s, hold_s))
        return -99.0 if found.reached_number is None else found.reached_number

    least_s, most_s = limit.MEND_LEAST_HOLD_S, held_s + limit.MEND_MORE_HOLD_S
    for _ in range(limit.MEND_HOLD_ROUNDS):
        middle_s = 0.5 * (least_s + most_s)
        if reached(middle_s) < wanted:
            least_s = middle_s
        else:
            most_s = middle_s
    hold_s = SECONDS_PER_MINUTE * round(most_s / SECONDS_PER_MINUTE)
    segments = list(schedule.segments)
    segments[peak.index] = replace(segments[peak.index], hold_s=hold_s)
    mended = replace(schedule, segments=tuple(segments))
    return mended, reached(hold_s), hold_s - held_s


def _changes(plan: Schedule, mended: Schedule) -> tuple[str, ...]:
    say = Wording(plan.unit)
    found = []
    for index, (old, new) in enumerate(zip(plan.segments, mended.segments, strict=True)):
        parts = []
        if new.rate_c_per_h != old.rate_c_per_h:
            assert new.rate_c_per_h is not None
            assert old.rate_c_per_h is not None
            parts.append(f"{say.rate(new.rate_c_per_h)}, planned {say.rate(old.rate_c_per_h)}")
        if new.hold_s != old.hold_s:
            planned = format_duration(old.hold_s)
            parts.append(f"hold {format_duration(new.hold_s)}, planned {planned}")
        if parts:
            found.append(f"segment {plan.label(index)}: {', '.join(parts)}")
    return tuple(found)
