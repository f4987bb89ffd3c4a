"""What a schedule will do, said beforehand: hours, opening time, cones, energy and warnings.

With a kiln file the firing is simulated: what power allows, what the walls lose, what the load
takes up.  Without one the program's own arithmetic is all there is: it says how long the ramps and
holds are written to take, not whether a kiln can follow; ramps without a rate, cooling that a kiln
cannot follow, and the cooling after the program then come from the default curves of
:mod:`firing.heat.default_kiln`, and the forecast says so.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from firing.cones.equivalence import cone_reached
from firing.forecast.opening import UNLOAD_C, opening_by_default, require_unload_c
from firing.forecast.result import Forecast
from firing.forecast.warnings import warnings_for
from firing.heat.default_kiln import TRIAL, UsualKiln
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import set_point_over_time
from firing.trace import Trace

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.ware.face import FaceCourse
    from firing.ware.limits import WareLimits
    from firing.ware.load import Load, WareState


def forecast(
    schedule: Schedule,
    *,
    started: datetime | None = None,
    unload_c: float = UNLOAD_C,
    target_cone: str | None = None,
    kiln: KilnDescription | None = None,
    load: Load | None = None,
    waits: bool = True,
    margin: float | None = None,
    state: WareState | None = None,
    limits: WareLimits | None = None,
    usual: UsualKiln = TRIAL,
) -> Forecast:
    """Forecast a schedule; `fi.forecast` says more of what is asked.

    A typical load stands in for none.  `state` is what earlier firing has done to the ware; without
    it, a program that starts hot is taken to find the ware past what it passes over.  Where the
    load's `limits` are known already, `margin` has no say; the usual one stands in for none.
    """
    if state is None and load is not None and schedule.ware_done is not None:
        from firing.ware.hot_start import state_of

        state = state_of(schedule.ware_done, load)
        if state is not None:
            from firing.ware.hot_start import as_dried

            load = as_dried(load, schedule.purpose, _or_usual(margin), state)
    require_unload_c(unload_c, schedule.room_c, schedule.unit)
    if kiln is None:
        course = _without_kiln(schedule, unload_c, started, usual)
    else:
        from firing.forecast.in_kiln import forecast_in_kiln

        course = forecast_in_kiln(
            schedule, kiln, load, waits=waits, unload_c=unload_c, started=started, state=state
        )
    inside = load if load is not None or course.kiln is None else course.kiln.run.load
    ware, assumed = None, ""
    if inside is not None:
        from firing.ware.hot_start import ware_at_start

        found = ware_at_start(inside, schedule, margin=_or_usual(margin), state=state)
        assumed = found.assumed
    if load is not None:
        from firing.ware.check import check_ware
        from firing.ware.safe_rates import limits_for

        if limits is None:
            limits = limits_for(
                found.load,
                purpose=schedule.purpose,
                margin=_or_usual(margin),
                state=found.state,
            )
        ware = check_ware(schedule, found.load, _face(course), limits, state=found.state)
    wanted = schedule.cone if target_cone is None else target_cone
    result = replace(course, target_cone=wanted, ware=ware, assumed=assumed)
    return replace(result, warnings=warnings_for(result, load))


def _or_usual(margin: float | None) -> float:
    from firing.ware.limits import USUAL_MARGIN

    return USUAL_MARGIN if margin is None else margin


def _without_kiln(
    schedule: Schedule, unload_c: float, started: datetime | None, usual: UsualKiln
) -> Forecast:
    """Return the forecast by the program's own arithmetic, but for its ware and its warnings."""
    program, segments, planned_basis = set_point_over_time(schedule, usual)
    program_s = segments[-1].end_s
    times, temperatures = program.time_s, program.channel_c()
    last_c = schedule.segments[-1].target_c
    opening, cooling = opening_by_default(program_s, last_c, unload_c, schedule.room_c, usual)
    if cooling is not None:
        times = np.concatenate((times, program_s + cooling.time_s[1:]))
        temperatures = np.concatenate((temperatures, cooling.temperature_c[1:]))
    trace = Trace(times, temperatures, ("forecast",), "forecast", started=started)
    return Forecast(
        schedule=schedule,
        segments=segments,
        trace=trace,
        program_s=program_s,
        heating_s=segments[schedule.peak_index].end_s,
        total_s=opening.at_s,
        unload_c=unload_c,
        peak_c=schedule.peak_c,
        cones=cone_reached(trace.time_s, trace.channel_c()),
        basis=f"no kiln given: programmed durations, and the default cooling curve, that of "
        f"{usual.words}",
        planned_basis=planned_basis,
        started=started,
        usual=usual,
        usual_total_s=(opening.low_s, opening.high_s),
    )


def _face(course: Forecast) -> FaceCourse:
    """Return how the faces of the ware go through a firing and its natural cooling."""
    from firing.ware.face import face_by_program, face_in_kiln

    room_c = course.schedule.room_c
    ends_s = [segment.end_s for segment in course.segments]
    if course.kiln is None:
        trace = course.trace
        return face_by_program(
            trace.time_s, trace.channel_c(), ends_s, room_c=room_c, usual=course.usual
        )
    run = course.kiln.run
    cools_s = [(leg.start_s, leg.end_s) for leg in course.segments if leg.end_c < leg.from_c]
    return face_in_kiln(
        run.time_s,
        run.ware_c,
        ends_s,
        room_c=room_c,
        max_rate=course.kiln.max_rate,
        cools_s=[*cools_s, (course.program_s, np.inf)],
    )
