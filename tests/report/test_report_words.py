"""Moments, sources and sentences."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from firing.report.words import Timekeeper, citations, sentence
from firing.sources import source

MONDAY_EVENING = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
HOUR_S = 3600.0


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


def test_a_sentence_keeps_its_other_capitals() -> None:
    assert sentence("on Tue at 01:00") == "On Tue at 01:00"


def test_sources_once_each_and_unknown_ones_in_their_own_words() -> None:
    found = citations(["cone-model", "somebody's notebook", "cone-model", ""])
    assert found == [
        ("cone-model", source("cone-model").sentence()),
        ("somebody's notebook", "somebody's notebook"),
    ]
