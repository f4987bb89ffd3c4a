"""The transient solution: it bears out the limits, and finds out a course that breaks them."""

import numpy as np
import pytest

from firing.errors import FiringError
from firing.heat import default_kiln
from firing.schedule.schedule import Purpose, Schedule, Segment
from firing.trace import FloatArray
from firing.ware.check import check_wall
from firing.ware.limits import WareLimits, lowest_of
from firing.ware.load import Dryness, HeatedFrom, Load, Piece
from firing.ware.safe_rates import limits_for
from firing.ware.simulate import simulate_ware

# Half as fast again as the default kiln, up and down.
KILN = 1.5
# Only names the segment in a finding.
PLAN = Schedule("a plan", (Segment(1000.0, 100.0), Segment(60.0, None, "off")))


def load(
    thickness_mm: float,
    dryness: Dryness = "bone dry",
    body: str = "stoneware",
    heated_from: HeatedFrom = "both",
) -> Load:
    return Load((Piece("bowl", 1, thickness_mm, 1.0, heated_from),), dryness, body)


def quickest(limits: WareLimits, top_c: float) -> tuple[FloatArray, FloatArray]:
    """A course that uses every limit up: its rates up and down, and the drying hold at 85 °C."""
    points = {30.0, 85.0, top_c, *(c for c in limits.breakpoints_c if 30.0 < c < top_c)}
    edges = np.unique([*np.arange(30.0, top_c, 10.0), *points])
    middle = 0.5 * (edges[:-1] + edges[1:])
    fastest = KILN * default_kiln.full_power_rate_c_per_h(middle)
    up = np.diff(edges) / np.minimum(lowest_of(limits.of("heating"), edges), fastest) * 3600.0
    fastest = KILN * default_kiln.cooling_rate_c_per_h(middle)
    down = np.diff(edges) / np.minimum(lowest_of(limits.of("cooling"), edges), fastest) * 3600.0
    time_s = np.concatenate(([0.0], np.cumsum(up)))
    surface_c = edges
    drying = [dwell for dwell in limits.dwells if dwell.window_c == (80.0, 95.0)]
    if drying:
        place = int(np.searchsorted(edges, 85.0))
        inside = np.interp(95.0, edges, time_s) - np.interp(80.0, edges, time_s)
        hold_s = max(drying[0].at_least_s - inside, 1.0)
        time_s = np.insert(time_s, place + 1, time_s[place])
        time_s[place + 1 :] += hold_s
        surface_c = np.insert(surface_c, place + 1, 85.0)
    time_s = np.concatenate((time_s, time_s[-1] + np.cumsum(down[::-1])))
    return time_s, np.concatenate((surface_c, edges[::-1][1:]))


@pytest.mark.parametrize(
    ("purpose", "dryness", "top_c"),
    [
        ("bisque", "bone dry", 1000.0),
        ("once-fired", "bone dry", 1220.0),
        ("glaze", "bisqued, freshly glazed", 1240.0),
        ("decal", "bisqued", 800.0),
    ],
)
@pytest.mark.parametrize("body", ["earthenware, grogged", "stoneware", "porcelain"])
def test_a_course_at_its_limits_is_borne_out(
    purpose: Purpose, dryness: Dryness, top_c: float, body: str
) -> None:
    cases: tuple[tuple[float, HeatedFrom, float], ...] = (
        (6.0, "both", 1.0),
        (25.0, "both", 1.5),
        (28.0, "one", 1.0),
        (28.0, "one", 1.5),
    )
    for thickness_mm, heated_from, margin in cases:
        ware = load(thickness_mm, dryness, body, heated_from)
        limits = limits_for(ware, purpose=purpose, margin=margin)
        course = simulate_ware(ware, *quickest(limits, top_c))
        assert check_wall(course, limits, PLAN) == ()


def test_a_course_that_skips_the_drying_is_found_out() -> None:
    ware = load(25.0)
    limits = limits_for(ware, purpose="bisque")
    course = simulate_ware(ware, np.array([0.0, 12 * 3600.0]), np.array([20.0, 620.0]))
    found = check_wall(course, limits, PLAN)
    assert any("vapour" in b.message and "dry longer" in b.message for b in found)


