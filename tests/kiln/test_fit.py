"""Known multipliers are found again in logs of an independent simulator, with noise and steps.

The bars: power within 3 %, losses within 6 %, capacity within 4 % when told; else "cannot tell".
The truth's walls and leak carry off alike much more or less: together they are `losses`.
"""

import json
import tomllib
from datetime import date
from pathlib import Path

import pytest
from kiln.fitlogs import BISQUE, GLAZE, log_of, record, schedule_of
from kiln.true_kiln import Plan, Truth, fire
from kilns import BISQUED, trial_kiln
from longer import beyond

from firing.kiln.description import Fitted
from firing.kiln.file import parse_kiln, write_fitted
from firing.kiln.fit import fit_kiln
from firing.kiln.fit_result import KilnFit
from firing.kiln.simulation import simulate

KILN = trial_kiln()
WORN = Truth(power=0.85, loss=1.15, capacity=1.1)
TRUTHS = (WORN, Truth(), Truth(power=0.95, loss=0.9, capacity=1.2))
BARS = {"power": 0.03, "losses": 0.06, "capacity": 0.04}


def assert_within_bars(fit: KilnFit, truth: Truth, *, told: set[str]) -> None:
    true = {"power": truth.power, "losses": truth.loss, "capacity": truth.capacity}
    for name, bar in BARS.items():
        estimate = getattr(fit, name)
        error = estimate.value / true[name] - 1.0
        assert estimate.identifiable is (name in told), (name, estimate)
        if estimate.identifiable:
            assert abs(error) <= bar, (name, estimate)
        assert abs(error) * true[name] <= 2.5 * estimate.se, (name, estimate)
    for estimate in (fit.loss, fit.leak):
        assert abs(estimate.value - truth.loss) <= 2.5 * estimate.se, estimate


def test_the_two_simulators_agree() -> None:
    # 55.6 kWh and 23.9 h against 55.3 and 23.8: the truth has the physics of the model.
    true = fire(KILN, BISQUED, GLAZE, Truth())
    ours = simulate(KILN, BISQUED, schedule_of(GLAZE), until_c=150.0)
    assert ours.energy_kwh == pytest.approx(true.kwh, rel=0.015)
    assert ours.total_s == pytest.approx(float(true.time_s[-1]), rel=0.015)


@pytest.mark.parametrize("truth", beyond(1, TRUTHS), ids=str)
@pytest.mark.parametrize("plan", [GLAZE, BISQUE], ids=["glaze", "bisque"])
@pytest.mark.parametrize(("noise_c", "step_c"), beyond(1, [[0.5, 1.0], [0.3, 0.25]]))
def test_output_and_meter_tell_everything(
    truth: Truth, plan: Plan, noise_c: float, step_c: float, tmp_path: Path
) -> None:
    firing = fire(KILN, BISQUED, plan, truth)
    log = log_of(firing, tmp_path, noise_c=noise_c, step_c=step_c)
    fit = fit_kiln(KILN, [record(log, kwh=firing.kwh)])
    assert_within_bars(fit, truth, told={"power", "losses", "capacity"})
    assert fit.anchored
    assert fit.diagnostics.rms_share < 0.01


@pytest.mark.parametrize("truth", beyond(1, TRUTHS), ids=str)
def test_a_glaze_that_falls_behind_tells_everything_with_a_meter(
    truth: Truth, tmp_path: Path
) -> None:
    firing = fire(KILN, BISQUED, GLAZE, truth)
    log = log_of(firing, tmp_path, duty=False)
    fit = fit_kiln(KILN, [record(log, schedule=schedule_of(GLAZE), kwh=firing.kwh)])
    assert_within_bars(fit, truth, told={"power", "losses", "capacity"})
    assert fit.diagnostics.full_s > 1800.0


@pytest.mark.parametrize("truth", beyond(1, TRUTHS), ids=str)
@pytest.mark.parametrize("plan", [GLAZE, BISQUE], ids=["glaze", "bisque"])
def test_without_an_anchor_only_ratios_are_told(truth: Truth, plan: Plan, tmp_path: Path) -> None:
    firing = fire(KILN, BISQUED, plan, truth)
    fit = fit_kiln(KILN, [record(log_of(firing, tmp_path))])
    assert_within_bars(fit, truth, told=set())
    assert not fit.anchored
    assert fit.power_over_capacity.identifiable
    assert fit.losses_over_capacity.identifiable
    assert fit.power_over_capacity.value == pytest.approx(truth.power / truth.capacity, rel=0.03)
    assert fit.losses_over_capacity.value == pytest.approx(truth.loss / truth.capacity, rel=0.03)
    assert any("only their ratios are known" in sentence for sentence in fit.cannot_tell)
    assert "ratios only" in fit.basis


