"""Which cone a few legs come to, asked in one line and without a file.

``108F/h to 2190F hold 20m`` is a leg: a rate, where it goes to, and the hold there.  Several legs
stand behind one another, with a comma or ``then`` between them, and may cool.  What no leg says is
left out: the kiln's own cooling after the last one adds to the heat-work, and the answer says so.
"""

import math
import re
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from firing.cones.cone_types import KindOfCone, parse_kind_of_cone, type_shift
from firing.cones.equivalence import ConeVerdict, approach_rates_c_per_h, cone_reached
from firing.cones.heatwork import DOWN, heatwork
from firing.cones.holds import LONGEST_HOLD_S, Cooling, StatedCooling, check_fired
from firing.cones.kinetics import USUAL_RATE_C_PER_H, cone_law
from firing.errors import FiringError
from firing.serialise import Serialised, json_fields, rounded
from firing.trace import FloatArray
from firing.units import (
    ROOM_C,
    SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    common_unit,
    format_duration,
    format_rate,
    format_temperature,
    parse_duration_s,
    parse_rate_c_per_h,
    parse_temperature_c,
)

_BETWEEN = re.compile(r"\s*(?:[,;](?!\d)|\bthen\b)\s*", re.IGNORECASE)
_LEG = re.compile(
    r"(?:(?P<rate>.+?)\s+(?:up\s+|down\s+)?to\s+)?(?P<target>.+?)"
    r"(?:\s+(?:and\s+)?(?:hold|soak)(?:\s+for)?\s+(?P<hold>.+))?",
    re.IGNORECASE,
)
_HOLD = re.compile(r"(?:and\s+)?(?:hold|soak)(?:\s+for)?\s+(?P<hold>.+)", re.IGNORECASE)
_EXAMPLE = '"108F/h to 2190F hold 20m" or "60C/h to 1200C hold 20m, 50C/h to 1000C"'

_MOST_LEGS = 30
#: How much hotter the next cone is looked for [K]: no two neighbours stand further apart.
_NEXT_WITHIN_K = 120.0


@dataclass(frozen=True, slots=True)
class Leg(Serialised):
    """A ramp at a rate [°C/h] to a target [°C], and the hold there [s]."""

    rate_c_per_h: float
    target_c: float
    hold_s: float = 0.0


@dataclass(frozen=True, slots=True)
class NextCone(Serialised):
    """What is missing for the next cone.

    Attributes
    ----------
    cone : str
        The next one made.
    hold_s : float or None
        Longer hold at the peak [s]; None above 24 h.
    hotter_c : float or None
        Or a hotter peak with the same hold [K]; None where none within 120 K does.
    """

    cone: str
    hold_s: float | None = field(metadata=rounded(1))
    hotter_c: float | None = field(metadata=rounded(2))


@dataclass(frozen=True, slots=True)
class Worth(Serialised):
    """What a little more is worth at the peak.

    Attributes
    ----------
    degree_cones, minute_cones : float or None
        Cones for 1 °C more at the peak and for 1 min more hold; None below the coldest cone.
    degree_s : float or None
        The hold that does what 1 °C more at the peak does [s].
    """

    degree_cones: float | None = field(metadata=rounded(4))
    minute_cones: float | None = field(metadata=rounded(4))
    degree_s: float | None = field(metadata=rounded(1))


@dataclass(frozen=True)
class ConeAt(Serialised):
    """Which cone a few legs come to.

    Attributes
    ----------
    legs : tuple of Leg
        What was asked.
    start_c, peak_c : float
        Where it starts and how hot it gets [°C].
    duration_s : float
        Its length [s].
    unit : {"C", "F"}
        The unit it was asked in.
    cones : ConeVerdict
        The cone with its range.
    next : NextCone or None
        What is missing for the next; None past the hottest.
    worth : Worth
        What one degree and one minute are worth.
    cooling_counted : bool
        Whether a cooling leg is among what was asked.  The kiln's own cooling is not in it.
    warnings : tuple of str
        One sentence each, in the unit asked.
    """

    legs: tuple[Leg, ...]
    start_c: float
    peak_c: float
    duration_s: float
    unit: TemperatureUnit
    cones: ConeVerdict
    next: NextCone | None
    worth: Worth
    cooling_counted: bool
    warnings: tuple[str, ...]

    def __repr__(self) -> str:
        """Return the legs and the cone, on one line."""
        told = [
            f"{format_rate(leg.rate_c_per_h, self.unit)} to "
            f"{format_temperature(leg.target_c, self.unit)}"
            + (f", hold {format_duration(leg.hold_s)}" if leg.hold_s else "")
            for leg in self.legs[:3]
        ]
        more = ", …" if len(self.legs) > len(told) else ""
        return f"<ConeAt {'; '.join(told)}{more}: {self.cones.words}>"

    def to_dict(self) -> dict[str, object]:
        """Return the answer keyed for JSON."""
        return json_fields(self)


