"""A schedule as it can be keyed into a controller: converted, rounded, split and merged to fit.

Rounding goes to the slow side: rates down, times and holds up, targets to the nearest.  What that
changes is told in minutes and cones.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firing.cones.equivalence import cone_reached
from firing.controller.controller import Controller
from firing.errors import FiringError
from firing.schedule.schedule import Schedule, Segment
from firing.schedule.timeline import set_point_over_time
from firing.serialise import Serialised, keyed
from firing.units import (
    SECONDS_PER_HOUR,
    format_duration,
    from_celsius,
    rate_from_celsius,
    rate_to_celsius,
)

_TELLING_C_PER_H = 0.05
_TELLING_C = 0.05
_COSTS = "It takes"


@dataclass(frozen=True, slots=True)
class HandAction(Serialised):
    """What a person does while a keyed segment, from 0, runs: at its end, or on the way there."""

    segment: int
    at_c: float
    words: str
    on_the_way: bool


@dataclass(frozen=True, slots=True)
class KeyedProgram:
    """A program ready to be keyed."""

    # As it was, and as it is keyed; the second is in the controller's unit.
    original: Schedule
    schedule: Schedule
    controller: Controller  # for which
    changes: tuple[str, ...]  # what rounding, splitting and merging changed, one sentence each
    # Where ramps were merged and so take longer, one sentence each; these are among `changes`.
    merged: tuple[str, ...]
    # What is done by hand, those in the middle of a merged ramp with their temperature.
    actions: tuple[HandAction, ...]
    added_s: float  # what that adds to the program, by its own arithmetic [s]
    # Running number of the cone of the original, and as it is keyed.
    cone_before: float | None
    cone_after: float | None

    def keyed_rate(self, index: int) -> float:
        """Return the rate to key for a segment, from 0 [degrees of the controller's unit/h]."""
        segment = self.schedule.segments[index]
        rate = segment.rate_c_per_h
        chosen = self.controller.fastest_c_per_h if rate is None else rate
        return rate_from_celsius(chosen, self.controller.unit)

    def keyed_minutes(self, index: int) -> int:
        """Return the minutes to the target to key for a segment, from 0."""
        segment = self.schedule.segments[index]
        span = abs(segment.target_c - self.schedule.from_c(index))
        rate = segment.rate_c_per_h or self.controller.fastest_c_per_h
        return max(1, int(np.ceil(span / rate * 60.0 - 1e-6)))

    def to_dict(self) -> dict[str, Any]:
        """Return the program keyed for JSON."""
        unit = self.controller.unit
        rows = []
        for index, segment in enumerate(self.schedule.segments):
            by_time = self.controller.notation == "time"
            rows.append(
                {
                    "number": index + 1,
                    "name": segment.name,
                    "drive": segment.drive,
                    "rate": None if by_time else round(self.keyed_rate(index), 3),
                    "minutes_to_target": self.keyed_minutes(index) if by_time else None,
                    "target": round(from_celsius(segment.target_c, unit), 3),
                    "hold_s": segment.hold_s,
                    "action": segment.action,
                }
            )
        return keyed(
            controller=self.controller,
            unit=unit,
            notation=self.controller.notation,
            rows=rows,
            schedule=self.schedule,
            changes=self.changes,
            merged=self.merged,
            actions=self.actions,
            added_s=self.added_s,
            cone_before=self.cone_before,
            cone_after=self.cone_after,
        )


def key_in(schedule: Schedule, controller: Controller) -> KeyedProgram:
    """Return a schedule as a controller takes it.

    A rate slower than can be keyed is refused, and so is a program with too many segments however
    its ramps are merged.
    """
    changes: list[str] = []
    merges: list[str] = []
    schedule = _without_cooling(schedule, controller, changes)
    rounded = segments = _rounded(schedule, controller, changes)
    if len(segments) > controller.max_segments:
        segments = merged(schedule.start_c, segments, controller, merges)
    keyed = replace(schedule, segments=tuple(segments), unit=controller.unit)
    before, after = _planned(schedule), _planned(keyed)
    return KeyedProgram(
        original=schedule,
        schedule=keyed,
        controller=controller,
        changes=(*changes, *merges),
        merged=tuple(words for words in merges if _COSTS in words),
        actions=tuple(_actions(rounded, segments)),
        added_s=after[0] - before[0],
        cone_before=before[1],
        cone_after=after[1],
    )


def in_controllers_unit(schedule: Schedule, controller: Controller) -> Schedule:
    """Return a schedule in the unit it is keyed in, its figures on the steps of that unit."""
    unit = controller.unit
    if schedule.unit == unit:
        return schedule
    segments: list[Segment] = []
    from_c = schedule.start_c
    for segment in schedule.segments:
        target_c, rate = controller.nearest_target_c(segment.target_c), segment.rate_c_per_h
        if (target_c > from_c) != (segment.target_c > from_c) or abs(target_c - from_c) < 1e-6:
            target_c = segment.target_c  # less than a step: `key_in` says what becomes of it
        if rate is not None:
            steps = np.floor(rate_from_celsius(rate, unit) / controller.rate_step + 1e-9)
            keyed = float(steps) * controller.rate_step
            # what is too slow to key stays, and is refused or mended where a rate is
            rate = rate_to_celsius(keyed, unit) if keyed >= controller.rate_min else rate
        segments.append(replace(segment, target_c=target_c, rate_c_per_h=rate))
        from_c = target_c
    return replace(schedule, segments=tuple(segments), unit=unit)


def _actions(rounded: list[Segment], segments: list[Segment]) -> Iterator[HandAction]:
    """Yield what is done by hand, by the keyed segment that runs then."""
    number = 0
    for part in rounded:
        at_end = part.target_c == segments[number].target_c
        if part.action:
            yield HandAction(number, part.target_c, part.action, on_the_way=not at_end)
        number += at_end


def _without_cooling(schedule: Schedule, controller: Controller, changes: list[str]) -> Schedule:
    """Return a schedule without what follows its peak, if the controller cannot control that."""
    first = schedule.peak_index + 1
    after = schedule.segments[first:]
    if controller.controls_cooling or not after:
        return schedule
    slowed = [i for i, s in enumerate(after, start=first) if s.drive != "off" or s.hold_s > 0.0]
    if slowed:
        label = schedule.label(slowed[0])
        raise FiringError(
            f"segment {label} controls the cooling, and this controller cannot; use one that can, "
            "or design a program that cools by itself"
        )
    changes.append(
        f"Segment {schedule.label(first)} and what follows is natural cooling: left out, the "
        "program ends at the peak."
    )
    return replace(schedule, segments=schedule.segments[:first])


def _planned(schedule: Schedule) -> tuple[float, float | None]:
    trace, segments, _ = set_point_over_time(schedule)
    number = cone_reached(trace.time_s, trace.channel_c()).reached_number
    return sum(segment.planned_s for segment in segments), number


def _rounded(schedule: Schedule, controller: Controller, changes: list[str]) -> list[Segment]:
    unit = controller.unit
    found: list[Segment] = []
    from_c = schedule.start_c
    for index, segment in enumerate(schedule.segments):
        label = schedule.label(index)
        target_c = controller.nearest_target_c(segment.target_c)
        hold_s = float(controller.hold_up_s(np.array(segment.hold_s)))
        if abs(target_c - from_c) < _TELLING_C:
            if found:
                found[-1] = replace(found[-1], hold_s=found[-1].hold_s + hold_s)
            changes.append(f"Segment {label} is smaller than the controller's step: left out.")
            continue
        if abs(target_c - segment.target_c) > _TELLING_C:
            changes.append(
                f"Segment {label}: target {from_celsius(segment.target_c, unit):.1f} is keyed as "
                f"{from_celsius(target_c, unit):g} °{unit}."
            )
        rate = segment.rate_c_per_h
        if rate is not None:
            span = np.array(abs(target_c - from_c))
            taken_s = float(controller.ramp_s(span, np.array(rate), np.array(0.0)))
            if not np.isfinite(taken_s):
                slowest = f"{controller.rate_min:g} °{unit}/h"
                raise FiringError(
                    f"segment {label} goes at {rate_from_celsius(rate, unit):.3g} °{unit}/h, and "
                    f"the controller's slowest rate is {slowest}; write a hold instead, or a rate "
                    f"of {slowest} or more"
                )
            keyed = abs(target_c - from_c) / taken_s * SECONDS_PER_HOUR
            if rate_from_celsius(rate - keyed, unit) > _TELLING_C_PER_H:
                changes.append(
                    f"Segment {label}: {rate_from_celsius(rate, unit):.1f} is keyed as "
                    f"{rate_from_celsius(keyed, unit):.1f} °{unit}/h, never faster."
                )
            rate = keyed
        if hold_s > segment.hold_s + 0.5:
            changes.append(
                f"Segment {label}: a hold of {format_duration(segment.hold_s)} is keyed as "
                f"{format_duration(hold_s)}."
            )
        whole = replace(segment, target_c=target_c, rate_c_per_h=rate, hold_s=hold_s)
        parts = _split_hold(whole, from_c, controller)
        if len(parts) > 1:
            changes.append(
                f"Segment {label}: a hold of {format_duration(hold_s)} is longer than the "
                f"controller's {format_duration(controller.longest_hold_s)}, and is keyed as "
                f"{len(parts)} holds one step of temperature apart."
            )
        found.extend(parts)
        from_c = target_c
    return found


def _split_hold(segment: Segment, from_c: float, controller: Controller) -> list[Segment]:
    """Return a segment as several where its hold is too long for one."""
    longest_s = controller.longest_hold_s
    count = max(1, int(np.ceil(segment.hold_s / longest_s - 1e-9)))
    if count == 1:
        return [segment]
    step_c = controller.target_step / (1.8 if controller.unit == "F" else 1.0)
    towards = 1.0 if segment.target_c > from_c else -1.0
    left_s = segment.hold_s
    parts: list[Segment] = []
    for number in range(count):
        target_c = segment.target_c - towards * step_c * (count - 1 - number)
        hold_s = min(left_s, longest_s)
        left_s -= hold_s
        last = number == count - 1
        parts.append(
            replace(
                segment, target_c=target_c, hold_s=hold_s, action=segment.action if last else ""
            )
        )
    return parts


def merged(
    start_c: float, segments: list[Segment], controller: Controller, changes: list[str]
) -> list[Segment]:
    """Return at most as many segments as fit, neighbouring ramps merged where that costs least.

    A merged ramp runs at the slowest rate of its parts, so no limit is broken.  Holds, turns, and
    ramps without a rate are never merged away.  The cheapest choice is found exactly.
    """
    count, most = len(segments), controller.max_segments
    starts = [start_c, *(segment.target_c for segment in segments)]

    def time_s(first: int, last: int) -> float:
        group = segments[first : last + 1]
        span = starts[last + 1] - starts[first]
        if len(group) == 1:
            return 0.0 if group[0].rate_c_per_h is None else _ramp_s(span, group, controller)
        ups = {s.target_c > starts[first + i] for i, s in enumerate(group)}
        if len(ups) > 1 or any(s.hold_s for s in group[:-1]):
            return np.inf
        if any(s.rate_c_per_h is None for s in group):
            return np.inf
        return _ramp_s(span, group, controller)

    best = np.full((count + 1, most + 1), np.inf)
    best[0, 0] = 0.0
    cut = np.zeros((count + 1, most + 1), dtype=int)
    for last in range(count):
        for first in range(last + 1):
            cost = time_s(first, last)
            if not np.isfinite(cost):
                continue
            for used in range(most):
                total = best[first, used] + cost
                if total < best[last + 1, used + 1] - 1e-6:
                    best[last + 1, used + 1] = total
                    cut[last + 1, used + 1] = first
    used = int(np.argmin(best[count]))
    if not np.isfinite(best[count, used]):
        plural = "" if most == 1 else "s"
        raise FiringError(
            f"the controller's {most} segment{plural} and this program collide: its holds and "
            "turns alone need more; use a controller that takes them, or key the program in parts"
        )
    found: list[Segment] = []
    last = count
    while last:
        first = int(cut[last, used])
        found.append(_group(segments[first:last], starts[first], controller, first, changes))
        last, used = first, used - 1
    return found[::-1]


def _ramp_s(span_c: float, group: list[Segment], controller: Controller) -> float:
    rate = min(segment.rate_c_per_h or np.inf for segment in group)
    return float(controller.ramp_s(np.array(abs(span_c)), np.array(rate), np.array(0.0)))


def _group(
    group: list[Segment], from_c: float, controller: Controller, first: int, changes: list[str]
) -> Segment:
    if len(group) == 1:
        return group[0]
    last = group[-1]
    span = last.target_c - from_c
    rate = abs(span) / _ramp_s(span, group, controller) * SECONDS_PER_HOUR
    unit = controller.unit
    passing = [
        f"on the way, at {from_celsius(s.target_c, unit):.0f} °{unit}: {s.action}"
        for s in group[:-1]
        if s.action
    ]
    spans = np.abs(np.diff([from_c, *(s.target_c for s in group)]))
    apart_s = sum(
        _ramp_s(float(width), [s], controller) for width, s in zip(spans, group, strict=True)
    )
    longer_s = abs(span) / rate * SECONDS_PER_HOUR - apart_s
    cost = f" {_COSTS} {format_duration(longer_s)} longer." if longer_s >= 30.0 else ""
    rates = [f"{rate_from_celsius(s.rate_c_per_h or 0.0, unit):.0f}" for s in group]
    low, high = (f"{from_celsius(value, unit):.0f}" for value in (from_c, last.target_c))
    changes.append(
        f"Segments {first + 1} to {first + len(group)} became one: {low} to {high} °{unit} at "
        f"{rate_from_celsius(rate, unit):.0f} °{unit}/h instead of {', '.join(rates[:-1])} and "
        f"{rates[-1]}.{cost}"
    )
    names = " / ".join(dict.fromkeys(s.name for s in group if s.name))
    action = "; ".join([*passing, *([last.action] if last.action else [])])
    return replace(last, rate_c_per_h=rate, name=names[:200], action=action[:200])
