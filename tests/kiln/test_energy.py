"""Electricity: energy is power over time, currents follow from power and volts."""

import numpy as np
import pytest
from kilns import BISQUE, RAW, full_power, trial_kiln

from firing.kiln.simulation import simulate
from firing.kiln.tariff import energy_course, energy_of


def test_energy_is_power_over_time() -> None:
    run = simulate(trial_kiln(), RAW, BISQUE)
    energy = energy_of(run)
    by_hand = float(np.trapezoid(run.power_w, run.time_s)) / 3.6e6
    assert energy.kwh == pytest.approx(by_hand, rel=0.01)
    assert energy.kwh == pytest.approx(energy.lost_kwh + energy.stored_kwh, rel=1e-6)
    assert energy.to_dict()["energy_kwh"] == energy.kwh


def test_currents_follow_from_power_and_volts() -> None:
    # I = P/U: 9500 W at 240 V is 39.6 A, with cold elements.
    full = energy_of(simulate(trial_kiln(), RAW, full_power(900.0)))
    assert full.peak_amps == pytest.approx(9500.0 / 240.0, rel=0.001)
    assert full.mean_duty == pytest.approx(1.0, abs=0.01)
    bisque = energy_of(simulate(trial_kiln(), RAW, BISQUE))
    assert bisque.mean_amps < bisque.peak_amps
    assert bisque.mean_amps == pytest.approx(bisque.kwh * 3.6e6 / bisque.powered_s / 240.0)
    # Three phases: √3 less in each of the lines at the same volts between them.
    three = energy_of(simulate(trial_kiln(phases=3), RAW, BISQUE))
    assert three.peak_amps == pytest.approx(bisque.peak_amps / 3**0.5)


def test_the_course_ends_when_nothing_more_is_taken() -> None:
    run = simulate(trial_kiln(), RAW, BISQUE)
    course = energy_course(run)
    assert course.kwh == pytest.approx(run.energy_kwh)
    assert course.powered_s == pytest.approx(run.program_s, abs=60.0)
