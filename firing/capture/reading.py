"""One reading of an instrument: a temperature a channel, and what is held against it."""

import math
from dataclasses import dataclass
from enum import StrEnum


class Status(StrEnum):
    """What is held against a channel's reading; a reading is marked, never dropped."""

    OK = ""
    MISSING = "no reading"
    OPEN = "open circuit"
    OVERLOAD = "overload"
    OUT_OF_SPAN = "out of span"
    REVERSED = "leads reversed?"
    NO_JUNCTION = "no junction temperature"
    TOO_COLD = "too cold for its type"
    STEP = "step"
    STUCK = "stuck"
    LATE = "late"


@dataclass(slots=True)
class Reading:
    """What an instrument gave at one moment: a temperature [°C] a channel, NaN where there is none.

    `at_s` is on a clock of the source's own; None: when it arrived.  `duty` is the share of full
    power that the controller says it gives, 0 to 1; NaN where it says nothing.
    """

    values_c: list[float]
    statuses: list[Status]
    at_s: float | None = None
    duty: float = math.nan

    def usable_c(self, channel: int) -> float:
        """Return a channel's temperature [°C] if nothing is held against it, else NaN."""
        return self.values_c[channel] if self.statuses[channel] is Status.OK else math.nan


def duty_from_percent(percent: float) -> float:
    """Return a controller's output in percent as a share of full power; NaN where it is none."""
    return 0.01 * percent if 0.0 <= percent <= 100.0 else math.nan


def missing_reading(channels: int, status: Status = Status.MISSING) -> Reading:
    """Return a reading without a number in any channel."""
    return Reading([math.nan] * channels, [status] * channels)
