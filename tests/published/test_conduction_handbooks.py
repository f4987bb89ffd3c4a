"""The handbooks' worked examples, through the very solver that computes the kiln's wall.

Where a book's answer was read off a chart, or is rounded more than the tolerance, the exact series
is computed beside it and named.  Grids and steps are far finer than the kiln needs.
"""

import math

import numpy as np
import pytest
from heat.marching import Pipe, Transient, conduct, constant_material
from published.ledger import compare

from firing.heat.balance import (
    Exchange,
    FixedTemperature,
    HeatFlux,
    at_rest,
    radiation_w_per_m2k,
)
from firing.heat.conduction import Layer, Plane, Slab
from firing.heat.properties import Material, PropertyTable

KELVIN = 273.15


def of_diffusivity(kappa_m2_per_s: float, conductivity: float = 1.0) -> Material:
    """A material of a diffusivity: the examples name that only."""
    return constant_material(
        "handbook material",
        density_kg_per_m3=1000.0,
        conductivity=conductivity,
        specific_heat=conductivity / (1000.0 * kappa_m2_per_s),
    )


def plate(material: Material, thickness_m: float, intervals: int, growth: float = 1.0) -> Slab:
    return Slab([Layer(material, thickness_m, intervals, growth)], Plane())


def at(run: Transient, slab: Slab, depth_m: float) -> float:
    """The temperature at a depth at the end."""
    return float(np.interp(depth_m, slab.depth_m, run.temperature_c[-1]))


def test_w12_brick_wall_heated_from_one_face() -> None:
    # Coulson & Richardson, Chemical Engineering vol. 1, ex. 9.4 (series 19.7 h) and 9.5 (graphical
    # 19.8 h): 0.45 m of brick, far face insulated, near face 295 -> 900 K; when is the far face at
    # 375 K?  Full series: 19.83 h.  Tolerance 0.7 %.
    slab = plate(of_diffusivity(4.2e-7), 0.45, 60)
    run = conduct(
        slab,
        295.0 - KELVIN,
        inside=FixedTemperature(900.0 - KELVIN),
        duration_s=22 * 3600.0,
        step_s=120.0,
    )
    hours = float(np.interp(375.0 - KELVIN, run.temperature_c[:, -1], run.time_s)) / 3600.0
    compare(
        "brick wall heated from one face, far face at 375 K [h]",
        "Coulson & Richardson 1, ex. 9.4",
        printed=19.7,
        ours=hours,
        within=0.007,
    )
    assert hours == pytest.approx(19.83, abs=0.02)


def test_w14_furnace_wall_of_three_layers() -> None:
    # Coulson & Richardson, ex. 9.3: 200 mm of k 1.4, 100 mm of 0.21, 200 mm of 0.7, from 1200 to
    # 330 K: 961 W/m2, and 1063 K behind the first layer.  Tolerance 0.2 %.
    layers = [
        Layer(of_diffusivity(1e-6, k), thickness, 3)
        for k, thickness in ((1.4, 0.2), (0.21, 0.1), (0.7, 0.2))
    ]
    slab = Slab(layers, Plane())
    rest = at_rest(
        slab,
        500.0,
        inside=FixedTemperature(1200.0 - KELVIN),
        outside=FixedTemperature(330.0 - KELVIN),
    )
    compare(
        "furnace wall of three layers [W/m²]",
        "Coulson & Richardson 1, ex. 9.3",
        printed=961.0,
        ours=rest.outward_w,
        within=0.002,
    )
    assert rest.temperature_c[3] + KELVIN == pytest.approx(1063.0, rel=0.002)


