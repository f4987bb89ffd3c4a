"""The limits of a load: how they move with thickness, caution and purpose, and what is refused."""

from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.schedule.schedule import Purpose
from firing.sources import source
from firing.ware.limits import (
    HIGHEST_C,
    LOWEST_C,
    REASONS,
    Direction,
    Reason,
    WareLimits,
    lowest_of,
)
from firing.ware.load import BODIES, Dryness, HeatedFrom, Load, Piece, WareState
from firing.ware.reactions import LATE_STEAM_C
from firing.ware.safe_rates import limits_for

GRID = np.linspace(LOWEST_C, HIGHEST_C, 300)
CASES: tuple[tuple[Purpose, Dryness], ...] = (
    ("bisque", "bone dry"),
    ("bisque", "damp"),
    ("bisque", "leather hard"),
    ("once-fired", "bone dry"),
    ("glaze", "bisqued"),
    ("glaze", "bisqued, freshly glazed"),
    ("decal", "bisqued"),
    ("other", "bone dry"),
    ("other", "bisqued"),
)


def load(
    thickness_mm: float,
    dryness: Dryness = "bone dry",
    body: str = "stoneware, grogged",
    heated_from: HeatedFrom = "both",
) -> Load:
    return Load((Piece("planter", 4, thickness_mm, 3.2, heated_from),), dryness, body)


def dwell_s(limits: WareLimits) -> dict[str, float]:
    return {dwell.reason: dwell.at_least_s for dwell in limits.dwells}


@pytest.mark.parametrize("body", BODIES)
def test_thicker_ware_is_never_limited_less(subtests: pytest.Subtests, body: str) -> None:
    for purpose, dryness in CASES:
        with subtests.test(f"{purpose}, {dryness}"):
            # Equal up to the last digit of the arithmetic.
            heating, cooling = (np.full(GRID.size, np.inf) for _ in range(2))
            then: dict[str, float] | None = None
            for thickness_mm in range(5, 61):
                limits = limits_for(load(thickness_mm, dryness, body), purpose=purpose)
                slower, needed_s = limits.heating(GRID), dwell_s(limits)
                assert np.all(slower <= heating * (1 + 1e-12))
                heating = slower
                slower = limits.cooling(GRID)
                assert np.all(slower <= cooling * (1 + 1e-12))
                cooling = slower
                if then is not None:
                    assert needed_s.keys() == then.keys()
                    assert all(then[reason] < needed for reason, needed in needed_s.items())
                then = needed_s


@settings(max_examples=60)
@given(
    case=st.sampled_from(CASES),
    body=st.sampled_from(BODIES),
    thickness_mm=st.floats(1.0, 120.0),
    margins=st.lists(st.floats(1.0, 5.0), min_size=2, max_size=2, unique=True),
)
def test_more_margin_is_slower_and_longer(
    case: tuple[Purpose, Dryness], body: str, thickness_mm: float, margins: list[float]
) -> None:
    low, high = (
        limits_for(load(thickness_mm, case[1], body), purpose=case[0], margin=margin)
        for margin in sorted(margins)
    )
    assert np.all(high.heating(GRID) <= low.heating(GRID))
    assert np.all(high.cooling(GRID) <= low.cooling(GRID))
    for reason, needed in dwell_s(low).items():
        assert dwell_s(high)[reason] >= needed


@settings(max_examples=60)
@given(
    case=st.sampled_from(CASES),
    body=st.sampled_from(BODIES),
    thickness_mm=st.floats(1.0, 120.0),
    edges=st.lists(st.floats(0.0, 1400.0), min_size=2, max_size=30, unique=True),
)
def test_the_rate_of_a_cell_is_safe_at_every_temperature_inside(
    case: tuple[Purpose, Dryness], body: str, thickness_mm: float, edges: list[float]
) -> None:
    limits = limits_for(load(thickness_mm, case[1], body), purpose=case[0])
    grid = np.sort(np.array(edges))
    up, down = (lowest_of(limits.of(way), grid) for way in get_args(Direction))
    for low, high, heating, cooling in zip(grid[:-1], grid[1:], up, down, strict=True):
        if high - low < 1e-3:
            continue
        inside = np.linspace(low, high, 41)[1:-1]
        assert np.all(limits.heating(inside) >= heating * (1 - 1e-12))
        assert np.all(limits.cooling(inside) >= cooling * (1 - 1e-12))
    # A cell that ends where a window begins is not slowed by it.
    points = np.array(sorted({20.0, 1000.0, *limits.breakpoints_c}))
    middles = 0.5 * (points[:-1] + points[1:])
    level = limits.without("bound water").without("thermal stress")
    level = level.without("free water")
    assert np.array_equal(lowest_of(level.of("heating"), points), level.heating(middles))


