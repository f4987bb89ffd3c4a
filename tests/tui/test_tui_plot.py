"""The window on a chart, and what is drawn in it."""

import numpy as np
import pytest
from firing.tui.plot import CROSS, GUTTER, Window, column_at, draw, time_at, window_on
from hypothesis import given
from hypothesis import strategies as st

from firing.report.charts.text_chart import ChartSeries
from firing.report.words import Timekeeper

WHOLE = Window(0.0, 36_000.0, 0.0, 36_000.0)
RAMP = ChartSeries("ramp", np.array([0.0, 36_000.0]), np.array([0.0, 1000.0]))
NO_CLOCK = Timekeeper(None, 36_000.0)

ZOOMS = st.lists(
    st.tuples(st.sampled_from(["zoom", "pan"]), st.floats(-1.0, 1.0), st.floats(0.0, 1.0)),
    max_size=20,
)


def text(rows: list[list[tuple[str, int]]]) -> list[str]:
    return ["".join(piece for piece, _ in row) for row in rows]


@given(ZOOMS)
def test_a_window_never_leaves_the_whole(moves: list[tuple[str, float, float]]) -> None:
    window = WHOLE
    for kind, by, share in moves:
        at_s = window.from_s + share * (window.to_s - window.from_s)
        window = window.zoomed(4.0**by, at_s) if kind == "zoom" else window.panned(by)
        assert window.from_s >= -1e-6
        assert window.to_s <= 36_000.0 + 1e-6
        assert window.to_s - window.from_s >= 299.0


def test_zooming_keeps_the_moment_under_the_mouse() -> None:
    window = WHOLE.zoomed(0.5, 9_000.0)
    assert (window.from_s, window.to_s) == (4_500.0, 22_500.0)
    assert window.zoomed(2.0, 9_000.0) == WHOLE
    assert window.everything() == WHOLE
    assert WHOLE.whole
    assert not window.whole


@given(st.integers(0, 79))
def test_a_column_and_its_moment_belong_together(column: int) -> None:
    at_s = time_at(WHOLE, column, 80)
    assert column_at(WHOLE, at_s, 80) == max(column, GUTTER)


def test_what_is_outside_has_no_column() -> None:
    assert column_at(WHOLE.zoomed(0.5, 0.0), 30_000.0, 80) is None


def test_a_window_follows_a_moment() -> None:
    near = WHOLE.zoomed(0.1, 0.0)
    assert near.seeing(1_000.0) is near
    later = near.seeing(20_000.0)
    assert later.from_s < 20_000.0 < later.to_s
    assert later.to_s - later.from_s == pytest.approx(3_600.0)


def test_the_axis_follows_what_is_seen() -> None:
    """In the second half of a ramp to 1000 °C the axis shows 500 to 1000 only."""
    half = Window(0.0, 36_000.0, 18_000.0, 36_000.0)
    rows = text(draw([RAMP], half, width=60, height=16, unit="C", keeper=NO_CLOCK))
    labels = [int(row[: GUTTER - 1]) for row in rows[1:-2] if row[: GUTTER - 1].strip()]
    assert min(labels) >= 490
    assert max(labels) <= 1010


def test_every_row_is_as_wide_as_asked_and_the_cross_hair_is_in_its_column() -> None:
    rows = draw([RAMP], WHOLE, width=60, height=16, unit="F", keeper=NO_CLOCK, cross_s=18_000.0)
    assert len(rows) == 16
    column = column_at(WHOLE, 18_000.0, 60)
    assert column is not None
    assert all(len(line) <= 60 for line in text(rows))
    crossed = [line[column] for line in text(rows) if len(line) > column]
    # thirteen rows of plot, one of them with the ramp itself, and the rule below
    assert crossed.count("│") == 12
    assert crossed.count("┴") == 1
    assert sum(role == CROSS for row in rows for _, role in row) == 13


def test_a_line_with_gaps_and_a_line_of_nothing_are_drawn() -> None:
    gaps = ChartSeries("gaps", np.array([0.0, 1.0, 2.0]), np.array([np.nan, 5.0, np.nan]))
    empty = ChartSeries("empty", np.array([]), np.array([]))
    window = window_on([gaps, empty])
    assert window is not None
    assert len(draw([gaps, empty], window, width=40, height=10, unit="C", keeper=NO_CLOCK)) == 10
    assert window_on([empty]) is None
