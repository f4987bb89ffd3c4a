"""What practice says of a load, beside the computed limits, and limits by one of them or by both.

Practice is what course notes and suppliers' texts agree on.  Its times go with the thickness where
physics has the square of it, so it is slower for thin ware and quicker for thick.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from firing.serialise import Serialised
from firing.sources import load_sources
from firing.units import SECONDS_PER_HOUR
from firing.ware.drying import DRYING_C
from firing.ware.limits import Dwell, Limit, WareLimits
from firing.ware.load import Load

By = Literal["practice", "physics", "slower"]
BYS: tuple[By, ...] = get_args(By)

CANDLE_SOURCE = "soak-practice"
CANDLE_S = 6 * SECONDS_PER_HOUR  # thick, sculptural or damp ware; source: soak-practice
MM_PER_HOUR = 6.0  # source: soak-practice
THICK_MM = 25.0  # source: wall-thickness-teaching

BURN_OUT_SOURCE = "burnout-slow-practice"
BURN_OUT_C = (600.0, 900.0)
BURN_OUT_C_PER_H = 60.0  # source: burnout-slow-practice

PRACTICE_CHANGES_C = 600.0
_TO_600 = "common practice"


@dataclass(frozen=True, slots=True)
class Practice(Serialised):
    """How practice would heat a load."""

    thickness_mm: float  # of its slowest spot, as a wall heated from both faces [mm]
    # Below boiling: six hours, or an hour for every 6 mm [s]; 0 for ware that is dry.
    candle_s: float
    candle_words: str  # that rule for this ware
    # Rates up to 600 °C and above [°C/h]; infinite where practice has none.
    to_600_c_per_h: float
    above_c_per_h: float
    burn_out_c_per_h: float | None  # the rate from 600 to 900 °C for dark or thick bodies [°C/h]
    heating_s: float  # up to the peak by all that [s]


def candle_s(load: Load) -> tuple[float, str]:
    """Return how long practice candles a load [s], and by which rule; ``soak-practice``."""
    if not load.has_bound_water or load.water_share <= 0.0:
        return 0.0, ""
    thick_mm = load.slowest("water").spot.thickness_mm
    by_mm_s = thick_mm / MM_PER_HOUR * SECONDS_PER_HOUR
    if thick_mm >= THICK_MM or load.dryness in ("leather hard", "damp"):
        return max(CANDLE_S, by_mm_s), "6 h, or 1 h per 6 mm"
    return by_mm_s, "1 h per 6 mm"


def burns_out_slowly(load: Load) -> bool:
    """Whether practice slows a body down while its carbon burns: a dark or a thick one."""
    thick = load.slowest("air").spot.thickness_mm >= THICK_MM
    return load.has_bound_water and (load.dark or thick)


def practice_of(load: Load, limits: WareLimits, peak_c: float, start_c: float) -> Practice:
    """Return how practice would heat a load to a peak."""
    by_practice = limits_by(limits, load, "practice")
    rates = [limit for limit in by_practice.of("heating") if limit.reason == _TO_600]

    def rate_at(at_c: float) -> float:
        return min((float(r.at(np.array(at_c))) for r in rates), default=np.inf)

    soak_s, words = candle_s(load)
    slow = burns_out_slowly(load)
    grid = np.arange(start_c, peak_c + 1.0)
    middle = 0.5 * (grid[1:] + grid[:-1])
    fastest = by_practice.heating(middle)
    # Ramps through the window of candling count as candling.
    outside = (middle < DRYING_C[0]) | (middle > DRYING_C[1])
    counted = outside if soak_s else np.ones_like(outside)
    rising_s = float(np.sum((np.diff(grid) / fastest)[counted])) * SECONDS_PER_HOUR
    return Practice(
        thickness_mm=2.0 * load.slowest("heat").spot.heat_mm,
        candle_s=soak_s,
        candle_words=words,
        to_600_c_per_h=rate_at(PRACTICE_CHANGES_C - 100.0),
        above_c_per_h=rate_at(PRACTICE_CHANGES_C + 100.0),
        burn_out_c_per_h=BURN_OUT_C_PER_H if slow else None,
        heating_s=soak_s + rising_s,
    )


def is_practice(source: str) -> bool:
    """Whether a source is common practice."""
    known = load_sources().get(source)
    return known is not None and known.kind == "common practice"


def limits_by(limits: WareLimits, load: Load, by: By) -> WareLimits:
    """Return the limits of a load by practice, by physics, or the slower of both.

    The limits as computed hold practice's rates already; what comes on top here is practice's
    candling and its slow burn-out.  Thermal stress is left out by none.
    """
    if by == "physics":
        return replace(
            limits,
            limits=tuple(limit for limit in limits.limits if not is_practice(limit.source)),
            dwells=tuple(dwell for dwell in limits.dwells if not is_practice(dwell.source)),
        )
    more = (_burn_out(limits),) if burns_out_slowly(load) else ()
    if by == "slower":
        return replace(
            limits, limits=(*limits.limits, *more), dwells=_with_candling(limits.dwells, load)
        )
    kept = tuple(
        limit
        for limit in limits.limits
        if is_practice(limit.source) or limit.reason == "thermal stress"
    )
    dwells = tuple(dwell for dwell in limits.dwells if is_practice(dwell.source))
    soak = _candling(load)
    wet = any(dwell.reason == "free water" for dwell in limits.dwells)
    return replace(
        limits,
        limits=(*kept, *more),
        dwells=dwells if soak is None or not wet else (soak, *dwells),
    )


def _candling(load: Load) -> Dwell | None:
    soak_s, words = candle_s(load)
    if soak_s == 0.0:
        return None
    text = f"practice candles {load.slowest('water').words} for {words}"
    return Dwell(DRYING_C, soak_s, "free water", text, CANDLE_SOURCE, soak_s, soak_s)


def _with_candling(dwells: tuple[Dwell, ...], load: Load) -> tuple[Dwell, ...]:
    """Return dwells with the time below boiling at least practice's, where water is left."""
    soak = _candling(load)
    if soak is None:
        return dwells
    return tuple(
        soak
        if dwell.reason == "free water"
        and dwell.window_c == soak.window_c
        and dwell.at_least_s < soak.at_least_s
        else dwell
        for dwell in dwells
    )


def _burn_out(limits: WareLimits) -> Limit:
    place = limits.places["air"]
    rates = np.full(2, BURN_OUT_C_PER_H)
    return Limit(
        "carbon",
        f"practice burns the carbon out of {place.words} slowly, with air",
        BURN_OUT_SOURCE,
        np.array(BURN_OUT_C),
        rates,
        "heating",
        (0.75, 1.67),
    )
