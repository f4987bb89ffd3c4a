"""What cannot be fitted is refused in one sentence; what is odd is said."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from kiln.fitlogs import GLAZE, log_of, record, schedule_of
from kiln.true_kiln import TrueFiring, Truth, fire
from kilns import BISQUED, trial_kiln

from firing.errors import FiringError
from firing.kiln import residuals
from firing.kiln.fit import fit_kiln
from firing.kiln.residuals import FiringRecord

KILN = trial_kiln()
WORN = Truth(power=0.85, loss=1.15, capacity=1.1)


@pytest.fixture
def firing() -> TrueFiring:
    return fire(KILN, BISQUED, GLAZE, WORN)


def refusal(kiln_changes: dict[str, object], *records: FiringRecord) -> str:
    with pytest.raises(FiringError) as caught:
        fit_kiln(trial_kiln(**kiln_changes), records)
    text = str(caught.value)
    assert "\n" not in text
    assert "Traceback" not in text
    return text


def test_nothing_to_fit() -> None:
    assert "at least one firing" in refusal({})


def test_a_log_that_is_too_short(firing: TrueFiring, tmp_path: Path) -> None:
    said = refusal({}, record(log_of(firing, tmp_path, part=slice(0, 60))))
    assert said.startswith("log.csv: 59 min of log is too short for a fit")
    assert "2 h" in said


def test_a_log_that_never_heats(firing: TrueFiring, tmp_path: Path) -> None:
    cold = replace(firing, chamber_c=20.0 + 0.02 * firing.chamber_c)
    said = refusal({}, record(log_of(cold, tmp_path, part=slice(0, 600))))
    assert "never heats" in said
    assert "150 °C" in said


def test_a_log_in_which_nothing_shows_the_elements(firing: TrueFiring, tmp_path: Path) -> None:
    said = refusal({}, record(log_of(firing, tmp_path, duty=False, part=slice(0, 500))))
    assert "nothing shows what the elements did" in said
    assert "schedule" in said


def test_a_fit_that_does_not_converge(
    firing: TrueFiring, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(residuals, "MOST_EVALUATIONS", 1)
    said = refusal({}, record(log_of(firing, tmp_path)))
    assert "does not converge within 1 evaluations" in said


@pytest.mark.parametrize(
    ("changes", "metered", "what"),
    [
        ({"volume_l": 600.0, "power_w": 30000.0}, True, "power"),
        ({"power_w": 30000.0}, False, "ratio of power to capacity"),
    ],
)
def test_a_log_of_another_kiln(
    changes: dict[str, object], metered: bool, what: str, firing: TrueFiring, tmp_path: Path
) -> None:
    log = record(log_of(firing, tmp_path), kwh=firing.kwh if metered else None)
    said = refusal(changes, log)
    assert "fits this kiln only with" in said
    assert what in said


def test_a_meter_read_ten_times_too_high(firing: TrueFiring, tmp_path: Path) -> None:
    said = refusal({}, record(log_of(firing, tmp_path), kwh=10.0 * firing.kwh))
    assert "times its power, outside 0.4 to 2.5" in said


def test_fahrenheit_taken_for_celsius(firing: TrueFiring, tmp_path: Path) -> None:
    wrong = replace(firing, chamber_c=32.0 + 1.8 * firing.chamber_c)
    # Hotter than any studio kiln: the log itself is refused, before anything is fitted to it.
    with pytest.raises(FiringError, match="say --unit F"):
        log_of(wrong, tmp_path)


@pytest.mark.parametrize("kwh", [0.0, -3.0, float("nan"), 1e6])
def test_a_meter_reading_that_is_none(kwh: float, firing: TrueFiring, tmp_path: Path) -> None:
    with pytest.raises(FiringError, match="kWh by meter is not a firing's"):
        record(log_of(firing, tmp_path), kwh=kwh)


def test_an_odd_kiln_is_warned_of(firing: TrueFiring, tmp_path: Path) -> None:
    log = record(log_of(firing, tmp_path), kwh=firing.kwh)
    fit = fit_kiln(trial_kiln(power_w=17000.0), [log])
    assert fit.power.value < 0.6
    assert any("is unusual; check that the log is of this kiln" in said for said in fit.warnings)


def test_a_log_that_begins_hot_still_tells_ratios(firing: TrueFiring, tmp_path: Path) -> None:
    log = record(log_of(firing, tmp_path, part=slice(300, None)), kwh=firing.kwh)
    fit = fit_kiln(KILN, [log])
    assert not fit.anchored
    assert any("nor is the meter" in said for said in fit.warnings)
    assert fit.power_over_capacity.value == pytest.approx(0.85 / 1.1, rel=0.03)
    assert fit.losses_over_capacity.value == pytest.approx(1.15 / 1.1, rel=0.03)


def test_an_output_that_stands_still_is_not_believed(firing: TrueFiring, tmp_path: Path) -> None:
    stuck = replace(firing, duty=np.zeros_like(firing.duty))
    log = record(log_of(stuck, tmp_path), schedule=schedule_of(GLAZE))
    assert not log.logged
    fit = fit_kiln(KILN, [log])
    assert any("its output stands at 0 % throughout" in said for said in fit.warnings)
    assert fit.power_over_capacity.value == pytest.approx(0.85 / 1.1, rel=0.03)


def test_a_gap_in_the_log_is_left_out(firing: TrueFiring, tmp_path: Path) -> None:
    keep = np.ones(firing.time_s.size, dtype=bool)
    keep[200:260] = False
    gappy = replace(
        firing,
        time_s=firing.time_s[keep],
        chamber_c=firing.chamber_c[keep],
        duty=firing.duty[keep],
        set_point_c=firing.set_point_c[keep],
    )
    log = record(log_of(gappy, tmp_path), kwh=firing.kwh)
    assert np.count_nonzero(np.isnan(log.duty)) >= 11
    fit = fit_kiln(KILN, [log])
    assert fit.power.value == pytest.approx(0.85, rel=0.03)
    assert fit.capacity.value == pytest.approx(1.1, rel=0.04)