def test_a_course_too_fast_for_the_wall_is_found_out() -> None:
    ware = load(50.0, "bisqued")
    limits = limits_for(ware, purpose="glaze")
    # Down past the quartz at four times the 46 °C/h that 50 mm allow.
    time_s = np.array([0.0, 8.0, 12.5]) * 3600.0
    course = simulate_ware(ware, time_s, np.array([20.0, 1000.0, 100.0]))
    found = check_wall(course, limits, PLAN)
    assert any("cooling from 580 °C to 550 °C" in breach.message for breach in found)
    assert course.difference_k.min() < -30.0 < 0.0 < course.difference_k.max()


def test_bound_water_left_when_sintering_begins_is_found_out() -> None:
    ware = load(60.0, heated_from="one")
    limits = limits_for(ware, purpose="bisque")
    course = simulate_ware(ware, np.array([0.0, 2 * 3600.0]), np.array([20.0, 1000.0]))
    found = check_wall(course, limits, PLAN)
    assert any("bound water is still" in breach.message for breach in found)


def test_water_only_leaves() -> None:
    ware = load(18.0)
    course = simulate_ware(
        ware, np.array([0.0, 2.0, 8.0, 26.0, 40.0]) * 3600.0, np.array([20.0, 88, 88, 900, 60])
    )
    assert course.time_s[0] == 0.0
    assert course.time_s[-1] == 40.0 * 3600.0
    assert np.all(np.diff(course.free_water_share) <= 1e-15)
    assert np.all(np.diff(course.bound_water_gone) >= -1e-15)
    assert course.free_water_share[0] == pytest.approx(0.015)
    assert course.bound_water_gone[-1] == pytest.approx(1.0)
    assert course.end.burn_out_s > 3600.0


def test_a_firing_goes_on_where_it_stopped() -> None:
    ware = load(18.0)
    time_s = np.array([0.0, 2.0, 6.0, 18.0]) * 3600.0
    surface_c = np.array([20.0, 88.0, 88.0, 640.0])
    whole = simulate_ware(ware, time_s, surface_c)
    first = simulate_ware(ware, time_s[:3], surface_c[:3])
    second = simulate_ware(ware, time_s[2:], surface_c[2:], start=first.end)
    assert second.end.drying_fourier == pytest.approx(whole.end.drying_fourier, rel=0.01)
    assert second.end.bound_water_gone == pytest.approx(whole.end.bound_water_gone, abs=0.01)


def test_fired_ware_has_lost_its_bound_water_and_may_be_dry() -> None:
    course = simulate_ware(load(8.0, "bisqued"), np.array([0.0, 36000.0]), np.array([20.0, 1020.0]))
    assert np.all(course.bound_water_gone == 1.0)
    assert np.all(course.core_vapour_kpa == 0.0)


def test_the_leaving_water_holds_the_middle_back() -> None:
    time_s, surface_c = np.array([0.0, 15 * 3600.0]), np.array([20.0, 770.0])
    raw = simulate_ware(load(25.0), time_s, surface_c)
    # At 50 °C/h the lag without a reaction is R L²/2κ = 2.7 K; with it three to five times that.
    assert raw.largest_difference_k(660.0, 760.0) == pytest.approx(2.71, rel=0.05)
    assert 3.0 < raw.largest_difference_k(500.0, 600.0) / 2.71 < 5.0


@pytest.mark.parametrize(
    ("time_s", "surface_c", "said"),
    [
        ([0.0], [20.0], "two times"),
        ([0.0, 1.0], [20.0], "one temperature for each"),
        ([0.0, 0.0], [20.0, 30.0], "rise"),
        ([0.0, float("nan")], [20.0, 30.0], "rise"),
        ([0.0, 1.0], [20.0, 1500.0], "1450"),
        ([0.0, 1.0], [20.0, float("nan")], "1450"),
    ],
)
def test_courses_that_cannot_be_followed_are_refused(
    time_s: list[float], surface_c: list[float], said: str
) -> None:
    with pytest.raises(FiringError, match=said):
        simulate_ware(load(8.0), np.array(time_s), np.array(surface_c))
