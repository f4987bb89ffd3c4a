"""How far a forecast in a kiln may be off: the range that four firings of five end in.

Whatever is not known sharply is moved a little to either side, one thing after the other, and the
firing is simulated again: the multipliers as the fit's errors, all together, allow; the losses of
temperatures no log has been to; the mass of a load nobody weighed.  What moves an outcome the same
way adds up as squares, each side for itself, since a firing that its program holds back cannot come
in much earlier, but later it can.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from firing.errors import FiringError
from firing.kiln.description import Fitted, KilnDescription
from firing.kiln.simulation import Simulation

DEVIATIONS = 1.2816
"""Standard deviations to either side of the middle that hold 80 % of a normal distribution."""

# Of a kiln that is only described, and of one whose fit kept no errors; source: forecast-ranges.
DESCRIBED = {"power": 0.05, "loss": 0.20, "capacity": 0.12, "leak": 0.60}
FITTED = {"power": 0.03, "loss": 0.05, "capacity": 0.03, "leak": 0.20}
HOTTER = 0.01
"""Of all losses, for every 100 °C beyond what the logs have seen; likewise."""
FASTER = 0.01
"""Of the capacity, for a program twice as fast as any of the logs; likewise."""
UNWEIGHED = 0.15
"""Of the capacity, where a typical load is assumed; likewise."""
WEIGHED = 0.01
"""Of the capacity, where a load is given; likewise."""
HEATING_SCATTER, COOLING_SCATTER, ENERGY_SCATTER = 0.0008, 0.038, 0.006
"""The model's own, of heating time, natural cooling and energy; likewise."""
LANDING_S = 80.0
"""A thermocouple lags, and a controller that waits for it ends a heating later, never sooner, than
its program says; likewise [s]."""
COOLING_KNOWN = (1.0 - DEVIATIONS * COOLING_SCATTER, 1.0 + DEVIATIONS * COOLING_SCATTER)
"""Shortest and longest natural cooling, as multiples of the middle, where all losses are known."""
LEAST_SHARE = 0.1
"""No multiplier is moved to less than this share of itself."""


class Unwanted(Exception):  # no error: nobody waits for the ranges any more
    """Ends the search for ranges between two simulations."""


class Outcome(NamedTuple):
    """What is foretold of a firing: times [s] and energy [kWh]; of a kiln that gives up, so far."""

    heating_s: float
    cooling_s: float
    total_s: float
    energy_kwh: float


class Range(NamedTuple):
    """The ends of an 80 % range."""

    low: float
    high: float

    def times(self, factor: float) -> Range:
        """Return the range of a multiple."""
        return Range(factor * self.low, factor * self.high)


@dataclass(frozen=True, slots=True)
class Ranges:
    """80 % ranges of a forecast: times [s], energy [kWh], and natural cooling over the middle's.

    `may_stall` tells that somewhere inside, but not in the middle, the kiln gives up on its way.
    """

    heating_s: Range
    total_s: Range
    energy_kwh: Range
    cooling: Range
    may_stall: bool


def outcome_of(run: Simulation) -> Outcome:
    """Return what a simulation foretells."""
    peak = run.schedule.peak_index
    segments = run.segments
    heating_s = segments[peak].end_s if peak < len(segments) else run.program_s
    return Outcome(heating_s, run.total_s - run.program_s, run.total_s, run.energy_kwh)


def _left_alone_s(run: Simulation) -> float:
    """Return how long a program lets the kiln cool by itself [s]."""
    segments = zip(run.segments, run.schedule.segments, strict=False)  # fewer, where it stalls
    return sum(
        part.ramp_end_s - part.start_s
        for index, (part, segment) in enumerate(segments)
        if segment.rate_c_per_h is None and segment.target_c < run.schedule.from_c(index)
    )