def test_w15_conductivity_that_rises_with_temperature() -> None:
    # Sachdeva, Engineering Heat and Mass Transfer, ex. 3.5: k = 0.813(1 + 0.0007158 T), 0.2 m,
    # 1000 and 200 degC: 4649 W/m2.  Mid-plane by Kirchhoff's transformation: 639.7 degC.  0.1 %.
    def k(temperature_c: float) -> float:
        return 0.813 * (1.0 + 0.0007158 * temperature_c)

    material = Material(
        "brick of ex. 3.5",
        1800.0,
        PropertyTable("conductivity", "W/(m K)", ((0.0, k(0.0)), (1100.0, k(1100.0)))),
        PropertyTable("specific heat", "J/(kg K)", ((20.0, 900.0),)),
    )
    slab = plate(material, 0.2, 4)
    rest = at_rest(slab, 500.0, inside=FixedTemperature(1000.0), outside=FixedTemperature(200.0))
    compare(
        "wall whose conductivity rises with temperature [W/m²]",
        "Sachdeva, ex. 3.5",
        printed=4649.0,
        ours=rest.outward_w,
        within=0.001,
    )
    assert rest.temperature_c[2] == pytest.approx(639.7, abs=0.1)


def test_w01_pipe_wall_insulated_on_one_side() -> None:
    # Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, 6th ed., ex. 5.4: 42.9 degC,
    # -7362 W/m2 and -2.72e7 J/m after 8 min by one term of the series; by the full series 43.02,
    # -7318 and -2.725e7 (per metre of a 1 m pipe: an area of pi m2).  0.3 K; 1 %.
    steel = constant_material(
        "steel", density_kg_per_m3=7832.0, conductivity=63.9, specific_heat=434.0
    )
    slab = plate(steel, 0.04, 40)
    run = conduct(
        slab,
        -20.0,
        inside=Exchange(60.0, h_w_per_m2k=500.0),
        duration_s=480.0,
        step_s=1.0,
    )
    assert run.temperature_c[-1, -1] == pytest.approx(42.9, abs=0.3)
    assert run.temperature_c[-1, -1] == pytest.approx(43.02, abs=0.05)
    compare(
        "pipe wall insulated on one side [W/m²]",
        "Incropera & DeWitt, ex. 5.4",
        printed=7362.0,
        ours=run.inside_w[-1],
        within=0.01,
    )
    assert run.entered_j[-1] * math.pi == pytest.approx(2.72e7, rel=0.01)


def test_w04_frost_into_soil() -> None:
    # Incropera & DeWitt, ex. 5.6: soil at 20 degC, surface at -15 for 60 days; 0 degC at 0.68 m
    # (by erf 0.677 m).  1 %.
    soil = constant_material(
        "soil", density_kg_per_m3=2050.0, conductivity=0.52, specific_heat=1840.0
    )
    slab = plate(soil, 8.0, 160, growth=1.02)
    run = conduct(
        slab, 20.0, inside=FixedTemperature(-15.0), duration_s=60 * 86400.0, step_s=14400.0
    )
    depth_m = float(np.interp(0.0, run.temperature_c[-1], slab.depth_m))
    compare(
        "frost into soil [m]",
        "Incropera & DeWitt, ex. 5.6",
        printed=0.68,
        ours=depth_m,
        within=0.01,
    )
    assert depth_m == pytest.approx(0.677, rel=0.003)


def test_w05_copper_under_a_constant_flux() -> None:
    # Incropera & DeWitt, ex. 5.10(c): 3e5 W/m2 into copper at 20 degC for 120 s: 120.0 degC at the
    # surface, 45.4 at 0.15 m.  0.1 K.
    copper = of_diffusivity(117e-6, 401.0)
    slab = plate(copper, 1.2, 160, growth=1.01)
    run = conduct(slab, 20.0, inside=HeatFlux(3e5), duration_s=120.0, step_s=0.5)
    assert at(run, slab, 0.0) == pytest.approx(120.0, abs=0.1)
    assert at(run, slab, 0.15) == pytest.approx(45.4, abs=0.1)


