"""Which number of a date is the day: settled by the dates themselves, or asked, never guessed."""

import re
from collections.abc import Iterable, Sequence
from datetime import date

from firing.errors import FiringError
from firing.logs.times import GRAMMAR, DateOrder


def date_orders(cells: Iterable[str]) -> tuple[set[DateOrder], str | None]:
    """Tell in which orders every date can be read, and an example of one that leaves a choice.

    Dates that begin with a four-digit year or name their month leave none; numbers between dots
    are day first (the custom wherever dots are used).

    Returns
    -------
    set of str
        The orders under which all dates exist; empty when no order is needed.
    str or None
        A date that differs between those orders.
    """
    possible: set[DateOrder] | None = None
    example: str | None = None
    for cell in cells:
        match = GRAMMAR["date"].match(cell)
        if match is None or not match["a"]:
            continue
        here = _readings(match)
        possible = set(here) if possible is None else possible & set(here)
        if len(set(here.values())) > 1:
            example = example or cell[: match.end()].strip()
    if possible is None:
        return set(), None
    return possible, example


def _readings(match: re.Match[str]) -> dict[DateOrder, date]:
    a, b, c = int(match["a"]), int(match["b"]), int(match["c"])
    century = 2000 if len(match["c"]) == 2 else 0
    if match["s2"] == ".":
        tries: dict[DateOrder, tuple[int, int, int]] = {"dmy": (c + century, b, a)}
    else:
        tries = {"dmy": (c + century, b, a), "mdy": (c + century, a, b)}
        if century and match["s2"] == "-":
            tries["ymd"] = (a + 2000, b, c)
    found: dict[DateOrder, date] = {}
    for order, parts in tries.items():
        try:
            found[order] = date(*parts)
        except ValueError:
            continue
    return found


def settle_date_order(name: str, cells: Sequence[str], told: DateOrder | None) -> DateOrder | None:
    """Return the order of a log's dates, or refuse to guess it.

    Raises
    ------
    FiringError
        If the dates can be read in more than one order and `told` is None, or if no order fits.
    """
    if told is not None:
        return told
    possible, example = date_orders(cells)
    if len(possible) == 1 or example is None:  # 04/04/2025 is the same day either way
        return min(possible, default=None)
    if not possible:
        raise FiringError(
            f'{name}: no one order of day and month fits all its dates, such as "{example}"; '
            "say --date-order dmy (day first) or --date-order mdy (month first)"
        )
    meanings = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}
    choice = " or ".join(f"--date-order {order} ({meanings[order]})" for order in sorted(possible))
    raise FiringError(
        f'{name}: the date "{example}" can be read in more than one way; say {choice}'
    )
