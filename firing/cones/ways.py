"""The ways to a cone: which holds, peaks and final rates bring it down, side by side."""

import math
from dataclasses import dataclass, field

from firing.cones.cone_types import KindOfCone, parse_kind_of_cone
from firing.cones.holds import (
    LONGEST_HOLD_S,
    Cooling,
    approach,
    check_fired,
    hold_needed,
)
from firing.cones.table import parse_cone
from firing.cones.uncertainty import FURTHEST_BELOW_K
from firing.errors import FiringError
from firing.serialise import Serialised, rounded
from firing.units import (
    TemperatureUnit,
    format_duration,
    format_temperature,
    from_celsius,
    to_celsius,
)
from firing.viewable import Tabular

#: The final rates shown where none is asked for: those of the chart that a studio kiln can follow
#: at the top, and one between them [°C/h].
USUAL_RATES_C_PER_H = (60.0, 100.0, 150.0)

_STEP = 10  # degrees of the unit asked
_MOST_WAYS = 9
_CURVE_POINTS = 41
_LONGEST_SHOWN_S = 4 * 3600.0


@dataclass(frozen=True, slots=True)
class Way(Serialised):
    """One way to a cone: final rate [°C/h], peak [°C] and hold [s] with its range."""

    rate_c_per_h: float
    peak_c: float = field(metadata=rounded(2))
    hold_s: float = field(metadata=rounded(1))
    low_s: float = field(metadata=rounded(1))
    high_s: float = field(metadata=rounded(1))


@dataclass(frozen=True)
class WaysToCone(Tabular, Serialised):
    """The ways to a cone.

    Attributes
    ----------
    cone : str
        The cone in its printed spelling.
    kind : str
        The type of cone.
    unit : {"C", "F"}
        The unit it was asked in; peaks are round in it.
    at_most_c : float or None
        The hottest peak allowed [°C].
    rates_c_per_h : tuple of float
        The final rates asked for [°C/h].
    ways : tuple of Way
        By peak from the hottest, and by rate.
    curve : tuple of (float, float)
        Peak [°C] and hold [s] at the first rate, finely.
    cooling : tuple of StatedCooling
        The stated cooling, whose heat-work is counted.
    warnings : tuple of str
        One sentence each, in the unit asked.
    """

    cone: str
    kind: KindOfCone = field(metadata={"json_key": "cone_type"})
    unit: TemperatureUnit
    at_most_c: float | None
    rates_c_per_h: tuple[float, ...]
    ways: tuple[Way, ...]
    curve: tuple[tuple[float, float], ...]
    cooling: Cooling
    warnings: tuple[str, ...]

    def __repr__(self) -> str:
        """Return the cone and the first few ways, on one line."""
        told = [
            f"{format_temperature(way.peak_c, self.unit)} and {format_duration(way.hold_s)}"
            for way in self.at(self.rates_c_per_h[0])[:3]
        ]
        return f"<WaysToCone {self.cone}: {'; '.join(told) or 'none'}; {len(self.ways)} in all>"

    def at(self, rate_c_per_h: float) -> tuple[Way, ...]:
        """Return the ways at one rate, from the hottest."""
        return tuple(way for way in self.ways if way.rate_c_per_h == rate_c_per_h)


