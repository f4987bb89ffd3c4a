"""The card on the screens: what is keyed in, after the cautions, and its page."""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from firing.tui.app import FiringApp
from firing.tui.equipment import Circumstances, Equipment, Kind, read_all
from firing.tui.screens.card import CardSheet, card_of
from firing.tui.screens.dialogs import Ask, Prompt, Sheet
from firing.tui.screens.equipment import EquipmentSheet
from firing.tui.screens.plan import PlanScreen
from longer import beyond
from textual.pilot import Pilot
from textual.widgets import Input, Static
from waiting import front, until

from firing.cli import cli
from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.report.card import card_report
from firing.report.text import render_text
from firing.schedule.file import parse_schedule

Make = Callable[[], FiringApp]
Settle = Callable[[Pilot[Any]], Awaitable[None]]
Scene = Callable[[FiringApp, Pilot[Any]], Awaitable[None]]
Play = Callable[..., None]
Picture = Callable[[FiringApp], str]
Golden = Callable[[str, str], None]

GLAZE = "mid-range-glaze-cone-6-hold"


def equipment(names: dict[Kind, str]) -> Equipment:
    return read_all(names).equipment


def small(folder: Path, segments: int) -> str:
    """Write a controller with few segments; returns its name."""
    path = folder / "small.toml"
    text = ready_text("example-controller").replace(
        "max_segments = 10", f"max_segments = {segments}"
    )
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_the_card_is_that_of_the_command_line(tmp_path: Path) -> None:
    name = small(tmp_path, 3)
    now = Circumstances(equipment=equipment({"controller": name, "kiln": "example-kiln"}))
    card = card_of(parse_schedule(ready_text(GLAZE), GLAZE), now)
    result = CliRunner().invoke(
        cli, ["card", GLAZE, "--controller", name, "--kiln", "example-kiln"], standalone_mode=False
    )
    assert render_text(card_report(card)) == result.stdout.rstrip("\n")
    assert "became one" in result.stdout


def test_what_the_controller_cannot_take_is_refused_in_the_librarys_words(tmp_path: Path) -> None:
    name = small(tmp_path, 1)
    schedule = parse_schedule(ready_text(GLAZE), GLAZE)
    result = CliRunner().invoke(cli, ["card", GLAZE, "--controller", name], standalone_mode=False)
    with pytest.raises(FiringError) as refusal:
        card_of(schedule, Circumstances(equipment=equipment({"controller": name})))
    assert str(refusal.value) == str(result.exception)
    with pytest.raises(FiringError, match="choose one"):
        card_of(schedule, Circumstances())


@pytest.fixture
def play(screens: Make, settle: Settle) -> Play:
    def run(
        scene: Scene, size: tuple[int, int] = (80, 24), controller: str = "example-controller"
    ) -> None:
        async def whole() -> None:
            app = screens()
            if controller:
                chosen = equipment({"controller": controller})
                app.session.circumstances = Circumstances(equipment=chosen)
            async with app.run_test(size=size) as pilot:
                await settle(pilot)
                await scene(app, pilot)

        asyncio.run(whole())

    return run


def content(app: FiringApp, name: str) -> str:
    return str(app.screen.query_one(name, Static).content)


async def card(app: FiringApp, pilot: Pilot[Any]) -> str:
    """Wait for the card, and return it as it is shown."""
    await until(pilot, front(app, CardSheet, exactly=True))
    await until(pilot, lambda: bool(content(app, "#text")))
    return content(app, "#text")


def test_cautions_come_exactly_once_before_the_card(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+t")
        await until(pilot, front(app, Sheet, exactly=True))
        await until(pilot, lambda: "licensed" in content(app, "#text"))
        assert app.session.cautions_unseen()
        await pilot.press("escape")
        shown = await card(app, pilot)
        expected = card_of(app.session.document.schedule, app.session.circumstances)
        assert shown in {render_text(card_report(expected), width=width) for width in range(66, 80)}
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen, exactly=True))
        seen: list[type] = []
        await pilot.press("ctrl+t")
        while not isinstance(app.screen, CardSheet):
            seen.append(type(app.screen))
            await pilot.pause(0.005)
        assert Sheet not in seen
        assert not app.session.document.changed

    play(scene)


def test_other_cautions_are_shown_when_the_plan_calls_for_them(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.session.cautions_seen.update(caution.id for caution in app.session.cautions())
        app.session.cautions_seen.pop()
        await pilot.press("ctrl+t")
        await until(pilot, front(app, Sheet, exactly=True))

    play(scene)


def test_the_page_is_written_from_the_card(play: Play, tmp_path: Path) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.session.cautions_seen.update(caution.id for caution in app.session.cautions())
        await pilot.press("ctrl+t")
        await card(app, pilot)
        await pilot.press("f8")
        await until(pilot, front(app, Prompt, exactly=True))
        assert app.screen.query_one(Input).value == "plates-card.html"
        await pilot.press("escape")
        # Left without a page, the card is there again.
        await card(app, pilot)
        await pilot.press("f8")
        await until(pilot, front(app, Prompt, exactly=True))
        page = tmp_path / "card.html"
        app.screen.query_one(Input).value = str(page)
        await pilot.press("enter")
        await until(pilot, front(app, PlanScreen, exactly=True))
        message = app.plan.query_one("#message", Static)
        await until(pilot, lambda: f"written to {page}" in str(message.content))
        text = page.read_text(encoding="utf-8")
        assert "Plates, invented" in text
        assert "read back" in text

    play(scene)


def test_without_a_controller_it_is_said_and_offered(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+t")
        await until(pilot, front(app, Ask, exactly=True))
        assert "no controller is chosen" in content(app, "Static")
        await pilot.press("enter")
        await until(pilot, front(app, EquipmentSheet, exactly=True))
        assert "No controller is chosen" in content(app, "#about")
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen, exactly=True))
        assert not app.session.cautions_seen

    play(scene, controller="")


def test_a_refusal_is_said_before_any_caution(play: Play, tmp_path: Path) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+t")
        await until(pilot, front(app, Ask, exactly=True))
        assert "its holds and turns alone need more" in content(app, "Static")
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen, exactly=True))
        assert not app.session.cautions_seen

    play(scene, controller=small(tmp_path, 1))


@pytest.mark.parametrize("size", beyond(1, [(80, 24), (120, 36)]))
def test_the_card_looks_like_this(
    play: Play, settle: Settle, picture: Picture, golden: Golden, size: tuple[int, int]
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.session.cautions_seen.update(caution.id for caution in app.session.cautions())
        await pilot.press("ctrl+t")
        await card(app, pilot)
        await settle(pilot)
        golden(f"card-{size[0]}x{size[1]}", picture(app))

    play(scene, size)
