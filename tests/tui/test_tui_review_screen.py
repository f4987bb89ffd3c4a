"""The review on the screen: causes on the curve, whole findings, and the way back to the plan."""

from collections.abc import Awaitable, Callable
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from firing.tui.app import FiringApp
from firing.tui.document import open_file
from firing.tui.plot import AXIS, MARK, Mark, draw, window_on
from firing.tui.plot_lines import reviewed_at
from firing.tui.screens.dialogs import Sheet
from firing.tui.screens.plan import PlanScreen
from firing.tui.screens.review import ReviewList, ReviewScreen
from firing.tui.session import LogChoice
from firing.tui.widgets.curve import Curve
from firing.tui.widgets.segments import Segments
from textual.pilot import Pilot
from textual.widgets import Static
from waiting import front, until

from firing.report.charts.text_chart import ChartSeries
from firing.report.sanitize import plain
from firing.report.words import Timekeeper
from firing.units import hours_minutes

Play = Callable[..., None]
Settle = Callable[[Pilot[Any]], Awaitable[None]]


@pytest.fixture
def review_of_the_demo(plan: Path, play: Play, settle: Settle) -> Callable[..., None]:
    """Return what runs a scene on the demo's review."""
    folder = resources.files("firing") / "data" / "demo"
    plan.write_text((folder / "plan.toml").read_text(encoding="utf-8"), encoding="utf-8")
    log = plan.parent / "log.csv"
    log.write_text((folder / "log.csv").read_text(encoding="utf-8"), encoding="utf-8")

    def run(scene: Callable[..., Awaitable[None]], size: tuple[int, int] = (80, 24)) -> None:
        async def whole(app: FiringApp, pilot: Pilot[Any]) -> None:
            app.session.open(open_file(plan))
            app.session.log = LogChoice(log)
            await pilot.press("f7")
            await until(pilot, lambda: front(app, ReviewScreen)() and app.session.review)
            await settle(pilot)
            await scene(app, pilot)

        play(whole, size)

    return run


def lines_of(app: FiringApp) -> list[str]:
    return [row.cells[0] for row in app.screen.query_one(ReviewList).rows]


def details(app: FiringApp) -> str:
    return str(app.screen.query_one("#details-text", Static).content)


async def walk_to(app: FiringApp, pilot: Pilot[Any], words: str) -> None:
    """Click the line that begins so."""
    grid = app.screen.query_one(ReviewList)
    (row,) = [n for n, line in enumerate(lines_of(app)) if line.startswith(words)][:1]
    grid.go(row)
    await pilot.pause()
    await pilot.click(ReviewList, offset=(5, row - grid.scroll_offset.y))


def test_causes_findings_and_segments_are_walked_with_the_curve(
    review_of_the_demo: Callable[..., None], picture: Callable[[FiringApp], str]
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        review, curve = app.session.review, app.screen.query_one(Curve)
        grid = app.screen.query_one(ReviewList)
        assert review is not None
        assert curve.shown is not None
        # Every cause that is marked has its letter in the list and on the curve.
        lines, marks = lines_of(app), curve.shown.marks
        assert [mark.letter for mark in marks[:3]] == ["A", "B", "C"]
        plot = [line[38:].split("│")[-1] for line in picture(app).split("\n")]
        for mark in marks:
            assert any(line.startswith(f"{mark.letter} ") for line in lines)
            assert any(mark.letter in line for line in plot)
        await walk_to(app, pilot, "B ")
        assert "B couldn't keep up" in curve.readout(None)
        # A finding is read whole, and is one line to the cursor and to the mouse.
        await walk_to(app, pilot, "To do: ")
        begun = grid.row
        assert grid.rows[begun + 1].goes_on
        await pilot.press("down")
        assert grid.row > begun + 1
        await pilot.click(ReviewList, offset=(5, begun + 1 - grid.scroll_offset.y))
        assert grid.row == begun
        # Every segment is there, planned and real; as printed they add up.
        for segment in review.segments:
            (line,) = [line for line in lines if line.startswith(f"{segment.index + 1} ")]
            planned, real, off = line.split()[-3:]
            assert planned == hours_minutes(segment.planned_s)
            assert real == hours_minutes(segment.actual_s)
            hours = [60 * int(h) + int(m) for h, m in (t.split(":") for t in (planned, real, off))]
            assert hours[2] == abs(hours[1] - hours[0])
        # The demo's second segment was set at 130 °C/h, its last held for 30 min: its file says so.
        await walk_to(app, pilot, "2 ")
        assert "planned 130 °C/h" in details(app)
        await walk_to(app, pilot, "4 ")
        assert "planned 30 min" in details(app)
        # The cross-hair finds its segment in the list, and stays where it was set.
        await pilot.press("tab", "full_stop", "comma", "comma")
        at_s = curve.cross_s
        assert at_s is not None
        assert grid.rows[grid.row].cells[0].startswith(f"{(reviewed_at(review, at_s) or 0) + 1} ")
        assert curve.cross_s == at_s

    review_of_the_demo(scene)


def test_findings_are_whole_in_list_and_sheet_and_a_line_goes_to_its_segment(
    review_of_the_demo: Callable[..., None],
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        review, curve = app.session.review, app.screen.query_one(Curve)
        assert review is not None
        assert not any("…" in line for line in lines_of(app))
        told = " ".join(" ".join(lines_of(app)).split())
        assert all(" ".join(plain(f.message).split()) in told for f in review.findings)
        await pilot.double_click(ReviewList, offset=(5, 3))
        await until(pilot, lambda: curve.zoomed)
        await pilot.press("f4")
        await until(pilot, front(app, Sheet))
        text = app.screen.query_one("#text", Static)
        await until(pilot, lambda: "Confidence: " in str(text.content))
        told = " ".join(str(text.content).split())
        assert all(" ".join(plain(f.next_step).split()) in told for f in review.findings)
        await pilot.press("escape")
        await until(pilot, front(app, ReviewScreen))
        await walk_to(app, pilot, "B ")  # the kiln fell behind in segment 3
        await pilot.press("p")
        await until(pilot, front(app, PlanScreen))
        table = app.plan.query_one(Segments)
        await until(pilot, lambda: (table.place.row, table.place.column) == (2, "rate"))
        assert "140" in table.rows[table.row].cells[table.column]

    review_of_the_demo(scene, (60, 20))


def test_a_mark_is_drawn_under_its_stretch_and_on_its_line() -> None:
    """By hand: 10 h, 0 to 1000 °C; the third and fourth hour are columns 20 to 39 of 100."""
    line = ChartSeries("kiln", np.array([0.0, 36000.0]), np.array([0.0, 1000.0]))
    window = window_on([line])
    assert window is not None
    rows = draw(
        [line], window, width=105, height=23, unit="C", keeper=Timekeeper(None, 0.0),
        marks=[Mark("A", 7200.0, 14400.0)],
    )  # fmt: skip
    foot = "".join(text for text, _ in rows[-2])
    marked = [n - 5 for n, character in enumerate(foot) if character in "━┯"]
    assert marked == list(range(20, 41))
    (height,) = [n for n, row in enumerate(rows) if ("A", MARK) in row]
    before = "".join(text for text, _ in rows[height]).index("A")
    assert before - 5 == 30
    # 300 of 1000 °C, with a margin of 20 each way, lie 720/1040 down 20 rows below the legend.
    assert height == 1 + int(720 / 1040 * 20)
    assert rows[-1][0][1] == AXIS
