"""Tables, consequences, the account and the lists of files, as words."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from firing.tui.equipment import Circumstances, forecast_plan
from firing.tui.file_choices import choices, matching, ready_choices, typed_path
from firing.tui.form_kinds import form_of
from firing.tui.form_lines import spoken
from firing.tui.key_figures import summary_lines, warnings_count
from firing.tui.plot_lines import forecast_lines, review_lines, segment_at, set_point
from firing.tui.reading_fields import (
    CHOICES,
    in_fields,
    reading_fields,
    reading_of,
    reading_texts,
)
from firing.tui.review_entries import review_entries, summary
from firing.tui.screens.base import side_width
from report.report_samples import sample_forecast, sample_review, sample_schedule

from firing.errors import FiringError
from firing.files.tomlfile import suggest
from firing.forecast.forecast import forecast
from firing.logs.options import READING_OPTIONS, ReadingOptions, spelled
from firing.report.sanitize import whole_words
from firing.review.review import review
from firing.schedule.schedule import Schedule, Segment
from firing.tui import segment_table
from firing.ware.load import Dryness


@pytest.mark.parametrize("room", [38, 50, 60, 80, 100])
def test_the_columns_fit_the_room(room: int) -> None:
    arranged = segment_table.layout(room, sample_schedule())
    widths = dict(zip(arranged.keys, arranged.widths, strict=True))
    shown = [widths[key] for key in ("number", "name", "rate", "target", "hold")]
    # each column is followed by a gap, and the first cell is the cursor's mark
    assert 1 + sum(shown) + len(shown) <= room
    assert widths["name"] >= 8
    assert ("takes" in widths) == (room >= 60)


def test_rows_say_what_the_segments_do() -> None:
    plan = Schedule(
        "cooling",
        (Segment(1200.0, 100.0), Segment(1100.0, 60.0, hold_s=900.0), Segment(200.0, None, "off")),
    )
    keys = ("number", "rate", "target", "hold", "ends")
    rows = segment_table.cells(plan, forecast(plan), keys)
    assert rows[0] == ("", "", "20", "", "")
    # 1180 °C at 100 °C/h
    assert rows[1] == ("1", "100", "1200", "–", "11:48")
    assert rows[2][:4] == ("2", "−60", "1100", "15m")
    assert rows[3][1] == "off"
    assert segment_table.cells(plan, None, keys)[1][-1] == ""


def test_two_lines_sum_a_plan_up() -> None:
    # by hand: 2 + 4 + 4 h of ramps and half an hour's hold, from Monday 18:00
    hours, results = summary_lines(sample_forecast(), 78)  # and no kiln to tell of
    assert hours.startswith("Starts Mon 18:00 · heats 10 h 30 min · opens ")
    assert results.startswith("Cone ")
    assert "to know" in results
    plain, _ = summary_lines(sample_forecast(started=None), 78)
    assert plain.startswith("Heats 10 h 30 min · opens after ")


@pytest.mark.parametrize("width", [20, 40, 60, 78, 118])
def test_no_part_of_the_sum_is_cut(width: int) -> None:
    lines = summary_lines(sample_forecast(), width)
    whole = " · ".join(summary_lines(sample_forecast(), 1000))
    assert " · ".join(lines).casefold() == whole.casefold()
    assert all(len(line) <= max(width, 60) for line in lines)


def test_a_wanted_cone_and_its_warning_are_told() -> None:
    result = forecast_plan(sample_schedule(), Circumstances(target_cone="10"))
    assert "target 10" in summary_lines(result, 78)[1]
    assert "1 to do" in warnings_count(result)


def test_the_set_point_is_the_program() -> None:
    result = sample_forecast(started=None)
    time_s, value_c = set_point(result)
    assert np.interp([0.0, 7200.0, 6 * 3600.0, 10.2 * 3600.0], time_s, value_c) == pytest.approx(
        [20.0, 120.0, 600.0, 1200.0]
    )
    off = Schedule("off", (Segment(900.0, 100.0), Segment(300.0, None, "off")))
    assert np.isnan(set_point(forecast(off))[1][-1])


def test_a_moment_is_read_off() -> None:
    result = sample_forecast(started=datetime(2026, 3, 2, 18, 0, tzinfo=UTC))
    course = forecast_lines(result)
    # an hour into the first ramp, 20 °C + 50 °C
    assert course.readout(3600.0) == "Mon 19:00 · set 70 °C · forecast 70 °C · 1 Drying"
    assert segment_at(result, 1e6) is None


def test_the_account_is_the_reviews_own() -> None:
    review = sample_review()
    found = review_entries(review)
    figures = [entry.figure for entry in found[1 : 1 + len(review.causes)]]
    minutes = [int(figure.strip().replace("−", "-")) for figure in figures]
    assert minutes == [round(cause.seconds / 60.0) for cause in review.causes]
    assert [entry.heading for entry in found].count(True) >= 3
    for finding in review.findings:
        (entry,) = [e for e in found if e.details and e.details[0].startswith(finding.message)]
        assert (entry.span_s is None) == (finding.at_s is None)
    assert "1 h 00 min longer" in summary(review)[0]
    assert "planned" in summary(review)[1]
    course = review_lines(review)
    # The plan, the other sensors, and on top the kiln.
    assert [line.style for line in course.lines] == ["dashed", "dash-dotted", "solid"]


def test_lists_of_files_show_what_can_be_opened(tmp_path: Path) -> None:
    for name in ("b.toml", "a.csv", ".hidden.toml", "notes.md"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    (tmp_path / "old").mkdir()
    assert [c.words for c in choices(tmp_path, "schedule")] == ["..", "old/", "b.toml"]
    assert [c.words for c in choices(tmp_path, "log")] == ["..", "old/", "a.csv"]
    ready = ready_choices()
    assert ready[0].new
    assert [c.ready for c in matching(ready, "cone 6 hold")] == ["mid-range-glaze-cone-6-hold"]
    assert typed_path(" b.toml ", tmp_path) == tmp_path / "b.toml"
    assert typed_path("~", tmp_path) == Path.home()


def test_the_forms_about_a_log_have_every_option_of_reading() -> None:
    from firing.cli.review import review_command

    fields = {field.key: field for field in reading_fields("C")}
    options = {p.name: p for p in review_command.params}
    assert set(fields) == set(READING_OPTIONS)
    for key, field in fields.items():
        assert spelled(key) in options[key].opts
        assert in_fields(f"say {spelled(key)} with it") == f"say “{field.label}” with it"
    for key, _, _, values in CHOICES:
        assert set(values) == set(options[key].type.choices)  # type: ignore[attr-defined]


def test_what_a_form_about_a_log_begins_with_it_gives_back() -> None:
    told = ReadingOptions(
        "mV", "epoch", "dmy", "UTC", ";", ",", "cp1252", 3, {"A": "time", "B": "temperature"},
        "S", 25.0, 300.0, "all", True, True,
    )  # fmt: skip
    for options in (told, ReadingOptions(), ReadingOptions(part=2, junction_c=0.0)):
        texts = reading_texts(options, "F")
        filled = {field.key: field.read(texts[field.key]) for field in reading_fields("F")}
        assert reading_of(filled) == options


def test_the_list_beside_the_curve_leaves_room_for_it() -> None:
    assert side_width(80) == 38
    assert side_width(120) == 60
    assert side_width(200) == 100


def test_a_refusal_in_a_form_names_no_option_and_no_quotes() -> None:
    sample = sample_review()
    bare = replace(sample.log, trace=replace(sample.log.trace, started=None))
    with pytest.raises(FiringError) as refused:
        review(sample.schedule, bare, due=datetime(2026, 3, 2, 7, 30, tzinfo=UTC))
    assert "--start" in str(refused.value)
    assert "--" not in in_fields(str(refused.value))
    assert suggest("wet", get_args(Dryness)).endswith("; bisqued; bisqued, freshly glazed")
    kiln = form_of("kiln")
    assert spoken(kiln, 'is missing; write "round"') == "is missing; write round"
    assert spoken(kiln, 'no number, like 180, or "7 cu ft"') == "no number, like 180, or 7 cu ft"


def test_text_is_cut_between_words() -> None:
    assert whole_words("power 7 kW, to 1300 °C", 20) == "power 7 kW, to 1300"
    assert whole_words("C candle · W water", 11) == "C candle"
    assert whole_words("thermocouples", 5) == "ther…"
