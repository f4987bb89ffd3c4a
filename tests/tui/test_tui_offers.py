"""Changes that can be had: listed under the table, drawn before they are taken, one edit each."""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from firing.tui.app import FiringApp
from firing.tui.document import Selection
from firing.tui.equipment import Circumstances, forecast_plan, read_all
from firing.tui.fixing import Cured, fixes, made_safe
from firing.tui.screens.dialogs import Prompt
from firing.tui.widgets.curve import Curve
from firing.tui.widgets.segments import Offers, Segments
from longer import beyond
from textual.pilot import Pilot
from textual.widgets import Input, Static
from waiting import front, until

import firing as fi
from firing.forecast.result import PlanWarning
from firing.schedule.schedule import Schedule, Segment

Settle = Callable[[Pilot[Any]], Awaitable[None]]
Play = Callable[..., None]
SIZES = beyond(1, [(80, 24), (60, 20), (140, 40)])


def message(app: FiringApp) -> str:
    return str(app.plan.query_one("#message", Static).content)


def lines(app: FiringApp) -> list[str]:
    shown = app.plan.query_one(Curve).shown
    return [] if shown is None else [line.name for line in shown.lines]


def titles(app: FiringApp) -> list[str]:
    return [offer.title for offer in app.plan.query_one(Offers).offers]


FAULTY = (Segment(120.0, 500.0, hold_s=300.0), Segment(600.0, 900.0), Segment(1200.0, 900.0))


async def with_faults(app: FiringApp, pilot: Pilot[Any], settle: Settle) -> None:
    """Have a glaze that climbs too fast for thick ware and for the kiln, far from its cone."""
    chosen = {"kiln": "example-kiln", "load": "example-load-glazed-cups"}
    plan = replace(app.session.document.schedule, segments=FAULTY)
    app.session.circumstances = Circumstances(equipment=read_all(chosen).equipment)
    app.plan.apply(plan, "made up", Selection(2, "rate"))
    await settle(pilot)


