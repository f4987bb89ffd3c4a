"""NIST's tables, an independent implementation of them, and the tolerances of two standards.

Sources: NIST SRD 60, which reproduces NIST Monograph 175, 1993 (`thermocouple_points.csv` beside
this file); the package ``thermocouple-its90`` 1.x (MIT), which agrees with every one of NIST's
12,026 table points; IEC 60584-1:2013 and ASTM E230, tolerances as their users' handbooks print
them.  The printed points are rounded to 0.001 mV; the bar is 0.0006 mV.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
import thermocouple_its90

from firing.thermocouple.reference import (
    TYPES,
    emf_mv,
    readable_c,
    sensitivity_mv_per_c,
    span_c,
    temperature_c,
)
from firing.thermocouple.tolerance import tolerance_c

BAR_MV = 0.0006
POINTS = [
    (row["type"], float(row["temperature_c"]), float(row["emf_mv"]))
    for row in csv.DictReader(
        (Path(__file__).parent / "thermocouple_points.csv").read_text(encoding="utf-8").splitlines()
    )
]


def test_every_type_is_among_the_points() -> None:
    assert len(POINTS) == 108
    assert {type for type, _, _ in POINTS} == set(TYPES)


@pytest.mark.parametrize("type", TYPES)
def test_the_printed_points(type: str) -> None:
    at_c, printed_mv = np.array([point[1:] for point in POINTS if point[0] == type]).T
    assert np.max(np.abs(emf_mv(at_c, type) - printed_mv)) <= BAR_MV


@pytest.mark.parametrize("type", TYPES)
def test_back_from_the_printed_points(type: str) -> None:
    # Rounding may take a printed emf out of the span at its very ends, where there is then none.
    low_c, high_c = readable_c(type)
    at_c, printed_mv = np.array(
        [point[1:] for point in POINTS if point[0] == type and low_c < point[1] < high_c]
    ).T
    allowed_c = BAR_MV / sensitivity_mv_per_c(at_c, type)
    assert np.all(np.abs(temperature_c(printed_mv, type) - at_c) <= allowed_c)


@pytest.mark.parametrize("type", TYPES)
def test_every_whole_degree_of_an_independent_implementation(type: str) -> None:
    theirs = thermocouple_its90.get(type)
    low_c, high_c = span_c(type)
    assert theirs.range == (low_c, high_c)
    whole_c = np.arange(np.ceil(low_c), np.floor(high_c) + 1.0)
    expected_mv = np.array([theirs.emf(float(at_c)) for at_c in whole_c])
    assert np.max(np.abs(emf_mv(whole_c, type) - expected_mv)) <= BAR_MV
    slopes = np.array([theirs.seebeck(float(at_c)) for at_c in whole_c])
    np.testing.assert_allclose(sensitivity_mv_per_c(whole_c, type), slopes, atol=1e-9)


@pytest.mark.parametrize("type", TYPES)
def test_back_as_an_independent_implementation_does(type: str) -> None:
    theirs = thermocouple_its90.get(type)
    low_c, high_c = readable_c(type)
    emfs = emf_mv(np.linspace(low_c + 0.5, high_c - 0.5, 400), type)
    expected_c = np.array([theirs.temperature(float(emf)) for emf in emfs])
    np.testing.assert_allclose(temperature_c(emfs, type), expected_c, rtol=0.0, atol=1e-6)


def test_tolerances() -> None:
    expected_c = {
        # IEC 60584-1:2013: class 1, ±1.5 °C or 0.4 %; class 2, ±2.5 °C or 0.75 %, to 1200 °C.
        ("K", "1", 0.0): 1.5,
        ("K", "1", 375.0): 1.5,
        ("K", "1", 1000.0): 4.0,
        ("K", "2", 333.0): 2.5,
        ("K", "2", 1000.0): 7.5,
        ("K", "2", 1200.0): 9.0,
        ("N", "2", 1200.0): 9.0,
        # Class 1 of the platinum-rhodium types: ±1 °C to 1100 °C, then 1 + 0.003·(t − 1100).
        ("S", "1", 600.0): 1.0,
        ("S", "1", 1600.0): 2.5,
        ("R", "1", 1300.0): 1.6,
        ("S", "2", 600.0): 1.5,
        ("R", "2", 1600.0): 4.0,
        ("B", "2", 600.0): 1.5,
        ("B", "2", 1700.0): 4.25,
        ("B", "3", 800.0): 4.0,
        ("B", "3", 1700.0): 8.5,
        # ASTM E230: standard ±2.2 °C or 0.75 %, special ±1.1 °C or 0.4 %, to 1260 °C.
        ("K", "standard", 100.0): 2.2,
        ("K", "standard", 1200.0): 9.0,
        ("N", "special", 100.0): 1.1,
        ("N", "special", 1200.0): 4.8,
        ("S", "standard", 1480.0): 3.7,
        ("R", "special", 1480.0): 1.48,
        ("R", "special", 500.0): 0.6,
        ("B", "standard", 1700.0): 8.5,
    }
    found_c = {
        (type, class_name, at_c): tolerance_c(type, class_name, at_c).value_c
        for type, class_name, at_c in expected_c
    }
    assert found_c == pytest.approx(expected_c)


@pytest.mark.parametrize("type", ["S", "R"])
def test_class_1_joins_at_1100_without_a_step(type: str) -> None:
    # Reproductions that print 1000 for the offset would step by 0.3 °C here.
    below, at, above = (
        tolerance_c(type, "1", at_c).value_c for at_c in (1099.999, 1100.0, 1100.001)
    )
    assert below == at == pytest.approx(1.0)
    assert above == pytest.approx(1.0, abs=1e-5)
