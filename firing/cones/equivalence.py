"""Which cone a firing reached, how long to hold, how hot to go.

For a trace the law of each cone is moved by the cone's own residual at the rate of approach, the
mean over its last 100 °C, so that a ramp of the chart brings the cone down exactly at the printed
figure.  Self-supporting regular cones are meant unless another type is asked for.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from firing.cones.cone_types import KindOfCone, made_as, parse_kind_of_cone, type_shift
from firing.cones.heatwork import DOWN, heatworks, readings, times_down_s
from firing.cones.kinetics import USUAL_RATE_C_PER_H, ConeLaw, cone_law, end_point_c, laws
from firing.cones.occupation import Occupation, occupy
from firing.cones.table import CONES, cone_number, describe_number, describe_range
from firing.cones.uncertainty import (
    CHART_RATES_C_PER_H,
    ENERGY_ERRORS,
    FURTHEST_BELOW_K,
    Budget,
    beyond_chart_c,
    budget,
    rate_warnings,
    too_far_below,
)
from firing.errors import FiringError
from firing.serialise import OMITTED, Serialised, json_fields, named, rounded
from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C, SECONDS_PER_HOUR, TemperatureUnit, rate_from_celsius
from firing.viewable import Tabular

#: The approach is timed between these distances below the reference [K]: 100 °C apart, and clear of
#: the turn at the top.
_APPROACH_K = (102.0, 2.0)
_SHORTEST_APPROACH_K = 20.0

#: A cone with this much heat-work went down long ago: no budget moves it back up (a degree is worth
#: a tenth at most), and when it went down is told from a thinned trace.
_LONG_DOWN = 20.0

#: A cone with less heat-work than this stands far off: what E leaves open does not bring it down.
_FAR_OFF = 0.05
#: How far a trace is moved to look at a cone just as it goes down [K].
_FURTHEST_MOVED_K = 30.0
_THINNED = 4096

#: Heat-work may go down slightly out of order when a hold is very long.  Each cone then waits until
#: its colder neighbour is ahead by this much in ln x, 0.2 °C or less, so the running number never
#: jumps.
_LEAD = 0.005


@dataclass(frozen=True)
class ConeProgress(Serialised):
    """How far one cone has come.

    Attributes
    ----------
    cone : str
        The cone in its printed spelling.
    heatwork : float
        x [1]; down from 1.
    approach_rate_c_per_h : float or None
        Mean rate over its last 100 °C [°C/h]; None where the trace does not show it.
    reached_s : float or None
        When x became 1, on the trace's clock [s]; None while it is below.
    budget_c : float
        How far its end point may be off, ± [°C].
    """

    cone: str = field(metadata=OMITTED)
    heatwork: float
    approach_rate_c_per_h: float | None = field(metadata=rounded(2))
    reached_s: float | None = field(metadata=rounded(1))
    budget_c: float = field(default=0.0, metadata=rounded(2))


@dataclass(frozen=True)
class ConeVerdict(Tabular):
    """The cone a firing reached, with its range.

    Attributes
    ----------
    reached : str or None
        The hottest cone that is down together with every colder one; None below cone 022.
    reached_number : float or None
        Its running number and the way to the next cone, from ln x between the two; None below cone
        022, the last cone's number from there on.
    low, high : float or None
        The running number if every temperature is lower, or higher, by the budget.
    budget : Budget
        That of the cone reached, or of the first if none is.
    by_cone : dict of str to ConeProgress
        Every cone made in that type, from the coldest to the hottest.
    kind : str
        The type of cone: self-supporting unless another was asked for.
    peak_c : float
        The highest temperature of the course [°C].
    notes, warnings : tuple of str
        One sentence each, in °C; see `notes_in` and `warnings_in`.
    """

    reached: str | None
    reached_number: float | None = field(metadata=rounded(3))
    low: float | None = field(metadata=rounded(3))
    high: float | None = field(metadata=rounded(3))
    budget: Budget = field(metadata=named("budget_parts_c"))
    by_cone: dict[str, ConeProgress]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    kind: KindOfCone = field(default="self-supporting", metadata=named("cone_type"))
    peak_c: float = field(default=math.nan, metadata=OMITTED)

    json_keys = (
        "reached", "reached_number", "low", "high", "budget_c", "budget", "by_cone", "notes",
        "warnings", "kind",
    )  # fmt: skip

    def __repr__(self) -> str:
        """Return the cone with its range, on one line."""
        return f"<ConeVerdict {self.words}>"

    @property
    def reached_as_printed(self) -> str | None:
        """The cone reached as `reached_number` is printed: the next one, a hair short of it."""
        if self.reached_number is None:
            return self.reached
        printed = describe_number(self.reached_number)
        return printed if printed in self.by_cone else self.reached

    @property
    def words(self) -> str:
        """The cone with its range: ``cone 5.8 (5.3 to 6.2)``."""
        if self.reached_number is None:
            return f"less than cone {next(iter(self.by_cone), CONES[0])}, the coldest one made"
        number = describe_number(self.reached_number)
        span = describe_range(self.low, self.reached_number if self.high is None else self.high)
        # Between two cones of the zero series the number has named both already.
        known = span.removeprefix("between ").replace(" and ", "–")
        return f"cone {number}" if number.startswith(known) else f"cone {number} ({span})"

    @property
    def budget_c(self) -> float:
        """Total of the budget, ± [°C]."""
        return self.budget.total_c

    def notes_in(self, unit: TemperatureUnit) -> tuple[str, ...]:
        """Return the notes with their figures in a unit."""
        return self.notes if unit == "C" else _notes(self.budget, self.kind, unit)

    def warnings_in(self, unit: TemperatureUnit) -> tuple[str, ...]:
        """Return the warnings with their figures in a unit."""
        if unit == "C":
            return self.warnings
        return tuple(_warnings(self.reached, self.by_cone, self.kind, self.peak_c, unit))

    def to_dict(self) -> dict[str, object]:
        """Return the verdict keyed for JSON; its ``reached`` is `reached_as_printed`."""
        printed = {"reached": self.reached_as_printed, "budget_c": round(self.budget_c, 2)}
        return json_fields(self) | printed


def approach_rates_c_per_h(
    time_s: FloatArray, temperature_c: FloatArray, cones: Sequence[str] = CONES
) -> dict[str, float | None]:
    """Return the mean rate over the last 100 °C before each cone's end point.

    The end point is that at 60 °C/h, or the peak where the trace stays below it.  The rate is taken
    between the first crossings of 102 and 2 °C below, which noise moves alike.  The trace has no
    gaps; None where it begins less than 20 °C below.
    """
    risen_c = np.maximum.accumulate(temperature_c)
    peak_c, begin_c = float(risen_c[-1]), float(risen_c[0])
    rates: dict[str, float | None] = {}
    for cone in cones:
        reference_c = min(_usual_end_point_c(cone), peak_c)
        low_c = max(reference_c - _APPROACH_K[0], begin_c)
        high_c = reference_c - _APPROACH_K[1]
        if high_c - low_c < _SHORTEST_APPROACH_K:
            rates[cone] = None
            continue
        taken_s = _first_at_s(time_s, risen_c, high_c) - _first_at_s(time_s, risen_c, low_c)
        rates[cone] = (high_c - low_c) / taken_s * SECONDS_PER_HOUR
    return rates


@cache
def _usual_end_point_c(cone: str) -> float:
    return end_point_c(cone, USUAL_RATE_C_PER_H)


def law_shift_c(cone: str, time_s: FloatArray, temperature_c: FloatArray) -> float:
    """Return what a cone's law is moved by for a trace without gaps [K]."""
    law = cone_law(cone)
    return law.shift_c(approach_rates_c_per_h(time_s, temperature_c, [law.cone])[law.cone])


