"""How long to hold below a cone's end point, how hot to go, and how fast to arrive.

All follow from one equation: the heat-work of the ramp, of the hold and of a stated cooling make 1,
x(ramp to T) + A·exp(−E/(R·T))·hold + x(cooling from T) = 1.  The law is moved by the cone's own
residual at the rate of approach, so that no hold at all gives the chart's own end point and a short
one departs from it smoothly.  The chart is made of ramps; what it says about holds is inferred,
which is why every answer carries a range.
"""

import math
from dataclasses import dataclass, field

from firing.cones.cone_types import KindOfCone, parse_kind_of_cone, type_shift
from firing.cones.kinetics import (
    RATE_LIMITS_C_PER_H,
    ConeLaw,
    check_rate,
    cone_law,
    end_point_c,
)
from firing.cones.uncertainty import (
    CONE_TOLERANCE_C,
    FURTHEST_BELOW_K,
    beyond_chart_c,
    budget,
    held_below_c,
    rate_warnings,
)
from firing.errors import FiringError
from firing.serialise import Serialised, rounded
from firing.units import (
    SECONDS_PER_HOUR,
    TemperatureUnit,
    format_rate,
    format_temperature,
    from_celsius,
    rate_from_celsius,
    to_celsius,
)

#: The longest hold the law is asked about [s].
LONGEST_HOLD_S = 24 * SECONDS_PER_HOUR

#: What a cone is held or peaks at [°C]: the chart runs from 566 to 1395 °C, less a hold's depth.
FIRED_C = (500.0, 1400.0)

_INFERENCE = (
    "The chart of cones is made of steady ramps; what a hold does is the fitted law's inference, "
    "so confirm it with witness cones."
)


@dataclass(frozen=True, slots=True)
class StatedCooling(Serialised):
    """A stated cooling: the rate [°C/h] and the temperature it goes down to [°C]."""

    rate_c_per_h: float
    to_c: float


Cooling = tuple[StatedCooling, ...]


@dataclass(frozen=True)
class HoldAnswer(Serialised):
    """How long to hold at a temperature until a cone is down.

    Attributes
    ----------
    cone : str
        The cone in its printed spelling.
    at_c, rate_c_per_h : float
        Temperature of the hold [°C] and the rate of the ramp up to it [°C/h].
    hold_s : float
        The hold [s]; 0 where the ramp alone brings the cone down.
    low_s, high_s : float
        The hold if the cone is easier, or harder: by its own ±2 °C, the law's residual, and what is
        open about the law's steepness, which weighs more the further below the end point [s].
    warnings : tuple of str
        One sentence each.
    kind : str
        The type of cone.
    cooling : tuple of StatedCooling
        The cooling after the hold whose heat-work is counted.
    """

    cone: str
    at_c: float
    rate_c_per_h: float
    hold_s: float = field(metadata=rounded(1))
    low_s: float = field(metadata=rounded(1))
    high_s: float = field(metadata=rounded(1))
    warnings: tuple[str, ...]
    kind: KindOfCone = field(default="self-supporting", metadata={"json_key": "cone_type"})
    cooling: Cooling = ()


@dataclass(frozen=True)
class PeakAnswer(Serialised):
    """How hot to go when the hold is given.

    Attributes
    ----------
    cone : str
        The cone in its printed spelling.
    hold_s, rate_c_per_h : float
        The hold at the peak [s] and the rate of the ramp up to it [°C/h].
    peak_c : float
        Peak at which the cone is down at the end of the hold [°C].
    low_c, high_c : float
        The peak if the cone is easier, or harder, as in `HoldAnswer` [°C].
    warnings : tuple of str
        One sentence each.
    kind : str
        The type of cone.
    cooling : tuple of StatedCooling
        The cooling after the hold whose heat-work is counted.
    """

    cone: str
    hold_s: float
    rate_c_per_h: float
    peak_c: float = field(metadata=rounded(2))
    low_c: float = field(metadata=rounded(2))
    high_c: float = field(metadata=rounded(2))
    warnings: tuple[str, ...]
    kind: KindOfCone = field(default="self-supporting", metadata={"json_key": "cone_type"})
    cooling: Cooling = ()


