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

from firing.errors import FiringError
from firing.forecast.result import Forecast
from firing.forecast.warnings import warnings_for
from firing.forecast.without_kiln import forecast_without_kiln
from firing.heat.default_kiln import TRIAL, UsualKiln
from firing.schedule.schedule import Schedule
from firing.units import format_temperature, from_celsius
from firing.ware.limits import USUAL_MARGIN

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.ware.face import FaceCourse
    from firing.ware.limits import WareLimits
    from firing.ware.load import Load, WareState

UNLOAD_C = 60.0
"""Ware is handled at about this temperature (common practice, no source)."""
HOTTEST_UNLOAD_C = 300.0


def forecast(
    schedule: Schedule,
    *,
    started: datetime | None = None,
    unload_c: float = UNLOAD_C,
    target_cone: str | None = None,
    kiln: KilnDescription | None = None,
    load: Load | None = None,
    waits: bool = True,
    margin: float = USUAL_MARGIN,
    state: WareState | None = None,
    limits: WareLimits | None = None,
    usual: UsualKiln = TRIAL,
) -> Forecast:
    """Forecast a schedule.

    Parameters
    ----------
    schedule : Schedule
        The program.
    started : datetime, optional
        When it starts, with its time zone.
    unload_c : float
        The temperature the kiln is opened at [°C].
    target_cone : str, optional
        The cone wanted, the schedule's own if left out; the forecast says what would meet it.
    kiln : KilnDescription, optional
        The kiln to simulate the firing in.
    load : Load, optional
        What is in it; a typical load for the kiln's volume if not given.
    waits : bool
        Whether the controller's clock waits when the kiln lags.
    margin : float
        Caution of the ware's limits, from 1 (see `firing.ware.safe_rates.limits_for`).
    state : WareState, optional
        What earlier firing has done to the ware; unless given, a program that starts hot is taken
        to find the ware past what it passes over.
    limits : WareLimits, optional
        The load's limits, where they are known already; `margin` then has no say.
    usual : UsualKiln
        The kiln whose cooling stands in where none is given.

    Returns
    -------
    Forecast

    Raises
    ------
    FiringError
        If `unload_c` is not above the room, or a ramp cannot be forecast.
    """
    room_c = schedule.room_c
    if not room_c + 2.0 <= unload_c <= HOTTEST_UNLOAD_C:
        unit = schedule.unit
        raise FiringError(
            f"the kiln is opened at {from_celsius(room_c + 2.0, unit):.0f} to "
            f"{format_temperature(HOTTEST_UNLOAD_C, unit)}; {from_celsius(unload_c, unit):g} "
            f"°{unit} is outside that"
        )
    if kiln is None:
        course = forecast_without_kiln(schedule, unload_c, started, usual)
    else:
        from firing.forecast.in_kiln import forecast_in_kiln

        course = forecast_in_kiln(
            schedule, kiln, load, waits=waits, unload_c=unload_c, started=started, state=state
        )
    inside = load if load is not None or course.kiln is None else course.kiln.run.load
    ware, assumed = None, ""
    if inside is not None:
        from firing.ware.hot_start import ware_at_start

        found = ware_at_start(inside, schedule, margin=margin, state=state)
        assumed = found.assumed
    if load is not None:
        from firing.ware.check import check_ware
        from firing.ware.safe_rates import limits_for

        if limits is None:
            limits = limits_for(
                found.load, purpose=schedule.purpose, margin=margin, state=found.state
            )
        ware = check_ware(schedule, found.load, _face(course), limits, state=found.state)
    wanted = schedule.cone if target_cone is None else target_cone
    result = replace(course, target_cone=wanted, ware=ware, assumed=assumed)
    return replace(result, warnings=warnings_for(result))


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
