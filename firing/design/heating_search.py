"""The fastest way up with a number of segments: exact, by dynamic programming.

A program up is a path over the temperatures of a grid.  Between two stops it ramps at the fastest
rate that can be keyed and that no cap forbids; the time a window of temperature needs (a
`Dwell`) is made up by a hold at a stop inside the window or, where the path has no stop there, by a
slower ramp across it.  Nothing else can be faster: a hold costs exactly the missing seconds, and a
ramp slower than it must be costs at least as much as a hold of the same gain.  (Holds are keyed in
whole steps; what a slower ramp could save by filling a window to the second is less than one step a
window.  Where the stops inside cannot be held long enough, more stops are made.)

A path that stands inside a window is told by its time so far, its time inside the window, and how
many holds it may still use there.  Of two paths at one temperature with equally many segments, one
that is no later, has been inside no shorter and has no fewer stops can replace the other, whatever
follows; only the rest are carried on.  So the answer is the optimum of the grid.

Where it may end is every final rate with the peak and hold that bring a cone down.  For a given
rate the highest peak is the best: one degree more costs 1/R of ramp and saves at least that of
hold, since the hold h = (1 − x)/A(T) falls by 1/R + h·A′/A.  So each rate has one peak: the highest
that is allowed and still leaves the least hold asked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firing.cones.holds import LONGEST_HOLD_S, hold_after_ramp_s, peak_for_hold_c
from firing.cones.kinetics import cone_law
from firing.cones.table import parse_cone
from firing.cones.uncertainty import CHART_RATES_C_PER_H, FURTHEST_BELOW_K
from firing.controller.controller import Controller
from firing.design.rate_limits import spans
from firing.design.request import Bounds
from firing.errors import FiringError
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, format_duration
from firing.ware.limits import Dwell, RateCap, lowest_of

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
class HoldBounds:
    """The shortest and longest hold allowed at the peak, as keyed [s]."""

    at_least_s: float
    at_most_s: float


def hold_bounds(bounds: Bounds, controller: Controller) -> HoldBounds:
    """Return the shortest and longest hold for a cone that is asked for and can be keyed."""
    asked_s = HOLD_UNASKED_S if bounds.hold_at_most_s is None else bounds.hold_at_most_s
    return HoldBounds(
        float(controller.hold_up_s(np.array(bounds.hold_at_least_s))),
        min(controller.longest_hold_s, max(asked_s, bounds.hold_at_least_s)),
    )


def peak_candidates_for_cone(
    cone: str,
    bounds: Bounds,
    controller: Controller,
    *,
    start_c: float,
    highest_c: float,
    highest_words: str,
    highest_advice: str,
    offset_c: float = 0.0,
    wanted: float = 1.0,
) -> list[PeakCandidate]:
    """Return one candidate for every final rate that can bring the cone down within the bounds.

    `highest_words` says what sets the highest temperature, for the refusal, and `highest_advice`
    what helps against it; `offset_c` is what the
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
    allowed = hold_bounds(bounds, controller)
    least_s, most_s = allowed.at_least_s, allowed.at_most_s
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
        if hold_s > most_s and controller.target_up_c(own_c) <= allowed_c:
            # The hold may not be longer, so the target rounds up instead.
            peak_c, hold_s = controller.target_up_c(own_c), least_s
        if hold_s <= most_s:
            found.append(PeakCandidate(peak_c, hold_s, rate))
    if found:
        return found
    raise FiringError(_collision(name, bounds, allowed_c, highest_c, highest_words,
                                 highest_advice, shortest_s, lowest_c, most_s))  # fmt: skip


