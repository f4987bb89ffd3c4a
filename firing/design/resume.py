"""After an interruption: what to key in now, given what the firing has already done to the ware.

The log tells how far drying, bound water and burn-out have come and how much heat-work there has
been.  What is left of the program is taken from where the firing stood when it was interrupted; the
way back up there is as fast as the ware in its present state allows; and the last hold is changed
so that the whole, log and rest together, amounts to what was planned.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from firing.clock import after
from firing.cones.equivalence import ConeVerdict, cone_reached
from firing.cones.heatwork import heatwork
from firing.cones.holds import LONGEST_HOLD_S
from firing.cones.kinetics import cone_law
from firing.cones.table import parse_cone
from firing.controller.controller import Controller
from firing.controller.program import in_controllers_unit
from firing.design.kiln_curves import KilnCurves, course_of, curves_of, default_curves
from firing.design.rate_limits import binding
from firing.design.repair import mended
from firing.design.result import Design, SegmentReason
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.forecast.opening import UNLOAD_C
from firing.forecast.result import Forecast
from firing.review.position import Plan, heating_ended_s, locate
from firing.schedule.schedule import Schedule, Segment, WareDone
from firing.serialise import keyed
from firing.thermocouple.tolerance import least_tolerance_c
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_HOUR,
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
)
from firing.viewable import Tabular
from firing.ware.hot_start import as_dried, assumed_state, state_of, ware_done
from firing.ware.limits import USUAL_MARGIN
from firing.ware.load import Load, WareState
from firing.ware.safe_rates import limits_for
from firing.ware.simulate import simulate_ware

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription


NEAR_C = 4.0
"""A target this near counts as reached: controllers hold within a few degrees [°C]."""
LANDED_C = 1.0
"""From this near on a hold counts as begun [°C]."""
NOT_REACHED_C = 10.0
"""A segment whose target the readings came no nearer to was not done [°C] …"""
HELD_SHARE = 0.75
"""… nor one near which they stayed for less than this share of its hold."""
LEFT_OF_HOLD_S, LEFT_OF_HOLD_SHARE = 240.0, 0.02
"""A hold that lacks no more, in seconds or as a share, was held: each of its ends is found to a
minute or two, and to a step of the log."""
WARE_C = (-39.0, 1449.0)
"""What a kiln and its ware may read [°C]."""
BACK = "Back to where it was"
"""The name of the way back up."""


def readings_until_now(
    time_s: FloatArray, temperature_c: FloatArray, reads_c: float | None, ago_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return the readings there are, with the one of now at their end."""
    times, readings = np.asarray(time_s, dtype=float), np.asarray(temperature_c, dtype=float)
    known = np.isfinite(readings)
    times, readings = times[known], readings[known]
    if times.size < 2:
        raise FiringError("a log needs at least 2 readings to show where a firing stood")
    if not 0.0 <= ago_s < math.inf:
        raise FiringError(f"ago_s = {ago_s:g} is no time after the log's end; write 0 or more")
    if reads_c is not None:
        if not WARE_C[0] <= reads_c <= WARE_C[1]:
            raise FiringError(
                f"a reading of {reads_c:.0f} °C now is no temperature of a kiln; "
                "write one like 560 °C"
            )
        if not ago_s > 0.0:
            raise FiringError(
                "what the kiln reads now needs how long ago the log ends; write --ago 2h beside "
                "--reads"
            )
        if reads_c > float(readings[-1]) + NEAR_C:
            raise FiringError(
                f"the kiln reads {reads_c:.0f} °C now, above the log's last {readings[-1]:.0f} °C, "
                "and a kiln that is off does not heat; give the log of all the heating"
            )
        times = np.append(times, times[-1] + ago_s)
        readings = np.append(readings, reads_c)
    return times, readings


