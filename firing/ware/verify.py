"""The transient solution held against the limits: what a course still does wrong to the ware."""

import numpy as np

from firing.ware.limits import Limit, WareLimits
from firing.ware.reactions import BURN_OUT_C
from firing.ware.simulate import WareCourse

# The limits are of the steady ramp; where the reaction sweeps through, the wall may lag this much
# more for a while.
TOLERANCE = 0.05
BOUND_WATER_LEFT = 0.05


def largest_difference_k(course: WareCourse, limit: Limit) -> float:
    """Return the largest difference through the wall where and while a limit watches it [K].

    Parameters
    ----------
    course : WareCourse
        The wall along a course.
    limit : Limit
        The limit; 0 where it watches no difference.
    """
    if limit.watched_c is None:
        return 0.0
    low_c, high_c = limit.watched_c
    heating = np.gradient(course.surface_c, course.time_s) >= 0.0
    inside = (course.surface_c >= low_c) & (course.surface_c <= high_c)
    inside &= heating == (limit.direction == "heating")
    return float(np.max(np.abs(course.difference_k[inside]), initial=0.0))


def verify_ware(course: WareCourse, limits: WareLimits) -> tuple[str, ...]:
    """Return what a course does to the ware beyond its limits, one sentence each.

    Checked are the vapour pressure in the middle against a tenth of the strength
    (``vapour-choice``), the difference through the wall against what each limit allows in its
    window, and that the bound water has left the middle before sintering begins.

    Parameters
    ----------
    course : WareCourse
        Of the load the limits are for.
    limits : WareLimits
        The limits.

    Returns
    -------
    tuple of str
        Empty if the transient solution bears the course out.
    """
    found = []
    worst = int(np.argmax(course.core_vapour_kpa))
    vapour_kpa = float(course.core_vapour_kpa[worst])
    if vapour_kpa > limits.vapour_kpa:
        found.append(
            f"the vapour in the middle of the wall reaches {vapour_kpa:.0f} kPa at "
            f"{course.core_c[worst]:.0f} °C, above a tenth of its strength, "
            f"{limits.vapour_kpa:.0f} kPa: dry longer"
        )
    for limit in limits.limits:
        if limit.allowed_k is None or limit.watched_c is None:
            continue
        low_c, high_c = limit.watched_c
        largest_k = largest_difference_k(course, limit)
        if largest_k > limit.allowed_k * (1.0 + TOLERANCE):
            found.append(
                f"while {limit.direction} from {low_c:.0f} to {high_c:.0f} °C the wall differs by "
                f"{largest_k:.1f} K where {limit.allowed_k:.1f} K is the most: {limit.text}"
            )
    if np.any(course.surface_c > BURN_OUT_C[1]):
        first = int(np.argmax(course.surface_c > BURN_OUT_C[1]))
        left = 1.0 - float(course.bound_water_gone[first])
        if left > BOUND_WATER_LEFT:
            found.append(
                f"{100 * left:.0f} % of the bound water is still in the middle when the face "
                f"passes {BURN_OUT_C[1]:.0f} °C and sintering begins: slow down from 500 °C on"
            )
    return tuple(found)
