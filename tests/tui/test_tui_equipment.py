"""Kiln, load, controller and tariff chosen on the screens."""

import asyncio
import json
from collections.abc import Awaitable, Callable
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.document import open_file
from firing.tui.equipment import Circumstances, memory_file, read_all
from firing.tui.key_figures import summary_lines
from firing.tui.screens.dialogs import Ask, Sheet
from firing.tui.screens.equipment import EquipmentSheet
from firing.tui.screens.file_chooser import FileChooser
from firing.tui.screens.form import FormScreen
from firing.tui.screens.plan import PlanScreen
from firing.tui.screens.review import ReviewScreen
from firing.tui.session import LogChoice
from firing.tui.widgets.curve import Curve
from firing.tui.widgets.grid import ListGrid
from firing.tui.widgets.segments import Segments
from textual.pilot import Pilot
from textual.widgets import Input, Static
from waiting import front, until

from firing.files.kinds import ready_text
from firing.forecast.forecast import forecast
from firing.review.result import Mended
from firing.review.review import review

Make = Callable[[], FiringApp]
Settle = Callable[[Pilot[Any]], Awaitable[None]]
Scene = Callable[[FiringApp, Pilot[Any]], Awaitable[None]]
Play = Callable[..., None]


@pytest.fixture
def workshop(tmp_path: Path) -> Path:
    """Return a folder with the plan, a kiln and a load."""
    for name, example in (("oven", "example-kiln"), ("dishes", "example-load-glazed-cups")):
        (tmp_path / f"{name}.toml").write_text(ready_text(example), encoding="utf-8")
    return tmp_path


def message(app: FiringApp) -> str:
    return str(app.plan.query_one("#message", Static).content)


def shown(app: FiringApp) -> str:
    return str(app.plan.query_one("#consequences", Static).content)


async def choose(app: FiringApp, pilot: Pilot[Any], part: str) -> None:
    """Choose a file by a part of its name, for the current row of the sheet."""
    await pilot.press("enter")
    await until(pilot, front(app, FileChooser))
    app.screen.query_one(Input).value = part
    await pilot.pause()
    await pilot.press("enter")
    await until(pilot, front(app, EquipmentSheet))


def test_a_kiln_and_a_load_are_chosen_and_forecast_with(
    play: Play, settle: Settle, workshop: Path
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        assert "no kiln (^K)" in shown(app)
        await pilot.press("ctrl+k")
        await until(pilot, front(app, EquipmentSheet))
        await choose(app, pilot, "oven")
        await pilot.press("down")
        await choose(app, pilot, "dishes")
        assert "thickest 9 mm" in str(app.screen.query_one("#about", Static).content)
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen))
        # The ranges come behind the rest.
        await until(pilot, lambda: "kWh" in shown(app) and "(range …)" not in shown(app))
        equipment = app.session.circumstances.equipment
        assert equipment.kiln is not None
        assert equipment.load is not None
        schedule = app.session.document.schedule
        expected = forecast(schedule, kiln=equipment.kiln.value, load=equipment.load.value)
        assert shown(app).split("\n") == summary_lines(expected, 78, equipment)
        assert "In Workshop kiln with dishes" in shown(app)
        names = [line.name for line in (app.plan.query_one(Curve).shown or expected).lines]  # type: ignore[union-attr]  # they are there
        assert names == ["set", "core", "kiln", "cool"]
        memory = json.loads(memory_file(app.session.journal.folder).read_text(encoding="utf-8"))
        assert memory["chosen"] == {
            "kiln": str(workshop / "oven.toml"),
            "load": str(workshop / "dishes.toml"),
        }
        # An edit of the file counts with the next change of the plan.
        kiln = workshop / "oven.toml"
        text = kiln.read_text(encoding="utf-8")
        kiln.write_text(text.replace("power_kw = 9.6", "power_kw = 5.25"), encoding="utf-8")
        await pilot.press("6", "0", "enter")
        await until(pilot, lambda: "power limits" in shown(app))
        assert "Changed on disk and read again" in message(app)
        assert app.session.circumstances.equipment.load is equipment.load
        kiln.write_text("power_kw = ", encoding="utf-8")
        await pilot.press("7", "0", "enter")
        await until(pilot, lambda: "Forecast with what was read before" in message(app))
        assert "oven.toml" in message(app)
        assert "power limits" in shown(app)

    play(scene)