def interrupted_segment(
    schedule: Schedule, times: FloatArray, readings: FloatArray
) -> tuple[int, float]:
    """Return the segment that was interrupted, and how much of its hold was done [s].

    Up to the peak it is the one in which the firing stood when its heating ended; cooling by a
    program and cooling by itself look alike, so after the peak the first segment that still lies
    below the last reading is the one.
    """
    until_s = heating_ended_s(times, readings)
    heated = max(int(np.searchsorted(times, until_s, side="right")), 2)
    found = locate(Plan(schedule), times[:heated], readings[:heated], float(readings[heated - 1]))
    index = min(found.segment or 0, _first_not_done(schedule, times[:heated], readings[:heated]))
    phase = found.phase if index == found.segment else "ramp"
    if phase == "hold" and found.arrived_s is not None:
        hold_s, held_s = schedule.segments[index].hold_s, float(times[heated - 1]) - found.arrived_s
        left_s = max(
            LEFT_OF_HOLD_S, LEFT_OF_HOLD_SHARE * hold_s, 1.5 * float(np.median(np.diff(times)))
        )
        if held_s < hold_s - left_s:
            return index, held_s
        index, phase = index + 1, "ramp"
    if phase != "done" and index <= schedule.peak_index:
        return index, 0.0
    for index in range(schedule.peak_index + 1, len(schedule.segments)):
        if schedule.segments[index].target_c < readings[-1] - NEAR_C:
            return index, 0.0
    return len(schedule.segments), 0.0


def _first_not_done(schedule: Schedule, times: FloatArray, readings: FloatArray) -> int:
    """Return the first segment that cannot be done by the readings: no later one can be either.

    A long wait before a ramp that has hardly begun looks much like the end of a program.  What lies
    below a log's first reading was before it.
    """
    step_s, highest_c = np.diff(times, append=times[-1]), float(readings.max())
    for index, segment in enumerate(schedule.segments):
        if segment.target_c < readings[0] - NOT_REACHED_C:
            continue
        near = np.abs(readings - segment.target_c) <= NOT_REACHED_C
        held_s = float(step_s[near].sum())
        if segment.target_c > highest_c + NOT_REACHED_C or held_s < HELD_SHARE * segment.hold_s:
            return index
    return len(schedule.segments)


def rest_of(
    schedule: Schedule,
    segment: int,
    held_s: float,
    reached_c: float,
    now_c: float,
    heats: bool,
    load_known: bool,
    controller: Controller,
) -> Schedule | None:
    """Return the program from now on, before the ware has its say; None if nothing is left."""
    segments: list[Segment] = []
    if heats:
        current = schedule.segments[segment]
        back_c = min(controller.nearest_target_c(reached_c), current.target_c)
        if current.target_c - back_c <= NEAR_C:
            back_c = current.target_c
        gone = current.target_c == back_c
        rate = controller.fastest_c_per_h if load_known else _own_rate(schedule, now_c, back_c)
        if back_c > now_c + 1.0:
            hold_s = max(current.hold_s - held_s, 0.0) if gone else 0.0
            action = current.action if gone else ""
            segments.append(Segment(back_c, rate, hold_s=hold_s, name=BACK, action=action))
        elif gone and current.hold_s > held_s:
            # Hardly cooled at all: a ramp of a degree or so, then the rest of the hold.
            target_c = now_c + 1.0
            left_s = current.hold_s - held_s
            segments.append(Segment(target_c, rate, hold_s=left_s, name=current.name))
        if not gone:
            segments.append(current)
        segments.extend(schedule.segments[segment + 1 :])
    else:
        first = max(segment, schedule.peak_index + 1)
        below = [s for s in schedule.segments[first:] if s.target_c < now_c - NEAR_C]
        segments.extend(below)
    if not segments:
        return None
    return replace(
        schedule,
        title=f"Rest of: {schedule.title}"[:120],
        segments=tuple(segments),
        start_c=now_c,
    )


def _own_rate(schedule: Schedule, low_c: float, high_c: float) -> float:
    """Return the slowest rate the plan itself has on its way up between two temperatures."""
    rates = [
        segment.rate_c_per_h
        for index, segment in enumerate(schedule.segments[: schedule.peak_index + 1])
        if segment.rate_c_per_h is not None
        and schedule.from_c(index) < high_c
        and segment.target_c > low_c
    ]
    return min(rates, default=60.0)


