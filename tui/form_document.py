"""An open kiln or load file: what its form holds, judged and written by the file's own reader.

What it holds are data as a TOML reader returns them.  They may be faulty in any way: what is not a
table where one is wanted can still be taken out.  An edit returns new data, and the old stay as
they were.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from firing.errors import FiringError
from firing.files.tomledit import Order, inline_text, render
from firing.files.tomlfile import (
    Fault,
    FaultyFile,
    KeyPath,
    describe_path,
    parse,
    read_text,
    validate,
)

from .document import Document, digest_of
from .fields import value_text
from .form_kinds import Form, Group, Items


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


@dataclass(frozen=True)
class FormState:
    """What a form holds at one moment; never changed.

    Attributes
    ----------
    form : Form
        What it is of.
    name : str
        What faults call the file.
    data : dict
        As a TOML reader returns them, faults and all.
    base_text : str or None
        The text its comments and layout are kept from.
    orders : mapping
        Of each list that was rearranged, which item of the base text each of its items is.
    """

    form: Form
    name: str
    data: Data
    base_text: str | None
    orders: Mapping[str, Order] = field(default_factory=dict)

    @cached_property
    def _read(self) -> tuple[Any, tuple[Fault, ...]]:
        try:
            return self.form.file.parse(inline_text(self.data), self.name), ()
        except FaultyFile as error:
            return None, error.faults
        except FiringError as error:
            return None, (Fault(self.name, None, "", str(error)),)

    def judge(self) -> None:
        """Have the reader judge it now; it is done once."""
        _ = self._read

    @property
    def value(self) -> Any:
        """What the file describes; None if it has faults."""
        return self._read[0]

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What is wrong, in the reader's words; their lines are not those of the file."""
        return self._read[1]

    @cached_property
    def written(self) -> str:
        """The data in a form that only the same data have."""
        return json.dumps(self.data, sort_keys=True, default=repr)

    def text(self) -> str:
        """Return the text of the file."""
        lists = [value for value in self.data.values() if isinstance(value, list)]
        if any(not item for items in lists for item in items):
            # An item begun and not filled in is refused; it needs no layout.
            return inline_text(self.data)
        if self.base_text is None:
            text = render(_ordered(self.form, self.data))
        else:
            text = rewritten(self.base_text, self.data, self.orders)
        # What no layout can hold, as a table where a word belongs, is at least written right.
        return text if parse(text, self.name) == self.data else inline_text(self.data)

    def checked_text(self, name: str) -> str:
        """Return the text of the file, which faults call `name`.

        Refused if it has faults, with every fault at the line where it would be.
        """
        text = self.text()
        self.form.file.parse(text, name)
        return text

    def with_value(self, path: KeyPath, value: Any) -> FormState:
        """Return the state with one value set, None for left out.

        Refused if the file's reader would refuse the value wherever it stood, in its words.
        """
        entry = self.form.field_at(path)
        data = self.data
        if entry is not None:
            path = (*path[:-1], entry.key_for(value))
            for key in entry.keys:
                if key != path[-1]:
                    data = set_value(data, (*path[:-1], key), None)
        data = set_value(data, path, value)
        trouble = _own_trouble(self.form, data, path)
        if trouble:
            raise FiringError(f"{describe_path(path)}: {trouble}")
        return replace(self, data=data)

    def held(self, path: KeyPath) -> Any:
        """Return what a path leads to, as a number or with its unit; None if there is nothing."""
        entry, table = self.form.field_at(path), value_at(self.data, path[:-1])
        if entry is None or not isinstance(table, dict):
            return value_at(self.data, path)
        return entry.held(table)

    def retyped(self, path: KeyPath, text: str) -> FormState:
        """Return the state with what was typed, the very same one if it held that already.

        Refused as `with_value`.
        """
        entry = self.form.field_at(path)
        if entry is None or text.strip() == value_text(entry, self.held(path)):
            return self
        return self.with_value(path, entry.read(text))

    def edited(self, edit: Edit) -> FormState:
        """Return the state after an edit that adds, takes out or moves."""
        orders = dict(self.orders)
        if edit.table:
            known = self.orders.get(edit.table)
            orders[edit.table] = tuple(
                n if n is None or known is None else known[n] for n in edit.order
            )
        return replace(self, data=edit.data, orders=orders)


