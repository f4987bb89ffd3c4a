"""Forecasts with a kiln file: what limits it, whether it gets there, energy, cost, the ware."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from commandline import call
from firing.tui.key_figures import summary_lines

from firing.clock import parse_awake
from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.forecast.forecast import forecast
from firing.forecast.in_kiln import with_tariff
from firing.kiln.file import parse_kiln
from firing.kiln.tariff_file import parse_tariff
from firing.report.forecast import forecast_answer
from firing.schedule.file import parse_schedule
from firing.schedule.schedule import Schedule, Segment
from firing.ware.file import parse_load
from firing.ware.load import Load, Piece

KILN = parse_kiln(ready_text("example-kiln"))
CUPS = parse_load(ready_text("example-load-thin-cups"))
GLAZED = parse_load(ready_text("example-load-glazed-cups"))
GLAZE = parse_schedule(ready_text("mid-range-glaze-cone-6-hold"))
START = datetime(2026, 11, 27, 20, 0, tzinfo=UTC)


def test_a_kiln_that_can_follow_takes_the_programs_own_time() -> None:
    plain = forecast(GLAZE)
    result = forecast(GLAZE, kiln=KILN, load=GLAZED)
    assert result.kiln is not None
    assert result.kiln.reaches_peak
    assert result.peak_c == GLAZE.peak_c
    assert result.program_s == pytest.approx(plain.program_s, rel=0.02)
    assert [s.planned_s for s in result.segments] == [
        pytest.approx(s.planned_s) for s in plain.segments
    ]


def test_a_weak_kiln_is_short_of_power_and_stalls_and_says_so() -> None:
    weak = replace(KILN, power_w=5000.0)
    result = forecast(GLAZE, kiln=weak, load=GLAZED)
    assert result.needs_action
    document = result.to_dict()
    assert document["reaches_peak"] is False
    assert document["highest_c"] < 1200.0
    assert any(s["limited_by"] == "power" for s in document["segments"])
    (warning,) = [w for w in result.warnings if w.id == "peak_out_of_reach"]
    assert "stalls at" in warning.message
    assert not result.segments[-1].ends


def test_a_kiln_that_may_stall_is_never_foretold_to_be_cold_early() -> None:
    """What gives up on its way never cools; its end is no early opening."""
    tired = replace(KILN, power_w=6400.0)
    result = forecast(GLAZE, kiln=tired, load=GLAZED)
    assert result.kiln is not None
    ranges = result.kiln.ranges
    assert not result.kiln.stalled
    assert ranges.may_stall
    # The kiln only described cools 0.7 to 1.4 times as long at most, from the peak it comes to.
    assert 0.7 < ranges.cooling.low < 1.0 < ranges.cooling.high < 1.4
    assert ranges.total_s.low > ranges.heating_s.low + 0.7 * (result.total_s - result.program_s)
    # What heats longer opens later.
    later_s = ranges.heating_s.high - result.heating_s
    assert ranges.total_s.high - result.total_s >= 0.99 * later_s


def test_cooling_by_itself_is_as_uncertain_in_the_program_as_after_it() -> None:
    bisque = parse_schedule(ready_text("thin-ware-bisque"))
    off = replace(bisque, segments=(*bisque.segments, Segment(60.0, None, "off")))
    after, inside = (forecast(plan, kiln=KILN) for plan in (bisque, off))
    assert inside.total_s == inside.program_s
    assert inside.total_s == pytest.approx(after.total_s, rel=0.002)
    assert inside.total_low_s == pytest.approx(after.total_low_s, rel=0.005)
    assert inside.total_high_s == pytest.approx(after.total_high_s, rel=0.005)
    assert "80 %), already below" in " ".join(forecast_answer(inside))


def levels(text: str) -> list[str]:
    """Every statement of what ranges hold, however its spaces and lines are broken."""
    return re.findall(r"80 %", " ".join(text.split()))


def test_every_document_says_once_what_its_ranges_hold(tmp_path: Path) -> None:
    plan = "mid-range-glaze-cone-6-hold"
    kiln, load = ("--kiln", "example-kiln"), ("--load", "example-load-glazed-cups")
    page = ("--html", str(tmp_path / "page.html"), "--start", "2026-11-27 20:00")
    minutes = [f"{i},{20.0 + 2.2 * min(i, 400) - 3.0 * max(i - 400, 0):.1f}" for i in range(440)]
    (tmp_path / "log.csv").write_text("\n".join(["minutes,kiln C", *minutes]), encoding="utf-8")
    for command in (
        ("forecast", plan, *kiln, *load, "--tariff", "example-tariff", *page),
        ("card", plan, *kiln, "--controller", "example-controller"),
        ("resume", plan, "log.csv", *kiln, *load),
        ("design", "glaze", *kiln, *load, "--top", "1200"),
    ):
        said = call(tmp_path, *command)
        assert len(levels(said.stdout)) == 1, (command, said.stdout, said.stderr)
    shown = re.sub(r"(?s)<(script|style).*?</\1>|<[^>]*>", " ", Path(page[1]).read_text("utf-8"))
    assert len(levels(shown.replace("\xa0", " "))) == 1
    # Nobody knows how often a kiln that was not given keeps to a range.
    assert not levels(call(tmp_path, "forecast", plan).stdout)


def test_the_screens_panel_says_once_what_its_ranges_hold() -> None:
    result = forecast(GLAZE, kiln=KILN, load=GLAZED, started=START)
    for width in (80, 100, 160):
        assert len(levels(" ".join(summary_lines(result, width)))) == 1
    assert not levels(" ".join(summary_lines(forecast(GLAZE), 80)))


def test_a_clock_that_does_not_wait_moves_on_before_the_kiln_is_there() -> None:
    tired = replace(KILN, power_w=6000.0)
    by_clock = forecast(GLAZE, kiln=tired, load=GLAZED, waits=False)
    waiting = forecast(GLAZE, kiln=tired, load=GLAZED)
    assert by_clock.kiln is not None
    assert not by_clock.kiln.reaches_peak
    assert by_clock.program_s < waiting.program_s


def test_a_plan_above_the_kilns_maximum_is_to_be_acted_on() -> None:
    low = replace(KILN, max_c=1100.0)
    result = forecast(GLAZE, kiln=low, load=GLAZED)
    assert "above_kiln_maximum" in {w.id for w in result.warnings if w.severity == "act"}


def test_unlimited_and_off_segments_come_from_the_model() -> None:
    schedule = Schedule("t", (Segment(900.0, None, "unlimited"), Segment(600.0, None, "off")))
    result = forecast(schedule, kiln=KILN, load=CUPS)
    assert "by the kiln model" in result.planned_basis
    assert [s.limited_by for s in result.segments] == ["power", "cooling"]
    assert all(s.planned_s == pytest.approx(s.forecast_s) for s in result.segments)


def test_the_fastest_rates_fall_as_the_kiln_gets_hotter() -> None:
    rates = forecast(GLAZE, kiln=KILN, load=GLAZED).to_dict()["max_rate_c_per_h"]
    hot = [rate for at_c, rate in rates if at_c >= 700.0]
    assert len(hot) > 5
    assert hot == sorted(hot, reverse=True)


def test_cost_is_energy_times_price_where_one_price_holds() -> None:
    tariff = parse_tariff('currency = "EUR"\n[[period]]\nprice_per_kwh = 0.25\n')
    result = with_tariff(forecast(GLAZE, kiln=KILN, load=GLAZED, started=START), tariff, None, None)
    document = result.to_dict()
    assert document["cost"] == pytest.approx(0.25 * document["energy_kwh"], rel=1e-6)
    assert document["currency"] == "EUR"
    assert 0 < document["mean_amps"] < document["peak_amps"] <= 9600.0 / 240.0 + 1e-9


def test_waking_hours_put_the_whole_peak_into_them() -> None:
    result = with_tariff(
        forecast(GLAZE, kiln=KILN, load=GLAZED, started=START), None, None, "07:00-22:00"
    )
    assert result.kiln is not None
    stretches = result.kiln.starts.awake
    assert stretches
    peak = result.segments[GLAZE.peak_index]
    for first, last in stretches:
        for moment in (datetime.fromisoformat(first), datetime.fromisoformat(last)):
            for at_s in (peak.ramp_end_s, peak.end_s):
                hour = (moment.hour * 3600 + moment.minute * 60 + at_s) % 86400 / 3600
                assert 7.0 <= hour <= 22.0


def test_waking_hours_have_what_is_done_by_hand_too() -> None:
    # Eight hours at 60 °C/h and a hold from there: the bungs are due about 10 h before the peak.
    steps = (
        Segment(500.0, 60.0, name="bungs", action="close the bungs"),
        Segment(1000.0, 50.0, hold_s=600.0, action="look at the cone"),
    )
    plan = Schedule("two things to do", steps, "bisque")
    course = forecast(plan, kiln=KILN, started=START)
    assert course.segments[1].end_s - course.segments[0].end_s > 10 * 3600.0

    def starts(awake: str) -> tuple[list[float], tuple[str, ...]]:
        result = with_tariff(course, None, None, awake)
        assert result.kiln is not None
        assert result.kiln.starts.awake
        first = [datetime.fromisoformat(a) for a, _ in result.kiln.starts.awake]
        at_s = [m.hour * 3600 + m.minute * 60 + course.segments[0].end_s for m in first]
        return [s % 86400 / 3600 for s in at_s], result.kiln.starts.asleep

    hours, asleep = starts("07:00-22:00")
    assert all(7.0 <= hour <= 22.0 for hour in hours)
    assert asleep == ()
    # Up for nine hours, nobody can do both.
    _, asleep = starts("10:00-19:00")
    assert asleep == ("close the bungs",)


def test_prices_without_a_kiln_and_hours_that_are_none_are_refused() -> None:
    with pytest.raises(FiringError, match="need a kiln"):
        with_tariff(forecast(GLAZE), None, None, "07:00-22:00")
    for text in ("7-22", "25:00-26:00", "07:00", ""):
        with pytest.raises(FiringError, match="span of the day"):
            parse_awake(text)


def test_the_ware_lags_the_thermocouple_and_never_exceeds_it_by_much() -> None:
    result = forecast(GLAZE, kiln=KILN, load=GLAZED)
    assert result.kiln is not None
    by_ware, by_air = result.kiln.ware_cones.reached_number, result.cones.reached_number
    assert by_ware is not None
    assert by_air is not None
    assert by_ware == pytest.approx(by_air, abs=0.5)


def test_witness_cones_offset_the_verdict() -> None:
    plain = forecast(GLAZE, kiln=KILN, load=GLAZED).cones.reached_number
    offset = replace(KILN, fitted=replace(KILN.fitted, cone_offset_c=15.0))
    moved = forecast(GLAZE, kiln=offset, load=GLAZED).cones.reached_number
    assert plain is not None
    assert moved is not None
    assert moved > plain + 0.5


def test_a_load_alone_has_the_schedule_checked_for_the_ware() -> None:
    fast = Schedule("t", (Segment(900.0, 400.0),), "bisque")
    result = forecast(fast, load=CUPS)
    assert result.needs_action
    assert {w.id for w in result.warnings if w.severity == "act"} == {"ware_limit"}
    assert all(breach.source for breach in result.breaches)


def test_the_core_of_the_thickest_piece_lags_as_a_slab_does() -> None:
    # The middle of a slab whose faces rise at R lags them by R·L²/2κ (``slab-ramp``).  30 mm heated
    # from both faces are L = 15 mm; at 200 °C/h that is 15.6 K at 4e-7 m²/s, and 17.1 K with the
    # specific heat of 800 °C, 1206 J/kgK, instead of the mean of 1100.
    slab = Load((Piece("slab", 12, 30.0, 2.0),), "bisqued", furniture_kg=10.0)
    ramp = Schedule("ramp", (Segment(700.0, 200.0), Segment(700.0, 200.0, hold_s=4 * 3600.0)))
    result = forecast(ramp, kiln=KILN, load=slab, started=START)
    assert result.core is not None
    assert result.kiln is not None
    assert result.core.started == START
    assert np.array_equal(result.core.time_s, result.trace.time_s)
    face_c, core_c = result.kiln.run.ware_c, result.core.channel_c()
    at_600 = int(np.argmax(face_c >= 600.0))
    assert face_c[at_600] - core_c[at_600] == pytest.approx(16.5, rel=0.15)
    # Soaked, face and middle agree.
    soaked = int(np.argmin(np.abs(result.trace.time_s - result.program_s)))
    assert core_c[soaked] == pytest.approx(700.0, abs=1.5)


def test_how_far_the_core_is_behind_is_told_and_only_where_it_is_known() -> None:
    result = forecast(GLAZE, kiln=KILN, load=GLAZED)
    document = result.to_dict()
    assert result.core is not None
    at = int(np.argmin(np.abs(result.trace.time_s - document["core_lag_at_s"])))
    behind_k = result.trace.channel_c() - result.core.channel_c()
    assert behind_k[at] == document["core_lag_k"] == behind_k.max()
    for unknown in (forecast(GLAZE), forecast(GLAZE, load=GLAZED), forecast(GLAZE, kiln=KILN)):
        assert unknown.core is None
        assert unknown.to_dict()["core_lag_k"] is None


def test_no_hold_is_advised_at_a_peak_the_kiln_does_not_get_to() -> None:
    weak = replace(KILN, power_w=5500.0)
    result = forecast(GLAZE, kiln=weak, load=GLAZED, target_cone="6")
    (warning,) = [w for w in result.warnings if w.id == "cone_off_target"]
    assert "does not get to 1200 °C" in warning.message
    assert "would meet it" not in warning.message


def test_a_fahrenheit_plan_is_spoken_to_in_fahrenheit() -> None:
    in_f = replace(GLAZE, unit="F")
    weak = replace(KILN, power_w=5500.0)
    for result in (
        forecast(in_f, kiln=weak, load=GLAZED, target_cone="6"),
        forecast(in_f, target_cone="04"),
    ):
        notes = result.cones.notes_in("F")
        words = " ".join([*(w.message for w in result.warnings), *notes])
        assert "°F" in words
        assert "°C" not in words
    # The maker's tolerance of a cone, ±2 °C, is ±3.6 °F; the chart's slowest 15 °C/h are 27 °F/h.
    assert "the cone ±3.6 °F" in " ".join(notes)
    slow = replace(in_f, segments=(Segment(1200.0, 8.0),))
    assert any("27 °F/h" in w.message for w in forecast(slow).warnings)


def test_a_controllers_file_says_whether_its_clock_waits(tmp_path: Path) -> None:
    goes_on = ready_text("example-controller")
    goes_on = "\n".join(line for line in goes_on.splitlines() if not line.startswith("waits"))
    (tmp_path / "controller.toml").write_text(f"{goes_on}\nwaits = false\n", encoding="utf-8")
    plan = ("forecast", "stoneware-glaze-1240", "--kiln", "example-kiln", "--json")
    keyed = call(tmp_path, *plan, "--controller", "controller.toml")
    assert keyed.stdout == call(tmp_path, *plan, "--by-the-clock").stdout
    waits = call(tmp_path, *plan, "--controller", "example-controller")
    assert waits.stdout == call(tmp_path, *plan).stdout
    assert waits.stdout != keyed.stdout
