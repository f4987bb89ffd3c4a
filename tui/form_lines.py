"""What a form shows: its lines, the slots in them where something can be written, and the faults.

A slot is known by the path of its value in the file; the cursor stands on a path, so that it stays
on its value when lines come and go.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from firing.files.tomlfile import Fault, KeyPath, describe_path
from firing.report.sanitize import display_width

from .fields import Field, Option, same, value_text
from .form_document import FormState, entries, value_at
from .form_kinds import Form, Group, Items

LineKind = Literal["heading", "field", "item", "do", "odd"]

ADD, FORGET, OTHER = "+", "-", "?"
"""Last parts of the paths on which something is done rather than written."""

_LABEL, _VALUE, _NUMBER = 24, 24, 3
_EMPTY = 2
_LEAST = {"number": 7, "date": 12}


@dataclass(frozen=True, slots=True)
class Slot:
    """One place: the path of its value, the value as shown, and what is wrong with it."""

    path: KeyPath
    text: str
    field: Field | None = None
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a form.

    Attributes
    ----------
    kind : str
        A heading, a key, an item of a list, something to do, or what the file should not hold.
    words : str
        What stands before the slots.
    slots : tuple of Slot
        None in a heading.
    note : str
        What stands behind a single slot.
    fields : tuple of Field
        The columns of a list, in its heading and in its items.
    """

    kind: LineKind
    words: str
    slots: tuple[Slot, ...] = ()
    note: str = ""
    fields: tuple[Field, ...] = ()


def lines_of(state: FormState) -> tuple[Line, ...]:
    """Return the lines of a form, every fault at its place."""
    faults = _Faults(state.faults)
    found = [line for part in state.form.parts for line in _part_lines(state, part, faults)]
    known = {part.table for part in state.form.parts}
    known |= {k for part in state.form.parts if not part.table for f in part.fields for k in f.keys}
    odd = [_odd((key,), state.data[key], faults) for key in state.data if key not in known]
    # Every fault has a place, whatever the reader finds wrong.
    odd += [
        Line("do", field, (Slot((field, OTHER), "", None, words),), f"! {words}")
        for field, words in faults.left()
    ]
    if odd:
        found = [*found, Line("heading", "What does not belong here"), *odd]
    return tuple(found)