@dataclass(frozen=True)
class RateAnswer(Serialised):
    """How fast to arrive when peak and hold are given.

    Attributes
    ----------
    cone : str
        The cone in its printed spelling.
    at_c, hold_s : float
        The peak [°C] and the hold there [s].
    rate_c_per_h : float
        Rate of the last 100 °C at which the cone is down at the end of the hold [°C/h].
    low_c_per_h, high_c_per_h : float
        The rate if the cone is harder, or easier, as in `HoldAnswer` [°C/h].
    warnings : tuple of str
        One sentence each.
    """

    cone: str
    at_c: float
    hold_s: float
    rate_c_per_h: float = field(metadata=rounded(2))
    low_c_per_h: float = field(metadata=rounded(2))
    high_c_per_h: float = field(metadata=rounded(2))
    warnings: tuple[str, ...]


def hold_after_ramp_s(law: ConeLaw, at_c: float, rate_c_per_h: float, wanted: float = 1.0) -> float:
    """Return the hold [s] for a heat-work at a temperature on the law's own scale.

    Negative if the ramp up to there has more than what is wanted already.
    """
    return (wanted - law.of_ramp(at_c, rate_c_per_h)) / law.per_second(at_c)


def peak_for_hold_c(
    law: ConeLaw, hold_s: float, rate_c_per_h: float, wanted: float = 1.0, within_c: float = 1e-9
) -> float:
    """Return the peak [°C] on the law's own scale at which exactly a hold is needed.

    The hold needed falls with temperature: the range is halved, down to `FURTHEST_BELOW_K` below
    the peak without a hold.
    """
    high_c = law.ramp_reaching_c(wanted, rate_c_per_h)
    low_c = high_c - FURTHEST_BELOW_K
    while hold_s > 0.0 and high_c - low_c > within_c:
        middle_c = 0.5 * (low_c + high_c)
        if middle_c in (low_c, high_c):
            break
        if hold_after_ramp_s(law, middle_c, rate_c_per_h, wanted) > hold_s:
            low_c = middle_c
        else:
            high_c = middle_c
    return high_c


@dataclass(frozen=True, slots=True)
class Approach:
    """One cone of one type, approached at a rate and cooled as stated."""

    law: ConeLaw
    rate_c_per_h: float
    moved_c: float
    """What is taken off a temperature to come to the law's own scale [K]."""
    open_c: float
    """What the rate and the type leave open of its end point, ± [°C]."""
    warnings: tuple[str, ...]
    cooling: Cooling

    @property
    def end_c(self) -> float:
        """Where a ramp alone, with the cooling after it, brings the cone down [°C]."""
        if not self.cooling:
            return self.law.end_point_c(self.rate_c_per_h) + self.moved_c
        low_c = self.law.end_point_c(self.rate_c_per_h) + self.moved_c - FURTHEST_BELOW_K
        return self._falling(low_c, low_c + FURTHEST_BELOW_K, 0.0)

    def hold_s(self, at_c: float, off_c: float = 0.0) -> float:
        """Return the hold [s] if the cone is easier by `off_c`; negative where none is needed."""
        own_c = at_c - self.moved_c + off_c
        cooled = 0.0
        above_c = own_c
        for leg in self.cooling:
            down_c = min(leg.to_c - self.moved_c + off_c, above_c)
            cooled += self.law.of_ramp(above_c, leg.rate_c_per_h)
            cooled -= self.law.of_ramp(down_c, leg.rate_c_per_h)
            above_c = down_c
        return hold_after_ramp_s(self.law, own_c, self.rate_c_per_h, 1.0 - cooled)

    def peak_c(self, hold_s: float) -> float:
        """Return the peak [°C] at which exactly a hold is needed."""
        high_c = self.end_c
        return self._falling(high_c - FURTHEST_BELOW_K, high_c, hold_s) if hold_s else high_c

    def _falling(self, low_c: float, high_c: float, hold_s: float) -> float:
        for _ in range(60):
            middle_c = 0.5 * (low_c + high_c)
            if self.hold_s(middle_c) > hold_s:
                low_c = middle_c
            else:
                high_c = middle_c
        return high_c

    def off_c(self, at_c: float, hold_s: float) -> float:
        """Return how far everything may be off, ± [°C]."""
        below_c = held_below_c(self.law, at_c - self.moved_c, self.rate_c_per_h, hold_s)
        return budget(self.law, energy_c=math.hypot(below_c, self.open_c)).total_c


