"""Times written as one bare number: since when they count, and in which unit."""

from collections.abc import Sequence
from typing import Literal

import numpy as np

from firing.logs.vocabulary import TIME_UNIT_S, TimeUnit
from firing.trace import median

NumberKind = Literal[
    "milliseconds",
    "seconds",
    "minutes",
    "hours",
    "days",
    "epoch seconds",
    "epoch milliseconds",
    "epoch microseconds",
    "epoch nanoseconds",
    "serial days",
    "serial days from 1904",
    "Julian days",
    "modified Julian days",
]
TimeUnitOption = TimeUnit | Literal["epoch", "serial", "serial-1904"]

KIND_OF_UNIT: dict[TimeUnit, NumberKind] = {
    "ms": "milliseconds",
    "s": "seconds",
    "min": "minutes",
    "h": "hours",
    "d": "days",
}
_EPOCH_KINDS: dict[NumberKind, float] = {
    "epoch seconds": 1.0,
    "epoch milliseconds": 1e-3,
    "epoch microseconds": 1e-6,
    "epoch nanoseconds": 1e-9,
}
SECONDS_OF_KIND: dict[NumberKind, float] = {
    **{kind: TIME_UNIT_S[unit] for unit, kind in KIND_OF_UNIT.items()},
    **_EPOCH_KINDS,
    "serial days": 86400.0,
    "serial days from 1904": 86400.0,
    "Julian days": 86400.0,
    "modified Julian days": 86400.0,
}
# Day 1 of a spreadsheet is 1 January 1900 and it counts a 29 February 1900 that never was, so from
# March 1900 its days count from 30 December 1899 (ECMA-376 part 1, 18.17.4.1); the other system
# counts from 1 January 1904.
DAYS_TO_1970: dict[NumberKind, int] = {"serial days": 25569, "serial days from 1904": 24107}

JULIAN_TO_1970: dict[NumberKind, float] = {
    "Julian days": 2440587.5,
    "modified Julian days": 40587.0,
}
"""From noon UT on 1 January 4713 BC, and from midnight UT on 17 November 1858."""
_JULIAN_NAMES: dict[str, NumberKind] = {
    "jd": "Julian days",
    "julian": "Julian days",
    "julian date": "Julian days",
    "julian day": "Julian days",
    "mjd": "modified Julian days",
    "modified julian date": "modified Julian days",
}

_EPOCH_S = (9.4e8, 3.4e9)  # late 1999 to 2077; what counts from 1904 is beyond it
_SERIAL_DAYS = (29_000.0, 75_000.0)  # 1979 to 2105 counted from 1900, four years later from 1904
_SERIAL_STEP_DAYS = 0.05  # readings an hour and more apart are no log of a firing


def is_epoch(kind: str) -> bool:
    """Tell whether a kind of time counts from 1970, UTC."""
    return kind in _EPOCH_KINDS or kind in JULIAN_TO_1970


def julian_kind(name: str, values: Sequence[float]) -> NumberKind | None:
    """Tell whether a column, by its name and its numbers, counts Julian days."""
    kind = _JULIAN_NAMES.get(name)
    if kind is None or not values:
        return None
    begin = JULIAN_TO_1970[kind]
    low, high = (begin + day for day in (_EPOCH_S[0] / 86400.0, _EPOCH_S[1] / 86400.0))
    return kind if low <= min(values) and max(values) <= high else None


def is_serial(kind: str) -> bool:
    """Tell whether a kind of time counts a spreadsheet's days, in wall-clock time."""
    return kind in DAYS_TO_1970


def _epoch_kind(values: Sequence[float]) -> NumberKind | None:
    low, high = _EPOCH_S
    for kind, factor in _EPOCH_KINDS.items():
        late = sum(low <= value * factor <= high for value in values)
        # a logger counts from 1970 until its clock is set
        unset = sum(0.0 <= value * factor < _UNSET_S for value in values)
        if late and late + unset == len(values) and late >= _MOSTLY * len(values):
            return kind
    return None


_UNSET_S, _MOSTLY = 3e7, 0.5


def kind_by_size(values: Sequence[float]) -> NumberKind | None:
    """Tell by their size, in file order, which numbers count from a calendar's beginning.

    None for numbers that may be anything.
    """
    if len(values) < 2:
        return None
    low, high = min(values), max(values)
    found = _epoch_kind(values)
    if found is not None:
        return found
    broken = any(value != int(value) for value in values)
    if broken and low >= _SERIAL_DAYS[0] and high <= _SERIAL_DAYS[1]:
        step = median(np.abs(np.diff(values)))
        if step <= _SERIAL_STEP_DAYS:
            return "serial days"
    return None


def kind_of_option(option: TimeUnitOption, values: Sequence[float]) -> NumberKind:
    """Return the kind a person named; an epoch's unit is option by the size of its numbers."""
    if option == "epoch":
        return _epoch_kind(values) or "epoch seconds"
    if option == "serial":
        return "serial days"
    if option == "serial-1904":
        return "serial days from 1904"
    return KIND_OF_UNIT[option]


def are_serial_dates(values: Sequence[float]) -> bool:
    """Tell whether numbers could be a spreadsheet's whole dates."""
    low, high = _SERIAL_DAYS
    return bool(values) and all(low <= value <= high and value == int(value) for value in values)


def are_day_fractions(values: Sequence[float]) -> bool:
    """Tell whether numbers could be a spreadsheet's times of day."""
    return bool(values) and all(0.0 <= value < 1.0 for value in values) and max(values) > 0.0
