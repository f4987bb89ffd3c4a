"""Moments, durations and sentences."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from firing.report.formatting import (
    Timekeeper,
    citations,
    hours_minutes,
    join_units,
    sentence,
)
from firing.sources import source

MONDAY_EVENING = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
HOUR_S = 3600.0


@pytest.mark.parametrize(
    ("seconds", "signed", "shown"),
    [
        (0.0, True, "0:00"),
        (29.0, True, "0:00"),
        (-29.0, True, "0:00"),
        (90 * 60.0, False, "1:30"),
        (5 * 60.0, True, "+0:05"),
        (-65 * 60.0, True, "−1:05"),
        (27 * 3600.0, False, "27:00"),
        (None, False, "–"),
    ],
)
def test_hours_and_minutes(seconds: float | None, signed: bool, shown: str) -> None:
    assert hours_minutes(seconds, signed=signed) == shown


def test_no_weekday_within_a_day() -> None:
    keeper = Timekeeper(MONDAY_EVENING, 5 * HOUR_S)
    assert keeper.at(4 * HOUR_S) == "22:00"
    assert keeper.when(4 * HOUR_S) == "at 22:00"


def test_weekdays_across_midnight() -> None:
    keeper = Timekeeper(MONDAY_EVENING, 30 * HOUR_S)
    assert keeper.at(0.0) == "Mon 18:00"
    assert keeper.when(7 * HOUR_S) == "on Tue at 01:00"
    assert keeper.when(7 * HOUR_S, about=True) == "on Tue at about 01:00"


def test_dates_where_weekdays_would_come_twice() -> None:
    assert Timekeeper(MONDAY_EVENING, 200 * HOUR_S).at(24 * HOUR_S) == "Tue 3 Mar 18:00"


def test_durations_without_a_start() -> None:
    keeper = Timekeeper(None, 30 * HOUR_S)
    assert keeper.when(90 * 60.0) == "after 1 h 30 min"
    assert keeper.date_words(0.0) == ""


def test_summer_time_moves_the_clock_and_not_the_duration() -> None:
    # Berlin, 29 March 2026: 02:00 becomes 03:00 (IANA tz database).
    started = datetime(2026, 3, 28, 23, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    assert Timekeeper(started, 5 * HOUR_S).at(4 * HOUR_S) == "Sun 04:00"


def test_the_whole_date_of_a_start() -> None:
    assert Timekeeper(MONDAY_EVENING, 0.0).start_words() == "starts Mon 2 Mar 2026 at 18:00"


def test_units_do_not_part_from_their_numbers() -> None:
    joined = join_units("in 9 h 30 min to 60 °C or 80 % of 9.6 kW, 3 segments")
    assert joined.split(" ") == [
        "in", "9\u00a0h\u00a030\u00a0min", "to", "60\u00a0°C", "or", "80\u00a0%", "of",
        "9.6\u00a0kW,", "3", "segments",
    ]  # fmt: skip


def test_a_sentence_keeps_its_other_capitals() -> None:
    assert sentence("on Tue at 01:00") == "On Tue at 01:00"


def test_sources_once_each_and_unknown_ones_in_their_own_words() -> None:
    found = citations(["cone-model", "somebody's notebook", "cone-model", ""])
    assert found == [
        ("cone-model", source("cone-model").sentence()),
        ("somebody's notebook", "somebody's notebook"),
    ]
