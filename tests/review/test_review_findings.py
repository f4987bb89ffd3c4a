"""Findings: what is found where it is, and nothing where nothing is."""

from dataclasses import replace
from datetime import date
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from logmaker import BISQUE, GLAZE, Faults, PlanStep, Sampling, fire, sample, write_csv
from review.made_firings import as_schedule, finding, made_log

from firing.files.kinds import ready_text
from firing.forecast.forecast import forecast
from firing.kiln.file import parse_kiln
from firing.logs.reader import Log, read_log
from firing.review.result import Review
from firing.review.review import review
from firing.schedule.schedule import Purpose

PLANS: dict[str, tuple[PlanStep, ...]] = {"bisque": BISQUE, "glaze": GLAZE}


def written_log(folder: Path, time_s: np.ndarray, temperature_c: np.ndarray) -> Log:
    path = folder / "log.csv"
    rows = [f"{t:.0f},{c:.2f}" for t, c in zip(time_s, temperature_c, strict=True)]
    path.write_text("time_s,Kiln (°C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return read_log(path)


def check_findings(result: Review) -> None:
    """Every finding has evidence or a plain fact, words for its confidence, one thing to do."""
    order = ["act", "check", "note"]
    severities = [order.index(f.severity) for f in result.findings]
    assert severities == sorted(severities)
    assert all(f.next_step and f.message for f in result.findings)
    assert {f.confidence for f in result.findings} <= {"sure", "likely", "possible"}
    wrong = any(f.severity != "note" for f in result.findings)
    assert (result.findings[0].id == "nothing_wrong") == (not wrong)


@pytest.mark.parametrize("plan", ["bisque", "glaze"])
@pytest.mark.parametrize("with_kiln", [False, True])
def test_nothing_is_wrong_where_nothing_is(tmp_path: Path, plan: str, with_kiln: bool) -> None:
    kiln = parse_kiln(ready_text("example-kiln")) if with_kiln else None
    result = review(as_schedule(PLANS[plan]), made_log(tmp_path, PLANS[plan]), kiln=kiln)
    check_findings(result)
    assert not result.needs_action
    assert result.findings[0].id == "nothing_wrong"


def test_a_propped_lid_is_found_where_it_was_propped(
    tmp_path: Path, subtests: pytest.Subtests
) -> None:
    for plan, interval_s, at_c in product(["bisque", "glaze"], [10.0, 60.0, 300.0], [500.0, 250.0]):
        with subtests.test(f"{plan}, {at_c} °C, every {interval_s} s"):
            sampling = Sampling(interval_s=interval_s, step_c=1.0)
            log = made_log(
                tmp_path, PLANS[plan], faults=Faults(lid_propped_at_c=at_c), sampling=sampling
            )
            result = review(as_schedule(PLANS[plan]), log)
            check_findings(result)
            lid = finding(result, "lid_opened")
            assert lid is not None
            assert result.quickening is not None
            assert result.quickening.at_c == pytest.approx(at_c, abs=15.0)
            assert lid.severity == ("check" if at_c > 300.0 else "note")
            # Truth: faulty less healthy twin, over the span that the review compares.
            healthy = fire(PLANS[plan])
            faulty = fire(PLANS[plan], faults=Faults(lid_propped_at_c=at_c))
            assert healthy.program_end_s is not None
            assert faulty.program_end_s is not None
            truth_s = (faulty.time_s[-1] - faulty.program_end_s) - (
                healthy.time_s[-1] - healthy.program_end_s
            )
            assert result.cooling is not None
            (share,) = result.cooling.causes
            assert share.cause == "fast_cooling"
            assert share.seconds == pytest.approx(truth_s, rel=0.3)


def test_a_kiln_that_only_cools_is_never_said_to_be_opened(tmp_path: Path) -> None:
    for number, faults in enumerate((Faults(vent_on=True), Faults(load_factor=1.6))):
        log = made_log(tmp_path, GLAZE, faults=faults, name=f"{number}.csv")
        assert finding(review(as_schedule(GLAZE), log), "lid_opened") is None


def test_a_leaking_kiln_cools_faster_than_its_model(tmp_path: Path) -> None:
    described = parse_kiln(ready_text("example-kiln"))
    learnt = replace(described, fitted=replace(described.fitted, learnt=date(2025, 3, 1)))
    log = made_log(tmp_path, GLAZE, faults=Faults(vent_on=True, load_factor=0.45))
    # Of a kiln nobody has seen cool, it is no more than worth knowing.
    unsure = finding(review(as_schedule(GLAZE), log, kiln=described), "vent_or_leak")
    assert unsure is not None
    assert unsure.severity == "note"
    result = review(as_schedule(GLAZE), log, kiln=learnt)
    leak = finding(result, "vent_or_leak")
    assert leak is not None
    assert leak.severity == "check"
    assert "can't show which" in leak.message
    assert result.cooling is not None
    assert result.cooling.basis == "kiln"
    # The usual stretch is the forecast's own: two commands tell one range.
    foretold = forecast(as_schedule(GLAZE), kiln=learnt)
    assert result.cooling.usual_share == pytest.approx(foretold.cooling_range, abs=0.01)


def test_swapped_leads_only_fall_while_the_kiln_heats(tmp_path: Path) -> None:
    # Type K reversed: −30 °C at about 80 °C, and falling on (NIST reference functions).
    time_s = np.arange(0.0, 4 * 3600.0, 60.0)
    log = written_log(tmp_path, time_s, 20.0 - 50.0 * time_s / 3600.0)
    result = review(as_schedule(BISQUE), log)
    assert result.findings[0].id == "leads_reversed"
    assert result.findings[0].severity == "act"
    assert result.findings[0].confidence == "sure"
    check_findings(result)


def test_a_log_of_a_cooling_kiln_is_not_one_of_swapped_leads(tmp_path: Path) -> None:
    time_s = np.arange(0.0, 12 * 3600.0, 120.0)
    log = written_log(tmp_path, time_s, 20.0 + 600.0 * np.exp(-time_s / 18000.0))
    assert finding(review(as_schedule(BISQUE), log), "leads_reversed") is None


def test_readings_that_begin_near_freezing_are_asked_about(tmp_path: Path) -> None:
    log = made_log(tmp_path, BISQUE, faults=Faults(thermocouple_offset_c=-20.0))
    low = finding(review(as_schedule(BISQUE), log), "thermocouple_low")
    assert low is not None
    assert (low.severity, low.confidence) == ("check", "possible")
    assert "20 °C too low" in low.message


def test_a_clock_run_controller_that_misses_the_peak(tmp_path: Path) -> None:
    log = made_log(tmp_path, GLAZE, waits=False, faults=Faults(dead_banks=1))
    result = review(as_schedule(GLAZE), log)
    missed = finding(result, "peak_missed")
    assert missed is not None
    assert missed.severity == "act"
    assert "ran by the clock" in missed.message
    assert result.excess_s == pytest.approx(0.0, abs=900.0)
    check_findings(result)


def test_celsius_read_as_fahrenheit_is_asked_about(tmp_path: Path) -> None:
    made = sample(fire(BISQUE), Sampling(interval_s=60.0))
    path = write_csv(made, tmp_path / "log.csv")
    result = review(as_schedule(BISQUE), read_log(path, unit="F"))
    asked = finding(result, "maybe_celsius")
    assert asked is not None
    assert "--unit C" in asked.next_step
    assert finding(review(as_schedule(BISQUE), read_log(path)), "maybe_celsius") is None


def test_uneven_channels_in_degrees_and_cones(tmp_path: Path) -> None:
    sampling = Sampling(
        interval_s=60.0, extra_channels={"top": 12.0, "bottom": -18.0, "flue": -700.0}
    )
    result = review(as_schedule(GLAZE), made_log(tmp_path, GLAZE, sampling=sampling))
    assert result.heat is not None
    found = result.heat.unevenness
    assert found is not None
    # The maker's channels are apart in proportion: 30 °C at 1000 °C, so 30·1200/980 near 1220.
    assert found.at_peak_c == pytest.approx(30.0 * 1202.0 / 980.0, abs=2.0)
    assert found.last_hour_c == pytest.approx(36.0, abs=3.0)
    assert (found.hottest, found.coldest) == ("Top", "Bottom")
    assert found.elsewhere == ("Flue",)
    assert found.cones is not None
    assert found.cones > 1.0
    uneven = finding(result, "uneven")
    assert uneven is not None
    assert uneven.confidence == "likely"


def test_cooling_rates_time_in_the_heat_and_sensor_hours(tmp_path: Path) -> None:
    # 250 °C/h up to 1100 °C, one hour there, then down at exactly 80 °C/h.
    edges_h = np.array([0.0, 4.32, 5.32, 5.32 + 1040.0 / 80.0])
    time_s = np.arange(0.0, edges_h[-1] * 3600.0, 30.0)
    log = written_log(tmp_path, time_s, np.interp(time_s / 3600.0, edges_h, [20, 1100, 1100, 60]))
    plan: tuple[PlanStep, ...] = ((250.0, 1100.0, 3600.0), (80.0, 60.0, 0.0))
    result = review(as_schedule(plan), log, kiln=parse_kiln(ready_text("example-kiln")))
    heat = result.heat
    assert heat is not None
    for part in heat.through:
        assert part.rate_c_per_h["Kiln"] == pytest.approx(80.0, abs=0.5)
    # 100 °C at 250 °C/h, an hour, 100 °C at 80 °C/h
    assert heat.time_above_1000_s == pytest.approx((0.4 + 1.0 + 1.25) * 3600.0, abs=60.0)
    hours = heat.exposures["Kiln"].hours
    assert hours[0] == pytest.approx(0.8 + 1.0 + 2.5, abs=0.05)
    assert hours[2] == 0.0
    told = finding(result, "sensor_hours")
    assert told is not None
    assert "usually reads high" in told.message


def test_lost_readings_are_told_with_their_share(tmp_path: Path) -> None:
    made = sample(fire(BISQUE), Sampling(interval_s=60.0))
    temperature_c = made.temperature_c[:, 0].copy()
    temperature_c[200:300] = np.nan
    result = review(as_schedule(BISQUE), written_log(tmp_path, made.time_s, temperature_c))
    lost = finding(result, "readings_lost")
    assert lost is not None
    assert lost.message.startswith(f"{100 * 100 / temperature_c.size:.0f} %")


OTHERS: dict[str, tuple[PlanStep, ...]] = {
    "decal": ((150.0, 780.0, 900.0),),
    "slow, held": ((100.0, 640.0, 3600.0),),
    "drying": ((30.0, 110.0, 7200.0),),
}


@pytest.mark.parametrize("plan", ["bisque", "glaze"])
@pytest.mark.parametrize("other", list(OTHERS))
def test_a_log_of_another_firing_is_not_compared(tmp_path: Path, plan: str, other: str) -> None:
    result = review(as_schedule(PLANS[plan]), made_log(tmp_path, OTHERS[other]))
    unrelated = finding(result, "plan_unrelated")
    assert unrelated is not None
    assert unrelated.severity == "act"
    assert "this log never went above" in unrelated.message
    assert "segment ends at" in unrelated.message
    data = result.to_dict()
    assert data["segments"] is None
    assert data["causes"] == []
    assert data["actual_s"] is None
    assert data["excess_s"] is None
    assert data["cones"]["by_channel"]
    assert data["heatwork"]["cooling_through"]
    check_findings(result)


def test_a_hotter_firing_than_the_plan_is_another_one_too(tmp_path: Path) -> None:
    result = review(as_schedule(BISQUE), made_log(tmp_path, GLAZE))
    unrelated = finding(result, "plan_unrelated")
    assert unrelated is not None
    assert "the plan's highest target is 900 °C" in unrelated.message
    assert result.cones.reached_number is not None
    assert result.cones.reached_number > 5.0


def test_a_firing_that_was_stopped_is_still_one_of_its_plan(
    tmp_path: Path, subtests: pytest.Subtests
) -> None:
    for plan, stop_c, power in product(
        ["bisque", "glaze"], [250.0, 450.0, 640.0, 780.0], [1.0, 0.6]
    ):
        with subtests.test(f"{plan}, {stop_c} °C, power {power}"):
            faults = Faults(stop_at_c=stop_c, power_factor=power)
            result = review(
                as_schedule(PLANS[plan]), made_log(tmp_path, PLANS[plan], faults=faults)
            )
            assert not result.refused
            assert finding(result, "stopped_early") is not None


@pytest.mark.parametrize("waits", [True, False])
def test_a_kiln_too_weak_for_its_plan_is_still_one_of_it(tmp_path: Path, waits: bool) -> None:
    faults = Faults(dead_banks=2, dead_from_c=300.0)
    result = review(as_schedule(GLAZE), made_log(tmp_path, GLAZE, waits=waits, faults=faults))
    assert not result.refused


def test_a_mistyped_target_is_still_the_plan(tmp_path: Path) -> None:
    keyed = tuple((rate, 690.0 if t == 900.0 else t, h) for rate, t, h in BISQUE)
    result = review(as_schedule(BISQUE), made_log(tmp_path, BISQUE, faults=Faults(keyed_in=keyed)))
    assert not result.refused
    assert result.needs_action


def test_a_kiln_that_was_never_lit(tmp_path: Path) -> None:
    time_s = np.arange(0.0, 20 * 3600.0, 120.0)
    log = written_log(tmp_path, time_s, 20.0 + 2.0 * np.sin(time_s / 9000.0))
    result = review(as_schedule(BISQUE), log)
    assert finding(result, "plan_unrelated") is not None


def test_a_hold_too_long_says_what_it_did_to_the_cone(tmp_path: Path) -> None:
    # Twice as hot at one temperature is one doubling of the heat-work; an hour for a quarter of one
    # is far more than half a cone at cone 7, whose neighbours lie 18 °C apart (cone-chart-1996).
    keyed = tuple((r, t, 3600.0 if h == 900.0 else h) for r, t, h in GLAZE)
    log = made_log(tmp_path, GLAZE, faults=Faults(keyed_in=keyed))
    result = review(as_schedule(GLAZE), log)
    told = finding(result, "hold_effect")
    assert told is not None
    assert "hotter" in told.message
    planned = result.cones_planned.reached_number
    assert planned is not None
    back = float(told.message.split("come to cone ")[1].split(".")[0] + ".0")
    assert back == pytest.approx(planned, abs=1.0)
    again = finding(result, "refire")
    assert again is not None
    assert "takes no heat-work back" in again.message


def test_a_bisque_fired_too_hot_is_not_searched_for_glaze_that_ran(tmp_path: Path) -> None:
    keyed = tuple((r, t, 4.0 * 3600.0 if t == BISQUE[-1][1] else h) for r, t, h in BISQUE)
    log = made_log(tmp_path, BISQUE, faults=Faults(keyed_in=keyed))
    purposes: tuple[Purpose, ...] = ("bisque", "glaze")
    for purpose in purposes:
        again = finding(review(replace(as_schedule(BISQUE), purpose=purpose), log), "refire")
        assert again is not None
        assert "bloating" in again.next_step
        assert ("glaze that ran" in again.next_step) == (purpose == "glaze")


def test_a_firing_stopped_short_says_that_firing_again_is_worth_it(tmp_path: Path) -> None:
    log = made_log(tmp_path, GLAZE, faults=Faults(stop_at_c=1150.0))
    again = finding(review(as_schedule(GLAZE), log), "refire")
    assert again is not None
    assert "worth it" in again.message
    assert "From cold" in again.next_step
    assert finding(review(as_schedule(GLAZE), made_log(tmp_path, GLAZE)), "refire") is None


@pytest.mark.parametrize("evens_out", [True, False])
def test_a_spread_over_the_hold_says_what_more_hold_would_do(
    tmp_path: Path, evens_out: bool
) -> None:
    # Straight to 1200 °C at 100 °C/h, two hours there.  The shelf is 40 °C behind, and what is left
    # of that halves every hour: 20 °C an hour into it, 10 °C after two, by algebra.
    up_s = 11.8 * 3600.0
    time_s = np.arange(0.0, up_s + 1.5 * 3600.0 + 1.0, 60.0)
    kiln = np.minimum(20.0 + time_s / 36.0, 1200.0)
    halved = 0.5 ** (np.maximum(time_s - up_s, 0.0) / 3600.0) if evens_out else 1.0
    shelf = kiln - 40.0 * halved * np.minimum(time_s / up_s, 1.0)
    rows = [f"{t:.0f},{a:.2f},{b:.2f}" for t, a, b in zip(time_s, kiln, shelf, strict=True)]
    path = tmp_path / "two.csv"
    path.write_text("time_s,Kiln (°C),Shelf (°C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    plan: tuple[PlanStep, ...] = ((100.0, 1200.0, 5400.0),)
    told = finding(review(as_schedule(plan), read_log(path)), "uneven")
    assert told is not None
    if not evens_out:
        assert "a longer hold would not even it out" in told.message
        return
    assert "shrank from" in told.message
    # 40 °C to 10 °C is two hours; an hour and a half are held.
    minutes = int(told.message.split("about ")[1].split(" min")[0])
    assert minutes == pytest.approx(30, abs=8)