@pytest.mark.parametrize(
    ("inside", "expected_c", "surface_c"),
    [(FixedTemperature(250.0), 118.5, 250.0), (HeatFlux(3.2e5), 79.3, 199.4)],
)
def test_w06_steel_block(
    inside: FixedTemperature | HeatFlux, expected_c: float, surface_c: float
) -> None:
    # Holman, Heat Transfer, ex. 4-2: steel at 35 degC, surface raised to 250 degC or given
    # 3.2e5 W/m2; at 25 mm after 30 s 118.5 and 79.3 degC, surface under flux 199.4.  0.1 K.
    slab = plate(of_diffusivity(1.4e-5, 45.0), 0.25, 200, growth=1.01)
    run = conduct(slab, 35.0, inside=inside, duration_s=30.0, step_s=0.1)
    assert at(run, slab, 0.025) == pytest.approx(expected_c, abs=0.1)
    assert at(run, slab, 0.0) == pytest.approx(surface_c, abs=0.1)


def test_w18_bar_with_a_sinusoidal_end() -> None:
    # NAFEMS benchmark T3 (target recalled, ``nafems-t3``): one end 100 sin(pi t/40), other end 0;
    # 36.60 degC at 0.08 m after 32 s.  0.05 K.
    bar = constant_material("bar", density_kg_per_m3=7200.0, conductivity=35.0, specific_heat=440.5)
    slab = plate(bar, 0.1, 40)
    run = conduct(
        slab,
        0.0,
        inside=FixedTemperature(0.0),
        outside=FixedTemperature(lambda t: 100.0 * math.sin(math.pi * t / 40.0)),
        duration_s=32.0,
        step_s=0.1,
    )
    compare(
        "bar with a sinusoidal end [°C]",
        "nafems-t3",
        printed=36.60,
        ours=at(run, slab, 0.08),
        within=0.05 / 36.60,
    )


@pytest.mark.parametrize(("wall_mm", "expected_k"), [(10, 0.868), (20, 3.47), (50, 21.7)])
def test_w19_ware_heated_from_both_faces_at_a_steady_rate(
    wall_mm: float, expected_k: float
) -> None:
    # Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., ch. III (formula from memory):
    # dT = R L^2/2k for a half thickness L; 4e-7 m2/s and 100 degC/h.  0.5 %, or 0.007 K.
    half_m = 0.0005 * wall_mm
    slab = plate(of_diffusivity(4e-7), half_m, 10)
    rate = 100.0 / 3600.0
    long_s = 8.0 * half_m**2 / 4e-7
    run = conduct(
        slab,
        0.0,
        inside=FixedTemperature(lambda t: rate * t),
        duration_s=long_s,
        step_s=long_s / 200,
    )
    lag = run.temperature_c[-1, 0] - run.temperature_c[-1, -1]
    assert lag == pytest.approx(expected_k, rel=0.005)


def test_w19_the_lag_grows_as_the_series_says() -> None:
    # The same source: at a Fourier number of 0.5 the lag is 69.95 % of its final value.
    half_m = 0.025
    slab = plate(of_diffusivity(4e-7), half_m, 40)
    rate, half_s = 100.0 / 3600.0, 0.5 * half_m**2 / 4e-7
    run = conduct(
        slab, 0.0, inside=FixedTemperature(lambda t: rate * t), duration_s=half_s, step_s=1.0
    )
    lag = run.temperature_c[-1, 0] - run.temperature_c[-1, -1]
    assert lag == pytest.approx(0.6995 * rate * half_m**2 / 8e-7, abs=0.007)


def test_w02_panel_cured_in_an_oven() -> None:
    # Incropera & DeWitt, ex. 5.3: a 3 mm aluminium panel, emissivity 0.8, h 40 in an oven at 175
    # degC: 150 degC after 123 to 124 s; after 300 s more it cools in a chamber at 25 degC, h 10, to
    # 37 degC at 987 to 989 s in all (986 s recomputed).  0.5 %.
    panel = constant_material(
        "aluminium", density_kg_per_m3=2770.0, conductivity=177.0, specific_heat=875.0
    )
    slab = plate(panel, 0.0015, 2)
    oven = conduct(slab, 25.0, inside=Exchange(175.0, 40.0, 0.8), duration_s=450.0, step_s=0.5)
    hot_s = float(np.interp(150.0, oven.temperature_c[:, 0], oven.time_s))
    assert hot_s == pytest.approx(123.5, rel=0.005)
    out_c = float(np.interp(hot_s + 300.0, oven.time_s, oven.temperature_c[:, 0]))
    chamber = conduct(slab, out_c, inside=Exchange(25.0, 10.0, 0.8), duration_s=700.0, step_s=0.5)
    cooled_s = float(np.interp(-37.0, -chamber.temperature_c[:, 0], chamber.time_s))
    assert hot_s + 300.0 + cooled_s == pytest.approx(988.0, rel=0.005)


