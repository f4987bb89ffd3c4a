"""A plan designed on the screens: what is wanted, what came of it, and the choice."""

import asyncio
import json
import threading
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from firing.tui.app import FiringApp
from firing.tui.comparison import PlanComparison
from firing.tui.design_form import MEND, NEW, design_fields, make
from firing.tui.equipment import KINDS, Circumstances, Equipment, read_all
from firing.tui.screens.comparison import ComparisonList, ComparisonScreen
from firing.tui.screens.dialogs import Ask, InProgress, PrintedText, Sheet
from firing.tui.screens.equipment import EquipmentSheet
from firing.tui.screens.filling import Filling
from firing.tui.screens.plan import PlanScreen
from firing.tui.widgets.curve import Curve
from firing.tui.widgets.editbar import Cycle
from longer import beyond
from textual.pilot import Pilot
from textual.screen import Screen
from textual.widgets import Input, Static
from waiting import front, until

from firing.cli import cli
from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.report.design import design_report
from firing.report.text import render_text
from firing.schedule.file import open_schedule
from firing.schedule.schedule import Schedule

Make = Callable[[], FiringApp]
Settle = Callable[[Pilot[Any]], Awaitable[None]]
Scene = Callable[[FiringApp, Pilot[Any]], Awaitable[None]]
Play = Callable[..., None]
Picture = Callable[[FiringApp], str]
Golden = Callable[[str, str], None]

CUPS = "example-load-glazed-cups"
PLANTERS = "example-load-planters-and-cups"


def equipment(**names: str) -> Equipment:
    return read_all({kind: names[kind] for kind in KINDS if kind in names}).equipment


_MADE: dict[Any, Any] = {}


@pytest.fixture(autouse=True)
def made_once(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """Let the same wish for the same plan and files be designed once for all scenes."""

    def remembered(schedule: Schedule, now: Equipment, wish: dict[str, Any]) -> Any:
        key = (schedule, tuple(now.names.items()), tuple(wish.items()))
        if key not in _MADE:
            _MADE[key] = make(schedule, now, wish)
        return _MADE[key]

    monkeypatch.setattr("firing.tui.comparison.make", remembered)
    return remembered


@pytest.fixture
def play(screens: Make, settle: Settle) -> Play:
    def run(
        scene: Scene,
        size: tuple[int, int] = (80, 24),
        cone: str | None = "6",
        **names: str,
    ) -> None:
        async def whole() -> None:
            app = screens()
            app.session.circumstances = Circumstances(
                target_cone=cone, equipment=equipment(**names)
            )
            async with app.run_test(size=size) as pilot:
                await settle(pilot)
                await scene(app, pilot)

        asyncio.run(whole())

    return run


def message(app: FiringApp) -> str:
    return str(app.plan.query_one("#message", Static).content)


def content(app: FiringApp, name: str) -> str:
    return str(app.screen.query_one(name, Static).content)


def gone(app: FiringApp, screen: Screen[Any]) -> Callable[[], bool]:
    return lambda: app.screen is not screen


async def form(app: FiringApp, pilot: Pilot[Any], **texts: str) -> None:
    """Open the form and write into fields."""
    if not isinstance(app.screen, Filling):
        await pilot.press("ctrl+g")
        await until(pilot, front(app, Filling))
    for key, text in texts.items():
        app.screen.query_one(f"#field-{key}", Input).value = text
    await pilot.pause()


async def designed(app: FiringApp, pilot: Pilot[Any], **texts: str) -> PlanComparison:
    await form(app, pilot, **texts)
    await pilot.press("ctrl+s")
    await until(pilot, front(app, ComparisonScreen))
    await pilot.pause()
    assert isinstance(app.screen, ComparisonScreen)
    return app.screen.found


def test_a_design_is_taken_and_undo_gives_back_exactly_the_old_plan(
    play: Play, plan: Path, settle: Settle
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("down", "down", "right")
        await settle(pilot)
        before, selection = app.session.document.schedule, app.session.document.cursor
        found = await designed(app, pilot)
        arguments = ["design", "glaze", "--cone", "6", "--load", CUPS, "--unload-at", "60"]
        result = CliRunner().invoke(cli, [*arguments, "--json"], standalone_mode=False)
        expected = json.loads(result.stdout)["schedule"]["segments"]
        assert len(found.after.segments) == len(expected)
        for segment, printed in zip(found.after.segments, expected, strict=True):
            figures = (segment.rate_c_per_h, segment.target_c, segment.hold_s)
            keys = ("rate_c_per_h", "target_c", "hold_s")
            assert figures == pytest.approx(tuple(printed[key] for key in keys), abs=1e-5)
        await pilot.press("ctrl+s")
        await until(pilot, front(app, PlanScreen))
        await until(pilot, lambda: app.session.document.changed)
        document = app.session.document
        assert document.schedule == found.after
        assert document.path == plan
        assert "the designed plan" in message(app)
        await settle(pilot)
        assert app.session.forecast is not None
        assert app.session.forecast.schedule == found.after
        await pilot.press("ctrl+z")
        await settle(pilot)
        assert document.schedule == before == open_schedule(plan)
        assert document.cursor == selection
        assert not document.changed

    play(scene, load=CUPS)


def test_leaving_changes_nothing_and_the_answers_are_kept(play: Play, plan: Path) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await designed(app, pilot, margin="2")
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen))
        await until(pilot, lambda: "Left as it was" in message(app))
        assert app.session.document.schedule == open_schedule(plan)
        assert not app.session.document.changed
        assert app.session.document.undo_label is None
        await form(app, pilot)
        assert app.screen.query_one("#field-margin", Input).value == "2"
        # What is refused, or left with escape, is not kept.
        app.screen.query_one("#field-margin", Input).value = "none"
        await pilot.pause()
        await pilot.press("ctrl+s")
        assert 'Margin: "none" is not a margin' in content(app, "#hint")
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen))
        await form(app, pilot)
        assert app.screen.query_one("#field-margin", Input).value == "2"

    play(scene, load=CUPS)


