"""The dots: where lines go, and that thinning to columns loses nothing that shows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.report.charts.text_chart import Canvas, LineStyle

FULL = "\u28ff"


def dots(canvas: Canvas) -> np.ndarray:
    """Read the dots back out of the braille, by the bit numbers of the Unicode block."""
    order = [[0, 3], [1, 4], [2, 5], [6, 7]]
    lit = np.zeros((canvas.rows, canvas.columns), dtype=bool)
    for y, row in enumerate(canvas.lines()):
        for x, character in enumerate(row):
            bits = 0 if character == " " else ord(character) - 0x2800
            for down in range(4):
                for across in range(2):
                    lit[4 * y + down, 2 * x + across] = bits >> order[down][across] & 1
    return lit


def drawn(
    x: list[float], y: list[float], style: LineStyle = "solid", *, width: int = 10, height: int = 5
) -> np.ndarray:
    canvas = Canvas(width, height)
    canvas.draw(np.array(x), np.array(y), style)
    return dots(canvas)


def test_a_level_line_is_one_dot_high_and_unbroken() -> None:
    lit = drawn([0.0, 1.0], [0.5, 0.5])
    assert lit.sum() == 20
    assert lit[10].all()


def test_a_step_is_an_upright_line() -> None:
    lit = drawn([0.0, 0.52, 0.53, 1.0], [0.0, 0.0, 1.0, 1.0])
    assert lit[:, 10].all()


def test_a_diagonal_reaches_both_corners_without_gaps() -> None:
    lit = drawn([0.0, 1.0], [0.0, 1.0])
    assert lit[-1, 0]
    assert lit[0, -1]
    assert lit.any(axis=0).all()
    assert lit.any(axis=1).all()


def test_one_reading_in_a_hundred_thousand_still_shows() -> None:
    y = np.full(100_000, 0.1)
    y[61_803] = 0.9
    canvas = Canvas(40, 10)
    canvas.draw(np.linspace(0.0, 1.0, y.size), y)
    lit = dots(canvas)
    assert lit[4, int(0.61803 * 80)]


def test_nan_breaks_the_line() -> None:
    lit = drawn([0.0, 0.3, 0.31, 0.69, 0.7, 1.0], [0.5, 0.5, np.nan, np.nan, 0.5, 0.5])
    assert lit[:, :5].any(axis=0).all()
    assert not lit[:, 7:13].any()
    assert lit[:, 15:].any(axis=0).all()


def test_what_lies_outside_is_not_drawn() -> None:
    assert not drawn([0.0, 1.0], [1.5, 2.0]).any()
    assert not drawn([1.2, 2.0], [0.5, 0.5]).any()
    assert not drawn([], []).any()


@pytest.mark.parametrize("style", ["dashed", "dotted"])
@pytest.mark.parametrize("slope", [0.0, 1.0, -1.0, 40.0])
def test_broken_styles_are_broken_at_every_slope(style: LineStyle, slope: float) -> None:
    x = np.linspace(0.0, 1.0, 50)
    y = 0.5 + slope * (x - 0.5)
    solid, broken = Canvas(20, 10), Canvas(20, 10)
    solid.draw(x, y)
    broken.draw(x, y, style)
    whole, part = dots(solid), dots(broken)
    assert not (part & ~whole).any()
    assert 0.2 <= part.sum() / whole.sum() <= 0.75


@given(st.lists(st.floats(0.0, 1.0), min_size=2, max_size=40))
def test_a_line_is_connected(heights: list[float]) -> None:
    lit = drawn(list(np.linspace(0.0, 1.0, len(heights))), heights)
    for left in range(lit.shape[1] - 1):
        here, there = np.flatnonzero(lit[:, left]), np.flatnonzero(lit[:, left + 1])
        assert np.abs(here[:, None] - there).min() <= 1


def test_ascii_marks_tell_the_lines_apart() -> None:
    canvas = Canvas(4, 2)
    canvas.draw(np.array([0.0, 1.0]), np.array([0.9, 0.9]), "solid")
    canvas.draw(np.array([0.0, 1.0]), np.array([0.1, 0.1]), "dotted")
    above, below = canvas.lines(ascii_only=True)
    assert above == "****"
    assert set(below) == {".", " "}


def test_colours_are_switched_on_and_off_again() -> None:
    canvas = Canvas(3, 1)
    canvas.draw(np.array([0.4, 0.6]), np.array([0.5, 0.5]))
    (line,) = canvas.lines(colours=("\x1b[38;5;25m",))
    assert line.startswith(" \x1b[38;5;25m")
    assert line.endswith(("\x1b[0m ", "\x1b[0m"))
    assert "\x1b" not in canvas.lines(colours=("",))[0]
