"""Everything that caps a rate, taken together; and limits lowered where that was not enough."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from firing.trace import FloatArray
from firing.ware.breach import Breach
from firing.ware.limits import HIGHEST_C, LOWEST_C, Dwell, Limit, RateCap, WareLimits


def everywhere(
    reason: str, text: str, source: str, knots_c: FloatArray, rates_c_per_h: FloatArray
) -> RateCap:
    """Return a cap whose first and last rate hold on below and above its knots."""
    known = [LOWEST_C, *knots_c[(knots_c > LOWEST_C) & (knots_c < HIGHEST_C)].tolist(), HIGHEST_C]
    return RateCap(reason, text, source, np.array(known), np.interp(known, knots_c, rates_c_per_h))


def binding(caps: Sequence[RateCap], low_c: float, high_c: float) -> tuple[float, RateCap]:
    """Return the lowest rate between two temperatures [°C/h] and the cap that sets it."""
    ends = np.array([low_c]), np.array([high_c])
    rates = [float(cap.lowest_between(*ends)[0]) for cap in caps]
    place = int(np.argmin(rates))
    return rates[place], caps[place]


def spans(cells: FloatArray) -> FloatArray:
    """Return at [i, j], i < j, the lowest cell between edges i and j; infinite elsewhere."""
    size = cells.size + 1
    lowest = np.full((size, size), np.inf)
    for i in range(size - 1):
        lowest[i, i + 1 :] = np.minimum.accumulate(cells[i:])
    return lowest


# What is lowered is lowered by more than it was exceeded: a lag dies out over degrees, not at once.
_TIGHTER, _POWER = 0.95, 1.5
# A rate that this kiln's own course exceeds, where its curves did not.
_SLOWER = 0.98
# Vapour, bound water and what still stays too short a time are given this much more.
_LONGER = 1.25


def tightened(limits: WareLimits, broken: Sequence[Breach]) -> WareLimits | None:
    """Return limits lowered so that a program made within them should break nothing.

    None if nothing that is broken can be helped by slower rates or longer stays.
    """
    rates = tuple(_slower(limit, broken) for limit in limits.limits)
    dwells = tuple(_longer(dwell, broken) for dwell in limits.dwells)
    same = all(a is b for a, b in zip(rates, limits.limits, strict=True)) and all(
        a is b for a, b in zip(dwells, limits.dwells, strict=True)
    )
    return None if same else replace(limits, limits=rates, dwells=dwells)


def _slower(limit: Limit, broken: Sequence[Breach]) -> Limit:
    factor = 1.0
    for breach in broken:
        if (breach.reason, breach.direction) != (limit.reason, limit.direction):
            continue
        if breach.kind == "wall" and breach.has_k and breach.allowed_k and limit.allowed_k:
            factor = min(factor, _TIGHTER * (breach.allowed_k / breach.has_k) ** _POWER)
        elif breach.kind == "rate" and breach.written_c_per_h and breach.limit_c_per_h:
            factor = min(factor, _SLOWER * breach.limit_c_per_h / breach.written_c_per_h)
    return limit if factor == 1.0 else replace(limit, rates_c_per_h=limit.rates_c_per_h * factor)


def _longer(dwell: Dwell, broken: Sequence[Breach]) -> Dwell:
    stays = ("dwell", "vapour", "bound water")
    wanting = any(b.kind in stays and b.reason == dwell.reason for b in broken)
    return replace(dwell, at_least_s=dwell.at_least_s * _LONGER) if wanting else dwell
