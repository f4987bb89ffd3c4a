"""Text that reaches a terminal must not steer it, and must be as wide as we think it is."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.report.sanitize import display_width, pad, plain, to_ascii, wrap


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("18 mm planters, −5 °C", "18 mm planters, −5 °C"),
        ("a\x1b[31mred", "a␛[31mred"),
        ("two\nlines\tand a tab", "two␊lines␉and a tab"),
        ("\x07\x00\x7f", "␇␀␡"),
        ("\x9b31m", "�31m"),  # the one-character form of ESC [
        ("abc\u202edef\u2066", "abc�def�"),  # text direction overrides
        ("\u2028\u2029\ufeff\u00ad", "����"),
        ("\ud800", "�"),
    ],
)
def test_control_characters_are_shown_and_not_obeyed(raw: str, shown: str) -> None:
    assert plain(raw) == shown


@given(st.text())
def test_nothing_that_steers_a_terminal_passes(raw: str) -> None:
    shown = plain(raw)
    assert len(shown) == len(raw)
    assert not {unicodedata.category(c) for c in shown} & {"Cc", "Cs", "Zl", "Zp"}
    assert not set(shown) & set(
        "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f"
    )
    assert plain(shown) == shown


# Widths from Unicode Standard Annex 11 (East Asian Width): W and F are two columns.
@pytest.mark.parametrize(
    ("text", "columns"), [("abc", 3), ("°C −", 4), ("陶芸", 4), ("e\u0301", 1), ("Ａ", 2)]
)
def test_width_in_columns(text: str, columns: int) -> None:
    assert display_width(text) == columns
    assert display_width(pad(text, 8)) == 8
    assert pad(text, 8, right=True).endswith(text)


@given(st.text(alphabet="ab 陶°"), st.integers(2, 12))
def test_wrapped_lines_fit_and_lose_only_spaces(text: str, width: int) -> None:
    lines = wrap(text, width)
    assert all(display_width(line) <= width for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_values_stay_with_their_units_where_joined() -> None:
    assert wrap("about 9\u00a0h\u00a030\u00a0min", 12) == ["about", "9\u00a0h\u00a030\u00a0min"]


@given(st.text())
def test_ascii_output_is_ascii(text: str) -> None:
    assert to_ascii(text).isascii()


def test_trade_signs_have_ascii_counterparts() -> None:
    assert to_ascii("−5 °C ±2 – 1…") == "-5 C +/-2 - 1..."
