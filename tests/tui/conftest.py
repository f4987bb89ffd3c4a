"""Screens without a terminal: built on a plan, driven by Pilot, seen as plain text."""

import asyncio
import os
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from dialects import machine_in
from firing.tui.app import FiringApp
from firing.tui.document import open_file
from textual.css.stylesheet import Stylesheet
from textual.pilot import Pilot

PLAN = """# kept above
title = "Plates, invented"  # kept behind
purpose = "glaze"
unit = "C"
start = 20

# why it dries
[[segment]]
name = "Dry"
rate = 50
target = 120
hold = "1:30"
action = "close the lid"

[[segment]]
name = "Rise"
rate = 120
target = 600

# the cone
[[segment]]
rate = 150
target = 1200
hold = "30m"
"""

GOLDENS = Path(__file__).parent / "goldens"


@pytest.fixture(autouse=True)
def _brisk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let Pilot look every few milliseconds whether the screens are idle, not every twenty."""
    monkeypatch.setattr("textual._wait.SLEEP_GRANULARITY", 0.004)
    monkeypatch.setattr("textual._wait.SLEEP_IDLE", 0.002)


@pytest.fixture(autouse=True, scope="session")
def _styles_read_once() -> Iterator[None]:
    """Let Textual read the same style sheet with the same colours once for all apps."""
    read: dict[Any, Any] = {}
    parse = Stylesheet._parse_rules

    def remembered(sheet: Stylesheet, *arguments: Any, **named: Any) -> Any:
        key = (arguments, *named.items(), *sheet._variables.items())
        if key not in read:
            read[key] = parse(sheet, *arguments, **named)
        return read[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Stylesheet, "_parse_rules", remembered)
        yield


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """Return a schedule file with comments and a hold written h:mm."""
    path = tmp_path / "plates.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


@pytest.fixture
def state(tmp_path: Path) -> Path:
    return tmp_path / "state"


@pytest.fixture
def screens(plan: Path, state: Path) -> Iterator[Callable[[], FiringApp]]:
    """Return a maker of apps on that file; their journals are closed at the end."""
    made: list[FiringApp] = []

    def make() -> FiringApp:
        made.append(FiringApp(open_file(plan), state))
        return made[-1]

    yield make
    for app in made:
        app.session.journal.close()


@pytest.fixture
def utc() -> Iterator[None]:
    """Let this machine's zone be UTC."""
    with machine_in("UTC"):
        yield


Settle = Callable[[Pilot[Any]], Any]


@pytest.fixture
def settle() -> Settle:
    """Return a wait for everything under way: messages, forecasts, reviews, the journal."""

    async def wait(pilot: Pilot[Any]) -> None:
        for _ in range(200):
            await pilot.pause()
            busy = [w for w in pilot.app.workers if w.group != "job" and not w.is_finished]
            if not busy and not getattr(pilot.app, "obeying", False):
                break
        for _ in range(3):
            await pilot.pause(0.01)
        app = pilot.app
        assert isinstance(app, FiringApp)
        app.session.journal.settle()

    return wait


@pytest.fixture
def picture() -> Callable[[FiringApp], str]:
    """Return what draws the screen in front as plain text."""

    def draw(app: FiringApp) -> str:
        # The compositor's lines are the only plain form of a whole screen that Textual has.
        strips = app.screen._compositor.render_strips()
        return "\n".join(strip.text.rstrip() for strip in strips) + "\n"

    return draw


@pytest.fixture
def golden() -> Callable[[str, str], None]:
    """Return a comparison with a stored screen; UPDATE_SCREENS=1 stores what is seen now."""

    def compare(name: str, seen: str) -> None:
        path = GOLDENS / f"{name}.txt"
        if os.environ.get("UPDATE_SCREENS"):
            path.write_text(seen, encoding="utf-8")
        assert seen == path.read_text(encoding="utf-8"), f"see {path.name}"

    return compare


Scene = Callable[[FiringApp, Pilot[Any]], Awaitable[None]]


@pytest.fixture
def play(screens: Callable[[], FiringApp], settle: Settle) -> Callable[..., None]:
    """Return what runs a scene on the screens of the sample plan."""

    def run(scene: Scene, size: tuple[int, int] = (80, 24)) -> None:
        async def whole() -> None:
            app = screens()
            async with app.run_test(size=size) as pilot:
                await settle(pilot)
                await scene(app, pilot)

        asyncio.run(whole())

    return run
