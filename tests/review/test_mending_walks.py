"""Review, mend, forecast the mended plan, fire it again: the cone stays the one the plan is for.

The log maker's kiln has physics of its own.  Truth is known by construction: which cone the plan is
for, and, fired again in the same worn kiln, what the mended plan comes to and how long it takes.
"""

import json
from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path

import pytest
from commandline import call
from logmaker import Controller, Faults, PlanStep, Sampling, fire, sample, write_csv

from firing.cones.equivalence import cone_reached
from firing.cones.table import cone_number
from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.kiln.file import parse_kiln, write_fitted
from firing.kiln.fit import fit_kiln
from firing.logs.reader import read_log
from firing.review.fit_input import fit_input_of
from firing.review.mending import mending_of
from firing.review.review import review
from firing.schedule.file import open_schedule, schedule_text
from firing.schedule.schedule import Schedule, Segment

# For cone 6 by a hold at 1200 °C: on the chart (cone-chart-1996) 1222 °C at 60 °C/h.
STEPS: tuple[PlanStep, ...] = (
    (100.0, 90.0, 1800.0),
    (130.0, 600.0, 0.0),
    (150.0, 1000.0, 0.0),
    (100.0, 1100.0, 0.0),
    (60.0, 1200.0, 1800.0),
)
PLAN = Schedule("made", tuple(Segment(t, r, "rate", h) for r, t, h in STEPS), "glaze", cone="6")
# No hold to take away: only a lower peak keeps its cone.
NO_HOLD = replace(PLAN, segments=(*PLAN.segments[:-1], Segment(1222.0, 60.0)))
PLANS = {
    "hold": PLAN,
    "no-hold": NO_HOLD,
    "fahrenheit": replace(PLAN, unit="F"),
}
WORN = {"weak": 0.75, "weakest": 0.68}
TELLING = 0.2  # half an hour of a cone's clock is as much; less is not seen on the ware


def steps_of(plan: Schedule) -> tuple[PlanStep, ...]:
    return tuple((s.rate_c_per_h, s.target_c, s.hold_s) for s in plan.segments)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("walks")
    sampling = Sampling(interval_s=60.0, with_duty=True)
    write_csv(sample(fire(STEPS), sampling), folder / "healthy.csv")
    text = ready_text("example-kiln")
    healthy = read_log(folder / "healthy.csv")
    fit = fit_kiln(parse_kiln(text), [fit_input_of(healthy, schedule=PLAN)])
    fitted = replace(fit.to_fitted(), learnt=date(2026, 1, 1))
    (folder / "learnt.toml").write_text(write_fitted(text, fitted), encoding="utf-8")
    (folder / "unfitted.toml").write_text(text, encoding="utf-8")
    for name, plan in PLANS.items():
        (folder / f"{name}.toml").write_text(schedule_text(plan), encoding="utf-8")
        for worn, power in WORN.items():
            made = fire(steps_of(plan), faults=Faults(power_factor=power))
            write_csv(sample(made, sampling), folder / f"{name}-{worn}.csv")
    return folder


@pytest.mark.parametrize("known", ["learnt", "unfitted", "none"])
@pytest.mark.parametrize("worn", WORN)
@pytest.mark.parametrize("name", PLANS)
def test_a_walk_from_the_review_to_the_mended_plans_forecast_keeps_its_cone(
    folder: Path, name: str, worn: str, known: str
) -> None:
    kiln = () if known == "none" else ("--kiln", f"{known}.toml")
    log, out = f"{name}-{worn}.csv", f"{name}-{worn}-{known}.toml"
    answer = call(folder, "review", f"{name}.toml", log, *kiln, "--mend", out)
    assert (folder / out).exists(), answer.stderr
    assert "Reached cone" in answer.stdout
    mended = open_schedule(str(folder / out))
    # What is handed over comes to the cone that the plan is for, and nothing warns of another.
    shown = json.loads(call(folder, "forecast", out, *kiln, "--json").stdout)
    assert shown["cones"]["reached_number"] == pytest.approx(cone_number("6"), abs=TELLING)
    assert "cone_off_target" not in {warning["id"] for warning in shown["warnings"]}
    # A lower peak is said first, in the plan's unit.
    if mended.peak_c < PLANS[name].peak_c - 0.5:
        unit = mended.unit
        peak = mended.peak_c if unit == "C" else mended.peak_c * 1.8 + 32.0
        assert f"A peak of {peak:.0f} °{unit} keeps cone 6" in answer.stderr.split(out)[0]
    # Fired again in the kiln as it is: it keeps its rates and its time, and comes to that cone.
    again = fire(steps_of(mended), controller=Controller(waits=True),
                 faults=Faults(power_factor=WORN[worn]))  # fmt: skip
    as_written_s = sum(
        abs(s.target_c - mended.from_c(i)) / (s.rate_c_per_h or 1.0) * 3600.0 + s.hold_s
        for i, s in enumerate(mended.segments)
    )
    assert again.program_end_s == pytest.approx(as_written_s, rel=0.06)
    reached = cone_reached(again.time_s, again.reading_c).reached_number
    assert reached == pytest.approx(cone_number("6"), abs=0.5)
    # No ramp to the peak is slower than the chart of cones covers (15 °C/h), where that can be.
    if known == "learnt":
        assert (mended.segments[-1].rate_c_per_h or 0.0) >= 15.0 - 0.3