def test_mending_asks_only_for_what_mends(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await form(app, pilot, top="9999", drop_hold="soon")
        await pilot.press("right")
        await pilot.pause()
        fields = design_fields("C")
        shown = {f.key for f in fields if app.screen.query_one(f"#line-{f.key}").display}
        assert shown == {f.key for f in fields if f.when is None}
        found = await designed(app, pilot)
        assert found.repaired
        assert found.after.title == app.session.document.schedule.title
        await pilot.press("f2")
        await until(pilot, front(app, Filling))
        assert app.screen.query_one("#field-how", Cycle).value == MEND
        await pilot.press("left")
        await pilot.pause()
        assert app.screen.query_one("#field-drop_hold", Input).value == "soon"

    play(scene, load=CUPS)


def test_a_faulty_wish_is_refused_in_the_command_lines_words(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        for texts, options in (
            ({"top": "1200"}, ("--top", "1200")),
            ({"top": "", "drop_hold": "20m"}, ("--drop-hold", "20m")),
            (
                {"drop_hold": "", "peak": "1100", "most": "10m"},
                ("--peak-at-most", "1100", "--hold-at-most", "10m"),
            ),
        ):
            await form(app, pilot, **texts)
            before = app.screen
            await pilot.press("ctrl+s")
            await until(pilot, gone(app, before))
            await until(pilot, front(app, Filling))
            result = CliRunner().invoke(
                cli, ["design", "glaze", "--cone", "6", "--load", CUPS, *options],
                standalone_mode=False,
            )  # fmt: skip
            assert isinstance(result.exception, FiringError)
            assert content(app, "#hint") == str(result.exception)
            for key, text in texts.items():
                assert app.screen.query_one(f"#field-{key}", Input).value == text

    play(scene, load=CUPS)


def test_without_a_load_it_is_said_and_offered(play: Play, plan: Path) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+g")
        await until(pilot, front(app, Ask))
        assert "needs to know the ware, and no load is chosen" in content(app, "Static")
        await pilot.press("down", "down", "enter")
        await until(pilot, front(app, PlanScreen))
        await pilot.press("ctrl+g")
        await until(pilot, front(app, Ask))
        await pilot.press("enter")
        await until(pilot, front(app, EquipmentSheet))
        # The sheet begins with the load; left without one, nothing is designed.
        assert "No load is chosen" in content(app, "#about")
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen))
        assert app.session.document.schedule == open_schedule(plan)

    play(scene)


