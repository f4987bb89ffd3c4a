"""The reference junction, and what a person is told about a log in millivolts."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.thermocouple.junction import convert, junction_limits_c, reversed_at_instrument_c
from firing.thermocouple.reference import TYPES, Reason, emf_mv, temperature_c

NAN = float("nan")


def at_the_terminals_mv(at_c: float, junction_c: float, type: str) -> float:
    """What an instrument measures: the hot end's emf less the cold end's."""
    return emf_mv(at_c, type) - emf_mv(junction_c, type)


@pytest.mark.parametrize(
    ("type", "off_c", "within_c"),
    # Measured figures of an independent trial with NIST's functions, rounded as here.
    [("K", -3.8, 0.05), ("N", 11.5, 0.05), ("S", 20.5, 0.06), ("B", 40.0, 0.5)],
)
def test_adding_temperatures_is_wrong(type: str, off_c: float, within_c: float) -> None:
    measured_mv = at_the_terminals_mv(1200.0, 40.0, type)
    added_c = temperature_c(measured_mv, type) + 40.0
    assert added_c - 1200.0 == pytest.approx(off_c, abs=within_c)
    found = convert(np.array([measured_mv]), type, 40.0)
    right, said = found.temperature_c, found.summary()
    assert right[0] == pytest.approx(1200.0, abs=1e-6)
    assert said == ()


@given(type=st.sampled_from(TYPES), share=st.floats(0.0, 1.0), junction_c=st.floats(0.0, 60.0))
def test_any_junction_gives_the_same_temperature(
    type: str, share: float, junction_c: float
) -> None:
    at_c = 260.0 + share * 130.0
    measured = np.array([at_the_terminals_mv(at_c, junction_c, type)])
    for junction in (junction_c, np.array([junction_c])):
        conversion = convert(measured, type, junction)
        assert conversion.temperature_c[0] == pytest.approx(at_c, abs=1e-6)
        assert conversion.reasons[0] == Reason.OK


def test_a_junction_for_each_sample() -> None:
    junction_c = np.array([20.0, 25.0, 30.0, NAN, 400.0, -60.0, 25.0])
    measured = np.full(7, 40.0)
    measured[6] = NAN
    conversion = convert(measured, "K", junction_c)
    expected_c = [temperature_c(40.0 + emf_mv(each, "K"), "K") for each in (20.0, 25.0, 30.0)]
    np.testing.assert_allclose(conversion.temperature_c[:3], expected_c, atol=1e-9)
    assert np.isnan(conversion.temperature_c[3:]).all()
    assert conversion.reasons[3:].tolist() == [Reason.NO_JUNCTION] * 3 + [Reason.MISSING]
    assert conversion.count(Reason.OK) == 3


def test_two_channels_with_a_junction_column() -> None:
    measured = np.array([[40.0, 41.0], [42.0, 43.0]])
    conversion = convert(measured, "K", np.array([[20.0], [30.0]]))
    assert conversion.temperature_c.shape == (2, 2)
    single = convert(np.array([43.0]), "K", 30.0)
    assert conversion.temperature_c[1, 1] == pytest.approx(single.temperature_c[0], abs=1e-9)


@pytest.mark.parametrize(
    ("type", "emf", "reason"),
    [
        ("K", 60.0, Reason.ABOVE),
        # 300 °C with the leads swapped: −(12.209 − 1.000) mV, and 1.000 is added.
        ("K", -11.209, Reason.MAYBE_REVERSED),
        ("S", -2.180, Reason.MAYBE_REVERSED),
        ("B", -4.836, Reason.MAYBE_REVERSED),
        ("K", -9999.0, Reason.BELOW),
        ("B", 0.1, Reason.AMBIGUOUS),
        ("B", -0.1, Reason.MAYBE_REVERSED),
    ],
)
def test_reasons(type: str, emf: float, reason: Reason) -> None:
    conversion = convert(np.array([emf, 10.0]), type, 25.0)
    assert conversion.reasons.tolist() == [reason, Reason.OK]
    assert np.isnan(conversion.temperature_c[0])


def test_every_reason_is_told_with_its_count() -> None:
    measured = np.array([NAN, NAN, 60.0, -11.2, -9999.0, 40.0, 40.0, 40.0])
    junction_c = np.array([25.0, 25.0, 25.0, 25.0, 25.0, NAN, 25.0, 25.0])
    found = convert(measured, "K", junction_c)
    found, said = found.temperature_c, found.summary()
    assert np.isfinite(found).sum() == 2
    for start in ("2 of 8", "1 of 8"):
        assert any(line.startswith(f"{start} readings ") for line in said)
    text = "\n".join(said)
    for word in ("open", "54.886 mV (1372 °C)", "reversed", "-6.458 mV", "reference junction"):
        assert word in text
    assert len(said) == 5


def test_type_k_above_1300_is_kept_and_told() -> None:
    # IEC 60584-1 ends type K at 1300 °C; NIST's function goes on to 1372 °C.
    measured = np.array([emf_mv(at_c, "K") for at_c in (1299.0, 1301.0, 1371.0)])
    found = convert(measured, "K", 0.0)
    found, said = found.temperature_c, found.summary()
    np.testing.assert_allclose(found, [1299.0, 1301.0, 1371.0], atol=1e-6)
    (line,) = said
    assert line.startswith("2 of 3 readings are above 1300 °C, where IEC 60584-1 ends type K")


def test_a_kiln_colder_than_any_is_told() -> None:
    # Swapped at 150 °C: still a temperature of type K, but none of a kiln.
    swapped = -at_the_terminals_mv(150.0, 25.0, "K")
    found = convert(np.array([swapped, 0.0]), "K", 25.0)
    found, said = found.temperature_c, found.summary()
    assert found[0] < -100.0
    assert len(said) == 1
    assert "reversed" in said[0]


def test_a_log_that_is_not_in_millivolts_is_suspected() -> None:
    found = convert(np.array([900.0, 1000.0, 30.0]), "K", 25.0)
    _, said = found.temperature_c, found.summary()
    assert any("check the unit" in line for line in said)


@pytest.mark.parametrize(
    ("type", "junction_c"), [("K", -51.0), ("K", 151.0), ("K", NAN), ("B", -1.0), ("S", 400.0)]
)
def test_one_junction_out_of_range_is_refused(type: str, junction_c: float) -> None:
    low_c, high_c = junction_limits_c(type)
    with pytest.raises(FiringError, match=f"outside the {low_c:g} to {high_c:g} °C") as caught:
        convert(np.array([1.0]), type, junction_c)
    assert "such as 25" in str(caught.value)


def test_junctions_that_do_not_fit_are_refused() -> None:
    with pytest.raises(FiringError, match="give one, or one for each reading"):
        convert(np.zeros(3), "K", np.zeros(2))
    with pytest.raises(FiringError, match="no thermocouple type"):
        convert(np.zeros(3), "Q", 25.0)


@pytest.mark.parametrize("type", ["K", "N", "S", "R", "J", "E", "T"])
def test_reversed_at_the_instrument_falls_as_the_kiln_heats(type: str) -> None:
    readings = [reversed_at_instrument_c(type, at_c, 25.0) for at_c in (25.0, 35.0, 45.0, 60.0)]
    assert readings[0] == pytest.approx(25.0, abs=1e-6)
    assert readings == sorted(readings, reverse=True)
    # As far below the terminals as the kiln is above, nearly, the emf being nearly straight here.
    assert readings[1] == pytest.approx(15.0, abs=0.6)
