"""Random keys on the screens: nothing crashes, and no unsaved plan is ever lost.

After every few keys what is kept against a crash is compared with the open plan; a plan may only be
given up by the answer that says so.
"""

import asyncio
import random
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.document import open_file
from firing.tui.journal import _read
from firing.tui.screens.dialogs import Ask
from textual.pilot import Pilot

from firing.schedule.file import open_schedule
from firing.schedule.schedule import Schedule

PLAN = """title = "Plates, invented"
[[segment]]
rate = 50
target = 120
hold = "1:30"
[[segment]]
rate = 120
target = 600
[[segment]]
rate = 150
target = 1200
hold = "30m"
"""
LOG = "time_s,Kiln (°C)\n" + "\n".join(f"{60 * n},{20 + n}" for n in range(600)) + "\n"

KEYS = [
    *"0123456789" * 3, *"abchlmu:.,+-[] ", "é", "up", "down", "left", "right", "home", "end",
    "pageup", "pagedown", "enter", "enter", "enter", "escape", "escape", "escape", "tab",
    "shift+tab", "backspace", "delete", "insert", "ctrl+n", "ctrl+d", "ctrl+k", "shift+up",
    "shift+down", "ctrl+z", "ctrl+y", "ctrl+s", "ctrl+e", "ctrl+o", "ctrl+p", "ctrl+q", "ctrl+home",
    "ctrl+end", "f1", "f2", "f3", "f4", "f5", "f6", "f7", "f8", "f9", "f12", "space",
    "ctrl+c", "ctrl+a", "ctrl+u", "ctrl+w",
]  # fmt: skip


async def run(folder: Path, seed: int, keys: int) -> int:
    """Press keys until they are used up or the program was left; returns how many were pressed."""
    rng = random.Random(seed)
    plan = folder / "plan.toml"
    if not plan.exists():
        plan.write_text(PLAN, encoding="utf-8")
        (folder / "log.csv").write_text(LOG, encoding="utf-8")
    app = FiringApp(open_file(plan), folder / "state")
    try:
        async with app.run_test(size=rng.choice([(80, 24), (120, 36), (60, 15)])) as pilot:
            for number in range(keys):
                if app.return_value is not None or not app.is_running:
                    check_left(app)
                    return number
                await pilot.press(rng.choice(KEYS))
                if number % 10 == 0:
                    check_kept(app)
            check_kept(app)
            await leave(app, pilot)
    finally:
        app.session.journal.close()
        for left in (folder / "state").glob("*"):
            left.unlink()
    return keys


async def leave(app: FiringApp, pilot: Pilot[Any]) -> None:
    """Close whatever is in front, so that no job is cut off in the middle."""
    for _ in range(20):
        if len(app.screen_stack) == 1:
            break
        await pilot.press("escape")
    # A form with unsaved edits asks before it closes, so it may still stand there with its job.
    others = [worker for worker in app.workers if worker.group != "job"]
    if others:
        await app.workers.wait_for_complete(others)


def check_kept(app: FiringApp) -> None:
    if app.return_value is not None:
        return  # the answer was given in these very keys; `check_left` judges it
    journal, document = app.session.journal, app.session.document
    journal.settle()
    kept = [entry for file in journal.folder.glob("*.json") if (entry := _read(file)) is not None]
    if document.changed and not isinstance(app.screen, Ask):
        assert not journal.trouble
        held = [entry.restore().schedule for entry in kept]
        assert any(close(schedule, document.schedule) for schedule in held), "not kept"


def check_left(app: FiringApp) -> None:
    """Unsaved work is gone only if that was the answer."""
    document = app.session.document
    if app.return_value == "given up":
        return
    assert app.return_value in ("clean", "saved")
    assert not document.changed
    if app.return_value == "saved":
        assert document.path is not None
        assert close(open_schedule(document.path), document.schedule)


def close(one: Schedule, other: Schedule) -> bool:
    """Whether two schedules are written alike; a file keeps six digits."""
    from firing.schedule.file import schedule_text

    return schedule_text(one) == schedule_text(other)


def press_many(folder: Path, seed: int, keys: int) -> None:
    pressed = 0
    while pressed < keys:
        pressed += asyncio.run(run(folder, seed, min(keys - pressed, 1000))) + 1
        seed += 1


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setattr("textual._wait.SLEEP_GRANULARITY", 0.003)
    monkeypatch.setattr("textual._wait.SLEEP_IDLE", 0.0015)
    return tmp_path


@pytest.mark.soak
def test_five_hundred_random_keys(folder: Path) -> None:
    press_many(folder, 20260302, 500)


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(10))
def test_ten_thousand_random_keys(folder: Path, seed: int) -> None:
    press_many(folder, 1000 * seed, 1000)
