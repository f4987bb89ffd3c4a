"""What is known of a running firing at one moment, and what follows from it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from firing.watch.cones import ConeOutlook
from firing.watch.position import Position

if TYPE_CHECKING:
    from firing.watch.refit_report import KilnFigures

PLACE, RATE, ENERGY, FORECAST, CONES = (
    "the place in the plan", "the rate", "the energy", "the forecast", "the cones",
)  # fmt: skip
ESTIMATES = (PLACE, RATE, ENERGY, FORECAST, CONES)
"""The parts of an estimate, each of which may fail by itself."""


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
    cones : tuple of ConeOutlook
        Cones wanted and next.
    program_end_s, program_end_low_s, program_end_high_s : float or None
        End of the program.
    unload_s, unload_low_s, unload_high_s : float or None
        When it has cooled to the unloading temperature.
    action, action_s
        What a person does next, and when.
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
    cones: tuple[ConeOutlook, ...] = ()
    program_end_s: float | None = None
    program_end_low_s: float | None = None
    program_end_high_s: float | None = None
    unload_s: float | None = None
    unload_low_s: float | None = None
    unload_high_s: float | None = None
    action: str = ""
    action_s: float | None = None
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
            "alarms": list(self.alarms),
            "energy_kwh": _rounded(self.energy_kwh, 2),
            "energy_total_kwh": _rounded(self.energy_total_kwh, 2),
            "stalls_c": _rounded(self.stalls_c, 1),
            "kiln": None if self.kiln is None else self.kiln.to_dict(),
            "untold": list(self.untold),
        }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
