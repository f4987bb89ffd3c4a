"""The screens wired together: keys in, plan, file and words out."""

import asyncio
from collections.abc import Awaitable, Callable
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.document import Selection, open_named
from firing.tui.key_figures import summary_lines
from firing.tui.screens.dialogs import (
    Ask,
    Commands,
    Prompt,
    Sheet,
    applying,
    help_lines,
    own_bindings,
)
from firing.tui.screens.equipment import EquipmentSheet
from firing.tui.screens.file_chooser import FileChooser
from firing.tui.screens.filling import Filling
from firing.tui.screens.plan import PlanScreen
from firing.tui.screens.review import ReviewScreen
from firing.tui.widgets.curve import Curve
from firing.tui.widgets.editbar import EditBar
from firing.tui.widgets.grid import ListGrid
from firing.tui.widgets.lines import TOUR
from firing.tui.widgets.segments import Segments
from longer import beyond
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input, Static
from waiting import front, until

from firing.forecast.forecast import forecast
from firing.schedule.file import open_schedule, parse_schedule

Make = Callable[[], FiringApp]
Settle = Callable[[Pilot[Any]], Awaitable[None]]
Scene = Callable[[Pilot[Any]], Awaitable[None]]
Play = Callable[..., None]


def message(app: FiringApp) -> str:
    return str(app.plan.query_one("#message", Static).content)


def shown(app: FiringApp) -> str:
    return str(app.plan.query_one("#consequences", Static).content)


async def write(pilot: Pilot[Any], text: str) -> None:
    """Put a text into the line of the form or prompt in front."""
    line = pilot.app.screen.query_one(Input)
    line.value = text
    await pilot.pause()


def demo(folder: Path) -> Path:
    for name in ("plan.toml", "log.csv"):
        source = resources.files("firing") / "data" / "demo" / name
        (folder / name).write_text(source.read_text(encoding="utf-8"), encoding="utf-8")
    return folder / "log.csv"


