"""Mending a schedule: it becomes safe, changes little, and keeps its own words."""

from dataclasses import replace

import numpy as np
import pytest
from design.making import CONTROLLER, PLANTERS_AND_CUPS, check_plan, example_kiln, ware

from firing.controller.controller import Controller
from firing.design.explain import designed_text
from firing.design.repair import fastest_safe_rate, repaired_at, repaired_design
from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.forecast.forecast import forecast
from firing.kiln.description import KilnDescription
from firing.schedule.file import parse_schedule
from firing.schedule.schedule import Schedule, Segment
from firing.ware.drying import DryFirst
from firing.ware.limits import Breach
from firing.ware.safe_rates import limits_for

THIN = parse_schedule(ready_text("thin-ware-bisque"))


def test_a_schedule_for_thin_ware_is_mended_for_thick() -> None:
    assert check_plan(THIN, PLANTERS_AND_CUPS)
    made = repaired_design(THIN, PLANTERS_AND_CUPS, kiln=example_kiln(), controller=CONTROLLER)
    assert made.safe
    assert check_plan(made.schedule, PLANTERS_AND_CUPS) == ()
    assert [s.target_c for s in made.schedule.segments] == [s.target_c for s in THIN.segments]
    for old, new in zip(THIN.segments, made.schedule.segments, strict=True):
        assert (new.rate_c_per_h or 0.0) <= (old.rate_c_per_h or 0.0)
        assert new.hold_s >= old.hold_s


def test_a_safe_schedule_is_left_as_it_is() -> None:
    load = ware(6.0)
    made = repaired_design(
        Schedule("mild", (Segment(90.0, 40.0, hold_s=4 * 3600.0), Segment(950.0, 40.0)), "bisque"),
        load,
    )
    assert made.notes == ("Nothing had to be changed.",)
    assert made.safe


def test_only_the_stretch_that_is_too_fast_is_slowed() -> None:
    plan = Schedule(
        "one ramp", (Segment(90.0, 60.0, hold_s=8 * 3600.0), Segment(980.0, 100.0)), "bisque"
    )
    made = repaired_design(plan, ware(18.0))
    assert made.safe
    targets = [(s.target_c, s.rate_c_per_h) for s in made.schedule.segments]
    # Practice allows 18 mm 64 °C/h up to 600 °C and 115 above: the rest of the ramp keeps its 100.
    assert (600.0, 64.0) in targets
    assert targets[-1] == (980.0, 100.0)


def test_cooling_too_quick_for_thick_ware_is_programmed() -> None:
    load = ware(60.0)
    heating = (Segment(90.0, 10.0, hold_s=90 * 3600.0), Segment(980.0, 6.0))
    made = repaired_design(Schedule("thick", heating, "bisque"), load)
    cooling = made.schedule.segments[made.schedule.peak_index + 1 :]
    assert cooling
    assert made.safe


def test_a_mended_file_keeps_its_comments() -> None:
    text = ready_text("thin-ware-bisque")
    made = repaired_design(THIN, PLANTERS_AND_CUPS, controller=CONTROLLER)
    written = designed_text(made.schedule, made.reasons, (), text)
    comments = [line for line in text.splitlines() if line.startswith("#")]
    assert all(line in written.splitlines() for line in comments)
    assert "# Made safe: " in written
    assert parse_schedule(written) == made.schedule


def test_a_controller_that_cannot_go_slow_enough_is_told() -> None:
    coarse = replace(CONTROLLER, rate_min=50.0)
    with pytest.raises(FiringError, match="collide"):
        repaired_design(THIN, ware(40.0), controller=coarse)


def test_ware_too_wet_for_any_program_is_refused_with_what_to_do() -> None:
    with pytest.raises(DryFirst, match="Dry first") as caught:
        repaired_design(THIN, ware(30.0, "damp", "one"), controller=CONTROLLER)
    assert "at room conditions" in str(caught.value)
    assert "0.5 % of its weight in a day" in str(caught.value)


@pytest.mark.parametrize("rate_c_per_h", [14.0, 15.0, 16.0])
def test_a_limit_just_broken_at_a_corner_is_mended_and_not_refused(rate_c_per_h: float) -> None:
    # A hair's breadth of rate must not decide between a mend and a refusal.
    load = ware(32.0, heated_from="one")
    plan = Schedule(
        "one side",
        (Segment(90.0, 20.0), Segment(650.0, rate_c_per_h), Segment(1100.0, 60.0)),
        "bisque",
    )
    made = repaired_design(plan, load, kiln=example_kiln())
    assert made.safe
    assert len(made.schedule.segments) < 20
    spans = np.abs(np.diff([20.0, *(s.target_c for s in made.schedule.segments)]))
    assert spans.min() > 1.0