def test_w20_rod_in_a_furnace() -> None:
    # Kreith, Principles of Heat Transfer, 7th ed., ex. 1.4: a rod of 20 mm, emissivity 0.9, 1000 K
    # in a furnace of 800 K: 1893 W/m, h_r 151 W/m2K (150.6 by the formula).  0.5 %.
    h = radiation_w_per_m2k(1000.0 - KELVIN, 800.0 - KELVIN, 0.9)
    assert h == pytest.approx(150.6, rel=0.005)
    assert h * 200.0 * math.pi * 0.020 == pytest.approx(1893.0, rel=0.005)


def test_a_pipe_passes_heat_by_the_logarithm_of_its_radii() -> None:
    # Any heat-transfer text, from memory: q = 2 pi k (T1 - T2)/ln(r2/r1) a metre.
    slab = Slab([Layer(of_diffusivity(1e-6, 2.0), 0.05, 5)], Pipe(0.05))
    rest = at_rest(slab, 0.0, inside=FixedTemperature(300.0), outside=FixedTemperature(100.0))
    assert rest.outward_w == pytest.approx(2 * math.pi * 2.0 * 200.0 / math.log(2.0), rel=1e-9)


LAYER_M = 0.02
COATING, BEHIND = of_diffusivity(2.0e-7, 0.2), of_diffusivity(8.0e-7, 1.2)


def effusivity(material: Material) -> float:
    return math.sqrt(material.conductivity.at(20.0) * 1000.0 * material.specific_heat.at(20.0))


@pytest.mark.parametrize("hours", [0.25, 0.5, 1.0, 2.0])
def test_a_layer_on_a_deep_body_of_another_material(hours: float) -> None:
    # Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., 12.8: the face of a layer on a
    # half-space is raised by V; their join is at 2V/(1 + s) * sum a^n erfc((2n+1) l/(2 sqrt(k t))),
    # s the ratio of effusivities, a = (s - 1)/(s + 1).  By algebra, no chart.
    seconds = 3600.0 * hours
    slab = Slab([Layer(COATING, LAYER_M, 60), Layer(BEHIND, 0.6, 150, 1.02)], Plane())
    run = conduct(
        slab,
        0.0,
        inside=FixedTemperature(100.0),
        duration_s=seconds,
        step_s=seconds / 400.0,
    )
    ratio = effusivity(BEHIND) / effusivity(COATING)
    echo = (ratio - 1.0) / (ratio + 1.0)
    series = sum(
        echo**n * math.erfc((2 * n + 1) * LAYER_M / (2.0 * math.sqrt(2.0e-7 * seconds)))
        for n in range(60)
    )
    compare(
        f"two layers, their join after {hours:g} h [°C]",
        "Carslaw & Jaeger, 12.8",
        printed=200.0 / (1.0 + ratio) * series,
        ours=at(run, slab, LAYER_M),
        within=0.005,
    )


def test_two_bodies_brought_together() -> None:
    # The same book, 2.15: two half-spaces at 0 and 100 degC share at once, and keep, the mean of
    # their temperatures by effusivity.
    slab = Slab([Layer(COATING, 0.2, 200), Layer(BEHIND, 0.4, 200)], Plane())
    start = [0.0] * 200 + [50.0] + [100.0] * (slab.size - 201)
    run = conduct(slab, start, inside=HeatFlux(0.0), duration_s=3600.0, step_s=5.0)
    one, other = effusivity(COATING), effusivity(BEHIND)
    compare(
        "two bodies brought together, their join after 1 h [°C]",
        "Carslaw & Jaeger, 2.15",
        printed=100.0 * other / (one + other),
        ours=at(run, slab, 0.2),
        within=0.01,
    )