DONE = 0.97
"""From this share of the heat-work planned on, nothing is heated again."""
COUNTS_NO_MORE_C = 450.0
"""Below this no cone gains anything [°C]."""
LATEST_S = 1800.0
"""A last reading older than this no longer tells what the kiln reads [s]; chosen, no source."""
_BEHIND = 1.02
_DRY_AT_C = 90.0
_ROUNDS = 4


@dataclass(frozen=True, eq=False)
class Resumption(Tabular):
    """What to do now.

    Attributes
    ----------
    schedule : Schedule or None
        What to key in; None if nothing is left to heat.
    reached_c, now_c : float
        The highest temperature so far, and the latest [°C].
    segment : int
        The segment, from 0, that was interrupted.
    state : WareState or None
        What has been done to the ware; None without a load.
    cone : str
        The cone that the end is measured by.
    wanted_x, done_x : float
        Its heat-work as planned, and so far [1].
    cones : ConeVerdict
        Of log and rest together.
    forecast : Forecast or None
        Of the rest.
    reasons : tuple of SegmentReason
        Why, one a segment; empty without a load.
    started : datetime or None
        When the rest starts, if the log knows the clock and its last reading is not too old.
    notes, problems : tuple of str
        What to know, and what no schedule can help.
    cooled_since : bool
        Whether the last reading is too old to begin from; `notes` then begin with it.
    """

    schedule: Schedule | None
    reached_c: float
    now_c: float
    segment: int
    state: WareState | None
    cone: str
    wanted_x: float
    done_x: float
    cones: ConeVerdict
    forecast: Forecast | None
    reasons: tuple[SegmentReason, ...]
    started: datetime | None
    notes: tuple[str, ...]
    problems: tuple[str, ...]
    cooled_since: bool = False

    def __repr__(self) -> str:
        """Return where the firing stands and what is left, on one line."""
        unit = "C" if self.schedule is None else self.schedule.unit
        done = f"{100.0 * self.done_x / self.wanted_x:.0f} %" if self.wanted_x else "none"
        left = "nothing left to heat"
        if self.schedule is not None:
            count = len(self.schedule.segments)
            left = f"{count} segment{'' if count == 1 else 's'} left"
        now = format_temperature(self.now_c, unit)
        return (
            f"<Resumption in segment {self.segment + 1}: now {now}, {done} of the "
            f"heat-work for cone {self.cone}, {left}>"
        )

    @property
    def needs_action(self) -> bool:
        """Whether something cannot be kept."""
        return bool(self.problems)

    def to_dict(self) -> dict[str, Any]:
        """Return the resumption as one JSON document, schema 1."""
        course = self.forecast
        return keyed(
            schema=1,
            kind="resume",
            schedule=self.schedule,
            reached_c=self.reached_c,
            now_c=self.now_c,
            interrupted_segment=self.segment + 1,
            ware=self.state,
            cone=self.cone,
            heatwork_wanted=self.wanted_x,
            heatwork_done=self.done_x,
            cones=self.cones,
            reasons=self.reasons,
            starts_at=None if self.started is None else self.started.isoformat("T", "seconds"),
            program_s=None if course is None else course.program_s,
            total_s=None if course is None else course.total_s,
            program_ends_at=None
            if course is None or self.started is None
            else after(self.started, course.program_s).isoformat("T", "seconds"),
            notes=self.notes,
            problems=self.problems,
            cooled_since=self.cooled_since,
            breaches=[] if course is None else course.breaches,
        )


@dataclass(frozen=True, slots=True)
class _Goal:
    """The cone the end is measured by, its heat-work to reach, and the shift of its law [K]."""

    cone: str
    wanted_x: float
    shift_c: float

    def x_of(self, time_s: FloatArray, temperature_c: FloatArray) -> float:
        return heatwork(time_s, temperature_c, (self.cone,), self.shift_c)[self.cone]


