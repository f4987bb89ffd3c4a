"""Data as the text of a file, however faulty they are: in its old layout, or for a reader."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any

from firing.files.tomledit import Order, render
from firing.files.tomlfile import parse

from .form_edits import Data


def rewritten(text: str, data: Data, orders: Mapping[str, Order]) -> str:
    """Return a valid TOML text with other data in it.

    `orders` tell of each list of tables that was rearranged where its items stood in the text.
    """
    before, ending = parse(text, ""), text[len(text.rstrip("\n")) :]
    if _exactly(before, data):
        return text
    # A table written in another way than its key now wants cannot be changed in place.
    stale = {k for k in before if k in data and _way(before[k]) != _way(data[k])}
    if stale:
        before = {k: v for k, v in before.items() if k not in stale}
        text = render(before, text)
    known = {k: order for k, order in orders.items() if k in before and k in data}
    done = render(data, text, known)
    # Where the last table went, the blank line before it would end the file.
    return done.rstrip("\n") + (ending or "\n")


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
