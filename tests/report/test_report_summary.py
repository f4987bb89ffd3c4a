"""The sentences that answer first, in the cases the sample does not show."""

from dataclasses import replace

from report.report_samples import HOUR_S, MINUTE_S, sample_forecast, sample_review

from firing.forecast.forecast import forecast
from firing.report.forecast import forecast_answer
from firing.report.review import review_answer
from firing.report.review_time import cause_words
from firing.review.result import CauseShare, Review
from firing.schedule.schedule import Schedule, Segment


def ran(hours: float, *causes: CauseShare) -> str:
    sample = sample_review()
    # The causes are looked for in the segments too; here they are the firing's alone.
    segments = tuple(replace(segment, causes=()) for segment in sample.segments)
    review = replace(sample, actual_s=hours * HOUR_S, causes=causes, segments=segments)
    return review_answer(review)[0]


def test_on_time() -> None:
    assert ran(10.5) == "Ran 10 h 30 min, as planned."


def test_shorter_than_planned() -> None:
    words = ran(10.0, CauseShare("shorter_hold", -30.0 * MINUTE_S))
    assert words == "Ran 10 h 00 min, 30 min under its 10 h 30 min: hold ran short −30 min."


def test_causes_that_cancel_are_still_named() -> None:
    words = ran(
        10.5,
        CauseShare("waiting", 20.0 * MINUTE_S),
        CauseShare("shorter_hold", -20.0 * MINUTE_S),
    )
    assert words == (
        "Ran 10 h 30 min, as planned: waiting for the kiln +20 min, hold ran short −20 min."
    )


def test_small_causes_are_summed() -> None:
    names = ("waiting", "longer_hold", "late_start", "other_program", "unexplained")
    causes = [CauseShare(name, (50.0 - 10.0 * i) * MINUTE_S) for i, name in enumerate(names)]
    assert ran(13.0, *causes).endswith("started late +30 min, smaller causes +30 min.")


def test_a_log_that_stops_early() -> None:
    sample = sample_review()
    last = replace(sample.segments[2], actual_s=None, end_s=None)
    review: Review = replace(
        sample, actual_s=None, causes=(), segments=(*sample.segments[:2], last)
    )
    assert review_answer(review)[0] == (
        "The log does not show the end of the 10 h 30 min program: it stops within segment 3."
    )


def test_a_plan_too_cold_for_any_cone_that_ends_cold() -> None:
    drying = forecast(Schedule("Drying", (Segment(50.0, 10.0, hold_s=HOUR_S),)))
    first, second = forecast_answer(drying)
    assert first.endswith("Ends after 4 h 00 min, already below 60 °C.")
    assert second.startswith("Amounts to less than cone 022")
    assert drying.cones.words.startswith("less than cone 022")


def test_a_wanted_cone_is_named() -> None:
    wanted = replace(sample_forecast(), target_cone="6")
    assert "; target cone 6" in forecast_answer(wanted)[1]


def test_causes_without_evidence_or_of_seconds_say_nothing() -> None:
    causes = (
        CauseShare("waiting", 600.0),
        CauseShare("longer_hold", 10.0, "held longer by a blink"),
    )
    assert cause_words(causes) == []