def resume(
    schedule: Schedule,
    time_s: FloatArray,
    temperature_c: FloatArray,
    *,
    load: Load | None = None,
    kiln: KilnDescription | None = None,
    controller: Controller | None = None,
    cone: str | None = None,
    margin: float = USUAL_MARGIN,
    reads_c: float | None = None,
    ago_s: float = 0.0,
    started: datetime | None = None,
    open_c: float = UNLOAD_C,
    clock: datetime | None = None,
) -> Resumption:
    """Return what to key in now, by the log so far; `fi.resume` says more of what is asked.

    `clock` is what the clock says now, with its time zone: whether the log's last reading still
    holds.
    """
    controller = (
        Controller(max_segments=99, unit=schedule.unit) if controller is None else controller
    )
    schedule = in_controllers_unit(schedule, controller)
    times, readings = readings_until_now(time_s, temperature_c, reads_c, ago_s)
    now_c, reached_c = float(readings[-1]), float(readings.max())
    curves = _curves(kiln, load, schedule)

    def course_in(program: Schedule, state: WareState | None) -> tuple[FloatArray, FloatArray]:
        if kiln is None:
            return course_of(program, curves)
        return _course_in_kiln(
            program,
            kiln,
            kiln.inside(load, schedule.purpose),
            controller.waits,
            state,
            curves,
        )

    goal = _goal(course_in(schedule, None), cone, kiln)
    done_x = goal.x_of(times, readings)
    segment, held_s = interrupted_segment(schedule, times, readings)
    state = in_kiln = None
    if load is not None:
        state = in_kiln = _done_to(load, times, readings, schedule.ware_done)
        load = as_dried(load, schedule.purpose, margin, state)
    elif kiln is not None:
        in_kiln = _done_to(kiln.inside(load, schedule.purpose), times, readings)
    begins = None if started is None else after(started, float(times[-1]))
    stale = _cooled_since(begins, now_c, schedule.unit, None if reads_c is not None else clock)
    notes = _account(schedule, segment, reached_c, now_c, state, load, told_late=bool(stale))
    if load is not None and _holds_water_at(load, float(readings[0])):
        notes.append(_log_begins_hot(float(readings[0]), schedule))
    heats = segment <= schedule.peak_index
    is_over = segment >= len(schedule.segments)
    if (heats or is_over) and done_x >= DONE * goal.wanted_x:
        heats = False
        notes.append(
            f"{100 * done_x / goal.wanted_x:.0f} % of the heat-work "
            f"{f'for cone {goal.cone}' if cone else 'of the plan'} is done: do not heat again, let "
            "it cool."
        )
    rest = rest_of(schedule, segment, held_s, reached_c, now_c, heats, load is not None, controller)
    if stale and rest is not None:
        notes.insert(0, stale)
        begins = None
    problems: list[str] = []
    course: Forecast | None = None
    reasons: tuple[SegmentReason, ...] = ()
    cones = _cones(times, readings, kiln)
    if rest is not None:
        if load is not None and state is not None:
            rest = _dry_first(rest, load, margin, state, notes)
            made = mended(
                rest,
                load,
                margin=margin,
                kiln=kiln,
                controller=controller,
                open_c=open_c,
                state=state,
            )
            rest, reasons = made.schedule, _reasons(made)
            problems += [made.advice] if made.advice else []
        if heats:
            if load is not None:
                paced = course_in(rest, in_kiln) if kiln is not None and controller.waits else None
                rest, reasons = _at_the_kilns_pace(rest, reasons, curves, paced, controller)

            def to_come_x(program: Schedule) -> float:
                return goal.x_of(*course_in(program, in_kiln))

            rest = _retimed(rest, goal, done_x, to_come_x, controller, notes, problems)
        lost = None if load is None or state is None else ware_done(load, state)
        rest = _by_itself(rest, cone or schedule.cone, lost)
        course = forecast(
            rest,
            started=begins,
            unload_c=open_c,
            target_cone=None,
            kiln=kiln,
            load=load,
            margin=margin,
            waits=controller.waits,
            state=in_kiln,
        )
        # The rest as it is keyed, its changed hold and its natural cooling included.
        problems += [b.message for b in course.breaches if b.kind != "dry first"]
        notes += [] if course.ware is None else [c.message for c in course.ware.cautions]
        whole_s = np.concatenate((times, times[-1] + course.trace.time_s[1:]))
        whole_c = np.concatenate((readings, course.trace.channel_c()[1:]))
        cones = _cones(whole_s, whole_c, kiln)
    return Resumption(
        schedule=rest,
        reached_c=reached_c,
        now_c=now_c,
        segment=segment,
        state=state,
        cone=goal.cone,
        wanted_x=goal.wanted_x,
        done_x=done_x,
        cones=cones,
        forecast=course,
        reasons=reasons,
        started=begins,
        notes=tuple(notes),
        problems=tuple(problems),
        cooled_since=bool(stale) and rest is not None,
    )