def test_from_one_face_counts_four_times() -> None:
    # L is the whole wall instead of half of it, and the difference goes with L squared.
    for purpose, dryness in CASES:
        one = limits_for(load(20.0, dryness, heated_from="one"), purpose=purpose)
        both = limits_for(load(40.0, dryness), purpose=purpose)
        assert np.array_equal(one.heating(GRID), both.heating(GRID))
        assert dwell_s(one) == dwell_s(both)
    both, one = (
        limits_for(load(40.0, heated_from=side), purpose="bisque") for side in ("both", "one")
    )
    assert dwell_s(one)["free water"] == pytest.approx(4.0 * dwell_s(both)["free water"])
    quartz = [limits.limit(573.0, "cooling").rate_c_per_h for limits in (both, one)]
    assert quartz[0] == pytest.approx(4.0 * quartz[1])


def test_the_thickest_piece_governs() -> None:
    cup, planter = Piece("cup", 24, 5.0, 0.32), Piece("planter", 4, 18.0, 3.2)
    tile = Piece("tile", 2, 10.0, 1.0, "one")
    mixed = limits_for(Load((cup, planter, tile), "bone dry"), purpose="bisque")
    alone = limits_for(Load((tile,), "bone dry"), purpose="bisque")
    assert mixed.piece is tile
    assert np.array_equal(mixed.heating(GRID), alone.heating(GRID))
    assert mixed.dwells == alone.dwells
    assert '"tile" (heated from one face)' in mixed.limit(300.0).text


@pytest.mark.parametrize("body", BODIES)
def test_once_fired_ware_obeys_the_bisque_on_the_way_up(body: str) -> None:
    for thickness_mm in (5.0, 25.0, 60.0):
        once = limits_for(load(thickness_mm, body=body), purpose="once-fired")
        bisque = limits_for(load(thickness_mm, body=body), purpose="bisque")
        assert np.array_equal(once.heating(GRID), bisque.heating(GRID)), thickness_mm
        assert once.dwells == bisque.dwells, thickness_mm


def test_fired_ware_has_no_bound_water_and_no_carbon() -> None:
    glaze = limits_for(load(25.0, "bisqued, freshly glazed"), purpose="glaze")
    reasons = {limit.reason for limit in glaze.of("heating")}
    assert not reasons & {"bound water", "carbon"}
    assert [dwell.reason for dwell in glaze.dwells] == ["free water"]
    dry = limits_for(load(25.0, "bisqued"), purpose="glaze")
    assert dry.dwells == ()
    assert "free water" not in {limit.reason for limit in dry.limits}


def test_cristobalite_matters_only_after_a_firing_to_maturity() -> None:
    def reasons(purpose: Purpose, dryness: Dryness) -> set[str]:
        found = limits_for(load(60.0, dryness), purpose=purpose)
        return {limit.reason for limit in found.of("cooling")}

    assert "cristobalite" not in reasons("bisque", "bone dry")
    assert "cristobalite" in reasons("glaze", "bisqued")
    assert "cristobalite" in reasons("once-fired", "bone dry")


def test_quartz_is_weaker_on_the_way_up_than_down() -> None:
    # Materials 13(21), 4968, 2020: hardly any effect at 573 degC while heating, a sharp one after.
    found = limits_for(load(50.0, "bisqued"), purpose="glaze")
    rates = {
        limit.direction: float(limit.at(np.array(573.0)))
        for limit in found.limits
        if limit.reason == "quartz"
    }
    assert rates["heating"] > rates["cooling"]


def test_bone_china_is_hardly_limited_by_quartz() -> None:
    # It is made with bone ash in place of quartz.
    china = limits_for(load(50.0, body="bone china"), purpose="bisque")
    stone = limits_for(load(50.0, body="stoneware"), purpose="bisque")
    rates = [limits.limit(573.0, "cooling").rate_c_per_h for limits in (china, stone)]
    assert rates[0] == pytest.approx(2.0 * rates[1])


@pytest.mark.parametrize("reason", REASONS)
def test_every_reason_binds_somewhere(reason: Reason) -> None:
    changed = False
    for purpose, dryness in CASES:
        whole = limits_for(load(60.0, dryness), purpose=purpose)
        less = whole.without(reason)
        assert np.all(less.heating(GRID) >= whole.heating(GRID))
        changed |= bool(
            np.any(less.heating(GRID) > whole.heating(GRID))
            or np.any(less.cooling(GRID) > whole.cooling(GRID))
            or len(less.dwells) < len(whole.dwells)
        )
    assert changed


