"""Whole screens as plain text; UPDATE_SCREENS=1 stores what is seen now."""

import asyncio
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.equipment import Circumstances
from firing.tui.session import LogChoice
from longer import beyond
from textual.pilot import Pilot

SIZES = beyond(1, [(80, 24), (120, 36)])
Make = Callable[[], FiringApp]
Settle = Callable[[Pilot[Any]], Awaitable[None]]
Picture = Callable[[FiringApp], str]
Golden = Callable[[str, str], None]


@pytest.mark.usefixtures("utc")
@pytest.mark.parametrize("size", SIZES)
def test_plan(
    screens: Make, settle: Settle, picture: Picture, golden: Golden, size: tuple[int, int]
) -> None:
    async def scene() -> None:
        app = screens()
        started = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
        app.session.circumstances = Circumstances(started, "6")
        app.session.forecast_first()
        async with app.run_test(size=size) as pilot:
            await pilot.press("down", "right", "9", "0", "0", "enter")
            await pilot.press("tab", "full_stop", "full_stop", "full_stop", "tab")
            await settle(pilot)
            golden(f"plan-{size[0]}x{size[1]}", picture(app))

    asyncio.run(scene())


@pytest.mark.usefixtures("utc")
@pytest.mark.parametrize("size", SIZES)
def test_review(
    screens: Make,
    settle: Settle,
    picture: Picture,
    golden: Golden,
    plan: Path,
    size: tuple[int, int],
) -> None:
    demo = resources.files("firing") / "data" / "demo"
    plan.write_text((demo / "plan.toml").read_text(encoding="utf-8"), encoding="utf-8")
    log = plan.parent / "log.csv"
    log.write_text((demo / "log.csv").read_text(encoding="utf-8"), encoding="utf-8")

    async def scene() -> None:
        app = screens()
        app.session.log = LogChoice(log)
        async with app.run_test(size=size) as pilot:
            await pilot.press("f7")
            await settle(pilot)
            await pilot.press("down")
            await settle(pilot)
            golden(f"review-{size[0]}x{size[1]}", picture(app))

    asyncio.run(scene())


def test_help(screens: Make, settle: Settle, picture: Picture, golden: Golden) -> None:
    async def scene() -> None:
        app = screens()
        async with app.run_test(size=(120, 60)) as pilot:
            await pilot.press("f1")
            await settle(pilot)
            golden("help-120x60", picture(app))

    asyncio.run(scene())
