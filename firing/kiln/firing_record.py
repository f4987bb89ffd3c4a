"""One firing as a fit takes it: the chamber's course, and what is known of the elements' duty."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from firing.errors import FiringError
from firing.kiln.inverse_model import ChamberCourse
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.ware.load import Load

FULL_DUTY = 0.98
"""From here on the elements count as fully on."""


HOT_C = 40.0
"""A log that begins so far above the room begins in a hot kiln [°C]."""


@dataclass(frozen=True, eq=False)
class FiringRecord:
    """One firing."""

    name: str  # what sentences call it
    # Moments [s], a few minutes apart, and the chamber's temperature freed of noise [°C].
    time_s: FloatArray
    chamber_c: FloatArray
    duty: FloatArray  # share of full power over each step; NaN where it is not known
    # Whether the duty was logged; else it is inferred: 1 where the kiln fell behind its program, 0
    # in natural cooling.
    logged: bool
    kwh: float | None = None  # what a meter counted over the whole firing [kWh]
    load: Load | None = None  # what was in the kiln; None if nobody said
    # Without a load, whether the ware was unfired; None to judge by the peak.
    raw: bool | None = None
    room_c: float = 20.0  # room temperature [°C]
    started: datetime | None = None  # when the log began
    notes: tuple[str, ...] = ()  # what was assumed

    def __post_init__(self) -> None:
        if self.time_s.size < 2 or self.chamber_c.shape != self.time_s.shape:
            raise FiringError(f"{self.name}: a firing needs two moments or more, each with a °C")
        if self.duty.size != self.time_s.size - 1:
            raise FiringError(
                f"{self.name}: the duty needs one value for each step between moments"
            )
        if self.kwh is not None and not 0.0 < self.kwh < 1e5:
            raise FiringError(
                f"{self.name}: {self.kwh:g} kWh by meter is not a firing's; give the kWh of it, "
                "above 0 and below 100000"
            )

    @property
    def course(self) -> ChamberCourse:
        """The chamber's course."""
        return ChamberCourse(self.time_s, self.chamber_c)

    @property
    def step_s(self) -> FloatArray:
        """Length of each step [s], shape (n − 1,)."""
        return np.diff(self.time_s)

    @property
    def hot_start(self) -> bool:
        """Whether the log begins in a kiln still hot, whose walls' warmth it does not show."""
        return float(self.chamber_c[0]) > self.room_c + HOT_C

    @property
    def fastest_c_per_h(self) -> float:
        """The fastest rise over an hour [°C/h]."""
        ahead_c = np.interp(self.time_s + SECONDS_PER_HOUR, self.time_s, self.chamber_c)
        return float(np.max(ahead_c - self.chamber_c))

    @property
    def full_s(self) -> float:
        """How long the elements are known to have been fully on [s]."""
        return float(self.step_s[self.duty >= FULL_DUTY].sum())

    @property
    def powered_s(self) -> float:
        """How long they are known to have been on at all [s]."""
        return float(self.step_s[self.duty > 0.0].sum())

    @property
    def off_s(self) -> float:
        """How long they are known to have been off [s]."""
        return float(self.step_s[self.duty == 0.0].sum())