def test_a_wall_that_differs_too_much_is_told_of_the_segment_to_slow() -> None:
    # Its face lags the kiln, and comes to the window's end when the next segment has begun.
    rises = (Segment(600.0, 50.0, name="To 600"), Segment(1060.0, 60.0, name="On"))
    plan = Schedule("t", rises, "bisque")
    course = forecast(plan, kiln=example_kiln(), load=ware(45.0))
    told = [b for b in course.breaches if b.kind == "wall" and b.direction == "heating"]
    assert told
    for breach in told:
        assert breach.write_c_per_h is not None
        assert breach.to_c <= 600.0
        assert breach.segment == 0
        assert breach.write_c_per_h < 50.0


def test_one_breach_is_mended_by_itself() -> None:
    """By algebra: 80 K at 300 °C/h, 100 K at 50 and 400 K at 300 are 16, 120 and 80 minutes."""
    plan = Schedule("one", (Segment(600.0, 300.0), Segment(900.0, 100.0)), start_c=20.0)
    fast = Breach(
        "rate", 0, "free water", "made up", "", 100.0, 200.0, 150.0, "made up",
        written_c_per_h=300.0, limit_c_per_h=50.4, write_c_per_h=50.0,
    )  # fmt: skip
    controller = Controller(max_segments=99)
    slower, done = repaired_at(plan, fast, controller)
    assert [(s.target_c, s.rate_c_per_h) for s in slower.segments] == [
        (100.0, 300.0), (200.0, 50.0), (600.0, 300.0), (900.0, 100.0),
    ]  # fmt: skip
    minutes = [60.0 * k / rate for k, rate in ((80.0, 300.0), (100.0, 50.0), (400.0, 300.0))]
    assert sum(minutes) == pytest.approx(216.0)
    assert "50 °C/h from 100 °C to 200 °C" in done
    short = Breach(
        "dwell", 0, "carbon", "made up", "", 550.0, 700.0, 600.0, "made up", add_hold_s=900.0,
        at_least_s=3600.0,
    )  # fmt: skip
    held, _ = repaired_at(plan, short, controller)
    assert [s.hold_s for s in held.segments] == [900.0, 0.0]


@pytest.mark.parametrize("kiln", [None, example_kiln()])
def test_the_fastest_safe_rate_is_safe_and_the_next_is_not(kiln: KilnDescription | None) -> None:
    """One degree an hour more breaks a limit of the segment, by the forecast's own check."""
    plan = Schedule(
        "bisque",
        (Segment(90.0, 40.0, hold_s=8 * 3600.0), Segment(600.0, 30.0), Segment(950.0, 40.0)),
        "bisque",
    )

    def breaches(rate_c_per_h: float) -> list[int]:
        first, second, last = plan.segments
        faster = replace(plan, segments=(first, replace(second, rate_c_per_h=rate_c_per_h), last))
        return [b.segment for b in forecast(faster, kiln=kiln, load=PLANTERS_AND_CUPS).breaches]

    found = fastest_safe_rate(plan, 1, PLANTERS_AND_CUPS, kiln=kiln)
    rate = found.rate_c_per_h
    assert rate == found.schedule.segments[1].rate_c_per_h == int(rate)
    assert 1 not in breaches(rate)
    assert len(breaches(rate + 1.0)) > len(breaches(rate))
    # no faster than the lowest of the limits between the segment's ends, on a grid of 1 °C
    limits = limits_for(PLANTERS_AND_CUPS, purpose="bisque")
    assert rate <= limits.heating(np.arange(91.0, 600.0)).min()


def test_a_ramp_that_the_kiln_does_not_keep_is_named_though_the_ware_stands_it() -> None:
    """60 °C/h is safe for thin ware, and 180 l with 4.4 kW does not climb so at 900 °C."""
    kiln = example_kiln()
    plan = Schedule(
        "mild", (Segment(90.0, 40.0, hold_s=4 * 3600.0), Segment(950.0, 60.0)), "bisque"
    )
    strong, weak = (
        repaired_design(plan, ware(6.0), kiln=replace(kiln, power_w=watts))
        for watts in (9600.0, 4400.0)
    )
    assert not any("keep up" in note for note in strong.notes)
    assert any("can't keep up in segment 2;" in note and "--mend" in note for note in weak.notes)
    assert weak.schedule.segments == strong.schedule.segments
