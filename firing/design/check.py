"""What a design goes by before it is simulated: a program against limits, by the kiln's curves.

The verdict on it is `firing.ware.check.check_ware`, by way of its forecast.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from firing.design.kiln_curves import KilnCurves
from firing.forecast.forecast import forecast
from firing.heat import default_kiln
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.ware.breach import Breach
from firing.ware.face import with_natural_cooling
from firing.ware.limits import USUAL_MARGIN, WareLimits
from firing.ware.load import Load, WareState
from firing.ware.program_check import check_program

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription


def check_plan(
    schedule: Schedule,
    load: Load,
    *,
    margin: float = USUAL_MARGIN,
    kiln: KilnDescription | None = None,
    state: WareState | None = None,
) -> tuple[Breach, ...]:
    """Return where a schedule is not safe for its load, as its forecast has it.

    Parameters
    ----------
    schedule : Schedule
        Any program.
    load : Load
        What is fired.
    margin : float
        Caution.
    kiln : KilnDescription, optional
        The kiln; the default curves without one.
    state : WareState, optional
        What earlier firing has done to the ware; see `firing.ware.hot_start` where nobody knows.

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
    return forecast(schedule, kiln=kiln, load=load, margin=margin, state=state).breaches


def breaches(schedule: Schedule, limits: WareLimits, curves: KilnCurves) -> tuple[Breach, ...]:
    """Return where a program breaks limits, with its natural cooling by the kiln's curves."""
    return check_program(
        with_natural_cooling(schedule),
        limits,
        heating_curve=curves.heating.at,
        cooling_curve=curves.cooling.at,
    )


def course_of(schedule: Schedule, curves: KilnCurves) -> tuple[FloatArray, FloatArray]:
    """Return a program's course down to 60 °C [s, °C]: its own rates, never beyond the kiln's."""
    times, temperatures = [0.0], [schedule.start_c]
    whole = with_natural_cooling(schedule)
    for index, segment in enumerate(whole.segments):
        from_c = whole.from_c(index)
        count = max(2, int(abs(segment.target_c - from_c) / 10.0) + 2)
        grid = np.linspace(from_c, segment.target_c, count)
        middle = 0.5 * (grid[1:] + grid[:-1])
        own = curves.heating.at(middle)
        if segment.target_c < from_c:
            own = np.maximum(curves.cooling.at(middle), 0.5)
            if segment.target_c < schedule.room_c + 2.0:
                own = np.full_like(own, default_kiln.COOLING_FACTOR)
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
