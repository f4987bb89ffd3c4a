"""One reading of an instrument: a temperature a channel, and what is held against it.

Readings are held against each other one after the other: out of span, a step, a value that is
stuck.  A reading keeps its number whatever its mark says.
"""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from firing.errors import FiringError
from firing.logs.plausibility_limits import (
    FLICKER_DIGITS,
    LIVE_COLDEST_C,
    LIVE_HOTTEST_C,
    LIVE_RISE_C_PER_S,
    LIVE_STEP_C,
    LIVE_STILL_READINGS,
    LIVE_STILL_S,
    LIVE_TURNING_READINGS,
    TURNING_SHARE,
    digit_taken_c,
)
from firing.units import celsius_from_fahrenheit


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


class ChannelPlausibility:
    """Judges the readings of one channel in the order they come."""

    def __init__(self) -> None:
        self._last_c = math.nan
        self._last_s = 0.0
        self._still_since_s = 0.0
        self._still = 0
        self._turns: deque[bool] = deque(maxlen=LIVE_TURNING_READINGS)
        self._rose = False
        self._was_noisy = False
        self._digit_c = math.inf
        self._change_c = 0.0

    def status_of(self, time_s: float, value_c: float) -> Status:
        """Return what is held against a reading, which comes after the one before."""
        if not LIVE_COLDEST_C <= value_c <= LIVE_HOTTEST_C:
            return Status.OUT_OF_SPAN
        before_c, elapsed_s = self._last_c, time_s - self._last_s
        self._last_c, self._last_s = value_c, time_s
        if math.isnan(before_c):
            self._still_since_s = time_s
            return Status.OK
        if value_c != before_c:
            rises = value_c > before_c
            change_c = abs(value_c - before_c)
            self._digit_c = min(self._digit_c, change_c)
            self._turns.append(rises != self._rose)
            if self._turns[-1]:  # a ramp's steps say nothing of noise
                self._change_c += (change_c - self._change_c) / LIVE_TURNING_READINGS
            self._rose = rises
            self._still, self._still_since_s = 0, time_s
        else:
            if self._still == 0:
                full = len(self._turns) == LIVE_TURNING_READINGS
                # One that flickers by its last digit stands still wherever it is far from the next.
                in_digits = self._change_c > FLICKER_DIGITS * digit_taken_c(self._digit_c)
                turns = sum(self._turns) >= TURNING_SHARE * LIVE_TURNING_READINGS
                self._was_noisy = full and turns and in_digits
            self._still += 1
            self._turns.append(False)
            if (
                self._was_noisy
                and self._still >= LIVE_STILL_READINGS
                and time_s - self._still_since_s >= LIVE_STILL_S
            ):
                return Status.STUCK
        if abs(value_c - before_c) > LIVE_STEP_C + LIVE_RISE_C_PER_S * elapsed_s:
            return Status.STEP
        return Status.OK


class PlausibilityCheck:
    """Judges whole readings, channel by channel."""

    def __init__(self, channels: int) -> None:
        self._channels = [ChannelPlausibility() for _ in range(channels)]

    def mark(self, time_s: float, reading: Reading) -> None:
        """Mark a reading in place; what the instrument itself said of it stays."""
        for index, channel in enumerate(self._channels):
            if reading.statuses[index] is Status.OK:
                reading.statuses[index] = channel.status_of(time_s, reading.values_c[index])


SourceUnit = Literal["C", "F", "mV"]
JUNCTION_FIELD = "junction"
OUTPUT_FIELD = "output"
"""Names of what is no channel: the reference junction, and the controller's output in percent."""

Converter = Callable[[float, float | None], tuple[float, Status]]
"""Takes a number and the reference junction [°C] or None; gives °C and what is held against it."""


def plain_converter(unit: SourceUnit) -> Converter:
    """Return the converter of a unit that is a temperature's; refuse millivolts."""
    if unit == "C":
        return lambda value, junction_c: (value, Status.OK)
    if unit == "F":
        return lambda value, junction_c: (celsius_from_fahrenheit(value), Status.OK)
    raise FiringError(
        "millivolts mean a temperature only for a stated thermocouple and reference junction; give "
        'the type, like "K", and the junction\'s temperature or a field "junction"'
    )


def thermocouple_converter(type: str, junction_c: float | None) -> Converter:
    """Return the converter of uncompensated millivolts.

    `junction_c` is the reference junction [°C]; None where every line brings its own.
    """
    import numpy as np

    from firing.thermocouple.junction import convert
    from firing.thermocouple.reference import Reason

    meaning = {
        Reason.OK: Status.OK,
        Reason.MISSING: Status.MISSING,
        Reason.ABOVE: Status.OVERLOAD,
        Reason.BELOW: Status.OUT_OF_SPAN,
        Reason.MAYBE_REVERSED: Status.REVERSED,
        Reason.AMBIGUOUS: Status.TOO_COLD,
        Reason.NO_JUNCTION: Status.NO_JUNCTION,
    }
    # One conversion now refuses a wrong type or junction before a firing begins.
    convert(np.array([1.0]), type, 25.0 if junction_c is None else junction_c)

    def converter(value_mv: float, own_junction_c: float | None) -> tuple[float, Status]:
        at_c = junction_c if junction_c is not None else own_junction_c
        at = np.array([math.nan if at_c is None else at_c])
        result = convert(np.array([value_mv]), type, at)
        return float(result.temperature_c[0]), meaning[Reason(int(result.reasons[0]))]

    return converter


def converter_for(unit: SourceUnit, type: str | None, junction_c: float | None) -> Converter:
    """Return the converter for a unit, with the thermocouple that millivolts need."""
    if unit == "mV" and type is not None:
        return thermocouple_converter(type, junction_c)
    return plain_converter(unit)
