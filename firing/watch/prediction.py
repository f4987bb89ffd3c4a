"""How a running firing goes on: as expected, at its quickest and at its slowest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from firing.errors import FiringError
from firing.schedule.schedule import Schedule
from firing.units import SECONDS_PER_HOUR
from firing.watch.position import Position
from firing.watch.predictor import Predictor
from firing.watch.state import AT_ITS_BEST, AT_ITS_WORST, Prediction, Rest

if TYPE_CHECKING:
    from firing.watch.kilnmodel import KilnModel

LAGGING_C = 10.0
"""A ramp this far behind its plan goes on as it went, not as it was meant to [°C]."""
SLOWEST = 10.0
"""A kiln that goes slower still has stalled, and no time can be told."""
PACE_S = 600.0
KEEPS_UP = 0.95


@dataclass(frozen=True, slots=True)
class Going:
    """How a firing goes now.

    Attributes
    ----------
    schedule : Schedule
        Its plan.
    position : Position
        Where it stands in it.
    now_s, now_c : float
        When, and how hot [s, °C].
    rate_c_per_h : float or None
        How fast it moves [°C/h].
    deviation_c : float or None
        Above the plan, or below (negative) [°C].
    """

    schedule: Schedule
    position: Position
    now_s: float
    now_c: float
    rate_c_per_h: float | None
    deviation_c: float | None

    def slower(self, due: Rest) -> float:
        """Return how many times longer this ramp takes than is due; 1 if it keeps up.

        Parameters
        ----------
        due : Rest
            How it would go on if it did: a kiln model knows of a lag, the plan does not.
        """
        position, rate = self.position, self.rate_c_per_h
        if position.phase != "ramp" or position.segment is None:
            return 1.0
        late = self.deviation_c is not None and self.deviation_c < 0.0
        if self.schedule.segments[position.segment].rate_c_per_h is None or not late:
            return 1.0
        pace = _pace_c_per_h(due)
        if rate is None or pace <= 0.0 or rate > KEEPS_UP * pace:
            return 1.0
        return min(pace / max(rate, pace / SLOWEST), SLOWEST)

    @property
    def lags(self) -> bool:
        """Whether it is so far behind its plan that it counts."""
        return self.deviation_c is not None and self.deviation_c < -LAGGING_C


def _pace_c_per_h(due: Rest) -> float:
    then_s = min(PACE_S, min(due.segment_ends_s.values(), default=PACE_S), due.program_s)
    if then_s < 1.0:
        return 0.0
    then_c = float(np.interp(then_s, due.time_s, due.temperature_c))
    return abs(then_c - float(due.temperature_c[0])) / then_s * SECONDS_PER_HOUR


def predict(outlook: Predictor, model: KilnModel | None, going: Going) -> Prediction | None:
    """Return how a firing goes on; None where nobody can tell.

    Parameters
    ----------
    outlook : Predictor
        Says how it goes on as expected.
    model : KilnModel, optional
        Says also how far off that may be.
    going : Going
        How it goes now.
    """
    position, now_s, now_c = going.position, going.now_s, going.now_c
    try:
        due = outlook.rest(position, now_s, now_c)
        slower = going.slower(due)
        expected = due
        if going.lags and slower > 1.0:
            expected = outlook.rest(position, now_s, now_c, slower_now=slower)
        quickest = due
        if model is not None:
            quickest = model.rest(position, now_s, now_c, side=AT_ITS_BEST)
    except FiringError:
        return None  # a course that no curve answers for: nothing is told rather than guessed
    slowest: Rest | None
    try:
        if model is not None:
            slowest = model.rest(
                position,
                now_s,
                now_c,
                slower_now=slower,
                slower_later=slower,
                side=AT_ITS_WORST,
            )
        else:
            slowest = outlook.rest(position, now_s, now_c, slower_now=slower, slower_later=slower)
    except FiringError:
        slowest = None
    return Prediction(expected, quickest, slowest)
