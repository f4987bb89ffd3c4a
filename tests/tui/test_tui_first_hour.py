"""What stopped people in their first hour on the screens: each is done here as they did it."""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.equipment import read_all
from firing.tui.screens.commands import Commands
from firing.tui.screens.dialogs import Ask, Sheet
from firing.tui.screens.plan import PlanScreen
from firing.tui.screens.review import ReviewScreen
from firing.tui.session import LogChoice
from firing.tui.widgets.curve import Curve
from firing.tui.widgets.lines import KeyLine
from firing.tui.widgets.segments import Segments
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input, Static
from waiting import front, until

Make = Callable[[], FiringApp]
Settle = Callable[[Pilot[Any]], Awaitable[None]]
Scene = Callable[[FiringApp, Pilot[Any]], Awaitable[None]]
Play = Callable[..., None]


@pytest.fixture
def play(screens: Make, settle: Settle) -> Play:
    """Return what runs a scene on the screens of the sample plan."""

    def run(scene: Scene, size: tuple[int, int] = (80, 24)) -> None:
        async def whole() -> None:
            app = screens()
            async with app.run_test(size=size) as pilot:
                await settle(pilot)
                await scene(app, pilot)

        asyncio.run(whole())

    return run


def message(app: FiringApp) -> str:
    return str(app.plan.query_one("#message", Static).content)


def shown(app: FiringApp) -> str:
    return str(app.plan.query_one("#consequences", Static).content)


def key_line(app: FiringApp) -> str:
    return str(app.screen.query_one(KeyLine).render())


async def burst(app: FiringApp, pilot: Pilot[Any], keys: list[tuple[str, str | None]]) -> None:
    """Let keys arrive in one packet, as a slow line delivers them."""
    for key, character in keys:
        app.post_message(events.Key(key, character))
    await pilot.pause()
    await until(pilot, lambda: not app.obeying)


def digits(text: str) -> list[tuple[str, str | None]]:
    return [(each, each) for each in text]


TAB, ENTER = ("tab", "\t"), ("enter", "\r")


def test_a_load_that_does_not_fit_is_left_out_and_said(play: Play, settle: Settle) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        chosen = {"kiln": "example-kiln", "load": "example-load-thin-cups"}
        app.plan.take_equipment(read_all(chosen).equipment)
        await until(pilot, lambda: "Without the load: " in shown(app))
        await settle(pilot)
        # hours, cone and curve are there, of the kiln alone
        assert "Heats" in shown(app)
        assert "kWh" in shown(app)
        assert app.plan.query_one(Curve).shown is not None
        assert "^U leaves it out" in message(app)
        await pilot.press("ctrl+u")
        await until(pilot, lambda: app.session.circumstances.equipment.load is None)
        await settle(pilot)
        assert "Without the load" not in shown(app)
        assert app.session.circumstances.equipment.kiln is not None

    play(scene)


def test_a_review_is_made_without_a_load_that_does_not_fit(play: Play, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    rows = [f"{60 * n},{20 + min(n, 1180)}" for n in range(1400)]
    log.write_text("time_s,Kiln (°C)\n" + "\n".join(rows) + "\n", encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.plan.take_equipment(read_all({"load": "example-load-thin-cups"}).equipment)
        app.session.log = LogChoice(log)
        await pilot.press("f7")
        await until(pilot, lambda: front(app, ReviewScreen)() and app.session.review is not None)
        answer = app.screen.query_one("#answer", Static)
        await until(pilot, lambda: "Without the load: " in str(answer.content))
        assert "Ran " in str(answer.content)

    play(scene)


def test_keys_in_one_packet_go_where_they_were_meant(play: Play, settle: Settle) -> None:
    """The rate, the next cell, its value: as quick as a line with a lag delivers them."""

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        for _ in range(6):
            app.plan.query_one(Segments).select(app.plan.query_one(Segments).place)
            await pilot.press("home", "right", "right")
            await burst(app, pilot, [*digits("15"), TAB, *digits("95"), ENTER])
            await settle(pilot)
            first = app.session.document.schedule.segments[0]
            assert (first.rate_c_per_h, first.target_c) == (15, 95)
            await burst(app, pilot, [("ctrl+z", None), ("ctrl+z", None)])
            await settle(pilot)
            assert not app.session.document.changed

    play(scene)


@pytest.mark.parametrize("last", ["f7", "ctrl+q", "tab"])
def test_a_value_typed_just_before_another_key_is_not_lost(play: Play, last: str) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await burst(app, pilot, [*digits("15"), (last, None)])
        assert app.session.document.schedule.segments[0].rate_c_per_h == 15

    play(scene)


def test_save_in_the_command_list_never_quits(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+p")
        await until(pilot, front(app, Commands))
        app.screen.query_one(Input).value = "save"
        await pilot.pause()
        screen = app.screen
        assert isinstance(screen, Commands)
        assert screen._shown[0].name == "Save as"
        await pilot.press("enter")
        await until(pilot, lambda: not isinstance(app.screen, Commands))
        assert app.return_value is None

    play(scene)


def test_quitting_while_a_cell_is_edited_asks(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("8", "0", "ctrl+q")
        await until(pilot, front(app, Ask))
        assert app.return_value is None

    play(scene)


def test_the_key_line_shows_what_matters_and_is_clicked(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("8", "0", "enter")
        line = key_line(app)
        for words in ("F1 Help", "^S Save", "^Z Undo", "^P Commands", "^Q Quit"):
            assert words in line
        # one cell of padding is before the text
        await pilot.click(KeyLine, offset=(line.index("^Z") + 2, 0))
        await until(pilot, lambda: not app.session.document.changed)
        await pilot.click(KeyLine, offset=(key_line(app).index("^P") + 2, 0))
        await until(pilot, front(app, Commands))

    play(scene)


def test_a_question_mark_helps_and_is_written_in_a_text(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("question_mark")
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen))
        await pilot.press("left", "d", "question_mark", "enter")
        assert app.session.document.schedule.segments[0].name == "d?"

    play(scene)


def table_lines(app: FiringApp) -> list[str]:
    table = app.plan.query_one(Segments)
    return ["".join(s.text for s in table.render_line(y)) for y in range(table.size.height)]


@pytest.mark.parametrize("width", [80, 60])
def test_sideways_every_cell_is_whole_and_number_and_name_stay(play: Play, width: int) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("home")
        for _ in range(6):
            first, second = table_lines(app)[2:4]
            assert first.startswith("▸ 1 Dry ")
            assert second.startswith("  2 Rise ")
            # whole or not at all: 50 °C/h, 120 °C, 1h30m, 600 °C
            assert "h30m" not in first.replace("1h30m", "")
            cells = set(first.split()) | set(second.split())
            assert cells <= {"▸", "1", "2", "Dry", "Rise", "50", "120", "600", "1h30m", "–",
                             "close", "the", "lid"}  # fmt: skip
            await pilot.press("right")
        assert "close the lid" in table_lines(app)[2]

    play(scene, (width, 24))