def moves_to_shares(
    cone: str,
    time_s: FloatArray,
    temperature_c: FloatArray,
    shares: Sequence[float],
    furthest_c: float,
) -> tuple[float, list[float | None]]:
    """Return a cone's heat-work, and the degrees to add to the readings for each share of it [K].

    None for a share that needs more than `furthest_c` either way.
    """
    law = cone_law(cone)
    time_s, temperature_c = readings(time_s, temperature_c)
    occupation = occupy(time_s, temperature_c, [law], furthest_c + 50.0)

    def move(share: float) -> float | None:
        moved_c = 0.0
        for _ in range(2):
            # The rate of approach, by which the law is moved, changes little with the readings.
            own_c = law_shift_c(law.cone, time_s, temperature_c + moved_c)
            low_c, high_c = -furthest_c, furthest_c
            if not (
                occupation.heatwork(law, own_c + low_c)
                < share
                <= occupation.heatwork(law, own_c + high_c)
            ):
                return None
            for _ in range(40):
                middle_c = 0.5 * (low_c + high_c)
                if occupation.heatwork(law, own_c + middle_c) < share:
                    low_c = middle_c
                else:
                    high_c = middle_c
            moved_c = high_c
        return moved_c

    computed = occupation.heatwork(law, law_shift_c(law.cone, time_s, temperature_c))
    return computed, [move(share) for share in shares]