def approach(
    cone: str,
    rate_c_per_h: float,
    kind: KindOfCone = "self-supporting",
    cooling: Cooling = (),
    unit: TemperatureUnit = "C",
) -> Approach:
    law = cone_law(cone)
    check_rate(rate_c_per_h, unit)
    for leg in cooling:
        check_rate(leg.rate_c_per_h, unit)
    shift = type_shift(law.cone, kind, rate_c_per_h, unit)
    own = kind == "self-supporting"
    return Approach(
        law=law,
        rate_c_per_h=rate_c_per_h,
        moved_c=law.residual_c(rate_c_per_h) + shift.hotter_c,
        open_c=beyond_chart_c(law, rate_c_per_h) if own else shift.open_c,
        warnings=tuple(rate_warnings(law, rate_c_per_h, unit)) if own else shift.warnings,
        cooling=cooling,
    )


def check_fired(temperature_c: float, unit: TemperatureUnit, what: str = "hold") -> None:
    """Refuse a temperature that nothing is fired at, with what may have been meant."""
    if not math.isfinite(temperature_c):
        raise FiringError(
            f"{temperature_c} is not a temperature to {what} at; write one such as 1200C or 2192F"
        )
    low_c, high_c = FIRED_C
    if low_c <= temperature_c <= high_c:
        return
    raise FiringError(
        f"{from_celsius(temperature_c, unit):g} °{unit} is outside the "
        f"{from_celsius(low_c, unit):.0f} to {from_celsius(high_c, unit):.0f} °{unit} that cones "
        f"are fired at{_other_unit(temperature_c, unit, *FIRED_C)}"
    )


def _other_unit(temperature_c: float, unit: TemperatureUnit, low_c: float, high_c: float) -> str:
    """Return the question whether the figure was meant in the other unit, where that would fit."""
    other: TemperatureUnit = "F" if unit == "C" else "C"
    figure = from_celsius(temperature_c, unit)
    if not low_c <= to_celsius(figure, other) <= high_c:
        return ""
    known = format_temperature(to_celsius(figure, other), unit)
    return f"; did you mean {figure:g}{other} ({known})?"


def other_series(cone: str) -> str | None:
    """Return the cone whose number differs by the leading zero alone, 04 for 4; None if none is."""
    from firing.cones.table import CONES

    other = cone[1:] if cone.startswith("0") else f"0{cone}"
    return other if other in CONES else None


def _meant_instead(cone: str, at_c: float, rate_c_per_h: float, unit: TemperatureUnit) -> str:
    """Return which other cone or unit would fit a temperature that is far from a cone's."""
    other = other_series(cone)
    if other is not None:
        end_c = end_point_c(other, rate_c_per_h)
        if abs(end_c - at_c) <= FURTHEST_BELOW_K:
            ends = format_temperature(end_c, unit)
            return f"; did you mean cone {other}, which ends at {ends}?"
    end_c = end_point_c(cone, rate_c_per_h)
    return _other_unit(at_c, unit, end_c - FURTHEST_BELOW_K, end_c + FURTHEST_BELOW_K)


