"""Seven tasks of a new user, and a firing kept, with the keys of the screens alone and counted.

No task needs a text editor: every file that is there at the end was written by the screens, but for
the log, which a logger wrote.  What is typed is the user's own text; all other keys are the price
of the screens, and are few.  ``pytest -m soak -rP tests/tui/test_tui_seven_tasks.py`` prints them.
"""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.document import open_new
from firing.tui.screens.card import CardSheet
from firing.tui.screens.comparison import ComparisonScreen
from firing.tui.screens.dialogs import Ask, Prompt, Sheet
from firing.tui.screens.equipment import EquipmentSheet
from firing.tui.screens.file_chooser import FileChooser
from firing.tui.screens.filling import Filling
from firing.tui.screens.form import FormScreen
from firing.tui.screens.logbook import LogbookScreen
from firing.tui.screens.plan import PlanScreen
from firing.tui.screens.review import ReviewScreen
from firing.tui.screens.watch import WatchScreen
from firing.tui.widgets.lines import TitleLine
from textual.pilot import Pilot
from textual.widgets import Static
from waiting import front, until

from firing.logbook.store import PATH_VARIABLE
from firing.schedule.file import open_schedule
from firing.units import to_celsius

Settle = Callable[[Pilot[Any]], Awaitable[None]]


@dataclass
class Hands:
    """Somebody at the keyboard."""

    app: FiringApp
    pilot: Pilot[Any]
    settle: Settle
    counts: dict[str, list[int]] = field(default_factory=dict)
    task: str = ""

    def begin(self, task: str) -> None:
        self.task, self.counts[task] = task, [0, 0]

    async def press(self, *keys: str) -> None:
        self.counts[self.task][0] += len(keys)
        await self.pilot.press(*keys)
        await self.settle(self.pilot)

    async def write(self, text: str) -> None:
        self.counts[self.task][1] += len(text)
        await self.pilot.press(*({" ": "space", ".": "full_stop"}.get(c, c) for c in text))

    async def see(self, kind: type) -> None:
        await until(self.pilot, front(self.app, kind))
        await self.settle(self.pilot)


async def plan_from_nothing(hands: Hands, folder: Path) -> None:
    """150 °F an hour to 250 °F, two hours there, then 200 °F an hour to 1828 °F; saved."""
    await hands.press("f3")
    await hands.write("150")
    await hands.press("tab")
    await hands.write("250")
    await hands.press("tab")
    await hands.write("2h")
    await hands.press("enter", "ctrl+n")
    await hands.write("200")
    await hands.press("tab")
    await hands.write("1828")
    await hands.press("ctrl+s")
    await hands.see(Prompt)
    await hands.write("first.toml")
    await hands.press("enter")
    await until(hands.pilot, (folder / "first.toml").exists)
    found = open_schedule(folder / "first.toml")
    assert found.unit == "F"
    first, second = found.segments
    assert first.target_c == pytest.approx(to_celsius(250.0, "F"))
    assert first.hold_s == 7200.0
    assert second.target_c == pytest.approx(to_celsius(1828.0, "F"))
    assert second.rate_c_per_h == pytest.approx(200.0 / 1.8)


async def damp_bisque(hands: Hands, folder: Path) -> None:
    """Twelve damp mugs of 8 mm and 0.6 kg, described in the form, and a bisque to cone 06."""
    await hands.press("ctrl+g")
    await hands.see(Ask)
    await hands.press("down", "enter")
    await hands.see(FormScreen)
    for keys, text in (
        ((), "damp"),
        (("down",), "stoneware"),
        (("down", "down", "down"), "mugs"),
        (("tab",), "12"),
        (("tab",), "8"),
        (("tab",), "0.6"),
    ):
        await hands.press(*keys)
        await hands.write(text)
    await hands.press("ctrl+s")
    await hands.see(Prompt)
    await hands.press("enter")
    await until(hands.pilot, (folder / "load.toml").exists)
    await hands.press("escape")
    await hands.see(Filling)
    await hands.press("down", "down")
    await hands.write("06")
    await hands.press("enter")
    await hands.see(ComparisonScreen)
    await hands.press("ctrl+s")
    await hands.see(PlanScreen)
    schedule = hands.app.session.document.schedule
    assert schedule.cone == "06"
    # Damp ware dries below the boiling point of water before it climbs.
    assert schedule.segments[0].target_c < 100.0
    assert schedule.segments[0].hold_s > 3600.0


async def card(hands: Hands, _folder: Path) -> None:
    """The card of that plan for a controller of the example's sort."""
    await hands.press("ctrl+t")
    await hands.see(Ask)
    await hands.press("enter")
    await hands.see(EquipmentSheet)
    await hands.press("enter")
    await hands.see(FileChooser)
    await hands.press("enter")
    await hands.see(EquipmentSheet)
    await hands.press("escape")
    await hands.see(Sheet)  # the cautions, once
    await hands.press("enter")
    await hands.see(CardSheet)
    await hands.press("escape")
    await hands.see(PlanScreen)


