"""Tariffs: first match counts, midnight and summer time are crossed, cheap starts are found."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.files.tomlfile import FaultyFile
from firing.kiln.tariff import EnergyCourse, Period, Tariff, cheapest_start, cost, waking_starts
from firing.kiln.tariff_file import TariffTable, parse_days, parse_tariff

BERLIN = ZoneInfo("Europe/Berlin")
HOUR = 3600.0
KWH = 3.6e6

EXAMPLE = parse_tariff(ready_text("example-tariff"))
"""0.34 on weekdays from 7 to 22, else 0.21."""
NIGHT = Tariff("EUR", (Period(0.1, from_min=22 * 60, to_min=6 * 60), Period(0.3)))


def steady(hours: float, kw: float = 1.0) -> EnergyCourse:
    """So many kW for so many hours, then nothing for as long."""
    time_s = np.array([0.0, hours * HOUR, 2 * hours * HOUR])
    return EnergyCourse(time_s, np.array([0.0, 1.0, 1.0]) * hours * kw * KWH)


def test_the_example_tariff_by_hand() -> None:
    # 2025-03-05 is a Wednesday.
    started = datetime(2025, 3, 5, 5, 0, tzinfo=BERLIN)
    found = cost(steady(4.0), started, EXAMPLE)
    assert found.amount == pytest.approx(2 * 0.21 + 2 * 0.34)
    assert found.currency == "EUR"
    assert [price for price, _ in found.kwh_by_price] == [0.21, 0.34]
    assert [kwh for _, kwh in found.kwh_by_price] == pytest.approx([2.0, 2.0])
    # Saturday: the cheap price all day.
    saturday = datetime(2025, 3, 8, 5, 0, tzinfo=BERLIN)
    assert cost(steady(4.0), saturday, EXAMPLE).amount == pytest.approx(4 * 0.21)


def test_a_period_past_midnight_belongs_to_the_day_it_began() -> None:
    friday_night = Tariff("EUR", (Period(0.1, frozenset({4}), 22 * 60, 6 * 60), Period(0.3)))
    friday = datetime(2025, 3, 7, 21, 0, tzinfo=BERLIN)
    assert cost(steady(10.0), friday, friday_night).amount == pytest.approx(8 * 0.1 + 2 * 0.3)
    thursday = datetime(2025, 3, 6, 21, 0, tzinfo=BERLIN)
    assert cost(steady(10.0), thursday, friday_night).amount == pytest.approx(10 * 0.3)


@pytest.mark.parametrize(
    ("day", "cheap_hours"),
    [
        # Clocks go forward on 2025-03-30 at 2:00 and back on 2025-10-26 at 3:00 in Berlin (EU
        # directive 2000/84/EC, from memory): the night from 22 to 6 has 7 and 9 hours.
        (datetime(2025, 3, 29, 22, 0, tzinfo=BERLIN), 7.0),
        (datetime(2025, 10, 25, 22, 0, tzinfo=BERLIN), 9.0),
        (datetime(2025, 7, 1, 22, 0, tzinfo=BERLIN), 8.0),
    ],
)
def test_nights_with_a_change_of_the_clock(day: datetime, cheap_hours: float) -> None:
    found = cost(steady(12.0), day, NIGHT)
    assert found.amount == pytest.approx(cheap_hours * 0.1 + (12.0 - cheap_hours) * 0.3)


def test_periods_may_begin_at_any_minute() -> None:
    odd = Tariff("EUR", (Period(0.5, from_min=7 * 60 + 7, to_min=9 * 60 + 41), Period(0.2)))
    started = datetime(2025, 3, 5, 7, 0, tzinfo=BERLIN)
    hours = (9 * 60 + 41 - 7 * 60 - 7) / 60.0
    assert cost(steady(4.0), started, odd).amount == pytest.approx(hours * 0.5 + (4 - hours) * 0.2)


def test_the_cheapest_start_begins_with_the_night() -> None:
    window = (
        datetime(2025, 3, 5, 12, 0, tzinfo=BERLIN),
        datetime(2025, 3, 6, 12, 0, tzinfo=BERLIN),
    )
    best = cheapest_start(steady(8.0), NIGHT, *window)
    assert best.started == datetime(2025, 3, 5, 22, 0, tzinfo=BERLIN)
    assert best.cost.amount == pytest.approx(0.8)
    # Every start from 22:00 to 2:00 costs the same four cheap hours: the first is given.
    assert cheapest_start(steady(4.0), NIGHT, *window).started == best.started


@settings(max_examples=20)
@given(st.integers(0, 95), st.floats(1.0, 30.0))
def test_no_start_is_cheaper_than_the_cheapest(quarter: int, hours: float) -> None:
    first = datetime(2025, 10, 25, 12, 0, tzinfo=BERLIN)
    course = steady(hours, 3.0)
    best = cheapest_start(course, NIGHT, first, first + timedelta(hours=30))
    other = datetime.fromtimestamp(first.timestamp() + 900 * quarter, tz=BERLIN)
    assert best.cost.amount <= cost(course, other, NIGHT).amount + 1e-6
    assert best.cost.amount >= 0.1 * course.kwh - 1e-9


def test_starts_that_put_the_peak_into_waking_hours() -> None:
    # A peak from 10 to 11 h after the start, somebody up from 7 to 22: starts from 21 to 11.
    found = waking_starts(
        10 * HOUR,
        11 * HOUR,
        (time(7), time(22)),
        datetime(2025, 3, 5, 12, 0, tzinfo=BERLIN),
        datetime(2025, 3, 6, 14, 0, tzinfo=BERLIN),
    )
    # The hour from 21:00 is not watched to its end, so the last start is the one before 11:00.
    assert found == (
        (
            datetime(2025, 3, 5, 21, 0, tzinfo=BERLIN),
            datetime(2025, 3, 6, 10, 45, tzinfo=BERLIN),
        ),
    )


def test_waking_hours_may_run_past_midnight() -> None:
    found = waking_starts(
        HOUR,
        1.5 * HOUR,
        (time(16), time(2)),
        datetime(2025, 3, 5, 0, 0, tzinfo=BERLIN),
        datetime(2025, 3, 5, 23, 45, tzinfo=BERLIN),
    )
    assert [(a.hour, a.minute, b.hour, b.minute) for a, b in found] == [
        (0, 0, 0, 15),
        (15, 0, 23, 45),
    ]
    none = waking_starts(
        HOUR,
        20 * HOUR,
        (time(7), time(22)),
        datetime(2025, 3, 5, tzinfo=BERLIN),
        datetime(2025, 3, 6, tzinfo=BERLIN),
    )
    assert none == ()


def test_refusals() -> None:
    aware = datetime(2025, 3, 5, 12, 0, tzinfo=UTC)
    with pytest.raises(FiringError, match="time zone"):
        cost(steady(1.0), datetime(2025, 3, 5), NIGHT)
    with pytest.raises(FiringError, match="ends before it begins"):
        cheapest_start(steady(1.0), NIGHT, aware, aware - timedelta(hours=1))
    with pytest.raises(FiringError, match="longer than 14 days"):
        cheapest_start(steady(1.0), NIGHT, aware, aware + timedelta(days=15))
    with pytest.raises(FiringError, match="at least one period"):
        Tariff("EUR", ())


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("mon-fri", {0, 1, 2, 3, 4}),
        ("sat, sun", {5, 6}),
        ("fri-mon", {4, 5, 6, 0}),
        ("Wed", {2}),
        ("mon, wed-thu", {0, 2, 3}),
    ],
)
def test_days(text: str, days: set[int]) -> None:
    assert parse_days(text) == days


def test_every_fault_of_a_tariff_is_told_at_once() -> None:
    text = """currency = ""