def hold_needed(
    cone: str,
    at_c: float,
    rate_c_per_h: float = 60.0,
    *,
    kind: str = "self-supporting",
    cooling: Cooling = (),
    unit: TemperatureUnit = "C",
) -> HoldAnswer:
    """Return how long to hold at a temperature until a cone is down.

    Parameters
    ----------
    cone : str
        A cone, in any spelling `firing.cones.table.parse_cone` reads.
    at_c : float
        Temperature of the hold [°C].
    rate_c_per_h : float
        Rate of the last 100 °C up to the hold [°C/h].
    kind : str
        The type of cone: self-supporting, large, small, bar, iron-free or iron-free large.
    cooling : tuple of StatedCooling
        The cooling after the hold, whose heat-work is then counted; left out without it.
    unit : {"C", "F"}
        The unit that warnings and refusals speak in.

    Returns
    -------
    HoldAnswer
        Source ``cone-model``.

    Raises
    ------
    FiringError
        If there is no such cone, the rate is outside 5 to 400 °C/h, the hold lies more than 80 °C
        from the end point, or it would exceed 24 h.

    Examples
    --------
    The chart has cone 6 down at 1222 °C after 60 °C/h: no hold is needed there, but lower down.

    >>> import firing as fi
    >>> fi.hold_needed("6", at_c=1222.0, rate_c_per_h=60.0).hold_s
    0.0
    >>> answer = fi.hold_needed("6", at_c=1200.0)
    >>> 0.0 < answer.low_s < answer.hold_s < answer.high_s
    True
    """
    sort = parse_kind_of_cone(kind)
    way = approach(cone, rate_c_per_h, sort, cooling, unit)
    check_fired(at_c, unit)
    end_c = way.end_c
    name = way.law.cone
    ramp = f"cone {name} after {format_rate(rate_c_per_h, unit)}"
    far = rate_from_celsius(abs(at_c - end_c), unit)
    most = rate_from_celsius(FURTHEST_BELOW_K, unit)
    at, end = f"{from_celsius(at_c, unit):g} °{unit}", format_temperature(end_c, unit)
    meant = _meant_instead(name, at_c, rate_c_per_h, unit)
    if at_c < end_c - FURTHEST_BELOW_K:
        least = math.ceil(from_celsius(end_c - FURTHEST_BELOW_K, unit))
        raise FiringError(
            f"{at} is {far:.0f} °{unit} below the end point of {ramp}, {end}, and the chart "
            f"supports no hold more than {most:.0f} °{unit} below"
            f"{meant or f'; write {least} °{unit} or more'}"
        )
    if at_c > end_c + FURTHEST_BELOW_K:
        raise FiringError(
            f"{at} is {far:.0f} °{unit} above the end point of {ramp}, {end}: the cone is down "
            f"long before{meant or f'; write {end} or less'}"
        )
    hold_s = max(way.hold_s(at_c), 0.0) if at_c < end_c else 0.0
    if hold_s > LONGEST_HOLD_S:
        raise FiringError(
            f"{ramp} would need {hold_s / 3600.0:.0f} h at {at}, and the chart supports no hold "
            f"above {LONGEST_HOLD_S / 3600.0:.0f} h; write a temperature nearer its end point of "
            f"{end}"
        )
    off_c = way.off_c(at_c, hold_s)
    found = list(way.warnings)
    if hold_s > 0.0:
        found.append(_INFERENCE)
    elif at_c > end_c + off_c:
        found.append(
            f"{at} is {far:.0f} °{unit} above the end point of {ramp}, {end}: "
            "the cone is down before the hold begins."
        )
    return HoldAnswer(
        cone=name,
        at_c=at_c,
        rate_c_per_h=rate_c_per_h,
        hold_s=hold_s,
        low_s=max(way.hold_s(at_c, off_c), 0.0),
        high_s=max(way.hold_s(at_c, -off_c), 0.0),
        warnings=tuple(found),
        kind=sort,
        cooling=cooling,
    )


def peak_needed(
    cone: str,
    hold_s: float,
    rate_c_per_h: float = 60.0,
    *,
    kind: str = "self-supporting",
    cooling: Cooling = (),
    unit: TemperatureUnit = "C",
) -> PeakAnswer:
    """Return the peak at which a cone is down at the end of a given hold.

    Parameters
    ----------
    cone : str
        A cone, in any spelling `firing.cones.table.parse_cone` reads.
    hold_s : float
        The hold at the peak [s].
    rate_c_per_h : float
        Rate of the last 100 °C up to the peak [°C/h].
    kind, cooling, unit
        As in `hold_needed`.

    Returns
    -------
    PeakAnswer
        Source ``cone-model``; with no hold the chart's end point.

    Raises
    ------
    FiringError
        If there is no such cone, the rate is outside 5 to 400 °C/h, the hold is outside 0 to 24 h,
        or the peak would lie more than 80 °C below the end point.

    Examples
    --------
    Without a hold the peak is the chart's end point:

    >>> import firing as fi
    >>> round(fi.peak_needed("6", hold_s=0.0, rate_c_per_h=60.0).peak_c, 1)
    1222.0
    """
    sort = parse_kind_of_cone(kind)
    way = approach(cone, rate_c_per_h, sort, cooling, unit)
    _check_hold(hold_s)
    high_c = way.end_c
    if way.hold_s(high_c - FURTHEST_BELOW_K) < hold_s:
        most = rate_from_celsius(FURTHEST_BELOW_K, unit)
        raise FiringError(
            f"a hold of {hold_s / 3600.0:.1f} h would bring cone {way.law.cone} down more than "
            f"{most:.0f} °{unit} below its end point of {format_temperature(high_c, unit)}, where "
            "the chart supports nothing; write a shorter hold"
        )
    peak_c = way.peak_c(hold_s)
    off_c = way.off_c(peak_c, hold_s)
    return PeakAnswer(
        cone=way.law.cone,
        hold_s=hold_s,
        rate_c_per_h=rate_c_per_h,
        peak_c=peak_c,
        low_c=peak_c - off_c,
        high_c=peak_c + off_c,
        warnings=way.warnings if hold_s == 0.0 else (*way.warnings, _INFERENCE),
        kind=sort,
        cooling=cooling,
    )


