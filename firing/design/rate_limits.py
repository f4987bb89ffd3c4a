"""Everything that caps a rate, taken together; and limits lowered where that was not enough."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from firing.trace import FloatArray
from firing.ware.limits import HIGHEST_C, LOWEST_C, Breach, Dwell, Limit, RateCap, WareLimits


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
# Where the wall differs too much near the end of a window, the limit first goes on beyond it.
_AT_END_K, _BEYOND_K, _MOST_BEYOND_K = 12.0, 20.0, 40.0
_HARDLY = 0.01
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


def halfway(broken: WareLimits, kept: WareLimits) -> WareLimits | None:
    """Return limits half way between two of the same load, in the logarithm.

    None where there is hardly anything between them.
    """
    pairs = list(zip(broken.limits, kept.limits, strict=True))
    stays = list(zip(broken.dwells, kept.dwells, strict=True))
    apart = max((_apart(a, b) for a, b in pairs), default=0.0)
    longer = max((b.at_least_s / a.at_least_s for a, b in stays), default=1.0)
    if max(apart, longer - 1.0) < _HARDLY:
        return None
    limits = tuple(b if a is b else _between(a, b) for a, b in pairs)
    dwells = tuple(
        b if a is b else replace(b, at_least_s=math.sqrt(a.at_least_s * b.at_least_s))
        for a, b in stays
    )
    return replace(kept, limits=limits, dwells=dwells)


def _apart(broken: Limit, kept: Limit) -> float:
    rates = np.interp(kept.knots_c, broken.knots_c, broken.rates_c_per_h)
    return float(np.max(np.abs(rates / kept.rates_c_per_h - 1.0)))


def _between(broken: Limit, kept: Limit) -> Limit:
    rates = np.interp(kept.knots_c, broken.knots_c, broken.rates_c_per_h)
    return replace(kept, rates_c_per_h=np.sqrt(rates * kept.rates_c_per_h))


def _longer_window(limit: Limit, breach: Breach) -> Limit | None:
    """Return a limit that goes on beyond its window, where the wall differs too much at its end.

    Ware in a kiln lags its thermocouple: it is still inside when the program has left the window.
    None if the difference is elsewhere, or the window was made longer often enough.
    """
    if limit.watched_c is None:
        return None
    up = limit.direction == "heating"
    end_c, watched_c = limit.window_c[up], limit.watched_c[up]
    beyond = abs(end_c - watched_c)
    if abs(breach.at_c - watched_c) > _AT_END_K or beyond > _MOST_BEYOND_K - _BEYOND_K + 1e-6:
        return None
    knots, rates = limit.knots_c, limit.rates_c_per_h
    if up:
        knots, rates = np.append(knots, end_c + _BEYOND_K), np.append(rates, rates[-1])
    else:
        knots, rates = np.append(end_c - _BEYOND_K, knots), np.append(rates[0], rates)
    return replace(limit, knots_c=knots, rates_c_per_h=rates)


def _slower(limit: Limit, broken: Sequence[Breach]) -> Limit:
    factor = 1.0
    for breach in broken:
        if (breach.reason, breach.direction) != (limit.reason, limit.direction):
            continue
        if breach.kind == "wall" and breach.has_k and breach.allowed_k and limit.allowed_k:
            longer = _longer_window(limit, breach)
            if longer is not None:
                return longer
            factor = min(factor, _TIGHTER * (breach.allowed_k / breach.has_k) ** _POWER)
        elif breach.kind == "rate" and breach.written_c_per_h and breach.limit_c_per_h:
            factor = min(factor, _SLOWER * breach.limit_c_per_h / breach.written_c_per_h)
    return limit if factor == 1.0 else replace(limit, rates_c_per_h=limit.rates_c_per_h * factor)


def _longer(dwell: Dwell, broken: Sequence[Breach]) -> Dwell:
    stays = ("dwell", "vapour", "bound water")
    wanting = any(b.kind in stays and b.reason == dwell.reason for b in broken)
    return replace(dwell, at_least_s=dwell.at_least_s * _LONGER) if wanting else dwell
