"""The calendar of a firing, read by a second reader."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from commandline import call
from dialects import machine_in
from hypothesis import given
from hypothesis import strategies as st
from report.icalendar_reader import Component, read

from firing.cones.table import parse_cone
from firing.controller.file import open_controller
from firing.controller.program import key_in
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.heat.default_kiln import parse_size
from firing.kiln.file import open_kiln
from firing.report.calendar import FiringCalendar, FiringEvent, calendar
from firing.report.card import Card, card_report
from firing.report.forecast import forecast_report, milestones
from firing.report.sanitize import plain
from firing.report.text import render_text
from firing.schedule.schedule import Schedule, Segment

# 20 to 90 at 70 °C/h: 1 h, 2 h hold; to 590 at 100: 5 h; to 1190 at 100: 6 h, 30 min hold
PLAN = Schedule(
    "Jars; bowls, and a \\ backslash",
    (
        Segment(90.0, 70.0, hold_s=7200.0, name="Candle", action="put the bungs in, lid down"),
        Segment(590.0, 100.0),
        Segment(1190.0, 100.0, hold_s=1800.0, action="look at the cones, then off"),
    ),
    start_c=20.0,
)
START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
BERLIN = ZoneInfo("Europe/Berlin")


def events(data: bytes) -> dict[str, Component]:
    found = read(data)
    assert found.name == "VCALENDAR"
    assert found.value("VERSION") == "2.0"
    assert {part.name for part in found.inside} == {"VEVENT"}
    return {part.text("SUMMARY"): part for part in found.inside}


def written(plan: Schedule = PLAN, started: datetime = START, now: datetime = START) -> bytes:
    return calendar(forecast(plan, started=started)).to_ics(now).encode()


def test_every_moment_is_where_the_arithmetic_of_the_plan_puts_it() -> None:
    found = events(written())
    at = {name: part.moment("DTSTART") - START for name, part in found.items()}
    hours = {
        "Kiln: start the program": 0.0,
        "Kiln: candling ends; put the bungs in, lid down": 3.0,
        "Kiln: the peak is reached, 1190 °C": 14.0,
        "Kiln: heating ends; look at the cones, then off": 14.5,
    }
    # One minute rings once.
    assert len(set(at.values())) == len(at)
    for name, hour in hours.items():
        assert at[name] == timedelta(hours=hour), name
    opens = found["Kiln: cool enough to open, 60 °C"]
    assert opens.moment("DTSTART") - START > timedelta(hours=14.5)
    assert "Between " in opens.text("DESCRIPTION")
    assert "No kiln was given" in opens.text("DESCRIPTION")


def test_the_peak_has_the_minute_that_the_forecast_gives_it() -> None:
    # A model comes within a degree of a slow ramp's end minutes before the ramp does.
    slow = replace(
        PLAN, segments=(*PLAN.segments[:2], Segment(1000.0, 20.0, hold_s=1800.0)), unit="F"
    )
    kiln = open_kiln("example-kiln")
    course = forecast(slow, started=START, kiln=kiln)
    (peak,) = [event for event in calendar(course).events if event.id == "peak"]
    assert f"peak 1832 °F on Mon at {peak.at:%H:%M}" in milestones(course)
    at = datetime.fromisoformat(course.to_dict()["peak_at"])
    assert abs(at - peak.at) <= timedelta(seconds=30)
    size = forecast(slow, started=START, usual=parse_size("85 l, 64 mm, front"))
    said = calendar(size).events[-1].description
    assert "front-loader of 3 cu ft with 2 1/2 in of brick" in said


def test_a_cone_that_falls_as_the_kiln_cools_is_not_sought_at_the_peak() -> None:
    plan = replace(
        PLAN, segments=(Segment(1200.0, 60.0), Segment(1000.0, 40.0)), cone=parse_cone("6")
    )
    course = forecast(plan, started=START)
    down_s = course.cones.by_cone["6"].reached_s
    assert down_s is not None
    assert down_s > course.heating_s + 600.0
    at = START + timedelta(seconds=down_s + 30.0)
    (end,) = [event for event in calendar(course).events if event.id == "heating-ends"]
    words = f"Cone 6 falls as the kiln cools, on {at:%a} at about {at:%H:%M}."
    assert words in end.description
    assert words in " ".join(render_text(forecast_report(course), brief=True).split())
    # Where it is to be looked at stands when it falls, not when it still stands.
    assert end.summary == "Kiln: heating ends"
    (falls,) = [event for event in calendar(course).events if event.id == "cone-falls"]
    assert falls.at == at.replace(second=0, microsecond=0)
    assert falls.needs_you
    # A plan that says so all the same is told that the cone still stands.
    said = replace(plan, segments=(replace(plan.segments[0], action="look at the cone"),
                                   plan.segments[1]))  # fmt: skip
    course = forecast(said, started=START)
    stands = f"(cone 6 still stands then; it falls on {at:%a} at about {at:%H:%M})"
    assert stands in " ".join(render_text(forecast_report(course), brief=True).split())
    (end,) = [event for event in calendar(course).events if event.id == "heating-ends"]
    assert end.summary == f"Kiln: heating ends; look at the cone {stands}"
    program = key_in(said, open_controller("example-controller"))
    card = Card(program, forecast(program.schedule, started=START))
    assert " ".join(render_text(card_report(card)).split()).count("still stands then") == 1


def test_what_needs_a_person_has_a_reminder_at_its_moment_and_nothing_else() -> None:
    for name, part in events(written()).items():
        alarms = [inside for inside in part.inside if inside.name == "VALARM"]
        needed = name != "Kiln: the peak is reached, 1190 °C"
        assert len(alarms) == needed, name
        for alarm in alarms:
            assert alarm.value("ACTION") == "DISPLAY"
            assert alarm.value("TRIGGER") == "P0D"
            assert alarm.text("DESCRIPTION") == name


def test_a_second_import_moves_the_events_and_another_day_has_its_own() -> None:
    def identities(data: bytes) -> list[str]:
        return [part.value("UID") for part in read(data).inside]

    first = written()
    later = written(started=START + timedelta(hours=2), now=START + timedelta(hours=1))
    assert identities(first) == identities(later)
    assert len(set(identities(first))) == len(identities(first))
    sequences = [int(read(data).inside[0].value("SEQUENCE")) for data in (first, later)]
    assert sequences[1] == sequences[0] + 60
    other = written(started=START + timedelta(days=1))
    assert not set(identities(first)) & set(identities(other))


def test_over_the_night_when_the_clocks_change_hours_stay_hours() -> None:
    # On 2026-03-29 in Berlin 02:00 is followed by 03:00; 20:00 is 19:00 UTC.
    started = datetime(2026, 3, 28, 20, 0, tzinfo=BERLIN)
    found = events(written(started=started))
    off = found["Kiln: heating ends; look at the cones, then off"].moment("DTSTART")
    assert off == datetime(2026, 3, 29, 9, 30, tzinfo=UTC)
    assert off.astimezone(BERLIN).hour == 11


def test_text_is_escaped_and_comes_back_as_it_was() -> None:
    part = events(written())["Kiln: start the program"]
    assert "Firing: Jars; bowls, and a \\ backslash" in part.text("DESCRIPTION").split("\n")


@given(st.text(max_size=200), st.text(max_size=200))
def test_whatever_a_plan_is_called_the_file_stays_one(title: str, words: str) -> None:
    event = FiringEvent("start", 0.0, START, title, words, True)
    (part,) = read(FiringCalendar(title, START, (event,)).to_ics(START).encode()).inside
    assert part.text("SUMMARY") == "\n".join(plain(line) for line in title.splitlines())
    assert part.text("DESCRIPTION") == "\n".join(plain(line) for line in words.splitlines())


def test_the_card_puts_its_own_moments_in() -> None:
    program = key_in(PLAN, open_controller("example-controller"))
    card = Card(program, forecast(program.schedule, started=START))
    found = calendar(card)
    by_hand = [event for event in found.events if event.id in ("candling-ends", "heating-ends")]
    assert [event.summary for event in by_hand] == [
        "Kiln: candling ends; put the bungs in, lid down",
        "Kiln: heating ends; look at the cones, then off",
    ]
    assert not [event for event in found.events if event.id.startswith("by-hand")]
    between = replace(PLAN, segments=(PLAN.segments[0],
                                      replace(PLAN.segments[1], action="close the bungs"),
                                      PLAN.segments[2]))  # fmt: skip
    (step,) = [e for e in calendar(forecast(between, started=START)).events if "by-hand" in e.id]
    assert (step.id, step.summary) == ("by-hand-2", "Kiln: close the bungs")


def test_without_a_start_there_is_no_calendar() -> None:
    with pytest.raises(FiringError, match="needs a start"):
        calendar(forecast(PLAN))


def test_the_commands_write_it(tmp_path: Path) -> None:
    plan = "mid-range-glaze-cone-6-hold"
    start = ("--start", "2026-03-01 08:00")
    listed = call(tmp_path, "calendar", plan, *start)
    assert listed.returncode == 0
    assert "Nothing is written" in listed.stdout
    assert "from quick to slow kilns. No kiln was given: this is the cooling of" in listed.stdout
    own = call(tmp_path, "calendar", plan, *start, "--kiln", "example-kiln")
    assert "Between " in own.stdout
    assert "No kiln was given" not in own.stdout
    result = call(tmp_path, "calendar", plan, *start, "--out", "f.ics")
    assert result.returncode == 0
    assert "Kiln: start the program" in events((tmp_path / "f.ics").read_bytes())
    assert "reminders are past already" in result.stderr
    assert call(tmp_path, "calendar", plan, *start, "--out", "f.ics").returncode == 2
    card = ("card", plan, "--controller", "example-controller", "--calendar", "card.ics")
    assert "needs a start" in call(tmp_path, *card).stderr
    assert call(tmp_path, *card, *start).returncode in (0, 1)
    assert "Kiln: start the program" in events((tmp_path / "card.ics").read_bytes())
    ahead = f"{datetime.now() + timedelta(days=1):%Y-%m-%d %H:%M}"
    due = call(tmp_path, "calendar", plan, "--start", ahead, "--out", "g.ics")
    assert "past" not in due.stderr


def test_the_list_says_which_of_two_equal_hours_it_means(tmp_path: Path) -> None:
    # On 2026-10-25 in Berlin 03:00 CEST is followed by 02:00 CET.
    with machine_in("Europe/Berlin"):
        told = [
            call(tmp_path, "calendar", "mid-range-glaze-cone-6-hold", "--start", start).stdout
            for start in ("2026-10-25 02:30", "2026-10-25 00:30")
        ]
    assert "* Sun 2026-10-25 02:30 CEST  start the program" in told[0]
    assert "* Sun 2026-10-25 00:30  start the program" in told[1]


def test_a_general_library_reads_it_too() -> None:
    icalendar = pytest.importorskip("icalendar")
    found = icalendar.Calendar.from_ical(written())
    parts = found.walk("VEVENT")
    assert str(parts[0]["SUMMARY"]) == "Kiln: start the program"
    assert parts[0].decoded("DTSTART") == START
    assert not found.errors
    # start, candling with its step by hand, end of heating with its own, and opening
    assert len(found.walk("VALARM")) == 4
