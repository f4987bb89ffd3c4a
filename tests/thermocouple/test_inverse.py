"""Back from emf: the round trip of every type, and the reason of every sample without one.

The bar: 1e-6 °C everywhere a temperature can be had.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.thermocouple.reference import (
    TYPES,
    Reason,
    emf_mv,
    readable_c,
    readable_mv,
    reasons,
    reference_function,
    span_c,
    temperature_c,
)

BAR_C = 1e-6
NAN = float("nan")


@pytest.mark.parametrize("type", TYPES)
def test_there_and_back(type: str) -> None:
    low_c, high_c = readable_c(type)
    joins = np.array([piece.to_c for piece in reference_function(type).pieces[:-1]])
    at_c = np.concatenate(
        [
            np.linspace(low_c, high_c, 40_001),
            np.linspace(low_c, low_c + 5.0, 5_001),
            np.linspace(high_c - 5.0, high_c, 5_001),
            *(join + np.linspace(-1.0, 1.0, 2_001) for join in joins),
        ]
    )
    np.random.default_rng(4).shuffle(at_c)
    assert np.max(np.abs(temperature_c(emf_mv(at_c, type), type) - at_c)) <= BAR_C


@given(type=st.sampled_from(TYPES), share=st.floats(0.0, 1.0))
def test_one_sample_there_and_back(type: str, share: float) -> None:
    low_c, high_c = readable_c(type)
    at_c = min(low_c + share * (high_c - low_c), high_c)
    assert temperature_c(emf_mv(at_c, type), type) == pytest.approx(at_c, abs=BAR_C)


@given(st.lists(st.floats(-7.0, 56.0) | st.just(NAN), max_size=40), st.sampled_from(TYPES))
def test_a_sample_does_not_depend_on_its_neighbours(emfs: list[float], type: str) -> None:
    together = temperature_c(np.array(emfs, dtype=np.float64), type)
    alone = [temperature_c(emf, type) for emf in emfs]
    np.testing.assert_allclose(together, alone, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize("type", TYPES)
def test_a_temperature_exactly_where_the_reason_is_ok(type: str) -> None:
    low_mv, high_mv = readable_mv(type)
    emfs = np.concatenate(
        [
            np.linspace(low_mv - 3.0, high_mv + 3.0, 20_001),
            [low_mv, high_mv, NAN, np.inf, -np.inf, 32767.0, -9999.0],
        ]
    )
    found, why = temperature_c(emfs, type), reasons(emfs, type)
    np.testing.assert_array_equal(np.isfinite(found), why == Reason.OK)
    low_c, high_c = readable_c(type)
    assert np.nanmin(found) == pytest.approx(low_c, abs=BAR_C)
    assert np.nanmax(found) == pytest.approx(high_c, abs=BAR_C)
    kept = found[np.isfinite(found)]
    assert not np.isnan(emf_mv(kept, type)).any()


def test_each_reason() -> None:
    emfs = np.array([NAN, 41.0, 54.9, np.inf, -6.5])
    assert reasons(emfs, "K").tolist() == [
        Reason.MISSING,
        Reason.OK,
        Reason.ABOVE,
        Reason.ABOVE,
        Reason.BELOW,
    ]


def test_type_b_is_not_read_below_250() -> None:
    # NIST SRD 60: 0.000 mV at 0, −0.002 at 25, 0.002 at 50 °C; printed inverse from 250 °C,
    # 0.291 mV.
    emfs = np.array([0.3, 0.29, 0.002, -0.002, -0.01])
    assert reasons(emfs, "B").tolist() == [
        Reason.OK,
        Reason.AMBIGUOUS,
        Reason.AMBIGUOUS,
        Reason.AMBIGUOUS,
        Reason.BELOW,
    ]
    assert span_c("B")[0] == 0.0
    assert readable_c("B")[0] == 250.0


def test_shapes_are_kept_and_the_input_is_left_alone() -> None:
    emfs = np.array([[1.0, NAN], [41.276, 99.0], [0.0, -6.0]])
    emfs.flags.writeable = False
    assert temperature_c(emfs, "K").shape == reasons(emfs, "K").shape == (3, 2)
    assert temperature_c(emfs[:, 0], "K").shape == (3,)
    assert temperature_c(np.array([]), "K").shape == (0,)
    assert isinstance(temperature_c(41.276, "K"), float)


@pytest.mark.parametrize(
    ("letter", "top_c", "printed_mv"),
    [  # NIST SRD 60, the last figure of each table, as printed
        ("N", 1300.0, 47.513),
        ("E", 1000.0, 76.373),
        ("T", 400.0, 20.872),
        ("J", 1200.0, 69.553),
        ("K", 1372.0, 54.886),
        ("S", 1768.0, 18.693),
        ("R", 1768.0, 21.101),
        ("B", 1820.0, 13.820),
    ],
)
def test_the_last_printed_figure_of_a_table_is_a_temperature(
    letter: str, top_c: float, printed_mv: float
) -> None:
    # A microvolt is 20 to 90 thousandths of a degree there.
    assert temperature_c(printed_mv, letter) == pytest.approx(top_c, abs=0.1)
    assert np.isnan(temperature_c(printed_mv + 0.005, letter))
