"""The smallest changes that make a schedule safe: what its check says, until nothing is left."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from firing.controller.controller import Controller
from firing.controller.program import in_controllers_unit, merged
from firing.design.kiln_curves import KilnCurves, curves_of, default_curves
from firing.design.rate_limits import tightened
from firing.design.result import Design, SegmentReason, limit_rows
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.forecast.opening import UNLOAD_C
from firing.heat.default_kiln import TRIAL, UsualKiln
from firing.schedule.schedule import Purpose, Schedule, Segment
from firing.units import (
    format_duration,
    format_rate,
    format_temperature,
    from_celsius,
    rate_from_celsius,
    rate_to_celsius,
    to_celsius,
)
from firing.ware.check import check_program
from firing.ware.drying import DryFirst
from firing.ware.face import with_natural_cooling
from firing.ware.hot_start import as_dried, state_of, ware_at_start
from firing.ware.limits import USUAL_MARGIN, Breach, WareLimits
from firing.ware.load import Load, WareState
from firing.ware.safe_rates import limits_for

if TYPE_CHECKING:
    from firing.forecast.result import Forecast
    from firing.kiln.description import KilnDescription


_MOST_STEPS = 200
_SPLIT = {"C": 5.0, "F": 10.0}
_SLACK_C = 1e-6
_NOTHING = SegmentReason((), ())


@dataclass(frozen=True, slots=True)
class Repaired:
    """A schedule with its repairs: one reason a segment, empty where nothing changed.

    `done` says what each of the `repairs` changed.
    """

    schedule: Schedule
    reasons: tuple[SegmentReason, ...]
    repairs: tuple[Breach, ...]
    done: tuple[str, ...]
    changes: tuple[str, ...]


def repair(
    schedule: Schedule, limits: WareLimits, curves: KilnCurves, controller: Controller
) -> Repaired:
    """Return a schedule with the smallest changes that keep every limit.

    A stretch that is too fast is slowed to what is safe, the rest of its ramp kept; a stay that is
    too short is held longer, or a hold is put in; cooling that would be too fast is programmed.
    Where that makes more segments than the controller has, neighbouring ramps are merged.  Refused
    if a repair needs a rate that cannot be keyed, or more segments than there are.
    """
    whole = with_natural_cooling(schedule)
    cools_alone = len(whole.segments) > len(schedule.segments)
    segments = list(whole.segments)
    reasons = [_NOTHING] * len(segments)
    applied: list[Breach] = []
    done: list[str] = []
    for _ in range(_MOST_STEPS):
        now = replace(whole, segments=tuple(segments))
        breach = next((b for b in _breaches(now, limits, curves) if repairable(b, now)), None)
        if breach is None:
            break
        applied.append(breach)
        step = _slow if breach.kind == "rate" else _hold_longer
        done.append(step(now, segments, reasons, breach, controller))
    if cools_alone and segments[-1].drive == "off":
        segments, reasons = segments[:-1], reasons[:-1]
    changes: list[str] = []
    if len(segments) > controller.max_segments:
        fewer = merged(schedule.start_c, segments, controller, changes)
        reasons = _following(segments, reasons, fewer)
        segments = fewer
    repaired = replace(schedule, segments=tuple(segments))
    return Repaired(repaired, tuple(reasons), tuple(applied), tuple(done), tuple(changes))


def repaired_at(schedule: Schedule, breach: Breach, controller: Controller) -> tuple[Schedule, str]:
    """Return a schedule changed at one breach of a rate or a stay alone, and what that changed."""
    whole = with_natural_cooling(schedule)
    segments = list(whole.segments)
    step = _slow if breach.kind == "rate" else _hold_longer
    done = step(whole, segments, [_NOTHING] * len(segments), breach, controller)
    if len(whole.segments) > len(schedule.segments) and segments[-1].drive == "off":
        segments.pop()
    return replace(schedule, segments=tuple(segments)), done


def _breaches(schedule: Schedule, limits: WareLimits, curves: KilnCurves) -> tuple[Breach, ...]:
    """Return where a program breaks limits, with its natural cooling by the kiln's curves."""
    return check_program(
        with_natural_cooling(schedule),
        limits,
        heating_curve=curves.heating.at,
        cooling_curve=curves.cooling.at,
    )


def repairable(breach: Breach, schedule: Schedule) -> bool:
    """Whether a slower or longer program helps: not if it starts hotter than a stay, or wet."""
    if breach.kind == "dwell":
        return schedule.start_c <= breach.to_c
    return breach.kind != "dry first"


def _because(reason: SegmentReason, breach: Breach, done: str) -> SegmentReason:
    sentences = (*reason.sentences, f"Made safe: {done}")
    return SegmentReason(sentences, tuple(dict.fromkeys((*reason.sources, breach.source))))


