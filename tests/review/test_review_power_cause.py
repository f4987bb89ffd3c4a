"""Why a kiln was short of power, by the signatures of power, losses and load; other physics."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from logmaker import GLAZE, Faults, Sampling, fire, sample, write_csv

from firing.files.ready import ready_text
from firing.kiln.file import parse_kiln
from firing.logs.reader import read_log
from firing.review.review import review
from firing.schedule.schedule import Schedule, Segment

KILN = parse_kiln(ready_text("example-kiln"))
PLAN = Schedule("made", tuple(Segment(t, r, "rate", h) for r, t, h in GLAZE), "glaze")


@pytest.mark.parametrize(
    ("faults", "words"),
    [
        (Faults(power_factor=0.75), "Less power fits best"),
        (Faults(dead_banks=1), "Less power fits best"),
        (Faults(load_factor=2.2), "A heavier load"),
    ],
)
def test_the_signature_names_the_kind_of_cause(tmp_path: Path, faults: Faults, words: str) -> None:
    made = sample(fire(GLAZE, faults=faults), Sampling(interval_s=60.0, with_duty=True))
    result = review(PLAN, read_log(write_csv(made, tmp_path / "log.csv")), kiln=KILN)
    (finding,) = [f for f in result.findings if f.id == "power_cause"]
    assert finding.message.startswith(words), (finding.message, finding.evidence)
    assert finding.next_step


def test_only_a_kiln_learnt_from_its_logs_makes_the_cause_likely(tmp_path: Path) -> None:
    made = sample(
        fire(GLAZE, faults=Faults(power_factor=0.75)), Sampling(interval_s=60.0, with_duty=True)
    )
    log = read_log(write_csv(made, tmp_path / "log.csv"))
    learnt = replace(KILN, fitted=replace(KILN.fitted, learnt=date(2026, 1, 1)))
    told = {}
    for kiln in (KILN, learnt):
        (finding,) = [f for f in review(PLAN, log, kiln=kiln).findings if f.id == "power_cause"]
        told[kiln is learnt] = (finding.confidence, "first guess" in finding.message)
    assert told == {False: ("possible", True), True: ("likely", False)}


def test_without_a_kiln_nothing_is_fitted(tmp_path: Path) -> None:
    made = sample(fire(GLAZE, faults=Faults(power_factor=0.75)), Sampling(interval_s=60.0))
    result = review(PLAN, read_log(write_csv(made, tmp_path / "log.csv")))
    assert "power_cause" not in {f.id for f in result.findings}
