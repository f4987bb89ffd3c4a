"""Kiln and load forms driven by keys and mouse; whole screens as plain text."""

import asyncio
import re
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.screens.dialogs import Ask, Prompt, Sheet
from firing.tui.screens.form import FormScreen, edit_file
from firing.tui.screens.plan import PlanScreen
from firing.tui.widgets.fieldlist import FieldList
from longer import beyond
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input, Static

from firing.errors import FiringError
from firing.files.kinds import ready_text

Make = Callable[[], FiringApp]
Settle = Callable[[Pilot[Any]], Awaitable[None]]
Picture = Callable[[FiringApp], str]
Golden = Callable[[str, str], None]
SIZES = beyond(1, [(80, 24), (120, 36)])


class Opened:
    """A form on top of the plan, and what came of it."""

    def __init__(self, app: FiringApp, pilot: Pilot[Any], settle: Settle) -> None:
        self.app, self.pilot, self._settle = app, pilot, settle
        self.ended: list[str | None] = []
        self.refused: list[str] = []

    async def open(self, kind: str, name: str | None) -> "Opened":
        async def work() -> None:
            try:
                self.ended.append(await edit_file(self.app.plan, kind, name))
            except FiringError as error:
                self.refused.append(str(error))

        self.app.plan.job(work)
        for _ in range(200):
            await self.pilot.pause(0.01)
            if isinstance(self.app.screen, FormScreen) or self.refused:
                break
        await self._settle(self.pilot)
        return self

    async def press(self, *keys: str) -> None:
        await self.pilot.press(*keys)
        await self._settle(self.pilot)

    @property
    def form(self) -> FormScreen:
        assert isinstance(self.app.screen, FormScreen)
        return self.app.screen

    @property
    def fields(self) -> FieldList:
        return self.form.query_one(FieldList)

    def message(self) -> str:
        return str(self.app.screen.query_one("#message", Static).render())


def run(
    screens: Make,
    settle: Settle,
    scene: Callable[[Opened], Awaitable[None]],
    size: tuple[int, int] = (80, 24),
) -> None:
    async def inside() -> None:
        app = screens()
        async with app.run_test(size=size) as pilot:
            await scene(Opened(app, pilot, settle))

    asyncio.run(inside())


