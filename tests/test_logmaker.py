"""Sanity of the log maker: it must be a plausible kiln before it may judge anything.

Figures marked *plausibility* are those of a trial model of such a kiln (180 L, 75 mm of insulating
brick, 9.5 kW, 35 kg ware and 28 kg furniture) and are met within wide bands on purpose: the log
maker is an independent instrument, not a copy.
"""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from logmaker import (
    BISQUE,
    GLAZE,
    STYLES,
    Controller,
    CsvStyle,
    Faults,
    Firing,
    PlanStep,
    Sampling,
    fire,
    sample,
    write_csv,
)

FLAT_OUT: tuple[PlanStep, ...] = ((None, 1240.0, 0.0),)


def rate_at(firing: Firing, celsius: float, *, heating: bool) -> float:
    """°C/h of the reading where it passes `celsius`, on the way up or down."""
    top = int(np.argmax(firing.reading_c))
    part = slice(0, top + 1) if heating else slice(top, None)
    reading = firing.reading_c[part]
    slope = np.gradient(reading, firing.time_s[part]) * 3600.0
    return float(slope[np.argmin(np.abs(reading - celsius))])


@pytest.fixture(scope="module")
def flat_out() -> Firing:
    return fire(FLAT_OUT)


def test_flat_out_time_and_energy_are_plausible(flat_out: Firing) -> None:
    # plausibility: 5-6 h to 1240 °C, 56 kWh for a glaze firing
    end_s = flat_out.boundaries[0].ramp_end_s
    assert end_s is not None
    assert 5.0 <= end_s / 3600.0 <= 6.0
    kwh = np.sum(flat_out.power_w[1:] * np.diff(flat_out.time_s)) / 3.6e6
    assert 45.0 <= kwh <= 60.0


@pytest.mark.parametrize(("celsius", "loss_w"), [(900.0, 3750.0), (1240.0, 5900.0)])
def test_steady_losses_are_plausible(celsius: float, loss_w: float) -> None:
    firing = fire([(None, celsius, 15 * 3600.0)], cool_to_c=celsius - 20.0)
    end_s = firing.boundaries[0].hold_end_s
    assert end_s is not None
    last = int(np.searchsorted(firing.time_s, end_s)) - 2
    assert firing.loss_w[last] == pytest.approx(loss_w, rel=0.1)
    assert firing.power_w[last] == pytest.approx(firing.loss_w[last], rel=0.01)


@pytest.mark.parametrize(("celsius", "c_per_h"), [(1200, 247), (900, 137), (600, 82), (300, 36)])
def test_natural_cooling_is_plausible(flat_out: Firing, celsius: float, c_per_h: float) -> None:
    assert -rate_at(flat_out, celsius, heating=False) == pytest.approx(c_per_h, rel=0.2)


# plausibility: change of the full-power rate at 300, 700 and 1150 °C and of cooling at 600, in %
SIGNATURES = {
    "elements +10 %": (Faults(power_factor=1 / 1.1), (-9, -13, -21, 0)),
    "supply -5 %": (Faults(dip_volts=0.95, dip_length_s=1e6), (-10, -14, -23, 0)),
    "bank dead": (Faults(dead_banks=1), (-35, -47, -79, 0)),
    "vent": (Faults(vent_on=True), (-3, -8, -21, 18)),
    "load": (Faults(load_factor=1.5), (-25, -26, -25, -26)),
}


@pytest.mark.parametrize("name", SIGNATURES)
def test_faults_leave_the_signatures_of_a_kiln(name: str) -> None:
    faults, expected = SIGNATURES[name]
    plan = [(None, 1200.0, 0.0)]
    healthy, faulty = fire(plan), fire(plan, faults=faults)
    changes = [
        100 * (rate_at(faulty, c, heating=up) / rate_at(healthy, c, heating=up) - 1)
        for c, up in ((300, True), (700, True), (1150, True), (600, False))
    ]
    assert changes == pytest.approx(expected, abs=8)


@pytest.mark.parametrize("plan", [BISQUE, GLAZE])
def test_energy_is_conserved(plan: tuple[PlanStep, ...]) -> None:
    firing = fire(plan)
    spent = np.sum((firing.power_w - firing.loss_w)[1:] * np.diff(firing.time_s))
    turnover = np.sum(firing.power_w[1:] * np.diff(firing.time_s))
    assert spent == pytest.approx(firing.stored_j, abs=1e-6 * turnover)


