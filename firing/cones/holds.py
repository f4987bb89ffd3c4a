"""How long to hold below a cone's end point, and how hot to go when the hold is given.

Both follow from one equation: the heat-work of the ramp and of the hold make 1,
x(ramp to T) + A·exp(−E/(R·T))·hold = 1.  The law is moved by the cone's own residual at the rate of
approach, so that no hold at all gives the chart's own end point and a short one departs from it
smoothly.  The chart is made of ramps; what it says about holds is inferred, which is why every
answer carries a range.
"""

import math
from dataclasses import dataclass, field

from firing.cones.kinetics import ConeLaw, check_rate, cone_law, end_point_c
from firing.cones.uncertainty import budget, rate_warnings
from firing.errors import FiringError
from firing.serialise import Serialised, rounded

#: The longest hold the law is asked about [s].
LONGEST_HOLD_S = 24 * 3600.0

#: How far below the end point a hold may lie [K].  What the chart prints for one cone spans 20 to
#: 80 °C from 15 to 150 °C/h; further down nothing supports the law.
FURTHEST_BELOW_K = 80.0

_INFERENCE = (
    "The chart of cones is made of steady ramps; what a hold does is the fitted law's inference, "
    "so confirm it with witness cones."
)


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
        The hold if the cone is easier, or harder, by its own ±2 °C and the law's misfit [s].
    warnings : tuple of str
        One sentence each.
    """

    cone: str
    at_c: float
    rate_c_per_h: float
    hold_s: float = field(metadata=rounded(1))
    low_s: float = field(metadata=rounded(1))
    high_s: float = field(metadata=rounded(1))
    warnings: tuple[str, ...]


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
        The peak if the cone is easier, or harder, by its own ±2 °C and the law's misfit [°C].
    warnings : tuple of str
        One sentence each.
    """

    cone: str
    hold_s: float
    rate_c_per_h: float
    peak_c: float = field(metadata=rounded(2))
    low_c: float = field(metadata=rounded(2))
    high_c: float = field(metadata=rounded(2))
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


def hold_needed(cone: str, at_c: float, rate_c_per_h: float = 60.0) -> HoldAnswer:
    """Return how long to hold at a temperature until a cone is down.

    Parameters
    ----------
    cone : str
        A self-supporting cone, in any spelling `firing.cones.table.parse_cone` reads.
    at_c : float
        Temperature of the hold [°C].
    rate_c_per_h : float
        Rate of the last 100 °C up to the hold [°C/h].

    Returns
    -------
    HoldAnswer
        Source ``cone-model``.

    Raises
    ------
    FiringError
        If there is no such cone, the rate is outside 5 to 400 °C/h, the hold lies more than 80 °C
        below the end point, or it would exceed 24 h.

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
    law = cone_law(cone)
    check_rate(rate_c_per_h)
    if not math.isfinite(at_c):
        raise FiringError(f"{at_c} is not a temperature to hold at; write one in °C, such as 1200")
    end_c = end_point_c(law.cone, rate_c_per_h)
    ramp = f"cone {law.cone} after {rate_c_per_h:g} °C/h"
    if at_c < end_c - FURTHEST_BELOW_K:
        raise FiringError(
            f"{at_c:g} °C is {end_c - at_c:.0f} °C below the end point of {ramp}, {end_c:.0f} °C, "
            f"and the chart supports no hold more than {FURTHEST_BELOW_K:.0f} °C below; "
            f"write {math.ceil(end_c - FURTHEST_BELOW_K)} °C or more"
        )
    own_c = at_c - law.residual_c(rate_c_per_h)
    off_c = budget(law).total_c
    hold_s = max(hold_after_ramp_s(law, own_c, rate_c_per_h), 0.0) if at_c < end_c else 0.0
    if hold_s > LONGEST_HOLD_S:
        raise FiringError(
            f"{ramp} would need {hold_s / 3600.0:.0f} h at {at_c:g} °C, and the chart supports "
            f"no hold above {LONGEST_HOLD_S / 3600.0:.0f} h; write a temperature nearer its "
            f"end point of {end_c:.0f} °C"
        )
    found = rate_warnings(law, rate_c_per_h)
    if hold_s > 0.0:
        found.append(_INFERENCE)
    elif at_c > end_c + off_c:
        found.append(
            f"{at_c:g} °C is {at_c - end_c:.0f} °C above the end point of {ramp}, {end_c:.0f} °C: "
            "the cone is down before the hold begins."
        )
    return HoldAnswer(
        cone=law.cone,
        at_c=at_c,
        rate_c_per_h=rate_c_per_h,
        hold_s=hold_s,
        low_s=max(hold_after_ramp_s(law, own_c + off_c, rate_c_per_h), 0.0),
        high_s=max(hold_after_ramp_s(law, own_c - off_c, rate_c_per_h), 0.0),
        warnings=tuple(found),
    )


def peak_needed(cone: str, hold_s: float, rate_c_per_h: float = 60.0) -> PeakAnswer:
    """Return the peak at which a cone is down at the end of a given hold.

    Parameters
    ----------
    cone : str
        A self-supporting cone, in any spelling `firing.cones.table.parse_cone` reads.
    hold_s : float
        The hold at the peak [s].
    rate_c_per_h : float
        Rate of the last 100 °C up to the peak [°C/h].

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
    law = cone_law(cone)
    check_rate(rate_c_per_h)
    if not 0.0 <= hold_s <= LONGEST_HOLD_S:
        raise FiringError(
            f"a hold of {hold_s / 3600.0:g} h is outside 0 to {LONGEST_HOLD_S / 3600.0:.0f} h, "
            'which is what the cone law answers for; write one inside, such as "30m"'
        )
    residual_c = law.residual_c(rate_c_per_h)
    high_c = law.end_point_c(rate_c_per_h)
    low_c = high_c - FURTHEST_BELOW_K
    if hold_after_ramp_s(law, low_c, rate_c_per_h) < hold_s:
        raise FiringError(
            f"a hold of {hold_s / 3600.0:.1f} h would bring cone {law.cone} down more than "
            f"{FURTHEST_BELOW_K:.0f} °C below its end point of {high_c + residual_c:.0f} °C, where "
            "the chart supports nothing; write a shorter hold"
        )
    peak_c = peak_for_hold_c(law, hold_s, rate_c_per_h) + residual_c
    off_c = budget(law).total_c
    found = rate_warnings(law, rate_c_per_h)
    if hold_s > 0.0:
        found.append(_INFERENCE)
    return PeakAnswer(
        cone=law.cone,
        hold_s=hold_s,
        rate_c_per_h=rate_c_per_h,
        peak_c=peak_c,
        low_c=peak_c - off_c,
        high_c=peak_c + off_c,
        warnings=tuple(found),
    )
