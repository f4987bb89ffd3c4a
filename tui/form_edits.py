"""Edits of a form's data: each returns new data, and the old stay as they were.

Data are what a TOML reader returns.  They may be faulty in any way: what is not a table where one
is wanted can still be taken out.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from firing.errors import FiringError
from firing.files.tomledit import Order
from firing.files.tomlfile import KeyPath

from .form_kinds import Form, Items

Data = dict[str, Any]


def value_at(data: Any, path: KeyPath) -> Any:
    """Return what a path leads to; None if there is nothing."""
    for part in path:
        if isinstance(part, int):
            data = data[part] if isinstance(data, list) and part < len(data) else None
        else:
            data = data.get(part) if isinstance(data, dict) else None
    return data


def entries(data: Mapping[str, Any], table: str) -> list[Any]:
    """Return a list of tables; one table written singly counts as a list of it."""
    found = data.get(table)
    if isinstance(found, dict):
        return [found]
    return found if isinstance(found, list) else []


def set_value(data: Data, path: KeyPath, value: Any) -> Data:
    """Return the data with one value set, or left out if it is None."""
    done = deepcopy(data)
    inside: Any = done
    for part in path[:-1]:
        if isinstance(inside, dict) and part not in inside:
            inside[part] = {}
        inside = inside[part]
    if value is None:
        inside.pop(path[-1], None)
    else:
        inside[path[-1]] = value
    return done


@dataclass(frozen=True, slots=True)
class Edit:
    """What came of an edit that adds, takes out or moves.

    Attributes
    ----------
    data : dict
        As they are then.
    label : str
        What was done, in words.
    at : tuple
        Where the cursor stands then.
    table : str
        The list it was done in; empty if in none.
    order : tuple
        Where its items came from.
    """

    data: Data
    label: str
    at: KeyPath
    table: str = ""
    order: Order = ()


def removed(data: Data, path: KeyPath, label: str) -> Edit:
    """Take out what a path leads to; a list that becomes empty goes too."""
    done = deepcopy(data)
    around: Any = value_at(done, path[:-1])
    del around[path[-1]]
    if not isinstance(path[-1], int):
        return Edit(done, label, path)
    if not around:
        del done[str(path[0])]
    order = tuple(n for n in range(len(around) + 1) if n != path[-1])
    return Edit(done, label, path, str(path[0]), order)


def rearranged(form: Form, data: Data, what: str, path: KeyPath) -> Edit:
    """Do ``new``, ``copy``, ``remove``, ``up`` or ``down`` with the item at a path.

    Refused if there is nothing to do it with, or no room for more.
    """
    items = form.items(str(path[0])) if path else None
    row = path[1] if items is not None and len(path) > 1 and isinstance(path[1], int) else None
    if items is None and what == "new":
        items = form.items(form.main)
    if items is None or (row is None and what != "new"):
        raise FiringError("the cursor stands on no line of a list; go to the one you mean")
    before = entries(data, items.table)
    order: list[int | None] = list(range(len(before)))
    first = items.fields[0].key
    column = path[2] if row is not None and len(path) > 2 else first
    if what in ("new", "copy"):
        if len(before) >= items.most:
            raise FiringError(f"a {form.kind} file has at most {items.most} of these")
        at = len(before) if row is None else row + 1
        order.insert(at, None)
        column = first
    else:
        assert row is not None
        at = _moved(items, order, row, what)
    made = deepcopy(before[row]) if what == "copy" and row is not None else {}
    found = [made if n is None else deepcopy(before[n]) for n in order]
    done = {**deepcopy(data), items.table: found}
    if not found:
        del done[items.table]
    here: KeyPath = (items.table, at, column) if found else (items.table, "+")
    number = at if row is None or what in ("new", "copy") else row
    words = {"new": "new", "copy": "copy as", "remove": "removed", "up": "moved", "down": "moved"}
    label = f"{words[what]} {items.word} {number + 1}"
    return Edit(done, label, here, items.table, tuple(order))


def _moved(items: Items, order: list[int | None], row: int, what: str) -> int:
    """Remove or move one item in place; returns where the cursor goes."""
    if what == "remove":
        del order[row]
        return min(row, max(len(order) - 1, 0))
    to = row + (1 if what == "down" else -1)
    if not 0 <= to < len(order):
        raise FiringError(f"this {items.word} is the {'last' if what == 'down' else 'first'} one")
    order.insert(to, order.pop(row))
    return to


def forgotten(data: Data, table: str, label: str) -> Edit:
    """Take out a table."""
    done = {key: value for key, value in deepcopy(data).items() if key != table}
    return Edit(done, label, (table, "-"))