def parse_legs(
    text: str, default_unit: TemperatureUnit | None = None
) -> tuple[tuple[Leg, ...], TemperatureUnit]:
    """Read legs such as ``108F/h to 2190F hold 20m, 150F/h to 1900F``, and the unit they are in.

    A plain number has the unit of those beside it, or the default unit, or °C.
    """
    parts = [part for part in _BETWEEN.split(text.strip()) if part]
    read: list[tuple[str | None, str, str | None]] = []
    for part in parts:
        alone = _HOLD.fullmatch(part)
        if alone is not None and read and read[-1][2] is None:
            read[-1] = (*read[-1][:2], alone["hold"])
            continue
        leg = _LEG.fullmatch(part)
        if leg is None or alone is not None or (leg["rate"] is None and "/" in leg["target"]):
            raise FiringError(f'"{part}" is no leg of a firing; write {_EXAMPLE}')
        read.append((leg["rate"], leg["target"], leg["hold"]))
    if not 1 <= len(read) <= _MOST_LEGS:
        raise FiringError(f"a firing has 1 to {_MOST_LEGS} legs; write {_EXAMPLE}")
    unit = default_unit or common_unit(*(word for leg in read for word in leg[:2]))
    legs: list[Leg] = []
    before_c = ROOM_C
    for rate, target, hold in read:
        target_c = parse_temperature_c(target, unit)
        if rate is None:
            raise FiringError(f'"{target}" has no rate; write {_EXAMPLE}')
        rate_c_per_h = parse_rate_c_per_h(rate, unit)
        if not rate_c_per_h > 0.0 or target_c == before_c:
            raise FiringError(f'"{rate} to {target}" goes nowhere; write {_EXAMPLE}')
        hold_s = 0.0 if hold is None else parse_duration_s(hold)
        legs.append(Leg(rate_c_per_h, target_c, hold_s))
        before_c = target_c
    return tuple(legs), unit


def parse_cooling(text: str, default_unit: TemperatureUnit | None = None) -> Cooling:
    """Read a cooling such as ``100C/h to 1040C``; several legs stand behind one another."""
    legs, _ = parse_legs(text, default_unit)
    ends = [math.inf, *(leg.target_c for leg in legs)]
    if any(leg.hold_s for leg in legs) or any(b >= a for a, b in pairwise(ends)):
        raise FiringError(f'"{text}" is no cooling; write "100C/h to 1040C" or "180F/h to 1900F"')
    return tuple(StatedCooling(leg.rate_c_per_h, leg.target_c) for leg in legs)


def course_of(legs: tuple[Leg, ...], start_c: float = ROOM_C) -> tuple[FloatArray, FloatArray]:
    """Return the times [s] and temperatures [°C] that legs run through."""
    times, temperatures = [0.0], [start_c]
    for leg in legs:
        ramp_s = abs(leg.target_c - temperatures[-1]) / leg.rate_c_per_h * SECONDS_PER_HOUR
        times.append(times[-1] + ramp_s)
        temperatures.append(leg.target_c)
        if leg.hold_s:
            times.append(times[-1] + leg.hold_s)
            temperatures.append(leg.target_c)
    return np.array(times), np.array(temperatures)


