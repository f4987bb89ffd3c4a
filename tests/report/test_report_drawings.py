"""What the drawings hold, before a browser sees them."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from report.report_samples import LEAD_IN_S, Names, sample_forecast, sample_review

from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.report.charts.figure import Drawing, TimeAxis, label
from firing.report.charts.heatwork import near_cones
from firing.report.document import Block, Chart, Report, Section, shown
from firing.report.forecast import forecast_report
from firing.report.page import CONFIG, library, render_page
from firing.report.review import review_report
from firing.review.overlay import compare
from firing.review.result import CauseShare, Quickening, Review


def drawn(parts: Sequence[Block | None]) -> Iterator[Drawing]:
    for part in shown(parts, "page"):
        if isinstance(part, Section):
            yield from drawn(part.parts)
        elif isinstance(part, Chart) and (drawing := part.draw()) is not None:
            yield drawing


def forecast_drawings(forecast: Forecast) -> list[Drawing]:
    return list(drawn(forecast_report(forecast).parts))


def review_drawings(review: Review) -> list[Drawing]:
    return list(drawn(review_report(review).parts))


def strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from strings(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from strings(inner)


@pytest.fixture(scope="module")
def review_figures() -> dict[str, Any]:
    return {d.name: d for d in review_drawings(sample_review())}


def test_a_review_has_three_drawings_with_captions(review_figures: dict[str, Any]) -> None:
    assert list(review_figures) == ["course", "account", "heatwork"]
    assert all(len(d.caption) > 40 for d in review_figures.values())


def test_plan_dashed_actual_solid_other_channel_otherwise(review_figures: dict[str, Any]) -> None:
    lines = review_figures["course"].figure["data"]
    by_name = {line["name"]: line["line"]["dash"] for line in lines}
    assert by_name["plan"] == "dash"
    assert by_name["actual, middle"] == "solid"
    assert by_name["bottom"] not in {"dash", "solid"}


def test_deviation_is_actual_less_plan_on_the_same_time_axis(
    review_figures: dict[str, Any],
) -> None:
    *_, deviation = review_figures["course"].figure["data"]
    assert deviation["xaxis"] == "x"
    assert deviation["yaxis"] == "y2"
    # The sample's plan lies 40 °C above the actual ramp at the deepest.
    assert min(v for v in deviation["y"] if v is not None) == pytest.approx(-40.0, abs=0.2)
    assert "by 40 °C, on Mon at 22:30" in review_figures["course"].caption


def test_deviation_scales_but_does_not_shift_in_fahrenheit() -> None:
    course = review_drawings(sample_review(unit="F"))[0]
    deviation = course.figure["data"][-1]
    assert min(v for v in deviation["y"] if v is not None) == pytest.approx(-72.0, abs=0.4)
    assert "by 72 °F" in course.caption


def test_heatwork_runs_to_the_cone_and_crosses_one_where_the_verdict_says() -> None:
    review = sample_review(started=None)
    heat = next(d for d in review_drawings(review) if d.name == "heatwork")
    reached = review.cones.reached
    assert reached is not None
    line = next(t for t in heat.figure["data"] if t["name"] == f"cone {reached}")
    x = np.array([v for v, y in zip(line["x"], line["y"], strict=True) if y is not None])
    y = np.array([v for v in line["y"] if v is not None])
    assert y.max() <= 1.2
    down_s = review.cones.by_cone[reached].reached_s
    assert np.interp(1.0, y, x) * 3600.0 == pytest.approx(down_s, abs=60.0)
    assert heat.figure["layout"]["yaxis"]["range"] == (0, 1.2) or heat.figure["layout"]["yaxis"][
        "range"
    ] == [0, 1.2]


def test_the_account_is_a_bar_a_cause_from_zero(review_figures: dict[str, Any]) -> None:
    account = review_figures["account"]
    longer, shorter = account.figure["data"]
    # The sample ran 40 min longer by waiting and 20 min by a hold: 10 h 30 min to 11 h 30 min.
    assert list(longer["x"]) == pytest.approx([40.0, 20.0])
    assert "base" not in longer
    assert list(longer["y"]) == ["waiting for the kiln<br>+40 min", "hold ran long<br>+20 min"]
    assert list(shorter["x"]) == []
    assert "Planned 10 h 30 min, actual 11 h 30 min" in account.caption


@pytest.mark.parametrize("seconds", [(600.0, -1800.0, 20.0), (-3600.0, 25.0, 24.0)])
def test_the_bars_of_the_account_add_up_to_the_excess(seconds: tuple[float, ...]) -> None:
    names = ("waiting", "shorter_hold", "unexplained")
    causes = tuple(CauseShare(name, s) for name, s in zip(names, seconds, strict=True))
    review = replace(sample_review(), causes=causes, actual_s=10.5 * 3600.0 + sum(seconds))
    account = next(d for d in review_drawings(review) if d.name == "account")
    longer, shorter = account.figure["data"]
    # What is too small to be seen, below half a minute, has no bar of its own.
    assert sum(longer["x"]) + sum(shorter["x"]) == pytest.approx(sum(seconds) / 60.0, abs=0.5)
    assert all(size > 0 for size in longer["x"])
    assert all(size < 0 for size in shorter["x"])


def test_causes_are_marked_on_the_curve_where_most_of_them_fell(
    review_figures: dict[str, Any],
) -> None:
    course = review_figures["course"]
    letters = {a["text"][0]: a for a in course.figure["layout"]["annotations"] if a["showarrow"]}
    # The middle of segment 2 (2 h to 6 h 40 min after 18:10), and of the hold after 10 h 40 min.
    assert letters["A"]["x"] == "2026-03-02T22:30:00"
    assert letters["B"]["x"] == "2026-03-03T05:15:00"
    assert letters["B"]["y"] == pytest.approx(1200.0, abs=1.0)
    assert "A waiting for the kiln +40 min; B hold ran long +20 min" in course.caption


def test_where_the_cooling_quickened_is_marked_too() -> None:
    quicker = Quickening(LEAD_IN_S + 15.0 * 3600.0, 880.0, 90.0, 200.0)
    review = replace(sample_review(), quickening=quicker)
    course = review_drawings(review)[0]
    assert "C cooled faster from 880 °C on" in course.caption


def test_a_plan_of_another_firing_is_not_drawn() -> None:
    review = replace(sample_review(), refused="it is another", segments=(), causes=())
    drawings = review_drawings(review)
    assert "account" not in {d.name for d in drawings}
    assert "plan" not in {line["name"] for line in drawings[0].figure["data"]}
    assert "another firing" in drawings[0].caption


def test_two_firings_over_each_other() -> None:
    one = sample_review()
    drawing = review_drawings(replace(one, comparison=compare(one, sample_review(step_s=60.0))))[-1]
    assert drawing.name == "comparison"
    this, other = drawing.figure["data"]
    assert this["line"]["dash"] != other["line"]["dash"]
    # Both from where heating began, ten minutes into the log.
    assert this["x"][0] == pytest.approx(-LEAD_IN_S / 3600.0, abs=1e-4)


def test_no_figure_draws_more_than_it_can_show() -> None:
    for drawing in review_drawings(sample_review(step_s=1.0)):
        points = sum(len(trace["x"]) for trace in drawing.figure["data"])
        assert points <= 4100


def test_user_text_is_no_markup_in_a_label() -> None:
    # The drawing library reads <b>, <a href> and entities in its labels.
    names = Names(*["<b>x</b><a href='http://example.org'>y</a>&amp;"] * 6)
    for drawing in (
        *review_drawings(sample_review(names)),
        *forecast_drawings(sample_forecast(names)),
    ):
        assert not [s for s in strings(drawing.figure) if "<b>" in s or "<a " in s]
    assert label("<b>&") == "&lt;b&gt;&amp;"


def test_forecast_marks_what_is_done_by_hand() -> None:
    course = forecast_drawings(sample_forecast())[0]
    marks = course.figure["data"][-1]
    assert list(marks["text"]) == ["close the lid"]
    assert list(marks["x"]) == ["2026-03-02T20:00:00"]


def test_hours_where_there_is_no_clock_or_it_changes() -> None:
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    assert TimeAxis.over(None, 10.0).x([LEAD_IN_S * 6]) == [1.0]
    assert TimeAxis.over(datetime(2026, 3, 2, tzinfo=UTC), 10.0).started is not None
    # Berlin's clock leaps an hour on 29 March 2026 (IANA tz database).
    before = datetime(2026, 3, 28, 23, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    assert TimeAxis.over(before, 5 * 3600.0).started is None


@pytest.mark.parametrize(
    ("numbers", "cones"),
    [
        ([6.0], ["5", "5.5", "6", "7"]),
        ([None], []),
        ([None, -5.0], ["07", "06", "05.5", "05"]),
        ([-21.0], ["022", "021"]),
        ([14.0], ["13", "14"]),
    ],
)
def test_cones_around_a_result(numbers: list[float | None], cones: list[str]) -> None:
    assert near_cones(numbers) == cones


def test_nothing_offers_to_send_the_data_anywhere() -> None:
    assert CONFIG["showSendToCloud"] is False
    assert CONFIG["displaylogo"] is False
    assert "</script" not in library().lower()


def test_a_cold_trace_has_no_heatwork_to_draw() -> None:
    from firing.schedule.schedule import Schedule, Segment

    drying = Schedule("Drying", (Segment(110.0, 40.0, hold_s=3600.0),))
    assert [d.name for d in forecast_drawings(forecast(drying))] == ["course"]


def test_a_property_that_plotly_does_not_know_is_refused() -> None:
    wrong = Drawing("odd", {"data": [{"type": "scatter", "colour": "red"}], "layout": {}}, "x", 100)
    with pytest.raises(ValueError, match="colour"):
        render_page(Report("", "Odd", [Chart(lambda: wrong)]), interactive=True)