def _cooled_since(
    last: datetime | None, last_c: float, unit: TemperatureUnit, clock: datetime | None
) -> str:
    """Return what to say of a last reading that is too old to begin from; else nothing."""
    if last is None or clock is None or clock.timestamp() - last.timestamp() <= LATEST_S:
        return ""
    year = "" if last.year == clock.year else f" {last.year}"
    return (
        f"{format_temperature(last_c, unit)} was the last reading, on {last:%a} {last.day} "
        f"{last:%b}{year} at {last:%H:%M}; the kiln has cooled since: give --reads and --ago."
    )


def _by_itself(rest: Schedule, cone: str | None, lost: WareDone | None) -> Schedule:
    """Return the rest as a file of its own, whose reader has not seen the log.

    The cone is met by log and rest together: kept as the aim of the rest alone, it would ask for
    heat-work a second time.
    """
    aim = f"cone {cone}" if cone else "the plan's heat-work"
    told = (
        f"The rest of an interrupted firing. Log and rest together are meant for {aim}. "
        "What the log had done counts in these figures. "
    ) + (
        "A forecast or card of this file does not know the log, and may ask for drying or a hold "
        "a second time."
        if lost is None
        else "What the ware had lost stands in ware_done, and counts for ware no thicker."
    )
    return replace(
        rest, cone=None, ware_done=lost, notes="\n\n".join(filter(None, (told, rest.notes)))
    )


def _curves(kiln: KilnDescription | None, load: Load | None, schedule: Schedule) -> KilnCurves:
    if kiln is None:
        return default_curves()
    return curves_of(kiln, kiln.inside(load, schedule.purpose), schedule.peak_c)


def _done_to(
    load: Load, times: FloatArray, readings: FloatArray, before: WareDone | None = None
) -> WareState:
    """Return what a log has done to a load, with what must be out before a log that begins hot."""
    begun = None if before is None else state_of(before, load)
    begun = begun or assumed_state(load, float(readings[0]))
    return simulate_ware(load, times, np.clip(readings, *WARE_C), start=begun).end


def _holds_water_at(load: Load, first_c: float) -> bool:
    """Whether something of the ware has to be assumed where a log begins."""
    wet = load.water_share > 0.0 or load.has_bound_water
    return wet and assumed_state(load, first_c) != WareState()


def _log_begins_hot(first_c: float, schedule: Schedule) -> str:
    first = format_temperature(first_c, schedule.unit)
    return (
        f"The log begins at {first}: what the ware loses below that is assumed to be out of it. "
        "If the firing was never slow there, let the kiln cool and start from cold."
    )


def _course_in_kiln(
    schedule: Schedule,
    kiln: KilnDescription,
    load: Load,
    waits: bool,
    state: WareState | None,
    curves: KilnCurves,
) -> tuple[FloatArray, FloatArray]:
    """Return what the thermocouple of this kiln reads along a program [s, °C].

    A program the kiln cannot end is taken as written: what it was to come to is what counts.
    """
    from firing.kiln.simulation import simulate

    run = simulate(kiln, load, schedule, waits=waits, until_c=COUNTS_NO_MORE_C, state=state)
    return (run.time_s, run.chamber_c) if run.reaches_peak else course_of(schedule, curves)


