"""A thermocouple that moved and a lid that was opened: told where a log can show it, else open."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from boxkiln import BOX_BISQUE, BOX_GLAZE, BoxFaults, Day, fire_box
from logmaker import BISQUE, GLAZE, Firing, LogTable, PlanStep, Sampling, fire, sample, write_csv
from review.fibre_kiln import FIBRE_BISQUE, FibreKiln, fire_fibre
from review.made_firings import as_schedule, finding

from firing.logs.reader import read_log
from firing.review.result import Review
from firing.review.review import review


def beside(made: Firing, lag_s: float, share: float, *, seed: int = 3) -> LogTable:
    """Return a log with a second sensor, in a place that lags and is colder by a share."""
    table = sample(made, Sampling(interval_s=60.0, noise_c=0.2))
    step_s = np.diff(made.time_s, prepend=made.time_s[0] - 10.0)
    there, course = made.kiln_c[0], np.empty_like(made.kiln_c)
    for i, (seconds, here) in enumerate(zip(step_s.tolist(), made.kiln_c.tolist(), strict=True)):
        there += (here * share - there) * seconds / (lag_s + seconds)
        course[i] = there
    other = np.interp(table.time_s, made.time_s, course)
    other += np.random.default_rng(seed).normal(0.0, 0.2, other.size)
    both = np.column_stack((table.temperature_c, np.round(other, 1)))
    return replace(table, temperature_c=both, channels=("kiln", "lower shelf"))


def reviewed(folder: Path, plan: tuple[PlanStep, ...], table: LogTable) -> Review:
    log = read_log(write_csv(table, folder / "log.csv"))
    return review(as_schedule(plan), log)


def test_a_slide_is_told_by_the_other_sensor(tmp_path: Path) -> None:
    faults = BoxFaults(slips_from_c=600.0, slips_c_per_h=40.0)
    made = fire_box(BOX_BISQUE, faults=faults)
    result = reviewed(tmp_path, BOX_BISQUE, beside(made, 30.0, 0.99))
    told = finding(result, "sensor_moved")
    assert told is not None
    assert told.severity == "act"
    assert "lower shelf" in told.message.lower()
    assert "witness cones" in told.next_step
    # It began where the reading passed 600 °C.
    began_s = float(made.time_s[int(np.argmax(made.reading_c >= 600.0))])
    assert told.at_s == pytest.approx(began_s, abs=2700.0)
    assert "hotter" in told.evidence


def test_a_sudden_fall_no_closed_kiln_makes_is_told_without_another(tmp_path: Path) -> None:
    made = fire_box(BOX_BISQUE, faults=BoxFaults(slips_from_c=700.0, slips_c_per_h=2e4))
    result = reviewed(tmp_path, BOX_BISQUE, sample(made, Sampling(interval_s=60.0)))
    told = finding(result, "sensor_moved")
    assert told is not None
    assert (told.severity, told.confidence) == ("act", "possible")
    assert "700 °C" in told.message
    assert "hotter than the readings" in told.message
    assert finding(result, "interrupted") is None
    (away,) = [c for c in result.causes if c.cause == "interruption"]
    assert "thermocouple" in away.suggestions[0]


def test_a_door_sensor_that_trips_moves_no_thermocouple(tmp_path: Path) -> None:
    made = fire_box(BOX_BISQUE, faults=BoxFaults(outage_at_c=700.0, outage_s=2400.0))
    result = reviewed(tmp_path, BOX_BISQUE, beside(made, 600.0, 0.98))
    assert finding(result, "sensor_moved") is None
    assert finding(result, "interrupted") is not None


@pytest.mark.parametrize("at_c", [600.0, 400.0, 200.0])
def test_a_lid_opened_as_it_cools_is_told_with_its_hour(tmp_path: Path, at_c: float) -> None:
    table = fire_fibre(FIBRE_BISQUE, FibreKiln(lid_opened_at_c=at_c), 60.0)
    told = finding(reviewed(tmp_path, FIBRE_BISQUE, replace(table, duty=None)), "lid_opened")
    assert told is not None
    opened = np.flatnonzero(table.temperature_c[:, 0] > at_c)[-1]
    assert told.at_s == pytest.approx(float(table.time_s[opened]), abs=900.0)
    assert "after its start" in told.message
    assert "at " in told.message  # the hour by the log's clock
    assert "closed" in told.next_step
    assert told.severity == ("check" if at_c > 300.0 else "note")


def test_a_drift_from_the_first_minute_blames_nothing(tmp_path: Path) -> None:
    for drift_c in (-30.0, 30.0):
        made = fire_box(BOX_BISQUE, faults=BoxFaults(drift_at_1000_c=drift_c))
        result = reviewed(tmp_path, BOX_BISQUE, sample(made, Sampling(interval_s=60.0)))
        assert all(f.severity == "note" for f in result.findings)
        met = finding(result, "cone_met")
        assert met is not None
        assert "witness cones" in met.next_step


@pytest.mark.soak
def test_sound_sensors_in_two_places_have_not_moved(tmp_path: Path) -> None:
    loud = []
    number = 0
    for plan in (BISQUE, GLAZE, BOX_BISQUE, BOX_GLAZE):
        box = plan in (BOX_BISQUE, BOX_GLAZE)
        for faults in (
            BoxFaults(), BoxFaults(power_factor=0.75), BoxFaults(opened_at_c=800.0, opened_s=300.0),
            BoxFaults(dead_banks=1, dead_from_c=700.0),
        ):  # fmt: skip
            made = fire_box(plan, faults=faults, day=Day(1.0, 20.0)) if box else fire(plan)
            for lag_s, share in ((30.0, 0.99), (600.0, 0.97), (1800.0, 0.95), (3600.0, 1.0)):
                number += 1
                result = reviewed(tmp_path, plan, beside(made, lag_s, share))
                told = finding(result, "sensor_moved")
                if told is not None:
                    loud.append((plan[0], faults, lag_s, share, told.message))
    print(f"\nquiet {number - len(loud)} of {number}")
    assert not loud
