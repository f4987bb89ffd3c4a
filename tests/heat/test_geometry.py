"""Shapes: areas, volumes and resistances agree with geometry and with each other."""

import math

import pytest
from heat.marching import Pipe
from hypothesis import given
from hypothesis import strategies as st

from firing.heat.conduction import BoxChamber, Plane, RoundChamber, cube, drum


def test_a_cube_loses_by_langmuirs_factor() -> None:
    # S = A/x + 0.54 L + 0.15 x a corner (``langmuir-shape-factor``): 0.5 m cube, 75 mm wall.
    box = cube(0.125)
    assert 1.0 / box.resistance(0.075) == pytest.approx(
        1.5 / 0.075 + 0.54 * 6.0 + 8 * 0.15 * 0.075, rel=1e-12
    )
    # The cited note: edges and corners add 10 to 20 % to the flat wall's loss.
    assert 1.10 <= 0.075 / 1.5 / box.resistance(0.075) <= 1.20


def test_a_drum_is_as_high_as_wide_and_holds_its_volume() -> None:
    chamber = drum(0.18)
    assert chamber.diameter_m == chamber.height_m
    assert chamber.volume_m3 == pytest.approx(0.18)
    assert chamber.inside_m2 == pytest.approx(1.5 * math.pi * chamber.diameter_m**2)


@given(
    st.sampled_from([Plane(1.3), Pipe(0.3, 0.6), cube(0.1), drum(0.1), BoxChamber(0.4, 0.5, 0.9)]),
    st.floats(0.01, 0.15),
)
def test_resistance_and_volume_grow_with_depth(
    shape: Plane | Pipe | BoxChamber | RoundChamber, depth_m: float
) -> None:
    assert 0.0 < shape.resistance(0.5 * depth_m) < shape.resistance(depth_m)
    assert 0.0 < shape.volume(0.5 * depth_m) < shape.volume(depth_m)
    # A thin skin is flat: x/A and A·x.
    thin_m = 1e-5
    assert shape.resistance(thin_m) == pytest.approx(thin_m / shape.inside_m2, rel=1e-3)
    assert shape.volume(thin_m) == pytest.approx(thin_m * shape.inside_m2, rel=1e-3)
    assert shape.outside_m2(depth_m) >= shape.inside_m2


@given(st.floats(0.01, 0.2))
def test_a_pipe_is_exact(depth_m: float) -> None:
    pipe = Pipe(0.2, 1.0)
    assert pipe.volume(depth_m) == pytest.approx(math.pi * ((0.2 + depth_m) ** 2 - 0.04))
    assert pipe.resistance(depth_m) == pytest.approx(
        math.log((0.2 + depth_m) / 0.2) / (2 * math.pi)
    )