def _first_at_s(time_s: FloatArray, risen_c: FloatArray, level_c: float) -> float:
    index = int(np.searchsorted(risen_c, level_c))
    if index == 0:
        return float(time_s[0])
    before, after = float(risen_c[index - 1]), float(risen_c[index])
    share = (level_c - before) / (after - before)
    return float(time_s[index - 1] + share * (time_s[index] - time_s[index - 1]))


def cone_reached(
    time_s: FloatArray,
    temperature_c: FloatArray,
    thermocouple_c: float | None = None,
    *,
    at_least: bool = False,
    offset_c: float = 0.0,
    kind: str = "self-supporting",
) -> ConeVerdict:
    """Return which cone a firing reached, with the range its budget leaves open.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times [s], increasing.
    temperature_c : ndarray, shape (n,)
        Temperatures [°C]; NaN where there is no reading.
    thermocouple_c : float, optional
        Tolerance of the thermocouple near the peak, ± [°C], where its class is known.
    at_least : bool
        Whether that tolerance is only the least to reckon with, as its class ends below the peak.
    offset_c : float
        By how much witness cones have shown the thermocouple to read too low [°C]; it is in the
        temperatures already, and the notes begin with it.
    kind : str
        The type of cone: self-supporting, large, small, bar, iron-free or iron-free large.

    Returns
    -------
    ConeVerdict
        Source ``cone-model``, tied to ``cone-chart-1996``.

    Raises
    ------
    FiringError
        As :func:`firing.cones.heatwork.heatwork`, or if the tolerance is absurd.

    Examples
    --------
    The maker's chart has cone 6 down at 1222 °C, heated at 60 °C/h:

    >>> import firing as fi
    >>> import numpy as np
    >>> found = fi.cone_reached(np.array([0.0, 1202.0 * 60.0]), np.array([20.0, 1222.0]))
    >>> found.reached
    '6'
    >>> found.low < found.reached_number < found.high
    True
    """
    sort = parse_kind_of_cone(kind)
    if not math.isfinite(offset_c):
        raise FiringError(f"offset_c = {offset_c} is no offset of a thermocouple; write one like 8")
    time_s, temperature_c = readings(time_s, temperature_c)
    made = CONES if sort == "self-supporting" else made_as(sort)
    every = {cone: laws()[cone] for cone in made}
    rates = approach_rates_c_per_h(time_s, temperature_c)
    shifts, open_c = {}, {}
    for cone, law in every.items():
        rate = rates[cone] or USUAL_RATE_C_PER_H
        beside = type_shift(cone, sort, rate)
        shifts[cone] = law.shift_c(rates[cone]) - beside.hotter_c
        open_c[cone] = beyond_chart_c(law, rate) if sort == "self-supporting" else beside.open_c
    budgets = {cone: budget(law, thermocouple_c) for cone, law in every.items()}
    widest_c = _FURTHEST_MOVED_K + max(
        budgets[cone].total_c + abs(shifts[cone]) + open_c[cone] for cone in every
    )
    occupation = occupy(time_s, temperature_c, list(every.values()), widest_c)

    def moved(by_c: dict[str, float]) -> dict[str, float]:
        """Return the heat-work at shifts; that of cones long down, which stay so, as it was."""
        near = [cone for cone in every if x.get(cone, 0.0) <= _LONG_DOWN]
        found = heatworks(occupation, [(every[c], by_c[c]) for c in near], time_s, temperature_c)
        return x | dict(zip(near, found, strict=True))

    x: dict[str, float] = {}
    x = moved(shifts)
    for cone, law in every.items():
        held_c = 0.0
        if _FAR_OFF < x[cone] <= _LONG_DOWN:
            held_c = _energy_part_c(occupation, law, rates[cone], shifts[cone], x[cone])
        budgets[cone] = budget(
            law,
            thermocouple_c,
            energy_c=math.hypot(held_c, open_c[cone]),
            at_least=at_least,
            offset_c=offset_c,
        )
    spread = {cone: part.total_c for cone, part in budgets.items()}
    reached, number = _running(x)
    _, low = _running(moved({c: s - spread[c] for c, s in shifts.items()}))
    _, high = _running(moved({c: s + spread[c] for c, s in shifts.items()}))
    thin = slice(None, None, max(1, time_s.size // _THINNED))
    thin_s = np.append(time_s[thin], time_s[-1]) if time_s[thin][-1] != time_s[-1] else time_s[thin]
    thin_c = np.interp(thin_s, time_s, temperature_c)
    down_s: dict[str, float] = {}
    for then_s, then_c, cones in (
        (time_s, temperature_c, [c for c in every if DOWN <= x[c] <= _LONG_DOWN]),
        (thin_s, thin_c, [c for c in every if x[c] > _LONG_DOWN]),
    ):
        found_s = times_down_s([(every[c], shifts[c]) for c in cones], then_s, then_c)
        for cone, at_s in zip(cones, found_s, strict=True):
            down_s[cone] = float(time_s[-1]) if at_s is None else at_s
    by_cone = {
        cone: ConeProgress(
            cone=cone,
            heatwork=x[cone],
            approach_rate_c_per_h=rates[cone],
            reached_s=down_s.get(cone),
            budget_c=spread[cone],
        )
        for cone in every
    }
    nearest = budgets[reached or made[0]]
    peak_c = float(np.max(temperature_c))
    return ConeVerdict(
        reached=reached,
        reached_number=number,
        low=low,
        high=high,
        budget=nearest,
        by_cone=by_cone,
        notes=_notes(nearest, sort),
        warnings=tuple(_warnings(reached, by_cone, sort, peak_c)),
        kind=sort,
        peak_c=peak_c,
    )


def _energy_part_c(
    occupation: Occupation, law: ConeLaw, rate_c_per_h: float | None, shift_c: float, x: float
) -> float:
    """Return what E leaves open of a cone that just goes down, ± [°C]: nothing on a ramp.

    The trace is first moved to where the cone is down, as the law is known there best; what is then
    left comes from holds below the end point, and from cooling.
    """
    rate = USUAL_RATE_C_PER_H if rate_c_per_h is None else rate_c_per_h
    c_per_ln = (occupation.peak_c + shift_c + KELVIN_AT_0_C) ** 2 / law.activation_k
    there_c = shift_c + min(-math.log(x) * c_per_ln, _FURTHEST_MOVED_K)
    other, pinned_c = law.steeper(rate, ENERGY_ERRORS * law.ln_energy_se)
    heats = occupation.heatwork(law, there_c), occupation.heatwork(other, there_c + pinned_c)
    return abs(math.log(heats[1] / heats[0])) * c_per_ln


def _running(x: dict[str, float]) -> tuple[str | None, float | None]:
    """Return the cone reached and the running number from heat-work by cone."""
    reached: str | None = None
    ahead = math.inf
    for cone in x:
        ln_x = math.log(x[cone] / DOWN) if x[cone] > 0.0 else -math.inf
        here = min(ln_x, ahead - _LEAD)
        if here < 0.0:
            if reached is None:
                return None, None
            share = 0.0 if math.isinf(here) else ahead / (ahead - here)
            step = cone_number(cone) - cone_number(reached)
            return reached, cone_number(reached) + step * share
        reached, ahead = cone, here
    return reached, None if reached is None else cone_number(reached)


def _notes(
    part: Budget, kind: KindOfCone = "self-supporting", unit: TemperatureUnit = "C"
) -> tuple[str, ...]:
    def size(value_c: float) -> str:
        return f"±{rate_from_celsius(value_c, unit):.1f} °{unit}".replace(".0 ", " ")

    known = (
        "the thermocouple's error is not in it"
        if part.thermocouple_c is None
        else f"the thermocouple {'at least ' if part.thermocouple_at_least else ''}"
        f"{size(part.thermocouple_c)}"
    )
    law = (
        "Self-supporting regular cones, by a law fitted to the maker's chart revised in 1996."
        if kind == "self-supporting"
        else f"{kind[:1].upper()}{kind[1:]} cones, by their printed end points and the law fitted "
        "to self-supporting ones, chart revised in 1996."
    )
    spans = (
        f"The range spans {size(part.total_c)}: the cone {size(part.cone_c)}, the law "
        f"{size(part.law_c)}, {known}"
    )
    if not part.offset_c:
        own = "the kiln's own offset is unknown until witness cones have shown it."
        return law, f"{spans}; {own}"
    way = "low" if part.offset_c > 0 else "high"
    offset = f"{rate_from_celsius(abs(part.offset_c), unit):.1f} °{unit}".replace(".0 ", " ")
    return (
        f"Witness cones have shown the thermocouple to read {offset} too {way}; that is counted.",
        law,
        f"{spans}.",
    )


def _warnings(
    reached: str | None,
    by_cone: dict[str, ConeProgress],
    kind: KindOfCone,
    peak_c: float,
    unit: TemperatureUnit = "C",
) -> list[str]:
    made = list(by_cone)
    if reached is None:
        return [f"No cone is down: the firing stayed below cone {made[0]}, the coldest one made."]
    found = []
    if reached == made[-1]:
        found.append(
            f"Cone {reached} is the hottest one in the chart; how far the firing went beyond it "
            "is not known."
        )
    rate_c_per_h, law = by_cone[reached].approach_rate_c_per_h, laws()[reached]
    rate = USUAL_RATE_C_PER_H if rate_c_per_h is None else rate_c_per_h
    beside = type_shift(reached, kind, rate, unit)
    below_c = law.end_point_c(rate) + law.residual_c(rate) + beside.hotter_c - peak_c
    if below_c > FURTHEST_BELOW_K:
        found.append(too_far_below(reached, below_c, unit))
    if rate_c_per_h is None:
        low, high, assumed = (
            rate_from_celsius(rate, unit) for rate in (*CHART_RATES_C_PER_H, USUAL_RATE_C_PER_H)
        )
        found.append(
            f"The trace does not show the rise towards cone {law.cone}, so a heating rate of "
            f"{assumed:.0f} °{unit}/h is assumed; the chart covers {low:.0f} to "
            f"{high:.0f} °{unit}/h."
        )
        return found
    if kind != "self-supporting":
        return [*found, *beside.warnings]
    return found + rate_warnings(law, rate_c_per_h, unit)
