"""The plan that ^F takes on the review's screen is the one that ``firing review --mend`` writes."""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from commandline import call
from firing.tui.app import FiringApp
from firing.tui.equipment import Circumstances, forecast_plan, read_all
from firing.tui.fixing import as_the_kiln_climbs
from firing.tui.screens.dialogs import Ask
from firing.tui.screens.review import ReviewScreen
from firing.tui.session import LogChoice
from logmaker import Faults, Sampling, fire, sample, write_csv
from textual.pilot import Pilot
from textual.widgets import Static
from waiting import front, until

from firing.cones.equivalence import cone_reached
from firing.cones.table import cone_number
from firing.kiln.simulation import simulate
from firing.schedule.file import open_schedule, schedule_text
from firing.schedule.schedule import Schedule, Segment

Settle = Callable[[Pilot[Any]], Awaitable[None]]
Play = Callable[..., None]

PLAN = Schedule(
    "Cups",
    (
        Segment(600.0, 130.0),
        Segment(1000.0, 150.0),
        Segment(1200.0, 60.0, hold_s=1800.0),
    ),
    "glaze",
    cone="6",
)


@pytest.mark.parametrize("kiln", ["", "example-kiln"])
def test_a_screens_key_and_the_command_mend_one_plan(
    play: Play, settle: Settle, plan: Path, kiln: str
) -> None:
    """A kiln that was never fitted, or no kiln file at all: the rates that the firing kept."""
    plan.write_text(schedule_text(PLAN), encoding="utf-8")
    steps = tuple((s.rate_c_per_h, s.target_c, s.hold_s) for s in PLAN.segments)
    weak = fire(steps, faults=Faults(power_factor=0.70))
    log = write_csv(sample(weak, Sampling(interval_s=60.0)), plan.parent / "log.csv")
    out = plan.parent / "out.toml"
    given = ("--kiln", kiln) if kiln else ()
    call(plan.parent, "review", plan.name, log.name, *given, "--mend", out.name)
    written = open_schedule(str(out))
    assert written.segments != PLAN.segments

    async def scene(app: FiringApp, pilot: Pilot[Any]) -> None:
        if kiln:
            app.plan.take_equipment(read_all({"kiln": kiln}).equipment)
            await settle(pilot)
        app.session.log = LogChoice(log)
        await pilot.press("f7")
        await until(pilot, lambda: front(app, ReviewScreen)() and app.session.review is not None)
        await pilot.press("ctrl+f")
        await until(pilot, front(app, Ask))
        asked = " ".join(str(part.content) for part in app.screen.query(Static))
        # First what is most to know: that the peak is another, or that the cone is kept.
        assert "keeps cone 6" in asked or "comes to cone 6" in asked
        await pilot.press("enter")
        await until(pilot, lambda: app.session.document.schedule != PLAN)
        assert app.session.document.schedule.segments == written.segments

    play(scene)


def test_a_plan_slowed_for_its_kiln_in_the_editor_keeps_its_cone() -> None:
    """A kiln of a third less power: slowed, and with a lower peak, it still comes to cone 6."""
    equipment = read_all({"kiln": "example-kiln"}).equipment
    assert equipment.kiln is not None
    weak = replace(equipment.kiln.value, power_w=0.7 * equipment.kiln.value.power_w)
    equipment = replace(equipment, kiln=replace(equipment.kiln, value=weak))
    before = forecast_plan(PLAN, Circumstances(equipment=equipment))
    assert before.kiln is not None
    assert before.kiln.reaches_peak
    cured = as_the_kiln_climbs(before, equipment)
    run = simulate(weak, None, cured.schedule)
    number = cone_reached(run.time_s, run.chamber_c).reached_number
    assert number == pytest.approx(cone_number("6"), abs=0.2)
    if cured.schedule.peak_c < PLAN.peak_c:
        assert cured.words.index("keeps cone 6") < cured.words.index("segment 1")
