"""The fastest way down with a number of segments, and where the kiln may be left to itself.

A kiln cools by itself at a pace that falls with temperature; a program can only slow it.  Between
two stops the program either switches off or ramps, and is nowhere faster than the kiln itself; from
the last stop on the kiln is left alone, which is allowed only where its own pace, at the quick end
of its range, breaks no limit.  Exact on the grid, by dynamic programming from the cold end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firing.controller.controller import Controller
from firing.design.rate_limits import spans
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.ware.limits import RateCap, lowest_of

_SLACK = 1e-9


@dataclass(frozen=True, eq=False)
class OwnCooling:
    """How a kiln cools by itself.

    The pace is known at the knots, rising, and the last one holds on above; `quick` and `slow` are
    the ends of its range as multiples, `basis` and `source` where it comes from.
    """

    knots_c: FloatArray
    rates_c_per_h: FloatArray
    quick: float
    slow: float
    basis: str
    source: str

    def at(self, temperature_c: FloatArray) -> FloatArray:
        """Return the pace at temperatures [°C/h]."""
        return np.interp(temperature_c, self.knots_c, self.rates_c_per_h)

    def cell_s(self, edges_c: FloatArray) -> FloatArray:
        """Return how long the kiln takes between neighbouring edges, rising, by itself [s]."""
        parts = np.linspace(edges_c[:-1], edges_c[1:], 9)
        slowness = 1.0 / np.maximum(self.at(parts), 1e-3)
        mean: FloatArray = 0.5 * (slowness[1:] + slowness[:-1]).mean(axis=0)
        return mean * np.diff(edges_c) * SECONDS_PER_HOUR

    def cell_most(self, edges_c: FloatArray) -> FloatArray:
        """Return the fastest pace between neighbouring edges [°C/h]."""
        most: FloatArray = self.at(np.linspace(edges_c[:-1], edges_c[1:], 5)).max(axis=0)
        return most

    def cell_least(self, edges_c: FloatArray) -> FloatArray:
        """Return the slowest pace between neighbouring edges [°C/h]."""
        least: FloatArray = self.at(np.linspace(edges_c[:-1], edges_c[1:], 5)).min(axis=0)
        return least


@dataclass(frozen=True, slots=True)
class CoolingLeg:
    """A way down to a target: the rate [°C/h], None for elements off, and the hold there [s]."""

    target_c: float
    rate_c_per_h: float | None
    hold_s: float = 0.0


class CoolingSearch:
    """All ways down from a set of peaks to the temperature at which the kiln is opened.

    Cooling may begin at any of the peaks; a segment may end at a stop, and must at those of
    `held_s`, with that hold [°C, s].  Time counts down to `open_c`.  With no segment at most the
    kiln is only left to itself.
    """

    def __init__(
        self,
        peaks_c: Sequence[float],
        stops_c: FloatArray,
        open_c: float,
        caps: Sequence[RateCap],
        own: OwnCooling,
        controller: Controller,
        held_s: dict[float, float],
        most_segments: int,
    ) -> None:
        self.controller, self.own, self.held_s = controller, own, held_s
        top_c = max(peaks_c)
        stops = {float(t) for t in stops_c if open_c < t < top_c} | set(held_s)
        self._nodes = np.array(sorted({open_c} | stops | set(peaks_c)))
        self._place = {float(t): i for i, t in enumerate(self._nodes)}
        self._may_stop = np.array([float(t) in stops for t in self._nodes])
        self._hold = np.array([held_s.get(float(t), 0.0) for t in self._nodes])
        edges = self._nodes
        cells = lowest_of(caps, edges)
        self._own_s = own.cell_s(edges)
        quick = own.cell_most(edges) * own.quick
        held = [self._place[t] for t in held_s]
        # Left alone from a node on: quick enough nowhere, and no stop still to be made below.
        bad = quick > cells * (1.0 + 1e-6)
        nodes = np.arange(edges.size)
        alone = (nodes <= np.min(np.append(np.flatnonzero(bad), edges.size))) & (
            nodes <= min(held, default=edges.size)
        )
        self._alone_s = np.where(alone, np.concatenate(([0.0], np.cumsum(self._own_s))), np.inf)
        self._measure(cells, quick)
        self._search(most_segments)

    def _measure(self, cells: FloatArray, quick: FloatArray) -> None:
        """Time every segment from node i down to node j < i, by rate and with elements off."""
        nodes, count = self._nodes, self._nodes.size
        most = spans(cells)
        if not self.controller.waits:
            # A clock that goes on must never be ahead of the kiln.
            least = self.own.cell_least(nodes) * self.own.slow
            most = np.minimum(most, spans(least))
        span = nodes[None, :] - nodes[:, None]
        up = span > 0.0
        programmed = self.controller.ramp_s(
            np.where(up, span, 1.0), np.where(up, most, np.inf), np.zeros_like(span)
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            self._rate = np.where(up, span, 0.0) / programmed * SECONDS_PER_HOUR
        self._time = np.full((count, count), np.inf)
        self._off = np.zeros((count, count), dtype=bool)
        widths = np.diff(nodes)
        fine = np.concatenate(([0], np.cumsum(quick > cells * (1.0 + 1e-6))))
        own = np.concatenate(([0.0], np.cumsum(self._own_s)))
        for low in range(count - 1):
            highs = np.arange(low + 1, count)
            rates = self._rate[low, highs]
            with np.errstate(divide="ignore"):
                pace = np.where(rates > 0, widths[low:, None] / rates * SECONDS_PER_HOUR, np.inf)
            capped = np.cumsum(np.maximum(self._own_s[low:, None], pace), axis=0)
            self._time[low, highs] = capped[np.arange(highs.size), np.arange(highs.size)]
            if self.controller.waits:
                free = fine[highs] == fine[low]
                off = own[highs] - own[low]
                quicker = free & (off <= self._time[low, highs] + 1e-6)
                self._time[low, highs] = np.where(quicker, off, self._time[low, highs])
                self._off[low, highs] = quicker
        # A stop that must be made is not passed.
        for node in (self._place[t] for t in self.held_s):
            self._time[:node, node + 1 :] = np.inf

    def _search(self, most_segments: int) -> None:
        level = self._alone_s
        self._levels = [level]
        self._next: list[FloatArray] = []
        for _ in range(most_segments):
            below = np.where(self._may_stop, level + self._hold, np.inf)
            total = self._time + below[:, None]
            self._next.append(np.argmin(total, axis=0).astype(float))
            better = np.minimum(level, total.min(axis=0))
            self._levels.append(better)
            if np.array_equal(better, level):
                break
            level = better

    def times_s(self, peak_c: float) -> FloatArray:
        """Return the least time from a peak to opening with at most 0, 1, 2 … segments [s]."""
        place = self._place[peak_c]
        return np.array([float(level[place]) for level in self._levels])

    def legs(self, peak_c: float, segments: int) -> tuple[CoolingLeg, ...]:
        """Return the fastest way down from a peak with at most so many segments."""
        place = self._place[peak_c]
        found: list[CoolingLeg] = []
        while segments > 0:
            if self._levels[segments][place] >= self._levels[segments - 1][place] - _SLACK:
                segments -= 1
                continue
            below = int(self._next[segments - 1][place])
            rate = None if self._off[below, place] else float(self._rate[below, place])
            found.append(CoolingLeg(float(self._nodes[below]), rate, float(self._hold[below])))
            place, segments = below, segments - 1
        return tuple(found)