def _slow(
    schedule: Schedule,
    segments: list[Segment],
    reasons: list[SegmentReason],
    breach: Breach,
    controller: Controller,
) -> str:
    """Slow the stretch of one segment, splitting off what was fine; return what changed."""
    index, unit = breach.segment, controller.unit
    segment, from_c = segments[index], schedule.from_c(index)
    allowed = rate_from_celsius(breach.write_c_per_h or 0.0, unit)
    keyed = math.floor(allowed / controller.rate_step + 1e-9) * controller.rate_step
    if keyed < controller.rate_min:
        raise FiringError(
            f"the controller's slowest rate of {controller.rate_min:g} °{unit}/h and the limits of "
            f"the ware collide: {breach.message}"
        )
    rate = rate_to_celsius(keyed, unit)
    up = segment.target_c > from_c
    if not up and not controller.controls_cooling:
        raise FiringError(
            f"a controller that cannot slow the cooling and the limits of the ware collide: "
            f"{breach.message} Use a controller that can, or fire thinner ware"
        )
    low_c, high_c = (_outward(breach.from_c, -1, unit), _outward(breach.to_c, 1, unit))
    first_c, last_c = (low_c, high_c) if up else (high_c, low_c)
    # A breach at a corner has no length: the slowed stretch takes a step, on from where the segment
    # begins or back from where it ends, else nothing changes.
    step_c = (1.0 if up else -1.0) * _SPLIT[unit] / (1.8 if unit == "F" else 1.0)
    if abs(last_c - from_c) < _SLACK_C:
        last_c += step_c
    if abs(first_c - segment.target_c) < _SLACK_C:
        first_c -= step_c
    beyond = (first_c <= from_c + _SLACK_C) if up else (first_c >= from_c - _SLACK_C)
    ends = (
        (last_c >= segment.target_c - _SLACK_C) if up else (last_c <= segment.target_c + _SLACK_C)
    )
    parts: list[Segment] = []
    if not beyond:
        parts.append(replace(segment, target_c=first_c, hold_s=0.0, action=""))
    slowed = replace(segment, rate_c_per_h=rate, drive="rate")
    place = len(parts)
    if ends:
        parts.append(slowed)
    else:
        parts += [replace(slowed, target_c=last_c, hold_s=0.0, action=""), segment]
    old = reasons[index]
    begins, finishes = (
        format_temperature(at_c, unit)
        for at_c in (from_c if beyond else first_c, segment.target_c if ends else last_c)
    )
    was = breach.written_c_per_h
    done = (
        f"Segment {schedule.label(index)} now {'heats' if up else 'cools'} at {keyed:g} °{unit}/h "
        f"from {begins} to {finishes}"
        f"{'' if was is None else f', not at {format_rate(was, unit)}'}: {breach.text}."
    )
    segments[index : index + 1] = parts
    reasons[index : index + 1] = [
        _because(old, breach, done) if number == place else old for number in range(len(parts))
    ]
    return done


def _outward(at_c: float, sign: int, unit: str) -> float:
    step = _SPLIT[unit]
    value = from_celsius(at_c, "F" if unit == "F" else "C") / step
    whole = math.floor(value + 1e-6) if sign < 0 else math.ceil(value - 1e-6)
    return to_celsius(whole * step, "F" if unit == "F" else "C")


def _hold_longer(
    schedule: Schedule,
    segments: list[Segment],
    reasons: list[SegmentReason],
    breach: Breach,
    controller: Controller,
) -> str:
    """Hold longer, or put in a hold on the way; return what changed."""
    index = breach.segment
    segment = segments[index]
    step_s = controller.hold_step_s
    add_s = math.ceil((breach.add_hold_s or 0.0) / step_s - 1e-9) * step_s
    needed = f"{format_duration(breach.at_least_s or 0.0)} are needed between " + " and ".join(
        format_temperature(end_c, controller.unit) for end_c in (breach.from_c, breach.to_c)
    )
    if abs(segment.target_c - breach.at_c) < _SLACK_C:
        segments[index] = replace(segment, hold_s=segment.hold_s + add_s)
        done = (
            f"Segment {schedule.label(index)} now holds {format_duration(segment.hold_s + add_s)}, "
            f"{format_duration(add_s)} longer; {needed}: {breach.text}."
        )
        reasons[index] = _because(reasons[index], breach, done)
        return done
    at_c = controller.nearest_target_c(breach.at_c)
    done = (
        f"A hold of {format_duration(add_s)} at {format_temperature(at_c, controller.unit)} was "
        f"put in; {needed}: {breach.text}."
    )
    stop = replace(
        segment, target_c=at_c, hold_s=add_s, action="", name=f"Hold for {breach.reason}"
    )
    segments.insert(index, stop)
    reasons.insert(index, _because(_NOTHING, breach, done))
    return done