def _check_hold(hold_s: float) -> None:
    if not 0.0 <= hold_s <= LONGEST_HOLD_S:
        raise FiringError(
            f"a hold of {hold_s / 3600.0:g} h is outside 0 to {LONGEST_HOLD_S / 3600.0:.0f} h, "
            'which is what the cone law answers for; write one inside, such as "30m"'
        )


def rate_needed(
    cone: str,
    at_c: float,
    hold_s: float = 0.0,
    *,
    kind: str = "self-supporting",
    unit: TemperatureUnit = "C",
) -> RateAnswer:
    """Return how fast to arrive at a peak so that a cone is down at the end of the hold there.

    Parameters
    ----------
    cone : str
        A cone, in any spelling `firing.cones.table.parse_cone` reads.
    at_c, hold_s : float
        The peak [°C] and the hold there [s].
    kind, unit
        As in `hold_needed`.

    Returns
    -------
    RateAnswer
        Source ``cone-model``; without a hold, the chart's own rate at a printed end point.

    Raises
    ------
    FiringError
        If there is no such cone, or no rate of 5 to 400 °C/h brings it down there.

    Examples
    --------
    The chart has cone 6 down at 1243 °C after 150 °C/h:

    >>> import firing as fi
    >>> round(fi.rate_needed("6", at_c=1243.0).rate_c_per_h)
    150
    """
    sort = parse_kind_of_cone(kind)
    check_fired(at_c, unit)
    _check_hold(hold_s)
    slow, fast = RATE_LIMITS_C_PER_H
    name = cone_law(cone).cone
    slow_s = approach(name, slow, sort, unit=unit).hold_s(at_c)
    fast_s = approach(name, fast, sort, unit=unit).hold_s(at_c)
    if not slow_s <= hold_s <= fast_s:
        limits = [format_rate(rate, unit) for rate in (slow, fast)]
        short = slow_s > hold_s
        why = (
            f"even at {limits[0]} it needs more heat: go hotter or hold longer"
            if short
            else f"even at {limits[1]} it is down already: go less hot or hold less long"
        )
        meant = _meant_instead(name, at_c, 60.0, unit)
        raise FiringError(
            f"no rate brings cone {name} down at {format_temperature(at_c, unit)}: {why}{meant}"
        )

    def rate(off_c: float) -> float:
        low, high = math.log(slow), math.log(fast)
        for _ in range(50):
            middle = 0.5 * (low + high)
            if approach(name, math.exp(middle), sort).hold_s(at_c, off_c) < hold_s:
                low = middle
            else:
                high = middle
        return math.exp(0.5 * (low + high))

    found = rate(0.0)
    way = approach(name, found, sort, unit=unit)
    off_c = way.off_c(at_c, hold_s)
    return RateAnswer(
        cone=name,
        at_c=at_c,
        hold_s=hold_s,
        rate_c_per_h=found,
        low_c_per_h=rate(-off_c),
        high_c_per_h=rate(off_c),
        warnings=way.warnings if hold_s == 0.0 else (*way.warnings, _INFERENCE),
    )


def what_the_range_spans(unit: TemperatureUnit) -> str:
    """Return the sentence on what the range of a hold, a peak or a rate spans, and what not."""
    own = f"{rate_from_celsius(CONE_TOLERANCE_C, unit):.1f} °{unit}".replace(".0 ", " ")
    return (
        f"The range (80 %) spans the cone's own ±{own}, our fit to the chart and its steepness. It "
        "grows with depth below the end point. The thermocouple's error comes on top."
    )