@pytest.mark.parametrize("body", BODIES)
def test_every_answer_has_a_known_source_a_reason_and_a_range(
    subtests: pytest.Subtests, body: str
) -> None:
    for purpose, dryness in CASES:
        for thickness_mm in (5.0, 60.0):
            with subtests.test(f"{purpose}, {dryness}, {thickness_mm} mm"):
                limits = limits_for(load(thickness_mm, dryness, body), purpose=purpose)
                for limit in limits.limits:
                    assert source(limit.source).id == limit.source
                    assert limit.reason in REASONS
                    low, high = limit.spread
                    assert low <= 1.0 <= high
                for dwell in limits.dwells:
                    assert source(dwell.source).id == dwell.source
                    assert dwell.low_s <= dwell.at_least_s <= dwell.high_s
                    assert dwell.sentence().endswith(").")
                    assert dwell.to_dict()["at_least_s"] == round(dwell.at_least_s)
                for at_c in (20.0, 100.0, 300.0, 573.0, 800.0, 1200.0):
                    answer = limits.limit(at_c)
                    assert answer.rate_c_per_h == limits.heating(np.array([at_c]))[0]
                    assert answer.low_c_per_h <= answer.rate_c_per_h <= answer.high_c_per_h
                    assert answer.to_dict()["reason"] == answer.reason


def test_practice_is_marked_as_such() -> None:
    answer = limits_for(load(6.0), purpose="bisque").limit(300.0)
    assert answer.reason == "common practice"
    assert "common practice, no source" in answer.text
    assert source(answer.source).kind == "common practice"


def test_what_an_interrupted_firing_has_done_need_not_be_done_again() -> None:
    whole = limits_for(load(25.0), purpose="bisque")
    half = limits_for(
        load(25.0),
        purpose="bisque",
        state=WareState(drying_fourier=0.5, bound_water_gone=0.5, burn_out_s=600.0),
    )
    assert dwell_s(half).keys() == dwell_s(whole).keys()
    left, needed = ({d.window_c: d.at_least_s for d in w.dwells} for w in (half, whole))
    # Half of all bound water is less than what leaves before the illite's later part.
    assert left.pop(LATE_STEAM_C) == needed.pop(LATE_STEAM_C)
    assert all(left[window_c] < at_least_s for window_c, at_least_s in needed.items())
    done = limits_for(
        load(25.0),
        purpose="bisque",
        state=WareState(drying_fourier=3.0, bound_water_gone=1.0, burn_out_s=9e4),
    )
    assert done.dwells == ()
    assert "bound water" not in {limit.reason for limit in done.limits}


@pytest.mark.parametrize("dryness", ["leather hard", "damp", "bone dry"])
@pytest.mark.parametrize("purpose", ["glaze", "decal"])
def test_raw_ware_is_not_glaze_fired(purpose: Purpose, dryness: Dryness) -> None:
    with pytest.raises(FiringError, match=dryness) as refused:
        limits_for(load(8.0, dryness), purpose=purpose)
    assert purpose in str(refused.value)
    assert 'purpose "bisque"' in str(refused.value)


def test_other_contradictions_of_dryness_and_purpose_are_refused() -> None:
    with pytest.raises(FiringError, match='write "glaze"'):
        limits_for(load(8.0, "bisqued"), purpose="once-fired")
    with pytest.raises(FiringError, match="melt its glaze"):
        limits_for(load(8.0, "bisqued, freshly glazed"), purpose="bisque")


@pytest.mark.parametrize("thickness_mm", [250.1, 500.0, 501.0, float("inf")])
def test_walls_that_nothing_is_known_of_are_refused(thickness_mm: float) -> None:
    with pytest.raises(FiringError, match="250 mm"):
        limits_for(load(thickness_mm), purpose="bisque")


@pytest.mark.parametrize("thickness_mm", [0.0, -5.0, float("nan")])
def test_no_thickness_is_refused(thickness_mm: float) -> None:
    with pytest.raises(FiringError, match="above 0 mm"):
        limits_for(load(thickness_mm), purpose="bisque")


@pytest.mark.parametrize("margin", [0.0, 0.99, 5.01, float("nan"), -1.0])
def test_a_margin_out_of_range_is_refused(margin: float) -> None:
    with pytest.raises(FiringError, match="margin"):
        limits_for(load(8.0), purpose="bisque", margin=margin)


@pytest.mark.parametrize("temperature_c", [-41.0, 1451.0, float("nan")])
def test_temperatures_out_of_range_are_refused(temperature_c: float) -> None:
    limits = limits_for(load(8.0), purpose="bisque")
    with pytest.raises(FiringError, match="-40 to 1450"):
        limits.limit(temperature_c)
    with pytest.raises(FiringError, match="-40 to 1450"):
        limits.cooling(np.array([20.0, temperature_c]))


def test_an_unknown_body_gets_a_suggestion() -> None:
    with pytest.raises(FiringError, match='did you mean "stoneware, grogged"'):
        limits_for(load(8.0, body="stoneware groged"), purpose="bisque")
    with pytest.raises(FiringError, match="bone china"):
        limits_for(load(8.0, body="xyzzy"), purpose="bisque")


def test_without_any_reason_left_nothing_limits() -> None:
    limits = limits_for(load(8.0, "bisqued"), purpose="glaze").without("thermal stress")
    assert limits.heating(np.array([900.0]))[0] == np.inf
    with pytest.raises(FiringError, match="thermal stress is left out"):
        limits.limit(900.0)