def _following(
    before: list[Segment], reasons: list[SegmentReason], after: list[Segment]
) -> list[SegmentReason]:
    """Return the reasons of merged segments, each with those of all its parts."""
    found: list[SegmentReason] = []
    place = 0
    for segment in after:
        sentences: list[str] = []
        sources: list[str] = []
        while place < len(before):
            sentences += reasons[place].sentences
            sources += reasons[place].sources
            place += 1
            if abs(before[place - 1].target_c - segment.target_c) < _SLACK_C:
                break
        found.append(SegmentReason(tuple(sentences), tuple(dict.fromkeys(sources))))
    return found


@dataclass(frozen=True, slots=True)
class SafeRate:
    """A schedule with one segment at the fastest rate that is safe, and what binds it, in words."""

    schedule: Schedule
    rate_c_per_h: float
    reason: str


def fastest_safe_rate(
    schedule: Schedule,
    index: int,
    load: Load,
    *,
    margin: float = USUAL_MARGIN,
    kiln: KilnDescription | None = None,
    controller: Controller | None = None,
    usual: UsualKiln = TRIAL,
) -> SafeRate:
    """Return a schedule with one segment as fast as the ware allows, whatever the kiln can.

    All of the forecast counts: where a faster segment leaves the ware too little time elsewhere, or
    its wall too far behind, it is not safe.

    `FiringError` if no rate of the controller is slow enough, or the ware is to be dried first
    (`DryFirst`).
    """
    controller = controller or Controller(max_segments=99, unit=schedule.unit)
    found = ware_at_start(load, schedule, margin=margin)
    limits = limits_for(found.load, purpose=schedule.purpose, margin=margin, state=found.state)
    if limits.advice is not None:
        raise DryFirst(limits.advice.message)
    from_c, to_c = schedule.from_c(index), schedule.segments[index].target_c
    low_c, high_c = (np.array([end_c]) for end_c in sorted((from_c, to_c)))
    caps = [
        (float(limit.lowest_between(low_c, high_c)[0]), limit.text)
        for limit in limits.of("heating" if to_c > from_c else "cooling")
    ]
    most, reason = min(caps)
    rates = controller.rates_c_per_h(0.0, most)
    if not rates:
        raise FiringError(
            f"segment {schedule.label(index)} may go at {format_rate(most, schedule.unit)} at "
            f"most, slower than the controller takes: {reason}"
        )

    def at(rate_c_per_h: float) -> Schedule:
        segments = list(schedule.segments)
        segments[index] = replace(segments[index], rate_c_per_h=rate_c_per_h, drive="rate")
        return replace(schedule, segments=tuple(segments))

    def broken(rate_c_per_h: float) -> dict[tuple[str, str, int], str]:
        course = forecast(
            at(rate_c_per_h),
            kiln=kiln,
            load=load,
            limits=limits,
            waits=controller.waits,
            usual=usual,
        )
        return {(b.kind, b.reason, b.segment): b.text for b in course.breaches}

    if most > rates[-1] * (1.0 + _SLACK_C) and rates[-1] >= controller.fastest_c_per_h:
        most_words = format_rate(most, schedule.unit)
        reason = f"no faster one can be keyed, and the ware bears {most_words}"
    # What is broken however slowly it goes is not this segment's.
    always = broken(rates[0]).keys()
    safe, unsafe = 0, len(rates)
    while unsafe - safe > 1:
        middle = len(rates) - 1 if unsafe == len(rates) else (safe + unsafe) // 2
        new = [text for key, text in broken(rates[middle]).items() if key not in always]
        if new:
            unsafe, reason = middle, new[0]
        else:
            safe = middle
    return SafeRate(at(rates[safe]), rates[safe], reason)


_ROUNDS = 8


def repaired_design(
    schedule: Schedule,
    load: Load,
    *,
    purpose: Purpose | None = None,
    margin: float = USUAL_MARGIN,
    kiln: KilnDescription | None = None,
    controller: Controller | None = None,
    open_c: float = UNLOAD_C,
    state: WareState | None = None,
    usual: UsualKiln = TRIAL,
) -> Design:
    """Return a schedule with the smallest changes that make it safe, as a design.

    `state` is what earlier firing has done to the ware; see `firing.ware.hot_start` where nobody
    knows.  The design is always safe, and its `cost_of_segments_s` is None.  Ware that is to be
    dried before it is fired raises `DryFirst`, which says how; a schedule that no slower or longer
    program makes safe is refused with the reason.
    """
    asked = schedule if purpose is None else replace(schedule, purpose=purpose)
    asked = asked if controller is None else in_controllers_unit(asked, controller)
    if state is None and asked.ware_done is not None:
        state = state_of(asked.ware_done, load)
        load = load if state is None else as_dried(load, asked.purpose, margin, state)
    found = ware_at_start(load, asked, margin=margin, state=state)
    limits = limits_for(found.load, purpose=asked.purpose, margin=margin, state=found.state)
    if limits.advice is not None:
        raise DryFirst(limits.advice.message)
    made = mended(
        asked,
        load,
        margin=margin,
        kiln=kiln,
        controller=controller,
        open_c=open_c,
        state=state,
        usual=usual,
    )
    if made.problems:
        raise FiringError(
            f"slowing this program down does not make it safe: {made.problems[0]} {_INSTEAD}"
        )
    return made


