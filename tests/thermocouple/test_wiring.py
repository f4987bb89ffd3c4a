"""What wiring faults read.

Figures marked "trial" were measured in an independent trial with NIST's reference functions, head
at 60 °C and terminals at 25 °C unless another is named.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.sources import source
from firing.thermocouple.reference import TYPES, emf_mv, sensitivity_mv_per_c
from firing.thermocouple.wiring import (
    WireLeg,
    copper_extension_c,
    reading_c,
    reversed_at_instrument_c,
    reversed_extension_c,
    signatures,
    wrong_type_c,
)


@pytest.mark.parametrize("at_c", range(600, 1201, 50))
def test_an_extension_reversed_twice_reads_67_to_78_low(at_c: int) -> None:
    # Trial.
    assert -78.0 <= reversed_extension_c("K", at_c, 60.0, 25.0) - at_c <= -67.0


@pytest.mark.parametrize(("at_c", "off_c"), [(1000.0, -37.0), (1200.0, -39.0)])
def test_a_copper_extension_reads_37_to_39_low(at_c: float, off_c: float) -> None:
    # Trial, to a whole degree.
    assert copper_extension_c("K", at_c, 60.0, 25.0) - at_c == pytest.approx(off_c, abs=0.5)


@pytest.mark.parametrize(
    ("type", "selected", "shown_c"),
    # Trial, to a whole degree.
    [("K", "N", 1122.0), ("N", "K", 882.0), ("S", "R", 930.0), ("R", "S", 1079.0)],
)
def test_the_wrong_type_at_1000(type: str, selected: str, shown_c: float) -> None:
    assert wrong_type_c(type, selected, 1000.0, 25.0) == pytest.approx(shown_c, abs=0.5)


def test_the_wrong_type_from_printed_tables() -> None:
    # NIST SRD 60: K 41.276 mV at 1000 and 1.000 at 25 °C, N 0.659 at 25 °C, so N sees 40.935 mV,
    # which lies between its 40.087 at 1100 and 43.846 at 1200 °C: nearly straight, 1122.6 °C.
    straight_c = 1100.0 + 100.0 * (41.276 - 1.000 + 0.659 - 40.087) / (43.846 - 40.087)
    assert wrong_type_c("K", "N", 1000.0, 25.0) == pytest.approx(straight_c, abs=0.5)


@pytest.mark.parametrize("type", ["K", "N", "S", "R", "J", "E", "T"])
def test_reversed_at_the_instrument_falls_as_the_kiln_heats(type: str) -> None:
    readings = [reversed_at_instrument_c(type, at_c, 25.0) for at_c in (25.0, 35.0, 45.0, 60.0)]
    assert readings[0] == pytest.approx(25.0, abs=1e-6)
    assert readings == sorted(readings, reverse=True)
    # As far below the terminals as the kiln is above, nearly, the emf being nearly straight here.
    assert readings[1] == pytest.approx(15.0, abs=0.6)


@given(
    type=st.sampled_from(["K", "N", "S", "R"]),
    at_c=st.floats(300.0, 1250.0),
    head_c=st.floats(20.0, 90.0),
    junction_c=st.floats(10.0, 40.0),
)
def test_one_material_throughout_reads_right_whatever_lies_between(
    type: str, at_c: float, head_c: float, junction_c: float
) -> None:
    legs = [WireLeg(type, at_c, head_c), WireLeg(type, head_c, junction_c)]
    assert reading_c(legs, type, junction_c) == pytest.approx(at_c, abs=1e-6)
    assert wrong_type_c(type, type, at_c, junction_c) == pytest.approx(at_c, abs=1e-6)


@given(type=st.sampled_from(["K", "N", "S", "R"]), at_c=st.floats(300.0, 1250.0))
def test_no_fault_of_an_extension_shows_when_head_and_instrument_are_alike(
    type: str, at_c: float
) -> None:
    assert copper_extension_c(type, at_c, 25.0, 25.0) == pytest.approx(at_c, abs=1e-6)
    assert reversed_extension_c(type, at_c, 25.0, 25.0) == pytest.approx(at_c, abs=1e-6)


@given(at_c=st.floats(500.0, 1250.0), head_c=st.floats(26.0, 90.0))
def test_reversed_twice_takes_twice_the_emf_of_copper(at_c: float, head_c: float) -> None:
    lost_mv = emf_mv(head_c, "K") - emf_mv(25.0, "K")
    copper_mv = emf_mv(at_c, "K") - emf_mv(copper_extension_c("K", at_c, head_c, 25.0), "K")
    swapped_mv = emf_mv(at_c, "K") - emf_mv(reversed_extension_c("K", at_c, head_c, 25.0), "K")
    assert copper_mv == pytest.approx(lost_mv, abs=1e-7)
    assert swapped_mv == pytest.approx(2.0 * lost_mv, abs=1e-7)
    assert sensitivity_mv_per_c(at_c, "K") > 0.0


@pytest.mark.parametrize("type", TYPES)
def test_signatures_name_every_fault_once(type: str) -> None:
    found = signatures(type, 390.0)
    ids = [each.id for each in found]
    assert len(set(ids)) == len(ids) == 10
    assert f"set_to_{type}" not in ids
    for each in found:
        assert source(each.source)
        assert (each.reading_c is None) == (each.error_c is None)
        if each.reading_c is not None and each.error_c is not None:
            assert each.error_c == pytest.approx(each.reading_c - 390.0)


def test_signatures_are_the_single_figures() -> None:
    by_id = {each.id: each for each in signatures("K", 1000.0, 60.0, 25.0)}
    assert by_id["reversed_at_instrument"].reading_c is None
    assert by_id["reversed_extension"].reading_c == reversed_extension_c("K", 1000.0, 60.0, 25.0)
    assert by_id["copper_extension"].reading_c == copper_extension_c("K", 1000.0, 60.0, 25.0)
    assert by_id["set_to_N"].error_c == pytest.approx(122.0, abs=0.5)
    assert by_id["set_to_S"].reading_c is None  # 41 mV is far above type S


@pytest.mark.parametrize(
    ("at_c", "head_c", "junction_c", "words"),
    [
        (1400.0, 60.0, 25.0, "a kiln of 1400 °C is outside the -270 to 1372 °C"),
        (1000.0, math.nan, 25.0, "a head of nan °C"),
        (1000.0, 60.0, -300.0, "a reference junction of -300 °C"),
    ],
)
def test_an_absurd_temperature_is_refused(
    at_c: float, head_c: float, junction_c: float, words: str
) -> None:
    with pytest.raises(FiringError, match=words):
        signatures("K", at_c, head_c, junction_c)
