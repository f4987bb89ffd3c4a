"""How a kiln heats at full power and cools by itself, from a stated default curve.

Until a kiln file is given nothing is known of the user's kiln, so the program's "unlimited" and
"off" ramps and the cooling after it are read off one published-in-the-package default: rates by
temperature of a trial model of a 180 L kiln with 75 mm insulating brick (source ids
``full-power-default`` and ``cooling-default``).  Every output that rests on it says so.  A
kiln of another size cools at its own pace (`UsualKiln`).
"""

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firing.errors import FiringError
from firing.trace import FloatArray
from firing.units import ROOM_C, SECONDS_PER_HOUR

# Natural cooling of the trial model, (°C, °C/h); source: cooling-default.
_COOLING_C = np.array([100.0, 300.0, 600.0, 900.0, 1200.0])
_COOLING_C_PER_H = np.array([9.0, 36.0, 82.0, 137.0, 247.0])
# Heating of the same model at full power, (°C, °C/h); source: full-power-default.
_HEATING_C = np.array([200.0, 600.0, 1000.0, 1200.0])
_HEATING_C_PER_H = np.array([295.0, 261.0, 168.0, 123.0])

# Real kilns cool 20 to 40 % faster than the tight model (cooling-default): the middle of that is
# the default, the model itself and the far end are the range.
COOLING_FACTOR = 1.3
COOLING_FACTOR_RANGE = (1.0, 1.4)

# The shortest and longest hours of a whole cooling beside the usual ones.  A kiln described but not
# learnt from its logs has 0.67 to 1.41 of a middle that is 1.2 times the usual (its losses may be a
# fifth off, its leak more than half): of a kiln that nobody described no less may be claimed;
# source: cooling-hours-unknown.
COOLING_HOURS_RANGE = (0.65, 1.7)

COOLING_SOURCE = "cooling-default"
HEATING_SOURCE = "full-power-default"
SIZE_SOURCE = "cooling-by-size"

# The trial model's own size, how its hours grow with another, and what nobody's kiln is outside of.
_TRIAL_L, _TRIAL_MM = 180.0, 75.0
_BY_VOLUME, _BY_WALL = 0.27, 1.0  # source: cooling-by-size
_FRONT_HOURS = 0.95  # a box has more face for its volume than a drum; source: cooling-by-size
# A front-loader may have dense brick or a heavy door: slower still by as much (a choice).
_FRONT_SLOWEST = 0.75
_VOLUME_L, _WALL_MM = (5.0, 5000.0), (20.0, 500.0)

Opens = Literal["top", "front"]


@dataclass(frozen=True, slots=True)
class UsualKiln:
    """A kiln of which nothing is known but its size: how it cools, with a range.

    Attributes
    ----------
    volume_l : float
        What the chamber holds [l].
    wall_mm : float
        Its wall of insulating brick, hot face to outside [mm].
    opens : {"top", "front"}
        Where it is loaded.
    """

    volume_l: float = _TRIAL_L
    wall_mm: float = _TRIAL_MM
    opens: Opens = "top"

    def __post_init__(self) -> None:
        for value, (low, high), what, unit in (
            (self.volume_l, _VOLUME_L, "volume", "l"),
            (self.wall_mm, _WALL_MM, "wall", "mm"),
        ):
            if not low <= value <= high:
                raise FiringError(
                    f"a kiln's {what} of {value:g} {unit} is outside {low:g} to {high:g} {unit}; "
                    'write its size like "300 l, 115 mm, front" or "10 cu ft, 4.5 in, front"'
                )

    @property
    def hours_times(self) -> float:
        """How many times as long as the trial model it cools; source ``cooling-by-size``."""
        by_volume = (self.volume_l / _TRIAL_L) ** _BY_VOLUME
        by_wall = (self.wall_mm / _TRIAL_MM) ** _BY_WALL
        return float(by_volume * by_wall * (_FRONT_HOURS if self.opens == "front" else 1.0))

    @property
    def cooling_factor(self) -> float:
        """What multiplies the trial model's rates."""
        return COOLING_FACTOR / self.hours_times

    @property
    def cooling_range(self) -> tuple[float, float]:
        """The ends of that, the slowest first."""
        slow, quick = COOLING_FACTOR_RANGE
        slow *= _FRONT_SLOWEST if self.opens == "front" else 1.0
        return slow / self.hours_times, quick / self.hours_times

    @property
    def hours_range(self) -> tuple[float, float]:
        """Shortest and longest hours of a whole cooling, as multiples of its own middle."""
        shortest, longest = COOLING_HOURS_RANGE
        return shortest, longest / (_FRONT_SLOWEST if self.opens == "front" else 1.0)

    @property
    def source(self) -> str:
        """Id of the bibliography for its cooling."""
        return COOLING_SOURCE if self == TRIAL else SIZE_SOURCE

    @property
    def words(self) -> str:
        """The kiln in words."""
        return f"a {self.opens}-loader of {self.volume_l:.4g} l with {self.wall_mm:.4g} mm of brick"


TRIAL = UsualKiln()
"""The trial model's own size, for when nobody said any."""

_SIZE = r"\s*([\d.]+)\s*(l|cu ?ft)?\s*,\s*([\d.]+)\s*(mm|in)?\s*,\s*(top|front)\s*"
_L_PER_CU_FT, _MM_PER_IN = 28.316846592, 25.4


