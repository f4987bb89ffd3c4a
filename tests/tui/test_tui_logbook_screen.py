"""The logbook on the screens: kept from the review, listed, found, opened and compared."""

from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.kept import asked, course_lines, find, firing_entries
from firing.tui.screens.dialogs import PrintedText, Prompt
from firing.tui.screens.filling import Filling
from firing.tui.screens.logbook import LogbookScreen
from firing.tui.screens.overlay import OverlayScreen
from firing.tui.screens.plan import PlanScreen
from firing.tui.screens.review import ReviewScreen
from firing.tui.session import LogChoice
from firing.tui.widgets.curve import Curve
from firing.tui.widgets.lines import TitleLine
from longer import beyond
from textual.pilot import Pilot
from textual.widgets import Input, Static
from waiting import front, until

from firing.logbook.record import Entry, Filter, Firing, Shown
from firing.logbook.store import PATH_VARIABLE, Logbook
from firing.report.logbook import sparkline

Play = Callable[..., None]
PLATES = """title = "Plates, invented"
purpose = "glaze"
[[segment]]
rate = 100
target = 600
"""
LOG = "time_s,Kiln (°C)\n" + "\n".join(f"{300 * n},{20 + 500 * n / 60:.1f}" for n in range(71))


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return an empty logbook of this test alone."""
    place = tmp_path / "logbook.sqlite"
    monkeypatch.setenv(PATH_VARIABLE, str(place))
    return place


def put_in(book: Path, count: int, *, hours: float = 6.0) -> None:
    """Keep some firings of the plates, a day apart; the second has a note."""
    begun = datetime(2026, 3, 1, 8, tzinfo=UTC)
    with Logbook.open(book) as found:
        for number in range(count):
            entry = Entry(
                f"day{number}.csv",
                LOG.replace("Kiln", f"Kiln {number}").encode(),
                kiln="Invented kiln",
                plan="Plates, invented",
                plan_text=PLATES,
                notes=("the good celadon",) if number == 1 else (),
            )
            shown = Shown(
                (begun + timedelta(days=number)).timestamp(),
                peak_c=600.0,
                duration_s=3600.0 * hours,
                heating_s=3600.0 * hours,
                course_c=tuple(range(20, 620, 25)) + tuple(range(600, 0, -25)),
                purpose="glaze",
                cone="6",
                reached="6",
            )
            found.keep(entry, shown)


def test_what_is_typed_is_words_a_cone_and_late() -> None:
    assert asked("good celadon") == Filter(words="good celadon")
    assert asked("cone 6 march") == Filter(cone="6", words="march")
    assert asked("late cone 04") == Filter(cone="04", late=True)
    assert asked("") == Filter()


def test_a_line_is_a_firing_and_its_course_has_its_hours(book: Path) -> None:
    put_in(book, 3)
    found = find("")
    assert (found.total, found.every) == (3, 3)
    lines = [line for entry in firing_entries(found.firings, {2}, "C") for line in entry.lines(40)]
    assert len(lines) == 3  # one each, however long its plan's title
    assert all(len(line) == 40 for line in lines)
    assert lines[1].startswith("*26-03-02 Plates")
    assert sparkline(found.firings[0].course_c, 8) in lines[0]
    assert lines[0].endswith(" 6:00")
    course = course_lines(found.firings[0], "C")
    assert course is not None
    # 600 °C, the 24th of 48 even moments, is reached after the six hours that heating took.
    assert course.lines[0].time_s[24] == pytest.approx(6 * 3600.0)
    assert course.lines[0].temperature_c[24] == 600
    assert find("celadon").total == 1
    assert course_lines(Firing(0.0), "C") is None


def test_firings_are_found_marked_compared_and_opened(
    play: Play, book: Path, settle: Callable[[Pilot[Any]], Awaitable[None]]
) -> None:
    put_in(book, 3)

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        def answer() -> str:
            return str(app.screen.query_one("#answer", Static).content)

        await pilot.press("f11")
        await until(pilot, front(app, LogbookScreen))
        await until(pilot, lambda: answer().startswith("3 firings"))
        screen = app.screen
        assert isinstance(screen, LogbookScreen)
        assert screen.query_one(Curve).shown is not None
        await pilot.press("slash")
        await until(pilot, front(app, Prompt))
        app.screen.query_one(Input).value = "celadon"
        await pilot.press("enter")
        await until(pilot, lambda: front(app, LogbookScreen)() and "1 firing with" in answer())
        assert screen.chosen is not None
        assert "celadon" in screen.chosen.notes
        await pilot.press("escape")
        await until(pilot, lambda: answer().startswith("3 firings"))
        told = screen.query_one("#details-text", Static)
        await pilot.press("c")
        assert "space marks a firing" in str(told.content)
        screen._look("nope")
        await until(pilot, lambda: answer().startswith("No firing has"))
        assert not screen.walked.rows
        await pilot.press("escape")
        await until(pilot, lambda: answer().startswith("3 firings"))
        await pilot.press("f3")
        # One marked and the one under the cursor are enough.
        await pilot.press("space")
        assert "with the one under the cursor" in str(told.content)
        await pilot.press("c")
        await until(pilot, lambda: front(app, OverlayScreen)() and app.screen.found is not None)  # type: ignore[attr-defined]
        names = [firing.name for firing in app.screen.found.firings]  # type: ignore[attr-defined]
        assert names == ["day2.csv", "day1.csv"]
        await pilot.press("f7")
        await until(pilot, front(app, LogbookScreen))
        await pilot.press("enter")
        await until(pilot, front(app, ReviewScreen))
        title = app.screen.query_one(TitleLine)
        await until(pilot, lambda: "kept: day1.csv" in str(title.content))
        # in the logbook's unit: 600 °C is 1112 °F
        await until(pilot, lambda: "1112 °F" in answer())
        assert "°C" not in answer()
        await pilot.press("f11")
        await until(pilot, front(app, LogbookScreen))
        assert "That is about all" not in str(told.content)
        await until(pilot, front(app, LogbookScreen))
        await pilot.press("t")
        await until(pilot, front(app, PrintedText))
        text = app.screen.query_one("#text", Static)
        await until(pilot, lambda: "Trends: Invented kiln" in str(text.content))
        await pilot.press("escape")
        await until(pilot, front(app, LogbookScreen))
        await pilot.press("p")
        await until(pilot, front(app, PlanScreen))
        (segment,) = app.session.document.schedule.segments
        assert (segment.rate_c_per_h, segment.target_c) == (100, 600)
        assert app.session.document.path is None

    play(scene)


def test_a_firing_is_kept_from_its_review_with_what_is_said_of_it(
    play: Play, book: Path, tmp_path: Path
) -> None:
    log = tmp_path / "log.csv"
    log.write_text(LOG, encoding="utf-8")

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("f11")
        await until(pilot, front(app, LogbookScreen))
        answer = app.screen.query_one("#answer", Static)
        await until(pilot, lambda: "empty" in str(answer.content))
        await pilot.press("f7")
        await until(pilot, front(app, PlanScreen))
        app.session.log = LogChoice(log)
        await pilot.press("f7")
        await until(pilot, lambda: front(app, ReviewScreen)() and app.session.review is not None)
        for words, note in (("Kept: firing 1", "crackle"), ("in the logbook already", "again")):
            await pilot.press("ctrl+s")
            await until(pilot, front(app, Filling))
            app.screen.query_one("#field-notes").text = note  # type: ignore[attr-defined]
            app.screen.query_one("#field-witnesses", Input).value = ""
            await pilot.press("ctrl+s")
            await until(pilot, front(app, ReviewScreen))
            details = app.screen.query_one("#details-text", Static)
            await until(pilot, lambda words=words, d=details: words in str(d.content))
        await pilot.press("f11")
        await until(pilot, front(app, LogbookScreen))
        await pilot.press("escape")
        await until(pilot, front(app, PlanScreen))
        with Logbook.open(book) as found:
            (one,) = found.firings()
            entry = found.entry(one.id)
        assert one.plan == app.session.document.schedule.title
        assert one.notes.split("\n") == ["crackle", "again"]
        assert entry.body == log.read_bytes()

    play(scene)


@pytest.mark.usefixtures("utc")
@pytest.mark.parametrize("size", beyond(1, [(80, 24), (60, 20)]))
def test_the_logbook_and_its_comparison_look_as_stored(
    play: Play,
    book: Path,
    settle: Callable[[Pilot[Any]], Awaitable[None]],
    picture: Callable[[FiringApp], str],
    golden: Callable[[str, str], None],
    size: tuple[int, int],
) -> None:
    put_in(book, 3)

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await pilot.press("f11")
        await until(pilot, lambda: front(app, LogbookScreen)() and app.screen.walked.rows)  # type: ignore[attr-defined]
        await pilot.press("space", "down")
        await settle(pilot)
        golden(f"logbook-{size[0]}x{size[1]}", picture(app))
        await pilot.press("c")
        await until(pilot, lambda: front(app, OverlayScreen)() and app.screen.found is not None)  # type: ignore[attr-defined]
        await settle(pilot)
        golden(f"compare-{size[0]}x{size[1]}", picture(app))

    play(scene, size)