def test_the_choice_is_taken_up_the_next_time_and_dropped_if_it_cannot_be(
    plan: Path, state: Path, settle: Settle, workshop: Path
) -> None:
    memory_file(state).write_text(
        json.dumps(
            {
                "schema": 1,
                "chosen": {
                    "kiln": str(workshop / "oven.toml"),
                    "load": str(workshop / "gone.toml"),
                },
            }
        )
    )

    async def opened() -> None:
        app = FiringApp(open_file(plan), state)
        # The first screen waits for no file.
        assert "oven" in app.session.coming["kiln"]
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda: "In Workshop kiln with a typical load" in shown(app))
            assert "gone.toml" in message(app)
            assert app.session.coming == {}
            app.session.journal.close()

    asyncio.run(opened())


def test_a_damaged_memory_is_said_and_the_screens_open(plan: Path, state: Path) -> None:
    memory_file(state).write_text("{ damaged")

    async def opened() -> None:
        app = FiringApp(open_file(plan), state)
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda: "cannot be read" in message(app))
            app.session.journal.close()

    asyncio.run(opened())


def test_what_is_named_is_taken_instead_of_what_was_chosen_last(plan: Path, state: Path) -> None:
    memory_file(state).write_text('{"schema": 1, "chosen": {"kiln": "example-kiln"}}')
    given = read_all({"load": "example-load-thin-cups"}).equipment
    app = FiringApp(open_file(plan), state, circumstances=Circumstances(equipment=given))
    assert app.session.coming == {}
    assert app.session.circumstances.equipment.names == {"load": "example-load-thin-cups"}
    only_start = FiringApp(open_file(plan), state, circumstances=Circumstances(target_cone="6"))
    assert only_start.session.coming == {"kiln": "example-kiln"}
    assert only_start.session.circumstances.target_cone == "6"


def test_a_faulty_file_leads_back_to_the_choice(play: Play, workshop: Path) -> None:
    faulty = workshop / "faulty.toml"
    faulty.write_text(ready_text("example-kiln").replace("max_c = 1300", "max_c = 9"))

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+k")
        await until(pilot, front(app, EquipmentSheet))
        await pilot.press("enter")
        await until(pilot, front(app, FileChooser))
        app.screen.query_one(Input).value = "faulty"
        await pilot.pause()
        await pilot.press("enter")
        await until(
            pilot,
            lambda: (
                front(app, FileChooser)()
                and "max_c" in str(app.screen.query_one("#fault", Static).content)
            ),
        )
        await pilot.press("escape")
        await until(pilot, front(app, EquipmentSheet))
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen))
        assert app.session.circumstances.equipment.names == {}

    play(scene)


def test_rows_are_left_empty_and_every_kind_has_a_form(
    play: Play,
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.plan.take_equipment(
            read_all({"kiln": "example-kiln", "tariff": "example-tariff"}).equipment
        )
        await pilot.press("ctrl+k")
        await until(pilot, front(app, EquipmentSheet))
        await pilot.press("delete")
        await until(
            pilot,
            lambda: (
                front(app, EquipmentSheet)()
                and app.screen.query_one(ListGrid).rows[0].cells[1] == "none"
            ),
        )
        await pilot.press("down", "down", "down", "e")
        await until(pilot, front(app, FormScreen))
        await pilot.press("escape")
        await until(pilot, front(app, EquipmentSheet))
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen))
        await until(pilot, lambda: app.session.circumstances.equipment.kiln is None)
        assert app.session.circumstances.equipment.tariff is not None

    play(scene)


def test_the_opening_temperature_is_no_matter_of_the_load(play: Play, settle: Settle) -> None:
    """A load that cannot be fired by the plan leaves the form about the plan usable."""

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.plan.take_equipment(read_all({"load": "example-load-thin-cups"}).equipment)
        await until(pilot, lambda: "Without the load" in shown(app))
        assert "glaze firing needs ware that has been fired" in shown(app)
        await pilot.press("f2")
        await until(pilot, lambda: app.screen is not app.plan)
        app.screen.query_one("#field-unload", Input).value = "100"
        await pilot.press("ctrl+s")
        await until(pilot, front(app, PlanScreen))
        assert app.session.circumstances.unload_c == 100.0

    play(scene)


