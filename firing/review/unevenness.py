"""How far the channels of a firing were apart, in degrees and in cones."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from firing.cones.equivalence import ConeVerdict
from firing.trace import FloatArray, Trace

PEAK_S = 600.0
"""Over so long about the kiln's highest reading the channels are compared [s]."""
LAST_S = 3600.0
ELSEWHERE_C = 200.0
"""A channel this far below the hottest at the peak does not sit in the chamber, or is dead [°C]."""


@dataclass(frozen=True, slots=True)
class ChannelHeat:
    """One channel near the end of the firing.

    Attributes
    ----------
    name : str
    at_peak_c : float or None
        Its mean about the moment of the kiln's highest reading [°C].
    last_hour_c : float or None
        Its mean over the hour before the heating ended [°C].
    cone_number : float or None
        The running number its own readings amount to.
    """

    name: str
    at_peak_c: float | None
    last_hour_c: float | None
    cone_number: float | None

    def to_dict(self) -> dict[str, Any]:
        """Return the channel as the JSON shows it."""
        return {
            "at_peak_c": self.at_peak_c,
            "last_hour_c": self.last_hour_c,
            "cone_number": self.cone_number,
        }


@dataclass(frozen=True, slots=True)
class Unevenness:
    """The spread between the channels of the chamber, hottest less coldest.

    Attributes
    ----------
    channels : tuple of ChannelHeat
        Those compared.
    elsewhere : tuple of str
        Channels left out: nothing read there, or too cold for the chamber.
    at_peak_c, last_hour_c : float or None
        [°C].
    cones : float or None
        In running cone numbers.
    hottest, coldest : str
        Names, by the last hour.
    """

    channels: tuple[ChannelHeat, ...]
    elsewhere: tuple[str, ...]
    at_peak_c: float | None
    last_hour_c: float | None
    cones: float | None
    hottest: str
    coldest: str

    def to_dict(self) -> dict[str, Any]:
        """Return the unevenness as the JSON shows it."""
        return {
            "at_peak_c": self.at_peak_c,
            "last_hour_c": self.last_hour_c,
            "cones": self.cones,
            "hottest": self.hottest,
            "coldest": self.coldest,
            "channels": {channel.name: channel.to_dict() for channel in self.channels},
            "left_out": list(self.elsewhere),
        }


def unevenness(
    trace: Trace, verdicts: Mapping[str, ConeVerdict], peak_s: float, heated_until_s: float
) -> Unevenness | None:
    """Compare the channels of a log.

    Parameters
    ----------
    trace : Trace
        The log.
    verdicts : mapping of str to ConeVerdict
        The cones of each channel, by its readings alone.
    peak_s, heated_until_s : float
        When the kiln's own channel read highest, and when heating ended [s of the log].

    Returns
    -------
    Unevenness or None
        None where fewer than two channels sit in the chamber.
    """
    if len(trace.channels) < 2:
        return None
    found: list[ChannelHeat] = []
    for number, name in enumerate(trace.channels):
        temperature_c = trace.channel_c(number)
        verdict = verdicts.get(name)
        found.append(
            ChannelHeat(
                name,
                _mean(trace, temperature_c, peak_s - 0.5 * PEAK_S, peak_s + 0.5 * PEAK_S),
                _mean(trace, temperature_c, heated_until_s - LAST_S, heated_until_s),
                None if verdict is None else verdict.reached_number,
            )
        )
    hottest_c = max((c.at_peak_c for c in found if c.at_peak_c is not None), default=None)
    if hottest_c is None:
        return None
    inside = [c for c in found if c.at_peak_c is not None and c.at_peak_c > hottest_c - ELSEWHERE_C]
    if len(inside) < 2:
        return None
    by_heat = sorted(inside, key=lambda c: c.last_hour_c or c.at_peak_c or 0.0)
    return Unevenness(
        channels=tuple(inside),
        elsewhere=tuple(c.name for c in found if c not in inside),
        at_peak_c=_spread([c.at_peak_c for c in inside]),
        last_hour_c=_spread([c.last_hour_c for c in inside]),
        cones=_spread([c.cone_number for c in inside]),
        hottest=by_heat[-1].name,
        coldest=by_heat[0].name,
    )


def _spread(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return max(known) - min(known) if len(known) == len(values) else None


def _mean(trace: Trace, temperature_c: FloatArray, from_s: float, to_s: float) -> float | None:
    first, last = np.searchsorted(trace.time_s, (from_s, to_s))
    part = temperature_c[first : max(int(last), int(first) + 1)]
    part = part[np.isfinite(part)]
    return float(part.mean()) if part.size else None