[[period]]
days = "mon-fry"
from = "7"
to = "25:00"
price_per_kwh = -1
[[period]]
prize_per_kwh = 0.2
"""
    with pytest.raises(FaultyFile) as refusal:
        parse_tariff(text, "t.toml")
    faults = str(refusal.value).splitlines()
    assert [fault.split(":")[1] for fault in faults] == ["1", "3", "4", "5", "6", "7", "8"]
    assert 'write "mon-fri"' in faults[1]
    assert 'write "07:00"' in faults[2]
    assert "at least 0" in faults[4]
    assert "price_per_kwh" in faults[6]


def test_a_gap_in_the_week_is_told() -> None:
    text = 'currency = "EUR"\n[[period]]\ndays = "mon-fri"\nprice_per_kwh = 0.2\n'
    with pytest.raises(FaultyFile, match="no price for sat 00:00"):
        parse_tariff(text)
    same = 'currency = "EUR"\n[[period]]\nfrom = "07:00"\nto = "07:00"\nprice_per_kwh = 0.2\n'
    with pytest.raises(FaultyFile, match="begins and ends at 07:00"):
        parse_tariff(same)


def test_the_schema_names_the_keys_as_the_file_does() -> None:
    schema = TariffTable.model_json_schema()
    assert "from" in schema["$defs"]["PeriodTable"]["properties"]