async def review(hands: Hands, _folder: Path) -> None:
    """The log of another evening, against the plan it was fired by."""
    await hands.press("ctrl+o")
    await hands.see(FileChooser)
    await hands.write("fired.toml")
    await hands.press("enter")
    await hands.see(Ask)
    await hands.press("end", "enter")  # the designed plan is given up
    await hands.see(PlanScreen)
    await hands.press("f7")
    await hands.see(FileChooser)
    await hands.write("log.csv")
    await hands.press("enter")
    await until(hands.pilot, lambda: hands.app.session.review is not None)
    await hands.see(ReviewScreen)


async def fix(hands: Hands, _folder: Path) -> None:
    """What the firing showed is taken into the plan, which is saved."""
    before = hands.app.session.document.schedule
    await hands.press("ctrl+f", "enter")  # it shows what it takes, and asks
    await until(hands.pilot, lambda: hands.app.session.document.schedule != before)
    after = hands.app.session.document.schedule
    slower = [
        (now.rate_c_per_h or 0.0) < (was.rate_c_per_h or 0.0)
        for was, now in zip(before.segments, after.segments, strict=True)
    ]
    assert any(slower)
    await hands.press("f7")
    await hands.see(PlanScreen)
    await hands.press("ctrl+s")
    await until(hands.pilot, lambda: not hands.app.session.document.changed)


async def watch(hands: Hands, folder: Path) -> None:
    """A logger that still writes is followed on top of the plan, and recorded."""
    await hands.press("ctrl+l")
    await hands.see(Sheet)  # what a watch is not, once
    await hands.press("enter")
    await hands.see(Ask)
    await hands.press("ctrl+end", "enter")
    await hands.see(FileChooser)
    await hands.write("log.csv")
    await hands.press("enter")
    await hands.see(Filling)
    await hands.press("ctrl+s")
    await until(hands.pilot, lambda: front(hands.app, WatchScreen)() and hands.app.session.watch)
    live = hands.app.session.watch
    assert live is not None
    await until(hands.pilot, lambda: live.seen.time_s.size > 0)
    await hands.press("ctrl+x")
    await hands.see(Ask)
    await hands.press("down", "enter")
    await until(hands.pilot, lambda: not live.running)
    await hands.press("f7")
    await hands.see(PlanScreen)


async def keep_it(hands: Hands, _folder: Path) -> None:
    """The firing under review is kept, with a word to find it by."""
    await hands.press("f7")
    await hands.see(ReviewScreen)
    await until(hands.pilot, lambda: not getattr(hands.app.screen, "pending", True))
    await hands.press("ctrl+s")
    await hands.see(Filling)
    await hands.write("celadon")
    await hands.press("ctrl+s")
    await hands.see(ReviewScreen)
    details = hands.app.screen.query_one("#details-text", Static)
    await until(hands.pilot, lambda: "Kept: firing 1" in str(details.content))
    await hands.press("f7")
    await hands.see(PlanScreen)


async def find_it(hands: Hands, _folder: Path) -> None:
    """It is found by that word, and its review is read again."""
    await hands.press("f11")
    await hands.see(LogbookScreen)
    await hands.press("slash")
    await hands.see(Prompt)
    await hands.write("celadon")
    await hands.press("enter")
    await hands.see(LogbookScreen)
    await hands.press("enter")
    await hands.see(ReviewScreen)
    assert "kept: log.csv" in str(hands.app.screen.query_one(TitleLine).content)


TASKS: dict[str, Callable[[Hands, Path], Awaitable[None]]] = {
    "a plan from nothing, in °F": plan_from_nothing,
    "a bisque for damp ware": damp_bisque,
    "the card": card,
    "review a log": review,
    "fix the plan": fix,
    "watch": watch,
    "keep a firing": keep_it,
    "find it in the logbook": find_it,
}
MOST = 20
"""No task may cost more keys than these, besides its text."""


@pytest.mark.soak
@pytest.mark.parametrize("size", [(60, 20)])
def test_seven_tasks_of_a_new_user(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, settle: Settle, size: tuple[int, int]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(PATH_VARIABLE, str(tmp_path / "logbook.sqlite"))
    monkeypatch.setattr("firing.capture.serial_port.list_ports", lambda: ())
    demo = resources.files("firing") / "data" / "demo"
    for name, to in (("plan.toml", "fired.toml"), ("log.csv", "log.csv")):
        (tmp_path / to).write_text((demo / name).read_text(encoding="utf-8"), encoding="utf-8")

    async def scene() -> None:
        app = FiringApp(open_new(), tmp_path / "state")
        try:
            async with app.run_test(size=size) as pilot:
                await settle(pilot)
                hands = Hands(app, pilot, settle)
                for name, task in TASKS.items():
                    hands.begin(name)
                    await task(hands, tmp_path)
                for name, (keys, typed) in hands.counts.items():
                    print(f"{name:<28} {keys:>3} keys and {typed:>3} of text")
                    assert keys <= MOST, name
        finally:
            app.session.journal.close()

    asyncio.run(scene())