def parse_size(text: str) -> UsualKiln:
    """Read a kiln's size as people write it: ``300 l, 115 mm, front``; cu ft and in as well."""
    found = re.fullmatch(_SIZE, text, re.IGNORECASE)
    if found is None:
        raise FiringError(
            f'"{text[:60]}" is no size of a kiln; write its volume, the thickness of its wall and '
            'where it opens, like "300 l, 115 mm, front"'
        )
    volume, volume_unit, wall, wall_unit, opens = found.groups()
    try:
        volume_l, wall_mm = float(volume), float(wall)
    except ValueError:
        raise FiringError(
            f'"{text[:60]}" has a figure that is none; write it like "300 l, 115 mm, front"'
        ) from None
    if (volume_unit or "l").lower() != "l":
        volume_l *= _L_PER_CU_FT
    if (wall_unit or "mm").lower() == "in":
        wall_mm *= _MM_PER_IN
    return UsualKiln(volume_l, wall_mm, "front" if opens.lower() == "front" else "top")


def cooling_rate_c_per_h(
    temperature_c: FloatArray, *, room_c: float = ROOM_C, factor: float = COOLING_FACTOR
) -> FloatArray:
    """Return how fast the default kiln cools by itself.

    Between the model's points the logarithm of the rate is linear in that of the excess over the
    room, which keeps the rate above 0 and lets it vanish at room temperature; beyond the hottest
    point the last slope goes on.  `factor` multiplies the model's rates: 1.0 to 1.4 in practice.
    """
    excess_c = np.asarray(temperature_c, dtype=np.float64) - room_c
    known = np.log(_COOLING_C - ROOM_C)
    values = np.log(_COOLING_C_PER_H)
    position = np.log(np.maximum(excess_c, 1e-9))
    rate = np.interp(position, known, values)
    low_slope = (values[1] - values[0]) / (known[1] - known[0])
    high_slope = (values[-1] - values[-2]) / (known[-1] - known[-2])
    rate = np.where(position < known[0], values[0] + low_slope * (position - known[0]), rate)
    rate = np.where(position > known[-1], values[-1] + high_slope * (position - known[-1]), rate)
    result: FloatArray = np.where(excess_c > 0, factor * np.exp(rate), 0.0)
    return result


def full_power_rate_c_per_h(temperature_c: FloatArray) -> FloatArray:
    """Return how fast the default kiln heats at full power [°C/h], linear between its points.

    Beyond the hottest point the last slope goes on, so the rate reaches 0, and the kiln its limit,
    near 1750 °C.
    """
    temperature_c = np.asarray(temperature_c, dtype=np.float64)
    rate = np.interp(temperature_c, _HEATING_C, _HEATING_C_PER_H)
    slope = (_HEATING_C_PER_H[-1] - _HEATING_C_PER_H[-2]) / (_HEATING_C[-1] - _HEATING_C[-2])
    beyond = _HEATING_C_PER_H[-1] + slope * (temperature_c - _HEATING_C[-1])
    result: FloatArray = np.where(temperature_c > _HEATING_C[-1], np.maximum(beyond, 0.0), rate)
    return result


@dataclass(frozen=True, eq=False)
class FreeRun:
    """A stretch that no rate is programmed for: seconds from its start and °C, both shape (n,)."""

    time_s: FloatArray
    temperature_c: FloatArray

    @property
    def duration_s(self) -> float:
        """How long it takes [s]."""
        return float(self.time_s[-1])


def _run(
    from_c: float, to_c: float, room_c: float, heating: bool, rate_cap: float, factor: float
) -> FreeRun:
    # Steps even in the excess's logarithm resolve the slow end of cooling; 2 °C suffices above it.
    count = max(16, int(abs(to_c - from_c) / 2.0))
    if heating:
        grid = np.linspace(from_c, to_c, count + 1)
        rate = np.minimum(full_power_rate_c_per_h(grid), rate_cap)
    else:
        grid = room_c + np.geomspace(from_c - room_c, to_c - room_c, count + 1)
        rate = np.minimum(cooling_rate_c_per_h(grid, room_c=room_c, factor=factor), rate_cap)
    # Trapezoid of dt = dT / rate.
    steps = np.abs(np.diff(grid)) * 0.5 * (1.0 / rate[1:] + 1.0 / rate[:-1]) * SECONDS_PER_HOUR
    return FreeRun(np.concatenate(([0.0], np.cumsum(steps))), grid)


def cool(
    from_c: float,
    to_c: float,
    *,
    room_c: float = ROOM_C,
    rate_cap_c_per_h: float = np.inf,
    factor: float = COOLING_FACTOR,
) -> FreeRun:
    """Return the default kiln's cooling from one temperature to a lower one.

    `rate_cap_c_per_h` is that of a program which cools no faster; infinite for elements off.
    """
    if to_c < room_c + 2.0:
        raise FiringError(
            f"a kiln in a room of {room_c:.0f} °C does not cool to {to_c:.0f} °C by itself; "
            f"give {room_c + 2.0:.0f} °C or more"
        )
    return _run(from_c, to_c, room_c, False, rate_cap_c_per_h, factor)


def heat(from_c: float, to_c: float) -> FreeRun:
    """Return the default kiln's heating at full power from one temperature to a higher one."""
    if to_c > 1400.0:
        raise FiringError(
            f"the default heating curve ends at 1400 °C, below the {to_c:.0f} °C asked for; "
            "give a rate in degrees per hour"
        )
    return _run(from_c, to_c, 0.0, True, np.inf, 1.0)
