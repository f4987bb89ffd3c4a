"""Text tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.report.sanitize import display_width
from firing.report.text import render_table


def test_text_to_the_left_numbers_to_the_right() -> None:
    table = render_table(["what", "°C"], [["room", "20"], ["peak", "1222"]], "lr")
    assert table.split("\n") == [
        "what    °C",
        "────  ────",
        "room    20",
        "peak  1222",
    ]


def test_wide_characters_keep_the_columns_straight() -> None:
    table = render_table(["a", "b"], [["陶芸", "1"], ["x", "−2"]], "lr").split("\n")
    assert [display_width(line) for line in table] == [8, 8, 8, 8]


def test_control_characters_do_not_break_the_table() -> None:
    table = render_table(["a"], [["x\n\x1b[1my"]], "l")
    assert table.split("\n")[2] == "x␊␛[1my"


def test_texts_wrap_and_numbers_do_not() -> None:
    table = render_table(
        ["name", "h:mm"], [["a rather long name of a segment", "10:30"]], "lr", width=20
    )
    lines = table.split("\n")
    assert all(display_width(line) <= 20 for line in lines)
    assert sum("10:30" in line for line in lines) == 1


@given(
    st.lists(st.tuples(st.text(max_size=60), st.integers(-(10**6), 10**6)), max_size=6),
    st.integers(30, 80),
)
def test_never_wider_than_asked(rows: list[tuple[str, int]], width: int) -> None:
    table = render_table(
        ["text", "number"], [(text, str(n)) for text, n in rows], "lr", width=width
    )
    assert all(display_width(line) <= width for line in table.split("\n"))


def test_a_row_that_does_not_fit_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(ValueError, match="2 columns"):
        render_table(["a", "b"], [["x"]], "lr")
