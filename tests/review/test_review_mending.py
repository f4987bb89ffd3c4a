"""The plan mended for a weak kiln, fired by another physics than the one that mended it."""

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from commandline import call
from logmaker import GLAZE, Controller, Faults, Sampling, fire, sample, write_csv
from review.made_firings import finding

from firing.cones.equivalence import cone_reached
from firing.files.kinds import ready_text
from firing.kiln.file import parse_kiln, write_fitted
from firing.kiln.fit import fit_kiln
from firing.logs.reader import read_log
from firing.review.fit_input import fit_input_of
from firing.review.review import review
from firing.schedule.file import open_schedule, schedule_text
from firing.schedule.schedule import Schedule, Segment
from firing.units import format_duration

PLAN = Schedule("made", tuple(Segment(t, r, "rate", h) for r, t, h in GLAZE), "glaze")
WORN = Faults(power_factor=0.75)


def csv(folder: Path, faults: Faults, name: str) -> Path:
    made = sample(fire(GLAZE, faults=faults), Sampling(interval_s=60.0, with_duty=True))
    return write_csv(made, folder / name)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("mending")
    text = ready_text("example-kiln")
    healthy = read_log(csv(folder, Faults(), "healthy.csv"))
    fit = fit_kiln(parse_kiln(text), [fit_input_of(healthy, schedule=PLAN)])
    fitted = replace(fit.to_fitted(), learnt=date(2026, 1, 1))
    (folder / "kiln.toml").write_text(write_fitted(text, fitted), encoding="utf-8")
    (folder / "plan.toml").write_text(schedule_text(PLAN), encoding="utf-8")
    csv(folder, WORN, "worn.csv")
    return folder


def test_the_mended_plan_keeps_its_time_and_its_cone_in_the_worn_kiln(folder: Path) -> None:
    kiln = parse_kiln((folder / "kiln.toml").read_text(encoding="utf-8"))
    result = review(PLAN, read_log(folder / "worn.csv"), kiln=kiln)
    mended = result.mended
    assert mended is not None
    assert mended.changes
    told = finding(result, "mended")
    assert told is not None
    assert "segment 2" in told.message
    assert mended.with_new_elements_s == pytest.approx(PLAN_S, rel=0.03)
    plan = tuple((s.rate_c_per_h, s.target_c, s.hold_s) for s in mended.schedule.segments)
    # By the clock the plan as it stands misses its peak in this kiln; the mended one does not.
    clock = Controller(waits=False)
    before, after = (fire(p, controller=clock, faults=WORN) for p in (GLAZE, plan))
    assert before.reading_c.max() < 1222.0 - 8.0
    assert after.reading_c.max() == pytest.approx(1222.0, abs=8.0)
    assert after.program_end_s == pytest.approx(mended.program_s, rel=0.05)
    reached = cone_reached(after.time_s, after.reading_c).reached_number
    assert reached == pytest.approx(result.cones_planned.reached_number, abs=0.5)
    # A controller that waits gets there on the plan as it stands, and how soon is said beside it.
    waited = fire(GLAZE, controller=Controller(waits=True), faults=WORN)
    assert mended.unchanged_s == pytest.approx(waited.program_end_s, rel=0.03)
    assert format_duration(mended.unchanged_s) in told.message


# 180 °C at 100, 800 at 180, 222 at 80, 15 min, 222 down at 80 °C/h: algebra
PLAN_S = 3600.0 * (180 / 100 + 800 / 180 + 222 / 80 + 0.25 + 222 / 80)


def test_the_command_writes_the_mended_plan_and_nothing_over_its_inputs(folder: Path) -> None:
    plan, log, kiln = (str(folder / name) for name in ("plan.toml", "worn.csv", "kiln.toml"))
    out = folder / "mended.toml"
    answer = call(folder, "review", plan, log, "--kiln", kiln, "--mend", str(out), "--json")
    document = json.loads(answer.stdout)
    assert document["mended_file"] == str(out)
    assert document["mended"]["changes"]
    written = open_schedule(str(out))
    slow = written.segments[1].rate_c_per_h
    assert slow is not None
    assert slow < 180.0
    kept = Path(plan).read_bytes()
    for given in (plan, log, kiln):
        refused = call(folder, "review", plan, log, "--kiln", kiln, "--mend", given)
        assert refused.returncode == 2
        assert "was given" in refused.stderr
    assert Path(plan).read_bytes() == kept
    again = call(folder, "review", plan, log, "--kiln", kiln, "--mend", str(out))
    assert again.returncode == 2
    healthy = str(folder / "healthy.csv")
    nothing = call(
        folder, "review", plan, healthy, "--kiln", kiln, "--mend", str(folder / "no.toml")
    )
    # A plan that can stay is no fault: the review comes all the same, and then why nothing does.
    assert nothing.returncode == 0
    assert "Reached cone" in nothing.stdout
    assert nothing.stderr.count("\n") == 1
    assert "was not written: every ramp kept its rate" in nothing.stderr
    assert not (folder / "no.toml").exists()
