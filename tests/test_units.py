"""Units: what people write is read back to what it says."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.units import (
    celsius_from_fahrenheit,
    fahrenheit_from_celsius,
    format_duration,
    format_rate,
    format_temperature,
    parse_duration_s,
    parse_rate_c_per_h,
    parse_temperature_c,
    rate_from_celsius,
    rate_to_celsius,
    write_duration,
)


# The fixed points of the two scales: NIST SP 811 (2008), table B.8 and its note.
@pytest.mark.parametrize(("celsius", "fahrenheit"), [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0)])
def test_the_scales_meet_at_their_fixed_points(celsius: float, fahrenheit: float) -> None:
    assert celsius_from_fahrenheit(fahrenheit) == pytest.approx(celsius, abs=1e-12)
    assert fahrenheit_from_celsius(celsius) == pytest.approx(fahrenheit, abs=1e-12)


@given(st.floats(-273.0, 3000.0))
def test_celsius_to_fahrenheit_and_back(temperature_c: float) -> None:
    back = celsius_from_fahrenheit(fahrenheit_from_celsius(temperature_c))
    assert back == pytest.approx(temperature_c, abs=1e-9)
    assert rate_to_celsius(rate_from_celsius(60.0, "F"), "F") == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("6h", 21600),
        ("1h30m", 5400),
        ("1h 30m", 5400),
        ("90m", 5400),
        ("1:30", 5400),
        ("0:00", 0),
        ("1:30:15", 5415),
        ("45s", 45),
        ("1.5h", 5400),
        ("1,5 h", 5400),
        ("2 hours 5 minutes", 7500),
        ("30 min", 1800),
        ("0", 0),
    ],
)
def test_durations_as_people_write_them(text: str, seconds: float) -> None:
    assert parse_duration_s(text) == seconds


@pytest.mark.parametrize(
    "text", ["30", "", "soon", "-2h", "-1:30", "1h1h", "1:75", "h", "5x", "1h 30", "--3m"]
)
def test_what_is_no_duration_is_refused_with_what_to_write(text: str) -> None:
    with pytest.raises(FiringError) as refusal:
        parse_duration_s(text)
    assert '"' in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_a_bare_number_is_refused_because_it_names_no_unit() -> None:
    with pytest.raises(FiringError, match='write "30m" or "30h"'):
        parse_duration_s("30")


@given(st.integers(0, 100 * 3600))
def test_a_duration_written_is_the_duration_read(seconds: int) -> None:
    assert parse_duration_s(write_duration(float(seconds))) == seconds


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 min"),
        (59, "59 s"),
        (150, "2 min"),
        (3599, "1 h 00 min"),
        (3600, "1 h 00 min"),
        (-5400, "−1 h 30 min"),
    ],
)
def test_durations_for_reading(seconds: float, words: str) -> None:
    assert format_duration(seconds) == words


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("1200", 1200.0), ("1200 °C", 1200.0), ("2192F", 1200.0), ("2192 °f", 1200.0), ("20,5", 20.5)],
)
def test_temperatures_as_people_write_them(text: str, celsius: float) -> None:
    assert parse_temperature_c(text) == pytest.approx(celsius)


@pytest.mark.parametrize("text", ["", "hot", "1200K", "12 00", "nan", "inf"])
def test_what_is_no_temperature_is_refused(text: str) -> None:
    with pytest.raises(FiringError):
        parse_temperature_c(text)


@pytest.mark.parametrize(
    ("text", "rate"), [("60", 60.0), ("60C/h", 60.0), ("108 °F/h", 60.0), ("60 per hour", 60.0)]
)
def test_rates_as_people_write_them(text: str, rate: float) -> None:
    assert parse_rate_c_per_h(text) == pytest.approx(rate)


def test_reading_words_carry_their_unit() -> None:
    assert format_temperature(1200.0, "F") == "2192 °F"
    assert format_rate(60.0, "F") == "108 °F/h"
