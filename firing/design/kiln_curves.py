"""What the kiln allows: its rise at full power, its own cooling, and how hot it goes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from firing.design.cooling_search import OwnCooling
from firing.design.rate_limits import everywhere
from firing.errors import FiringError
from firing.heat import default_kiln
from firing.heat.default_kiln import TRIAL, UsualKiln
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.units import ROOM_C
from firing.ware.face import with_natural_cooling
from firing.ware.limits import HIGHEST_C, RateCap

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.kiln.simulation import Simulation
    from firing.ware.load import Load

KILN = "kiln"
"""The reason a cap of the kiln's power goes by."""
# How long the cooling that a design plans on may take, shortest and longest, over the model's.  The
# leak of a kiln that is only described is known to be 0.2 to 0.4 of what the walls conduct (source:
# leak-default), so all that leaves is 0.92 to 1.08 of the middle.
_COOLS_DESCRIBED, _COOLS_FITTED = (0.93, 1.08), (0.97, 1.03)
COOLING_RANGE_C = 10.0
"""A pace of cooling is that over the 20 °C around a temperature."""
# Below the room a kiln does not cool; near it the pace is next to nothing.
_NEAREST_ROOM_K = 2.0
_CURVE_STEP_C = 10.0
_TRIAL_C_PER_H = 100.0
_LOWER_K = 40.0
LEAST_TRIAL_C = 150.0
"""A trial of the cooling begins at least this hot, however cool the program stays [°C]."""
_SLOWEST_C_PER_H = 1.0
HIGHEST_BY_DEFAULT_C = 1400.0
ROOM_FOR_CONTROL_C = 5.0
"""Kept between a peak and the highest temperature that full power can hold [°C]."""


_LOWER = "choose a lower cone"


@dataclass(frozen=True, slots=True)
class KilnCurves:
    """A kiln as a designer needs it.

    How fast it rises at full power, how it cools by itself, the highest temperature to plan for
    and, in words, what sets that.  `waited_for` says that a ramp may ask for more than the kiln
    can do: it takes as long as the kiln does.  `highest_advice` is what helps where it is too low.
    """

    heating: RateCap
    cooling: OwnCooling
    highest_c: float
    highest_words: str
    highest_advice: str = _LOWER
    waited_for: bool = False


def default_curves(
    room_c: float = ROOM_C, reserve: float = 0.0, usual: UsualKiln = TRIAL
) -> KilnCurves:
    """Return the default kiln's curves, for when no kiln is given.

    Cold, where nothing is lost yet, all its power heats: elements weaker by a share of it are
    slower by as much of that rate everywhere.
    """
    hot_c = np.array([ROOM_C, 200.0, 600.0, 1000.0, 1200.0, HIGHEST_C])
    fastest = default_kiln.full_power_rate_c_per_h(hot_c)
    rates = np.maximum(fastest - reserve * fastest[0], _SLOWEST_C_PER_H)
    cool_c = np.arange(room_c + _NEAREST_ROOM_K, HIGHEST_C + _CURVE_STEP_C, _CURVE_STEP_C)
    factor, (low, high) = usual.cooling_factor, usual.cooling_range
    return KilnCurves(
        everywhere(
            KILN,
            f"the default kiln {_power_words(reserve)} rises no faster",
            default_kiln.HEATING_SOURCE,
            hot_c,
            rates,
        ),
        OwnCooling(
            cool_c,
            default_kiln.cooling_rate_c_per_h(cool_c, room_c=room_c, factor=factor),
            quick=high / factor,
            slow=low / factor,
            basis="the default cooling curve",
            source=usual.source,
        ),
        HIGHEST_BY_DEFAULT_C,
        "the end of the default heating curve",
    )


def _trial(top_c: float, room_c: float) -> Schedule:
    return Schedule("trial", (Segment(top_c, _TRIAL_C_PER_H),), start_c=room_c)


def _power_words(reserve: float) -> str:
    return "at full power" if reserve == 0.0 else f"with elements {100.0 * reserve:.0f} % weaker"


