"""Where a stay really began or ended, when the readings crept up to it or ran on past it."""

import numpy as np

from firing.review.evenly import EvenTrace
from firing.schedule.schedule import Schedule

LEVEL_SCATTER_C = 4.0
"""Readings within this of a level are as good as on it [°C]."""
CREEPING_S = 1800.0
CREPT_C = 2.0
"""A stay this long that rises towards its target is told from a hold; it begins this near to the
level it came to [s, °C]."""
PAST_C = 8.0
"""A stay this far past its target is at another level [°C]."""
FLAT_C = 3.0
STAY_S = 540.0
"""A stay of this long was meant [s]."""


def after_running_past(
    trace: EvenTrace, hold_from: int, hold_to: int, target_c: float, sign: float
) -> int:
    """Return the sample where a stay began that lies past its target: the ramp's end, not between.

    Parameters
    ----------
    trace : EvenTrace
        The log.
    hold_from, hold_to : int
        The stay's samples, from the moment the readings passed the target.
    target_c : float
        [°C].
    sign : float
        1 for a ramp that climbs, −1 for one that falls.
    """
    part = sign * (trace.temperature_c[hold_from:hold_to] - target_c)
    least = max(2, round(STAY_S / trace.step_s))
    if part.size < 2 * least:
        return hold_from
    # Half of a stay's least length is looked at from its end, before the corner that ends it.
    level_c = float(np.median(part[-least : part.size - least // 4]))
    near_c = max(FLAT_C, 4.0 * trace.noise_c)
    if level_c < PAST_C:
        return hold_from
    came = int(np.argmax(part >= level_c - near_c))
    flat = part[came:]
    stayed = flat.size >= least and np.mean(np.abs(flat - level_c) <= 2.0 * near_c) > 0.8
    return hold_from + came if stayed else hold_from


def after_creeping(trace: EvenTrace, hold_from: int, hold_to: int, target_c: float) -> int:
    """Return where a stay really began that looks flat, but crept up to its level from below.

    A kiln at its limit comes ever more slowly to its target; no controller counts that as a hold.
    """
    part = trace.temperature_c[hold_from:hold_to]
    quarter = part.size // 4
    if quarter * 4 * trace.step_s < CREEPING_S or quarter < 2:
        return hold_from
    first_c, last_c = float(np.median(part[:quarter])), float(np.median(part[-quarter:]))
    short = target_c - first_c > LEVEL_SCATTER_C
    if not short or last_c - first_c <= max(LEVEL_SCATTER_C, 6.0 * trace.noise_c):
        return hold_from
    top_c = float(np.max(part)) - max(CREPT_C, 3.0 * trace.noise_c)
    came = int(np.argmax(part >= top_c))
    # What creeps gets ever slower; a stay on the way, and the ramp after it, do not.
    half_c = float(part[came // 2])
    if half_c - float(part[0]) <= float(part[came]) - half_c:
        return hold_from
    return hold_from + came


def climbs_on(schedule: Schedule, index: int) -> bool:
    """Return whether the plan's next segment climbs."""
    after = schedule.segments[index + 1 : index + 2]
    return any(segment.target_c > schedule.segments[index].target_c for segment in after)


def went_on(trace: EvenTrace, hold_from: int, hold_to: int, target_c: float) -> bool:
    """Return whether a stay that looks flat left its target behind: the next ramp, at its limit."""
    part = trace.temperature_c[hold_from:hold_to]
    quarter = part.size // 4
    if quarter * 4 * trace.step_s < CREEPING_S or quarter < 2:
        return False
    first_c, last_c = float(np.median(part[:quarter])), float(np.median(part[-quarter:]))
    rose = last_c - first_c > max(LEVEL_SCATTER_C, 6.0 * trace.noise_c)
    return rose and last_c > target_c + 2.0 * LEVEL_SCATTER_C
