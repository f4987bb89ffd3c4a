"""Several firings of the open plan over each other, on the screen."""

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from firing.tui.app import FiringApp
from firing.tui.document import open_file
from firing.tui.plot import MARK, Mark, draw, window_on
from firing.tui.screens.file_chooser import FileChooser
from firing.tui.screens.overlay import OverlayScreen
from firing.tui.screens.review import ReviewScreen
from firing.tui.session import LogChoice
from firing.tui.widgets.curve import Curve
from logmaker import BISQUE, Faults, Sampling
from review.made_firings import as_schedule, made_log
from textual.pilot import Pilot
from textual.widgets import Input
from waiting import front, until

import firing as fi
from firing.report.charts.text_chart import ChartSeries
from firing.report.words import Timekeeper


@pytest.mark.soak
def test_firings_are_added_aligned_and_taken_out(
    play: Callable[..., None],
    settle: Callable[[Pilot[Any]], Awaitable[None]],
    picture: Callable[[FiringApp], str],
    tmp_path: Path,
) -> None:
    plan = tmp_path / "plan.toml"
    plan.unlink(missing_ok=True)
    fi.write_schedule(as_schedule(BISQUE), plan)
    logs = [tmp_path / f"week{number}.csv" for number in (1, 2, 3)]
    faults = (None, Faults(power_factor=0.8), Faults(outage_at_c=600.0, outage_s=7200.0))
    for log, each in zip(logs, faults, strict=True):
        made_log(tmp_path, BISQUE, faults=each, sampling=Sampling(interval_s=300.0), name=log.name)

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        def shown() -> OverlayScreen:
            assert isinstance(app.screen, OverlayScreen)
            return app.screen

        async def add(log: Path, count: int) -> None:
            await until(pilot, front(app, FileChooser))
            app.screen.query_one(Input).value = str(log)
            await pilot.press("enter")
            await until(
                pilot,
                lambda: (
                    front(app, OverlayScreen)()
                    and (found := shown().found) is not None
                    and len(found.firings) == count
                ),
            )
            await settle(pilot)

        app.session.open(open_file(plan))
        app.session.log = LogChoice(logs[0])
        await pilot.press("f7")
        await until(pilot, lambda: front(app, ReviewScreen)() and app.session.review is not None)
        await settle(pilot)
        await pilot.press("c")
        await add(logs[1], 2)
        await pilot.press("ctrl+o")
        await add(logs[2], 3)
        found, seen = shown().found, picture(app)
        assert found is not None
        assert all(f"{letter} week{n + 1}.csv" in seen for n, letter in enumerate("ABC"))
        assert f"Compare: {found.schedule.title}" in seen
        assert found.remarks[0][:30] in " ".join(seen.split())
        assert [mark.letter for mark in shown().query_one(Curve).shown.marks] == list("ABC")  # type: ignore[union-attr]
        await pilot.press("s")
        await until(pilot, lambda: shown().found.align == "clock")  # type: ignore[union-attr]
        # The line of the second firing: it is taken out, by its own key.
        await pilot.press("down", "delete")
        await until(pilot, lambda: len(shown().found.firings) == 2)  # type: ignore[union-attr]
        assert [f.name for f in shown().found.firings] == ["week1.csv", "week3.csv"]  # type: ignore[union-attr]
        await pilot.press("delete")
        await until(pilot, lambda: shown().found is None)
        await pilot.press("f7")
        await until(pilot, front(app, ReviewScreen))

    play(scene)


def test_a_letter_stands_on_its_own_line() -> None:
    """Two level lines, at 100 and at 900 °C: each letter in its line's row."""
    time_s = np.array([0.0, 36000.0])
    lines = [ChartSeries(name, time_s, np.full(2, c)) for name, c in (("A", 900.0), ("B", 100.0))]
    window = window_on(lines)
    assert window is not None
    rows = draw(
        lines, window, width=65, height=23, unit="C", keeper=Timekeeper(None, 0.0),
        marks=[Mark("A", 9000.0, 9000.0, line=0), Mark("B", 9000.0, 9000.0, line=1)],
    )  # fmt: skip
    places = {text: n for n, row in enumerate(rows) for text, role in row if role == MARK}
    # With a margin of 16 °C each way, 16/832 and 816/832 down 20 rows below the legend.
    assert places == {"A": 1 + int(16 / 832 * 20), "B": 1 + int(816 / 832 * 20)}
    # A moment is no stretch: nothing is marked along the foot.
    assert not any(role == MARK for _, role in rows[-2])
