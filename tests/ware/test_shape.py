"""Shapes: the way heat and water have to go, against finite differences and algebra."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.files.tomlfile import FaultyFile
from firing.ware.drying import drying_fourier
from firing.ware.file import parse_load
from firing.ware.load import Load, Piece
from firing.ware.safe_rates import limits_for
from firing.ware.shape import (
    RADIATION_PER_MM,
    SHELF_MM,
    Shape,
    closed_foot_mm,
    on_shelf_mm,
    round_bar_mm,
    thick_place_mm,
)

CELLS = 600

# The quasi-steady lag behind a ramp obeys κ·θ″ = −R: with R/κ = 2 the largest θ is the square of
# the way, for a wall heated from both faces half its thickness squared.


def lag(
    length_mm: float, *, beta: float | None = None, behind: float = 0.0, round_: bool = False
) -> np.ndarray:
    """θ over a length whose far face has none, by finite differences.

    The near face has none either, or leads heat to a hollow that lags by `behind` with β = h/k, or
    is the axis of a round bar.
    """
    n = CELLS
    step = length_mm / n
    matrix, right = np.zeros((n + 1, n + 1)), np.full(n + 1, -2.0)
    for i in range(1, n):
        inner, outer = (1.0, 1.0) if not round_ else (1.0 - 0.5 / i, 1.0 + 0.5 / i)
        matrix[i, i - 1 : i + 2] = np.array([inner, -inner - outer, outer]) / step**2
    matrix[n, n], right[n] = 1.0, 0.0
    if round_:
        matrix[0, :2], right[0] = np.array([-4.0, 4.0]) / step**2, -2.0
    elif beta is None:
        matrix[0, 0], right[0] = 1.0, 0.0
    else:
        # Half a cell at the face: what comes in from the hollow, goes on, and is stored.
        matrix[0, 0] = -1.0 / step - beta
        matrix[0, 1] = 1.0 / step
        right[0] = -2.0 * 0.5 * step - beta * behind
    found: np.ndarray = np.linalg.solve(matrix, right)
    return found


def way_mm(theta: np.ndarray) -> float:
    return math.sqrt(float(theta.max()))


def test_a_wall_free_on_both_sides_is_half_of_it() -> None:
    assert way_mm(lag(20.0)) == pytest.approx(10.0, rel=1e-3)
    assert Piece("slab", 1, 20.0, 1.0, shape="wall").heat_path_m == pytest.approx(0.010)


def test_a_foot_on_a_shelf_is_one_wall_with_it() -> None:
    for foot in (5.0, 10.0, 16.0, 20.0, 35.0, 60.0):
        theta = lag(foot + SHELF_MM)
        in_ware = theta[: round(CELLS * foot / (foot + SHELF_MM)) + 1]
        assert on_shelf_mm(foot) == pytest.approx(way_mm(in_ware), rel=5e-3), foot


def test_a_solid_piece_is_a_round_bar() -> None:
    assert round_bar_mm(60.0) == pytest.approx(way_mm(lag(30.0, round_=True)), rel=1e-3)
    assert round_bar_mm(60.0) == pytest.approx(60.0 / 2.0 / math.sqrt(2.0))


@pytest.mark.parametrize(("place", "wall"), [(35.0, 15.0), (20.0, 19.0), (60.0, 10.0)])
def test_a_thick_place_of_a_closed_form_is_warmed_through_the_hollow(
    place: float, wall: float
) -> None:
    theta = lag(place, beta=RADIATION_PER_MM, behind=wall**2)
    assert thick_place_mm(place, wall) == pytest.approx(way_mm(theta), rel=2e-3)


@pytest.mark.parametrize(("foot", "wall"), [(35.0, 15.0), (20.0, 15.0), (50.0, 8.0)])
def test_the_foot_of_a_closed_form_is_warmed_from_both_sides(foot: float, wall: float) -> None:
    theta = lag(foot + SHELF_MM, beta=RADIATION_PER_MM, behind=wall**2)
    in_ware = theta[: int(CELLS * foot / (foot + SHELF_MM)) + 1]
    assert closed_foot_mm(foot, wall) == pytest.approx(way_mm(in_ware), rel=5e-3)


def test_a_thick_place_dries_no_later_than_it_is_given() -> None:
    # Inside the hollow the air is as moist as the inner face of the wall around it.
    place, wall, diffusivity = 35.0, 15.0, 5e-3  # mm, mm, mm²/s
    (_, thick) = Piece("a", 1, place, 1.0, shape="closed hollow", wall_mm=wall).spots
    start, left = 0.015, 0.00075
    cells = 60
    dz, dx = wall / cells, place / cells
    thin, big = np.full(cells + 1, start), np.full(cells + 1, start)
    thin[-1] = big[-1] = 0.0
    step_s, time_s = 0.4 * dz**2 / diffusivity, 0.0
    while big[:-1].mean() > left:
        inner = np.append(thin[1], thin)  # its inner face is sealed by likeness
        thin[:-1] += diffusivity * step_s / dz**2 * (thin[1:] - 2 * thin[:-1] + inner[:-2])
        big[1:-1] += diffusivity * step_s / dx**2 * (big[2:] - 2 * big[1:-1] + big[:-2])
        big[0] = thin[0]
        time_s += step_s
    given_s = drying_fourier(start, left) * thick.water_mm**2 / diffusivity
    assert time_s <= given_s
    assert given_s < drying_fourier(start, left) * place**2 / diffusivity


HOLLOW = Piece("head", 1, 35.0, 12.0, shape="open hollow", wall_mm=15.0, raised=True)


def test_a_hollow_form_is_no_solid_one() -> None:
    as_before = Piece("head", 1, 35.0, 12.0, "one")
    assert as_before.heat_path_m == pytest.approx(0.035)
    assert HOLLOW.heat_path_m == pytest.approx(0.0175)
    closed = Piece("head", 1, 35.0, 12.0, shape="closed hollow", wall_mm=15.0)
    assert 0.0175 < closed.heat_path_m < 0.035
    assert Piece("head", 1, 15.0, 12.0, shape="closed hollow").heat_path_m == pytest.approx(0.015)


def test_the_slowest_spot_is_named() -> None:
    jar = Piece("jar", 2, 22.0, 4.0, shape="open hollow", wall_mm=8.0, foot_mm=22.0)
    load = Load((jar,), "bone dry")
    words = 'the 22 mm foot of "jar" (on the shelf)'
    assert load.slowest("heat").words == words
    limits = limits_for(load, purpose="bisque")
    assert words in limits.limit(90.0).text
    assert all(words in dwell.text for dwell in limits.dwells)


def test_what_vents_and_props_change() -> None:
    def spot(**form: object) -> tuple[float, float, float, float]:
        piece = Piece("a", 1, 20.0, 5.0, shape="closed hollow", **form)  # type: ignore[arg-type]
        place = piece.slowest_spot
        return place.heat_mm, place.water_mm, place.steam_mm, place.air_mm

    assert spot() == (20.0, 20.0, 20.0, 20.0)
    assert spot(vents="drilled") == (20.0, 20.0, 10.0, 20.0)
    assert spot(vents="open") == (10.0, 10.0, 10.0, 10.0)
    plate = Piece("plate", 1, 12.0, 1.0, shape="plate")
    assert plate.heat_path_m > 0.012  # the shelf keeps it waiting
    assert Piece("plate", 1, 12.0, 1.0, shape="plate", raised=True).heat_path_m == 0.006


def test_what_would_help_a_piece_is_told() -> None:
    def help_for(piece: Piece) -> str:
        found = piece.eased()
        return "" if found is None else found.how

    jar = Piece("jar", 1, 22.0, 4.0, shape="open hollow", wall_mm=8.0, foot_mm=22.0)
    assert "Raised on props" in help_for(jar)
    assert help_for(HOLLOW) == ""
    head = Piece("head", 1, 20.0, 9.0, shape="closed hollow", raised=True)
    assert "opening" in help_for(head)
    assert help_for(Piece("lump", 1, 40.0, 2.0, shape="solid")) == ""


def test_a_stack_is_as_thick_as_it_is_high_but_no_slower_than_a_bar_as_wide() -> None:
    def stack(high: int, across: float | None = None) -> float:
        return Piece("t", 9, 10.0, 1.0, shape="tile", stacked=high, across_mm=across).heat_path_m

    assert stack(4) == pytest.approx(0.001 * (40.0 + SHELF_MM) / 2.0)
    assert stack(40, 100.0) == pytest.approx(0.001 * 100.0 / 2.0 / math.sqrt(2.0))


@given(
    st.sampled_from(["plate", "tile", "wall", "open hollow", "closed hollow", "solid"]),
    st.floats(3.0, 60.0),
    st.floats(1.01, 2.0),
)
def test_thicker_is_never_quicker(shape: Shape, thick: float, more: float) -> None:
    def ways(thick_mm: float) -> tuple[float, ...]:
        spot = Piece("a", 1, thick_mm, 1.0, shape=shape).slowest_spot
        return spot.heat_mm, spot.water_mm, spot.steam_mm, spot.air_mm

    assert all(a < b for a, b in zip(ways(thick), ways(more * thick), strict=True))


FILE = """dryness = "bone dry"
body = "stoneware"
[[piece]]
name = "head"
thickest_mm = 35
mass_kg = 12
"""


def test_a_load_file_says_the_shape() -> None:
    more = 'shape = "closed hollow"\nwall_mm = 15\nfoot_mm = 20\nvents = "drilled"\nraised = true\n'
    (piece,) = parse_load(FILE + more).pieces
    assert (piece.shape, piece.wall_mm, piece.foot_mm) == ("closed hollow", 15.0, 20.0)
    assert (piece.vents, piece.raised, piece.heated_from) == ("drilled", True, "both")
    (older,) = parse_load(FILE + 'heated_from = "one"\n').pieces
    assert older.shape is None
    assert older.heat_path_m == pytest.approx(0.035)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('shape = "plate"\nheated_from = "one"', "heated_from: the shape"),
        ("wall_mm = 15", "wall_mm: needs a shape"),
        ('shape = "solid"\nwall_mm = 15', "wall_mm: is for hollow forms"),
        ('shape = "open hollow"\nwall_mm = 40', "write the larger one as thickest_mm"),
        ('shape = "open hollow"\nfoot_mm = 40', "write the larger one as thickest_mm"),
        ('shape = "open hollow"\nvents = "drilled"', "vents: are for a closed form"),
        ('shape = "wall"\nstacked = 3', "stacked: is for pieces that lie"),
        ('shape = "bowl"', "shape"),
        ("raised = true", "raised: needs a shape"),
    ],
)
def test_what_does_not_fit_together_is_told_with_its_line(more: str, words: str) -> None:
    with pytest.raises(FaultyFile) as refusal:
        parse_load(f"{FILE}{more}\n", "load.toml")
    line = 6 + len(more.splitlines())
    assert words in str(refusal.value)
    assert f"load.toml:{line}:" in str(refusal.value)


def test_a_piece_that_contradicts_itself_is_refused() -> None:
    with pytest.raises(FiringError, match=r'heated_from of "a"'):
        Piece("a", 1, 9.0, 1.0, "one", shape="tile")
