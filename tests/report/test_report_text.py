"""What the terminal says.  The expected figures are the arithmetic in `report_samples`."""

import re
import subprocess
import sys
import unicodedata
from datetime import datetime

import pytest
from report.report_samples import STARTED, Names, sample_forecast, sample_review

from firing.report.forecast import forecast_report
from firing.report.review import review_report
from firing.report.sanitize import display_width
from firing.report.text import render_text
from firing.safety import DEFERENCE, cautions_for

HOSTILE = Names(
    title="T\x1b[2J\n\u202e",
    segment="S\x1b]0;x\x07",
    action="A\x9b1m",
    channel="C\x1b[31m",
    log_name="L\x1b[0m.csv",
    note="N\r\x08",
)


def flowing(text: str) -> str:
    return " ".join(text.split())


def row(text: str, start: str) -> list[str]:
    return next(line for line in text.split("\n") if line.startswith(start)).split()


def test_the_forecast_answers_first() -> None:
    text = flowing(render_text(forecast_report(sample_forecast())))
    assert text.startswith(
        "Forecast: Plates, invented Starts Mon 2 Mar 2026 at 18:00. "
        "Heats for 10 h 30 min and reaches 1200 °C on Tue at 04:00. Opens at 60 °C on "
    )
    assert "self-supporting" in text
    assert "1996" in text


def test_the_forecast_without_a_start_speaks_in_durations() -> None:
    text = flowing(render_text(forecast_report(sample_forecast(started=None))))
    assert "reaches 1200 °C after 10 h 00 min" in text
    assert "Opens at 60 °C after about " in text
    assert "Tue" not in text


def test_every_segment_with_its_figures() -> None:
    text = render_text(forecast_report(sample_forecast()))
    assert row(text, "1  Drying") == ["1", "Drying", "50", "120", "–", "2:00", "Mon", "20:00"]
    assert row(text, "2 ")[1:] == ["120", "600", "–", "4:00", "Tue", "00:00"]
    assert row(text, "3  To")[4:] == ["150", "1200", "0:30", "4:30", "Tue", "04:30"]


def test_fahrenheit_for_those_who_fire_in_it() -> None:
    # 1200 °C is 2192 °F and 50 °C/h is 90 °F/h, by definition.
    text = render_text(forecast_report(sample_forecast(unit="F")))
    assert "reaches 2192 °F" in flowing(text)
    assert row(text, "1  Drying")[2:4] == ["90", "248"]
    assert "°C/h  to" not in text


def test_what_is_done_by_hand_and_when() -> None:
    assert "• On Mon at 20:00, as segment 1 ends: close the lid" in render_text(
        forecast_report(sample_forecast())
    )


def test_warnings_basis_cautions_and_deference() -> None:
    forecast = sample_forecast()
    text = flowing(render_text(forecast_report(forecast)))
    for warning in forecast.warnings:
        assert warning.message in text
    assert "default cooling curve" in text
    for caution in cautions_for(1200.0, "glaze"):
        assert caution.heading in text
    assert DEFERENCE in text
    assert "firing safety" in text


def test_the_review_answers_first() -> None:
    text = flowing(render_text(review_report(sample_review())))
    assert text.startswith(
        "Review: Plates, invented Ran 11 h 30 min, 1 h 00 min over its 10 h 30 min. Reached cone "
    )
    assert "highest reading 1200 °C, planned 1200 °C" in text


def test_every_segment_planned_and_actual() -> None:
    text = render_text(review_report(sample_review()), width=100)
    # 480 °C in 4 h 40 min is 103 °C/h.
    assert row(text, "2 ") == [
        "2", "4:00", "4:40", "+0:40", "120/103", "600", "–", "waiting", "for", "the", "kiln",
    ]  # fmt: skip
    assert row(text, "3  To")[-4:] == ["0:30/0:50", "hold", "ran", "long"]
    assert row(text, "   together") == ["together", "10:30", "11:30", "+1:00"]


def test_the_account_is_rows_with_signed_minutes_and_bars() -> None:
    text = render_text(review_report(sample_review()))
    waiting, longer = row(text, "waiting for the kiln"), row(text, "hold ran long")
    assert (waiting[-2], longer[-2]) == ("+40", "+20")
    assert len(waiting[-1]) == 2 * len(longer[-1])
    assert "What may help: measure the elements cold" in flowing(text)


def test_cones_cooling_findings_and_log() -> None:
    text = flowing(render_text(review_report(sample_review())))
    assert "From 1200 °C to 100 °C in 12 h 00 min; 11 h 00 min expected" in text
    assert "To do: The firing ran 1 h 00 min over its plan." in text
    assert "Next: Look at the elements." in text
    assert "To check: The bottom stayed 8 °C below the middle." in text
    assert "plates.csv: 2842 rows, 2841 used, one about every 30 s" in text
    assert "1 row was no reading." in text
    assert "The log begins 10 min before the heating" in text


@pytest.mark.parametrize("width", [72, 80, 120])
@pytest.mark.parametrize("started", [STARTED, None])
def test_no_line_is_wider_than_the_terminal(width: int, started: datetime | None) -> None:
    long = Names(title="long " * 60, segment="word" * 30, channel="channel" * 20, note="n" * 200)
    for names in (Names(), long):
        for text in (
            render_text(forecast_report(sample_forecast(names, started=started)), width=width),
            render_text(review_report(sample_review(names, started=started)), width=width),
        ):
            widest = max(text.split("\n"), key=display_width)
            assert display_width(widest) <= width, widest


@pytest.mark.parametrize("ascii_only", [False, True])
def test_hostile_texts_cannot_steer_the_terminal(ascii_only: bool) -> None:
    for text in (
        render_text(forecast_report(sample_forecast(HOSTILE)), ascii_only=ascii_only),
        render_text(review_report(sample_review(HOSTILE)), ascii_only=ascii_only),
    ):
        bad = {c for c in text if unicodedata.category(c) in {"Cc", "Cf"} and c != "\n"}
        assert not bad


def test_plain_without_colour_and_the_same_words_with_it() -> None:
    for make in (lambda c: render_text(forecast_report(sample_forecast()), colour=c),
                 lambda c: render_text(review_report(sample_review()), colour=c)):  # fmt: skip
        assert "\x1b" not in make(False)
        assert "\x1b[" in make(True)
        assert re.sub(r"\x1b\[[0-9;]*m", "", make(True)) == make(False)


def test_ascii_only() -> None:
    assert render_text(forecast_report(sample_forecast()), ascii_only=True).isascii()
    assert render_text(review_report(sample_review()), ascii_only=True).isascii()


def test_the_terminal_loads_no_drawing_library() -> None:
    code = (
        "import sys, firing.report.text, firing.report.forecast, firing.report.review;"
        "heavy = {'plotly', 'pandas', 'textual', 'firing.report.page'};"
        "sys.exit(bool(heavy & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