def curves_of(
    kiln: KilnDescription,
    load: Load,
    wanted_c: float,
    room_c: float = ROOM_C,
    *,
    reserve: float = 0.0,
    waits: bool = False,
) -> KilnCurves:
    """Return a kiln's curves with its load, from two runs of the kiln model.

    The trial of the cooling begins at the peak wanted; lower if the kiln ends lower, and at
    `LEAST_TRIAL_C` for a program that only dries.  With a reserve the kiln heats with elements
    weaker by that share; without one, a clock that waits may ask for more than the kiln can do.
    """
    from firing.kiln.simulation import fastest_rates, highest_hold, simulate

    weaker = replace(kiln, fitted=replace(kiln.fitted, power=kiln.fitted.power * (1.0 - reserve)))
    power_c = highest_hold(weaker, room_c=room_c).temperature_c - ROOM_FOR_CONTROL_C
    highest_c = min(power_c, kiln.max_c)
    words, advice = "what the kiln file allows", _LOWER
    if power_c < kiln.max_c:
        words = f"what the {0.001 * kiln.available_w:.2g} kW of the kiln can hold"
        advice = (
            "it has no power for more: plan a lower cone, and have power and volts measured under "
            "load by a competent person"
        )
    rates = np.array(fastest_rates(weaker, load, room_c=room_c, every_c=25.0))
    if len(rates) < 2:
        raise FiringError(
            f'"{kiln.name}" at full power, {0.001 * kiln.power_w:g} kW, heats the load of '
            f"{load.ware_kg:.0f} kg to no more than {highest_c:.0f} °C; check power_kw and "
            "leak_w_per_k in the kiln file, and the masses in the load file"
        )
    knots_c, fastest = rates[:, 0], rates[:, 1]
    # The last 10 °C of a run at full power have no rate of their own: the fall before goes on.
    slope = (fastest[-1] - fastest[-2]) / (knots_c[-1] - knots_c[-2])
    end_c = max(highest_c, knots_c[-1] + 1.0)
    last = max(float(fastest[-1] + min(slope, 0.0) * (end_c - knots_c[-1])), 1.0)
    # From a few degrees above where the kiln is opened there is no cooling to look at.
    trial_c = min(max(wanted_c, LEAST_TRIAL_C), highest_c)
    run = simulate(kiln, load, _trial(trial_c, room_c), room_c=room_c)
    while not run.reaches_peak and trial_c > LEAST_TRIAL_C:
        # A weak kiln stalls before its last degrees at the pace of the trial.
        trial_c = max(trial_c - _LOWER_K, LEAST_TRIAL_C)
        run = simulate(kiln, load, _trial(trial_c, room_c), room_c=room_c)
    low, high = _COOLS_DESCRIBED if kiln.fitted.learnt is None else _COOLS_FITTED
    return KilnCurves(
        everywhere(
            KILN,
            f'"{kiln.name}" with its load {_power_words(reserve)} rises no faster',
            "kiln-model-choices",
            np.append(knots_c, end_c),
            np.append(fastest, last),
        ),
        cooling_of(run, quick=1.0 / low, slow=1.0 / high, name=kiln.name),
        highest_c,
        words,
        advice,
        waited_for=waits and reserve == 0.0,
    )


def cooling_of(run: Simulation, *, quick: float, slow: float, name: str) -> OwnCooling:
    """Return how the ware of a simulated firing cools once its program has ended."""
    after = run.time_s >= run.program_s
    time_s, ware_c = run.time_s[after], run.ware_c[after]
    first = int(np.argmax(ware_c))
    time_s, ware_c = time_s[first:], np.minimum.accumulate(ware_c[first:])
    falling = np.concatenate(([True], np.diff(ware_c) < -1e-9))
    time_s, ware_c = time_s[falling][::-1], ware_c[falling][::-1]
    low_c, high_c = float(ware_c[0]), float(ware_c[-1])
    at_c = np.arange(low_c + COOLING_RANGE_C, high_c - COOLING_RANGE_C, _CURVE_STEP_C)
    spans_s = np.interp(at_c - COOLING_RANGE_C, ware_c, time_s) - np.interp(
        at_c + COOLING_RANGE_C, ware_c, time_s
    )
    pace = 2.0 * COOLING_RANGE_C / spans_s * 3600.0
    return OwnCooling(
        at_c,
        pace,
        quick=quick,
        slow=slow,
        basis=f'the cooling of "{name}" with its load by the kiln model',
        source="kiln-model-choices",
    )


def course_of(schedule: Schedule, curves: KilnCurves) -> tuple[FloatArray, FloatArray]:
    """Return a program's course down to 60 °C [s, °C]: its own rates, never beyond the kiln's."""
    times, temperatures = [0.0], [schedule.start_c]
    whole = with_natural_cooling(schedule)
    for index, segment in enumerate(whole.segments):
        from_c = whole.from_c(index)
        count = max(2, int(abs(segment.target_c - from_c) / 10.0) + 2)
        grid = np.linspace(from_c, segment.target_c, count)
        middle = 0.5 * (grid[1:] + grid[:-1])
        own = curves.heating.at(middle)
        if segment.target_c < from_c:
            own = np.maximum(curves.cooling.at(middle), 0.5)
            if segment.target_c < schedule.room_c + 2.0:
                own = np.full_like(own, default_kiln.COOLING_FACTOR)
        if segment.rate_c_per_h is None:
            pace = own
        elif segment.target_c < from_c:
            pace = np.minimum(own, segment.rate_c_per_h)
        else:
            pace = np.full_like(middle, segment.rate_c_per_h)
        steps = np.abs(np.diff(grid)) / pace * 3600.0
        times.extend((times[-1] + np.cumsum(steps)).tolist())
        temperatures.extend(grid[1:].tolist())
        if segment.hold_s:
            times.append(times[-1] + segment.hold_s)
            temperatures.append(segment.target_c)
    return np.array(times), np.array(temperatures)
