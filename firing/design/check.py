"""Any schedule held against the ware's limits, its natural cooling included."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from firing.design.kilncurves import KilnCurves, curves_of, default_curves
from firing.kiln import natural
from firing.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.ware.case import USUAL_MARGIN
from firing.ware.check import Breach, check_schedule
from firing.ware.hotstart import ware_at_start
from firing.ware.limits import WareLimits
from firing.ware.load import Load
from firing.ware.rules import limits_for
from firing.ware.simulate import WareCourse, simulate_ware
from firing.ware.state import WareState
from firing.ware.verify import verify_ware

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.kiln.thermal import Simulation

COOL_C = 60.0
"""Down to where the kiln's own cooling is looked at [°C]."""


def with_cooling(schedule: Schedule) -> Schedule:
    """Return a schedule that says what happens after its last segment: elements off."""
    last_c = schedule.segments[-1].target_c
    if last_c <= COOL_C:
        return schedule
    off = Segment(COOL_C, None, "off", name="cooling by itself")
    return replace(schedule, segments=(*schedule.segments, off))


def check_plan(
    schedule: Schedule,
    load: Load,
    *,
    margin: float = USUAL_MARGIN,
    kiln: KilnDescription | None = None,
    curves: KilnCurves | None = None,
    state: WareState | None = None,
) -> tuple[Breach, ...]:
    """Return where a schedule breaks a limit of its load, cooling after the program included.

    Parameters
    ----------
    schedule : Schedule
        Any program.
    load : Load
        What is fired.
    margin : float
        Caution.
    kiln : KilnDescription, optional
        The kiln, for "unlimited" ramps and natural cooling; the default curves without one.
    curves : KilnCurves, optional
        Its curves, where they are known already.
    state : WareState, optional
        What earlier firing has done to the ware; see `firing.ware.hotstart` where nobody knows.

    Returns
    -------
    tuple of Breach
        In the order of the segments; a breach of `segment` equal to the number of segments is in
        the cooling after the last.

    Raises
    ------
    FiringError
        As of `firing.ware.rules.limits_for`: dryness contradicting the purpose, among others.
    """
    found = ware_at_start(load, schedule, margin=margin, state=state)
    limits = limits_for(found.load, purpose=schedule.purpose, margin=margin, state=found.state)
    if curves is None:
        curves = (
            default_curves(schedule.room_c)
            if kiln is None
            else curves_of(kiln, load, schedule.peak_c, schedule.room_c)
        )
    return breaches(schedule, limits, curves)


def breaches(schedule: Schedule, limits: WareLimits, curves: KilnCurves) -> tuple[Breach, ...]:
    """Return where a schedule breaks limits, with its natural cooling by the kiln's curves."""
    return check_schedule(
        with_cooling(schedule),
        limits,
        heating_curve=curves.heating.at,
        cooling_curve=curves.cooling.at,
    )


def problems_of(
    schedule: Schedule,
    limits: WareLimits,
    curves: KilnCurves,
    course: WareCourse,
) -> tuple[str, ...]:
    """Return what is wrong with a schedule: limits broken, and what the ware simulation finds.

    Parameters
    ----------
    schedule, limits, curves
        The program, the limits of its ware, and the kiln.
    course : WareCourse
        The ware along the program.
    """
    found = [breach.message for breach in breaches(schedule, limits, curves)]
    found += [f"In the simulated wall {words}." for words in verify_ware(course, limits)]
    return tuple(found)


def ware_course(
    schedule: Schedule,
    load: Load,
    curves: KilnCurves,
    run: Simulation | None,
    state: WareState | None = None,
) -> WareCourse:
    """Return the thickest ware along a program.

    Parameters
    ----------
    schedule, load, curves
        The program, the ware, and the kiln's curves.
    run : Simulation or None
        The program in the kiln: the ware's face then follows the kiln and its load; without it, the
        program.
    state : WareState, optional
        What earlier firing has done to the ware.
    """
    if run is None:
        return simulate_ware(load, *course_of(schedule, curves), start=state)
    rising = np.concatenate(([True], np.diff(run.time_s) > 0.0))
    return simulate_ware(load, run.time_s[rising], _face_c(run)[rising], start=state)


def _face_c(run: Simulation) -> FloatArray:
    """Return the face of the thickest ware, on the way up no colder than the program ever is [°C].

    A kiln that begins hot begins with ware as hot all through.  With water still bound inside, its
    face would at first fall below the kiln it stands in; no kiln that heats cools its ware.
    """
    schedule = run.schedule
    last = schedule.peak_index
    lowest_c = min(schedule.start_c, *(s.target_c for s in schedule.segments[: last + 1]))
    up_s = run.segments[last].end_s if last < len(run.segments) else run.program_s
    return np.where(run.time_s <= up_s, np.maximum(run.ware_c, lowest_c), run.ware_c)


def course_of(schedule: Schedule, curves: KilnCurves) -> tuple[FloatArray, FloatArray]:
    """Return a program's course down to 60 °C [s, °C]: its own rates, never beyond the kiln's."""
    times, temperatures = [0.0], [schedule.start_c]
    for index, segment in enumerate(with_cooling(schedule).segments):
        from_c = with_cooling(schedule).from_c(index)
        count = max(2, int(abs(segment.target_c - from_c) / 10.0) + 2)
        grid = np.linspace(from_c, segment.target_c, count)
        middle = 0.5 * (grid[1:] + grid[:-1])
        own = curves.heating.at(middle)
        if segment.target_c < from_c:
            own = np.maximum(curves.cooling.at(middle), 0.5)
            if segment.target_c < schedule.room_c + 2.0:
                own = np.full_like(own, natural.COOLING_FACTOR)
        if segment.rate_c_per_h is None:
            pace = own
        elif segment.target_c < from_c:
            pace = np.minimum(own, segment.rate_c_per_h)
        else:
            pace = np.full_like(middle, segment.rate_c_per_h)
        steps = np.abs(np.diff(grid)) / pace * 3600.0
        times.extend((times[-1] + np.cumsum(steps)).tolist())
        temperatures.extend(grid[1:].tolist())
        if segment.hold_s:
            times.append(times[-1] + segment.hold_s)
            temperatures.append(segment.target_c)
    return np.array(times), np.array(temperatures)
