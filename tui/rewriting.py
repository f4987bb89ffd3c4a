"""Data as the text of a file, every comment kept with the table that it was written for.

`firing.files.tomledit` finds the old table of each new one by what they have in common. Here it
is known which is which; so that it cannot be mistaken, the text is led there in steps that leave
no choice.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any

from firing.files.tomledit import render
from firing.files.tomlfile import parse

from .formedits import Data, Order


def rewritten(text: str, data: Data, orders: Mapping[str, Order]) -> str:
    """Return a text with other data in it.

    Parameters
    ----------
    text : str
        Valid TOML.
    data : dict
        What it is to hold.
    orders : mapping
        Of each list of tables that was rearranged, which table of the text each of its items is;
        None for a new one.
    """
    before, ending = parse(text, ""), text[len(text.rstrip("\n")) :]
    if _exactly(before, data):
        return text
    # A table written in another way than its key now wants cannot be changed in place.
    stale = {k for k in before if k in data and _way(before[k]) != _way(data[k])}
    if stale:
        before = {k: v for k, v in before.items() if k not in stale}
        text = render(before, text)
    for table, order in orders.items():
        if table in before and table in data and _way(data[table]) == "tables":
            text = _rearranged(text, table, data[table], order)
    done = render(data, text)
    # Where the last table went, the blank line before it would end the file.
    return done.rstrip("\n") + (ending or "\n")


def _rearranged(text: str, table: str, wanted: list[Data], order: Order) -> str:
    """Move, take out, change and add the tables of one list, one after the other."""
    data = parse(text, "")
    old = data[table]
    kept = [(n, item) for n, item in zip(order, wanted, strict=True) if n is not None]
    now = [old[n] for n, _ in kept]
    if not now:
        return render({key: value for key, value in data.items() if key != table}, text)
    text = render({**data, table: now}, text)
    for place, (_, item) in enumerate(kept):
        if now[place] != item:
            now = [*now[:place], item, *now[place + 1 :]]
            text = render({**data, table: now}, text)
    for place, n in enumerate(order):
        if n is None:
            now = [*now[:place], wanted[place], *now[place:]]
            text = render({**data, table: now}, text)
    return text


def _exactly(one: Any, other: Any) -> bool:
    """Whether two values are written alike; 1 is neither true nor 1.0."""
    return json.dumps(one, sort_keys=True, default=repr) == json.dumps(
        other, sort_keys=True, default=repr
    )


def _way(value: Any) -> str:
    if isinstance(value, dict):
        return "table"
    tables = isinstance(value, list) and value and all(isinstance(v, dict) for v in value)
    return "tables" if tables else "value"


def inline_text(data: Mapping[str, Any]) -> str:
    """Return data as TOML, one key a line and everything within it inline.

    It reads back as the same data however wrong they are, and is quick enough for every key typed:
    for a reader to judge, not to keep.
    """
    return "".join(f"{_string(key)} = {_inline(value)}\n" for key, value in data.items())


def _inline(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_string(k)} = {_inline(v)}" for k, v in value.items()) + "}"
    return "[" + ", ".join(map(_inline, value)) + "]"


def _string(text: str) -> str:
    # JSON escapes what TOML wants escaped, except for this one.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
