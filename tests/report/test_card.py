"""The key-in card: everything to key, and nothing that needs a script or a network."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from html.parser import HTMLParser
from zoneinfo import ZoneInfo

import pytest
from design.making import CONTROLLER, example_kiln, ware

from firing.controller.controller import Controller
from firing.controller.program import key_in
from firing.forecast.forecast import forecast
from firing.report.card import Card, card_report
from firing.report.page import render_page
from firing.report.text import render_text
from firing.safety import DEFERENCE, cautions_for
from firing.schedule.schedule import Schedule, Segment

PLAN = Schedule(
    "Mugs <b>&</b> \x1b[31mjars",
    (
        Segment(90.0, 60.0, hold_s=3600.0, name="Dry", action="close the lid"),
        Segment(600.0, 100.0, name="Smoke"),
        Segment(980.0, 150.0, hold_s=900.0, name="Top", action="off"),
        Segment(700.0, None, "off", name="Fall"),
    ),
    "bisque",
)
START = datetime(2026, 11, 27, 20, 0, tzinfo=ZoneInfo("Europe/Berlin"))


def card(controller: Controller = CONTROLLER, started: datetime | None = START) -> Card:
    program = key_in(PLAN, controller)
    return Card(program, forecast(program.schedule, started=started))


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text: list[str] = []
        self.boxes = 0
        self.outside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        values = dict(attrs)
        self.boxes += values.get("class") == "box"
        for key in ("src", "href", "action"):
            value = values.get(key)
            if value and not value.startswith(("data:", "#")):
                self.outside.append(value)

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def test_the_text_has_every_figure_a_box_for_each_and_the_clock() -> None:
    text = render_text(card_report(card()))
    for number, row in enumerate((("60", "90", "1:00"), ("100", "600"), ("150", "980", "0:15"))):
        (line,) = [line for line in text.splitlines() if line.startswith(f"{number + 1}  ")]
        assert all(figure in line for figure in row)
        assert line.count("[ ]") == 2
    # 70 °C at 60 °C/h and an hour after 20:00
    assert "22:10" in text
    assert "close the lid" in text
    assert "elements off" in text
    assert "Read back all 4 segments" in text
    assert DEFERENCE[:40] in text.replace("\n", " ")
    assert "\x1b" not in text


def test_every_caution_that_applies_is_named() -> None:
    text = " ".join(render_text(card_report(card())).split())
    page = render_page(card_report(card()))
    for caution in cautions_for(980.0, "bisque"):
        assert caution.heading in text
        assert caution.heading.replace("'", "&#x27;") in page.replace("\u00a0", " ")


def test_the_page_stands_alone_and_has_two_boxes_a_segment() -> None:
    html = render_page(card_report(card()))
    page = _Page()
    page.feed(html)
    assert "script" not in page.tags
    assert page.outside == []
    assert page.boxes == 2 * 4
    assert "default-src 'none'" in html
    assert "@page { margin: 12mm" in html  # the paper is the printer's: A4 or Letter
    assert "<b>&</b>" not in html
    assert "Read back all" in "".join(page.text)


def test_rounding_is_told_in_minutes_and_cones() -> None:
    coarse = replace(CONTROLLER, unit="F", rate_step=50.0, target_step=10.0)
    text = " ".join(render_text(card_report(card(coarse))).split())
    assert "never faster" in text
    assert re.search(r"changes the program by \+?\d", text)
    assert "as keyed" in text
    assert "to °F" in text


def test_minutes_to_target_and_a_start_left_open() -> None:
    text = render_text(card_report(card(replace(CONTROLLER, notation="time"), None)))
    assert "minutes" in text
    assert re.search(r"^1 +Dry +70 +90 ", text, re.M)
    assert 'Started at: <span class="blank">' in render_page(card_report(card(CONTROLLER, None)))


def test_the_document_has_rows_and_moments() -> None:
    data = card().to_dict()
    assert (data["schema"], data["kind"]) == (1, "card")
    first = data["rows"][0]
    assert (first["rate"], first["target"], first["hold_s"]) == (60.0, 90.0, 3600.0)
    assert first["ends_at"] == "2026-11-27T22:10:00+01:00"
    assert data["added_s"] == pytest.approx(0.0)


def test_ascii_where_nothing_else_can_be_carried() -> None:
    assert render_text(card_report(card()), ascii_only=True).isascii()


def bullets(card_: Card) -> str:
    """The card's text on one line."""
    return " ".join(render_text(card_report(card_)).split())


