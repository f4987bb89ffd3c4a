"""The smallest changes that mend a schedule: what its check says, applied until nothing is left."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from firing.controller.controller import Controller
from firing.controller.program import merged
from firing.design.check import breaches
from firing.design.kilncurves import KilnCurves
from firing.design.result import SegmentReason
from firing.errors import FiringError
from firing.schedule.schedule import Schedule, Segment
from firing.units import from_celsius, rate_from_celsius, rate_to_celsius, to_celsius
from firing.ware.check import Breach, with_natural_cooling
from firing.ware.limits import WareLimits

_MOST_STEPS = 200
_SPLIT = {"C": 5.0, "F": 10.0}
_SLACK_C = 1e-6
_NOTHING = SegmentReason((), ())


@dataclass(frozen=True, slots=True)
class Mended:
    """A schedule with its mends: one reason a segment, empty where nothing changed."""

    schedule: Schedule
    reasons: tuple[SegmentReason, ...]
    mends: tuple[Breach, ...]
    changes: tuple[str, ...]


def mend(
    schedule: Schedule, limits: WareLimits, curves: KilnCurves, controller: Controller
) -> Mended:
    """Return a schedule with the smallest changes that keep every limit.

    A stretch that is too fast is slowed to what is safe, the rest of its ramp kept; a stay that is
    too short is held longer, or a hold is put in; cooling that would be too fast is programmed.
    Where that makes more segments than the controller has, neighbouring ramps are merged.

    Parameters
    ----------
    schedule : Schedule
        Any program.
    limits : WareLimits
        Of the ware.
    curves : KilnCurves
        Of the kiln.
    controller : Controller
        Its segments and steps.

    Raises
    ------
    FiringError
        If a mend needs a rate that cannot be keyed, or more segments than there are.
    """
    whole = with_natural_cooling(schedule)
    cools_alone = len(whole.segments) > len(schedule.segments)
    segments = list(whole.segments)
    reasons = [_NOTHING] * len(segments)
    applied: list[Breach] = []
    for _ in range(_MOST_STEPS):
        now = replace(whole, segments=tuple(segments))
        breach = next((b for b in breaches(now, limits, curves) if mendable(b, now)), None)
        if breach is None:
            break
        applied.append(breach)
        if breach.kind == "rate":
            _slow(now, segments, reasons, breach, controller)
        else:
            _stay(now, segments, reasons, breach, controller)
    if cools_alone and segments[-1].drive == "off":
        segments, reasons = segments[:-1], reasons[:-1]
    changes: list[str] = []
    if len(segments) > controller.max_segments:
        fewer = merged(schedule.start_c, segments, controller, changes)
        reasons = _following(segments, reasons, fewer)
        segments = fewer
    mended = replace(schedule, segments=tuple(segments))
    return Mended(mended, tuple(reasons), tuple(applied), tuple(changes))


def mendable(breach: Breach, schedule: Schedule) -> bool:
    """Whether a slower or longer program helps: not if it starts hotter than a stay, or wet."""
    if breach.kind == "dwell":
        return schedule.start_c <= breach.to_c
    return breach.kind != "dry first"


def _because(reason: SegmentReason, breach: Breach) -> SegmentReason:
    sentences = (*reason.sentences, f"Mended: {breach.message}")
    return SegmentReason(sentences, tuple(dict.fromkeys((*reason.sources, breach.source))))


def _slow(
    schedule: Schedule,
    segments: list[Segment],
    reasons: list[SegmentReason],
    breach: Breach,
    controller: Controller,
) -> None:
    """Slow the stretch of one segment, splitting off what was fine."""
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
    segments[index : index + 1] = parts
    reasons[index : index + 1] = [
        _because(old, breach) if number == place else old for number in range(len(parts))
    ]


def _outward(at_c: float, sign: int, unit: str) -> float:
    step = _SPLIT[unit]
    value = from_celsius(at_c, "F" if unit == "F" else "C") / step
    whole = math.floor(value + 1e-6) if sign < 0 else math.ceil(value - 1e-6)
    return to_celsius(whole * step, "F" if unit == "F" else "C")


def _stay(
    schedule: Schedule,
    segments: list[Segment],
    reasons: list[SegmentReason],
    breach: Breach,
    controller: Controller,
) -> None:
    """Hold longer, or put in a hold on the way."""
    index = breach.segment
    segment = segments[index]
    step_s = controller.hold_step_s
    add_s = math.ceil((breach.add_hold_s or 0.0) / step_s - 1e-9) * step_s
    if abs(segment.target_c - breach.at_c) < _SLACK_C:
        segments[index] = replace(segment, hold_s=segment.hold_s + add_s)
        reasons[index] = _because(reasons[index], breach)
        return
    at_c = controller.nearest_target_c(breach.at_c)
    stop = replace(
        segment, target_c=at_c, hold_s=add_s, action="", name=f"Hold for {breach.reason}"
    )
    segments.insert(index, stop)
    reasons.insert(index, _because(_NOTHING, breach))


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
