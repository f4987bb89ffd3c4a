"""An open kiln or load file: what its form holds, judged and written by the file's own reader."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from firing.errors import FiringError
from firing.files.tomledit import Order, render
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
from .form_edits import Data, Edit, set_value, value_at
from .form_kinds import Form, Group, Items
from .rewriting import inline_text, rewritten


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
        state = FormState(form, f"the new {form.kind}", {form.main: [{}]}, None)
        return FormDocument(state, state, suggested_name=f"{form.kind}.toml")
    path: Path | None = Path(name)
    if form.file.is_ready(name):
        suggested = f"{name.removeprefix('example-')}.toml"
        path, text, digest = None, form.file.text(name), None
    else:
        # Taken before the text is read: what is written meanwhile counts as a change.
        suggested, digest = Path(name).name, digest_of(Path(name))
        text = read_text(Path(name))
    state = FormState(form, name, parse(text, name), text)
    return FormDocument(state, state, path, text, digest, suggested)
