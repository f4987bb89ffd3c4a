"""The clay bodies: every name of a load file is known, and every figure has range and source."""

import csv
from importlib.resources import files

import numpy as np
import pytest

from firing.errors import FiringError
from firing.sources import source
from firing.ware.body import EVERY_BODY, PROPERTY_NAMES, PropertyName, State, body_named
from firing.ware.limits import Direction
from firing.ware.load import BODIES
from firing.ware.safe_rates import SHAPE_FACTOR, bearable_rate_c_per_h

ROWS = list(
    csv.DictReader(
        files("firing").joinpath("data/ware_bodies.csv").read_text(encoding="utf-8").splitlines()
    )
)


def test_every_row_is_whole(subtests: pytest.Subtests) -> None:
    assert ROWS
    for line, row in enumerate(ROWS, start=2):
        with subtests.test(f"line {line}, {row['body']}: {row['property']}"):
            assert row["body"] in (*BODIES, EVERY_BODY)
            assert row["property"] in PROPERTY_NAMES
            assert source(row["source"]).id == row["source"]
            assert float(row["low"]) <= float(row["value"]) <= float(row["high"])
            assert row["unit"]


@pytest.mark.parametrize("name", BODIES)
def test_every_body_of_a_load_file_has_what_the_limits_ask(name: str) -> None:
    body = body_named(name)
    states: tuple[State, ...] = ("raw", "bisqued", "glazed")
    always: tuple[PropertyName, ...] = (
        "diffusivity",
        "strength",
        "modulus",
        "expansion",
        "Poisson ratio",
        "quartz",
    )
    raw: tuple[PropertyName, ...] = ("carbon", "clay", "bound water", "gas diffusivity")
    for state in states:
        for property_name in always:
            found = body.of(property_name, state)
            assert all(value > 0 for value in found.values)
            assert list(found.temperatures_c) == sorted(set(found.temperatures_c))
    for property_name in raw:
        assert body.of(property_name, "raw").value > 0
    # Kaolinite holds 13.96 % of water; a body's bound water cannot exceed that of its clay.
    assert body.share("bound water", "raw") <= 0.1396 * body.share("clay", "raw") + 1e-12


def test_a_property_nobody_knows_is_refused() -> None:
    with pytest.raises(FiringError, match='carbon of glazed "porcelain"'):
        body_named("porcelain").of("carbon", "glazed")
    assert body_named("porcelain").share("carbon", "glazed") == 0.0


@pytest.mark.parametrize("direction", ["heating", "cooling"])
def test_the_bearable_rate_stresses_a_wall_to_its_strength(direction: Direction) -> None:
    # Algebra: on a steady ramp the profile is a parabola; its mean is 2/3 of the lag below the face
    # and 1/3 above the middle; stress is E*alpha/(1 - mu) times the deviation from the mean.
    body, path_m = body_named("stoneware"), 0.0125
    rate = float(bearable_rate_c_per_h(body, "raw", path_m, np.array(300.0), direction))
    at = np.array(300.0)
    diffusivity = float(body.of("diffusivity", "raw").at(at))
    depth = np.linspace(0.0, 1.0, 20001)  # from the middle to the face
    lag_k = rate / 3600.0 * path_m**2 / (2.0 * diffusivity)
    sign = 1.0 if direction == "heating" else -1.0
    profile_k = sign * lag_k * depth**2
    mean_k = float(profile_k.mean())
    stress = (
        float(body.of("modulus", "raw").at(at))
        * body.of("expansion", "raw").value
        / (1.0 - body.of("Poisson ratio", "raw").value)
        * (mean_k - profile_k)
    )
    strength = float(body.of("strength", "raw").at(at)) / 3.0
    assert stress.max() == pytest.approx(strength, rel=1e-3)


def test_the_law_of_stress_goes_with_the_square_of_the_wall() -> None:
    # Štubňa 2011, doi:10.5772/19199: v = sigma(1-mu)lambda A/(alpha E r^2 c rho).
    body, at = body_named("porcelain"), np.array([200.0])
    thin = bearable_rate_c_per_h(body, "glazed", 0.005, at, "cooling")
    thick = bearable_rate_c_per_h(body, "glazed", 0.025, at, "cooling")
    assert thin / thick == pytest.approx(25.0)
    assert SHAPE_FACTOR["heating"] == 2.0 * SHAPE_FACTOR["cooling"]
