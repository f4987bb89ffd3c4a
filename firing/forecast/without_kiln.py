"""The forecast where no kiln is known: the program's own arithmetic and the default cooling."""

from datetime import datetime

import numpy as np

from firing.cones.equivalence import cone_reached
from firing.forecast.result import Forecast
from firing.heat import default_kiln
from firing.heat.default_kiln import TRIAL, UsualKiln
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import set_point_over_time
from firing.trace import Trace


def forecast_without_kiln(
    schedule: Schedule, unload_c: float, started: datetime | None, usual: UsualKiln = TRIAL
) -> Forecast:
    """Return the forecast, but for its ware and its warnings."""
    room_c = schedule.room_c
    program, segments, planned_basis = set_point_over_time(schedule, usual)
    program_s = segments[-1].end_s
    times, temperatures = program.time_s, program.channel_c()
    last_c = schedule.segments[-1].target_c
    cooled_s, low_s, high_s = 0.0, 0.0, 0.0
    if last_c > unload_c:
        factor, (slow, fast) = usual.cooling_factor, usual.cooling_range
        run = default_kiln.cool(last_c, unload_c, room_c=room_c, factor=factor)
        cooled_s = run.duration_s
        low_s = default_kiln.cool(last_c, unload_c, room_c=room_c, factor=fast).duration_s
        high_s = default_kiln.cool(last_c, unload_c, room_c=room_c, factor=slow).duration_s
        times = np.concatenate((times, program_s + run.time_s[1:]))
        temperatures = np.concatenate((temperatures, run.temperature_c[1:]))
    trace = Trace(times, temperatures, ("forecast",), "forecast", started=started)
    return Forecast(
        schedule=schedule,
        segments=segments,
        trace=trace,
        program_s=program_s,
        heating_s=segments[schedule.peak_index].end_s,
        total_s=program_s + cooled_s,
        unload_c=unload_c,
        peak_c=schedule.peak_c,
        cones=cone_reached(trace.time_s, trace.channel_c()),
        basis=f"no kiln given: programmed durations, and the default cooling curve, that of "
        f"{usual.words}",
        planned_basis=planned_basis,
        started=started,
        usual=usual,
        usual_total_s=(program_s + low_s, program_s + high_s),
    )