_INSTEAD = "Design a program from the load instead"


def mended(
    schedule: Schedule,
    load: Load,
    *,
    margin: float = USUAL_MARGIN,
    kiln: KilnDescription | None = None,
    controller: Controller | None = None,
    open_c: float = UNLOAD_C,
    state: WareState | None = None,
    usual: UsualKiln = TRIAL,
) -> Design:
    """Return a mended schedule, and as its problems what no program helps the ware it is to fire.

    That is water in ware that is too wet, or that a program starts too hot for.
    """
    if controller is None:
        controller = Controller(max_segments=99, unit=schedule.unit)
    found = ware_at_start(load, schedule, margin=margin, state=state)
    limits = limits_for(found.load, purpose=schedule.purpose, margin=margin, state=found.state)
    curves = (
        default_curves(schedule.room_c, usual=usual)
        if kiln is None
        else curves_of(kiln, load, schedule.peak_c, schedule.room_c)
    )
    kept = limits
    left: list[Breach] = []
    for _ in range(_ROUNDS):
        try:
            result = repair(schedule, kept, curves, controller)
        except FiringError:
            # The limits as lowered are nobody's: what they were lowered for is the reason.
            if left:
                break
            raise
        course = forecast(
            result.schedule,
            unload_c=open_c,
            kiln=kiln,
            load=load,
            limits=limits,
            state=state,
            waits=controller.waits,
            usual=usual,
        )
        # What no program helps, a problem says: ware too wet, or a start above where it dries.
        left = [b for b in course.breaches if repairable(b, schedule)]
        tighter = tightened(kept, left)
        if tighter is None:
            break
        kept = tighter
    if left:
        raise FiringError(
            f"slowing this program down does not make it safe: {left[0].message} {_INSTEAD}"
        )
    before = forecast(
        schedule,
        unload_c=open_c,
        kiln=kiln,
        load=None if kiln is None else load,
        waits=controller.waits,
        state=state,
        usual=usual,
    )
    notes = [found.assumed] if found.assumed else []
    notes += result.done
    notes += result.changes
    notes += [] if course.ware is None else [caution.message for caution in course.ware.cautions]
    longer = format_duration(course.total_s - before.total_s, signed=True)
    notes.append(
        f"The changes move closing to opening by {longer}."
        if result.repairs
        else "Nothing had to be changed."
    )
    notes += _left_behind(course)
    problems = [breach.message for breach in course.breaches]
    advice = "" if limits.advice is None else limits.advice.message
    return Design(
        schedule=result.schedule,
        reasons=result.reasons,
        ware=limits,
        limits=limit_rows(
            (*limits.of("heating"), curves.heating), schedule.start_c, schedule.peak_c
        ),
        cooling_limits=limit_rows(limits.of("cooling"), open_c, schedule.peak_c),
        dwells=tuple(d for d in limits.dwells if d.window_c[1] < schedule.peak_c),
        controller=controller,
        total_s=course.total_s,
        planned_s=course.total_s,
        program_s=sum(leg.planned_s for leg in course.segments),
        cost_of_segments_s=None,
        by_segments=(),
        forecast=course,
        problems=tuple(words for words in problems if words != advice),
        advice=advice,
        notes=tuple(notes),
    )


def _left_behind(course: Forecast) -> list[str]:
    """Return which ramps the kiln does not keep: no matter of the ware, but of the hours."""
    behind = [
        str(leg.index + 1)
        for leg, segment in zip(course.segments, course.schedule.segments, strict=True)
        if segment.drive == "rate"
        and leg.limited_by == "power"
        and leg.end_c > leg.from_c
        and leg.forecast_s > _KEPT * leg.planned_s
    ]
    if course.kiln is None or not behind:
        return []
    which = f"segment{'s' if len(behind) > 1 else ''} {' and '.join(behind)}"
    return [
        f"The kiln can't keep up in {which}; that breaks no limit of the ware, so the rate stays. "
        "'firing review' of such a firing, with --mend FILE, writes the plan at the rates it keeps."
    ]


_KEPT = 1.03
"""A segment that takes no longer than this is kept [1; practice]."""
