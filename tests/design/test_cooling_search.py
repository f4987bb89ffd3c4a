"""The way down against brute force, and where the kiln is left alone."""

import math
from itertools import combinations, pairwise

import numpy as np
import pytest
from design.making import Steps
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.controller.controller import Controller
from firing.design.cooling_search import CoolingSearch, OwnCooling

OPEN, PEAK = 100.0, 900.0
STOPS = np.array([200.0, 400.0, 550.0, 700.0])
EDGES = np.array([OPEN, *STOPS, PEAK])
CONTROLLER = Controller(rate_min=10.0, rate_max=600.0, rate_step=10.0)
# Level between the edges, so that times are sums of quotients.
OWN_RATES = [20.0, 50.0, 80.0, 110.0, 150.0]


class LevelCooling(OwnCooling):
    """A kiln whose pace is level between the edges."""

    def at(self, temperature_c: np.ndarray) -> np.ndarray:  # type: ignore[type-arg,override]  # small test double
        cell = np.clip(np.searchsorted(EDGES, temperature_c, side="right") - 1, 0, 4)
        return np.array(OWN_RATES)[cell]

    def cell_s(self, edges_c: np.ndarray) -> np.ndarray:  # type: ignore[type-arg,override]  # small test double
        middle = 0.5 * (edges_c[1:] + edges_c[:-1])
        return np.diff(edges_c) / self.at(middle) * 3600.0

    def cell_most(self, edges_c: np.ndarray) -> np.ndarray:  # type: ignore[type-arg,override]  # small test double
        return self.at(0.5 * (edges_c[1:] + edges_c[:-1]))

    cell_least = cell_most


OWN = LevelCooling(EDGES, np.array([*OWN_RATES, 150.0]), 1.0, 1.0, "made", "cooling-default")


def brute_force_s(most: int, caps: list[float]) -> float:
    """Return the least time with at most so many segments, by trying all stops."""
    cells = list(zip(pairwise(EDGES), caps, OWN_RATES, strict=True))

    def segment_s(high: float, low: float) -> float:
        inside = [cell for cell in cells if cell[0][0] >= low and cell[0][1] <= high]
        off = sum((b - a) / own * 3600.0 for (a, b), _, own in inside)
        if all(own <= cap for _, cap, own in inside):
            return off
        rate = math.floor(min(cap for _, cap, _ in inside) / 10.0) * 10.0
        if rate < 10.0:
            return math.inf
        return sum((b - a) / min(own, rate) * 3600.0 for (a, b), _, own in inside)

    def alone_s(high: float) -> float:
        inside = [cell for cell in cells if cell[0][1] <= high]
        if any(own > cap for _, cap, own in inside):
            return math.inf
        return sum((b - a) / own * 3600.0 for (a, b), _, own in inside)

    best = math.inf
    for count in range(most + 1):
        for stops in combinations(sorted(STOPS.tolist(), reverse=True), count):
            path = (PEAK, *stops)
            time_s = sum(segment_s(a, b) for a, b in pairwise(path))
            best = min(best, time_s + alone_s(path[-1]))
    return best


@settings(max_examples=80)
@given(
    st.lists(st.sampled_from([15.0, 30.0, 60.0, 100.0, 500.0]), min_size=4, max_size=4),
    st.integers(0, 4),
)
def test_the_way_down_is_the_best_there_is(caps: list[float], most: int) -> None:
    # Nothing caps the last stretch, where no kiln could be slowed any more.
    every = [500.0, *caps]
    cap = Steps(EDGES, np.array(every))
    cooling = CoolingSearch([PEAK], STOPS, OPEN, [cap], OWN, CONTROLLER, {}, 6)
    times = cooling.times_s(PEAK)
    assert times[min(most, times.size - 1)] == pytest.approx(brute_force_s(most, every), abs=0.01)


def test_a_kiln_that_breaks_nothing_is_left_alone() -> None:
    cap = Steps(EDGES, np.full(5, 500.0))
    cooling = CoolingSearch([PEAK], STOPS, OPEN, [cap], OWN, CONTROLLER, {}, 6)
    assert cooling.legs(PEAK, 0) == ()
    assert np.isfinite(cooling.times_s(PEAK)[0])


def test_a_stop_that_was_asked_for_is_made_and_held() -> None:
    cap = Steps(EDGES, np.full(5, 500.0))
    cooling = CoolingSearch([PEAK], STOPS, OPEN, [cap], OWN, CONTROLLER, {700.0: 1800.0}, 6)
    (leg,) = cooling.legs(PEAK, 1)
    assert (leg.target_c, leg.rate_c_per_h, leg.hold_s) == (700.0, None, 1800.0)


def test_a_clock_that_does_not_wait_never_runs_ahead_of_the_kiln() -> None:
    caps = [500.0, 500.0, 60.0, 500.0, 500.0]
    cap = Steps(EDGES, np.array(caps))
    clock = Controller(rate_min=10.0, rate_max=600.0, rate_step=10.0, waits=False)
    cooling = CoolingSearch([PEAK], STOPS, OPEN, [cap], OWN, clock, {}, 6)
    legs = cooling.legs(PEAK, 4)
    from_c = PEAK
    for leg in legs:
        assert leg.rate_c_per_h is not None
        own = OWN.at(np.linspace(leg.target_c + 1.0, from_c - 1.0, 50))
        assert leg.rate_c_per_h <= own.min()
        from_c = leg.target_c
