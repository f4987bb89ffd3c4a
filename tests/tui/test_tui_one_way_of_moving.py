"""One way of moving: a key means the same on every screen, and the mouse does what keys do."""

import asyncio
import importlib
import pkgutil
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import firing.tui.screens
import firing.tui.widgets
import pytest
from firing.tui.app import FiringApp
from firing.tui.document import open_new
from firing.tui.screens.dialogs import Commands, Sheet
from firing.tui.screens.equipment import EquipmentSheet
from firing.tui.screens.plan import PlanScreen
from firing.tui.widgets.grid import ListGrid
from firing.tui.widgets.lines import TOUR, KeyLine, Tour
from longer import beyond
from textual.binding import Binding
from textual.dom import DOMNode
from textual.pilot import Pilot
from textual.widgets import Static
from waiting import front, until

MEANS: dict[str, tuple[str, set[str]]] = {
    # moving
    "up": ("up", {"Up", "Take, go up", "Field before"}),
    "down": ("down", {"Down", "Take, go down", "Next field"}),
    "left": ("left", {"Cross-hair left", "Word before"}),
    "right": ("right", {"Cross-hair right", "Next word"}),
    "pageup": ("a page up", {"A page up", "Page before"}),
    "pagedown": ("a page down", {"A page down", "Next page"}),
    "home": ("to the beginning", {"First row", "First line", "First column", "First moment"}),
    "end": ("to the end", {"Last row", "Last line", "Last column", "Last moment"}),
    "ctrl+home": ("to the very beginning", {"First row", "First line", "First moment"}),
    "ctrl+end": ("to the very end", {"Last row", "Last line", "Last moment"}),
    "tab": ("on", {"Curve", "Next part", "Next field", "Take, go right", "Take the name"}),
    "shift+tab": ("back", {
        "Curve", "Part before", "Field before", "Take, go left", "Take the name",
    }),
    "f6": ("to the other part", {"Curve", "Next part"}),
    "space": ("on, in place", {"Next word", "Next page", "Mark"}),
    "j": ("down in a text", {"Down"}),
    "k": ("up in a text", {"Up"}),
    # taking and leaving
    "enter": ("take, do or look at what is chosen", {
        "Edit", "Choose", "Open", "Read", "Do it", "Close", "Take", "Take all", "Look at it",
    }),
    "escape": ("out, taking nothing", {
        "Back", "Leave it", "Back to the plan", "Close", "All of it again", "Leave as it was",
        "Plan", "Give it up",
    }),
    "q": ("out of a text", {"Close"}),
    "ctrl+q": ("quit", {"Quit"}),
    "ctrl+z": ("take back", {"Undo", "Leave as it was"}),
    "ctrl+y": ("make again", {"Redo"}),
    "ctrl+s": ("keep what is here", {"Save", "Take it", "Take all", "Keep"}),
    "f12": ("save elsewhere", {"Save as"}),
    "ctrl+e": ("save elsewhere", {"Save as"}),
    # lines
    "ctrl+n": ("a new one", {"New line", "New segment", "New"}),
    "insert": ("a new one", {"New line", "New segment", "New"}),
    "ctrl+d": ("a copy", {"Copy line", "Copy segment"}),
    "delete": ("away with it", {"Remove", "Remove segment", "None", "Take out"}),
    "backspace": ("away with it", {"None"}),
    "ctrl+x": ("away with it", {"Remove", "Remove segment", "End watch"}),
    "shift+up": ("move it up", {"Move line up", "Move segment up"}),
    "ctrl+up": ("move it up", {"Move line up", "Move segment up"}),
    "shift+down": ("move it down", {"Move line down", "Move segment down"}),
    "ctrl+down": ("move it down", {"Move line down", "Move segment down"}),
    # what every screen has in one place
    "f1": ("help", {"Help"}),
    "question_mark": ("help", {"Help"}),
    "ctrl+p": ("all commands", {"Commands", "Leave it"}),
    "ctrl+o": ("open", {"Open", "Choose a log", "Add a log", "Source"}),
    "f2": ("how it is meant", {"About", "Reading", "Change wish", "Edit"}),
    "e": ("how it is meant", {"Edit"}),
    "f3": ("the other unit", {"°C/°F"}),
    "f4": ("what to know or put right", {"Warnings", "Findings", "All reasons", "Next fault"}),
    "f5": ("cautions", {"Cautions"}),
    "ctrl+f": ("fix the plan", {"Fix", "Fix plan"}),
    "f7": ("between plan and review", {"Review", "Plan", "Back"}),
    "f8": ("a page", {"Page", "Page to print"}),
    "f9": ("dark or light", {"Dark or light"}),
    "f10": ("a calendar", {"Calendar"}),
    "f11": ("the logbook", {"Logbook"}),
    "ctrl+b": ("the logbook", {"Logbook"}),
    # the plan
    "ctrl+g": ("design", {"Design"}),
    "ctrl+k": ("kiln and load", {"Kiln, load"}),
    "ctrl+l": ("watch", {"Watch"}),
    "ctrl+r": ("solve for what the cell holds", {"Solve"}),
    "ctrl+t": ("the card", {"Card"}),
    "ctrl+u": ("without the load", {"Load out"}),
    "ctrl+w": ("to what is to be fixed", {"To fix"}),
    # the curve
    "plus": ("closer", {"Zoom in"}),
    "equals_sign": ("closer", {"Zoom in"}),
    "minus": ("further away", {"Zoom out"}),
    "0": ("all of it", {"Whole"}),
    "h": ("earlier", {"Earlier"}),
    "l": ("later", {"Later"}),
    "shift+left": ("earlier", {"Earlier"}),
    "shift+right": ("later", {"Later"}),
    "comma": ("the corner before", {"Corner before"}),
    "full_stop": ("the next corner", {"Next corner"}),
    "[": ("the corner before", {"Corner before"}),
    "]": ("the next corner", {"Next corner"}),
    # what a firing that was or is asks for
    "a": ("heard", {"Heard"}),
    "z": ("again later", {"Snooze"}),
    "n": ("around now", {"Now"}),
    "slash": ("find", {"Find"}),
    "t": ("trends", {"Trends"}),
    "p": ("the same place in the plan", {"In plan"}),
    "c": ("compare", {"Compare"}),
    "s": ("by segment or clock", {"By clock"}),
    **{str(n): ("do what that line offers", {f"Do line {n}"}) for n in range(1, 10)},
}  # fmt: skip
"""What every key means, and what it is called on the screens that have it."""


