"""The power's trend: fits and element readings over time, judged by what is usual."""

from dataclasses import replace
from datetime import date

import pytest
from kilns import trial_kiln

from firing.kiln.description import ElementReading, Fitted, PastFit
from firing.kiln.element_wear import power_down, power_trend
from firing.kiln.fit_result import Diagnostics, FittedValue, KilnFit
from firing.sources import source


def fit(power: float, on: date | None, *, told: bool = True) -> KilnFit:
    one = FittedValue(1.0, 0.02, True, "")
    return KilnFit(
        power=FittedValue(power, 0.02, told, ""), loss=one, capacity=one, power_over_capacity=one,
        leak=one, losses=one, loss_over_capacity=one, leak_over_capacity=one,
        losses_over_capacity=one, power_over_losses=one, anchored=told, on=on, basis="a log",
        diagnostics=Diagnostics(0.01, 95.0, 40, 0.0, 0.0, 0.0),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("rise", "down"),
    [(0.10, 0.091), (0.05, 0.048), (0.18, 0.153)],  # element-replacement-practice: 10 % is 9.1 %
)
def test_power_lost_by_resistance_gained(rise: float, down: float) -> None:
    assert power_down(rise) == pytest.approx(down, abs=0.0005)


def test_nothing_dated_says_so() -> None:
    trend = power_trend(trial_kiln())
    assert trend.points == ()
    assert trend.power_down is None
    assert "No dated fit" in trend.sentences[0]


def test_two_fits_show_what_was_lost() -> None:
    kiln = trial_kiln(fitted=Fitted(power=0.97, learnt=date(2024, 9, 1), basis="by meter"))
    trend = power_trend(kiln, [fit(0.91, date(2025, 9, 1))])
    assert trend.power_down == pytest.approx(0.09)
    said = " ".join(trend.sentences)
    assert "power is down 9 % (± 2 %) against what the kiln file says" in said
    assert "6 % of it lost since 2024-09-01" in said
    assert "Replacement of elements is usually judged at 10 % more resistance" in said
    assert "5 % to 18 %" in said
    assert "within the spread, short of the common rule" in said
    assert "measured by a competent person" in said
    for name in trend.sources:
        assert source(name).id == name


@pytest.mark.parametrize(
    ("power", "verdict"),
    [
        (0.97, "less than at any of these figures"),
        (0.94, "short of the common rule"),
        (0.88, "beyond the common rule, within the spread"),
        (0.80, "beyond all of these figures"),
        (1.03, "less than at any of these figures"),
    ],
)
def test_the_verdict_by_the_spread(power: float, verdict: str) -> None:
    trend = power_trend(trial_kiln(), [fit(power, date(2025, 1, 1))])
    assert any(verdict in sentence for sentence in trend.sentences)


def test_what_tells_no_power_is_left_out() -> None:
    ratios = Fitted(power=0.8, learnt=date(2024, 9, 1), basis="x.csv; ratios only, no anchor")
    kiln = trial_kiln(fitted=ratios)
    untold = [fit(0.7, date(2025, 1, 1), told=False), fit(0.7, None)]
    assert power_trend(kiln, untold).points == ()


def test_a_kept_fit_that_did_not_tell_the_power_is_no_word_of_it_either() -> None:
    then = date(2024, 9, 1)
    kiln = trial_kiln(
        fitted=Fitted(power=1.06, learnt=then, basis="fixed by the load's mass"),
        fits=(PastFit(then, 1.06, 1.0, 1.0, 1.0, power_over_capacity_se=0.01, loaded=True),),
    )
    trend = power_trend(kiln, [fit(0.8, date(2025, 1, 1), told=False)])
    assert trend.points == ()
    assert not any("power is up" in sentence for sentence in trend.sentences)


@pytest.mark.parametrize(("ratio", "spoken"), [(0.7, True), (0.95, False)])
def test_a_low_power_over_capacity_without_a_load_is_spoken_of(ratio: float, spoken: bool) -> None:
    found = replace(
        fit(ratio, date(2025, 1, 1), told=False),
        power_over_capacity=FittedValue(ratio, 0.01, True, ""),
    )
    trend = power_trend(trial_kiln(), [found])
    assert ("30 % below what the kiln file says" in trend.sentences[0]) is spoken
    assert not trend.needs_action  # a load nobody weighed may be what it is