class _Faults:
    """The faults, by the words of their paths."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self._by_field: dict[str, str] = {}
        for fault in faults:
            self._by_field.setdefault(fault.field, fault.message)
        self._placed: set[str] = set()

    def at(self, path: KeyPath) -> str:
        field = describe_path(path)
        self._placed.add(field)
        return self._by_field.get(field, "")

    def of(self, entry: Field, path: KeyPath) -> str:
        """Return what is wrong with a field, under whichever of its keys."""
        found = [self.at((*path[:-1], key)) for key in entry.keys]
        return next((words for words in found if words), "")

    def left(self) -> list[tuple[str, str]]:
        """Return the faults that nobody asked for."""
        return [(k, words) for k, words in self._by_field.items() if k not in self._placed]


def _odd(path: KeyPath, value: Any, faults: _Faults) -> Line:
    fault = faults.at(path) or "cannot stand here; take it out"
    slot = Slot(path, value_text(None, value), None, fault)
    return Line("odd", describe_path(path), (slot,), f"! {fault}")


def _part_lines(state: FormState, part: Group | Items, faults: _Faults) -> Iterator[Line]:
    if isinstance(part, Items):
        yield from _items_lines(state, part, faults)
        return
    inside = value_at(state.data, (part.table,)) if part.table else state.data
    if part.table and not isinstance(inside, dict):
        if inside is not None:
            yield Line("heading", part.title)
            yield _odd((part.table,), inside, faults)
        return
    yield Line("heading", part.title)
    start: KeyPath = (part.table,) if part.table else ()
    for entry in part.fields:
        if _asked(state.data, entry):
            path: KeyPath = (*start, entry.key)
            yield _field_line(state.form, entry, path, entry.held(inside), faults)
    if part.table:
        keys = {key for entry in part.fields for key in entry.keys}
        yield from (_odd((*start, k), inside[k], faults) for k in inside if k not in keys)
    if part.table and part.table == state.form.forget[0]:
        gone = (part.table, FORGET)
        yield Line("do", state.form.forget[1], (Slot(gone, "", None, faults.at((part.table,))),))


def _asked(data: Mapping[str, Any], entry: Field) -> bool:
    if entry.when is None or any(key in data for key in entry.keys):
        return True
    key, value = entry.when
    return bool(data.get(key) == value)


def _field_line(form: Form, entry: Field, path: KeyPath, value: Any, faults: _Faults) -> Line:
    fault = faults.of(entry, path)
    text = value_text(entry, value)
    number = text and entry.unit and not fault and not isinstance(value, str)
    shown = f"{text} {entry.unit}" if number else text
    if fault:
        note = f"! {spoken(form, fault)}"
    elif value is None:
        note = f"{entry.left_out} if left out" if entry.left_out else "may be left out"
    else:
        note = ""
    return Line("field", entry.label, (Slot(path, shown, entry, fault),), note)


def _items_lines(state: FormState, part: Items, faults: _Faults) -> Iterator[Line]:
    inside = state.data.get(part.table)
    fields, more = (_headed(each, inside) for each in (part.fields, part.more))
    yield Line("heading", part.title, fields=fields)
    if inside is not None and not isinstance(inside, list):
        yield _odd((part.table,), inside, faults)
    for index, item in enumerate(inside if isinstance(inside, list) else ()):
        here: KeyPath = (part.table, index)
        if not isinstance(item, dict):
            yield _odd(here, item, faults)
            continue
        slots = []
        for number, entry in enumerate(part.every):
            path = (*here, entry.key)
            # What is wrong with an item as a whole is told where it begins.
            fault = faults.of(entry, path) or (faults.at(here) if number == 0 else "")
            slots.append(Slot(path, value_text(entry, entry.held(item)), entry, fault))
        first = len(part.fields)
        yield Line("item", str(index + 1), tuple(slots[:first]), fields=fields)
        if part.more and part.has_more(item):
            title = " " * (_NUMBER + 1) + titles_of(more)[0]
            yield Line("heading", title, fields=more)
            yield Line("item", "", tuple(slots[first:]), fields=more)
        keys = {key for entry in part.every for key in entry.keys}
        yield from (_odd((*here, k), item[k], faults) for k in item if k not in keys)
    if len(entries(state.data, part.table)) < part.most:
        fault = faults.at((part.table,)) if inside is None or isinstance(inside, list) else ""
        slot = Slot((part.table, ADD), "", None, fault)
        note = f"! {fault}" if fault else ""
        yield Line("do", f"+ Add a {part.word}", (slot,), note)


def _headed(fields: Sequence[Field], inside: Any) -> tuple[Field, ...]:
    """Return a list's columns, without the unit above figures that all carry their own."""
    items = [item for item in inside if isinstance(item, dict)] if isinstance(inside, list) else []

    def own(entry: Field) -> bool:
        held = [value for item in items if (value := entry.held(item)) is not None]
        return bool(held) and all(isinstance(value, str) for value in held)

    return tuple(replace(f, unit="") if f.unit and own(f) else f for f in fields)


def place_of(lines: Sequence[Line], path: KeyPath) -> tuple[int, int]:
    """Return the line and the slot of a path; of the nearest one there is if it is gone."""
    best, found = -1, (1, 0)
    for row, line in enumerate(lines):
        for column, slot in enumerate(line.slots):
            alike = _alike(slot.path, path)
            if alike > best:
                best, found = alike, (row, column)
    return found


def _alike(one: KeyPath, other: KeyPath) -> int:
    if one == other:
        return 100
    shared = 0
    for a, b in zip(one, other, strict=False):
        if a != b:
            break
        shared += 1
    return shared


def faulty_places(lines: Sequence[Line]) -> list[Slot]:
    """Return the slots that have something wrong, from top to bottom."""
    return [slot for line in lines for slot in line.slots if slot.fault]