@pytest.mark.parametrize("size", SIZES)
def test_a_kiln_with_a_fault(
    screens: Make, settle: Settle, picture: Picture, golden: Golden, size: tuple[int, int],
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    text = ready_text("example-kiln").replace("rated_volts = 240", "rated_volts = 20")
    Path("shed.toml").write_text(text, encoding="utf-8")

    async def scene(opened: Opened) -> None:
        await opened.open("kiln", "shed.toml")
        assert opened.fields.place == ("rated_volts",)
        golden(f"kiln-form-fault-{size[0]}x{size[1]}", picture(opened.app))
        await opened.press("2", "3", "0", "enter", "f4")
        assert "230 V" in picture(opened.app)
        assert "2 faults" not in picture(opened.app)

    run(screens, settle, scene, size)


@pytest.mark.parametrize("size", SIZES)
def test_a_load_being_edited(
    screens: Make, settle: Settle, picture: Picture, golden: Golden, size: tuple[int, int]
) -> None:
    async def scene(opened: Opened) -> None:
        await opened.open("load", "example-load-planters-and-cups")
        assert "invented" in opened.message()
        await opened.press("down", "down", "down", "right", "right", "2", "2")
        golden(f"load-form-typing-{size[0]}x{size[1]}", picture(opened.app))
        await opened.press("enter")
        golden(f"load-form-{size[0]}x{size[1]}", picture(opened.app))

    run(screens, settle, scene, size)


def test_a_new_kiln_is_written_from_nothing(
    screens: Make, settle: Settle, tmp_path: Path, picture: Picture
) -> None:
    async def scene(opened: Opened) -> None:
        await opened.open("kiln", None)
        assert "fill in" in opened.message()
        assert re.search(r"\d+ to fill in: nothing follows", picture(opened.app))
        assert "fault" not in picture(opened.app).replace("Next fault", "")
        await opened.press("ctrl+s")
        # nothing is saved with a fault: the sentence, and the cursor on its line
        assert opened.message() == "Not saved: name: is missing; write Workshop kiln"
        assert opened.fields.place == ("name",)
        # in one burst, as a slow line or a paste delivers it
        for key in [
            *"Shed", "down", "space", "down", *"100", *["down"] * 5, *"6.5", "down", *"230",
            *["down"] * 4, "space", "right", *"75", "enter",
        ]:  # fmt: skip
            character = " " if key == "space" else key if len(key) == 1 else None
            opened.app.post_message(events.Key(key, character))
        for _ in range(200):
            await opened.pilot.pause(0.01)
            if not opened.form.document.state.faults:
                break
        await opened.press("escape")
        assert isinstance(opened.app.screen, Ask)
        await opened.press("enter")
        assert isinstance(opened.app.screen, Prompt)
        line = opened.app.screen.query_one(Input)
        assert line.value.endswith("/kiln.toml")
        line.value = str(tmp_path / "shed")
        await opened.press("enter")
        assert opened.ended == [str(tmp_path / "shed.toml")]

    run(screens, settle, scene)
    assert (
        (tmp_path / "shed.toml").read_text(encoding="utf-8")
        == """name = "Shed"
shape = "round"
volume_l = 100
power_kw = 6.5
rated_volts = 230

[[wall]]
material = "insulating brick 1260"
thickness_mm = 75
"""
    )


def test_a_refused_value_stays_in_the_bar(screens: Make, settle: Settle, tmp_path: Path) -> None:
    path = tmp_path / "load.toml"
    path.write_text(ready_text("example-load-thin-cups"), encoding="utf-8")

    async def scene(opened: Opened) -> None:
        await opened.open("load", str(path))
        await opened.press("down", "down", "minus", "1")
        refusal = "shelves and posts: -1 kg must be at least 0 kg; write 28"
        assert opened.message() == refusal
        await opened.press("down")
        assert opened.message() == f"Not taken: {refusal}"
        await opened.press("ctrl+s")
        assert opened.message() == f"Not taken: {refusal}"
        await opened.press("escape")
        assert not opened.form.document.changed
        await opened.press("escape")
        assert opened.ended == [None]
        assert isinstance(opened.app.screen, PlanScreen)

    run(screens, settle, scene)


def test_words_are_turned_or_chosen_from_a_list(
    screens: Make, settle: Settle, tmp_path: Path
) -> None:
    path = tmp_path / "load.toml"
    path.write_text(ready_text("example-load-planters-and-cups"), encoding="utf-8")

    async def scene(opened: Opened) -> None:
        await opened.open("load", str(path))
        await opened.press("space")
        assert opened.form.document.state.data["dryness"] == "bisqued"
        await opened.press("left", "left")
        assert opened.form.document.state.data["dryness"] == "damp"
        await opened.press("down", "enter")
        assert isinstance(opened.app.screen, Ask)
        await opened.press("down", "down", "down", "down", "enter")
        assert opened.form.document.state.data["body"] == "porcelain"
        await opened.press("ctrl+z", "ctrl+z", "ctrl+z")
        assert opened.form.document.state.data["dryness"] == "bisqued"
        assert opened.fields.place == ("dryness",)
        await opened.press("ctrl+y", "ctrl+y", "ctrl+y")
        # clearing leaves out what may be left out, and nothing else
        await opened.press("down", "backspace", "enter")
        assert "furniture_kg" not in opened.form.document.state.data
        await opened.press("up", "delete")
        assert opened.message() == ("Not taken: body: is missing; write stoneware")
        await opened.press("ctrl+s")
        assert opened.message().startswith("Saved in")
        await opened.press("escape")
        assert opened.ended == [str(path)]

    run(screens, settle, scene)
    kept = ready_text("example-load-planters-and-cups").splitlines()
    expected = [line for line in kept if not line.startswith("furniture_kg")]
    expected[1] = expected[1].replace('"bone dry"', '"damp"')
    expected[2] = expected[2].replace("stoneware, grogged", "porcelain")
    assert path.read_text(encoding="utf-8").splitlines() == expected


def test_the_mouse_selects_edits_and_adds(screens: Make, settle: Settle) -> None:
    async def scene(opened: Opened) -> None:
        await opened.open("load", "example-load-thin-cups")
        # two lines of pieces under their heading, which is the sixth line of the list
        await opened.pilot.click(FieldList, offset=(32, 6))
        await settle(opened.pilot)
        assert opened.fields.place == ("piece", 0, "thickest_mm")
        await opened.pilot.click(FieldList, offset=(32, 6))
        await settle(opened.pilot)
        await opened.press("backspace", "7", "enter")
        assert opened.form.document.state.data["piece"][0]["thickest_mm"] == 7
        await opened.pilot.click(FieldList, offset=(5, 8))
        await settle(opened.pilot)
        assert opened.fields.place == ("piece", 2, "name")
        await opened.press("shift+up")
        assert opened.form.document.state.data["piece"][1] == {}
        await opened.press("delete")
        assert len(opened.form.document.state.data["piece"]) == 2

    run(screens, settle, scene)


def test_undo_brings_the_cursor_back_to_the_line(
    screens: Make, settle: Settle, tmp_path: Path
) -> None:
    path = tmp_path / "load.toml"
    path.write_text(ready_text("example-load-planters-and-cups"), encoding="utf-8")

    async def scene(opened: Opened) -> None:
        await opened.open("load", str(path))
        assert opened.fields.place == ("dryness",)
        await opened.press("space", "ctrl+end")
        assert opened.fields.place != ("dryness",)
        await opened.press("ctrl+z")
        assert not opened.form.document.changed
        assert opened.fields.place == ("dryness",)

    run(screens, settle, scene)


def test_leaving_asks_and_nothing_is_replaced_unasked(
    screens: Make, settle: Settle, tmp_path: Path
) -> None:
    path = tmp_path / "kiln.toml"
    path.write_text(ready_text("example-kiln"), encoding="utf-8")

    async def scene(opened: Opened) -> None:
        await opened.open("kiln", str(path))
        await opened.press(*"Mine", "enter")
        path.write_text(ready_text("example-kiln") + "# by another hand\n", encoding="utf-8")
        await opened.press("ctrl+s")
        assert isinstance(opened.app.screen, Ask)
        await opened.press("escape")
        assert path.read_text(encoding="utf-8").endswith("another hand\n")
        # quitting the program asks as well
        await opened.press("ctrl+q")
        assert isinstance(opened.app.screen, Ask)
        await opened.press("down", "enter")
        assert opened.form.document.changed
        await opened.press("f1")
        assert isinstance(opened.app.screen, Sheet)
        await opened.press("escape", "escape")
        assert isinstance(opened.app.screen, Ask)
        await opened.press("down", "down", "enter")
        assert opened.ended == [None]

    run(screens, settle, scene)
    assert path.read_text(encoding="utf-8").endswith("another hand\n")


def test_what_was_learnt_can_be_forgotten(screens: Make, settle: Settle) -> None:
    async def scene(opened: Opened) -> None:
        await opened.open("kiln", "example-kiln")
        await opened.press("ctrl+end")
        assert opened.fields.place == ("fitted", "-")
        await opened.press("enter")
        assert "fitted" not in opened.form.document.state.data
        await opened.press("ctrl+z")
        assert opened.form.document.state.data["fitted"]["power"] == 1.0

    run(screens, settle, scene)


def test_what_is_no_toml_is_refused(screens: Make, settle: Settle, tmp_path: Path) -> None:
    path = tmp_path / "kiln.toml"
    path.write_text("name =\n", encoding="utf-8")

    async def scene(opened: Opened) -> None:
        await opened.open("kiln", str(path))
        assert opened.refused == [f"{path}:1: is not TOML here (invalid value)"]

    run(screens, settle, scene)