def test_what_merging_costs_stands_above_the_table_and_is_to_be_acted_on() -> None:
    narrow = card(replace(CONTROLLER, max_segments=3))
    text = bullets(narrow)
    # 380 °C at 100 °C/h instead of 150: 3 h 48 min less 2 h 32 min.
    said = "Segments 2 to 3 became one: 90 to 980 °C at 100 °C/h instead of 100 and 150."
    assert text.index(f"{said} It takes 1 h 16 min longer.") < text.index("keyed read back")
    assert text.count(said) == 1
    assert narrow.needs_action
    assert narrow.to_dict()["merged"] == [f"{said} It takes 1 h 16 min longer."]
    assert not card().needs_action
    assert card().to_dict()["merged"] == []


def test_an_action_inside_a_merged_ramp_has_its_own_line_and_clock_time() -> None:
    smoke = replace(PLAN.segments[1], action="close the bungs")
    plan = replace(PLAN, segments=(PLAN.segments[0], smoke, *PLAN.segments[2:]))
    program = key_in(plan, replace(CONTROLLER, max_segments=3))
    narrow = Card(program, forecast(program.schedule, started=START))
    # 20:00, 70 °C at 60 and an hour, then 510 °C at 100 °C/h: 7 h 16 min later.
    line = "On Sat at about 03:16, at 600 °C, in the middle of segment 2: close the bungs"
    assert line in bullets(narrow)
    # 380 °C more at 100 °C/h, and a quarter of an hour held.
    assert "On Sat at about 07:19, at 980 °C, end of segment 2: off" in bullets(narrow)
    passing = narrow.to_dict()["actions"][1]
    assert (passing["at_c"], passing["on_the_way"]) == (600.0, True)
    assert passing["at"][:16] == "2026-11-28T03:16"


def test_what_the_forecast_asks_for_stands_above_the_table() -> None:
    weak = replace(example_kiln(), actual_volts=150.0)
    program = key_in(Schedule("hot", (Segment(1280.0, 100.0),), "glaze"), CONTROLLER)
    found = Card(program, forecast(program.schedule, kiln=weak))
    (asked,) = [w.message for w in found.forecast.warnings if w.id == "peak_out_of_reach"]
    text = bullets(found)
    assert text.index("To do before you key it") < text.index("keyed read back")
    assert asked in text
    assert found.needs_action
    assert asked in found.to_dict()["to_do"]


def test_a_hot_start_is_told_before_it_is_keyed() -> None:
    program = key_in(
        Schedule("rest", (Segment(980.0, 100.0),), "bisque", start_c=700.0), CONTROLLER
    )
    found = Card(program, forecast(program.schedule, load=ware(18.0)))
    text = bullets(found)
    said = "The ware must already have lost its free water"
    assert text.index(said) < text.index("keyed read back")
    assert said in str(found.to_dict()["assumed_at_start"])


def test_the_opening_has_a_range_by_the_clock() -> None:
    data = card().to_dict()
    assert data["total_low_s"] < data["total_s"] < data["total_high_s"]
    # A kiln that nobody described takes 0.65 to 1.7 times the usual hours (cooling-hours-unknown).
    alone_s = data["total_s"] - data["program_s"]
    assert data["total_high_s"] - data["program_s"] == pytest.approx(1.7 * alone_s, rel=1e-6)
    # printed to the nearest minute
    low = datetime.fromisoformat(data["opens_at_low"]) + timedelta(seconds=30)
    high = datetime.fromisoformat(data["opens_at_high"]) + timedelta(seconds=30)
    assert f"({low:%a %H:%M} to {high:%a %H:%M})" in bullets(card())