def next_fault(lines: Sequence[Line], path: KeyPath) -> Slot | None:
    """Return the next slot with something wrong after a path, from the top again at the end."""
    slots = [slot for line in lines for slot in line.slots]
    at = next((n for n, slot in enumerate(slots) if slot.path == path), -1)
    return next((slot for slot in [*slots[at + 1 :], *slots[: at + 1]] if slot.fault), None)


def place_words(state: FormState, path: KeyPath) -> str:
    """Return which place it is, in words: ``layer 2, thickness``."""
    entry = state.form.field_at(path)
    items = state.form.items(str(path[0])) if path else None
    if entry is None:
        return "" if path and path[-1] in (ADD, FORGET, OTHER) else describe_path(path)
    if items is not None and isinstance(path[1], int):
        return f"{items.word} {path[1] + 1}, {entry.label}"
    return entry.label


_SETTING = re.compile(r"\b[a-z_0-9]+ = (?=\S)")
_WORDS = {"true or false": "yes or no", "write true": "write yes", "write false": "write no"}
# The quotes are the file's; in a form nobody types them.
_QUOTED = re.compile(r"\b(?:write|like) [^;:]*")
_KEY = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")


def spoken(form: Form, message: str) -> str:
    """Return a fault as a form says it: what to write, and labels for the file's keys."""
    labels = {
        key: entry.label
        for part in form.parts
        for entry in (part.every if isinstance(part, Items) else part.fields)
        for key in entry.keys
    }
    bare = _SETTING.sub("", message)
    for said, meant in _WORDS.items():
        bare = bare.replace(said, meant)
    bare = _QUOTED.sub(lambda found: found[0].replace('"', ""), bare)
    return _KEY.sub(lambda found: labels.get(found[0], found[0]), bare)


Cell = tuple[int, int, bool]
"""Where a cell begins, how wide it is, and whether it is set to the right."""


def cells_of(line: Line, room: int) -> tuple[Cell, ...]:
    """Return where the words, the slots and the note of a line stand in a room of that width."""
    if line.fields:
        return _columns(line.fields, room)
    if line.kind == "do":
        wide = min(max(display_width(line.words), 1), room)
        return ((0, wide, False), (0, wide, False), (wide + 2, max(room - wide - 2, 0), False))
    if line.kind == "heading":
        return ((0, room, False),)
    label = min(_LABEL, room // 2)
    value = max(min(_VALUE, room - label - 1), 1)
    if not line.slots[0].text:
        # Where nothing stands, what there is to say has its place too.
        value = min(value, _EMPTY)
    return (
        (0, label, False),
        (label + 1, value, False),
        (label + value + 2, max(room - label - value - 2, 0), False),
    )


def titles_of(fields: Sequence[Field]) -> list[str]:
    """Return the headings of a list's columns, with their units."""
    return [" ".join(filter(None, (f.label, f.unit))) for f in fields]


def _columns(fields: Sequence[Field], room: int) -> tuple[Cell, ...]:
    """Share the width: numbers take what their heading needs, words what is left."""
    titles = titles_of(fields)
    right = [entry.kind in ("number", "temperature") for entry in fields]
    least = [max(len(t), _LEAST.get(f.kind, 8)) for t, f in zip(titles, fields, strict=True)]
    free = [n for n, entry in enumerate(fields) if entry.kind in ("text", "choice", "points")]
    spare = room - _NUMBER - 1 - sum(least) - len(fields)
    wide = list(least)
    for n in free:
        wide[n] = max(wide[n] + max(spare, 0) // len(free), 4)
    wide = [min(width, 40) for width in wide]
    found: list[Cell] = [(0, _NUMBER, True)]
    left = _NUMBER + 1
    for width, figures in zip(wide, right, strict=True):
        found.append((left, width, figures))
        left += width + 1
    return tuple(found)


def choices(state: FormState, entry: Field) -> list[Option]:
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


def _values(state: FormState, entry: Field) -> list[Option]:
    found = list(entry.options)
    if entry.key == "material":
        tables = value_at(state.data, ("material",))
        for table in tables if isinstance(tables, list) else []:
            name = table.get("name") if isinstance(table, dict) else None
            if isinstance(name, str) and name:
                found.append((name, name))
    return found
