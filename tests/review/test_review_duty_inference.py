"""What a log without output shows of the elements, against what they truly did."""

from itertools import product
from pathlib import Path

import numpy as np
import pytest
from logmaker import BISQUE, GLAZE, Controller, Faults, PlanStep, Sampling, fire, sample

import firing as fi
from firing.review.fit_input import fit_input_of, known_duty
from firing.review.resample import resampled
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray

HELD: tuple[PlanStep, ...] = ((150.0, 1000.0, 0.0), (None, 700.0, 3 * 3600.0))
FAST: tuple[PlanStep, ...] = ((None, 1000.0, 600.0), (None, 500.0, 3600.0))


def shown(
    plan: tuple[PlanStep, ...],
    faults: Faults | None = None,
    *,
    told: bool = True,
    waits: bool = True,
    set_point: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """The duty as seen, and as it truly was over the five minutes around."""
    firing = fire(plan, faults=faults, controller=Controller(waits=waits), cool_to_c=100.0)
    log = sample(firing, Sampling(interval_s=60.0, noise_c=0.4, step_c=1.0, with_set_point=True))
    even = resampled(log.time_s, log.temperature_c[:, 0])
    segments, before = [], 20.0
    for rate, target, hold_s in plan:
        drive = "rate" if rate is not None else "unlimited" if target > before else "off"
        segments.append(Segment(target, rate, drive, hold_s))  # type: ignore[arg-type]  # a Drive
        before = target
    points = None
    if set_point:
        assert log.set_point_c is not None
        points = np.nan_to_num(log.set_point_c, nan=-np.inf)
    seen = known_duty(even, Schedule("plan", tuple(segments)) if told else None, points)
    total = np.concatenate(([0.0], np.cumsum(firing.duty[1:] * np.diff(firing.time_s))))
    half = 150.0
    truth = np.interp(even.time_s + half, firing.time_s, total)
    truth = (truth - np.interp(even.time_s - half, firing.time_s, total)) / (2 * half)
    return seen, truth


WORN = Faults(power_factor=0.78)
CASES = {
    "healthy bisque": (BISQUE, None),
    "worn bisque": (BISQUE, WORN),
    "healthy glaze": (GLAZE, None),
    "worn glaze": (GLAZE, WORN),
    "dead bank": (GLAZE, Faults(dead_banks=1, dead_from_c=800.0)),
    "outage": (BISQUE, Faults(outage_at_c=700.0, outage_s=2400.0)),
    "lid propped": (GLAZE, Faults(lid_propped_at_c=250.0)),
    "stopped early": (GLAZE, Faults(stop_at_c=1100.0)),
    "another rate": (
        GLAZE,
        Faults(keyed_in=((70.0, 200.0, 0.0), (120.0, 1000.0, 0.0), *GLAZE[2:])),
    ),
    "late start": (BISQUE, Faults(late_start_s=7200.0)),
    "held on the way down": (HELD, None),
    "all the power there is": (FAST, WORN),
}


def test_what_is_claimed_is_true(subtests: pytest.Subtests) -> None:
    for waits, told, case in product([True, False], [True, False], CASES):
        with subtests.test(f"{case}, told {told}, waits {waits}"):
            plan, faults = CASES[case]
            seen, truth = shown(plan, faults, told=told, waits=waits)
            off, full = seen == 0.0, seen == 1.0
            if off.any():
                assert float(np.mean(truth[off] > 0.02)) <= 0.02
            assert off.any()
            if full.any():
                assert float(np.mean(truth[full])) > 0.97
                assert float(np.mean(truth[full] < 0.9)) <= 0.03
            assert not (full.any() and not told)


@pytest.mark.parametrize("case", ["worn glaze", "dead bank", "all the power there is"])
def test_a_kiln_that_falls_behind_is_seen(case: str) -> None:
    seen, truth = shown(*CASES[case])
    assert np.count_nonzero(seen == 1.0) > 0.4 * np.count_nonzero(truth > 0.98)


def test_a_set_point_that_runs_ahead_shows_it_without_a_schedule() -> None:
    seen, truth = shown(GLAZE, WORN, told=False, waits=False, set_point=True)
    full = seen == 1.0
    assert np.count_nonzero(full) > 60
    assert float(np.mean(truth[full])) > 0.97


def test_a_log_of_seconds_that_never_left_the_rooms_warmth_is_a_record(tmp_path: Path) -> None:
    log = tmp_path / "seconds.csv"
    rows = "\n".join(f"{n / 20:.2f},{20 + n / 10:.1f}" for n in range(270))
    log.write_text(f"time_s,Kiln (°C)\n{rows}\n", encoding="utf-8")
    record = fit_input_of(fi.read_log(log))
    assert record.time_s[0] == 0.0
    assert record.time_s.size == record.chamber_c.size == record.duty.size + 1
