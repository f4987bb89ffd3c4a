"""The conduction solver: what enters is what is stored, and halving steps halves errors twice."""

import math

import numpy as np
import pytest
from heat.marching import conduct, constant_material
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.heat.balance import (
    EVEN_STEPS,
    STEADY_GROWTH,
    Boundary,
    Exchange,
    FixedTemperature,
    HeatFlux,
    at_rest,
    extrapolation,
    formula,
    weights,
)
from firing.heat.conduction import Layer, Plane, Slab, drum
from firing.heat.properties import wall_material

BRICK = wall_material("insulating brick 1260")
FIBRE = wall_material("ceramic fibre blanket 128")
PLAIN = constant_material("plain", density_kg_per_m3=1000.0, conductivity=1.0, specific_heat=1000.0)


def two_layers() -> Slab:
    return Slab([Layer(BRICK, 0.065, 6, 1.2), Layer(FIBRE, 0.025, 3)], drum(0.1))


@given(
    steps=st.lists(st.floats(1.0, 1000.0), min_size=3, max_size=3),
    parabola=st.tuples(*[st.floats(-5.0, 5.0)] * 3),
)
def test_the_time_formula_and_the_guess_are_exact_for_parabolas(
    steps: list[float], parabola: tuple[float, float, float]
) -> None:
    newest, before, earlier = steps
    p, q, r = parabola

    def value(t: float) -> float:
        return p + q * t + r * t * t

    a, b, c = weights(newest, before)
    slope = a * value(0.0) + b * value(-newest) + c * value(-newest - before)
    scale = 1.0 + abs(p) * a + abs(q) + abs(r) * sum(steps) ** 2 * a
    assert slope == pytest.approx(q, abs=1e-9 * scale)
    x, y, z = extrapolation(newest, before, earlier)
    guess = x * value(-newest) + y * value(-newest - before) + z * value(-newest - before - earlier)
    size = abs(x) + abs(y) + abs(z)
    assert guess == pytest.approx(value(0.0), abs=1e-9 * size * (1.0 + 5.0 * sum(steps) ** 2))


@given(
    steps=st.lists(st.floats(1.0, 100.0), min_size=3, max_size=3).filter(
        lambda steps: steps[0] <= STEADY_GROWTH * steps[1]
    ),
    cubic=st.tuples(*[st.floats(-5.0, 5.0)] * 4),
)
def test_the_formula_of_third_order_is_exact_for_cubics(
    steps: list[float], cubic: tuple[float, float, float, float]
) -> None:
    newest, before, earlier = steps
    times = [0.0, -newest, -newest - before, -sum(steps)]
    found, guess = formula(newest, before, earlier, 3)
    slope = sum(w * np.polyval(cubic, t) for w, t in zip(found, times, strict=True))
    size = sum(abs(w) for w in found) * sum(abs(k) for k in cubic) * max(1.0, sum(steps)) ** 3
    assert slope == pytest.approx(cubic[2], abs=1e-9 * (1.0 + size))
    # Where the set-point has just bent, or a step grows too fast, it is of lower order.
    assert formula(newest, before, earlier, 2)[0][:3] == weights(newest, before)
    assert formula(newest, before, earlier, 0)[0] == (1.0 / newest, -1.0 / newest, 0.0, 0.0)
    assert formula(2.0 * before, before, earlier, 9)[0][3] == 0.0
    assert guess == extrapolation(newest, before, earlier)


def test_the_formula_for_even_steps_is_exact_for_quartics() -> None:
    # d/dt of t⁰ to t⁴ at t = 0, from the values at 0, -1, -2, -3 and -4.
    slopes = [sum(w * (-float(i)) ** k for i, w in enumerate(EVEN_STEPS)) for k in range(5)]
    assert slopes == pytest.approx([0.0, 1.0, 0.0, 0.0, 0.0], abs=1e-12)


