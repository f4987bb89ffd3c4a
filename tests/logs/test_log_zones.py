"""Nights when clocks are changed, checked against the zone database of the standard library."""

from datetime import UTC, datetime, timedelta
from itertools import product
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from firing.errors import FiringError
from firing.logs.row_times import Zone

# the European Union changes clocks at 01:00 UTC (directive 2000/84/EC), the United States at 02:00
# local time (15 U.S.C. 260a); the dates below are of the tz database
NIGHTS = [
    ("Europe/Berlin", datetime(2025, 3, 30, 1, 0, tzinfo=UTC)),
    ("Europe/Berlin", datetime(2025, 10, 26, 1, 0, tzinfo=UTC)),
    ("America/New_York", datetime(2025, 3, 9, 7, 0, tzinfo=UTC)),
    ("America/New_York", datetime(2025, 11, 2, 6, 0, tzinfo=UTC)),
    ("Australia/Lord_Howe", datetime(2025, 4, 5, 15, 0, tzinfo=UTC)),
]


def wall_log(zone: str, moments: list[datetime]) -> str:
    rows = (
        f"{moment.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M:%S},{20 + i % 7}"
        for i, moment in enumerate(moments)
    )
    return "Time,Kiln (°C)\n" + "\n".join(rows) + "\n"


def test_times_are_real_across_the_change(read: Any, subtests: pytest.Subtests) -> None:
    for (zone, change), step_s in product(NIGHTS, [10, 60, 300]):
        with subtests.test(f"{zone}, {change:%Y-%m-%d}, every {step_s} s"):
            moments = [
                change + timedelta(seconds=17 + step_s * i)
                for i in range(-7200 // step_s, 9000 // step_s)
            ]
            log = read(wall_log(zone, moments), zone=zone)
            assert log.trace.started == moments[0]
            assert log.trace.time_s.tolist() == [step_s * i for i in range(len(moments))]
            assert sum("the clocks went" in note for note in log.notes) == 1


@pytest.mark.parametrize(("zone", "change"), NIGHTS[:4])
def test_a_pause_over_the_change(read: Any, zone: str, change: datetime) -> None:
    moments = [change + timedelta(minutes=m) for m in (-182, -181, -180, 180, 181)]
    log = read(wall_log(zone, moments), zone=zone)
    assert log.trace.time_s.tolist() == [0, 60, 120, 21720, 21780]


@pytest.mark.parametrize("day", [datetime(2025, 3, 30), datetime(2025, 10, 26)])
def test_a_clock_that_is_not_changed_is_left_alone(read: Any, day: datetime) -> None:
    rows = [f"{day + timedelta(minutes=m):%Y-%m-%d %H:%M:%S},20" for m in range(300)]
    log = read("Time,Kiln (°C)\n" + "\n".join(rows), zone="Europe/Berlin")
    assert log.trace.time_s.tolist() == [60.0 * m for m in range(300)]
    assert any("ran straight on" in note for note in log.notes)


def test_an_hour_twice_without_a_zone_that_knows(read: Any, refused: Any) -> None:
    change = datetime(2025, 10, 26, 1, 0, tzinfo=UTC)
    moments = [change + timedelta(minutes=m) for m in range(-90, 90)]
    text = refused(wall_log("Europe/Berlin", moments), zone="UTC")
    assert "backwards" in text
    assert "--zone" in text
    spring = [
        datetime(2025, 3, 30, 1, 0, tzinfo=UTC) + timedelta(minutes=m) for m in range(-90, 90)
    ]
    log = read(wall_log("Europe/Berlin", spring), zone="UTC")
    assert any("an hour is missing" in note and "--zone" in note for note in log.notes)


def test_zones() -> None:
    assert Zone("UTC").offset_s(0) == 0
    assert Zone("+01:00").offset_s(0) == 3600
    assert Zone("-05:30").offset_s(0) == -19800
    for wrong in ("Nowhere/Land", "", "../etc/passwd", "+99:00", "+1:99999999"):
        with pytest.raises(FiringError, match="time zone"):
            Zone(wrong)


def test_stated_offsets_beat_the_zone(read: Any) -> None:
    log = read(
        "Time,T\n2025-03-30T01:59:30+01:00,20\n2025-03-30T03:00:00+02:00,21\n", zone="Asia/Tokyo"
    )
    assert log.trace.time_s.tolist() == [0, 30]
    assert log.trace.started == datetime(2025, 3, 30, 0, 59, 30, tzinfo=UTC)