def _goal(
    course: tuple[FloatArray, FloatArray], cone: str | None, kiln: KilnDescription | None
) -> _Goal:
    """Return what the end is measured by; cooling counts in plan and rest alike."""
    time_s, temperature_c = course
    verdict = cone_reached(time_s, temperature_c)
    name = parse_cone(cone) if cone else verdict.reached or "022"
    shift_c = cone_law(name).shift_c(verdict.by_cone[name].approach_rate_c_per_h)
    if cone is not None and kiln is not None:
        shift_c += kiln.fitted.cone_offset_c
    goal = _Goal(name, 1.0, shift_c)
    return goal if cone else replace(goal, wanted_x=goal.x_of(time_s, temperature_c))


def _cones(
    time_s: FloatArray, temperature_c: FloatArray, kiln: KilnDescription | None
) -> ConeVerdict:
    """Return what a course comes to, by what this kiln's thermocouple may read wrong."""
    if kiln is None:
        return cone_reached(time_s, temperature_c)
    peak_c, offset_c = float(temperature_c.max()), kiln.fitted.cone_offset_c
    near = least_tolerance_c(kiln.thermocouple, kiln.thermocouple_class, peak_c)
    return cone_reached(
        time_s, temperature_c + offset_c, near.value_c, at_least=near.at_least, offset_c=offset_c
    )


def _account(
    schedule: Schedule,
    segment: int,
    reached_c: float,
    now_c: float,
    state: WareState | None,
    load: Load | None,
    *,
    told_late: bool,
) -> list[str]:
    unit = schedule.unit
    where = (
        f"in segment {schedule.label(segment)}"
        if segment < len(schedule.segments)
        else "after its last segment"
    )
    words = [
        f"The firing came to {format_temperature(reached_c, unit)}, {where}, and "
        f"{'last read' if told_late else 'stands at'} {format_temperature(now_c, unit)}."
    ]
    if state is None or load is None:
        words.append(
            "No load was given: the ware is not judged, and the way back follows the plan's own "
            "rates."
        )
    elif load.has_bound_water:
        words.append(
            f"Of the bound water {100 * state.bound_water_gone:.0f} % has left the middle of the "
            f"thickest wall, and the carbon has burnt for {format_duration(state.burn_out_s)}."
        )
    return words


def _dry_first(
    rest: Schedule, load: Load, margin: float, state: WareState, notes: list[str]
) -> Schedule:
    """Let the kiln fall to where ware dries, if it still has to and the kiln is hotter."""
    limits = limits_for(load, purpose=rest.purpose, margin=margin, state=state)
    for dwell in limits.dwells:
        if dwell.reason == "free water" and rest.start_c > dwell.window_c[1]:
            notes.append(
                f"The ware is not dry yet: let the kiln cool to {_DRY_AT_C:.0f} °C first, then "
                "start this program."
            )
            return replace(rest, start_c=_DRY_AT_C - 1.0)
    return rest


def _reasons(made: Design) -> tuple[SegmentReason, ...]:
    """Return the reasons of a mended rest; the way back was never written by anybody."""
    schedule, found = made.schedule, []
    for index, (segment, reason) in enumerate(zip(schedule.segments, made.reasons, strict=True)):
        if segment.name == BACK and segment.target_c > schedule.from_c(index):
            limits = made.ware.of("heating")
            most, limit = binding(limits, schedule.from_c(index), segment.target_c)
            words = f"At most {format_rate(most, schedule.unit)} ({limit.reason}): {limit.text}."
            reason = SegmentReason((words,), (limit.source,))
        found.append(reason)
    return tuple(found)


