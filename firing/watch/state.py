"""What is known of a running firing at one moment, and what follows from it: types only."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from firing.review.position import Position
from firing.serialise import OMITTED, Serialised, rounded
from firing.trace import FloatArray

POSITION_PART, RATE_PART, ENERGY_PART, FORECAST_PART, CONES_PART = (
    "the place in the plan", "the rate", "the energy", "the forecast", "the cones",
)  # fmt: skip
ESTIMATE_PARTS = (POSITION_PART, RATE_PART, ENERGY_PART, FORECAST_PART, CONES_PART)
"""The parts of an estimate, each of which may fail by itself."""


AS_EXPECTED, AT_ITS_BEST, AT_ITS_WORST = 0, 1, -1
"""Which way the figures of a kiln model may be off."""


@dataclass(frozen=True, slots=True)
class ConeForecast(Serialised):
    """One cone: down from a heat-work of 1, since `down_s`, or to fall within a range.

    The range is None where the plan does not bring it down.
    """

    cone: str = field(metadata=OMITTED)
    heatwork: float = field(metadata=rounded(6))
    down_s: float | None = field(metadata=rounded(1))
    expected_s: float | None = field(metadata=rounded(1))
    low_s: float | None = field(metadata=rounded(1))
    high_s: float | None = field(metadata=rounded(1))


@dataclass(frozen=True, slots=True)
class KilnFigures(Serialised):
    """What a forecast of the rest goes by: multipliers on the kiln as its file describes it.

    `learnt` are those that this firing has told so far, the last time at `refitted_s`.
    """

    power: float = field(metadata=rounded(4))
    loss: float = field(metadata=rounded(4))
    capacity: float = field(metadata=rounded(4))
    learnt: tuple[str, ...] = ()
    refitted_s: float | None = field(default=None, metadata=rounded(1))


@dataclass(frozen=True, slots=True)
class Estimate:
    """The state of a running firing; times on the recording's clock [s].

    Attributes
    ----------
    now_s, temperature_c, rate_c_per_h
        When, how hot, and how fast it moves; NaN and None where not known.
    position, segment_name
        Where it stands in the plan.
    deviation_c : float or None
        Above the plan, or below (negative) [°C].
    reached, reached_number, low, high
        The cone that is down, as in a review.
    cones : tuple of ConeForecast
        Cones wanted and next.
    program_end_s, program_end_low_s, program_end_high_s : float or None
        End of the program.
    unload_s, unload_low_s, unload_high_s : float or None
        When it has cooled to the unloading temperature.
    action, action_s
        What a person does next, and when.
    plan_doubted : bool
        Whether the readings are not of the plan, so that what goes by it may be wrong.
    alarms : tuple of str
        Alarms raised now.
    energy_kwh, energy_total_kwh : float or None
        Energy from the supply so far, and for the whole program as it is expected to go on [kWh];
        None without a kiln, and the second without a plan.
    stalls_c : float or None
        Where the kiln, by its model, does not get any further [°C]; None if it ends the program.
    kiln : KilnFigures or None
        What the kiln model goes by, and what of it was learnt from this firing.
    untold : tuple of str
        What could not be worked out this time, in words; it is left out above, as what was known
        before is no longer current.
    """

    now_s: float
    temperature_c: float
    rate_c_per_h: float | None
    position: Position | None
    segment_name: str
    deviation_c: float | None
    reached: str | None = None
    reached_number: float | None = None
    low: float | None = None
    high: float | None = None
    cones: tuple[ConeForecast, ...] = ()
    program_end_s: float | None = None
    program_end_low_s: float | None = None
    program_end_high_s: float | None = None
    unload_s: float | None = None
    unload_low_s: float | None = None
    unload_high_s: float | None = None
    action: str = ""
    action_s: float | None = None
    plan_doubted: bool = False
    alarms: tuple[str, ...] = ()
    energy_kwh: float | None = None
    energy_total_kwh: float | None = None
    stalls_c: float | None = None
    kiln: KilnFigures | None = None
    untold: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the estimate keyed for JSON."""
        position = self.position
        return {
            "time_s": round(self.now_s, 1),
            "temperature_c": None
            if math.isnan(self.temperature_c)
            else round(self.temperature_c, 2),
            "rate_c_per_h": _rounded(self.rate_c_per_h, 2),
            "phase": None if position is None else position.phase,
            "segment": None
            if position is None or position.segment is None
            else {
                "index": position.segment,
                "name": self.segment_name,
                "begun_s": _rounded(position.begun_s, 1),
                "arrived_s": _rounded(position.arrived_s, 1),
            },
            "set_point_c": None if position is None else _rounded(position.set_point_c, 2),
            "deviation_c": _rounded(self.deviation_c, 2),
            "late_s": None if position is None else _rounded(position.late_s, 1),
            "cones": {
                "reached": self.reached,
                "reached_number": _rounded(self.reached_number, 3),
                "low": _rounded(self.low, 3),
                "high": _rounded(self.high, 3),
                "by_cone": {entry.cone: entry.to_dict() for entry in self.cones},
            },
            "program_end_s": _rounded(self.program_end_s, 1),
            "program_end_low_s": _rounded(self.program_end_low_s, 1),
            "program_end_high_s": _rounded(self.program_end_high_s, 1),
            "unload_s": _rounded(self.unload_s, 1),
            "unload_low_s": _rounded(self.unload_low_s, 1),
            "unload_high_s": _rounded(self.unload_high_s, 1),
            "action": self.action or None,
            "action_s": _rounded(self.action_s, 1),
            "plan_doubted": self.plan_doubted,
            "alarms": list(self.alarms),
            "energy_kwh": _rounded(self.energy_kwh, 2),
            "energy_total_kwh": _rounded(self.energy_total_kwh, 2),
            "stalls_c": _rounded(self.stalls_c, 1),
            "kiln": None if self.kiln is None else self.kiln.to_dict(),
            "untold": list(self.untold),
        }