@pytest.mark.parametrize("waits", [True, False])
@pytest.mark.parametrize("plan", [BISQUE, GLAZE])
def test_a_healthy_firing_keeps_its_program(plan: tuple[PlanStep, ...], waits: bool) -> None:
    firing = fire(plan, controller=Controller(waits=waits))
    planned_s, at = 0.0, 20.0
    for rate, target, hold_s in plan:
        assert rate is not None
        planned_s += abs(target - at) / rate * 3600.0 + hold_s
        at = target
    assert firing.program_end_s == pytest.approx(planned_s, abs=120.0)
    running = np.isfinite(firing.set_point_c)
    assert np.max(np.abs((firing.set_point_c - firing.reading_c)[running])) < 2.5
    for boundary, after in pairwise(firing.boundaries):
        assert boundary.ramp_end_s is not None
        assert boundary.hold_end_s == after.start_s
        assert boundary.start_s < boundary.ramp_end_s <= after.start_s


def test_a_waiting_controller_runs_late_and_a_clock_run_one_falls_short() -> None:
    weak = Faults(power_factor=0.78)
    waiting = fire(GLAZE, faults=weak)
    by_clock = fire(GLAZE, faults=weak, controller=Controller(waits=False))
    healthy = fire(GLAZE)
    assert healthy.program_end_s is not None
    assert waiting.program_end_s is not None
    assert waiting.program_end_s - healthy.program_end_s > 30 * 60
    assert waiting.reading_c.max() == pytest.approx(1222.0, abs=3.0)
    assert by_clock.program_end_s == pytest.approx(healthy.program_end_s, abs=60.0)
    assert by_clock.reading_c.max() < 1215.0


def test_each_fault_does_what_it_says() -> None:
    healthy = fire(BISQUE)
    assert healthy.program_end_s is not None
    late = fire(BISQUE, faults=Faults(late_start_s=4 * 3600.0))
    assert late.program_end_s == pytest.approx(healthy.program_end_s + 4 * 3600.0, abs=1.0)
    assert late.reading_c[late.time_s < 4 * 3600.0].max() < 20.5
    low = fire(BISQUE, faults=Faults(thermocouple_offset_c=-20.0))
    assert low.kiln_c.max() == pytest.approx(healthy.kiln_c.max() + 20.0, abs=1.0)
    assert low.reading_c.max() == pytest.approx(healthy.reading_c.max(), abs=1.0)
    keyed = fire(BISQUE, faults=Faults(keyed_in=[*BISQUE[:2], (60.0, 900.0, 900.0)]))
    assert keyed.program_end_s == pytest.approx(healthy.program_end_s + 2 * 3600.0, abs=120.0)
    out = fire(BISQUE, faults=Faults(outage_at_c=700.0, outage_s=2400.0))
    assert out.program_end_s is not None
    assert out.program_end_s > healthy.program_end_s + 2400.0
    assert np.count_nonzero(np.diff(out.reading_c[: np.argmax(out.reading_c)]) < -0.05) > 100
    stopped = fire(BISQUE, faults=Faults(stop_at_c=500.0))
    assert stopped.program_end_s is None
    assert stopped.boundaries[-1].ramp_end_s is None
    lid = fire(BISQUE, faults=Faults(lid_propped_at_c=500.0))
    assert -rate_at(lid, 450.0, heating=False) > 1.5 * -rate_at(healthy, 450.0, heating=False)
    assert -rate_at(lid, 600.0, heating=False) == pytest.approx(
        -rate_at(healthy, 600.0, heating=False), rel=0.01
    )


@pytest.mark.parametrize("interval_s", [1.0, 30.0, 300.0])
def test_samples_are_the_truth_plus_noise(interval_s: float) -> None:
    firing = fire(GLAZE)
    how = Sampling(
        interval_s=interval_s,
        step_c=1.0,
        with_duty=True,
        with_set_point=True,
        extra_channels={"bottom": -15.0},
    )
    log, again = sample(firing, how), sample(firing, how)
    assert np.array_equal(log.temperature_c, again.temperature_c)
    assert np.allclose(np.diff(log.time_s), interval_s)
    truth = np.interp(log.time_s, firing.time_s, firing.reading_c)
    assert np.std(log.temperature_c[:, 0] - truth) < 0.6
    assert np.all(log.temperature_c == np.round(log.temperature_c))
    assert log.duty is not None
    whole = np.sum(firing.duty[1:] * np.diff(firing.time_s))
    assert np.sum(log.duty[1:] * interval_s) == pytest.approx(whole, rel=0.01)


@pytest.mark.parametrize("name", STYLES)
def test_every_style_writes_one_line_a_reading(name: str, tmp_path: Path) -> None:
    log = sample(fire(BISQUE), Sampling(interval_s=300.0, with_duty=True, with_set_point=True))
    style: CsvStyle = STYLES[name]
    text = write_csv(log, tmp_path / "log.csv", style).read_bytes().decode(style.encoding)
    lines = text.split(style.newline)
    assert len(lines) == len(style.preamble) + 1 + log.time_s.size + 1
    assert {line.count(style.delimiter) for line in lines[len(style.preamble) : -1]} == {3}
