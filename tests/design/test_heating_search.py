"""The way up against brute force: every set of stops, every rate, every sufficient hold."""

import math
from dataclasses import replace
from itertools import combinations, pairwise, product

import numpy as np
import pytest
from design.making import Steps, dwell
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.controller.controller import Controller
from firing.design.heating_search import HeatingLeg, HeatingSearch, PeakCandidate
from firing.ware.limits import Dwell

START, PEAK = 20.0, 420.0
STOPS = np.array([90.0, 120.0, 200.0, 260.0, 320.0])
EDGES = np.array([START, *STOPS, PEAK])
RATES = [20.0, 40.0, 60.0, 80.0]
WINDOWS = [(80.0, 120.0), (190.0, 270.0), (200.0, 320.0), (15.0, 95.0), (300.0, 500.0)]

CONTROLLER = Controller(
    rate_min=20.0,
    rate_max=80.0,
    rate_step=20.0,
    hold_step_s=900.0,
    hold_max_s=36000.0,
    max_segments=9,
)


def overlap_c(low: float, high: float, window: tuple[float, float]) -> float:
    return max(0.0, min(high, window[1]) - max(low, window[0]))


def fits(
    stops: tuple[float, ...],
    rates: tuple[float, ...],
    dwells: list[Dwell],
    controller: Controller,
) -> float:
    """Return the hold that a path with given rates needs [s]; infinite if it cannot be kept."""
    path = (START, *stops, PEAK)
    total = 0.0
    for need in dwells:
        low, high = need.window_c
        if high >= PEAK:
            continue
        inside = sum(
            overlap_c(a, b, need.window_c) / rate * 3600.0
            for (a, b), rate in zip(pairwise(path), rates, strict=True)
        )
        places = sum(low <= stop <= high for stop in stops)
        steps = math.ceil((need.at_least_s - inside) / controller.hold_step_s - 1e-7)
        hold = max(steps, 0) * controller.hold_step_s
        if hold > places * controller.longest_hold_s + 1e-6:
            return math.inf
        total += hold
    return total


def brute_force_s(
    most: int, cells: list[float], dwells: list[Dwell], controller: Controller
) -> float:
    best = math.inf
    limit = dict(zip(pairwise(EDGES), cells, strict=True))
    for count in range(most):
        for stops in combinations(STOPS.tolist(), count):
            path = (START, *stops, PEAK)
            allowed = []
            for a, b in pairwise(path):
                cap = min(rate for (x, y), rate in limit.items() if x < b and y > a)
                allowed.append([rate for rate in RATES if rate <= cap])
            for rates in product(*allowed):
                ramps = sum(
                    (b - a) / r * 3600.0 for (a, b), r in zip(pairwise(path), rates, strict=True)
                )
                best = min(best, ramps + fits(stops, rates, dwells, controller))
    return best


def chosen(windows: list[tuple[float, float]], needs: list[float]) -> list[Dwell]:
    """Dwells of those windows that do not overlap."""
    kept: list[Dwell] = []
    for (low, high), need in zip(windows, needs, strict=True):
        if all(high < d.window_c[0] or low > d.window_c[1] for d in kept):
            kept.append(dwell(low, high, need))
    return kept


problems = st.tuples(
    st.lists(st.sampled_from([20.0, 45.0, 60.0, 79.0, 200.0]), min_size=6, max_size=6),
    st.lists(st.sampled_from(WINDOWS), min_size=2, max_size=2, unique=True),
    st.lists(st.floats(0.0, 9000.0), min_size=2, max_size=2),
    st.integers(1, 4),
    st.sampled_from([1.0, 900.0]),
)


