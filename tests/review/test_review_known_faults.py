"""Reviews of logs whose truth is known, made by the independent log maker."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kilns import trial_kiln
from logmaker import (
    BISQUE,
    GLAZE,
    Controller,
    Faults,
    Firing,
    PlanStep,
    Sampling,
    fire,
    sample,
    write_csv,
)
from longer import examples
from review.made_firings import as_schedule

from firing.logs.reader import read_log
from firing.review.result import Review
from firing.review.review import review

TOLERANCE_S = 5 * 60.0
PLANS: dict[str, tuple[PlanStep, ...]] = {"bisque": BISQUE, "glaze": GLAZE}


def reviewed(
    tmp_path: Path,
    plan: tuple[PlanStep, ...],
    *,
    waits: bool = True,
    faults: Faults | None = None,
    sampling: Sampling | None = None,
) -> Review:
    firing = fire(plan, controller=Controller(waits=waits), faults=faults)
    return review_of(firing, tmp_path, plan, sampling or Sampling(interval_s=60.0))


def review_of(
    firing: Firing, folder: Path, plan: tuple[PlanStep, ...], sampling: Sampling
) -> Review:
    path = write_csv(sample(firing, sampling), folder / "log.csv")
    return review(as_schedule(plan), read_log(path))


def cause(result: Review, name: str) -> float:
    return sum(share.seconds for share in result.causes if share.cause == name)


def check_account(result: Review) -> None:
    """The account adds up in every segment and over the firing, and little is unexplained."""
    assert result.excess_s is not None
    assert sum(c.seconds for c in result.causes) == pytest.approx(result.excess_s, abs=1e-6)
    for segment in result.segments:
        assert segment.excess_s is not None
        total_s = sum(c.seconds for c in segment.causes)
        assert total_s == pytest.approx(segment.excess_s, abs=1e-6)
    left_s = abs(cause(result, "unexplained"))
    assert left_s <= max(600.0, 0.1 * abs(result.excess_s))


@pytest.mark.parametrize("waits", [True, False])
@pytest.mark.parametrize("plan", ["bisque", "glaze"])
def test_a_healthy_firing_has_no_cause_and_nothing_wrong(
    tmp_path: Path, plan: str, waits: bool
) -> None:
    result = reviewed(tmp_path, PLANS[plan], waits=waits)
    check_account(result)
    assert all(abs(c.seconds) <= 600.0 for c in result.causes)
    assert result.findings[0].id == "nothing_wrong"
    assert not result.needs_action
    assert result.lead_in_s == 0.0


@pytest.mark.parametrize("interval_s", [1.0, 30.0, 300.0])
def test_a_slower_rate_keyed_in_is_another_program(tmp_path: Path, interval_s: float) -> None:
    keyed = tuple((60.0 if rate == 100.0 else rate, t, h) for rate, t, h in BISQUE)
    sampling = Sampling(interval_s=interval_s, step_c=1.0)
    result = reviewed(tmp_path, BISQUE, faults=Faults(keyed_in=keyed), sampling=sampling)
    check_account(result)
    # 300 °C at 60 instead of 100 °C/h: 5 h instead of 3 h
    assert cause(result, "other_program") == pytest.approx(2 * 3600.0, abs=TOLERANCE_S)
    assert "60 °C/h" in result.causes[0].evidence
    assert result.causes[0].cause == "other_program"


def test_a_longer_hold_is_a_longer_hold(tmp_path: Path) -> None:
    keyed = tuple((rate, t, 3600.0 if h == 900.0 else h) for rate, t, h in GLAZE)
    result = reviewed(tmp_path, GLAZE, faults=Faults(keyed_in=keyed))
    check_account(result)
    assert cause(result, "longer_hold") == pytest.approx(45 * 60.0, abs=TOLERANCE_S)
    assert result.causes[0].cause == "longer_hold"


def test_a_shorter_hold_is_a_shorter_hold(tmp_path: Path) -> None:
    keyed = tuple((rate, t, 0.0 if h == 7200.0 else h) for rate, t, h in BISQUE)
    result = reviewed(tmp_path, BISQUE, faults=Faults(keyed_in=keyed))
    check_account(result)
    assert cause(result, "shorter_hold") == pytest.approx(-7200.0, abs=TOLERANCE_S)


def test_another_target_is_another_program(tmp_path: Path) -> None:
    keyed = tuple((rate, 860.0 if t == 900.0 else t, h) for rate, t, h in BISQUE)
    result = reviewed(tmp_path, BISQUE, faults=Faults(keyed_in=keyed))
    check_account(result)
    # 40 °C less at 100 °C/h
    assert cause(result, "other_program") == pytest.approx(-24 * 60.0, abs=TOLERANCE_S)


@pytest.mark.parametrize("with_duty", [False, True])
def test_a_weak_kiln_is_short_of_power_and_not_another_program(
    tmp_path: Path, with_duty: bool
) -> None:
    sampling = Sampling(interval_s=60.0, with_duty=with_duty)
    weak = reviewed(tmp_path, GLAZE, faults=Faults(power_factor=0.78), sampling=sampling)
    healthy = fire(GLAZE)
    slow = fire(GLAZE, faults=Faults(power_factor=0.78))
    assert healthy.program_end_s is not None
    assert slow.program_end_s is not None
    check_account(weak)
    truth_s = slow.program_end_s - healthy.program_end_s
    assert cause(weak, "power_limited") == pytest.approx(truth_s, abs=TOLERANCE_S)
    assert weak.causes[0].cause == "power_limited"
    assert cause(weak, "other_program") == 0.0


def test_an_outage_is_an_interruption(tmp_path: Path) -> None:
    result = reviewed(tmp_path, BISQUE, faults=Faults(outage_at_c=700.0, outage_s=2400.0))
    check_account(result)
    assert result.causes[0].cause == "interruption"
    words = result.causes[0].evidence.split()
    assert float(words[words.index("from") + 1]) == pytest.approx(700.0, abs=5.0)


def test_lead_in_stays_outside_unless_a_start_is_given(tmp_path: Path) -> None:
    firing = fire(BISQUE, faults=Faults(late_start_s=4 * 3600.0))
    path = write_csv(sample(firing, Sampling(interval_s=60.0)), tmp_path / "log.csv")
    log = read_log(path)
    plan = as_schedule(BISQUE)
    without = review(plan, log)
    assert without.lead_in_s == pytest.approx(4 * 3600.0, abs=TOLERANCE_S)
    assert cause(without, "late_start") == 0.0
    check_account(without)
    due = log.trace.started
    assert due is not None
    late = review(plan, log, due=due)
    check_account(late)
    assert cause(late, "late_start") == pytest.approx(4 * 3600.0, abs=TOLERANCE_S)
    assert late.lead_in_s == pytest.approx(without.lead_in_s)
    assert late.actual_s == pytest.approx((without.actual_s or 0.0) + without.lead_in_s)


def test_a_stopped_firing_leaves_null_for_what_it_never_reached(tmp_path: Path) -> None:
    result = reviewed(tmp_path, BISQUE, faults=Faults(stop_at_c=640.0))
    assert result.actual_s is None
    assert [segment.actual_s is None for segment in result.segments] == [False, False, True]
    assert result.causes == ()
    finding = next(f for f in result.findings if f.id == "stopped_early")
    assert finding.severity == "act"
    assert "never went above 640 °C" in finding.message
    assert "900 °C" in finding.message


def test_a_log_that_ends_too_soon_is_told_from_a_stopped_firing(tmp_path: Path) -> None:
    sampling = Sampling(interval_s=60.0, until_s=8 * 3600.0)
    result = reviewed(tmp_path, BISQUE, sampling=sampling)
    finding = next(f for f in result.findings if f.id == "stopped_early")
    assert finding.message.startswith("The log ends")
    assert result.cooling is None


def test_a_log_begun_mid_firing_is_said_to_be_that(tmp_path: Path) -> None:
    sampling = Sampling(interval_s=60.0, from_s=8 * 3600.0)
    result = reviewed(tmp_path, BISQUE, sampling=sampling)
    assert "log_starts_late" in {finding.id for finding in result.findings}
    assert result.segments[0].actual_s is None
    assert result.segments[-1].actual_s is not None


def test_fahrenheit_read_as_celsius_is_asked_about(tmp_path: Path) -> None:
    made = sample(fire(BISQUE), Sampling(interval_s=60.0))
    path = tmp_path / "log.csv"
    rows = [
        f"{t:.0f},{c * 1.8 + 32:.1f}"
        for t, c in zip(made.time_s, made.temperature_c[:, 0], strict=True)
    ]
    path.write_text("time_s,kiln\n" + "\n".join(rows) + "\n")
    # by itself the reader takes °F, the only unit a kiln can have done this in
    assert read_log(path).dialect.unit == "F"
    result = review(as_schedule(BISQUE), read_log(path, unit="C"))
    finding = next(f for f in result.findings if f.id == "maybe_fahrenheit")
    assert finding.severity == "act"
    assert "--unit F" in finding.next_step
    mended = review(as_schedule(BISQUE), read_log(path, unit="F"))
    assert "maybe_fahrenheit" not in {f.id for f in mended.findings}
    check_account(mended)


@settings(max_examples=examples(4))
@given(
    rates=st.tuples(st.integers(30, 90), st.integers(40, 120), st.integers(60, 120)),
    hold_min=st.integers(20, 240),
    top_c=st.integers(860, 1000),
    waits=st.booleans(),
    interval_s=st.sampled_from([10.0, 60.0, 120.0]),
    seed=st.integers(0, 1000),
)
def test_any_healthy_plan_is_found_and_adds_up(
    tmp_path_factory: pytest.TempPathFactory,
    rates: tuple[int, int, int],
    hold_min: int,
    top_c: int,
    waits: bool,
    interval_s: float,
    seed: int,
) -> None:
    plan: tuple[PlanStep, ...] = (
        (float(rates[0]), 110.0, hold_min * 60.0),
        (float(rates[1]), 600.0, 0.0),
        (float(rates[2]), float(top_c), 900.0),
    )
    sampling = Sampling(interval_s=interval_s, step_c=1.0, seed=seed)
    result = reviewed(tmp_path_factory.mktemp("log"), plan, waits=waits, sampling=sampling)
    check_account(result)
    assert all(abs(c.seconds) <= 600.0 for c in result.causes)


@settings(max_examples=examples(4))
@given(
    power=st.floats(0.7, 1.0),
    outage_s=st.sampled_from([0.0, 1800.0, 5400.0]),
    hold_s=st.sampled_from([0.0, 900.0, 5400.0]),
    waits=st.booleans(),
    seed=st.integers(0, 1000),
)
def test_the_account_adds_up_whatever_happened(
    tmp_path_factory: pytest.TempPathFactory,
    power: float,
    outage_s: float,
    hold_s: float,
    waits: bool,
    seed: int,
) -> None:
    keyed = tuple((rate, t, hold_s if h == 900.0 else h) for rate, t, h in GLAZE)
    faults = Faults(
        power_factor=power,
        outage_at_c=700.0 if outage_s else None,
        outage_s=outage_s,
        keyed_in=keyed,
    )
    firing = fire(GLAZE, controller=Controller(waits=waits), faults=faults)
    sampling = Sampling(interval_s=60.0, step_c=1.0, seed=seed)
    result = review_of(firing, tmp_path_factory.mktemp("log"), GLAZE, sampling)
    # Every one of these programs comes to its end, and so must its account.
    assert firing.program_end_s is not None
    assert result.actual_s == pytest.approx(firing.program_end_s, abs=TOLERANCE_S)
    check_account(result)


def test_many_logs_of_one_plan_and_kiln_share_one_forecast(tmp_path: Path) -> None:
    plan = as_schedule(BISQUE)
    log = read_log(write_csv(sample(fire(BISQUE), Sampling(interval_s=60.0)), tmp_path / "log.csv"))
    first, second = (review(plan, log, kiln=trial_kiln()) for _ in range(2))
    assert second.forecast is first.forecast
    other = review(plan, log, kiln=trial_kiln(power_w=7000.0))
    assert other.forecast.program_s > first.forecast.program_s