@pytest.mark.parametrize("metered", [False, True])
def test_a_bisque_that_never_saturates_says_nothing_of_power(metered: bool, tmp_path: Path) -> None:
    truth = TRUTHS[2]
    firing = fire(KILN, BISQUED, BISQUE, truth)
    assert firing.duty.max() < 0.98
    log = log_of(firing, tmp_path, duty=False)
    kwh = firing.kwh if metered else None
    fit = fit_kiln(KILN, [record(log, schedule=schedule_of(BISQUE), kwh=kwh)])
    assert not fit.power.identifiable
    assert not fit.power_over_capacity.identifiable
    assert "not known" in fit.power.note
    assert fit.power.se > 0.1
    assert any("nothing is known of the full power" in said for said in fit.cannot_tell)
    # What the kiln file knew of the power is kept.
    assert fit.to_fitted(Fitted(power=0.91)).power == 0.91
    told = {"losses", "capacity"} if metered else set()
    assert_within_bars(fit, truth, told=told)


def test_the_loads_mass_fixes_the_size_roughly(tmp_path: Path) -> None:
    # True capacity as described: what the load says is right, and all come out right with it.
    truth = Truth(power=0.85, loss=1.15)
    firing = fire(KILN, BISQUED, GLAZE, truth)
    fit = fit_kiln(KILN, [record(log_of(firing, tmp_path), load=BISQUED)])
    assert fit.anchored
    assert fit.power.value == pytest.approx(0.85, rel=0.03)
    assert fit.losses.value == pytest.approx(1.15, rel=0.06)
    assert 0.05 * 0.85 < fit.power.se < 0.1 * 0.85
    assert "taken from the load's mass" in fit.capacity.note
    # Where the walls hold more than described the load cannot know, and the errors say so.
    firing = fire(KILN, BISQUED, GLAZE, WORN)
    fit = fit_kiln(KILN, [record(log_of(firing, tmp_path), load=BISQUED)])
    assert_within_bars(fit, WORN, told=set())


def test_new_elements_at_measured_volts_fix_the_size(tmp_path: Path) -> None:
    truth = Truth(loss=1.15, capacity=1.1)
    firing = fire(KILN, BISQUED, GLAZE, truth)
    log = record(log_of(firing, tmp_path))
    fit = fit_kiln(trial_kiln(actual_volts=240.0), [log], elements_new=True)
    assert fit.anchored
    assert fit.losses.value == pytest.approx(1.15, rel=0.06)
    assert fit.capacity.value == pytest.approx(1.1, rel=0.04)
    unmeasured = fit_kiln(KILN, [log], elements_new=True)
    assert not unmeasured.anchored
    assert any("actual_volts" in sentence for sentence in unmeasured.cannot_tell)


def test_several_logs_are_fitted_together(tmp_path: Path) -> None:
    glaze, bisque = (fire(KILN, BISQUED, plan, WORN) for plan in (GLAZE, BISQUE))
    one = record(log_of(glaze, tmp_path, name="glaze.csv"))
    two = record(log_of(bisque, tmp_path, seed=2, name="bisque.csv"), kwh=bisque.kwh)
    alone, both = fit_kiln(KILN, [two]), fit_kiln(KILN, [one, two])
    assert_within_bars(both, WORN, told={"power", "losses", "capacity"})
    assert both.losses.se < alone.losses.se
    assert both.diagnostics.windows > alone.diagnostics.windows
    assert "glaze.csv, bisque.csv" in both.basis


def test_what_was_learnt_before_does_not_count(tmp_path: Path) -> None:
    firing = fire(KILN, BISQUED, GLAZE, WORN)
    log = record(log_of(firing, tmp_path), kwh=firing.kwh)
    before = Fitted(power=0.7, loss=1.4, capacity=0.9, cone_offset_c=6.0)
    fit = fit_kiln(trial_kiln(fitted=before), [log], on=date(2025, 4, 1))
    assert fit == fit_kiln(KILN, [log], on=date(2025, 4, 1))
    fitted = fit.to_fitted(before)
    assert fitted.cone_offset_c == 6.0
    assert fitted.learnt == date(2025, 4, 1)
    # The fitted kiln fires as the true one did.
    run = simulate(trial_kiln(fitted=fitted), BISQUED, schedule_of(GLAZE), until_c=150.0)
    assert run.energy_kwh == pytest.approx(firing.kwh, rel=0.02)
    assert run.total_s == pytest.approx(float(firing.time_s[-1]), rel=0.02)


def test_the_result_goes_into_the_kiln_file_and_into_json(tmp_path: Path) -> None:
    firing = fire(KILN, BISQUED, GLAZE, WORN)
    fit = fit_kiln(KILN, [record(log_of(firing, tmp_path), kwh=firing.kwh)])
    document = json.loads(json.dumps(fit.to_dict()))
    for name in (*BARS, "loss", "leak"):
        assert set(document[name]) == {"value", "se", "identifiable", "note"}
    assert document["basis"] == fit.basis
    assert document["date"] == "2025-03-14"  # the day the log begins
    text = (
        'name = "k"  # mine\npower_kw = 9.5\nrated_volts = 240\nvolume_l = 180\nshape = "round"\n'
        '[[wall]]\nmaterial = "insulating brick 1260"\nthickness_mm = 75\n'
    )
    written = write_fitted(text, fit.to_fitted())
    assert "# mine" in written
    kiln = parse_kiln(written)
    assert kiln.fitted.power == pytest.approx(0.85, rel=0.03)
    assert kiln.fitted.learnt == date(2025, 3, 14)
    assert kiln.fitted.basis == fit.basis
    assert tomllib.loads(written)["fitted"]["basis"].startswith("2025-03-14: log.csv; fixed by ")
