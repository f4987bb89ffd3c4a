"""The words that a slot may hold, where they are few: the schema's, and the owner's materials."""

from __future__ import annotations

from typing import Any

from firing.files.tomlfile import KeyPath

from .formedits import value_at
from .formfields import Field, same, value_text
from .formstate import FormState

Choice = tuple[Any, str]
"""A value and its words; None is left out of the file."""


def choices(state: FormState, entry: Field) -> list[Choice]:
    """Return all that a field may hold, and last that it may be left out, if it may."""
    found = _values(state, entry)
    if not entry.required:
        holds = f": {entry.left_out}" if entry.left_out else ""
        found.append((None, f"Leave it out{holds}"))
    return found


def turned(state: FormState, entry: Field, path: KeyPath, by: int) -> Any:
    """Return the value `by` words on from the one that a path holds, or that holds without one."""
    found = _values(state, entry)
    held = value_at(state.data, path)
    shown = value_text(entry, held) or entry.left_out
    at = next(
        (n for n, (value, word) in enumerate(found) if same(value, held) or word == shown), None
    )
    if at is None:
        return found[0 if by > 0 else -1][0]
    return found[(at + by) % len(found)][0]


def _values(state: FormState, entry: Field) -> list[Choice]:
    found: list[Choice] = list(entry.options)
    if entry.key == "material":
        tables = value_at(state.data, ("material",))
        for table in tables if isinstance(tables, list) else []:
            name = table.get("name") if isinstance(table, dict) else None
            if isinstance(name, str) and name:
                found.append((name, name))
    return found
