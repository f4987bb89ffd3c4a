"""What would bring a plan to a cone: more or less hold at its peak, or a hotter or cooler peak."""

from dataclasses import dataclass

import numpy as np

from firing.cones.equivalence import cone_reached
from firing.cones.heatwork import heatwork
from firing.cones.kinetics import FloatArray, cone_law

_DOWN_EXACTLY = 1.0


@dataclass(frozen=True, slots=True)
class Adjustment:
    """How far a course is from bringing one cone just down.

    Attributes
    ----------
    cone : str
        The cone in its printed spelling.
    heatwork : float
        Its heat-work as the course stands [1]; 1 is down.
    hold_s : float
        Seconds of hold at the peak to add; negative: to take away, as far as there is heat-work.
    whole_c : float
        Degrees by which the whole course would have to be hotter [°C]; negative: cooler.
    """

    cone: str
    heatwork: float
    hold_s: float
    whole_c: float


def adjustment_for(cone: str, time_s: FloatArray, temperature_c: FloatArray) -> Adjustment:
    """Return what would bring a cone just down.

    Parameters
    ----------
    cone : str
        A self-supporting cone.
    time_s, temperature_c : ndarray, shape (n,)
        The course [s, °C].

    Returns
    -------
    Adjustment
        Source ``cone-model``.
    """
    law = cone_law(cone)
    progress = cone_reached(time_s, temperature_c).by_cone[law.cone]
    rate = 60.0 if progress.approach_rate_c_per_h is None else progress.approach_rate_c_per_h
    shift_c = -law.residual_c(rate)
    per_s = law.per_second(float(np.max(temperature_c)) + shift_c)
    hold_s = (_DOWN_EXACTLY - progress.heatwork) / per_s
    return Adjustment(
        cone=law.cone,
        heatwork=progress.heatwork,
        hold_s=hold_s,
        whole_c=_shift_to_down_c(law.cone, time_s, temperature_c, shift_c),
    )


def _shift_to_down_c(
    cone: str, time_s: FloatArray, temperature_c: FloatArray, shift_c: float
) -> float:
    """Halve the range until the course moved by so many degrees brings the cone just down."""
    low_c, high_c = -400.0, 400.0
    for _ in range(40):
        middle_c = (low_c + high_c) / 2.0
        x = heatwork(time_s, temperature_c, (cone,), shift_c + middle_c)[cone]
        low_c, high_c = (low_c, middle_c) if x >= _DOWN_EXACTLY else (middle_c, high_c)
    return (low_c + high_c) / 2.0
