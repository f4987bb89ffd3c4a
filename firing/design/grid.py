"""The temperatures at which a segment may end: every 10 °C or 20 °F, and where something begins."""

import math
from collections.abc import Iterable, Sequence

import numpy as np

from firing.controller.controller import Controller
from firing.trace import FloatArray
from firing.units import from_celsius, to_celsius
from firing.ware.limits import Dwell

_SPACING = {"C": 10.0, "F": 20.0}
# A window narrower than this [K] is stood in at its warm middle only: near its cold end too little
# happens, and at its warm end an overshoot would leave it.
_NARROW_K = 30.0
_PLACE = 2.0 / 3.0
_BESIDE = 2.0


def stops_between(
    low_c: float,
    high_c: float,
    special_c: Iterable[float],
    dwells: Sequence[Dwell],
    controller: Controller,
) -> FloatArray:
    """Return the temperatures between two at which a segment may end.

    Parameters
    ----------
    low_c, high_c : float
        Ends, themselves left out [°C].
    special_c : iterable of float
        Where a limit begins or ends [°C]; each becomes the nearest targets at and around it.
    dwells : sequence of Dwell
        Windows in which time is spent.
    controller : Controller
        Its unit and target step.

    Returns
    -------
    ndarray, shape (n,)
        Rising [°C].
    """
    step, unit = controller.target_step, controller.unit
    coarse = math.ceil(_SPACING[unit] / step - 1e-9) * step
    first, last = (from_celsius(t, unit) / coarse for t in (low_c, high_c))
    keyed = {round(i * coarse, 6) for i in range(math.ceil(first), math.floor(last) + 1)}
    for special in special_c:
        keyed.add(round(from_celsius(controller.target_down_c(special), unit), 6))
        keyed.add(round(from_celsius(controller.target_up_c(special), unit), 6))
    found = {to_celsius(value, unit) for value in keyed}
    for dwell in dwells:
        cold_c, warm_c = dwell.window_c
        if warm_c - cold_c >= _NARROW_K:
            continue
        found = {t for t in found if not cold_c <= t <= warm_c}
        middle = controller.nearest_target_c(cold_c + _PLACE * (warm_c - cold_c))
        beside = max(_BESIDE, step)
        around = (from_celsius(middle, unit) + offset for offset in (0.0, -beside, -2.0 * beside))
        places = (to_celsius(value, unit) for value in around)
        found |= {t for t in places if cold_c <= t <= warm_c}
    return np.array(sorted(t for t in found if low_c + 1e-6 < t < high_c - 1e-6))