def ways_to_cone(
    cone: str,
    *,
    at_most_c: float | None = None,
    rates_c_per_h: tuple[float, ...] = USUAL_RATES_C_PER_H,
    kind: str = "self-supporting",
    cooling: Cooling = (),
    unit: TemperatureUnit = "C",
) -> WaysToCone:
    """Return which holds, peaks and final rates bring a cone down.

    Parameters
    ----------
    cone : str
        A cone, in any spelling `firing.cones.table.parse_cone` reads.
    at_most_c : float, optional
        The hottest peak allowed [°C].
    rates_c_per_h : tuple of float
        Rates of the last 100 °C [°C/h]; the first is the one of the curve.
    kind : str
        The type of cone: self-supporting, large, small, bar, iron-free or iron-free large.
    cooling : tuple of StatedCooling
        The cooling after the hold, whose heat-work is then counted; left out without it.
    unit : {"C", "F"}
        The unit that peaks are round in, and that warnings speak in.

    Returns
    -------
    WaysToCone
        Source ``cone-model``.

    Raises
    ------
    FiringError
        If there is no such cone, a rate is outside 5 to 400 °C/h, or the hottest peak allowed is
        more than 80 °C below the end point at every rate.

    Examples
    --------
    The hotter the peak, the shorter the hold, down to none at the chart's end point:

    >>> import firing as fi
    >>> found = fi.ways_to_cone("6", rates_c_per_h=(60.0,))
    >>> holds = [way.hold_s for way in found.ways]
    >>> holds == sorted(holds), round(found.ways[0].peak_c), holds[0]
    (True, 1222, 0.0)
    """
    name, sort = parse_cone(cone), parse_kind_of_cone(kind)
    if at_most_c is not None:
        check_fired(at_most_c, unit, "peak")
    if not rates_c_per_h:
        raise FiringError("ways to a cone need a final rate; write one such as 60C/h or 108F/h")
    ends = {rate: approach(name, rate, sort, cooling, unit).end_c for rate in rates_c_per_h}
    if at_most_c is not None and at_most_c < min(ends.values()) - FURTHEST_BELOW_K:
        # Says what may have been meant.
        hold_needed(name, at_most_c, min(ends, key=lambda rate: ends[rate]), kind=sort, unit=unit)
    peaks = _peaks(ends, at_most_c, unit)
    ways, said = [], {}
    for peak_c in peaks:
        for rate, end_c in ends.items():
            if not end_c - FURTHEST_BELOW_K <= peak_c <= end_c + 1e-6:
                continue
            try:
                found = hold_needed(name, peak_c, rate, kind=sort, cooling=cooling, unit=unit)
            except FiringError:
                continue  # a hold of more than a day
            ways.append(Way(rate, peak_c, found.hold_s, found.low_s, found.high_s))
            said.update(dict.fromkeys(found.warnings))
    first = rates_c_per_h[0]
    return WaysToCone(
        cone=name,
        kind=sort,
        unit=unit,
        at_most_c=at_most_c,
        rates_c_per_h=rates_c_per_h,
        ways=tuple(ways),
        curve=_curve(name, sort, first, cooling, ends[first], at_most_c, unit),
        cooling=cooling,
        warnings=tuple(said),
    )


def _peaks(ends: dict[float, float], at_most_c: float | None, unit: TemperatureUnit) -> list[float]:
    """Return the peaks worth showing, from the hottest: where no hold is needed, and round ones."""
    top_c = max(ends.values()) if at_most_c is None else min(at_most_c, max(ends.values()))
    low_c = max(min(ends.values()) - FURTHEST_BELOW_K, top_c - FURTHEST_BELOW_K)
    peaks = {end_c for end_c in ends.values() if end_c <= top_c + 1e-9}
    if at_most_c is not None and at_most_c <= top_c:
        peaks.add(at_most_c)
    step = _STEP
    high, low = from_celsius(top_c, unit), from_celsius(low_c, unit)
    while (high - low) / step > _MOST_WAYS:
        step *= 2
    mark = math.floor(high / step) * step
    exact = sorted(from_celsius(peak_c, unit) for peak_c in peaks)
    while mark >= low:
        if all(abs(mark - known) >= 0.5 * step for known in exact):
            peaks.add(to_celsius(float(mark), unit))
        mark -= step
    return sorted(peaks, reverse=True)


def _curve(
    cone: str,
    kind: KindOfCone,
    rate_c_per_h: float,
    cooling: Cooling,
    end_c: float,
    at_most_c: float | None,
    unit: TemperatureUnit,
) -> tuple[tuple[float, float], ...]:
    """Return peaks [°C] with their holds [s], down to the deepest that a few hours bring down."""
    way = approach(cone, rate_c_per_h, kind, cooling, unit)
    top_c = end_c if at_most_c is None else min(at_most_c, end_c)
    low_c = end_c - FURTHEST_BELOW_K
    if way.hold_s(low_c) > _LONGEST_SHOWN_S:
        low_c = way.peak_c(min(max(_LONGEST_SHOWN_S, 2.0 * way.hold_s(top_c)), LONGEST_HOLD_S))
    if low_c >= top_c:
        return ()
    points = (top_c + (low_c - top_c) * i / (_CURVE_POINTS - 1) for i in range(_CURVE_POINTS))
    return tuple((round(peak_c, 2), round(max(way.hold_s(peak_c), 0.0), 1)) for peak_c in points)
