"""How long a thermocouple has been hot, and which way such a one is known to drift.

No figure of °C per 100 hours is computed, as none that can be cited was found for bare type K or N
in air (``thermocouple-ageing-practice``): hours are counted, the direction is put in words, and
witness cones tell the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from firing.errors import FiringError
from firing.serialise import Serialised
from firing.trace import Trace
from firing.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from firing.thermocouple.reference import ThermocoupleType

#: Levels the hours are counted above [°C].
LEVELS_C = (900.0, 1100.0, 1200.0)

_AGEING = "thermocouple-ageing-practice"
_ORDERING = "type-k-ordering-practice"


@dataclass(frozen=True)
class Exposure:
    """Hours of one thermocouple above each level.

    Attributes
    ----------
    levels_c : tuple of float
        The levels [°C].
    hours : tuple of float
        Hours above each [h].
    """

    levels_c: tuple[float, ...]
    hours: tuple[float, ...]

    def __add__(self, other: Exposure) -> Exposure:
        """Return the hours of two firings together."""
        if self.levels_c != other.levels_c:
            raise FiringError(
                f"hours above {_listed(self.levels_c)} °C cannot be added to hours above "
                f"{_listed(other.levels_c)} °C; count both above the same levels"
            )
        both = zip(self.hours, other.hours, strict=True)
        return Exposure(self.levels_c, tuple(one + another for one, another in both))

    def to_dict(self) -> dict[str, float]:
        """Return the hours keyed for JSON, ``hours_above_900_c`` and so on."""
        both = zip(self.levels_c, self.hours, strict=True)
        return {f"hours_above_{level:g}_c": round(hours, 3) for level, hours in both}


def _listed(levels_c: tuple[float, ...]) -> str:
    return ", ".join(f"{level:g}" for level in levels_c)


def exposure(
    trace: Trace, channel: int | str = 0, levels_c: tuple[float, ...] = LEVELS_C
) -> Exposure:
    """Return how long one channel of a trace was above each level.

    Between its readings the trace is taken to run straight, across gaps too.
    """
    if not np.isfinite(trace.channel_c(channel)).any():
        name = channel if isinstance(channel, str) else trace.channels[channel]
        raise FiringError(
            f'channel "{name}" has no reading, so its hours cannot be counted; choose another of: '
            f"{', '.join(trace.channels)}"
        )
    seconds = (trace.seconds_above(level_c, channel) for level_c in levels_c)
    return Exposure(tuple(levels_c), tuple(each / SECONDS_PER_HOUR for each in seconds))


@dataclass(frozen=True)
class DriftRemark(Serialised):
    """One sentence about ageing and the source it rests on."""

    text: str
    source: str


def drift_remarks(type: str) -> tuple[DriftRemark, ...]:
    """Return what is known of the way a type drifts in a kiln, in words, never in degrees per hour.

    The last one is what to do.
    """
    from firing.thermocouple.reference import parse_type

    letter = parse_type(type)
    return (*_direction(letter), _WITNESS)


_WITNESS = DriftRemark(
    "How much cannot be said from hours alone: set witness cones, and replace the thermocouple "
    "when cones and thermocouple disagree.",
    _AGEING,
)


def _direction(type: ThermocoupleType) -> tuple[DriftRemark, ...]:
    if type in ("K", "N"):
        ageing = DriftRemark(
            f"A bare type {type} in air usually reads high with age, so the kiln is colder than "
            "it says; after long firings with little oxygen between 800 and 1050 °C (green rot) "
            "it reads low, and the kiln is hotter.",
            _AGEING,
        )
        ordering = DriftRemark(
            "Ordering in the alloy moves a type K by 1 to 4 °C between 250 and 600 °C; that is no "
            "fault.",
            _ORDERING,
        )
        return (ageing, ordering) if type == "K" else (ageing,)
    if type in ("S", "R", "B"):
        return (
            DriftRemark(
                f"Type {type} usually reads low with age, so the kiln is hotter than it says.",
                _AGEING,
            ),
        )
    return (
        DriftRemark(f"Which way type {type} drifts in a kiln is not known to this tool.", _AGEING),
    )