@pytest.mark.parametrize("size", SIZES)
def test_what_to_fix_is_looked_at_and_then_taken_as_one_edit(
    play: Play, settle: Settle, size: tuple[int, int]
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await with_faults(app, pilot, settle)
        offers, plan = app.plan.query_one(Offers), app.session.document.schedule
        if size[1] > 20:
            # in the empty rows, without a key
            assert offers.display
            assert offers.size.height >= 2
        signs = [offer.sign for offer in offers.offers]
        assert signs == sorted(signs)  # "!" before "?"
        assert titles(app)[0].endswith("make it safe")
        await pilot.press("ctrl+w")
        await until(pilot, lambda: "then" in lines(app))
        assert offers.size.height >= 4
        assert app.session.document.schedule == plan
        assert "→" in message(app)
        first = titles(app)[0]
        await pilot.press("enter")
        await until(pilot, lambda: app.session.document.schedule != plan)
        await settle(pilot)
        assert app.focused is app.plan.query_one(Segments)
        assert first not in titles(app)
        assert "then" not in lines(app)
        forecast = app.session.forecast
        assert forecast is not None
        assert not forecast.breaches
        await pilot.press("ctrl+z")
        assert app.session.document.schedule == plan

    play(scene, size)


def test_leaving_the_list_leaves_the_plan(play: Play, settle: Settle) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await with_faults(app, pilot, settle)
        plan = app.session.document.schedule
        # down from the last row goes on into the list, and up from its first line back
        await pilot.press("down")
        await until(pilot, lambda: app.focused is app.plan.query_one(Offers))
        await until(pilot, lambda: "then" in lines(app))
        await pilot.press("escape")
        await until(pilot, lambda: "then" not in lines(app))
        assert app.focused is app.plan.query_one(Segments)
        await pilot.press("ctrl+w", "up")
        assert app.focused is app.plan.query_one(Segments)
        assert app.session.document.schedule == plan

    play(scene)


@pytest.mark.soak
def test_every_line_of_the_list_helps_by_itself(play: Play, settle: Settle) -> None:
    """Each that says "do it" is one edit, and what it was about is not said again."""

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await with_faults(app, pilot, settle)
        plan = app.session.document.schedule
        offers = app.plan.query_one(Offers).offers
        assert len(offers) >= 4
        for number, offer in enumerate(offers[:9], 1):
            if offer.make is None:
                continue
            await pilot.press("ctrl+w", str(number))
            await until(pilot, lambda: app.session.document.schedule != plan)
            await settle(pilot)
            said = [o.words for o in app.plan.query_one(Offers).offers]
            assert offer.words not in said
            await pilot.press("ctrl+z")
            assert app.session.document.schedule == plan
            await settle(pilot)

    play(scene)


def test_the_mouse_looks_at_a_line_and_takes_it(play: Play, settle: Settle) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await with_faults(app, pilot, settle)
        plan = app.session.document.schedule
        offers = app.plan.query_one(Offers)
        # the heading is the first line; the cursor's mark, key and sign come before the words
        await pilot.click(Offers, offset=(8, 2))
        await until(pilot, lambda: "then" in lines(app))
        assert offers.row == 2
        assert app.session.document.schedule == plan
        await pilot.click(Offers, offset=(offers.size.width - 4, 2))
        await until(pilot, lambda: app.session.document.schedule != plan)

    play(scene)


def test_a_plan_without_faults_has_no_list(play: Play, settle: Settle) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await settle(pilot)
        forecast = app.session.forecast
        assert forecast is not None
        wanted = [w for w in forecast.warnings if w.severity != "note"]
        assert app.plan.query_one(Offers).display == bool(wanted)
        await pilot.press("ctrl+f")
        if not wanted:
            assert "no warning" in message(app)

    play(scene)


def test_the_version_before_lies_under_the_curve_until_it_is_saved(
    play: Play, settle: Settle
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        assert "was" not in lines(app)
        before = app.session.forecast
        await pilot.press(*"70", "enter")
        await settle(pilot)
        shown = app.plan.query_one(Curve).shown
        assert shown is not None
        assert before is not None
        (was,) = [line for line in shown.lines if line.name == "was"]
        assert was.temperature_c == pytest.approx(before.trace.channel_c())
        # a name changes nothing in the course, and the other unit neither
        await pilot.press("f3")
        await settle(pilot)
        assert "was" not in lines(app)
        await pilot.press("ctrl+z")
        await settle(pilot)
        await pilot.press("ctrl+s")
        await until(pilot, lambda: not app.session.document.changed)
        await until(pilot, lambda: "was" not in lines(app))

    play(scene)


@pytest.mark.soak
def test_the_fastest_safe_rate_and_the_start_are_solved_for(
    play: Play, settle: Settle, utc: None
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await with_faults(app, pilot, settle)
        plan = app.session.document.schedule
        await pilot.press("up", "ctrl+r")
        # the plan says no cone: none is asked for, what is left can be solved
        await until(pilot, front(app, Prompt))
        await pilot.press("escape")
        await until(pilot, lambda: titles(app)[:1] == ["fastest safe rate here"])
        await until(pilot, lambda: "then" in lines(app))
        assert app.session.document.schedule == plan
        await pilot.press("enter")
        await until(pilot, lambda: app.session.document.schedule != plan)
        await settle(pilot)
        row = app.plan.query_one(Segments).place.row
        forecast, rate = app.session.forecast, app.session.document.schedule.segments[row]
        assert forecast is not None
        assert rate.rate_c_per_h is not None
        assert row not in [breach.segment for breach in forecast.breaches]
        await pilot.press("ctrl+z")
        assert app.session.document.schedule == plan
        await settle(pilot)

        await pilot.press("ctrl+r")
        await until(pilot, front(app, Prompt))
        await pilot.press("escape")
        await until(pilot, lambda: "start to end at 19:00" in titles(app))
        await pilot.press("2")
        await until(pilot, lambda: app.session.circumstances.started is not None)
        await settle(pilot)
        started, forecast = app.session.circumstances.started, app.session.forecast
        assert started is not None
        assert forecast is not None
        ends = started + timedelta(seconds=forecast.program_s)
        # to the minute: never later than asked
        assert timedelta(0) <= ends.replace(hour=19, minute=0, second=0, microsecond=0) - ends
        assert ends.replace(hour=19, minute=0, second=0) - ends < timedelta(minutes=1)
        assert app.session.document.schedule == plan
        await pilot.press("ctrl+z")
        assert app.session.circumstances.started is None
        assert app.session.document.schedule == plan

    play(scene)


def test_another_end_is_asked_for(play: Play, settle: Settle) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await settle(pilot)
        await pilot.press("ctrl+r")
        await until(pilot, front(app, Prompt))
        await pilot.press("escape")
        await until(pilot, lambda: "… at another hour" in titles(app))
        await pilot.press(str(titles(app).index("… at another hour") + 1))
        await until(pilot, front(app, Prompt))
        app.screen.query_one(Input).value = "06:30"
        await pilot.press("enter")
        await until(pilot, lambda: "start to end at 06:30" in titles(app))

    play(scene)


def test_a_plan_that_changes_meanwhile_leaves_no_stale_change_to_be_taken(
    play: Play, settle: Settle
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await with_faults(app, pilot, settle)
        await pilot.press("ctrl+w")
        await until(pilot, lambda: "then" in lines(app))
        await pilot.press("ctrl+z")
        undone = app.session.document.schedule
        await settle(pilot)
        assert app.focused is app.plan.query_one(Segments)
        assert "then" not in lines(app)
        # enter edits a cell again, and takes nothing that was made for another plan
        await pilot.press("enter", "escape")
        assert app.session.document.schedule == undone

    play(scene)


def test_numbers_stand_only_where_they_are_keys_and_escape_puts_the_list_away(
    play: Play, settle: Settle
) -> None:
    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        await with_faults(app, pilot, settle)
        offers = app.plan.query_one(Offers)

        def rows() -> list[str]:
            return [" ".join(row.cells) for row in offers.rows]

        assert rows()[0].startswith("To fix")
        assert not any(row[0].isdigit() for row in rows()[1:])
        await pilot.press("ctrl+w")
        await until(pilot, lambda: rows()[1].startswith("1 !"))
        # every title is whole, in as many rows as that takes
        whole = " ".join(row.cells[2] for row in offers.rows[1:])
        assert all(title in whole for title in titles(app))
        await pilot.press("escape", "ctrl+r")
        if front(app, Prompt)():
            await pilot.press("6", "enter")
        await until(pilot, lambda: offers.heading == "Solve for")
        await pilot.press("escape")
        await until(pilot, lambda: offers.heading.startswith("To fix"))
        assert app.focused is app.plan.query_one(Segments)
        assert not any(row[0].isdigit() for row in rows()[1:])

    play(scene)


def fired_with(plan: str, kiln: str = "", load: str = "") -> tuple[Schedule, Circumstances]:
    """A ready plan under examples of what it is fired with."""
    chosen = {kind: name for kind, name in (("kiln", kiln), ("load", load)) if name}
    return fi.read_schedule(plan), Circumstances(equipment=read_all(chosen).equipment)


def warned_of(schedule: Schedule, under: Circumstances, warning: str) -> list[PlanWarning]:
    return [w for w in forecast_plan(schedule, under).warnings if w.id == warning]


def taken(schedule: Schedule, under: Circumstances, title: str) -> Cured:
    """What the offer of that title makes of the plan."""
    offers = fixes(forecast_plan(schedule, under), under)
    (offer,) = [offer for offer in offers if offer.title == title]
    assert offer.make is not None
    return offer.make()


def test_clay_that_dries_slowly_is_held_for_as_long_as_its_water_needs_at_most() -> None:
    plan, under = fired_with(
        "thick-handbuilt-bisque", "example-kiln", "example-load-planters-and-cups"
    )
    assert warned_of(plan, under, "slow_drying")
    cured = taken(plan, under, "1: five-fold drying hold")
    assert not warned_of(cured.schedule, under, "slow_drying")
    assert cured.schedule.segments[0].hold_s > plan.segments[0].hold_s
    assert cured.schedule.segments[1:] == plan.segments[1:]


def test_candling_is_lengthened_to_what_practice_asks() -> None:
    plan, under = fired_with("thin-ware-bisque", load="example-load-thin-cups")
    chosen = under.equipment.load
    assert chosen is not None
    damp = replace(chosen, value=replace(chosen.value, dryness="damp"))
    under = replace(under, equipment=replace(under.equipment, load=damp))
    plan = made_safe(plan, under.equipment).schedule
    (told,) = warned_of(plan, under, "practice")
    cured = taken(plan, under, "1: practice is slower")
    assert not warned_of(cured.schedule, under, "practice")
    # six hours for damp ware, its way up to the hold from 80 °C on among them; soak-practice
    first = cured.schedule.segments[0]
    assert first.rate_c_per_h is not None
    climbing_h = (first.target_c - 80.0) / first.rate_c_per_h
    assert 6.0 - 0.3 <= climbing_h + first.hold_s / 3600.0 <= 6.0
    assert "6 h" in told.message


@pytest.mark.parametrize(
    ("power", "max_c", "warning", "title"),
    [
        (0.6, 1300.0, "peak_out_of_reach", "kiln does not get to the peak"),
        (1.0, 1200.0, "above_kiln_maximum", "hotter than the kiln may get"),
    ],
)
def test_a_peak_out_of_reach_becomes_a_lower_one_with_the_same_cone(
    power: float, max_c: float, warning: str, title: str
) -> None:
    plan, under = fired_with("stoneware-glaze-1240", "example-kiln")
    chosen = under.equipment.kiln
    assert chosen is not None
    weak = replace(chosen.value.fitted, power=power)
    kiln = replace(chosen, value=replace(chosen.value, max_c=max_c, fitted=weak))
    under = replace(under, equipment=replace(under.equipment, kiln=kiln))
    assert warned_of(plan, under, warning)
    cured = taken(plan, under, f"{plan.peak_index + 1}: {title}")
    then = forecast_plan(cured.schedule, under)
    assert then.kiln is not None
    assert then.kiln.reaches_peak
    assert cured.schedule.peak_c <= max_c
    # the plan is for cone 8, and says so
    assert then.cones.reached == "8"
    # the caution stays
    assert ("competent person" in cured.words) == (warning == "peak_out_of_reach")
    assert cured.schedule.segments[:4] == plan.segments[:4]


@pytest.mark.soak
def test_longer_candling_is_drawn_taken_and_taken_back_on_the_screen(
    play: Play, settle: Settle
) -> None:
    plan, under = fired_with(
        "thick-handbuilt-bisque", "example-kiln", "example-load-planters-and-cups"
    )

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        app.session.circumstances = under
        app.plan.apply(plan, "made up", Selection(0, "rate"))
        await settle(pilot)
        assert titles(app) == ["1: five-fold drying hold"]
        await pilot.press("ctrl+w")
        await until(pilot, lambda: "then" in lines(app))
        assert app.session.document.schedule == plan
        await pilot.press("enter")
        await until(pilot, lambda: app.session.document.schedule != plan)
        await settle(pilot)
        assert titles(app) == []
        await pilot.press("ctrl+z")
        assert app.session.document.schedule == plan

    play(scene)
