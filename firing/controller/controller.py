"""What a controller accepts: how many segments, in which unit and steps, and how to round to them.

Rounding never makes a program faster or a hold shorter than what it came from: rates go down, times
and holds go up.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from firing.arguments import check_fields
from firing.errors import FiringError
from firing.serialise import Serialised
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    from_celsius,
    rate_from_celsius,
    rate_to_celsius,
    to_celsius,
)

Notation = Literal["rate", "time"]

MINUTES_STEP_S = SECONDS_PER_MINUTE
"""Time to target is keyed in whole minutes."""
DEFAULT_SEGMENTS = 8
# What arithmetic may be off by before a figure counts as the next step.
_SLACK = 1e-7


@dataclass(frozen=True, slots=True)
class Controller(Serialised):
    """A controller's limits.

    Attributes
    ----------
    name : str
        What its owner calls it.
    max_segments : int
        The most segments, each a ramp and a hold, of one program.
    unit : {"C", "F"}
        Of its temperatures and rates.
    notation : {"rate", "time"}
        Whether a ramp is keyed as degrees per hour or as minutes to the target.
    rate_min, rate_max, rate_step : float
        Slowest, fastest and step of a rate [degrees of `unit` per hour].
    target_step : float
        Step of a target [degrees of `unit`].
    hold_max_s, hold_step_s : float
        The longest hold and its step [s].
    waits : bool
        Whether its clock waits when the kiln lags.
    controls_cooling : bool
        Whether it can slow the cooling; one that cannot ends its program at the peak.

    Raises
    ------
    FiringError
        If there is no segment, or a rate, step or hold is not above 0.
    """

    name: str = "any controller"
    max_segments: int = DEFAULT_SEGMENTS
    unit: TemperatureUnit = "C"
    notation: Notation = "rate"
    rate_min: float = 1.0
    rate_max: float = 600.0
    rate_step: float = 1.0
    target_step: float = 1.0
    hold_max_s: float = 48 * SECONDS_PER_HOUR
    hold_step_s: float = SECONDS_PER_MINUTE
    waits: bool = True
    controls_cooling: bool = True

    def __post_init__(self) -> None:
        check_fields(self)
        if not 1 <= self.max_segments < math.inf:
            raise FiringError("a controller takes at least 1 segment")
        if not 0.0 < self.rate_min <= self.rate_max < math.inf:
            raise FiringError(
                f"a controller's slowest rate of {self.rate_min:g} must be above 0 and at most its "
                f"fastest, {self.rate_max:g} °{self.unit}/h"
            )
        if not (self.rate_step > 0 and self.target_step > 0 and self.hold_step_s > 0):
            raise FiringError("the steps of a controller must be above 0")
        if not self.hold_max_s >= self.hold_step_s:
            raise FiringError("a controller's longest hold must be at least one step of it")

    @property
    def fastest_c_per_h(self) -> float:
        """The fastest rate it can be given [°C/h]."""
        return rate_to_celsius(self._floor_rate(self.rate_max), self.unit)

    @property
    def longest_hold_s(self) -> float:
        """The longest hold that is a whole number of steps [s]."""
        return math.floor(self.hold_max_s / self.hold_step_s + _SLACK) * self.hold_step_s

    def rates_c_per_h(self, low_c_per_h: float, high_c_per_h: float) -> list[float]:
        """Return every rate it can be given between two, both included [°C/h], rising."""
        low = max(rate_from_celsius(low_c_per_h, self.unit), self.rate_min)
        high = min(rate_from_celsius(high_c_per_h, self.unit), self.rate_max)
        first = math.ceil(low / self.rate_step - _SLACK)
        last = math.floor(high / self.rate_step + _SLACK)
        steps = range(max(first, 1), last + 1)
        return [rate_to_celsius(step * self.rate_step, self.unit) for step in steps]

    def ramp_s(
        self, span_c: FloatArray, most_c_per_h: FloatArray, least_s: FloatArray
    ) -> FloatArray:
        """Return how long ramps take as they can be keyed: the fastest not above a rate.

        Parameters
        ----------
        span_c : ndarray
            Degrees from start to target, above 0 [°C].
        most_c_per_h : ndarray
            The fastest rate allowed [°C/h]; may be infinite.
        least_s : ndarray
            The shortest time allowed otherwise [s].

        Returns
        -------
        ndarray
            Seconds, infinite where the ramp would have to be slower than it can be keyed.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            wanted_s = np.maximum(span_c / most_c_per_h * SECONDS_PER_HOUR, least_s)
            if self.notation == "time":
                shortest_s = span_c / self.fastest_c_per_h * SECONDS_PER_HOUR
                minutes = np.ceil(np.maximum(wanted_s, shortest_s) / MINUTES_STEP_S - _SLACK)
                taken_s = np.maximum(minutes, 1.0) * MINUTES_STEP_S
                slowest = rate_to_celsius(self.rate_min, self.unit) * (1.0 - _SLACK)
                fits = span_c / taken_s * SECONDS_PER_HOUR >= slowest
            else:
                rate = rate_from_celsius(1.0, self.unit) * span_c / wanted_s * SECONDS_PER_HOUR
                steps = np.floor(np.minimum(rate, self.rate_max) / self.rate_step + _SLACK)
                keyed = steps * self.rate_step
                fits = (keyed >= self.rate_min * (1.0 - _SLACK)) & (keyed > 0.0)
                taken_s = span_c / rate_to_celsius(1.0, self.unit) / keyed * SECONDS_PER_HOUR
        result: FloatArray = np.where(fits & np.isfinite(wanted_s), taken_s, np.inf)
        return result

    def hold_up_s(self, hold_s: FloatArray) -> FloatArray:
        """Return holds lengthened to whole steps [s]."""
        steps: FloatArray = np.ceil(np.asarray(hold_s) / self.hold_step_s - _SLACK)
        return np.maximum(steps, 0.0) * self.hold_step_s

    def target_down_c(self, target_c: float) -> float:
        """Return the nearest target it can be given that is not above [°C]."""
        steps = math.floor(from_celsius(target_c, self.unit) / self.target_step + _SLACK)
        return to_celsius(steps * self.target_step, self.unit)

    def target_up_c(self, target_c: float) -> float:
        """Return the nearest target it can be given that is not below [°C]."""
        steps = math.ceil(from_celsius(target_c, self.unit) / self.target_step - _SLACK)
        return to_celsius(steps * self.target_step, self.unit)

    def nearest_target_c(self, target_c: float) -> float:
        """Return the nearest target it can be given [°C]."""
        steps = round(from_celsius(target_c, self.unit) / self.target_step)
        return to_celsius(steps * self.target_step, self.unit)

    def _floor_rate(self, rate: float) -> float:
        return math.floor(rate / self.rate_step + _SLACK) * self.rate_step


def usual_controller(unit: TemperatureUnit) -> Controller:
    """Return the controller reckoned with where nobody named one: whole degrees of a unit."""
    usual = Controller()
    return replace(usual, unit=unit, rate_max=rate_from_celsius(usual.rate_max, unit))