def bindings() -> Iterator[tuple[str, Binding]]:
    """Yield every binding of every screen and widget."""
    kinds: set[type] = {FiringApp}
    for package in (firing.tui.screens, firing.tui.widgets):
        for found in pkgutil.iter_modules(package.__path__):
            module = importlib.import_module(f"{package.__name__}.{found.name}")
            kinds |= {
                kind
                for kind in vars(module).values()
                if isinstance(kind, type) and issubclass(kind, DOMNode)
            }
    for kind in kinds:
        if kind.__module__.startswith("firing.tui."):
            for binding in kind.__dict__.get("BINDINGS", ()):
                if isinstance(binding, Binding):
                    yield kind.__name__, binding


def test_a_key_means_the_same_everywhere() -> None:
    names: dict[str, dict[str, str]] = {}
    for kind, binding in bindings():
        for key in binding.key.split(","):
            names.setdefault(key, {})[binding.description] = kind
    unlisted = {
        (key, name, kind)
        for key, named in names.items()
        for name, kind in named.items()
        # What only one screen has can mean nothing else on another.
        if len(named) > 1 and name not in MEANS.get(key, ("", set()))[1]
    }
    assert not unlisted


def test_the_list_of_commands_is_walked_with_the_mouse_alone(
    play: Callable[..., None], settle: Callable[[Pilot[Any]], Awaitable[None]]
) -> None:
    """Whatever has a key is in that list; so the mouse does it, too."""

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        line = str(app.screen.query_one(KeyLine).render())
        await pilot.click(KeyLine, offset=(1 + line.index("^P"), 0))
        await until(pilot, front(app, Commands))
        await settle(pilot)
        grid = app.screen.query_one(ListGrid)
        (row,) = [n for n, row in enumerate(grid.rows) if row.cells[0] == "Warnings"]
        grid.go(row)
        await pilot.pause()
        await pilot.click(ListGrid, offset=(3, row - grid.scroll_offset.y))
        await until(pilot, front(app, Sheet))
        line = str(app.screen.query_one(KeyLine).render())
        await pilot.click(app.screen.query_one(KeyLine), offset=(1 + line.index("esc"), 0))
        await until(pilot, front(app, PlanScreen))

    play(scene)


@pytest.mark.parametrize("away", beyond(1, ["escape", "click"]))
def test_the_tour_comes_once_and_again_with_help(
    tmp_path: Path, settle: Callable[[Pilot[Any]], Awaitable[None]], away: str
) -> None:
    assert len(TOUR) == 5
    assert max(map(len, TOUR)) <= 58  # whole on a line of 60 columns

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        assert app.screen.query(Tour)
        # It takes no key: what is typed goes where it would without it.
        await pilot.press("7", "5", "enter")
        assert app.session.document.schedule.segments[0].rate_c_per_h == 75
        await (pilot.press("escape") if away == "escape" else pilot.click(Tour))
        await until(pilot, lambda: not app.screen.query(Tour))
        await pilot.press("question_mark")
        await until(pilot, front(app, Sheet))
        text = app.screen.query_one("#text", Static)
        await until(pilot, lambda: TOUR[1] in " ".join(str(text.content).split()))

    async def again(app: FiringApp, _pilot: Pilot[Any]) -> None:
        assert not app.screen.query(Tour)

    async def run(played: Callable[[FiringApp, Pilot[Any]], Awaitable[None]]) -> None:
        app = FiringApp(open_new(), tmp_path / "state", tour=True)
        async with app.run_test(size=(60, 20)) as pilot:
            await settle(pilot)
            await played(app, pilot)
        app.session.journal.close()

    for played in (scene, again):
        asyncio.run(run(played))


@pytest.mark.parametrize(
    "key", beyond(1, ["ctrl+k", "ctrl+w", "ctrl+f", "ctrl+u", "ctrl+d", "ctrl+e"])
)
def test_a_key_of_the_screen_takes_what_is_typed_and_wipes_nothing(
    play: Callable[..., None], settle: Callable[[Pilot[Any]], Awaitable[None]], key: str
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("4", "5", key)
        if key == "ctrl+k":
            await until(pilot, front(app, EquipmentSheet))
        await pilot.press("escape" if app.screen is not app.plan else "enter")
        await until(pilot, lambda: app.session.document.schedule.segments[0].rate_c_per_h == 45)

    play(scene)