def _at_the_kilns_pace(
    rest: Schedule,
    reasons: tuple[SegmentReason, ...],
    curves: KilnCurves,
    course: tuple[FloatArray, FloatArray] | None,
    controller: Controller,
) -> tuple[Schedule, tuple[SegmentReason, ...]]:
    """Return the rest with a way back that the kiln can make, where the ware would bear more.

    A clock that waits may ask for the kiln's own mean pace, its `course`.  One that goes on may
    ask for the slowest, and so may anybody who has no kiln file to tell a mean.
    """
    segments, found = list(rest.segments), list(reasons)
    for index, segment in enumerate(rest.segments):
        low_c, high_c = rest.from_c(index), segment.target_c
        if segment.name != BACK or segment.rate_c_per_h is None or high_c <= low_c:
            continue
        if course is not None:
            time_s, chamber_c = course
            highest_c = np.maximum.accumulate(chamber_c)
            left_s = float(time_s[int(np.argmax(highest_c > low_c + LANDED_C))])
            there_s = float(time_s[int(np.argmax(highest_c >= high_c - LANDED_C))])
            pace = (high_c - low_c) / max(there_s - left_s, 60.0) * SECONDS_PER_HOUR
        else:
            pace = float(curves.heating.lowest_between(np.array([low_c]), np.array([high_c]))[0])
        keyed = controller.rates_c_per_h(controller.rate_min, pace)
        if not keyed or segment.rate_c_per_h <= _BEHIND * pace:
            continue
        segments[index] = replace(segment, rate_c_per_h=keyed[-1])
        words = f"About {format_rate(keyed[-1], rest.unit)} (kiln): {curves.heating.text}."
        found[index] = SegmentReason((words,), (curves.heating.source,))
    return replace(rest, segments=tuple(segments)), tuple(found)


def _retimed(
    rest: Schedule,
    goal: _Goal,
    done_x: float,
    to_come_x: Callable[[Schedule], float],
    controller: Controller,
    notes: list[str],
    problems: list[str],
) -> Schedule:
    """Return the rest with the hold at its peak, or its peak, changed for the heat-work."""
    index = rest.peak_index
    law = cone_law(goal.cone)
    before_s = rest.segments[index].hold_s
    now = rest
    for _ in range(_ROUNDS):
        short_x = goal.wanted_x - done_x - to_come_x(now)
        segment = now.segments[index]
        per_s = law.per_second(segment.target_c + goal.shift_c)
        hold_s = float(controller.hold_up_s(np.array(segment.hold_s + short_x / per_s)))
        if abs(hold_s - segment.hold_s) < 1.0 or not hold_s < LONGEST_HOLD_S:
            break
        now = _with(now, index, replace(segment, hold_s=hold_s))
    short_x = goal.wanted_x - done_x - to_come_x(now)
    if short_x > 0.05 * goal.wanted_x:
        problems.append(
            f"Cone {goal.cone} would need a hold of more than {LONGEST_HOLD_S / 3600:.0f} h at "
            f"{format_temperature(rest.peak_c, rest.unit)}: plan a higher peak."
        )
        return rest
    peak_c = now.segments[index].target_c
    step_c = controller.target_step / (1.8 if controller.unit == "F" else 1.0)
    if short_x < -0.02 * goal.wanted_x:
        # The fewest steps down that do not come to more than was wanted.
        over, enough = 0, max(math.floor((peak_c - now.from_c(index) - 1.0) / step_c), 0)
        while enough - over > 1:
            steps = (over + enough) // 2
            lower = replace(now.segments[index], target_c=peak_c - steps * step_c)
            if to_come_x(_with(now, index, lower)) + done_x > 1.02 * goal.wanted_x:
                over = steps
            else:
                enough = steps
        lower = replace(now.segments[index], target_c=peak_c - enough * step_c)
        now = _with(now, index, lower)
    hold_s = now.segments[index].hold_s
    if now.segments[index].target_c < peak_c:
        notes.append(
            f"What has been done counts: the peak is "
            f"{format_temperature(now.segments[index].target_c, rest.unit)} instead of "
            f"{format_temperature(peak_c, rest.unit)}, without a hold."
        )
    elif abs(hold_s - before_s) >= 30.0:
        notes.append(
            f"What has been done counts: the hold at {format_temperature(peak_c, rest.unit)} is "
            f"{format_duration(hold_s)} instead of {format_duration(before_s)}."
        )
    return now


def _with(schedule: Schedule, index: int, segment: Segment) -> Schedule:
    segments = list(schedule.segments)
    segments[index] = segment
    return replace(schedule, segments=tuple(segments))
