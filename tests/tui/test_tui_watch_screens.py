"""The Watch screen wired together: a source chosen, followed in the background, ended, quit."""

import asyncio
import os
import time
import tty
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.document import open_file
from firing.tui.screens.dialogs import Ask, Prompt, Sheet, help_lines
from firing.tui.screens.file_chooser import FileChooser
from firing.tui.screens.filling import Filling
from firing.tui.screens.plan import PlanScreen
from firing.tui.screens.review import ReviewScreen
from firing.tui.screens.watch import FiguresPanel, RemarksPanel, WatchScreen
from firing.tui.widgets.curve import Curve
from firing.tui.widgets.headline import Headline
from firing.tui.widgets.lines import TitleLine
from longer import beyond
from textual.pilot import Pilot
from textual.widgets import Input, Static
from waiting import front, until
from watch.replaying import AS_PLANNED, HOUR_S, write_course

from firing.capture.clock import utc_stamp
from firing.logs.reader import read_log
from firing.watch.options import WatchOptions

Scene = Callable[[FiringApp, Pilot[Any]], Awaitable[None]]
Play = Callable[..., None]
Port = tuple[str, int]


@pytest.fixture(autouse=True)
def _often(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the screens look more often, and this machine have no port of its own."""
    monkeypatch.setattr("firing.capture.serial_port.list_ports", lambda: ())
    monkeypatch.setattr("firing.tui.watch_supervisor.LOOK_EVERY_S", 0.02)
    monkeypatch.setattr("firing.watch.listener.LAY_DOWN_S", 0.02)


@pytest.fixture
def port() -> Iterator[Port]:
    """Return a serial line: its name, and where to write its lines."""
    master, slave = os.openpty()
    tty.setraw(master)
    tty.setraw(slave)
    yield os.ttyname(slave), master
    os.close(slave)
    os.close(master)


@pytest.fixture
def play(plan: Path, state: Path) -> Iterator[Play]:
    """Return what runs a scene; a watch begun in it does not outlive it."""
    made: list[FiringApp] = []

    def run(
        scene: Scene, order: WatchOptions | None = None, size: tuple[int, int] = (80, 24)
    ) -> None:
        async def whole() -> None:
            app = FiringApp(open_file(plan), state, watch=order)
            made.append(app)
            async with app.run_test(size=size) as pilot:
                await pilot.pause()
                await scene(app, pilot)

        asyncio.run(whole())

    yield run
    for app in made:
        if app.session.watch is not None:
            assert app.session.watch.end(20.0)
        app.session.journal.close()


async def answer(pilot: Pilot[Any], app: FiringApp, number: int) -> None:
    """Choose an answer of the question in front, from 0."""
    await until(pilot, front(app, Ask))
    await pilot.press(*["down"] * number, "enter")


def stage(app: FiringApp) -> str:
    screen = next(s for s in app.screen_stack if isinstance(s, WatchScreen))
    return str(screen.query_one("#stage", Static).content)


def text(app: FiringApp, kind: type[FiguresPanel] | type[RemarksPanel]) -> str:
    return str(app.screen.query_one(kind).query_one(Static).content)


def shown_large(app: FiringApp) -> str:
    return app.screen.query_one(Headline).shown.temperature


def form(app: FiringApp, **fields: str) -> None:
    for key, value in fields.items():
        app.screen.query_one(f"#field-{key}", Input).value = value


def refusal(app: FiringApp) -> str:
    return str(app.screen.query_one("#hint", Static).content)


@pytest.mark.soak
def test_a_log_chosen_in_the_form_is_replayed_on_the_plan(play: Play, tmp_path: Path) -> None:
    log = write_course(tmp_path / "fired.csv", AS_PLANNED, step_s=60.0)
    out = tmp_path / "out.csv"

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+l")
        # what it is not is said first, once
        await until(pilot, front(app, Sheet))
        await until(
            pilot, lambda: "safety device" in str(app.screen.query_one("#text", Static).content)
        )
        await pilot.press("escape")
        await answer(pilot, app, 2)
        await until(pilot, front(app, FileChooser))
        app.screen.query_one(Input).value = str(log)
        await pilot.press("enter")
        await until(pilot, front(app, Filling))
        form(app, speed="quick", out=str(out))
        await pilot.press("ctrl+s")
        await until(pilot, lambda: front(app, Filling)() and "--speed quick" in refusal(app))
        form(app, speed="max", channel="cellar")
        await pilot.press("ctrl+s")
        await until(pilot, lambda: front(app, Filling)() and 'no channel "cellar"' in refusal(app))
        form(app, channel="", above="nothing")
        await pilot.press("ctrl+s")
        assert refusal(app).startswith("Above plan by: ")
        form(app, above="25")
        await pilot.press("ctrl+s")
        await until(pilot, front(app, WatchScreen))
        await until(pilot, lambda: app.session.watch and not app.session.watching)
        watch = app.session.watch
        assert watch is not None
        assert watch.order.above_c == 25.0
        await until(pilot, lambda: "The source ended" in stage(app))
        assert watch.seen.complete
        assert "cone" in text(app, FiguresPanel)
        assert "safety device" in text(app, RemarksPanel)
        curve = app.screen.query_one(Curve)
        assert curve.shown is not None
        assert {line.style for line in curve.shown.lines} >= {"dashed", "solid"}
        assert curve.window is not None
        assert curve.window.to_s >= 8.55 * HOUR_S
        # the recording goes into the logbook by the key that keeps
        await pilot.press("ctrl+s")
        await until(pilot, front(app, Filling))
        await pilot.press("ctrl+s")
        await until(pilot, lambda: front(app, WatchScreen)() and "Kept: firing" in stage(app))
        # nothing runs, so nothing is asked on the way back
        await pilot.press("f7")
        await until(pilot, front(app, PlanScreen))

    play(scene)
    assert read_log(out).trace.time_s.size == 514


@pytest.mark.soak
def test_it_goes_on_in_the_background_rings_there_and_ends_only_when_told(
    play: Play, port: Port, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out.csv"
    rung: list[str] = []
    monkeypatch.setattr(FiringApp, "bell", lambda app: rung.append(type(app.screen).__name__))
    order = WatchOptions(port[0], out=out, top_c=100.0)

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        await until(pilot, lambda: "no line yet" in stage(app))
        os.write(port[1], b"x\n20.5\n20.6\n")
        await until(pilot, lambda: "Reading" in stage(app))
        await pilot.press("escape")
        await until(pilot, front(app, Ask))
        await pilot.press("escape")
        await until(pilot, front(app, WatchScreen))
        await pilot.press("f7")
        await answer(pilot, app, 0)
        await until(pilot, front(app, PlanScreen))
        assert app.session.watching
        await until(pilot, lambda: "watch running" in str(app.screen.query_one(TitleLine).content))
        # the plan may be edited meanwhile
        await pilot.press("7", "7", "enter")
        os.write(port[1], b"150.0\n150.0\n")
        await until(pilot, lambda: rung)
        assert rung == ["PlanScreen"]
        await until(pilot, lambda: app._notifications)
        assert "over the top" in next(iter(app._notifications)).message
        await pilot.press("ctrl+l")
        await until(pilot, front(app, WatchScreen))
        await until(pilot, lambda: "ALARM since" in stage(app))
        # it has no plan of its own here; quitting asks, and asks again for the plan
        await pilot.press("ctrl+q")
        await answer(pilot, app, 0)
        await until(pilot, front(app, WatchScreen))
        assert app.session.watching
        await pilot.press("ctrl+x")
        await answer(pilot, app, 1)
        await until(pilot, lambda: not app.session.watching)
        await until(pilot, lambda: f"lines in {out}" in stage(app))
        assert app.session.log is not None
        assert app.session.log.path == out
        await pilot.press("f7")
        await until(pilot, front(app, PlanScreen))
        await pilot.press("f7")
        await until(pilot, front(app, ReviewScreen))

    play(scene, order)
    assert list(read_log(out).trace.channel_c()) == [20.5, 20.6, 150.0, 150.0]


@pytest.mark.parametrize("broken", beyond(1, [
    "firing.tui.screens.watch.figures", "firing.tui.screens.watch.remark_words",
    "firing.tui.screens.watch.stage_words", "firing.tui.plot_lines.WatchLines.plot_lines",
    "firing.tui.screens.watch.lines_words",
]))  # fmt: skip
def test_a_drawing_that_fails_is_told_rings_and_records(
    play: Play, port: Port, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    out = tmp_path / "out.csv"
    rung: list[str] = []
    monkeypatch.setattr(FiringApp, "bell", lambda app: rung.append(type(app.screen).__name__))

    def boom(*_: Any, **__: Any) -> Any:
        raise ZeroDivisionError("made up")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        monkeypatch.setattr(broken, boom)
        os.write(port[1], b"x\n20.5\n150.0\n150.5\n")
        await until(pilot, lambda: rung)
        await until(pilot, lambda: app._notifications)
        assert "failed (made up)" in next(iter(app._notifications)).message
        watch = app.session.watch
        assert watch is not None
        await until(pilot, lambda: watch.seen.recording and watch.seen.recording.rows == 3)
        assert app.session.watching

    play(scene, WatchOptions(port[0], out=out, top_c=100.0))
    assert list(read_log(out, cleaning=False).trace.channel_c()) == [20.5, 150.0, 150.5]


def test_a_call_is_snoozed_and_acknowledged_by_a_key_and_its_message_goes_by_escape(
    play: Play, port: Port
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        os.write(port[1], b"x\n20.5\n150.0\n150.5\n")
        # what is told while something lies on the watch goes with it
        await until(pilot, lambda: app._notifications)
        await pilot.press("escape")
        await until(pilot, front(app, WatchScreen))
        await until(pilot, lambda: not app._notifications)
        large = app.screen.query_one(Headline)
        await until(pilot, lambda: large.shown.calls)
        await pilot.press("z")
        await until(pilot, lambda: not large.shown.calls)
        assert "(snoozed)" in stage(app)
        await pilot.press("z")  # nothing is left to put off
        await pilot.press("a")
        watch = app.session.watch
        assert watch is not None
        await until(pilot, lambda: "(acknowledged)" in stage(app))
        assert watch.seen.standing  # only the message changed
        await pilot.press("f7")
        await answer(pilot, app, 0)
        await until(pilot, front(app, PlanScreen))
        app.notify("too hot", timeout=1e6)
        await until(pilot, lambda: app._notifications)
        await pilot.press("escape")
        await until(pilot, lambda: not app._notifications)
        assert front(app, PlanScreen)()

    play(scene, WatchOptions(port[0], top_c=100.0))


def test_a_narrow_screen_shows_figures_or_curve_and_never_that_nothing_is_watched(
    play: Play, port: Port, picture: Callable[[FiringApp], str]
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        os.write(port[1], b"x\n20.5\n20.6\n")
        await until(pilot, lambda: "Reading" in stage(app))
        assert "nothing is watched" not in picture(app)
        assert app.screen.query_one(FiguresPanel).display
        assert not app.screen.query_one(Curve).display
        await pilot.press("tab")
        await until(pilot, lambda: app.screen.query_one(Curve).display)
        assert not app.screen.query_one(FiguresPanel).display
        assert app.screen.query_one(Curve).has_focus
        assert "too little room" not in picture(app)

    play(scene, WatchOptions(port[0]), (60, 20))


def test_the_curve_looks_around_now_until_somebody_looks_elsewhere(
    play: Play, port: Port, tmp_path: Path
) -> None:
    out = tmp_path / "out.csv"
    begun_s = time.time() - 10.0 * HOUR_S
    rows = "".join(f"{utc_stamp(begun_s + 60.0 * n)},400.00,\n" for n in range(600))
    out.write_text(f"time,kiln (°C),status\n{rows}", encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        os.write(port[1], b"x\n400.5\n")
        curve = app.screen.query_one(Curve)
        await until(pilot, lambda: curve.window and not curve.window.whole)
        window = curve.window
        assert window is not None
        assert window.to_s - window.from_s == pytest.approx(6.0 * HOUR_S)
        await pilot.press("n")
        await until(pilot, lambda: curve.window and curve.window.whole)
        await pilot.press("n")
        await until(pilot, lambda: curve.window and not curve.window.whole)

    play(scene, WatchOptions(port[0], out=out))


def test_quitting_ends_the_recording_in_order(play: Play, port: Port, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        await until(pilot, lambda: "no line yet" in stage(app))
        os.write(port[1], b"x\n20.5\n20.6\n")
        await until(pilot, lambda: "2 lines" in str(app.screen.query_one(TitleLine).content))
        await pilot.press("ctrl+q")
        await answer(pilot, app, 1)
        await until(pilot, lambda: app.return_value == "clean")
        assert not app.session.watching

    play(scene, WatchOptions(port[0], out=out))
    assert list(read_log(out).trace.channel_c()) == [20.5, 20.6]


def test_a_recording_that_is_there_is_continued_only_after_saying_so(
    play: Play, port: Port, tmp_path: Path
) -> None:
    out = tmp_path / "out.csv"
    # ten minutes ago: of longer ago, it would be another firing's
    begun = f"time,kiln (°C),status\n{utc_stamp(time.time() - 600.0)},400.00,\n"
    out.write_text(begun, encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("ctrl+l")
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        await answer(pilot, app, 0)
        await until(pilot, front(app, Prompt))
        app.screen.query_one(Input).value = port[0]
        await pilot.press("enter")
        await until(pilot, front(app, Filling))
        form(app, out=str(out))
        await pilot.press("ctrl+s")
        await answer(pilot, app, 0)
        await until(pilot, front(app, Filling))
        assert out.read_text(encoding="utf-8") == begun
        await pilot.press("ctrl+s")
        await answer(pilot, app, 1)
        await until(pilot, lambda: front(app, WatchScreen)() and "no line yet" in stage(app))
        assert app.session.watch is not None
        assert app.session.watch.schedule == app.session.document.schedule
        assert "plan was changed" not in stage(app)
        os.write(port[1], b"x\n401.0\n")
        await until(pilot, lambda: "1 line in" in str(app.screen.query_one(TitleLine).content))
        await pilot.press("f3")
        await until(pilot, lambda: shown_large(app) == "754 °F")  # 401 × 1.8 + 32
        await pilot.press("f7")
        await answer(pilot, app, 0)
        await until(pilot, front(app, PlanScreen))
        await pilot.press("7", "7", "enter", "ctrl+l")
        await until(pilot, lambda: front(app, WatchScreen)() and "plan was changed" in stage(app))
        assert app.session.watch.schedule != app.session.document.schedule

    play(scene)
    lines = out.read_text(encoding="utf-8").splitlines()
    assert lines[:2] == begun.splitlines()
    assert "gap: " in lines[2]
    assert lines[3].endswith(",401.00,")


def test_a_source_that_cannot_be_opened_is_told_and_another_can_be_chosen(
    play: Play, tmp_path: Path
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        await until(pilot, lambda: "NOT WATCHING: " in stage(app))
        assert "nowhere" in stage(app)
        await pilot.press("ctrl+o")
        await answer(pilot, app, 0)
        await until(pilot, front(app, Filling))
        await pilot.press("escape")
        await until(pilot, front(app, WatchScreen))

    play(scene, WatchOptions("socket://127.0.0.1:1/nowhere"))


@pytest.mark.parametrize("size", beyond(1, [(20, 8), (120, 36), (40, 12)]))
def test_any_size_can_be_drawn(
    play: Play, port: Port, picture: Callable[[FiringApp], str], size: tuple[int, int]
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        await pilot.press("escape", "f1", "escape", "tab", "plus", "tab", "tab", "ctrl+x", "escape")
        await until(pilot, front(app, WatchScreen))
        assert len(picture(app).split("\n")) == size[1] + 1

    play(scene, WatchOptions(port[0]), size)


def test_help_names_the_screen_and_its_parts(play: Play, port: Port) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        await until(pilot, front(app, WatchScreen))
        titles = {line for line in help_lines(app.screen) if isinstance(line, str)}
        assert {"Watch", "Figures", "Notices", "Curve"} <= titles

    play(scene, WatchOptions(port[0]))


def test_a_replay_waits_for_its_safety_text_and_control_c_asks_as_control_q_does(
    play: Play, port: Port, tmp_path: Path
) -> None:
    log = write_course(tmp_path / "fired.csv", AS_PLANNED[:2], step_s=60.0)

    def told(app: FiringApp) -> list[str]:
        return [message.message for message in app._notifications]

    async def replay(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        await pilot.press("ctrl+c")
        assert told(app) == ["Esc closes this first.  ^Q quits, and asks if work is unsaved."]
        assert app.session.watch is None
        app.clear_notifications()
        await pilot.press("escape")
        await until(pilot, lambda: app.session.watch is not None)

    async def live(app: FiringApp, pilot: Pilot[Any]) -> None:
        await until(pilot, front(app, Sheet))
        assert app.session.watching  # a live source is recorded from the start
        await pilot.press("ctrl+c")
        await answer(pilot, app, 0)
        await until(pilot, front(app, Sheet))
        await pilot.press("escape")
        await until(pilot, front(app, WatchScreen))
        await pilot.press("ctrl+c")
        await answer(pilot, app, 1)
        await until(pilot, lambda: not app.session.watching)
        assert told(app) == []

    play(replay, WatchOptions(str(log)))
    play(live, WatchOptions(port[0]))