def _collision(
    cone: str,
    bounds: Bounds,
    allowed_c: float,
    highest_c: float,
    highest_words: str,
    highest_advice: str,
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
    advice = highest_advice if by_kiln else "choose a lower cone or a higher peak"
    least = f"{lowest_c:.0f} °C without more hold at {CHART_RATES_C_PER_H[0]:g} °C/h"
    if math.isinf(shortest_s):
        return (
            f"cone {cone} and {cap} collide: it needs {least}, and no hold further than 80 °C "
            f"below that, or above 24 h, is supported; {advice}"
        )
    minutes = math.ceil(shortest_s / SECONDS_PER_MINUTE)
    return (
        f"{cap} and a hold of at most {format_duration(most_s)} collide: cone {cone} would need "
        f"{minutes} min there even at {CHART_RATES_C_PER_H[0]:g} °C/h; allow a longer hold"
        + (f", or {advice}" if by_kiln else " or a higher peak")
    )


IntArray = npt.NDArray[np.int64]

SLACK_S = 1e-6
APPROACH_C = 100.0
"""A cone's rate is that of the last 100 °C (source ``cone-chart-1996``)."""
_SLACK_C = 1e-6
# A ramp waited for is keyed this much above what the kiln can do.
_HARDLY_BEHIND = 1.02
# What a path must still be able to gain to be followed.
_GAIN_S = 1e-4


@dataclass(frozen=True, slots=True)
class HeatingLeg:
    """A ramp to a target, as keyed, and the hold there: [°C], [s], [s]."""

    target_c: float
    ramp_s: float
    hold_s: float


@dataclass(frozen=True, eq=False)
class Labels:
    """Paths with one number of segments; arrays of shape (paths,).

    `stops` counts the holds a path may use in the window it stands in, 0 outside.
    """

    node: IntArray
    time_s: FloatArray
    inside_s: FloatArray
    stops: IntArray
    parent: IntArray

    def taken(self, rows: npt.NDArray[np.intp]) -> Labels:
        return Labels(
            self.node[rows],
            self.time_s[rows],
            self.inside_s[rows],
            self.stops[rows],
            self.parent[rows],
        )


def not_replaced(new: FloatArray, old: FloatArray) -> npt.NDArray[np.intp]:
    """Return the rows of `new` that no row of it or of `old` replaces, earliest first.

    Columns are time, time inside and stops; no later, no shorter inside and no fewer stops
    replaces.
    """
    order = np.lexsort((-new[:, 2], -new[:, 1], new[:, 0]))
    kept: list[int] = []
    for stops in sorted({int(s) for s in new[:, 2]}, reverse=True):
        rows = order[new[order, 2] == stops]
        better = [old[old[:, 2] >= stops], new[kept] if kept else new[:0]]
        known = np.vstack(better)
        inside = new[rows, 1]
        before = np.concatenate(([-np.inf], np.maximum.accumulate(inside)[:-1]))
        fine = inside > before + SLACK_S
        if known.shape[0]:
            beaten = (known[None, :, 0] <= new[rows, 0][:, None] + SLACK_S) & (
                known[None, :, 1] >= inside[:, None] - SLACK_S
            )
            fine &= ~beaten.any(axis=1)
        kept.extend(int(row) for row in rows[fine])
    return np.array(kept, dtype=np.intp)


def _pace(power: RateCap, edges_c: FloatArray) -> FloatArray:
    """Return the kiln's mean pace between neighbouring edges [K/s]."""
    parts = power.at(np.linspace(edges_c[:-1], edges_c[1:], 5))
    slowness = 1.0 / np.maximum(parts, 1e-3)
    mean: FloatArray = 0.5 * (slowness[1:] + slowness[:-1]).mean(axis=0)
    return 1.0 / mean / SECONDS_PER_HOUR


def _fastest(power: RateCap, edges_c: FloatArray) -> FloatArray:
    """Return the kiln's fastest pace between neighbouring edges [°C/h]."""
    fastest: FloatArray = power.at(np.linspace(edges_c[:-1], edges_c[1:], 5)).max(axis=0)
    return fastest


class HeatingSearch:
    """All ways up from one temperature to a set of candidates.

    A segment may end at a stop.  Windows of dwells must not overlap; one counts where the way leads
    above its window.  `power` is how fast the kiln rises where its clock waits for it: no cap on
    what is keyed, but on what it takes.  The last ramp to a cone keeps its own rate.
    """

    def __init__(
        self,
        start_c: float,
        stops_c: FloatArray,
        caps: Sequence[RateCap],
        dwells: Sequence[Dwell],
        controller: Controller,
        candidates: Sequence[PeakCandidate],
        most_segments: int,
        power: RateCap | None = None,
    ) -> None:
        self.start_c, self.controller, self.candidates = start_c, controller, tuple(candidates)
        highest_c = max(candidate.peak_c for candidate in candidates)
        self._windows = sorted(
            (d for d in dwells if start_c <= d.window_c[1] < highest_c), key=lambda d: d.window_c
        )
        for before, after in zip(self._windows, self._windows[1:], strict=False):
            if before.window_c[1] >= after.window_c[0]:
                raise ValueError("the windows of dwells must not overlap")
        peaks = {candidate.peak_c for candidate in candidates}
        stops = {float(t) for t in stops_c if start_c + _SLACK_C < t < highest_c - _SLACK_C}
        self._nodes = np.array(sorted({start_c} | stops | peaks))
        place = {float(t): i for i, t in enumerate(self._nodes)}
        self._peak = np.array([place[candidate.peak_c] for candidate in candidates])
        self._stop = np.array(sorted(place[t] for t in stops), dtype=np.int64)
        self._measure(caps, power)
        self._search(most_segments)

    def _measure(self, caps: Sequence[RateCap], power: RateCap | None) -> None:
        """Time every ramp between two nodes, and its part inside each window."""
        nodes, count = self._nodes, self._nodes.size
        cells = lowest_of(caps, nodes)
        self._most = spans(cells)
        kept = cells if power is None else np.minimum(cells, lowest_of((power,), nodes))
        self._kept = spans(kept)
        span = nodes[None, :] - nodes[:, None]
        up = span > 0.0
        self._span = np.where(up, span, np.inf)
        self._share = np.zeros((len(self._windows), count, count))
        self._least = np.zeros((count, count))
        self._window = np.full(count, -1)
        self._needs = np.array([w.at_least_s for w in self._windows] + [0.0])
        longest = max(self.controller.longest_hold_s, SLACK_S)
        self._useful = np.array([max(1, math.ceil(n / longest - 1e-9)) for n in self._needs])
        for index, window in enumerate(self._windows):
            low, high = window.window_c
            self._window[(nodes >= low) & (nodes <= high) & (nodes > self.start_c)] = index
            first = np.maximum(nodes, low)[:, None]
            last = np.minimum(nodes, high)[None, :]
            self._share[index] = np.where(up, np.clip(last - first, 0.0, None) / self._span, 0.0)
            # Whoever crosses without a stop inside, or starts inside, must ramp slowly enough.
            begins = (nodes < low) | (nodes == self.start_c)
            crosses = begins[:, None] & (nodes > high)[None, :] & (self._share[index] > 0.0)
            slow = window.at_least_s / np.where(crosses, self._share[index], 1.0)
            self._least = np.where(crosses, np.maximum(self._least, slow), self._least)
        most = self._most
        if power is not None:
            # What the kiln nowhere on the way can do need not be asked for.
            most = np.minimum(most, _HARDLY_BEHIND * -spans(-_fastest(power, nodes)))
        self._keyed = self.controller.ramp_s(
            np.where(up, span, 1.0), np.where(up, most, np.inf), self._least
        )
        self._keyed[~up] = np.inf
        self._ramp = self._keyed if power is None else self._waited(power)
        self._last, self._last_keyed = self._last_ramps()
        self._last_hold_s = np.array([candidate.hold_s for candidate in self.candidates])
        self._bound(cells, power)

    def _waited(self, power: RateCap) -> FloatArray:
        """Return how long ramps take where the kiln, for each part, takes no less than it can."""
        nodes = self._nodes
        taken, pace = self._keyed.copy(), _pace(power, nodes)
        widths = np.diff(nodes)
        for low in range(nodes.size - 1):
            highs = np.arange(low + 1, nodes.size)
            with np.errstate(divide="ignore", invalid="ignore"):
                keyed = self._span[low, highs] / self._keyed[low, highs]
                keyed = np.where(np.isfinite(self._keyed[low, highs]), keyed, np.inf)
            parts = widths[low:, None] / np.minimum(keyed[None, :], pace[low:, None])
            sums = np.cumsum(parts, axis=0)[np.arange(highs.size), np.arange(highs.size)]
            possible = np.isfinite(self._keyed[low, highs])
            taken[low, highs] = np.where(possible, np.maximum(sums, taken[low, highs]), np.inf)
        return taken

    def _bound(self, cells: FloatArray, power: RateCap | None) -> None:
        """Find the least time from every node to every candidate if segments were free."""
        nodes, controller = self._nodes, self.controller
        span = np.diff(nodes)
        if controller.notation == "rate":
            fastest_s = controller.ramp_s(span, cells, np.zeros_like(span))
        else:
            # A long ramp can end between the whole minutes of its parts.
            most = np.minimum(cells, controller.fastest_c_per_h)
            fastest_s = span / most * SECONDS_PER_HOUR
        if power is not None:
            fastest_s = np.maximum(fastest_s, span / _pace(power, nodes))
        self._free_s = free = np.concatenate(
            ([0.0], np.cumsum(np.where(np.isfinite(fastest_s), fastest_s, 1e12)))
        )
        self._ahead_s = free[self._peak][None, :] - free[:, None] + self._last_hold_s
        # What a window still needs beyond the fastest way through it, from each node on.
        self._inside_ahead_s = np.zeros((len(self._windows), nodes.size))
        for index, window in enumerate(self._windows):
            low, high = window.window_c
            end = float(np.interp(high, nodes, free))
            ahead = np.maximum(end - np.interp(np.maximum(nodes, low), nodes, free), 0.0)
            self._inside_ahead_s[index] = ahead
            counts = (nodes <= high) & (self._window != index)
            more = np.where(counts, np.maximum(window.at_least_s - ahead, 0.0), 0.0)
            over = nodes[self._peak] > high
            self._ahead_s = self._ahead_s + more[:, None] * over[None, :]

    def _promising(self, labels: Labels) -> npt.NDArray[np.intp]:
        """Return the paths that may still come to some candidate sooner than any known."""
        least = labels.time_s[:, None] + self._ahead_s[labels.node]
        own = self._window[labels.node]
        for index, window in enumerate(self._windows):
            rows = np.flatnonzero(own == index)
            short = window.at_least_s - labels.inside_s[rows]
            short = np.maximum(short - self._inside_ahead_s[index, labels.node[rows]], 0.0)
            over = self._nodes[self._peak] > window.window_c[1]
            least[rows] += short[:, None] * over[None, :]
        return np.flatnonzero((least < self._best_s - _GAIN_S).any(axis=1))

    def _last_ramps(self) -> tuple[FloatArray, FloatArray]:
        """Return the time of the last ramp to each candidate, taken and keyed.

        Both of shape (nodes, candidates).
        """
        last, last_keyed = self._ramp[:, self._peak].copy(), self._keyed[:, self._peak].copy()
        for column, candidate in enumerate(self.candidates):
            if candidate.rate_c_per_h is None:
                continue
            peak = self._peak[column]
            span = self._span[:peak, peak]
            rate = np.full(peak, candidate.rate_c_per_h)
            keyed = self.controller.ramp_s(span, rate, np.zeros(peak))
            allowed = rate <= self._kept[:peak, peak] * (1.0 + 1e-7)
            allowed &= keyed >= self._least[:peak, peak] - SLACK_S
            allowed &= span >= min(APPROACH_C, candidate.peak_c - self.start_c) - _SLACK_C
            last[:peak, column] = np.where(allowed, keyed, np.inf)
            last_keyed[:, column] = last[:, column]
        return last, last_keyed

    def _holds(self, labels: Labels, to: IntArray, keyed: FloatArray) -> FloatArray:
        """Return the hold each path needs before it leaves for each node, shape (paths, to)."""
        hold = np.zeros(keyed.shape)
        own = self._window[labels.node]
        for index, window in enumerate(self._windows):
            rows = np.flatnonzero(own == index)
            if rows.size == 0:
                continue
            leaves = self._nodes[to] > window.window_c[1]
            share = self._share[index][np.ix_(labels.node[rows], to)]
            finite = np.where(np.isfinite(keyed[rows]), keyed[rows], 0.0)
            spent = labels.inside_s[rows, None] + share * finite
            short = np.maximum(window.at_least_s - spent, 0.0)
            need = self.controller.hold_up_s(np.where(short > SLACK_S, short, 0.0))
            most = labels.stops[rows] * self.controller.longest_hold_s
            need = np.where(need <= most[:, None] + SLACK_S, need, np.inf)
            hold[rows] = np.where(leaves[None, :], need, 0.0)
        return hold

    def _search(self, most_segments: int) -> None:
        begin = np.array([0], dtype=np.int64)
        labels = Labels(
            node=np.array([int(np.argmax(self._nodes == self.start_c))]),
            time_s=np.zeros(1),
            inside_s=np.zeros(1),
            stops=begin,
            parent=begin,
        )
        self._levels = [labels]
        self._ends: list[tuple[FloatArray, IntArray]] = []
        fronts: dict[int, FloatArray] = {}
        best_s = np.full(self._nodes.size, np.inf)
        self._best_s = np.full(len(self.candidates), np.inf)
        for _ in range(most_segments):
            self._ends.append(self._finish(labels))
            self._best_s = np.minimum(self._best_s, self._ends[-1][0])
            labels = self._advance(labels, best_s, fronts)
            labels = labels.taken(self._promising(labels))
            if labels.node.size == 0:
                break
            self._levels.append(labels)

    def _advance(self, labels: Labels, best_s: FloatArray, fronts: dict[int, FloatArray]) -> Labels:
        """Return the paths with one segment more that none with fewer or as many replaces."""
        to = self._stop
        ramp, keyed = self._ramp[np.ix_(labels.node, to)], self._keyed[np.ix_(labels.node, to)]
        hold = self._holds(labels, to, keyed)
        arrival = labels.time_s[:, None] + hold + ramp
        kept: list[Labels] = []
        one = np.ones(1, dtype=np.int64)
        # From the warmest node down: of equal ways the one that holds warmer is found first.
        for column in range(to.size - 1, -1, -1):
            node = int(to[column])
            window = int(self._window[node])
            times = arrival[:, column]
            if window < 0:
                row = int(np.argmin(times)) if times.size else 0
                if not times[row] < best_s[node] - SLACK_S:
                    continue
                best_s[node] = times[row]
                kept.append(Labels(one * node, times[[row]], np.zeros(1), 0 * one, one * row))
                continue
            rows = np.flatnonzero(np.isfinite(times))
            share = self._share[window][labels.node[rows], node]
            stays = self._window[labels.node[rows]] == window
            inside = np.where(stays, labels.inside_s[rows], 0.0) + share * keyed[rows, column]
            inside = np.minimum(inside, self._needs[window])
            stops = np.where(stays, labels.stops[rows] + 1, 1)
            stops = np.minimum(stops, self._useful[window])
            new = np.column_stack((times[rows], inside, stops))
            old = fronts.get(node, np.empty((0, 3)))
            order = not_replaced(new, old)
            fronts[node] = np.vstack((old, new[order]))
            kept.append(
                Labels(
                    np.full(order.size, node),
                    times[rows][order],
                    inside[order],
                    stops[order].astype(np.int64),
                    rows[order],
                )
            )
        if not kept:
            return labels.taken(np.array([], dtype=np.intp))
        return Labels(
            *(
                np.concatenate([getattr(part, name) for part in kept])
                for name in ("node", "time_s", "inside_s", "stops", "parent")
            )
        )

    def _finish(self, labels: Labels) -> tuple[FloatArray, IntArray]:
        """Return the fastest way from these paths to each end: seconds, and the path's row."""
        ramp = self._last[labels.node]
        hold = self._holds(labels, self._peak, self._last_keyed[labels.node])
        total = labels.time_s[:, None] + hold + ramp + self._last_hold_s
        rows = np.argmin(total, axis=0)
        return total[rows, np.arange(len(self.candidates))], rows

    def times_s(self) -> FloatArray:
        """Return the least time to each candidate, its hold included [s], by number of segments.

        Row 0 is for one segment; infinite where there is no way.  Rows end where more segments gain
        nothing any more.
        """
        return np.array([times for times, _ in self._ends])

    def unlimited_s(self) -> FloatArray:
        """Return the least time to each end, its hold included, with any number of segments [s].

        Every stretch then has its own rate up to the last ramp, and every window a stop to hold at;
        rounding of the holds may differ by a step a window.
        """
        from_start = self._free_s - self._free_s[self._nodes == self.start_c]
        places = np.append(np.flatnonzero(self._nodes == self.start_c), self._stop)
        last = self._last[places]
        keyed = self._last_keyed[places]
        finite = np.where(np.isfinite(keyed), keyed, 0.0)
        total = from_start[places, None] + last + self._last_hold_s
        for index, window in enumerate(self._windows):
            ahead = self._inside_ahead_s[index]
            before = ahead[self._nodes == self.start_c] - ahead[places]
            spent = before[:, None] + self._share[index][np.ix_(places, self._peak)] * finite
            short = np.maximum(window.at_least_s - spent, 0.0)
            need = self.controller.hold_up_s(np.where(short > SLACK_S, short, 0.0))
            over = self._nodes[self._peak] > window.window_c[1]
            total = total + need * over[None, :]
        least: FloatArray = total.min(axis=0)
        return least

    def legs(self, segments: int, candidate: int) -> tuple[HeatingLeg, ...]:
        """Return the fastest way with exactly so many segments to a candidate, by its number."""
        times, rows = self._ends[segments - 1]
        if not np.isfinite(times[candidate]):
            raise ValueError("there is no such way up")
        path = [int(rows[candidate])]
        for level in range(segments - 1, 0, -1):
            path.append(int(self._levels[level].parent[path[-1]]))
        path.reverse()
        end = self.candidates[candidate]
        found: list[HeatingLeg] = []
        arrived = [float(self._levels[i].time_s[row]) for i, row in enumerate(path)]
        arrived.append(float(times[candidate]) - end.hold_s)
        nodes = [int(self._levels[i].node[row]) for i, row in enumerate(path)]
        nodes.append(int(self._peak[candidate]))
        holds = [0.0] * len(nodes)
        holds[-1] = end.hold_s
        keyed = [0.0]
        for i in range(1, len(nodes)):
            top, pair = i == len(nodes) - 1, (nodes[i - 1], nodes[i])
            ramp = float(self._last[nodes[i - 1], candidate] if top else self._ramp[pair])
            keyed.append(
                float(self._last_keyed[nodes[i - 1], candidate] if top else self._keyed[pair])
            )
            self._spread(holds, nodes, i - 1, arrived[i] - arrived[i - 1] - ramp)
        for i in range(1, len(nodes)):
            found.append(HeatingLeg(float(self._nodes[nodes[i]]), keyed[i], holds[i]))
        return tuple(found)

    def _spread(self, holds: list[float], nodes: list[int], at: int, hold_s: float) -> None:
        """Put a hold at a stop, and what is too long for one at the stops before it."""
        left = round(hold_s, 3)
        while left > SLACK_S:
            part = min(left, self.controller.longest_hold_s)
            holds[at] += part
            left -= part
            at -= 1
