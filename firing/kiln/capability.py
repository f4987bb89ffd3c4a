"""What a kiln is able to do at full power: how hot it can stay, and how fast it can rise."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from firing.kiln.controller_model import Precision
from firing.kiln.description import KilnDescription
from firing.kiln.nodes import CHAMBER
from firing.kiln.simulation import simulate
from firing.kiln.thermal_network import Network
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.units import ROOM_C, SECONDS_PER_HOUR
from firing.ware.load import Load, typical_load

# Steps shorter than the 20 °C that a rate is taken over.
RATE_PRECISION = Precision(tolerance_c=0.4, longest_step_s=300.0)
RATE_SPAN_C = 10.0  # a rate is that over the 20 °C around a temperature


@dataclass(frozen=True, slots=True)
class Highest:
    """The highest temperature a kiln can hold [°C].

    `by_tables` tells that it may be higher still: the wall material's tables end there.
    """

    temperature_c: float
    by_tables: bool


# Plan after plan is asked of the same kiln, and the answer is a simulation.
@lru_cache(maxsize=64)
def highest_hold(kiln: KilnDescription, *, room_c: float = ROOM_C) -> Highest:
    """Return the temperature at which full power just makes up for the losses.

    What stands in the kiln does not matter.
    """
    cap_c = kiln.wall[0].material.limit_c[1] - 20.0
    network = Network(kiln, typical_load(kiln.volume_l, "bisqued"), room_c=room_c)
    found_c = network.at_rest(cap_c).temperature_c[CHAMBER]
    return Highest(min(found_c, cap_c), found_c > cap_c - 1.0)


@lru_cache(maxsize=64)
def fastest_rates(
    kiln: KilnDescription,
    load: Load | None = None,
    *,
    room_c: float = ROOM_C,
    every_c: float = 50.0,
) -> tuple[tuple[float, float], ...]:
    """Return how fast the kiln rises at full power, temperature by temperature.

    Temperatures [°C] and rates there [°C/h], from 100 °C to a little below what the kiln, or its
    maker, allows; a typical load stands in for none.  The rates are those of one run from cold, the
    lower of the thermocouple's and the ware's: the thermocouple jumps ahead when full power is
    switched on, and ware whose water has left catches up.  A wall already hot allows a little more.
    """
    top_c = min(highest_hold(kiln, room_c=room_c).temperature_c - 5.0, kiln.max_c)
    run = simulate(
        kiln,
        load,
        Schedule("full power", (Segment(top_c, None, "unlimited"),), start_c=room_c),
        room_c=room_c,
        until_c=top_c - 0.5,
        precision=RATE_PRECISION,
    )
    last = int(np.argmax(run.ware_c))
    at_c = np.arange(100.0, run.ware_c[last] - RATE_SPAN_C, every_c)
    rates = np.minimum(
        *(
            _rates_at(at_c, run.time_s[: last + 1], course[: last + 1])
            for course in (run.chamber_c, run.ware_c)
        )
    )
    return tuple((float(t), float(rate)) for t, rate in zip(at_c, rates, strict=True))


def _rates_at(at_c: FloatArray, time_s: FloatArray, course_c: FloatArray) -> FloatArray:
    # A rise may dip for a moment, as where the elements' own warming ends; the highest so far does
    # not, and interpolation needs that.
    highest_c = np.maximum.accumulate(course_c) + 1e-9 * np.arange(course_c.size)
    spans_s = np.interp(at_c + RATE_SPAN_C, highest_c, time_s) - np.interp(
        at_c - RATE_SPAN_C, highest_c, time_s
    )
    rates: FloatArray = 2.0 * RATE_SPAN_C / spans_s * SECONDS_PER_HOUR
    return rates