@settings(max_examples=25)
@given(
    inside=st.sampled_from(
        [
            FixedTemperature(900.0),
            FixedTemperature(lambda t: 20.0 + 0.03 * t),
            HeatFlux(3000.0),
            Exchange(1100.0, 5.0, 0.9),
        ]
    ),
    outside=st.sampled_from([Exchange(20.0, 8.0, 0.3), HeatFlux(), FixedTemperature(20.0)]),
    step_s=st.floats(20.0, 600.0),
)
def test_what_enters_is_what_is_stored(inside: Boundary, outside: Boundary, step_s: float) -> None:
    run = conduct(
        two_layers(), 20.0, inside=inside, outside=outside, duration_s=3600.0, step_s=step_s
    )
    size = float(np.max(np.abs(run.entered_j)))
    assert np.max(np.abs(run.entered_j - run.stored_j)) <= 1e-9 * size


def test_halving_the_step_quarters_the_error() -> None:
    # Second order in time, on a face that swings: the exact answer is a much finer run's.
    slab = Slab([Layer(PLAIN, 0.05, 8)], Plane())

    def end_c(step_s: float) -> float:
        run = conduct(
            slab,
            0.0,
            inside=FixedTemperature(lambda t: 100.0 * math.sin(t / 600.0)),
            duration_s=3000.0,
            step_s=step_s,
        )
        return float(run.temperature_c[-1, -1])

    exact = end_c(2.0)
    assert abs(end_c(60.0) - exact) / abs(end_c(30.0) - exact) == pytest.approx(4.0, abs=1.0)


def test_halving_the_grid_quarters_the_error() -> None:
    def middle_c(intervals: int) -> float:
        slab = Slab([Layer(PLAIN, 0.1, intervals)], Plane())
        run = conduct(slab, 0.0, inside=HeatFlux(1000.0), duration_s=1500.0, step_s=10.0)
        return float(run.temperature_c[-1, 0])

    exact = middle_c(128)
    assert abs(middle_c(8) - exact) / abs(middle_c(16) - exact) == pytest.approx(4.0, abs=0.5)


def test_at_rest_the_same_heat_passes_every_layer() -> None:
    slab = two_layers()
    rest = at_rest(slab, 400.0, inside=FixedTemperature(1000.0), outside=Exchange(20.0, 10.0))
    flows = slab.flows_w([float(t) for t in rest.temperature_c])
    assert flows == pytest.approx([rest.outward_w] * len(flows), rel=1e-8)
    assert rest.outward_w == pytest.approx(
        10.0 * slab.outside_m2 * (rest.temperature_c[-1] - 20.0), rel=1e-8
    )


def test_a_long_run_ends_at_rest() -> None:
    slab = two_layers()
    outside = Exchange(20.0, 10.0, 0.3)
    rest = at_rest(slab, 400.0, inside=FixedTemperature(1000.0), outside=outside)
    run = conduct(
        slab, 20.0, inside=FixedTemperature(1000.0), outside=outside, duration_s=4e5, step_s=4e3
    )
    assert run.temperature_c[-1] == pytest.approx(rest.temperature_c, abs=0.01)


def test_a_table_left_is_told_and_its_margin_is_the_end() -> None:
    slab = Slab([Layer(FIBRE, 0.05, 5)], Plane())
    hot = at_rest(slab, 500.0, inside=FixedTemperature(1150.0), outside=FixedTemperature(50.0))
    assert any("20 to 1000 °C" in note and "1150 °C" in note for note in hot.notes)
    with pytest.raises(FiringError, match=r"conductivity of ceramic fibre.*1200 °C"):
        at_rest(slab, 500.0, inside=FixedTemperature(1300.0), outside=FixedTemperature(50.0))


def test_what_cannot_be_solved_is_refused() -> None:
    with pytest.raises(FiringError, match="above 0 mm"):
        Layer(BRICK, 0.0, 3)
    with pytest.raises(FiringError, match="never comes to rest"):
        at_rest(two_layers(), 20.0, inside=HeatFlux(10.0), outside=HeatFlux())
    with pytest.raises(FiringError, match="above 0 s"):
        conduct(two_layers(), 20.0, inside=HeatFlux(), duration_s=0.0, step_s=1.0)
