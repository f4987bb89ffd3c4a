"""The reference functions: names, spans, slopes, and what is not a number."""

import subprocess
import sys
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.thermocouple.reference import (
    TYPES,
    emf_mv,
    parse_type,
    reference_function,
    sensitivity_mv_per_c,
    span_c,
)


@pytest.mark.parametrize("written", ["K", "k", " type K ", "Type-K", "typeK", "TYPE k"])
def test_the_usual_spellings_are_read(written: str) -> None:
    assert parse_type(written) == "K"


@pytest.mark.parametrize("written", ["", "type", "KK", "C", "4", "Pt100", "type K thermocouple"])
def test_what_is_no_type_is_refused_with_the_list(written: str) -> None:
    with pytest.raises(FiringError, match="write one of K, N, S, R, B, J, E, T") as caught:
        emf_mv(100.0, written)
    assert f'"{written}"' in str(caught.value)


@pytest.mark.parametrize(
    ("type", "low_c", "high_c"),
    # The spans of NIST SRD 60.
    [
        ("K", -270, 1372),
        ("N", -270, 1300),
        ("S", -50, 1768.1),
        ("R", -50, 1768.1),
        ("B", 0, 1820),
        ("J", -210, 1200),
        ("E", -270, 1000),
        ("T", -270, 400),
    ],
)
def test_spans(type: str, low_c: float, high_c: float) -> None:
    assert span_c(type) == (low_c, high_c)
    just_outside = np.array([low_c - 0.01, low_c, high_c, high_c + 0.01])
    assert np.isnan(emf_mv(just_outside, type)).tolist() == [True, False, False, True]


@pytest.mark.parametrize("type", TYPES)
def test_zero_at_the_ice_point_and_nan_for_nan(type: str) -> None:
    assert emf_mv(0.0, type) == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(emf_mv(float("nan"), type))
    assert np.isnan(emf_mv(float("inf"), type))


@pytest.mark.parametrize("type", TYPES)
def test_the_pieces_join(type: str) -> None:
    # The printed coefficients have 12 digits: 1e-7 mV is what they leave at worst (J at 760 °C).
    # The slope of type N is printed as 0.02616 below and 0.02593 mV/°C above 0 °C.
    pieces = reference_function(type).pieces
    for one, other in pairwise(pieces):
        assert one.to_c == other.from_c
        at_c = np.array([one.to_c])
        (left_mv, left_slope), (right_mv, right_slope) = one.evaluate(at_c), other.evaluate(at_c)
        assert left_mv == pytest.approx(right_mv, abs=1e-7)
        assert left_slope == pytest.approx(right_slope, rel=0.01)


@given(type=st.sampled_from(TYPES), share=st.floats(0.001, 0.999))
def test_the_slope_is_that_of_the_emf(type: str, share: float) -> None:
    low_c, high_c = span_c(type)
    at_c = low_c + share * (high_c - low_c)
    # No step across a join: there the printed coefficients themselves jump by up to 1e-7 mV.
    if any(abs(at_c - piece.to_c) < 0.1 for piece in reference_function(type).pieces):
        return
    slope = (emf_mv(at_c + 0.05, type) - emf_mv(at_c - 0.05, type)) / 0.1
    assert sensitivity_mv_per_c(at_c, type) == pytest.approx(slope, abs=2e-7)


def test_shapes_are_kept_and_the_input_is_left_alone() -> None:
    at_c = np.array([[0.0, 100.0, np.nan], [1000.0, 5000.0, -300.0]])
    before = at_c.copy()
    found = emf_mv(at_c, "K")
    assert found.shape == sensitivity_mv_per_c(at_c, "K").shape == (2, 3)
    assert np.isnan(found).tolist() == [[False, False, True], [False, True, True]]
    np.testing.assert_array_equal(at_c, before)
    assert isinstance(emf_mv(100.0, "K"), float)
    assert emf_mv(np.array([]), "K").shape == (0,)


def test_only_numpy_is_loaded() -> None:
    code = (
        "import sys\n"
        "from firing.thermocouple import junction, tolerance\n"
        "heavy = {'scipy', 'pandas', 'plotly', 'pydantic', 'tomlkit'} & set(sys.modules)\n"
        "print(*heavy)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip()) == (0, ""), done.stderr