def test_the_rate_is_that_of_the_slowest_stretch_and_not_the_ramps_mean(folder: Path) -> None:
    """A hand-drawn ramp: 100 °C/h to 920 °C, then 60 °C/h to 1000 °C, where 100 was set.

    Its mean over 600 to 1000 °C is 400 K in 3.2 h + 1.33 h, 88 °C/h; above 920 °C it is 60.
    """
    plan = Schedule(
        "drawn", (Segment(600.0, 100.0), Segment(1000.0, 100.0, hold_s=600.0)), "bisque", cone="07"
    )
    corners_m = [(0, 20.0), (348, 600.0), (540, 920.0), (620, 1000.0), (630, 1000.0), (900, 500.0)]
    rows = ["time_s,Kiln (°C),set-point"]
    for (a, from_c), (b, to_c) in pairwise(corners_m):
        for m in range(a, b):
            reading_c = from_c + (to_c - from_c) * (m - a) / (b - a)
            set_c = reading_c + (30.0 if 540 < m < 620 else 0.0)
            rows.append(f"{60 * m},{reading_c:.1f},{set_c:.0f}")
    path = folder / "drawn.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    mended = mending_of(review(plan, read_log(path)))
    assert mended.schedule.segments[0] == plan.segments[0]
    assert mended.schedule.segments[1].rate_c_per_h == pytest.approx(60.0, abs=2.5)
    # Slower takes more heat-work: the hold or the peak gives it back.
    assert mended.cone_number == pytest.approx(cone_number("07"), abs=TELLING)


def test_a_firing_broken_off_by_a_person_lowers_no_peak(folder: Path) -> None:
    stopped = fire(STEPS, faults=Faults(stop_at_c=900.0))
    path = write_csv(sample(stopped, Sampling(interval_s=60.0)), folder / "stopped.csv")
    assert mending_of(review(PLAN, read_log(path))).changes == ()


def test_a_log_of_another_plan_mends_none(folder: Path) -> None:
    other = Schedule("other", (Segment(400.0, 30.0, hold_s=36_000.0),), "other")
    result = review(other, read_log(folder / "healthy.csv"))
    assert result.refused or result.plan_doubt
    with pytest.raises(FiringError, match="another plan"):
        mending_of(result)


@pytest.mark.parametrize("as_json", [False, True])
def test_what_cannot_be_mended_is_said_after_the_review(folder: Path, as_json: bool) -> None:
    (folder / "other.toml").write_text(
        schedule_text(Schedule("other", (Segment(400.0, 30.0, hold_s=36_000.0),), "other")),
        encoding="utf-8",
    )
    asked = ("other.toml", "healthy.csv", "--mend", "never.toml", "--html", f"page{as_json}.html")
    answer = call(folder, "review", *asked, *(["--json"] if as_json else []))
    assert answer.returncode == 2
    assert (folder / f"page{as_json}.html").exists()
    assert not (folder / "never.toml").exists()
    assert "never.toml was not written: " in answer.stderr
    if as_json:
        shown = json.loads(answer.stdout)
        assert shown["mended_file"] is None
        assert "another plan" in shown["not_mended"]
    else:
        assert answer.stdout.startswith("Review: other")


def test_a_clock_that_left_the_kiln_far_behind_shows_no_plan_for_its_cone(folder: Path) -> None:
    """It came to some 1090 °C of 1200: what it keeps above that no reading shows."""
    made = fire(STEPS, controller=Controller(waits=False), faults=Faults(power_factor=0.55))
    assert max(made.reading_c) < 1200.0 - 50.0
    path = write_csv(sample(made, Sampling(interval_s=60.0)), folder / "far.csv")
    with pytest.raises(FiringError, match="no plan up to there keeps cone 6"):
        mending_of(review(PLAN, read_log(path)))
