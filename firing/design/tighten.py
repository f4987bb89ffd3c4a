"""Limits lowered where a program that keeps them still broke something, for another try."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from firing.ware.breach import Breach
from firing.ware.limits import Dwell, Limit, WareLimits

# What is lowered is lowered by more than it was exceeded: a lag dies out over degrees, not at once.
_TIGHTER, _POWER = 0.95, 1.5
# A rate that this kiln's own course exceeds, where its curves did not.
_SLOWER = 0.98
# Vapour, bound water and what still stays too short a time are given this much more.
_LONGER = 1.25


def tightened(limits: WareLimits, broken: Sequence[Breach]) -> WareLimits | None:
    """Return limits lowered so that a program made within them should break nothing.

    Parameters
    ----------
    limits : WareLimits
        What the program was made within.
    broken : sequence of Breach
        What the check of its forecast finds.

    Returns
    -------
    WareLimits or None
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