def test_ware_too_wet_for_any_program_is_refused_with_what_to_do(
    play: Play, plan: Path, tmp_path: Path
) -> None:
    damp = tmp_path / "damp.toml"
    text = ready_text(PLANTERS).replace('"bone dry"', '"leather hard"', 1)
    damp.write_text(text.replace("thickest_mm = 18", "thickest_mm = 50"), encoding="utf-8")
    plan.write_text(plan.read_text(encoding="utf-8").replace('"glaze"', '"bisque"'))

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        for how in (NEW, MEND):
            await form(app, pilot)
            if app.screen.query_one("#field-how", Cycle).value != how:
                app.screen.query_one("#field-how", Cycle).focus()
                await pilot.press("right")
            assert app.screen.query_one("#field-how", Cycle).value == how
            before = app.screen
            await pilot.press("ctrl+s")
            await until(pilot, gone(app, before))
            await until(pilot, front(app, Filling))
            said = content(app, "#hint")
            assert said.startswith("Dry first: ")
            assert "at room conditions" in said
            assert not app.session.document.changed

    play(scene, cone="04", load=str(damp))


def test_a_design_under_way_can_be_given_up(
    play: Play, monkeypatch: pytest.MonkeyPatch, made_once: Callable[..., Any]
) -> None:
    held, ended = threading.Event(), threading.Event()

    def slow(*arguments: Any) -> Any:
        assert held.wait(20.0)
        found = made_once(*arguments)
        ended.set()
        return found

    monkeypatch.setattr("firing.tui.comparison.make", slow)

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await form(app, pilot)
        await pilot.press("ctrl+s")
        await until(pilot, front(app, InProgress))
        assert content(app, "Static").startswith("Designing …")
        await pilot.press("escape")
        # Back to what was wanted; what the thread finds afterwards changes nothing.
        await until(pilot, front(app, Filling))
        held.set()
        await until(pilot, ended.is_set)
        await pilot.pause()
        assert isinstance(app.screen, Filling)
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen))
        assert not app.session.document.changed

    try:
        play(scene, load=CUPS)
    finally:
        held.set()


def test_reasons_are_read_line_by_line_and_as_a_whole(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        found = await designed(app, pilot)
        table, curve = app.screen.query_one(ComparisonList), app.screen.query_one(Curve)
        first = next(i for i, row in enumerate(table.rows) if row.cells[0].startswith(" 1"))
        table.go(first - 2)
        await pilot.press("down")
        assert table.row == first
        sentence = found.design.reasons[0].sentences[0]
        assert sentence in content(app, "#details-text")
        assert found.then is not None
        assert curve.cross_s == found.then.segments[0].end_s
        await pilot.press("enter")
        await until(pilot, front(app, Sheet))
        await until(pilot, lambda: sentence[:40] in " ".join(content(app, "#text").split()))
        await pilot.press("escape")
        await until(pilot, front(app, ComparisonScreen))
        await pilot.press("f4")
        await until(pilot, front(app, PrintedText))
        await until(pilot, lambda: bool(content(app, "#text")))
        assert content(app, "#text") in {
            render_text(design_report(found.design), width=width) for width in range(66, 80)
        }
        await pilot.press("escape")
        await until(pilot, front(app, ComparisonScreen))
        await pilot.press("f5")
        await until(pilot, front(app, Sheet))

    play(scene, load=CUPS)


SIZES = beyond(1, [(80, 24), (120, 36)])


@pytest.mark.parametrize("size", SIZES)
def test_the_form_and_the_comparison_look_like_this(
    play: Play, settle: Settle, picture: Picture, golden: Golden, size: tuple[int, int]
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await form(app, pilot)
        await settle(pilot)
        golden(f"design-{size[0]}x{size[1]}", picture(app))
        await designed(app, pilot)
        table = app.screen.query_one(ComparisonList)
        first = next(i for i, row in enumerate(table.rows) if row.cells[0].startswith(" 1"))
        table.go(first - 2)
        await pilot.press("down")
        await settle(pilot)
        golden(f"comparison-{size[0]}x{size[1]}", picture(app))

    play(scene, size, load=CUPS)


@pytest.mark.soak
def test_a_form_longer_than_the_screen_scrolls_with_its_hint_and_keys_in_view(
    play: Play, picture: Picture
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await form(app, pilot)
        fields = design_fields(app.session.document.schedule.unit)
        asked = [f for f in fields if app.screen.query_one(f"#line-{f.key}").display]
        for field in asked:
            await until(
                pilot, lambda f=field: app.focused is app.screen.query_one(f"#field-{f.key}")
            )
            await until(
                pilot,
                lambda f=field: all(
                    words in picture(app)
                    for words in (f"│ {f.label} ", f.about[:30], "F1 Help", "esc Leave it")
                ),
            )
            await pilot.press("down")

    play(scene, (60, 20), load=CUPS)