def ranges_of(
    kiln: KilnDescription,
    run: Simulation,
    *,
    weighed: bool,
    again: Callable[[KilnDescription], Simulation],
) -> Ranges:
    """Return the ranges about a simulated firing.

    `weighed` tells that the load was given; `again` simulates the firing in another kiln.
    """
    middle = outcome_of(run)
    below, above = [0.0] * len(middle), [0.0] * len(middle)
    may_stall = False
    for column in _columns(kiln, run, weighed=weighed):
        found = [_moved(kiln, column, side, again) for side in (-1.0, 1.0)]
        stalled = [one for one in found if one is not None and one.stall is not None]
        may_stall = may_stall or (run.stall is None and bool(stalled))
        moved = [_beside(middle, one) for one in found if one is not None]
        for i, value in enumerate(middle):
            shifts = [0.0, *(one[i] - value for one in moved)]
            below[i] = math.hypot(below[i], min(shifts))
            above[i] = math.hypot(above[i], max(shifts))
    own = Outcome(
        HEATING_SCATTER * middle.heating_s,
        COOLING_SCATTER * middle.cooling_s,
        math.hypot(
            HEATING_SCATTER * run.program_s,
            COOLING_SCATTER * (middle.cooling_s + _left_alone_s(run)),
        ),
        ENERGY_SCATTER * middle.energy_kwh,
    )
    late = Outcome(LANDING_S, 0.0, LANDING_S, 0.0)
    heating, cooling, total, energy = (
        Range(
            value - math.hypot(low, DEVIATIONS * scatter),
            value + math.hypot(high, DEVIATIONS * scatter, DEVIATIONS * later),
        )
        for value, low, high, scatter, later in zip(middle, below, above, own, late, strict=True)
    )
    return Ranges(heating, total, energy, cooling.times(1.0 / (middle.cooling_s or 1.0)), may_stall)


def _beside(middle: Outcome, run: Simulation) -> Outcome:
    """Return what a moved firing foretells beside the middle's.

    One that gives up on its way never cools: its last moment is no early opening.  It only tells
    that heating, and all that follows, may come later.
    """
    found = outcome_of(run)
    if run.stall is None:
        return found
    later_s = max(found.heating_s - middle.heating_s, 0.0)
    return Outcome(
        middle.heating_s + later_s,
        middle.cooling_s,
        middle.total_s + later_s,
        max(found.energy_kwh, middle.energy_kwh),
    )


def _moved(
    kiln: KilnDescription,
    column: Fitted,
    side: float,
    again: Callable[[KilnDescription], Simulation],
) -> Simulation | None:
    """Simulate with the multipliers moved to one side; None where the model has no answer."""
    now = kiln.fitted

    def moved_by(share: float) -> float:
        # In proportion, not as powers: what walls gain and the leak loses must still cancel.
        return max(1.0 + side * DEVIATIONS * share, LEAST_SHARE)

    moved = replace(
        now,
        power=now.power * moved_by(column.power),
        loss=now.loss * moved_by(column.loss),
        capacity=now.capacity * moved_by(column.capacity),
        leak=now.leak_factor * moved_by(column.leak or 0.0),
    )
    try:
        return again(replace(kiln, fitted=moved))
    except FiringError:
        return None


def _columns(kiln: KilnDescription, run: Simulation, *, weighed: bool) -> Iterator[Fitted]:
    """Return what may be off, as one standard deviation of the multipliers' logarithms each."""

    def column(
        power: float = 0.0, loss: float = 0.0, capacity: float = 0.0, leak: float = 0.0
    ) -> Fitted:
        return Fitted(power=power, loss=loss, capacity=capacity, leak=leak)

    fitted = kiln.fitted
    if fitted.learnt is not None and fitted.errors:
        yield from (column(*entries) for entries in fitted.error_columns())
    else:
        known = DESCRIBED if fitted.learnt is None else FITTED
        yield from (column(**{name: error}) for name, error in known.items())
    yield column(capacity=WEIGHED if weighed else UNWEIGHED)
    if fitted.hottest_c is not None and run.schedule.peak_c > fitted.hottest_c:
        more = HOTTER * (run.schedule.peak_c - fitted.hottest_c) / 100.0
        yield column(loss=more, leak=more)
    fastest = max((s.rate_c_per_h or 0.0) for s in run.schedule.segments)
    if fitted.fastest_c_per_h is not None and fastest > fitted.fastest_c_per_h:
        yield column(capacity=FASTER * (fastest / fitted.fastest_c_per_h - 1.0))
