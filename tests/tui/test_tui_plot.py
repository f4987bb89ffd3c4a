"""The window on a chart, and what is drawn in it."""

from typing import get_args

import numpy as np
import pytest
from firing.tui.equipment import read_all
from firing.tui.plot import CROSS, GUTTER, Window, column_at, draw, time_at, window_on
from firing.tui.plot_lines import forecast_lines
from hypothesis import given
from hypothesis import strategies as st

from firing.forecast.forecast import forecast
from firing.report.charts.text_chart import ChartSeries, LineStyle
from firing.report.words import Timekeeper
from firing.schedule.schedule import Schedule, Segment

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


def test_what_happens_along_a_course_stands_on_it_without_colour_or_dots() -> None:
    """A bisque at 100 °C/h from 20 °C: each letter where algebra has the middle of its window."""
    plan = Schedule("bisque", (Segment(1000.0, 100.0, action="bungs in"),), "bisque")
    shown = forecast_lines(forecast(plan))
    window = window_on(shown.lines)
    assert window is not None
    at_s = {mark.letter: (mark.from_s, mark.to_s) for mark in shown.marks if mark.to_s <= 35280.0}
    # drying 80 to 95, bound water 400 to 700, quartz 565 to 600, burn-out 650 to 800, the last 100
    for letter, low_c, high_c in (
        ("C", 80, 95), ("W", 400, 700), ("Q", 565, 600), ("B", 650, 800), ("H", 900, 1000),
    ):  # fmt: skip
        assert at_s[letter] == pytest.approx([36.0 * (low_c - 20), 36.0 * (high_c - 20)])
    assert at_s["!"] == pytest.approx([35280.0, 35280.0])
    assert " ".join(shown.key) == "C candle W water Q quartz B burn H cone ! by hand"
    assert "chemical water" in shown.readout(36.0 * 530)
    for ascii_only in (False, True):
        rows = draw(
            shown.lines, window, width=75, height=24, unit="C", keeper=shown.keeper,
            marks=shown.marks, ascii_only=ascii_only,
        )  # fmt: skip
        seen = text(rows)
        for letter in at_s:
            assert any(letter in line[5:] for line in seen[1:-2]), letter
        legend = seen[0]
        assert "set" in legend
        if ascii_only:
            # lines apart without dots: each its own character
            assert "---" in legend
            assert "***" in legend


def test_power_is_marked_where_the_elements_are_on_all_the_time() -> None:
    kiln = read_all({"kiln": "example-kiln"}).equipment.kiln
    assert kiln is not None
    plan = Schedule("fast", (Segment(600.0, 60.0), Segment(1200.0, 900.0)), "glaze")
    found = forecast(plan, kiln=kiln.value)
    (short,) = [stage for stage in found.stages if stage.name == "power limits"]
    second = found.segments[1]
    # 900 °C/h is out of this kiln's reach from where it begins, as its own rates say
    assert found.kiln is not None
    assert all(rate < 900.0 for at_c, rate in found.kiln.max_rate if at_c >= 600.0)
    assert second.start_s <= short.from_s <= second.start_s + 900.0
    assert short.to_s == second.ramp_end_s


STYLES = get_args(LineStyle)


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("width", [22, 42, 100])
def test_every_line_is_in_the_legend_with_a_sample_of_its_own(width: int, ascii_only: bool) -> None:
    time_s, climb_c = np.array([0.0, 3600.0]), np.array([20.0, 900.0])
    lines = [
        ChartSeries(f"{letter} a log with a long name", time_s, climb_c, style)
        for letter, style in zip("ABCDEFGH", STYLES, strict=True)
    ]
    window = window_on(lines)
    assert window is not None
    rows = draw(
        lines, window, width=width, height=16, unit="C", keeper=Timekeeper(None, 0.0),
        ascii_only=ascii_only,
    )  # fmt: skip
    assert len(rows) == 16
    assert all(sum(len(text) for text, _ in row) <= width + 2 for row in rows)
    head = rows[: next(n for n, row in enumerate(rows) if "┤" in row[0][0] or "│" in row[0][0])]
    samples = {role: text for row in head for text, role in row if role >= 0}
    assert set(samples) == set(range(len(lines)))
    assert len(set(samples.values())) == len(lines)
    words = "".join(text for row in head for text, _ in row)
    assert all(f" {letter}" in words for letter in "ABCDEFGH")