def test_wide_screens_show_what_limits_each_segment(play: Play, settle: Settle) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.plan.take_equipment(
            read_all({"kiln": "example-kiln", "load": "example-load-glazed-cups"}).equipment
        )
        await pilot.press("end", "left", "left")
        await settle(pilot)
        table = app.plan.query_one(Segments)
        keys = [column.key for column in table.columns]
        assert {"planned", "takes", "ends", "limit"} <= set(keys)
        result = app.session.forecast
        assert result is not None
        limits = [row.cells[keys.index("limit")] for row in table.rows[1:]]
        assert limits == [
            "–" if s.limited_by == "program" else s.limited_by for s in result.segments
        ]
        # (120 − 20)/50 h and the hold of 1:30, by the program's own arithmetic
        assert table.rows[1].cells[keys.index("planned")] == "3:30"

    play(scene, (200, 60))


def test_the_warnings_say_what_is_missing_for_a_cost(play: Play, settle: Settle) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.plan.take_equipment(read_all({"kiln": "example-kiln"}).equipment)
        await settle(pilot)
        await pilot.press("f4")
        await until(
            pilot,
            lambda: (
                front(app, Sheet)()
                and "no tariff is chosen" in str(app.screen.query_one("#text", Static).content)
            ),
        )

    play(scene)


def test_a_review_is_judged_against_the_kiln_and_load_chosen(
    play: Play, settle: Settle, plan: Path
) -> None:
    demo = resources.files("firing") / "data" / "demo"
    plan.write_text((demo / "plan.toml").read_text(encoding="utf-8"), encoding="utf-8")
    log = plan.parent / "log.csv"
    log.write_text((demo / "log.csv").read_text(encoding="utf-8"), encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.session.log = LogChoice(log)
        await pilot.press("f7")
        await until(pilot, lambda: front(app, ReviewScreen)() and app.session.review is not None)
        without = app.session.review
        await pilot.press("f7")
        await until(pilot, front(app, PlanScreen))
        equipment = read_all({"kiln": "example-kiln"}).equipment
        assert equipment.kiln is not None
        app.plan.take_equipment(equipment)
        await settle(pilot)
        await pilot.press("f7")
        await until(pilot, lambda: app.session.review is not without)
        found = app.session.review
        assert found is not None
        expected = review(app.session.document.schedule, found.log, kiln=equipment.kiln.value)
        assert found.to_dict() == expected.to_dict()

    play(scene)


def test_one_key_mends_the_open_plan_for_the_kiln_that_was_found(play: Play, plan: Path) -> None:
    demo = resources.files("firing") / "data" / "demo"
    plan.write_text((demo / "plan.toml").read_text(encoding="utf-8"), encoding="utf-8")
    log = plan.parent / "log.csv"
    log.write_text((demo / "log.csv").read_text(encoding="utf-8"), encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.session.log = LogChoice(log)
        await pilot.press("f7")
        await until(pilot, lambda: front(app, ReviewScreen)() and app.session.review is not None)
        found, before = app.session.review, app.session.document.schedule
        assert found is not None
        first, *rest = before.segments
        slower = replace(before, segments=(replace(first, rate_c_per_h=31.0), *rest))
        mended = Mended(slower, ("segment 1: 31 °C/h, planned 60 °C/h",), 3600.0, None)
        app.session.review = replace(found, mended=mended)
        # Slower is one way, the plan made for the kiln as found another: it is asked which.
        await pilot.press("ctrl+f")
        await until(pilot, front(app, Ask))
        await pilot.press("enter")
        await until(pilot, lambda: app.session.document.schedule == slower)
        assert app.session.document.changed
        await pilot.press("f7")
        await until(pilot, front(app, PlanScreen))
        await pilot.press("ctrl+z")
        assert app.session.document.schedule == before

    play(scene)


def test_a_load_that_does_not_fit_is_not_blamed_on_the_log(play: Play, plan: Path) -> None:
    demo = resources.files("firing") / "data" / "demo"
    log = plan.parent / "log.csv"
    log.write_text((demo / "log.csv").read_text(encoding="utf-8"), encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        raw = read_all({"kiln": "example-kiln", "load": "example-load-thin-cups"}).equipment
        app.plan.take_equipment(raw)
        app.session.log = LogChoice(log)
        await pilot.press("f7")
        await until(
            pilot,
            lambda: (
                front(app, ReviewScreen)()
                and "ware that has been fired"
                in str(app.screen.query_one("#answer", Static).content)
            ),
        )
        # No form about the log is in front: the firing is reviewed without the load.
        assert isinstance(app.screen, ReviewScreen)
        assert app.session.review is not None

    play(scene)
