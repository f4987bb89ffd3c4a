"""Spreadsheet days and seconds since 1970, checked against the standard library's calendar."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.logs.times import DAYS_TO_1970, kind_by_size

# ECMA-376 part 1, 18.17.4.1 and 18.17.4.3: in the 1900 system 1 January 2000 is serial 36526;
# in the 1904 system it is 1462 less
SERIAL_OF_2000 = {"serial days": 36526, "serial days from 1904": 36526 - 1462}


def test_serial_systems() -> None:
    for kind, serial in SERIAL_OF_2000.items():
        moment = datetime(1970, 1, 1) + timedelta(days=serial - DAYS_TO_1970[kind])  # type: ignore[index]  # a str key
        assert moment == datetime(2000, 1, 1)


def serials(start: datetime, offset_days: float = 0.0) -> list[str]:
    days = (start - datetime(1899, 12, 30)) / timedelta(days=1) - offset_days
    return [f"{days + minute / 1440:.9f}" for minute in range(5)]


@pytest.mark.parametrize("delimiter", [",", ";"])
def test_serial_days(read: Any, delimiter: str) -> None:
    cells = serials(datetime(2025, 3, 14, 8, 15))
    point = "," if delimiter == ";" else "."
    rows = "\n".join(
        f"{cell.replace('.', point)}{delimiter}{20 + i}" for i, cell in enumerate(cells)
    )
    log = read(f"Date{delimiter}Kiln (°C)\n{rows}\n", zone="UTC")
    assert log.trace.started == datetime(2025, 3, 14, 8, 15, tzinfo=UTC)
    assert log.trace.time_s.tolist() == pytest.approx([0, 60, 120, 180, 240], abs=0.002)
    assert log.dialect.time_kind == "serial days"
    assert any("serial-1904" in note for note in log.notes)
    assert "spreadsheet" in log.dialect.describe()


def test_serial_days_of_1904(read: Any) -> None:
    cells = serials(datetime(2025, 3, 14, 8, 15), offset_days=1462)
    rows = "\n".join(f"{cell},{20 + i}" for i, cell in enumerate(cells))
    log = read(f"Date,Kiln (°C)\n{rows}\n", zone="UTC", time_unit="serial-1904")
    assert log.trace.started == datetime(2025, 3, 14, 8, 15, tzinfo=UTC)


def test_serial_date_and_time_in_two_columns(read: Any) -> None:
    log = read("Date,Time,Kiln (°C)\n45730,0.25,20\n45730,0.5,21\n45731,0.25,22\n", zone="UTC")
    assert log.trace.time_s.tolist() == [0, 21600, 86400]
    assert log.trace.started == datetime(2025, 3, 14, 6, tzinfo=UTC)


def test_an_idle_clock_beside_a_real_one(read: Any) -> None:
    log = read(
        "Date,Time,Kiln (°C)\n2025-03-14 00:00:00,23:59:00,20\n2025-03-14 00:00:00,23:59:30,21\n"
        "2025-03-15 00:00:00,00:00:30,22\n",
        zone="UTC",
    )
    assert log.trace.time_s.tolist() == [0, 30, 90]


@pytest.mark.parametrize(("factor", "kind"), [
    (1, "epoch seconds"), (1_000, "epoch milliseconds"),
    (1_000_000, "epoch microseconds"), (1_000_000_000, "epoch nanoseconds"),
])  # fmt: skip
@pytest.mark.parametrize("header", ["Time", "timestamp", ""])
def test_epoch(read: Any, factor: int, kind: str, header: str) -> None:
    start = int(datetime(2025, 3, 14, 8, 15, tzinfo=UTC).timestamp())
    rows = "\n".join(f"{(start + 30 * i) * factor},{20 + i}" for i in range(4))
    log = read(f"{header},Kiln (°C)\n{rows}\n" if header else rows + "\n", zone="+01:00")
    assert log.dialect.time_kind == kind
    assert log.trace.time_s.tolist() == pytest.approx([0, 30, 60, 90], abs=1e-3)
    assert log.trace.started == datetime(2025, 3, 14, 8, 15, tzinfo=UTC)
    assert log.trace.started.utcoffset() == timedelta(hours=1)


def test_epoch_with_a_unit_in_its_name(read: Any) -> None:
    log = read("time_s,Kiln\n1741939200,20\n1741939260,21\n")
    assert log.trace.started is not None
    assert log.trace.started.timestamp() == 1741939200
    named = read("time_ms,Kiln\n1741939200000,20\n1741939260000,21\n")
    assert named.trace.time_s.tolist() == [0, 60]


def test_time_units_told(read: Any, refused: Any) -> None:
    content = "Time,Kiln (°C)\n45730.25,20\n45730.5,21\n"
    assert read(content, time_unit="serial").trace.time_s.tolist() == [0, 21600]
    assert read(content, time_unit="s").trace.time_s.tolist() == [0, 0.25]
    assert "--time-unit" in refused("Time,Kiln (°C)\n30000,20\n30030,21\n30060,22\n")


@given(st.lists(st.integers(0, 200_000), min_size=2, max_size=20, unique=True))
def test_counts_from_zero_are_never_taken_for_dates(seconds: list[int]) -> None:
    seconds.sort()
    assert kind_by_size([float(value) for value in seconds]) is None
    assert kind_by_size([value / 60 for value in range(600)]) is None


def test_days_and_a_clock_under_one_name(read: Any) -> None:
    log = read("Elapsed Kiln\n0 23:59:50 600.5\n1 00:00:00 601.5\n1 02:15:30 602.5\n")
    assert log.trace.time_s.tolist() == [0, 10, 8140]
    assert log.trace.channels == ("Kiln",)
