"""Moments are counted on the time line; only what the clock shows jumps."""

from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from firing.clock import after
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