def test_a_firing_that_kept_up_is_no_witness_of_its_power() -> None:
    untold = FittedValue(1.0, 0.4, False, "")
    silent = replace(
        fit(1.0, date(2025, 1, 1), told=False), power_over_capacity=untold, least_power=0.76
    )
    trend = power_trend(trial_kiln(), [silent])
    assert trend.sentences[0].startswith("This log can't show whether power was lost")
    assert "needed about 76 % of the kiln file's power at most" in trend.sentences[0]
    assert not trend.needs_action
    # What is known of other days still stands, after that.
    known = trial_kiln(fitted=Fitted(power=0.9, learnt=date(2024, 1, 1), basis="a meter"))
    said = power_trend(known, [silent]).sentences
    assert said[0].startswith("This log can't show")
    assert any("power is down 10 %" in sentence for sentence in said)


def test_power_below_what_an_earlier_firing_needed_is_down_by_that_at_least() -> None:
    # It needed 0.80 of full power, for losses of 1; 0.60 now is a quarter less, or more.
    then = PastFit(date(2024, 9, 1), 1.0, 1.0, 1.0, 1.0, least_power=0.80, basis="then")
    now = replace(
        fit(0.60, date(2025, 9, 1), told=False), power_over_losses=FittedValue(0.6, 0.01, True, "")
    )
    trend = power_trend(trial_kiln(fits=(then,)), [now])
    assert trend.change is not None
    assert trend.change.at_least
    assert trend.change.ratio == pytest.approx(0.75)
    assert "Power is down at least 25 %" in " ".join(trend.sentences)
    assert "more may be lost" in " ".join(trend.sentences)
    assert trend.needs_action


def test_a_difference_within_the_error_is_none() -> None:
    trend = power_trend(trial_kiln(), [fit(0.97, date(2025, 1, 1))])
    assert "does not differ from" in trend.sentences[0]


def test_readings_of_banks_add_up_as_conductances() -> None:
    # 12.2 Ω and 6.1 Ω when new; 14.4 and 7.2 worn (+18 %): (1/14.4 + 1/7.2)/(1/12.2 + 1/6.1).
    first, later = date(2023, 1, 1), date(2025, 1, 1)
    readings = (
        ElementReading(first, "top", ohms=12.2),
        ElementReading(first, "bottom", ohms=6.1),
        ElementReading(later, "top", ohms=14.4),
        ElementReading(later, "bottom", ohms=7.2),
    )
    trend = power_trend(trial_kiln(readings=readings))
    assert [point.on for point in trend.points] == [first, later]
    assert trend.points[0].power == pytest.approx(1.0)
    assert trend.power_down == pytest.approx(1.0 - 6.1 / 7.2, abs=1e-3)
    assert any("By ohms of 2025-01-01 power is down 15 %" in said for said in trend.sentences)


def test_cold_ohms_and_hot_amps_are_not_mixed() -> None:
    readings = (
        ElementReading(date(2023, 1, 1), ohms=6.0),
        ElementReading(date(2024, 1, 1), amps=38.4, volts=240.0),  # 6.25 Ω hot
        ElementReading(date(2025, 1, 1), amps=36.0, volts=240.0),
    )
    trend = power_trend(trial_kiln(readings=readings))
    assert [point.power for point in trend.points] == pytest.approx([1.0, 1.0, 36.0 / 38.4])
    replaced = (*readings, replace(readings[2], on=date(2025, 6, 1), amps=38.4))
    assert power_trend(trial_kiln(readings=replaced)).power_down == pytest.approx(0.0)
    assert len(power_trend(trial_kiln(readings=readings)).to_dict()["points"]) == 3


def test_a_log_without_a_date_is_judged_by_itself() -> None:
    fitted = Fitted(power=0.98, learnt=date(2025, 9, 1), basis="2025-09-01: a; fixed by a meter")
    kiln = trial_kiln(fitted=fitted)
    trend = power_trend(kiln, [fit(0.73, None)])
    assert trend.power_down == pytest.approx(0.27)
    assert "no date" in trend.sentences[0]
    assert "27 %" in trend.sentences[0]


def test_what_may_be_none_still_says_which_way_it_lies() -> None:
    then = PastFit(date(2024, 9, 1), 1.0, 1.0, 1.0, 1.0, power_over_losses_se=0.05, basis="then")
    now = replace(
        fit(0.95, date(2025, 9, 1), told=False),
        power_over_losses=FittedValue(0.95, 0.05, True, ""),
    )
    trend = power_trend(trial_kiln(fits=(then,)), [now])
    (told,) = [one for one in trend.sentences if "does not differ" in one]
    # 0.95 of 1 is 5 % less; "either way" would deny what the table beside it shows.
    assert ": 5 % less, give or take " in told
