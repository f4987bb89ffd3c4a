"""Everything the findings of a review are drawn from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from firing.cones.equivalence import ConeVerdict
from firing.forecast.result import Forecast
from firing.logs.reader import Log
from firing.review.alignment import Alignment
from firing.review.cooling import Quickening
from firing.review.extra_segment import ExtraSegment
from firing.review.heat import HeatVerdict
from firing.review.resample import ResampledTrace
from firing.review.result import CauseShare, CoolingReview
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import format_duration, format_rate, format_temperature, rate_from_celsius

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription


@dataclass(frozen=True, eq=False)
class Evidence:
    """A review so far.

    `accounts` are the segments' own causes, `causes` those of the whole firing.  `refused` says why
    log and plan were not compared, `unusable` why the kiln's model was not used.
    """

    schedule: Schedule
    forecast: Forecast
    log: Log
    channel: int
    temperature_c: FloatArray
    trace: ResampledTrace
    alignment: Alignment
    refused: str
    causes: tuple[CauseShare, ...]
    accounts: tuple[tuple[CauseShare, ...], ...]
    excess_s: float | None
    cooling: CoolingReview | None
    quickening: Quickening | None
    beyond: ExtraSegment | None
    planned: ConeVerdict
    reached: ConeVerdict
    heat: HeatVerdict
    kiln: KilnDescription | None = None
    unusable: str = ""

    @property
    def planned_s(self) -> float:
        """What the program takes by the plan [s]."""
        return sum(segment.planned_s for segment in self.forecast.segments)

    @property
    def made_up_s(self) -> float:
        """What a clock that did not wait made up of the time lost [s]."""
        shares = (share for shares in self.accounts for share in shares)
        return -sum(s.seconds for s in shares if s.cause == "waiting" and s.seconds < 0)

    @property
    def peak_c(self) -> float:
        """The highest reading [°C]."""
        return float(np.nanmax(self.temperature_c))

    @property
    def first_c(self) -> float:
        """The first usable reading [°C]."""
        return float(self.temperature_c[np.isfinite(self.temperature_c)][0])

    def degrees(self, temperature_c: float) -> str:
        """Return a temperature in the schedule's unit."""
        return format_temperature(temperature_c, self.schedule.unit)

    def difference(self, difference_k: float, *, signed: bool = False) -> str:
        """Return a difference of temperatures in the schedule's unit."""
        value = rate_from_celsius(difference_k, self.schedule.unit)
        sign = "−" if round(value) < 0 else "+" if signed else ""
        return f"{sign}{abs(value):.0f} °{self.schedule.unit}"

    def finely(self, difference_k: float, *, signed: bool = False) -> str:
        """Return a difference of temperatures to a tenth, in the schedule's unit."""
        value = round(rate_from_celsius(difference_k, self.schedule.unit), 1)
        sign = "−" if value < 0 else "+" if signed else ""
        return f"{sign}{abs(value):.1f} °{self.schedule.unit}"

    def rate(self, rate_c_per_h: float) -> str:
        """Return a rate in the schedule's unit."""
        return format_rate(rate_c_per_h, self.schedule.unit)

    def duration(self, duration_s: float) -> str:
        """Return a duration in words."""
        return format_duration(duration_s)