def _ordered(form: Form, data: Data) -> Data:
    """Return data with their keys in the order of the form, and lists and tables last."""
    done: Data = {}
    for part in form.parts:
        if isinstance(part, Group) and not part.table:
            done.update({key: data[key] for f in part.fields for key in f.keys if key in data})
    done.update({key: data[key] for key in data if key not in done and not _lists(data[key])})
    for part in form.parts:
        if part.table in data:
            done[part.table] = _sorted(part, data[part.table])
    return {**done, **{key: data[key] for key in data if key not in done}}


def _lists(value: Any) -> bool:
    return isinstance(value, dict | list)


def _sorted(part: Group | Items, value: Any) -> Any:
    fields = part.every if isinstance(part, Items) else part.fields
    keys = [key for entry in fields for key in entry.keys]
    if isinstance(value, dict):
        known = {key: value[key] for key in keys if key in value}
        return {**known, **{key: value[key] for key in value if key not in known}}
    return [_sorted(part, each) for each in value] if isinstance(value, list) else value


def _own_trouble(form: Form, data: Data, path: KeyPath) -> str:
    """Return what the schema says of one value, whatever is wrong elsewhere; empty if nothing."""
    table, place = (str(path[0]), path) if len(path) > 1 else ("", path)
    # Other items have no say in it, and many of them take long; the owner's materials do.
    small = {key: value for key, value in data.items() if not isinstance(value, list)}
    small.update({key: data[key] for key in ("material",) if key in data})
    if table and isinstance(path[1], int):
        if table != "material":
            small[table] = [data[table][path[1]]]
            place = (table, 0, *path[2:])
    elif table:
        small[table] = data[table]
    else:
        small.update({key: data[key] for key in path if key in data})
    _, faults, _ = validate(inline_text(small), "", form.file.model)
    return next((f.message for f in faults if f.field == describe_path(place)), "")


@dataclass(slots=True)
class FormDocument(Document[FormState]):
    """A kiln or load file being filled in."""

    @property
    def kind(self) -> str:
        """What it is called in a sentence."""
        return self.state.form.kind

    @property
    def example(self) -> bool:
        """Whether it is a copy of an example that has no file of its own yet."""
        return self.path is None and self.base_text is not None

    def text_of(self, state: FormState, name: str) -> str:
        """Return what a file of that name would hold; refused with every fault at its line."""
        return state.checked_text(name)

    def same(self, one: FormState, other: FormState) -> bool:
        """Whether two states hold the same data."""
        return one.written == other.written


def open_form(form: Form, name: str | None) -> FormDocument:
    """Open a file, a copy of an example, or with None a new form with nothing in it.

    Refused if there is no such file, or it is no TOML; other faults can be mended in the form.  It
    is judged here too, so that the reader is loaded when the form is shown.
    """
    document = _opened(form, name)
    document.state.judge()
    return document


def _opened(form: Form, name: str | None) -> FormDocument:
    if name is None:
        # A first line to fill in, without a figure that nobody measured.
        first: Data = {form.main: [{}]} if form.main else {}
        state = FormState(form, f"the new {form.kind}", first, None)
        return FormDocument(state, state, suggested_name=f"{form.kind}.toml")
    path: Path | None = Path(name)
    if form.file.is_ready(name):
        suggested = f"{name.removeprefix('example-')}.toml"
        path, text, digest = None, form.file.text(name), None
    else:
        # Taken before the text is read: what is written meanwhile counts as a change.
        suggested, digest = Path(name).name, digest_of(Path(name))
        text = read_text(Path(name))
    text = form.file.current(text)
    state = FormState(form, name, parse(text, name), text)
    return FormDocument(state, state, path, text, digest, suggested)
