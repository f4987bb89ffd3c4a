"""Units: what people write is read back to what it says."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.units import (
    Size,
    TemperatureUnit,
    celsius_from_fahrenheit,
    fahrenheit_from_celsius,
    format_duration,
    format_rate,
    format_temperature,
    hours_minutes,
    in_unit,
    join_units,
    parse_duration_s,
    parse_rate_c_per_h,
    parse_size,
    parse_temperature_c,
    rate_from_celsius,
    rate_to_celsius,
    unit_written,
    write_duration,
    write_rate,
    write_size,
    write_temperature,
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
    ("seconds", "signed", "shown"),
    [
        (0.0, True, "0:00"),
        (29.0, True, "0:00"),
        (-29.0, True, "0:00"),
        (90 * 60.0, False, "1:30"),
        (5 * 60.0, True, "+0:05"),
        (-65 * 60.0, True, "−1:05"),
        (27 * 3600.0, False, "27:00"),
        (None, False, "–"),
    ],
)
def test_hours_and_minutes(seconds: float | None, signed: bool, shown: str) -> None:
    assert hours_minutes(seconds, signed=signed) == shown


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


# -- sizes, and what people write --------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "size", "value", "unit"),
    [
        # 1 in = 25.4 mm, 1 lb = 0.45359237 kg, 1 oz = 1/16 lb, 1 cu ft = 28.316846592 l, exactly
        # (NIST SP 811 (2008), B.8).
        ("2.5 in", "length", 63.5, "F"),
        ('2 1/2"', "length", 63.5, "F"),
        ("2½ in", "length", 63.5, "F"),
        ("2 ft 3 in", "length", 685.8, "F"),
        ("7,5 cm", "length", 75.0, "C"),
        ("64mm", "length", 64.0, "C"),
        ("12 lb 4 oz", "mass", 12.25 * 0.45359237, "F"),
        ("800 g", "mass", 0.8, "C"),
        ("7 cu ft", "volume", 7 * 28.316846592, "F"),
        ("7 cu. ft.", "volume", 7 * 28.316846592, "F"),
        ("7 cubic feet", "volume", 7 * 28.316846592, "F"),
        ("198 litres", "volume", 198.0, "C"),
    ],
)
def test_sizes_as_people_write_them(text: str, size: Size, value: float, unit: str) -> None:
    read, found = parse_size(text, size)
    assert read == pytest.approx(value, rel=1e-12)
    assert found == unit


@pytest.mark.parametrize("text", ["7", "", "in", "7 lb", "-3 in", "2 in 3 mm", "3 inx", "1/0 in"])
def test_what_is_no_length_is_refused_with_what_to_write(text: str) -> None:
    with pytest.raises(FiringError, match=r"2\.5 in"):
        parse_size(text, "length")


PEOPLE = st.integers(1, 4000).flatmap(
    lambda whole: st.sampled_from([float(whole), whole / 2.0, whole / 8.0, whole / 10.0])
)
"""Figures as people write them: whole, halves, eighths and tenths."""


@given(figure=PEOPLE, unit=st.sampled_from(["C", "F"]), comma=st.booleans())
def test_a_temperature_or_rate_written_reads_back_as_itself(
    figure: float, unit: TemperatureUnit, comma: bool
) -> None:
    # With three decimals a comma could group thousands: that is refused, as tried below.
    comma = comma and (figure * 100.0 == round(figure * 100.0) or figure < 1.0)
    text = f"{figure:g}{unit}".replace(".", "," if comma else ".")
    assert unit_written(text) == unit
    printed = write_temperature(parse_temperature_c(text), unit)
    assert printed == f"{figure:g}{unit}"
    assert parse_temperature_c(printed) == parse_temperature_c(text)
    rate = write_rate(parse_rate_c_per_h(f"{text}/h"), unit)
    assert rate == f"{figure:g}{unit}/h"


@given(
    figure=PEOPLE,
    word=st.sampled_from(
        [("length", "in", "F"), ("mass", "lb", "F"), ("volume", "cu ft", "F"),
         ("length", "mm", "C"), ("mass", "kg", "C"), ("volume", "l", "C")]
    ),
)  # fmt: skip
def test_a_size_written_reads_back_as_itself(
    figure: float, word: tuple[Size, str, TemperatureUnit]
) -> None:
    size, name, unit = word
    value, found = parse_size(f"{figure:g} {name}", size)
    assert found == unit
    assert write_size(value, size, unit) == f"{figure:g} {name}"
    assert parse_size(write_size(value, size, unit), size)[0] == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("text", ["2,190F", "1,080 F/h", "2,190"])
def test_a_comma_before_three_digits_is_not_guessed(text: str) -> None:
    # "2,190F" groups thousands in one country and is 2.19 °F in another.
    with pytest.raises(FiringError, match=r"may be (2190 or 2\.19|1080 or 1\.08)"):
        parse_rate_c_per_h(text)
    with pytest.raises(FiringError, match="may be 1000 or 1; write it so"):
        parse_size("1,000 lb", "mass")
    assert parse_size("0,125 in", "length")[0] == pytest.approx(3.175)  # an eighth of 25.4 mm
    assert parse_temperature_c("1199,5") == 1199.5


def test_lengths_as_a_tape_measure_is_read() -> None:
    # 2.5 x 25.4 mm
    for text in ("2-1/2 in", "2 1/2 in", '2½"'):
        assert parse_size(text, "length") == (63.5, "F")
    assert parse_temperature_c("212 degrees F") == pytest.approx(100.0)


@given(PEOPLE, PEOPLE)
def test_rates_convert_as_differences(one_c: float, other_c: float) -> None:
    # A rate is a difference of temperatures over an hour: the zero of the scale drops out.
    difference_f = fahrenheit_from_celsius(one_c) - fahrenheit_from_celsius(other_c)
    assert rate_from_celsius(one_c - other_c, "F") == pytest.approx(difference_f, abs=1e-9)
    assert rate_from_celsius(100.0, "F") == pytest.approx(180.0)


@pytest.mark.parametrize(
    ("words", "in_f"),
    [
        # 10 K is 18 °F of difference; 100 kPa is 14.50 psi (NIST SP 811, B.8).
        ("at most 10 K behind", "at most 18 °F behind"),
        ("reaches 501 kPa; 100 kPa is the most", "reaches 73 psi; 15 psi is the most"),
        ("a type K thermocouple", "a type K thermocouple"),
        ("from 80 to 95 °C", "from 176 to 203 °F"),
        ("at most 100 °C/h to 600 °C", "at most 180 °F/h to 1112 °F"),
        ("off by ±5 °C", "off by ±9 °F"),
        ("10 °C too low", "18 °F too low"),
        ("over the last 100 °C", "over the last 180 °F"),
        ("a 25.4 mm wall of 1 kg in 180 l", "a 1 in wall of 2.2 lb in 6.4 cu ft"),
        # 20, 9 and 75 mm are 0.787, 0.354 and 2.95 in: to the nearest mark of a rule
        ("a 20 mm planter", "a 3/4 in planter"),
        ("the 9 mm wall, 75 mm of brick", "the 3/8 in wall, 3 in of brick"),
        ("64 mm of it, 0.1 mm of glaze", "2 1/2 in of it, 0.00394 in of glaze"),
        ("6 h 05 min, 490 kg/m³, cone 6", "6 h 05 min, 490 kg/m³, cone 6"),
        ("it is 2190 °F", "it is 2190 °F"),
        ("to 500-600 °C, then faster", "to 932-1112 °F, then faster"),
        ("when the kiln is 20 °C behind", "when the kiln is 36 °F behind"),
        ("1 % for every 100 °C beyond", "1 % for every 180 °F beyond"),
        ("differs by up to 40 °C", "differs by up to 72 °F"),
        ("air up to about 900 °C", "air up to about 1652 °F"),
        ("some 100 °C or more below the peak", "some 180 °F or more below the peak"),
        ("open below 100 °C", "open below 212 °F"),
    ],
)
def test_a_sentence_speaks_one_unit(words: str, in_f: str) -> None:
    assert in_unit(words, "F") == in_f
    assert in_unit(words, "C") == words
    assert in_unit(in_f, "F") == in_f


def test_units_do_not_part_from_their_numbers() -> None:
    joined = join_units("in 9 h 30 min to 60 °C or 80 % of 9.6 kW, 3 segments")
    assert joined.split(" ") == [
        "in", "9\u00a0h\u00a030\u00a0min", "to", "60\u00a0°C", "or", "80\u00a0%", "of",
        "9.6\u00a0kW,", "3", "segments",
    ]  # fmt: skip


def test_the_trades_rule_for_a_soak_is_told_in_quarters_of_an_inch() -> None:
    assert in_unit("6 h, or 1 h per 6 mm", "F") == "6 h, or 1 h per 1/4 in"
    assert in_unit("6 h, or 1 h per 6 mm", "C") == "6 h, or 1 h per 6 mm"
