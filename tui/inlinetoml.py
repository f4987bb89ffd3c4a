"""Data as TOML, one key a line and everything within it inline: for a reader to judge, not to keep.

It is exact for any data, however wrong, and quick enough for every key typed.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any


def inline_text(data: Mapping[str, Any]) -> str:
    """Return data as TOML that reads back as the same data."""
    return "".join(f"{_string(key)} = {_value(value)}\n" for key, value in data.items())


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_string(k)} = {_value(v)}" for k, v in value.items()) + "}"
    return "[" + ", ".join(map(_value, value)) + "]"


def _string(text: str) -> str:
    # JSON escapes what TOML wants escaped, except for this one.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
