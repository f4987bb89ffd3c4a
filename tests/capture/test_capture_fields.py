"""Lines to temperatures: strict, and never a traceback."""

import math

import pytest
from capture.garbling import heard_at
from hypothesis import given
from hypothesis import strategies as st

from firing.capture.fields import FieldLayout, LineParser
from firing.capture.reading import Reading, Status, converter_for
from firing.capture.text_lines import LineBuffer
from firing.errors import FiringError

FOUR = FieldLayout(("kiln", "top", "bottom", "shelf"))


def parsed(line: bytes, layout: FieldLayout) -> Reading:
    found = LineParser(layout).parse(line)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("line", "layout", "expected_c"),
    [
        (b"1215.5", FieldLayout(("kiln",)), [1215.5]),
        (b" 1215.5 , 1210 ", FieldLayout(("kiln", "top")), [1215.5, 1210.0]),
        (b"17,1215.5,abc,1210", FieldLayout(("-", "kiln", "-", "top")), [1215.5, 1210.0]),
        (b"1215.5;1210,25", FieldLayout(("kiln", "top"), ";", ","), [1215.5, 1210.25]),
        (b"1215.5   1210", FieldLayout(("kiln", "top"), " "), [1215.5, 1210.0]),
        (b"1215\t1210", FieldLayout(("kiln", "top"), "\t"), [1215.0, 1210.0]),
        (b"T1=1215.5 C,T2: 1210 \xc2\xb0C", FieldLayout(("kiln", "top")), [1215.5, 1210.0]),
        (b"+1.2155E+03", FieldLayout(("kiln",)), [1215.5]),
        (b"2192", FieldLayout(("kiln",), unit="F"), [1200.0]),  # NIST SP 811, B.8: exact
        (b"2192 F", FieldLayout(("kiln",), unit="F"), [1200.0]),
    ],
)
def test_what_a_line_means(line: bytes, layout: FieldLayout, expected_c: list[float]) -> None:
    found = parsed(line, layout)
    assert found.values_c == pytest.approx(expected_c)
    assert found.statuses == [Status.OK] * len(expected_c)


# NIST Monograph 175, tables of types K, S and N (emf in mV against 0 °C).
@pytest.mark.parametrize(
    ("type", "emf_mv", "celsius"),
    [("K", 41.276, 1000.0), ("S", 9.587, 1000.0), ("N", 36.256, 1000.0), ("K", 4.096, 100.0)],
)
def test_millivolts_are_compensated_in_emf(type: str, emf_mv: float, celsius: float) -> None:
    layout = FieldLayout(("kiln",), unit="mV")
    parser = LineParser(layout, converter_for("mV", type, 0.0))
    found = parser.parse(f"{emf_mv}".encode())
    assert found is not None
    # the tables are rounded to a microvolt
    assert found.values_c[0] == pytest.approx(celsius, abs=0.1)


def test_the_junction_may_stand_in_the_line() -> None:
    layout = FieldLayout(("junction", "kiln"), unit="mV")
    parser = LineParser(layout, converter_for("mV", "K", None))
    # K at 25 °C gives 1.000 mV (NIST Monograph 175): 41.276 - 1.000 is what is left of 1000 °C
    found = parser.parse(b"25.0,40.276")
    assert found is not None
    assert found.values_c[0] == pytest.approx(1000.0, abs=0.1)
    lost = parser.parse(b"-,40.276")
    assert lost is not None
    assert lost.statuses == [Status.NO_JUNCTION]


@pytest.mark.parametrize(
    ("cell", "status"),
    [
        (b"nan", Status.MISSING),
        (b"", Status.MISSING),
        (b"---", Status.MISSING),
        (b"open", Status.OPEN),
        (b"T1: OPEN", Status.OPEN),
        (b"inf", Status.OVERLOAD),
        (b"9.9E37", Status.OVERLOAD),  # SCPI-1999, 7.2.1.4, from memory
        (b"-9.9E37", Status.OVERLOAD),
        (b"9.91E37", Status.OVERLOAD),
    ],
)
def test_what_instruments_say_for_no_reading(cell: bytes, status: Status) -> None:
    found = parsed(cell + b",1210", FieldLayout(("kiln", "top")))
    assert math.isnan(found.values_c[0])
    assert found.values_c[1] == 1210.0
    assert found.statuses == [status, Status.OK]


@pytest.mark.parametrize(
    "line",
    [
        b"1215.5",
        b"1215.5,1210,1",
        b"12\x0015.5,1210",
        b"1_215,1210",
        b"1215.5F,1210",
        b"12 15,1210",
        b"rst:0x1 (POWERON_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)",
        b"\xff\xfe12.0,13.0",
        b"0x4BF,1210",
    ],
)
def test_what_is_no_reading_is_refused_whole(line: bytes) -> None:
    parser = LineParser(FieldLayout(("kiln", "top")))
    assert parser.parse(line) is None
    assert sum(parser.refused.values()) == 1


@given(st.lists(st.floats(-200, 1800), min_size=4, max_size=4))
def test_numbers_survive_the_line(values: list[float]) -> None:
    line = ",".join(f"{value:.2f}" for value in values).encode()
    assert parsed(line, FOUR).values_c == [float(f"{value:.2f}") for value in values]


@given(
    st.lists(st.floats(0, 1400), min_size=4, max_size=4),
    st.integers(0, 200),
    st.sampled_from([0, 7, 27, 63, 64, 92, 127, 128, 200, 255]),
)
def test_a_damaged_byte_never_makes_another_number(
    values: list[float], place: int, noise: int
) -> None:
    line = ",".join(f"{value:.1f}" for value in values).encode()
    place %= len(line)
    damaged = line[:place] + bytes([noise]) + line[place + 1 :]
    assert LineParser(FOUR).parse(damaged) is None


@pytest.mark.parametrize("ratio", [0.25, 0.5, 2.0, 4.0, 12.0])
def test_the_wrong_baud_rate_gives_no_reading(ratio: float) -> None:
    parser = LineParser(FieldLayout(("kiln", "top")))
    buffer = LineBuffer()
    found = 0
    for celsius in range(20, 1220, 3):
        line = f"{celsius}.25,{celsius - 7}.50\r\n".encode()
        found += sum(
            parser.parse(heard) is not None for heard in buffer.feed(heard_at(line, ratio), 0.0)
        )
    assert found == 0


def test_the_garbler_hears_rightly_at_the_right_speed() -> None:
    assert heard_at(b"1215.5\r\n", 1.0) == b"1215.5\r\n"


@pytest.mark.parametrize(
    ("fields", "delimiter", "decimal", "word"),
    [
        (("-",), ",", ".", "no temperature"),
        (("kiln", "kiln"), ",", ".", "twice"),
        (("kiln", "junction", "junction"), ",", ".", "twice"),
        (("kiln", "top"), ",", ",", "same"),
    ],
)
def test_a_layout_that_cannot_be_is_refused(
    fields: tuple[str, ...], delimiter: str, decimal: str, word: str
) -> None:
    with pytest.raises(FiringError, match=word):
        FieldLayout(fields, delimiter, decimal)


def test_millivolts_without_a_thermocouple_are_refused() -> None:
    with pytest.raises(FiringError, match="thermocouple"):
        converter_for("mV", None, 25.0)
    with pytest.raises(FiringError):
        converter_for("mV", "Q", 25.0)
    with pytest.raises(FiringError):
        converter_for("mV", "K", 900.0)
