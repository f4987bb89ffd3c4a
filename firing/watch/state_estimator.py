"""The kiln model led along what the thermocouple has read so far.

Whatever drove the kiln, its walls and ware have seen these temperatures: so their present state is
known as far as the model is right, and with it the heat that the elements must have given.
"""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np

from firing.kiln.description import KilnDescription
from firing.kiln.thermal_network import Network
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import ROOM_C
from firing.ware.load import Load

STEP_S = 150.0
"""A kiln moves by a dozen degrees in a step, and the noise of single readings is gone [s]."""
MOST_STEPS_A_GAP = 200
BOOST = 4.0
"""The course is what was measured, so the model follows it however little power it is said to
have: with this many times its full power."""
SHORTEST_S = 5.0
SHARE_OF_BOTH = 0.9
"""Power and loss each moved by so much of their error are together about as far off as the end of
an 80 % range, 1.28 errors."""


def estimator_on_side(
    kiln: KilnDescription,
    load: Load | None,
    schedule: Schedule | None,
    errors: tuple[float, float],
    side: int,
) -> KilnStateEstimator:
    """Return a kiln to be led along, its figures as they are or off to one side.

    `errors` are how far power and loss may be off, as shares; side 1 has the most power and least
    loss, -1 the opposite.
    """
    power_se, loss_se = errors
    fitted = replace(
        kiln.fitted,
        power=kiln.fitted.power * (1.0 + SHARE_OF_BOTH * side * power_se),
        loss=kiln.fitted.loss * (1.0 - SHARE_OF_BOTH * side * loss_se),
        leak=kiln.fitted.leak_factor * (1.0 - SHARE_OF_BOTH * side * loss_se),
    )
    room_c = ROOM_C if schedule is None else schedule.room_c
    load = kiln.inside(load, None if schedule is None else schedule.purpose)
    return KilnStateEstimator(replace(kiln, fitted=fitted), load, room_c=room_c)


def duty_after_program(
    time_s: FloatArray, duty: FloatArray, off_from_s: float | None
) -> FloatArray:
    """Return the duty with none where the program is over, shape (n,)."""
    if off_from_s is None:
        return duty
    return np.where(time_s > off_from_s, 0.0, duty)


class KilnStateEstimator:
    """One kiln on a measured course.

    `supplied_j` is the energy from the supply so far: duty times full power where the duty is
    known, elsewhere what the course took.
    """

    def __init__(self, kiln: KilnDescription, load: Load, *, room_c: float = ROOM_C) -> None:
        self.kiln = kiln
        self.supplied_j = 0.0
        self._network = Network(kiln, load, room_c=room_c)
        self._network.available_w = BOOST * kiln.available_w
        self._at_s: float | None = None

    def follow(self, time_s: FloatArray, temperature_c: FloatArray, duty: FloatArray) -> None:
        """Go on along the whole course so far, as far as half a step before its end.

        The duty is NaN where it is not known.
        """
        if self._at_s is None:
            self._at_s = float(time_s[0])
            self._network.start(float(np.mean(temperature_c[:3])))
        last_s = float(time_s[-1]) - 0.5 * STEP_S
        while True:
            next_s = self._at_s + STEP_S
            after = int(np.searchsorted(time_s, self._at_s, side="right"))
            if after < time_s.size and time_s[after] - self._at_s > MOST_STEPS_A_GAP * STEP_S:
                next_s = self._at_s + (float(time_s[after]) - self._at_s) / MOST_STEPS_A_GAP
            if next_s > last_s:
                return
            self._advance(
                self._network,
                next_s - self._at_s,
                _around(time_s, temperature_c, next_s),
                _mean_between(time_s, duty, self._at_s, next_s),
            )
            self._at_s = next_s

    def now(
        self, time_s: FloatArray, duty: FloatArray, now_s: float, now_c: float
    ) -> tuple[Network, float]:
        """Return the kiln now, with its own power, and the energy so far [J]; after `follow`."""
        network, supplied_j = copy.copy(self._network), self.supplied_j
        assert self._at_s is not None
        left_s = now_s - self._at_s
        if left_s > SHORTEST_S:
            supplied_j = self._advance(
                network, left_s, now_c, _mean_between(time_s, duty, self._at_s, now_s), keep=False
            )
        network.available_w = self.kiln.available_w
        network.now.full_w /= BOOST
        return network, supplied_j

    def _advance(
        self, network: Network, step_s: float, to_c: float, duty: float, *, keep: bool = True
    ) -> float:
        before_j = network.now.supplied_j
        state = network.advance(step_s, to_c)
        network.accept(state, step_s)
        given_j = state.supplied_j - before_j
        if duty == duty:
            given_j = duty * state.full_w / BOOST * step_s
        supplied_j = self.supplied_j + max(given_j, 0.0)
        if keep:
            self.supplied_j = supplied_j
        return supplied_j


def _around(time_s: FloatArray, temperature_c: FloatArray, at_s: float) -> float:
    """Return the mean within half a step on either side, on a line where there is no point."""
    low, high = np.searchsorted(time_s, (at_s - 0.5 * STEP_S, at_s + 0.5 * STEP_S))
    if high - low < 3:
        return float(np.interp(at_s, time_s, temperature_c))
    # The line through the points, not their mean: they may lie to one side.
    about = time_s[low:high] - at_s
    here_c = temperature_c[low:high]
    centre = float(about.mean())
    spread = about - centre
    slope = float(spread @ here_c) / float(spread @ spread)
    return float(here_c.mean()) - slope * centre


def _mean_between(time_s: FloatArray, duty: FloatArray, from_s: float, to_s: float) -> float:
    """Return the mean of a stretch; NaN where less than half of it is known."""
    low, high = np.searchsorted(time_s, (from_s, to_s), side="right")
    part = duty[low:high]
    known = part[np.isfinite(part)]
    return float(known.mean()) if known.size and 2 * known.size >= part.size else float("nan")