@settings(max_examples=60)
@given(problems)
def test_the_way_up_is_the_best_there_is(
    problem: tuple[list[float], list[tuple[float, float]], list[float], int, float],
) -> None:
    """Holds are keyed in whole steps, and a ramp slower than it must be can fill a window to the
    second: less than a step a window may be lost, and nothing with steps of a second."""
    cells, windows, needs, most, step_s = problem
    controller = replace(CONTROLLER, hold_step_s=step_s)
    dwells = chosen(windows, needs)
    cap = Steps(EDGES, np.array(cells))
    heating = HeatingSearch(START, STOPS, [cap], dwells, controller, [PeakCandidate(PEAK)], most)
    times = heating.times_s()[:, 0]
    wanted = brute_force_s(most, cells, dwells, controller)
    assert np.isfinite(times.min()) == np.isfinite(wanted)
    if np.isfinite(wanted):
        assert wanted - 0.01 <= times.min() <= wanted + step_s * len(dwells) + 0.01
        legs = heating.legs(int(np.argmin(times)) + 1, 0)
        assert sum(leg.ramp_s + leg.hold_s for leg in legs) == pytest.approx(times.min(), abs=0.01)
        keeps(legs, cap, dwells)


def keeps(legs: tuple[HeatingLeg, ...], cap: Steps, dwells: list[Dwell]) -> None:
    """Check a way up against its caps and dwells, from its legs alone."""
    at = START
    spent = [0.0] * len(dwells)
    for leg in legs:
        rate = (leg.target_c - at) / leg.ramp_s * 3600.0
        assert min(abs(rate - known) for known in RATES) < 1e-6
        most = cap.lowest_between(np.array([at]), np.array([leg.target_c]))[0]
        assert rate <= most * (1.0 + 1e-6)
        assert 0.0 <= leg.hold_s <= CONTROLLER.longest_hold_s + 1e-6
        for number, need in enumerate(dwells):
            spent[number] += overlap_c(at, leg.target_c, need.window_c) / rate * 3600.0
            if need.window_c[0] <= leg.target_c <= need.window_c[1]:
                spent[number] += leg.hold_s
        at = leg.target_c
    for number, need in enumerate(dwells):
        if need.window_c[1] < PEAK:
            assert spent[number] >= need.at_least_s - 0.01


def test_a_summit_with_a_rate_is_approached_at_it_for_100_degrees() -> None:
    cap = Steps(EDGES, np.full(6, 80.0))
    candidates = [PeakCandidate(PEAK, 600.0, 40.0), PeakCandidate(PEAK, 0.0, 60.0)]
    heating = HeatingSearch(START, STOPS, [cap], [], CONTROLLER, candidates, 4)
    # 300 °C at 80 °C/h, then 100 °C at 40 or 60 °C/h from the stop at 320 °C, and the hold
    two = heating.times_s()[1]
    assert two == pytest.approx([3600 * (300 / 80 + 100 / 40) + 600, 3600 * (300 / 80 + 100 / 60)])
    assert heating.legs(2, 0)[-1] == HeatingLeg(PEAK, 9000.0, 600.0)


def test_a_hold_too_long_for_one_stop_is_spread_over_several() -> None:
    cap = Steps(EDGES, np.full(6, 80.0))
    short = replace(CONTROLLER, hold_max_s=3600.0)
    needs = [dwell(80.0, 120.0, 9000.0)]
    heating = HeatingSearch(START, STOPS, [cap], needs, short, [PeakCandidate(PEAK)], 3)
    legs = heating.legs(3, 0)
    # 80 to 120 °C takes 1800 s at 80 °C/h, and 7200 s are two whole holds.
    assert [(leg.target_c, leg.hold_s) for leg in legs[:2]] == [(90.0, 3600.0), (120.0, 3600.0)]
    keeps(legs, cap, needs)
    assert heating.times_s()[2, 0] == pytest.approx(400.0 / 80.0 * 3600.0 + 7200.0)


def test_windows_that_overlap_are_not_for_this() -> None:
    with pytest.raises(ValueError, match="overlap"):
        HeatingSearch(
            START,
            STOPS,
            [Steps(EDGES, np.full(6, 80.0))],
            [dwell(80.0, 200.0, 1.0), dwell(190.0, 260.0, 1.0)],
            CONTROLLER,
            [PeakCandidate(PEAK)],
            2,
        )
