"""The Watch screen in the middle of a firing; UPDATE_SCREENS=1 stores what is seen."""

import asyncio
import time
from collections.abc import Callable
from importlib import resources
from pathlib import Path

import pytest
from firing.tui.app import FiringApp
from firing.tui.document import open_file
from firing.tui.screens.dialogs import Sheet
from firing.tui.screens.watch import WatchScreen
from longer import beyond
from waiting import PATIENCE_S

from firing.watch.options import WatchOptions


@pytest.mark.usefixtures("utc")
@pytest.mark.parametrize("size", beyond(1, [(80, 24), (120, 36)]))
def test_watch(
    picture: Callable[[FiringApp], str],
    golden: Callable[[str, str], None],
    state: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    size: tuple[int, int],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("firing.tui.watch_supervisor.LOOK_EVERY_S", 0.1)
    demo = resources.files("firing") / "data" / "demo"
    plan = tmp_path / "plan.toml"
    plan.write_text((demo / "plan.toml").read_text(encoding="utf-8"), encoding="utf-8")
    lines = (demo / "log.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    # up to somewhere on the way to the top
    Path("log.csv").write_text("".join(lines[:320]), encoding="utf-8")

    async def scene() -> None:
        document = open_file(plan)
        order = WatchOptions(
            "log.csv", out=Path("out.csv"), schedule=document.schedule, cones=("6",), top_c=900.0
        )
        app = FiringApp(document, state, watch=order)
        async with app.run_test(size=size) as pilot:
            until = time.monotonic() + PATIENCE_S
            while not isinstance(app.screen, Sheet):
                assert time.monotonic() < until
                await pilot.pause(0.01)
            await pilot.press("escape")
            while app.session.watch is None:  # a replay waits for its safety text
                assert time.monotonic() < until
                await pilot.pause(0.01)
            screen = app.screen_stack[-1]
            assert isinstance(screen, WatchScreen)
            while app.session.watching:
                assert time.monotonic() < until
                await pilot.pause(0.05)
            before = ""
            while app.session.watching or before != picture(app) or "ended" not in before:
                assert time.monotonic() < until
                before = picture(app)
                screen.look()
                for _ in range(3):
                    await pilot.pause(0.02)
            golden(f"watch-{size[0]}x{size[1]}", picture(app))
        app.session.journal.close()

    asyncio.run(scene())
