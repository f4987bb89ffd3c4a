"""Moments are counted on the time line; only what the clock shows jumps."""

from datetime import UTC, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from firing.clock import after, parse_awake, parse_when, parse_window
from firing.errors import FiringError


def test_the_night_the_clocks_change() -> None:
    # 2025-03-30, 2:00 becomes 3:00 in Berlin (EU directive 2000/84/EC, from memory).
    berlin = ZoneInfo("Europe/Berlin")
    started = datetime(2025, 3, 29, 20, 0, tzinfo=berlin)
    later = after(started, 10 * 3600.0)
    assert (later.day, later.hour) == (30, 7)
    assert later.timestamp() - started.timestamp() == 36000.0


def test_a_fixed_offset_that_is_not_the_machines_stays() -> None:
    odd = timezone(timedelta(hours=5, minutes=45))
    later = after(datetime(2025, 3, 29, 20, 0, tzinfo=odd), 3600.0)
    assert later.utcoffset() == timedelta(hours=5, minutes=45)
    assert later.hour == 21


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(FiringError, match="time zone"):
        after(datetime(2025, 3, 29, 20, 0), 1.0)


@pytest.mark.parametrize(
    ("text", "hour", "minute"),
    [
        ("4:00pm", 16, 0),
        ("8pm", 20, 0),
        ("8 p.m.", 20, 0),
        ("12:15 am", 0, 15),
        ("12pm", 12, 0),
        ("noon", 12, 0),
        ("07:30:45", 7, 30),
        ("tomorrow 4pm", 16, 0),
        ("Fri 20:00", 20, 0),
        ("friday at 8 pm", 20, 0),
    ],
)
def test_a_time_of_day_is_read_as_people_write_it(text: str, hour: int, minute: int) -> None:
    found = parse_when(text)
    assert (found.hour, found.minute) == (hour, minute)
    ahead = found - datetime.now().astimezone()
    if text.casefold().startswith("fri"):
        assert found.weekday() == 4
        assert timedelta(0) <= ahead <= timedelta(days=7, hours=1)
    else:
        assert timedelta(0) <= ahead <= timedelta(days=2)


def test_iso_8601_is_read_with_its_seconds_and_its_offset() -> None:
    moment = datetime(2026, 3, 1, 7, 30, 15, tzinfo=UTC)
    assert parse_when("2026-03-01T07:30:15Z") == moment
    assert parse_when("2026-03-01 09:30:15+02:00") == moment
    assert parse_when("2026-03-01T07:30:15.250+0000") == moment
    local = parse_when("2026-03-01 16:30:15")
    assert (local.hour, local.minute, local.second) == (16, 30, 15)
    assert parse_when("2026-03-01 4:30:15 pm") == local


@pytest.mark.parametrize(
    "text", ["13pm", "0am", "25:00", "7", "midnight", "2026-13-01 10:00", "Fr 8"]
)
def test_what_is_no_moment_is_refused(text: str) -> None:
    with pytest.raises(FiringError, match=r'; write (it like )?"07:30"'):
        parse_when(text)


def test_waking_hours_take_the_same_times() -> None:
    assert parse_awake("7am-10:30pm") == (time(7), time(22, 30))
    assert parse_awake("07:00 to 22:30") == (time(7), time(22, 30))


@pytest.mark.parametrize(
    ("text", "begins", "ends"),
    [
        ("2026-03-06 20:00 to 6am", "2026-03-06 20:00", "2026-03-07 06:00"),
        ("2026-03-06 20:00 to 22:00", "2026-03-06 20:00", "2026-03-06 22:00"),
        ("2026-03-06 20:00 to 2026-03-08 06:00", "2026-03-06 20:00", "2026-03-08 06:00"),
    ],
)
def test_a_window_runs_past_midnight(text: str, begins: str, ends: str) -> None:
    assert parse_window(text, None) == (parse_when(begins), parse_when(ends))


def test_a_window_of_times_alone_is_less_than_a_day_long() -> None:
    begin, end = parse_window("8pm to 6am", None)
    # by the clock on the wall: a night of summer time is an hour shorter or longer
    assert (begin.hour, end.hour) == (20, 6)
    assert (end.date() - begin.date()).days == 1
