"""What terminal and page say of heat-work, witness cones, evenness and a second firing."""

from dataclasses import replace

import numpy as np
import pytest
from report.report_samples import HOUR_S, LEAD_IN_S, sample_review

from firing.files.kinds import ready_text
from firing.kiln.description import KilnDescription
from firing.kiln.file import parse_kiln
from firing.report.page import render_page
from firing.report.review import review_report
from firing.report.review_heat import margin_words, offset_words, unevenness
from firing.report.sanitize import display_width
from firing.report.text import render_text
from firing.review.heat_verdict import HeatOfChannels, heat_verdict, thermocouple_error
from firing.review.overlay import compare
from firing.review.resample import resampled
from firing.review.result import Review
from firing.review.witness import judge_witnesses, parse_witness
from firing.thermocouple.tolerance import drift_remarks, exposure
from firing.units import TemperatureUnit


def judged(unit: TemperatureUnit = "C", *, kiln: KilnDescription | None = None) -> Review:
    """The sample with its heat-work judged: the bottom is 8 °C colder throughout."""
    sample = sample_review(unit=unit)
    trace = sample.log.trace
    error = thermocouple_error(kiln, 1200.0)
    heat = heat_verdict(
        trace,
        resampled(trace.time_s, sample.temperature_c),
        HeatOfChannels(
            sample.cones_by_channel,
            sample.cones_by_channel,
            {name: exposure(trace, name) for name in trace.channels},
            trace.seconds_above(1000.0),
            () if kiln is None else drift_remarks(kiln.thermocouple),
        ),
        channel=0,
        heated_until_s=LEAD_IN_S + 11.5 * HOUR_S,
        error=error,
        kiln=kiln,
        witness=judge_witnesses(trace, 0, [parse_witness("6=4:00@bottom")]),
    )
    return replace(sample, heat=heat, kiln=kiln)


def flowing(text: str) -> str:
    return " ".join(text.split())


def test_the_margin_names_every_part_of_the_budget() -> None:
    unknown = " ".join(margin_words(judged()))
    assert "the cone ±2.0 °C" in unknown
    assert "the thermocouple's error is not in it" in unknown
    assert "unknown until witness cones have shown it" in unknown
    kiln = parse_kiln(ready_text("example-kiln"))
    moved = replace(kiln, fitted=replace(kiln.fitted, cone_offset_c=7.5))
    known = " ".join(margin_words(judged(kiln=moved)))
    assert "class 2 of IEC 60584-1 for type K" in known
    assert "+7.5 °C from the kiln file's witness cones" in known


def test_beyond_its_class_the_thermocouple_is_no_better() -> None:
    kiln = parse_kiln(ready_text("example-kiln"))
    # IEC 60584-1, type K class 2: 0.0075·|t| up to 1200 °C.
    inside, beyond = (thermocouple_error(kiln, at_c) for at_c in (1100.0, 1250.0))
    assert inside.tolerance_c == pytest.approx(8.25)
    assert beyond.tolerance_c == pytest.approx(9.0)
    assert beyond.reason.startswith("at least")


def test_degrees_apart_scale_and_do_not_shift_in_fahrenheit() -> None:
    for unit, apart in (("C", "8"), ("F", "14")):
        table = unevenness(judged(unit))  # type: ignore[arg-type]  # both are units
        assert table is not None
        assert table.rows[-1][1] == apart
        assert offset_words(10.0, 5.0, -5.0, unit) == (  # type: ignore[arg-type]
            "+10 (+5 to −5)" if unit == "C" else "+18 (+9 to −9)"
        )


@pytest.mark.parametrize("width", [72, 80, 120])
def test_the_whole_review_says_it_all_and_stays_within_its_lines(width: int) -> None:
    one = judged(kiln=parse_kiln(ready_text("example-kiln")))
    review = replace(one, comparison=compare(one, sample_review(step_s=60.0)))
    text = render_text(review_report(review), width=width)
    assert max(map(display_width, text.split("\n"))) <= width
    words = flowing(text)
    for part in (
        "Witness cones",
        "Evenness",
        "Above 1000 °C for",
        "By the witness cones middle reads",
        "°C/h at 573 °C",
        "Beside plates.csv (other)",
        "Nothing differs by more than two firings of one program do.",
        "Confidence: sure.",
    ):
        assert part in words, part
    assert render_text(review_report(review), width=width, ascii_only=True).isascii()


def test_a_refused_comparison_says_why_and_shows_no_segments() -> None:
    review = replace(
        judged(),
        refused="this log never went above 640 °C; the plan's second segment ends at 900 °C",
        segments=(),
        causes=(),
        actual_s=None,
        aligned_plan_c=np.full(sample_review().log.trace.time_s.shape, np.nan),
    )
    text = flowing(render_text(review_report(review)))
    assert "Not compared with the plan: this log never went above 640 °C" in text
    assert "reached cone" in text.lower()
    assert "together" not in text
    page = render_page(review_report(review))
    assert "Not compared with the plan" in page
    assert 'id="segments"' not in page


def test_the_page_shows_witnesses_evenness_and_the_other_firing() -> None:
    one = judged(kiln=parse_kiln(ready_text("example-kiln")))
    page = render_page(
        review_report(replace(one, comparison=compare(one, sample_review(step_s=60.0))))
    )
    for part in ("comparison-heading", 'id="comparison"', "witness cones", "apart by", "573"):
        assert part in page
    for source in ("cone-bending-practice", "iec-60584-1", "quartz-inversion-entry"):
        assert f"<b>{source}</b>" in page
