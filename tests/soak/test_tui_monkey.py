"""Random keys on the screens, many in one packet: nothing crashes, no unsaved plan is ever lost.

After every few keys what is kept against a crash is compared with the open plan, and the plan with
its history, taken back and made again.  A plan may only be given up by the answer that says so.
"""

import asyncio
import os
import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.document import PlanDocument, open_file
from firing.tui.journal import _read
from firing.tui.screens.dialogs import Ask
from textual import events
from textual.pilot import Pilot
from waiting import until

from firing.logbook.store import PATH_VARIABLE
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
    "ctrl+c", "ctrl+a", "ctrl+u", "ctrl+w", "ctrl+f", "ctrl+g", "ctrl+r", "ctrl+t",
    "f11", "f11", "p", "s", "t", "slash",
]  # fmt: skip
EDITING = [
    *"0123456789" * 3, *"hm.,", "up", "down", "left", "right", "enter", "enter", "escape", "tab",
    "tab", "shift+tab", "backspace", "delete", "ctrl+n", "ctrl+d", "shift+up", "shift+down",
    "ctrl+z", "ctrl+y", "f3",
]  # fmt: skip
"""Keys that only edit the plan: what they come to does not depend on how long anything takes."""
SIZES = [(80, 24), (60, 20), (140, 40)]
BURSTS = (1, 1, 1, 2, 3, 5, 8)
"""So many keys arrive in one packet."""


EVENTS = int(os.environ.get("FIRING_KEYS", "500"))
"""So many keys are pressed at every size."""


async def burst(app: FiringApp, pilot: Pilot[Any], keys: Sequence[str]) -> None:
    """Let keys arrive in one packet, and wait until all are obeyed."""
    for key in keys:
        app.post_message(events.Key(key, key if len(key) == 1 else None))
    # Those that the app has not even taken up yet are under way, too.
    await until(
        pilot,
        lambda: not (app.obeying or app.message_queue_size) or not app.is_running,
    )


async def run(folder: Path, seed: int, keys: int, size: tuple[int, int] | None = None) -> int:
    """Press keys until they are used up or the program was left; returns how many were pressed."""
    rng = random.Random(seed)
    plan = folder / "plan.toml"
    if not plan.exists():
        plan.write_text(PLAN, encoding="utf-8")
        (folder / "log.csv").write_text(LOG, encoding="utf-8")
    app = FiringApp(open_file(plan), folder / "state")
    try:
        async with app.run_test(size=size or rng.choice(SIZES)) as pilot:
            number = 0
            while number < keys:
                if app.return_value is not None or not app.is_running:
                    check_left(app)
                    return number
                many = rng.choices(KEYS, k=rng.choice(BURSTS))
                await burst(app, pilot, many)
                number += len(many)
                check_replay(app.session.document)
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


def check_replay(document: PlanDocument) -> None:
    """The plan is what its history comes to, taken back to the beginning and made again."""
    again = replace(document, _undo=list(document._undo), _redo=list(document._redo))
    while again.undo() is not None:
        pass
    while len(again._undo) < len(document._undo):
        assert again.redo() is not None
    assert again.state == document.state


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


def press_many(folder: Path, seed: int, keys: int, size: tuple[int, int] | None = None) -> None:
    pressed = 0
    while pressed < keys:
        pressed += asyncio.run(run(folder, seed, min(keys - pressed, 1000), size)) + 1
        seed += 1


async def edited(folder: Path, keys: Sequence[Sequence[str]], size: tuple[int, int]) -> Schedule:
    """Return what a plan has become by keys that came in these packets."""
    # A folder of its own, or the next would be offered what this one leaves behind.
    app = FiringApp(open_file(folder / "plan.toml"), folder / f"state-{len(keys)}")
    try:
        async with app.run_test(size=size) as pilot:
            for packet in keys:
                await burst(app, pilot, packet)
                check_replay(app.session.document)
            return app.session.document.schedule
    finally:
        app.session.journal.close()


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv(PATH_VARIABLE, str(tmp_path / "logbook.sqlite"))
    monkeypatch.setattr("textual._wait.SLEEP_GRANULARITY", 0.003)
    monkeypatch.setattr("textual._wait.SLEEP_IDLE", 0.0015)
    return tmp_path


@pytest.mark.soak
@pytest.mark.parametrize("size", SIZES)
def test_random_keys_in_packets(folder: Path, size: tuple[int, int]) -> None:
    press_many(folder, 20260302, EVENTS, size)


@pytest.mark.soak
@pytest.mark.parametrize("size", SIZES)
def test_keys_in_one_packet_come_to_what_they_come_to_one_by_one(
    folder: Path, size: tuple[int, int]
) -> None:
    (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
    rng = random.Random(7 + size[0])
    packets = [rng.choices(EDITING, k=rng.randint(2, 12)) for _ in range(EVENTS // 50)]
    singly = [[key] for packet in packets for key in packet]
    together, apart = (asyncio.run(edited(folder, keys, size)) for keys in (packets, singly))
    assert together == apart
