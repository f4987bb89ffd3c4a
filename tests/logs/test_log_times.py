"""Times of many spellings, checked against the standard library's calendar."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.logs.time_column import date_orders, settle_date_order
from firing.logs.times import read_moments, time_of_cell

MOMENTS = st.datetimes(datetime(1970, 1, 1), datetime(2099, 12, 31))
EPOCH = datetime(1970, 1, 1)


def column(*cells: str) -> "np.ndarray":
    return np.array(cells, dtype=object)


@given(st.lists(MOMENTS, min_size=1, max_size=20))
def test_dates_agree_with_the_calendar(moments: list[datetime]) -> None:
    spellings = {
        "ymd": [m.isoformat(" ") for m in moments],
        "dmy": [f"{m.day}/{m.month}/{m.year} {m.hour}:{m:%M:%S.%f}" for m in moments],
        "mdy": [f"{m:%m-%d-%Y %I:%M:%S.%f %p}" for m in moments],
    }
    for order, cells in spellings.items():
        read = read_moments(column(*cells), "datetime", order)  # type: ignore[arg-type]  # a str key
        assert read.valid.all()
        for index, moment in enumerate(moments):
            whole = timedelta(days=int(read.day[index]), seconds=float(read.second[index]))
            assert abs(EPOCH + whole - moment) <= timedelta(microseconds=1)


def test_what_is_no_date_and_time_stays_unread(subtests: pytest.Subtests) -> None:
    cells = [
        "2025-02-29 08:00", "2025-13-01 08:00", "2025-00-01 08:00", "2025-01-00 08:00",
        "2025-01-01 24:01", "2025-01-01 08:60", "2025-01-01 08:00:60", "2025-01-01", "08:00",
        "2025-01-01 08:00 and then some", "x" * 500, "", "2025-01-01 13:00 PM",
        "2025-01-01 8:00é",
    ]  # fmt: skip
    for cell in cells:
        with subtests.test(f"{cell[:40]!r}"):
            read = read_moments(column("2024-02-29 08:00", cell), "datetime")
            assert read.valid.tolist() == [True, False]
            assert np.isnan(read.elapsed_s()[1])


def test_more_spellings_than_are_grouped() -> None:
    odd = [f"{'x' * length} 1" for length in range(1, 40)] + ["y" * n for n in range(1, 40)]
    read = read_moments(column(*odd, "2025-03-14 08:00", "2025-03-14 8:01"), "datetime")
    assert read.valid.tolist() == [False] * len(odd) + [True, True]
    assert read.elapsed_s()[-1] == 60.0


def test_kinds_of_cells() -> None:
    assert time_of_cell("2025-03-14T08:00:00.5+01:00") == "datetime"
    assert time_of_cell("14.03.2025") == "date"
    assert time_of_cell("100:00:00") == "clock"
    assert time_of_cell("1 02:15:30") == "clock"
    assert time_of_cell("20.5") is None
    assert time_of_cell("08:00:00:00") is None


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["13/04/2025"], "dmy"),
        (["04/13/2025"], "mdy"),
        (["03/04/2025", "13/04/2025"], "dmy"),
        (["04.03.2025"], "dmy"),
        (["13/04/25 08:00"], "dmy"),
    ],
)
def test_orders_that_settle_themselves(cells: list[str], order: str) -> None:
    assert settle_date_order("log.csv", cells, None) == order


def test_orders_that_do_not() -> None:
    assert date_orders(["2025-03-04"]) == (set(), None)
    for cells in (["03/04/2025"], ["25-03-04"], ["03/04/2025", "13/01/2025", "01/13/2025"]):
        with pytest.raises(FiringError, match="--date-order"):
            settle_date_order("log.csv", cells, None)
    assert settle_date_order("log.csv", ["03/04/2025"], "mdy") == "mdy"
