"""Why a kiln was short of power: the yardstick is the kiln as its logs taught it; other physics."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from logmaker import GLAZE, Faults, Kiln, Sampling, fire, sample, write_csv
from review.made_firings import finding

from firing.files.kinds import ready_text
from firing.kiln.description import Fitted, KilnDescription
from firing.kiln.file import parse_kiln
from firing.kiln.fit import fit_kiln
from firing.logs.reader import Log, read_log
from firing.review.fit_input import fit_input_of
from firing.review.result import Finding, Review
from firing.review.review import review
from firing.schedule.schedule import Schedule, Segment

KILN = parse_kiln(ready_text("example-kiln"))
PLAN = Schedule("made", tuple(Segment(t, r, "rate", h) for r, t, h in GLAZE), "glaze")


def logged(folder: Path, faults: Faults) -> Log:
    # A vent of some strength: the log maker's own makes this kiln late by minutes only.
    kiln = Kiln(vent_w_per_k=1.6)
    made = sample(fire(GLAZE, kiln=kiln, faults=faults), Sampling(interval_s=60.0, with_duty=True))
    return read_log(write_csv(made, folder / "log.csv"))


@pytest.fixture(scope="module")
def learnt(tmp_path_factory: pytest.TempPathFactory) -> KilnDescription:
    log = logged(tmp_path_factory.mktemp("healthy"), Faults())
    fit = fit_kiln(KILN, [fit_input_of(log, schedule=PLAN)])
    return replace(KILN, fitted=replace(fit.to_fitted(), learnt=date(2026, 1, 1)))


def cause(result: Review) -> Finding:
    told = finding(result, "power_cause")
    assert told is not None
    assert told.probabilities is not None
    assert sum(told.probabilities.values()) == pytest.approx(1.0, abs=0.01)
    return told


@pytest.mark.parametrize(
    ("faults", "reason", "words"),
    [
        (Faults(power_factor=0.75), "power", "worn elements, a dead bank or a low supply"),
        (Faults(dead_banks=1, dead_from_c=800.0), "power", "fell by"),
        (Faults(load_factor=2.2), "load", "times the load"),
        (Faults(vent_on=True), "losses", "a vent left on"),
        (
            Faults(dip_volts=0.82, dip_from_s=6 * 3600.0, dip_length_s=3 * 3600.0),
            "supply",
            "the supply sagged",
        ),
    ],
)
def test_the_mark_of_a_fault_names_its_reason(
    tmp_path: Path, learnt: KilnDescription, faults: Faults, reason: str, words: str
) -> None:
    told = cause(review(PLAN, logged(tmp_path, faults), kiln=learnt))
    assert told.reason == reason
    assert words in told.message.replace("The supply", "the supply")
    assert told.next_step
    shown = told.to_dict()
    assert shown["reason"] == reason
    assert shown["probabilities"][reason] == max(shown["probabilities"].values())


@pytest.mark.soak
def test_a_kiln_that_always_loses_more_than_its_file_says_is_not_blamed_for_it(
    tmp_path: Path,
) -> None:
    # A file that makes the wall a third thicker than it is: the fit finds the losses it lacks, and
    # worn elements stay worn elements.
    (layer,) = KILN.wall
    thick = replace(KILN, wall=(replace(layer, thickness_m=4.0 / 3.0 * layer.thickness_m),))
    fit = fit_kiln(thick, [fit_input_of(logged(tmp_path, Faults()), schedule=PLAN)])
    fitted = fit.to_fitted()
    learnt_w_per_k = fitted.loss * thick.wall_w_per_k + fitted.leak_factor * thick.air_w_per_k
    assert learnt_w_per_k > 1.05 * (thick.wall_w_per_k + thick.air_w_per_k)
    kiln = replace(thick, fitted=replace(fitted, learnt=date(2026, 1, 1)))
    told = cause(review(PLAN, logged(tmp_path, Faults(power_factor=0.75)), kiln=kiln))
    assert told.reason == "power"


def test_a_kiln_never_fitted_cannot_tell_and_says_how_to_find_out(tmp_path: Path) -> None:
    log = logged(tmp_path, Faults(power_factor=0.75))
    told = cause(review(PLAN, log, kiln=KILN))
    assert (told.reason, told.severity, told.confidence) == ("unknown", "note", "possible")
    assert "never fitted" in told.message
    assert "kiln fit" in told.next_step
    # A file with multipliers but no date was fitted all the same.
    undated = replace(KILN, fitted=Fitted(power=0.93, loss=0.86, capacity=0.99))
    assert "never fitted" not in cause(review(PLAN, log, kiln=undated)).message


def test_without_a_kiln_nothing_is_weighed(tmp_path: Path) -> None:
    result = review(PLAN, logged(tmp_path, Faults(power_factor=0.75)))
    assert "power_cause" not in {f.id for f in result.findings}
