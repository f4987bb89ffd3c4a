"""Firings that go wrong otherwise than by a late end, in a learnt kiln of the box's physics."""

from pathlib import Path

import numpy as np
import pytest
from boxkiln import BOX_BISQUE, BOX_GLAZE, BoxController, BoxFaults, Day, fire_box
from logmaker import PlanStep, Sampling, sample, write_csv
from review.made_firings import finding
from review.reasons import as_schedule, learnt_kiln, usual_load

from firing.logs.reader import read_log
from firing.review.result import Review
from firing.review.review import review

pytestmark = pytest.mark.soak


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("apart")


def reviewed(
    folder: Path, plan: tuple[PlanStep, ...], faults: BoxFaults, *, waits: bool = True
) -> Review:
    made = fire_box(plan, controller=BoxController(waits=waits), faults=faults, day=Day(1.04, 22.0))
    how = Sampling(interval_s=60.0, with_duty=True, noise_c=0.2)
    kiln = learnt_kiln("box", True, True, True, folder)
    load = usual_load("box", "bone dry" if plan == BOX_BISQUE else "bisqued")
    log = read_log(write_csv(sample(made, how), folder / "log.csv"))
    return review(as_schedule(plan), log, kiln=kiln, load=load)


APART = ("relay_stuck", "damp_ware", "opened", "interrupted", "vent_or_leak", "lid_opened")
CASES = [
    ("healthy", BOX_BISQUE, BoxFaults(), set()),
    ("stuck relay", BOX_GLAZE, BoxFaults(stuck_from_c=900.0), {"relay_stuck"}),
    ("8 kg of water", BOX_BISQUE, BoxFaults(water_kg=8.0), {"damp_ware"}),
    ("vent left on", BOX_BISQUE, BoxFaults(vent_on=True), {"vent_or_leak"}),
    ("door open", BOX_GLAZE, BoxFaults(opened_at_c=1000.0, opened_s=300.0), {"opened"}),
    ("door switch", BOX_GLAZE, BoxFaults(outage_at_c=700.0, outage_s=2400.0), {"interrupted"}),
    ("door propped", BOX_BISQUE, BoxFaults(lid_propped_at_c=500.0), {"lid_opened"}),
]


@pytest.mark.parametrize(
    ("plan", "faults", "told"),
    [pytest.param(*case[1:], id=case[0]) for case in CASES],
)
def test_each_is_told_by_its_own_finding_and_by_no_other(
    folder: Path, plan: tuple[PlanStep, ...], faults: BoxFaults, told: set[str]
) -> None:
    result = reviewed(folder, plan, faults)
    found = {f.id for f in result.findings} & set(APART)
    assert found == told
    for name in told:
        said = finding(result, name)
        assert said is not None
        assert said.next_step
        assert said.evidence


def test_a_stuck_relay_is_something_to_act_on(folder: Path) -> None:
    said = finding(reviewed(folder, BOX_GLAZE, BoxFaults(stuck_from_c=900.0)), "relay_stuck")
    assert said is not None
    assert said.severity == "act"
    # One bank of three: a third of full power.
    share = float(said.message.split(" % of full power")[0].rsplit(" ", 1)[1])
    assert share == pytest.approx(33.0, abs=6.0)


def test_healthy_firings_of_a_learnt_kiln_are_quiet(folder: Path) -> None:
    random = np.random.default_rng(3)
    loud = []
    for number in range(24):
        plan = (BOX_BISQUE, BOX_GLAZE)[number % 2]
        waits = bool(number % 4 < 2)
        day = Day(float(random.normal(1.0, 0.05)), float(random.uniform(12, 26)), 0.01, 1.0)
        made = fire_box(plan, controller=BoxController(waits=waits), day=day)
        how = Sampling(interval_s=60.0, with_duty=bool(number % 3), noise_c=0.3, seed=number)
        kiln = learnt_kiln("box", waits, bool(number % 3), bool(number % 5), folder)
        load = usual_load("box", "bone dry" if plan == BOX_BISQUE else "bisqued")
        log = read_log(write_csv(sample(made, how), folder / "log.csv"))
        result = review(as_schedule(plan), log, kiln=kiln, load=load if number % 5 else None)
        told = {f.id for f in result.findings if f.id in APART or f.severity == "act"}
        cause = finding(result, "power_cause")
        if told or (cause is not None and cause.reason != "unknown"):
            loud.append((number, told, cause))
    print(f"quiet {24 - len(loud)} of 24")
    assert not loud