END_SCATTER_S, END_SCATTER_SHARE = 120.0, 0.006
"""An end comes that much sooner or later than any reckoning of its hours has it [s, -]."""


@dataclass(frozen=True, eq=False)
class RemainingCourse:
    """What is still to come; times count from now [s].

    Attributes
    ----------
    time_s, temperature_c : ndarray, shape (n,)
        The course, from now to the unloading temperature [s, °C]; its moments are whole ticks.
    program_s : float
        To the end of the program [s].
    unload_s, unload_low_s, unload_high_s : float
        To the unloading temperature, and its range [s].
    segment_ends_s : dict of int to float
        To the end of each segment not ended yet [s], by its number from 0.
    """

    time_s: FloatArray
    temperature_c: FloatArray
    program_s: float
    unload_s: float
    unload_low_s: float
    unload_high_s: float
    segment_ends_s: dict[int, float]


@dataclass(frozen=True, eq=False)
class Prediction:
    """How it goes on; `slowest` is None where it would not get there at all."""

    expected: RemainingCourse
    quickest: RemainingCourse
    slowest: RemainingCourse | None

    def timed(self, estimate: Estimate) -> Estimate:
        """Return an estimate with when the program ends and the kiln can be unloaded.

        The ranges span all three: a kiln that loses little is quick to heat and slow to cool.
        """
        rests = [rest for rest in (self.expected, self.quickest, self.slowest) if rest is not None]
        now_s, surely = estimate.now_s, self.slowest is not None
        ends = [now_s + rest.program_s for rest in rests]
        over = self.expected.program_s == 0.0
        scatter_s = END_SCATTER_S + END_SCATTER_SHARE * self.expected.program_s
        return replace(
            estimate,
            program_end_s=None if over else ends[0],
            program_end_low_s=None if over else max(min(ends) - scatter_s, now_s),
            program_end_high_s=max(ends) + scatter_s if surely and not over else None,
            unload_s=now_s + self.expected.unload_s,
            unload_low_s=now_s + min(rest.unload_low_s for rest in rests),
            unload_high_s=now_s + max(rest.unload_high_s for rest in rests) if surely else None,
        )

    def shifted(self, offset_c: float) -> Prediction:
        """Return it with other temperatures, for cones that see more than the thermocouple."""
        return Prediction(
            _shifted(self.expected, offset_c),
            _shifted(self.quickest, offset_c),
            None if self.slowest is None else _shifted(self.slowest, offset_c),
        )


def _shifted(rest: RemainingCourse, offset_c: float) -> RemainingCourse:
    return replace(rest, temperature_c=np.asarray(rest.temperature_c + offset_c))


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
