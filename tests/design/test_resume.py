"""After an interruption: what has been done counts, and the rest is safe and comes to the cone."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from design.making import CONTROLLER, GLAZED, PLANTERS_AND_CUPS, check_plan, example_kiln, ware

from firing.cones.equivalence import cone_reached
from firing.cones.heatwork import heatwork
from firing.controller.controller import Controller
from firing.design.repair import repaired_design
from firing.design.resume import Resumption, resume
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.kiln.simulation import simulate
from firing.report.design import resume_report
from firing.report.text import render_text
from firing.schedule.file import parse_schedule, schedule_text
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray

HOUR = 3600.0
BISQUE = Schedule(
    "bisque",
    (
        Segment(90.0, 60.0, hold_s=8 * HOUR, name="Dry"),
        Segment(600.0, 60.0, name="Smoke"),
        Segment(1000.0, 100.0, hold_s=900.0, name="Top"),
    ),
    "bisque",
)
GLAZE = Schedule(
    "glaze",
    (
        Segment(90.0, 100.0, hold_s=HOUR),
        Segment(600.0, 140.0),
        Segment(1100.0, 140.0),
        Segment(1200.0, 60.0, hold_s=1800.0, name="Top"),
    ),
    "glaze",
)


def fired(plan: Schedule, until_c: float, held_s: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """The plan as a log, run exactly until a temperature and some hold there, then cut off."""
    times, temperatures = [0.0], [plan.start_c]
    for index, segment in enumerate(plan.segments):
        end_c = min(segment.target_c, until_c)
        assert segment.rate_c_per_h is not None
        step_s = (end_c - plan.from_c(index)) / segment.rate_c_per_h * HOUR
        times.append(times[-1] + step_s)
        temperatures.append(end_c)
        last = end_c >= until_c
        hold_s = held_s if last else segment.hold_s
        if hold_s:
            times.append(times[-1] + hold_s)
            temperatures.append(end_c)
        if last:
            break
    grid = np.append(np.arange(0.0, times[-1], 60.0), times[-1])
    return grid, np.interp(grid, times, temperatures)


def test_the_power_failed_at_780_and_the_kiln_reads_560() -> None:
    found = resume(
        BISQUE,
        *fired(BISQUE, 780.0),
        load=PLANTERS_AND_CUPS,
        kiln=example_kiln(),
        controller=CONTROLLER,
        reads_c=560.0,
        ago_s=2 * HOUR,
    )
    assert (found.reached_c, found.now_c, found.segment) == (780.0, 560.0, 2)
    assert found.state is not None
    assert found.state.bound_water_is_gone
    assert found.schedule is not None
    assert found.schedule.start_c == 560.0
    assert found.problems == ()
    assert check_plan(found.schedule, PLANTERS_AND_CUPS, state=found.state) == ()
    # Dry, and its bound water gone: nothing holds it up on the way back.
    assert all(segment.hold_s == 0.0 for segment in found.schedule.segments[:-1])
    # The rest ends like the plan, at its peak and with its hold.
    assert found.schedule.segments[-1].target_c == 1000.0
    assert found.schedule.segments[-1].hold_s == pytest.approx(900.0, abs=121.0)
    assert found.forecast is not None
    assert found.forecast.segments[-1].end_c == 1000.0


@pytest.mark.parametrize("reached_c", [780.0, 650.0])
def test_a_kiln_still_at_621_did_not_cool_its_ware_to_580(reached_c: float) -> None:
    found = resume(
        BISQUE,
        *fired(BISQUE, reached_c),
        load=PLANTERS_AND_CUPS,
        kiln=example_kiln(),
        controller=CONTROLLER,
        reads_c=621.0,
        ago_s=2 * HOUR,
    )
    assert found.problems == ()
    assert found.forecast is not None
    assert found.forecast.trace.channel_c()[0] == 621.0
    assert found.forecast.segments[-1].end_c == 1000.0
    assert all(segment.ends for segment in found.forecast.segments)


def test_ware_that_still_holds_bound_water_is_held_where_it_is() -> None:
    quick = (Segment(90.0, 60.0, hold_s=20 * HOUR), Segment(1000.0, 800.0, hold_s=900.0))
    plan = replace(BISQUE, segments=quick)
    found = resume(plan, *fired(plan, 590.0), load=ware(18.0), kiln=example_kiln())
    assert found.state is not None
    assert not found.state.bound_water_is_gone
    assert found.schedule is not None
    # From 590 °C the water is held out without cooling the wall through 573 °C and up again.
    assert min(segment.target_c for segment in found.schedule.segments) >= 590.0
    assert not any("while cooling" in words for words in found.problems)


def test_a_log_that_begins_hot_says_what_is_assumed() -> None:
    times, readings = fired(BISQUE, 780.0)
    hot = readings >= 700.0
    log = times[hot], readings[hot]
    found = resume(BISQUE, *log, load=PLANTERS_AND_CUPS, reads_c=621.0, ago_s=HOUR)
    assert any("The log begins at 7" in note for note in found.notes)
    assert found.state is not None
    assert found.state.bound_water_is_gone
    assert found.schedule is not None
    # It does not go back to dry what must be dry.
    assert found.schedule.start_c == 621.0
    assert found.problems == ()


def test_heat_work_done_shortens_the_hold() -> None:
    log = fired(GLAZE, 1200.0, held_s=900.0)
    whole = fired(GLAZE, 1200.0, held_s=1800.0)
    wanted = cone_reached(*whole).reached_number
    found = resume(GLAZE, *log, load=GLAZED, reads_c=1050.0, ago_s=0.5 * HOUR)
    assert found.segment == 3
    assert found.schedule is not None
    assert found.schedule.segments[-1].hold_s < 900.0
    assert wanted is not None
    # Cooling adds a little to both; the whole is what the plan would have come to.
    assert found.cones.reached_number == pytest.approx(wanted, abs=0.25)
    assert found.cones.low is not None
    assert found.cones.high is not None
    assert found.cones.low <= wanted + 0.2 <= found.cones.high + 0.2


def test_the_cone_of_log_and_rest_takes_in_the_kilns_thermocouple() -> None:
    log, kiln = fired(GLAZE, 1150.0), example_kiln()
    reads_low = replace(kiln, fitted=replace(kiln.fitted, cone_offset_c=10.0))
    plain, in_kiln, low = (
        resume(GLAZE, *log, kiln=each, reads_c=1100.0, ago_s=600.0).cones
        for each in (None, kiln, reads_low)
    )
    # Type K, class 2: 0.75 % of 1200 °C are 9 °C (source iec-60584).
    assert plain.budget_c < 9.0 <= in_kiln.budget_c
    assert in_kiln.reached_number is not None
    assert low.reached_number is not None
    assert low.reached_number > in_kiln.reached_number + 0.2


def test_a_cone_below_1_is_named_once_in_the_report() -> None:
    log = fired(BISQUE, 900.0)
    found = resume(BISQUE, *log, reads_c=850.0, ago_s=600.0)
    words = " ".join(render_text(resume_report(found)).split())
    told = words.split("Together, log and rest come to ")[1].split(". ")[0]
    assert told.startswith("cone 0")
    assert told.count("nearer") <= 1
    assert told == found.cones.words


def test_a_firing_that_was_done_is_not_heated_again() -> None:
    long = replace(GLAZE, segments=(*GLAZE.segments[:-1], Segment(1200.0, 60.0, hold_s=4 * HOUR)))
    found = resume(long, *fired(long, 1200.0, held_s=4 * HOUR - 400.0), reads_c=900.0, ago_s=HOUR)
    assert found.segment == 3
    assert found.schedule is None
    assert any("do not heat again" in note for note in found.notes)


def test_ware_still_wet_goes_back_to_dry() -> None:
    load = ware(40.0)
    log = fired(replace(BISQUE, segments=(Segment(200.0, 200.0),)), 130.0)
    found = resume(BISQUE, *log, load=load)
    assert any("not dry yet" in note for note in found.notes)
    assert found.schedule is not None
    assert found.schedule.start_c < 95.0
    # Whatever the plan says, the 40 mm wall gets its hours.
    assert found.schedule.segments[0].hold_s > 20 * HOUR


def test_an_interrupted_drying_goes_on_where_it_was() -> None:
    load = ware(18.0)
    half = resume(BISQUE, *fired(BISQUE, 90.0, held_s=4 * HOUR), load=load, reads_c=60.0, ago_s=600)
    fresh = resume(BISQUE, *fired(BISQUE, 30.0), load=load)
    assert half.schedule is not None
    assert fresh.schedule is not None
    hold = sum(s.hold_s for s in half.schedule.segments if s.target_c <= 95.0)
    whole = sum(s.hold_s for s in fresh.schedule.segments if s.target_c <= 95.0)
    assert 2 * HOUR < hold < whole - 2 * HOUR


def test_after_the_peak_only_the_cooling_is_left() -> None:
    plan = replace(
        GLAZE, segments=(*GLAZE.segments, Segment(1000.0, None, "off"), Segment(750.0, 60.0))
    )
    times, readings = fired(GLAZE, 1200.0, held_s=1800.0)
    times, readings = np.append(times, times[-1] + HOUR), np.append(readings, 950.0)
    found = resume(plan, times, readings)
    assert found.schedule is not None
    assert [s.target_c for s in found.schedule.segments] == [750.0]


def test_without_a_load_the_way_back_follows_the_plan() -> None:
    found = resume(BISQUE, *fired(BISQUE, 780.0), reads_c=560.0, ago_s=2 * HOUR)
    assert found.schedule is not None
    assert found.schedule.segments[0].rate_c_per_h == 60.0
    assert any("No load was given" in note for note in found.notes)
    assert found.to_dict()["kind"] == "resume"


@pytest.mark.parametrize(
    ("reads_c", "ago_s", "words"),
    [
        (900.0, HOUR, "above the log's last"),
        (560.0, 0.0, "--ago"),
        (5000.0, HOUR, "no temperature"),
    ],
)
def test_readings_that_cannot_be(reads_c: float, ago_s: float, words: str) -> None:
    with pytest.raises(FiringError, match=words):
        resume(BISQUE, *fired(BISQUE, 780.0), reads_c=reads_c, ago_s=ago_s)


def test_a_log_of_one_reading_tells_nothing() -> None:
    with pytest.raises(FiringError, match="at least 2"):
        resume(BISQUE, np.array([0.0, 60.0]), np.array([20.0, np.nan]))


@pytest.mark.parametrize(
    ("reached_c", "held_s", "reads_c", "cone"),
    [(1195.0, 0.0, 1000.0, "6"), (1200.0, 600.0, 900.0, "6")],
)
def test_the_way_back_is_timed_by_the_kilns_own_climb(
    reached_c: float, held_s: float, reads_c: float, cone: str
) -> None:
    plan = replace(GLAZE, segments=(*GLAZE.segments[:-1], Segment(1200.0, 60.0, hold_s=HOUR)))
    log = fired(plan, reached_c, held_s)
    kiln = example_kiln()
    known = {"load": GLAZED, "kiln": kiln, "controller": CONTROLLER}
    found = resume(plan, *log, **known, reads_c=reads_c, ago_s=HOUR)  # type: ignore[arg-type]
    assert found.forecast is not None
    assert found.schedule is not None
    # Nothing holds glazed ware back at 1000 °C, so the kiln does: what is keyed in it can follow.
    back = found.forecast.segments[0]
    assert back.ramp_end_s - back.start_s < 1.15 * (
        (found.schedule.segments[0].target_c - reads_c)
        / (found.schedule.segments[0].rate_c_per_h or 1.0)
        * HOUR
    )
    # Log, cooling and rest as the kiln will fire it are together the plan's heat-work.
    times = np.append(log[0], log[0][-1] + HOUR)
    readings = np.append(log[1], reads_c)
    course = found.forecast.trace
    both = (
        np.concatenate((times, times[-1] + course.time_s[1:])),
        np.concatenate((readings, course.channel_c()[1:])),
    )
    whole = simulate(kiln, GLAZED, plan)
    wanted_x = heatwork(whole.time_s, whole.chamber_c, (cone,))[cone]
    assert heatwork(*both, (cone,))[cone] == pytest.approx(wanted_x, rel=0.03)
    assert found.wanted_x > 0.0


def test_a_firing_that_ran_to_its_end_is_not_heated_again_either() -> None:
    times, readings = fired(GLAZE, 1200.0, held_s=1800.0)
    cools_s = np.arange(60.0, 20.0 * HOUR, 60.0)
    cooled = np.interp(cools_s, (0.0, 20.0 * HOUR), (1200.0, 60.0))
    times = np.concatenate((times, times[-1] + cools_s))
    found = resume(GLAZE, times, np.concatenate((readings, cooled)))
    assert found.schedule is None
    assert any("do not heat again" in note for note in found.notes)


def test_the_rest_as_a_file_does_not_ask_for_the_cone_or_the_drying_again() -> None:
    # Cut off 40 °C short of the peak: log and rest meet the cone together, the rest alone may not.
    plan = replace(BISQUE, cone="06")
    found = resume(plan, *fired(plan, 960.0), reads_c=700.0, ago_s=2 * HOUR)
    assert found.schedule is not None
    assert found.schedule.cone is None
    assert "cone 06" in found.schedule.notes
    assert "does not know the log" in found.schedule.notes
    assert found.cone == "06"


def test_the_rest_as_a_file_says_what_the_ware_has_lost() -> None:
    # Dried, past the bound water, and cut off at 700 °C; it has cooled to 350 °C.
    damp = ware(18.0, "damp")
    slow = replace(
        BISQUE,
        segments=(Segment(90.0, 15.0, hold_s=40 * HOUR), *BISQUE.segments[1:]),
    )
    found = resume(slow, *fired(slow, 700.0), load=damp, reads_c=350.0, ago_s=6 * HOUR)
    assert found.schedule is not None
    assert found.state is not None
    again = parse_schedule(schedule_text(found.schedule))
    assert again.ware_done == found.schedule.ware_done
    assert again.ware_done is not None
    assert again.ware_done.bound_water_gone == pytest.approx(found.state.bound_water_gone, abs=1e-4)
    plan = forecast(again, load=damp)
    assert plan.assumed == ""
    assert [breach.message for breach in plan.breaches] == []
    assert repaired_design(again, damp).schedule.segments == again.segments
    # a pot twice as thick was not dried by it
    thick = ware(36.0, "damp")
    assert forecast(again, load=thick).breaches


def test_without_a_kiln_file_the_way_back_is_no_faster_than_the_default_kiln_climbs() -> None:
    # Glazed ware has no limit of its own above 600 °C, and a controller takes 600 °C/h and more.
    found = resume(GLAZE, *fired(GLAZE, 1040.0), load=GLAZED, reads_c=650.0, ago_s=HOUR)
    assert found.schedule is not None
    back = found.schedule.segments[0]
    assert back.rate_c_per_h is not None
    # ``full-power-default``: 168 °C/h at 1000 °C, and slower above.
    assert 100.0 < back.rate_c_per_h < 168.0
    assert "kiln" in found.reasons[0].sentences[0]


def test_the_rest_is_in_the_unit_of_the_controller() -> None:
    keyed = Controller(unit="F")
    found = resume(BISQUE, *fired(BISQUE, 780.0), reads_c=560.0, ago_s=2 * HOUR, controller=keyed)
    assert found.schedule is not None
    assert found.schedule.unit == "F"
    for segment in found.schedule.segments:
        # °F is 1.8 °C + 32, by definition; a controller takes whole degrees
        assert (segment.target_c * 1.8 + 32.0) % 1.0 == pytest.approx(0.0, abs=1e-6)
    # the plan's peak, to half a degree Fahrenheit
    assert found.schedule.peak_c == pytest.approx(BISQUE.peak_c, abs=0.5 / 1.8)
    assert "1436 °F" in found.notes[0]  # 780 °C


def test_a_log_that_ended_long_ago_asks_what_the_kiln_reads() -> None:
    began = datetime(2026, 3, 14, 7, 30, tzinfo=UTC)
    times, readings = fired(BISQUE, 780.0)
    ended = began + timedelta(seconds=float(times[-1]))

    def told(minutes: float, reads_c: float | None = None, ago_s: float = 0.0) -> Resumption:
        clock = ended + timedelta(minutes=minutes)
        return resume(
            BISQUE, times, readings, started=began, clock=clock, reads_c=reads_c, ago_s=ago_s
        )

    late, soon = told(31.0), told(29.0)
    said = f"780 °C was the last reading, on {ended:%a} {ended.day} Mar at {ended:%H:%M}; "
    assert late.notes[0] == said + "the kiln has cooled since: give --reads and --ago."
    assert "stands at" not in " ".join(late.notes)
    assert (late.cooled_since, late.started) == (True, None)
    assert (soon.cooled_since, soon.started) == (False, ended)
    assert "last reading" not in " ".join(soon.notes)
    read = told(120.0, reads_c=560.0, ago_s=2 * HOUR)
    assert "last reading" not in " ".join(read.notes)
