"""Open files: what each holds now, its history, and whether anything of it is not yet on disk."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, TypeVar

from firing.errors import FiringError
from firing.files.kinds import ready_names, ready_text
from firing.files.tomlfile import read_text, write_text
from firing.schedule.file import parse_schedule, schedule_text
from firing.schedule.schedule import Schedule

from .edits import new_schedule

State = TypeVar("State")
"""What a document holds at one moment; never changed, only replaced."""


class ChangedOnDisk(FiringError):
    """The file is no longer as it was when it was opened or last saved."""


@dataclass(slots=True)
class Document(Generic[State]):
    """A file being edited, whatever is in it.

    Attributes
    ----------
    state : State
        What it holds now.
    baseline : State
        What is safe already: as its file holds it, or as a copy or a new one began.
    path : Path or None
        Its file; None for a new one or a copy.
    base_text : str or None
        What the file held when it was last read or written here, or the text that was copied.
    digest : str or None
        SHA-256 of the file then.
    suggested_name : str
        What a first save may be called.
    cursor : Any
        Where the cursor stands; undo brings it back.
    """

    state: State
    baseline: State
    path: Path | None = None
    base_text: str | None = None
    digest: str | None = None
    suggested_name: str = ""
    cursor: Any = None
    _undo: list[tuple[State, Any, str]] = field(default_factory=list)
    _redo: list[tuple[State, Any, str]] = field(default_factory=list)

    @property
    def kind(self) -> str:
        """What it is called in a sentence."""
        raise NotImplementedError

    def text_of(self, state: State, name: str) -> str:
        """Return what a file of that name would hold; refused if it has faults."""
        raise NotImplementedError

    def same(self, one: State, other: State) -> bool:
        """Whether two states would be the same file."""
        return one == other

    @property
    def changed(self) -> bool:
        """Whether there is anything to lose: edits that no file holds."""
        return not self.same(self.state, self.baseline)

    @property
    def depth(self) -> int:
        """How many edits could be undone."""
        return len(self._undo)

    @property
    def undo_label(self) -> str | None:
        """What would be undone; None if nothing."""
        return self._undo[-1][2] if self._undo else None

    @property
    def redo_label(self) -> str | None:
        """What would be done again; None if nothing."""
        return self._redo[-1][2] if self._redo else None

    def apply(self, state: State, label: str, cursor: Any = None) -> bool:
        """Take an edit; returns whether it changed anything."""
        if self.same(state, self.state):
            return False
        self._undo.append((self.state, self.cursor, label))
        self._redo.clear()
        self.state = state
        if cursor is not None:
            self.cursor = cursor
        return True

    def undo(self) -> str | None:
        """Go back one edit; returns what it was, or None if there is none."""
        return self._travel(self._undo, self._redo)

    def redo(self) -> str | None:
        """Do the edit again that was last undone; returns what it was, or None."""
        return self._travel(self._redo, self._undo)

    def _travel(
        self, source: list[tuple[State, Any, str]], other: list[tuple[State, Any, str]]
    ) -> str | None:
        if not source:
            return None
        state, cursor, label = source.pop()
        other.append((self.state, self.cursor, label))
        self.state, self.cursor = state, cursor
        return label

    def save(self, *, replace_changed: bool = False) -> Path:
        """Write it to its file and return the path.

        `ChangedOnDisk` if somebody else changed the file since, and `replace_changed` is false;
        `FiringError` if it has no file yet, has faults, or cannot be written.
        """
        if self.path is None:
            raise FiringError(f"this {self.kind} has no file yet; save it under a name")
        state = self.state
        text = self.text_of(state, str(self.path))
        there = digest_of(self.path)
        if there is not None and there != self.digest and not replace_changed:
            raise ChangedOnDisk(
                f"{self.path}: the file has changed since it was opened here; replace it, or save "
                f"this {self.kind} under another name"
            )
        self._write(self.path, state, text, overwrite=there is not None)
        return self.path

    def save_as(self, path: Path, *, overwrite: bool = False) -> Path:
        """Write it to another file, which then is its file.

        Refused if there is such a file and `overwrite` is false, or as `save`.
        """
        state = self.state
        self._write(path, state, self.text_of(state, str(path)), overwrite=overwrite)
        self.path = path
        return path

    def _write(self, path: Path, state: State, text: str, *, overwrite: bool) -> None:
        # Through a link to the file itself, so that the link stays one.
        write_text(Path(os.path.realpath(path)), text, overwrite=overwrite)
        # It may have been edited on meanwhile: saving is done out of the keys' way.
        self.base_text, self.baseline, self.digest = text, state, digest_of(path)


def digest_of(path: Path) -> str | None:
    """Return the SHA-256 of a file as it is now; None if it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None


@dataclass(frozen=True, slots=True)
class Selection:
    """Where the cursor stands: a segment from 0 (-1 is the start) and a column's name."""

    row: int = 0
    column: str = "rate"


@dataclass(slots=True)
class PlanDocument(Document[Schedule]):
    """A schedule being edited; its comments and notation are kept from its file's text."""

    suggested_name: str = "plan.toml"
    cursor: Selection = field(default_factory=Selection)

    @property
    def kind(self) -> str:
        """What it is called in a sentence."""
        return "plan"

    @property
    def schedule(self) -> Schedule:
        """The plan as it is now."""
        return self.state

    def text_of(self, state: Schedule, name: str) -> str:
        """Return what a file would hold."""
        return schedule_text(state, self.base_text)


def open_file(path: Path) -> PlanDocument:
    """Open a schedule file; refused if it cannot be read, or with all its faults."""
    digest = digest_of(path)
    text = read_text(path)
    schedule = parse_schedule(text, str(path))
    return PlanDocument(schedule, schedule, path, text, digest, suggested_name=path.name)


def open_ready(name: str) -> PlanDocument:
    """Open a copy of a ready schedule; the first save asks for a name."""
    text = ready_text(name)
    schedule = parse_schedule(text, name)
    return PlanDocument(schedule, schedule, base_text=text, suggested_name=f"{name}.toml")


def open_named(name: str) -> PlanDocument:
    """Open a file, or a copy of the ready schedule of that name if there is no such file.

    Refused if there is neither, with the nearest name, or the file is faulty.
    """
    path = Path(name)
    if path.exists():
        return open_file(path)
    if name in ready_names():
        return open_ready(name)
    from firing.schedule.file import open_schedule

    # It knows the nearest name, and refuses here.
    schedule = open_schedule(name)
    return PlanDocument(schedule, schedule)


def open_new() -> PlanDocument:
    """Open a new plan."""
    plan = new_schedule()
    return PlanDocument(plan, plan)