def cone_at(
    legs: str | tuple[Leg, ...],
    *,
    kind: str = "self-supporting",
    unit: TemperatureUnit | None = None,
) -> ConeAt:
    """Say which cone a few legs come to, how far the next one is, and what a little more is worth.

    Parameters
    ----------
    legs : str or tuple of Leg
        Rates, targets and holds: ``"108F/h to 2190F hold 20m"``; legs that cool count, too.  The
        first starts at 20 °C.
    kind : str
        The type of cone: self-supporting, large, small, bar, iron-free or iron-free large.
    unit : {"C", "F"}, optional
        The unit of plain numbers and of the answer's sentences; that of the legs if left out.

    Returns
    -------
    ConeAt
        Source ``cone-model``.

    Raises
    ------
    FiringError
        If a leg cannot be read, or nothing is fired that hot.

    Examples
    --------
    The maker's chart has cone 6 down at 2232 °F after 108 °F/h:

    >>> import firing as fi
    >>> answer = fi.cone_at("108F/h to 2232F")
    >>> answer.cones.reached, answer.cooling_counted
    ('6', False)
    >>> answer.next.cone, answer.next.hotter_c > 0.0
    ('7', True)
    """
    sort = parse_kind_of_cone(kind)
    asked, own = parse_legs(legs, unit) if isinstance(legs, str) else (legs, unit or "C")
    check_fired(max((leg.target_c for leg in asked), default=math.nan), own, "peak")
    time_s, temperature_c = course_of(asked)
    verdict = cone_reached(time_s, temperature_c, kind=sort)
    peak = max(range(len(asked)), key=lambda i: (asked[i].target_c, i))
    warnings = list(verdict.warnings_in(own))
    cools = any(later.target_c < before.target_c for before, later in pairwise(asked))
    return ConeAt(
        legs=asked,
        start_c=ROOM_C,
        peak_c=asked[peak].target_c,
        duration_s=float(time_s[-1]),
        unit=own,
        cones=verdict,
        next=_next(verdict, asked, peak, sort),
        worth=_worth(verdict, asked, peak, sort),
        cooling_counted=cools,
        warnings=tuple(warnings),
    )


def _more(legs: tuple[Leg, ...], peak: int, hotter_c: float, longer_s: float) -> tuple[Leg, ...]:
    """Return the legs with a hotter peak, the legs up there with it, and a longer hold there."""
    top_c = legs[peak].target_c
    return tuple(
        Leg(
            leg.rate_c_per_h,
            leg.target_c + (hotter_c if leg.target_c == top_c else 0.0),
            leg.hold_s + (longer_s if place == peak else 0.0),
        )
        for place, leg in enumerate(legs)
    )


def _heat(cone: str, legs: tuple[Leg, ...], kind: KindOfCone) -> tuple[float, float]:
    """Return a cone's heat-work of legs, and what its law is moved by [K]."""
    time_s, temperature_c = course_of(legs)
    rate = approach_rates_c_per_h(time_s, temperature_c)[cone]
    beside = type_shift(cone, kind, USUAL_RATE_C_PER_H if rate is None else rate)
    shift_c = cone_law(cone).shift_c(rate) - beside.hotter_c
    return heatwork(time_s, temperature_c, (cone,), shift_c)[cone], shift_c


def _next(
    verdict: ConeVerdict, legs: tuple[Leg, ...], peak: int, kind: KindOfCone
) -> NextCone | None:
    made = list(verdict.by_cone)
    place = -1 if verdict.reached is None else made.index(verdict.reached)
    if place + 1 == len(made):
        return None
    cone = made[place + 1]
    law = cone_law(cone)
    x, shift_c = _heat(cone, legs, kind)
    hold_s: float | None = max(DOWN - x, 0.0) / law.per_second(legs[peak].target_c + shift_c)
    if hold_s is not None and hold_s > LONGEST_HOLD_S:
        hold_s = None
    low_c, high_c = 0.0, _NEXT_WITHIN_K
    if _heat(cone, _more(legs, peak, high_c, 0.0), kind)[0] < DOWN:
        return NextCone(cone, hold_s, None)
    for _ in range(30):
        middle_c = 0.5 * (low_c + high_c)
        if _heat(cone, _more(legs, peak, middle_c, 0.0), kind)[0] < DOWN:
            low_c = middle_c
        else:
            high_c = middle_c
    return NextCone(cone, hold_s, high_c)


def _worth(verdict: ConeVerdict, legs: tuple[Leg, ...], peak: int, kind: KindOfCone) -> Worth:
    if verdict.reached is None or verdict.reached_number is None:
        return Worth(None, None, None)

    def number(hotter_c: float, longer_s: float) -> float:
        course = course_of(_more(legs, peak, hotter_c, longer_s))
        found = cone_reached(*course, kind=kind).reached_number
        assert found is not None
        return found

    here = verdict.reached_number
    law = cone_law(verdict.reached)
    x, shift_c = _heat(law.cone, legs, kind)
    hotter, _ = _heat(law.cone, _more(legs, peak, 1.0, 0.0), kind)
    return Worth(
        degree_cones=number(1.0, 0.0) - here,
        minute_cones=number(0.0, SECONDS_PER_MINUTE) - here,
        degree_s=(hotter - x) / law.per_second(legs[peak].target_c + shift_c),
    )
