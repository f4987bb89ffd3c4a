"""Where a program may end: every final rate with the peak and hold that bring a cone down.

For a given rate the highest peak is the best: one degree more costs 1/R of ramp and saves at least
that of hold, since the hold h = (1 − x)/A(T) falls by 1/R + h·A′/A.  So each rate has one peak: the
highest that is allowed and still leaves the least hold asked for.
"""

import math
from dataclasses import dataclass

import numpy as np

from firing.cones.holds import LONGEST_HOLD_S, hold_after_ramp_s, peak_for_hold_c
from firing.cones.kinetics import cone_law
from firing.cones.table import parse_cone
from firing.cones.uncertainty import CHART_RATES_C_PER_H, FURTHEST_BELOW_K
from firing.controller.controller import Controller
from firing.errors import FiringError
from firing.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, format_duration

HOLD_UNASKED_S = 3 * SECONDS_PER_HOUR
"""The longest hold for a cone where nobody said how long it may be (a choice) [s]."""


@dataclass(frozen=True, slots=True)
class PeakCandidate:
    """An end that a way up may have.

    The rate is that of the last segment, over 100 °C or more; None for any.
    """

    peak_c: float
    hold_s: float = 0.0
    rate_c_per_h: float | None = None


@dataclass(frozen=True, slots=True)
class Bounds:
    """What the person asking allows at the top."""

    peak_at_most_c: float | None = None  # [°C]
    # [s].
    hold_at_least_s: float = 0.0
    hold_at_most_s: float | None = None
    final_at_most_c_per_h: float | None = None  # the rate of the last 100 °C [°C/h]


def peak_candidates_for_cone(
    cone: str,
    bounds: Bounds,
    controller: Controller,
    *,
    start_c: float,
    highest_c: float,
    highest_words: str,
    offset_c: float = 0.0,
    wanted: float = 1.0,
) -> list[PeakCandidate]:
    """Return one candidate for every final rate that can bring the cone down within the bounds.

    `highest_words` says what sets the highest temperature, for the refusal; `offset_c` is what the
    thermocouple reads too low by, and `wanted` the heat-work to have at the end of the hold: 1 less
    what the cooling adds.
    """
    name = parse_cone(cone)
    fastest = min(bounds.final_at_most_c_per_h or CHART_RATES_C_PER_H[1], CHART_RATES_C_PER_H[1])
    rates = controller.rates_c_per_h(CHART_RATES_C_PER_H[0], fastest)
    if not rates:
        raise FiringError(
            f"a final rate of at most {fastest:g} °C/h and cone {name} collide: the chart of cones "
            f"covers {CHART_RATES_C_PER_H[0]:g} to {CHART_RATES_C_PER_H[1]:g} °C/h, and the "
            "controller has no rate there; write a final rate inside"
        )
    allowed_c = highest_c if bounds.peak_at_most_c is None else bounds.peak_at_most_c
    allowed_c = min(allowed_c, highest_c)
    most_s = controller.longest_hold_s
    asked_s = HOLD_UNASKED_S if bounds.hold_at_most_s is None else bounds.hold_at_most_s
    most_s = min(most_s, max(asked_s, bounds.hold_at_least_s))
    least_s = float(controller.hold_up_s(np.array(bounds.hold_at_least_s)))
    found: list[PeakCandidate] = []
    shortest_s, lowest_c = math.inf, math.inf
    law = cone_law(name)
    for rate in rates:
        shift_c = -law.shift_c(rate) - offset_c
        own_c = peak_for_hold_c(law, least_s, rate, wanted, within_c=1e-3) + shift_c
        lowest_c = min(lowest_c, own_c)
        peak_c = controller.target_down_c(min(own_c, allowed_c))
        if peak_c <= start_c or peak_c < own_c - FURTHEST_BELOW_K:
            continue
        needed_s = hold_after_ramp_s(law, peak_c - shift_c, rate, wanted)
        hold_s = max(float(controller.hold_up_s(np.array(max(needed_s, 0.0)))), least_s)
        if hold_s > LONGEST_HOLD_S:
            continue
        shortest_s = min(shortest_s, hold_s)
        if hold_s <= most_s:
            found.append(PeakCandidate(peak_c, hold_s, rate))
    if found:
        return found
    raise FiringError(_collision(name, bounds, allowed_c, highest_c, highest_words, shortest_s,
                                 lowest_c, most_s))  # fmt: skip


def _collision(
    cone: str,
    bounds: Bounds,
    allowed_c: float,
    highest_c: float,
    highest_words: str,
    shortest_s: float,
    lowest_c: float,
    most_s: float,
) -> str:
    by_kiln = bounds.peak_at_most_c is None or highest_c < bounds.peak_at_most_c
    cap = (
        f"{highest_words} ({highest_c:.0f} °C)"
        if by_kiln
        else f"a peak of at most {allowed_c:.0f} °C"
    )
    least = f"{lowest_c:.0f} °C without more hold at {CHART_RATES_C_PER_H[0]:g} °C/h"
    if math.isinf(shortest_s):
        return (
            f"cone {cone} and {cap} collide: it needs {least}, and no hold further than 80 °C "
            "below that, or above 24 h, is supported; choose a lower cone or a higher peak"
        )
    minutes = math.ceil(shortest_s / SECONDS_PER_MINUTE)
    return (
        f"{cap} and a hold of at most {format_duration(most_s)} collide: cone {cone} would need "
        f"{minutes} min there even at {CHART_RATES_C_PER_H[0]:g} °C/h; allow a longer hold or a "
        "higher peak"
    )