def test_typing_on_a_cell_changes_it_and_its_forecast(
    play: Play, plan: Path, settle: Settle
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("down", "9", "0", "enter")
        await settle(pilot)
        expected = plan.read_text(encoding="utf-8").replace("rate = 120", "rate = 90")
        schedule = parse_schedule(expected)
        assert app.session.document.schedule == schedule
        assert shown(app).split("\n") == summary_lines(forecast(schedule), 78)
        assert app.plan.query_one(Segments).rows[2].cells[2] == "90"
        await pilot.press("ctrl+z")
        await settle(pilot)
        assert app.session.document.schedule == open_schedule(plan)
        assert not app.session.document.changed
        await pilot.press("ctrl+y")
        assert app.session.document.schedule == schedule

    play(scene)


def test_a_refusal_is_said_and_the_text_stays(play: Play, plan: Path) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("right", *"9999", "enter")
        bar = app.plan.query_one(EditBar)
        assert bar.editing
        assert bar.cell.value == "9999"
        assert "9999 °C is outside 0 to 1450 °C" in message(app)
        await pilot.press("escape")
        assert not bar.editing
        assert bar.cell.value == "120"
        assert app.session.document.schedule == open_schedule(plan)

    play(scene)


def test_enter_edits_what_a_cell_holds_and_tab_goes_on(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("enter", "backspace", "5", "tab")
        table = app.plan.query_one(Segments)
        assert app.session.document.schedule.segments[0].rate_c_per_h == 55
        assert (table.place.row, table.place.column) == (0, "target")
        await pilot.press("1", "1", "0", "down")
        assert app.session.document.schedule.segments[0].target_c == 110
        assert (table.place.row, table.place.column) == (1, "target")

    play(scene)


def test_keys_that_come_in_a_burst_are_obeyed_in_their_order(play: Play, settle: Settle) -> None:
    keys = [("5", "5"), ("5", "5"), ("down", None), ("9", "9"), ("0", "0"), ("enter", "\r")]

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        for key, character in keys:
            app.post_message(events.Key(key, character))
        await settle(pilot)
        segments = app.session.document.schedule.segments
        assert [segment.rate_c_per_h for segment in segments] == [55, 90, 150]
        assert app.plan.query_one(Segments).place.row == 1
        assert message(app).startswith("Changed: segment 2, rate.")

    play(scene)


def test_segments_are_added_copied_moved_and_removed(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        document = app.session.document
        before = document.schedule
        await pilot.press("ctrl+n")
        assert [s.target_c for s in document.schedule.segments] == [120, 360, 600, 1200]
        await pilot.press("ctrl+d", "delete", "shift+up")
        assert [s.target_c for s in document.schedule.segments] == [120, 600, 360, 1200]
        await pilot.press("ctrl+z", "ctrl+z", "ctrl+z", "ctrl+z")
        assert document.schedule == before

    play(scene)


def test_the_unit_switch_is_one_undoable_edit(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("f3")
        rows = app.plan.query_one(Segments).rows
        # 50 °C/h is 90 °F/h, 120 °C is 248 °F
        assert rows[1].cells[2:4] == ("90", "248")
        await pilot.press("ctrl+z")
        assert app.session.document.schedule.unit == "C"

    play(scene)


def test_saving_and_the_mark_of_a_change(play: Play, plan: Path) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("8", "0", "ctrl+s")
        await until(pilot, lambda: "Saved" in message(app))
        assert open_schedule(plan).segments[0].rate_c_per_h == 80
        assert not app.session.document.changed
        assert list(app.session.journal.folder.glob("*")) == []

    play(scene)


def test_a_file_changed_by_somebody_else_is_asked_about(
    play: Play, plan: Path, tmp_path: Path
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("8", "0", "enter")
        theirs = plan.read_text(encoding="utf-8") + "# theirs\n"
        plan.write_text(theirs, encoding="utf-8")
        await pilot.press("ctrl+s")
        await until(pilot, front(app, Ask))
        await pilot.press("enter")
        await until(pilot, front(app, Prompt))
        await write(pilot, str(tmp_path / "mine"))
        await pilot.press("enter")
        await until(pilot, lambda: "Saved" in message(app))
        assert plan.read_text(encoding="utf-8") == theirs
        assert open_schedule(tmp_path / "mine.toml") == app.session.document.schedule
        assert app.session.document.path == tmp_path / "mine.toml"

    play(scene)


def test_save_as_asks_before_it_replaces(play: Play, plan: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    other.write_text("theirs", encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+e")
        await until(pilot, front(app, Prompt))
        await write(pilot, str(other))
        await pilot.press("enter")
        await until(pilot, front(app, Ask))
        await pilot.press("escape")
        await until(pilot, front(app, Prompt))
        assert other.read_text(encoding="utf-8") == "theirs"
        await pilot.press("enter")
        await until(pilot, front(app, Ask))
        await pilot.press("down", "enter")
        await until(pilot, lambda: "Saved" in message(app))
        assert open_schedule(other) == app.session.document.schedule

    play(scene)


def test_leaving_asks_what_becomes_of_changes(play: Play, plan: Path) -> None:
    before = plan.read_text(encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("8", "0", "enter", "ctrl+q")
        await until(pilot, front(app, Ask))
        await pilot.press("down", "enter")
        await until(pilot, lambda: app.screen is app.plan)
        await pilot.press("ctrl+q")
        await until(pilot, front(app, Ask))
        await pilot.press("down", "down", "enter")
        await until(pilot, lambda: app.return_value is not None)
        assert app.return_value == "given up"

    play(scene)
    assert plan.read_text(encoding="utf-8") == before


def test_unsaved_work_is_offered_and_taken_up(
    screens: Make, settle: Settle, plan: Path, state: Path
) -> None:
    async def crashed() -> None:
        app = screens()
        async with app.run_test() as pilot:
            await pilot.press("7", "7", "enter")
            await settle(pilot)
        # letting go of what is kept without removing it, as the end of a process does
        app.session.journal.close()

    async def reopened() -> None:
        app = screens()
        async with app.run_test() as pilot:
            await until(pilot, front(app, Ask))
            await pilot.press("enter")
            await until(pilot, lambda: app.session.document.changed)
            assert app.session.document.schedule.segments[0].rate_c_per_h == 77
            await pilot.press("ctrl+s")
            await until(pilot, lambda: not app.session.document.changed)
        assert open_schedule(plan).segments[0].rate_c_per_h == 77

    asyncio.run(crashed())
    assert len(list(state.glob("*.json"))) == 1
    asyncio.run(reopened())
    assert list(state.glob("*.json")) == []


def test_open_takes_ready_schedules_and_tells_of_faults(play: Play, plan: Path) -> None:
    faulty = plan.parent / "faulty.toml"
    faulty.write_text('title = "x"\n[[segment]]\nrate = 0\ntarget = 900\n', encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+o")
        await until(pilot, front(app, FileChooser))
        await write(pilot, "faulty")
        await pilot.press("enter")
        await until(pilot, front(app, FileChooser))
        assert "0 °C/h never arrives" in str(app.screen.query_one("#fault", Static).content)
        await write(pilot, "thin bisque")
        await pilot.press("enter")
        await until(pilot, front(app, PlanScreen))
        assert app.session.document.suggested_name == "thin-ware-bisque.toml"
        assert app.session.document.path is None

    play(scene)


def test_about_a_plan_sets_its_start_and_cone(play: Play, settle: Settle) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("f2")
        await until(pilot, front(app, Filling))
        form = app.screen
        form.query_one("#field-cone", Input).value = "77"
        await pilot.press("ctrl+s")
        assert "Target cone: " in str(form.query_one("#hint", Static).content)
        form.query_one("#field-cone", Input).value = "6"
        form.query_one("#field-started", Input).value = "2026-03-02 18:00"
        form.query_one("#field-title", Input).value = "Other plates"
        await pilot.press("ctrl+s")
        await settle(pilot)
        assert app.session.document.schedule.title == "Other plates"
        assert app.session.document.schedule.cone == "6"
        assert shown(app).startswith("Starts Mon 18:00")
        assert "target 6" in shown(app)

    play(scene)


def test_the_curve_is_read_zoomed_and_panned(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        curve = app.plan.query_one(Curve)
        await pilot.press("tab", "full_stop", "full_stop")
        # the first ramp ends after 100 °C at 50 °C/h
        assert curve.cross_s == 7200.0
        assert "120 °C" in curve.readout()
        assert app.plan.query_one(Segments).place.row == 0
        assert curve.window is not None
        whole = curve.window
        await pilot.press("plus", "plus")
        assert curve.window.to_s - curve.window.from_s < whole.to_s - whole.from_s
        zoomed = curve.window
        await pilot.press("l")
        assert curve.window.from_s > zoomed.from_s
        await pilot.press("0", "escape", "tab")
        assert curve.window.whole
        assert curve.cross_s is None
        assert app.plan.query_one(Segments).has_focus

    play(scene)


def test_the_mouse_selects_cells_and_moments(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.click(Segments, offset=(27, 3))
        table = app.plan.query_one(Segments)
        assert (table.place.row, table.place.column) == (1, "target")
        await pilot.click(Curve, offset=(20, 5))
        curve = app.plan.query_one(Curve)
        assert curve.cross_column() == 20

    play(scene)


def test_warnings_and_cautions_are_one_key_away(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        for key, words in (("f4", "No kiln was given"), ("f5", "licensed")):
            await pilot.press(key)
            await until(pilot, front(app, Sheet))
            text = app.screen.query_one("#text", Static)
            await until(pilot, lambda text=text, words=words: words in str(text.content))
            await pilot.press("escape")
            await until(pilot, front(app, PlanScreen))

    play(scene)


def test_cautions_are_shown_once_before_a_page_is_handed_out(
    play: Play, settle: Settle, tmp_path: Path
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("f8")
        await until(pilot, front(app, Sheet))
        await pilot.press("enter")
        for name in ("one.html", "two.html"):
            await until(pilot, front(app, Prompt))
            await write(pilot, str(tmp_path / name))
            await pilot.press("enter")
            page = str(tmp_path / name)
            await until(pilot, lambda page=page: f"written to {page}" in message(app))
            assert "Plates, invented" in (tmp_path / name).read_text(encoding="utf-8")
            await pilot.press("f8")

    play(scene)


def test_the_calendar_is_found_among_all_commands_and_written(
    play: Play, settle: Settle, tmp_path: Path
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+p")
        await until(pilot, front(app, Commands))
        await write(pilot, "calendar")
        await pilot.press("enter")
        await until(pilot, front(app, Prompt))
        await write(pilot, "2026-03-01 07:30")
        await pilot.press("enter")
        await until(pilot, front(app, Sheet))
        await pilot.press("enter")
        await until(pilot, front(app, Prompt))
        await write(pilot, str(tmp_path / "firing.ics"))
        await pilot.press("enter")
        await until(pilot, lambda: "Calendar written to" in message(app))
        written = (tmp_path / "firing.ics").read_text(encoding="utf-8")
        assert written.startswith("BEGIN:VCALENDAR")
        assert "SUMMARY:Kiln: start the program" in written

    play(scene)


def test_all_commands_are_those_that_apply(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        def offered() -> set[str]:
            return {command.name for command in applying(app.screen)}

        assert not {"Undo", "Redo", "Save"} & offered()
        assert {"Open", "Review", "Help", "Quit"} <= offered()
        await pilot.press("8", "0", "enter")
        assert {"Undo", "Save"} <= offered()
        assert "Redo" not in offered()
        await pilot.press("ctrl+p")
        await until(pilot, front(app, Commands))
        # a key that is quicker than the list of them
        await pilot.press("pagedown", "pageup")
        await write(pilot, "take last")
        await pilot.press("enter")
        await until(pilot, lambda: not app.session.document.changed)

    play(scene)


def test_help_has_a_line_for_every_key_its_widgets_own(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        lines = {part for part in help_lines(app.screen) if isinstance(part, tuple)}
        words = {text for _, text in lines}
        for node in [*app.screen.walk_children(), app.screen, app]:
            if not type(node).__module__.startswith("firing.tui."):
                continue
            for binding in own_bindings(node):
                if binding.show:
                    assert (binding.tooltip or binding.description) in words, binding

    play(scene)


def test_every_screen_and_widget_with_keys_names_itself() -> None:
    dialogs = (Ask, Prompt, Sheet, FileChooser, Commands, Filling)
    for kind in (PlanScreen, ReviewScreen, *dialogs, Segments, Curve):
        assert getattr(kind, "HELP_TITLE", ""), kind


def test_a_review_walks_its_account_and_its_curve(play: Play, settle: Settle, plan: Path) -> None:
    log = demo(plan.parent)

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("f7")
        await until(pilot, front(app, FileChooser))
        await write(pilot, str(log))
        await pilot.press("enter")
        await until(pilot, lambda: app.session.review is not None)
        await settle(pilot)
        review = app.session.review
        assert review is not None
        screen = app.screen
        assert isinstance(screen, ReviewScreen)
        grid, curve = screen.query_one(ListGrid), screen.query_one(Curve)
        placed = [f for f in review.findings if f.at_s is not None]
        for _ in range(len(grid.rows)):
            text = str(screen.query_one("#details-text", Static).content)
            for finding in placed:
                if text.startswith(finding.message):
                    assert curve.cross_s == finding.at_s
            await pilot.press("down")
        await pilot.press("ctrl+home", "enter")
        await until(pilot, lambda: curve.window is not None and not curve.window.whole)
        await until(pilot, lambda: grid.row > 0)
        await pilot.press("f7")
        await until(pilot, lambda: app.screen is app.plan)

    play(scene)


def test_what_a_log_leaves_open_is_asked_with_the_field_that_settles_it(
    play: Play, settle: Settle, tmp_path: Path
) -> None:
    log = tmp_path / "open.csv"
    rows = [f"03/04/2026 {10 + n // 60:02d}:{n % 60:02d},{20 + n}" for n in range(0, 600, 5)]
    log.write_text("Time,Kiln\n" + "\n".join(rows) + "\n", encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("f7")
        await until(pilot, front(app, FileChooser))
        await write(pilot, str(log))
        await pilot.press("enter")
        await until(pilot, front(app, Filling))
        hint = str(app.screen.query_one("#hint", Static).content)
        form = app.screen
        assert "“Day or month”" in hint
        assert "--" not in hint + "".join(
            str(s.content) for s in form.query(".label").results(Static)
        )
        form.query_one("#field-date_order").focus()
        await pilot.press("right", "ctrl+s")
        await until(pilot, lambda: app.session.review is not None)
        assert app.session.log is not None
        assert app.session.log.reading.date_order == "dmy"

    play(scene)


@pytest.mark.parametrize("size", beyond(2, [(20, 8), (200, 60), (80, 24), (120, 36), (40, 12)]))
def test_any_size_can_be_drawn(
    play: Play, picture: Callable[[FiringApp], str], size: tuple[int, int]
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        for key in ("f1", "escape", "tab", "plus", "tab", "ctrl+o", "escape"):
            await pilot.press(key)
            lines = picture(app).split("\n")
            assert len(lines) == size[1] + 1
        await pilot.resize_terminal(100, 30)
        await until(pilot, lambda: len(picture(app).split("\n")) == 31)

    play(scene, size)


def test_light_and_dark(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        dark = app.screen.styles.background
        await pilot.press("f9")
        assert app.theme == "light"
        assert app.screen.styles.background != dark

    play(scene)


def test_one_key_brings_the_plan_to_its_cone(tmp_path: Path, play: Play, settle: Settle) -> None:
    path = tmp_path / "short.toml"
    path.write_text(
        'title = "Mugs"\npurpose = "glaze"\ncone = "6"\n[[segment]]\nrate = 150\ntarget = 1100\n'
        '[[segment]]\nrate = 80\ntarget = 1200\nhold = "5m"\n',
        encoding="utf-8",
    )

    def drawn(app: FiringApp) -> list[str]:
        shown = app.plan.query_one(Curve).shown
        return [] if shown is None else [line.name for line in shown.lines]

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.session.open(open_named(str(path)))
        app.plan.show_document()
        await settle(pilot)
        before = app.session.document.schedule
        table = app.plan.query_one(Segments)
        # The cell that is chosen is what changes.
        for column, changed in (("hold", "hold"), ("target", "peak"), ("rate", "rate")):
            table.select(Selection(1, column))
            await pilot.press("ctrl+r")
            # drawn before it is taken
            await until(pilot, lambda: "then" in drawn(app))
            assert app.session.document.schedule == before
            await pilot.press("enter")
            await until(pilot, lambda: app.session.document.schedule != before)
            await settle(pilot)
            after = app.session.document.schedule
            # Cone 6 and no other: just down, by the forecast's own verdict.
            assert forecast(after).cones.reached == "6"
            assert forecast(after).cones.reached_number == pytest.approx(6.0, abs=0.1)
            first, last = before.segments[1], after.segments[1]
            same = {"hold": last.hold_s == first.hold_s, "peak": last.target_c == first.target_c,
                    "rate": last.rate_c_per_h == first.rate_c_per_h}  # fmt: skip
            assert [name for name, kept in same.items() if not kept] == [changed]
            assert f"Cone 6: {changed} " in message(app)
            assert " to " in message(app)
            await pilot.press("ctrl+z")
            await settle(pilot)
            assert app.session.document.schedule == before

    play(scene)


def test_help_is_everywhere_and_a_question_mark_is_typed_where_text_is(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+k")
        await until(pilot, front(app, EquipmentSheet))
        for key in ("question_mark", "f1"):
            await pilot.press(key)
            await until(pilot, front(app, Sheet))
            text = app.screen.query_one("#text", Static)
            await until(pilot, lambda text=text: "Choose a file" in str(text.content))
            await pilot.press("escape")
            await until(pilot, front(app, EquipmentSheet))
        await pilot.press("escape", "f2")
        await until(pilot, front(app, Filling))
        field = app.focused
        assert isinstance(field, Input)
        before = field.value
        await pilot.press("question_mark")
        assert field.value == before + "?"
        await pilot.press("f1")
        await until(pilot, front(app, Sheet))

    play(scene)


def test_the_list_of_commands_has_the_tour_and_says_that_it_has_nothing(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+p", *"tourx")
        await until(pilot, front(app, Commands))
        (row,) = app.screen.query_one(ListGrid).rows
        assert row.cells[0].startswith("Nothing of that name")
        await pilot.press("enter", "backspace", "enter")
        await until(pilot, front(app, Sheet))
        text = app.screen.query_one("#text", Static)
        await until(pilot, lambda: all(words in str(text.content) for words in TOUR))

    play(scene)


def test_escape_leaves_the_curve(play: Play) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("f6", "full_stop", "escape")
        curve = app.plan.query_one(Curve)
        assert curve.cross_s is None
        assert app.focused is curve
        await pilot.press("escape")
        assert app.focused is app.plan.query_one(Segments)

    play(scene)
