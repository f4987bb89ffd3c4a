"""An open schedule: its file, its history, and whether anything in it is not yet on disk."""

import hashlib
import os
from dataclasses import dataclass, field
from pathlib import Path

from firing.errors import FiringError
from firing.files.ready import ready_names, ready_text
from firing.files.tomlfile import read_text, write_text
from firing.schedule.file import parse_schedule, schedule_text
from firing.schedule.schedule import Schedule

from .edits import new_schedule


class ChangedOnDisk(FiringError):
    """The file is no longer as it was when it was opened or last saved."""


@dataclass(frozen=True, slots=True)
class Selection:
    """Where the cursor stands: a segment from 0 (-1 is the start) and a column's name."""

    row: int = 0
    column: str = "rate"


@dataclass(frozen=True, slots=True)
class _Step:
    schedule: Schedule
    selection: Selection
    label: str


@dataclass(slots=True)
class Document:
    """One schedule being edited.

    Attributes
    ----------
    schedule : Schedule
        As it is now.
    baseline : Schedule
        What is safe already: as its file holds it, or as the ready or new plan began.
    path : Path or None
        Its file; None for a new plan or a copy of a ready one.
    base_text : str or None
        The text its comments and notation are kept from.
    digest : str or None
        SHA-256 of the file as it was last read or written here.
    selection : Selection
        Where the cursor stands; undo brings it back.
    suggested_name : str
        What a first save may be called.
    """

    schedule: Schedule
    baseline: Schedule
    path: Path | None = None
    base_text: str | None = None
    digest: str | None = None
    selection: Selection = field(default_factory=Selection)
    suggested_name: str = "plan.toml"
    _undo: list[_Step] = field(default_factory=list)
    _redo: list[_Step] = field(default_factory=list)

    @property
    def changed(self) -> bool:
        """Whether there is anything to lose: edits that no file holds."""
        return self.schedule != self.baseline

    @property
    def undo_label(self) -> str | None:
        """What would be undone; None if nothing."""
        return self._undo[-1].label if self._undo else None

    @property
    def redo_label(self) -> str | None:
        """What would be done again; None if nothing."""
        return self._redo[-1].label if self._redo else None

    def apply(self, schedule: Schedule, label: str, selection: Selection | None = None) -> bool:
        """Take an edit; returns whether it changed anything."""
        if schedule == self.schedule:
            return False
        self._undo.append(_Step(self.schedule, self.selection, label))
        self._redo.clear()
        self.schedule = schedule
        if selection is not None:
            self.selection = selection
        return True

    def undo(self) -> str | None:
        """Go back one edit; returns what it was, or None if there is none."""
        return self._travel(self._undo, self._redo)

    def redo(self) -> str | None:
        """Do the edit again that was last undone; returns what it was, or None."""
        return self._travel(self._redo, self._undo)

    def _travel(self, source: list[_Step], other: list[_Step]) -> str | None:
        if not source:
            return None
        step = source.pop()
        other.append(_Step(self.schedule, self.selection, step.label))
        self.schedule, self.selection = step.schedule, step.selection
        return step.label

    def text(self) -> str:
        """Return the schedule as its file would hold it."""
        return schedule_text(self.schedule, self.base_text)

    def save(self, *, replace_changed: bool = False) -> Path:
        """Write the schedule to its file and return the path.

        Raises
        ------
        ChangedOnDisk
            If somebody else changed the file since, and `replace_changed` is false.
        FiringError
            If it has no file yet, or cannot be written.
        """
        if self.path is None:
            raise FiringError("this plan has no file yet; save it under a name")
        there = _digest_of(self.path)
        if there is not None and there != self.digest and not replace_changed:
            raise ChangedOnDisk(
                f"{self.path}: the file has changed since it was opened here; replace it, or save "
                "this plan under another name"
            )
        self._write(self.path, overwrite=there is not None)
        return self.path

    def save_as(self, path: Path, *, overwrite: bool = False) -> Path:
        """Write the schedule to another file, which then is its file.

        Raises
        ------
        FiringError
            If there is such a file and `overwrite` is false, or it cannot be written.
        """
        self._write(path, overwrite=overwrite)
        self.path = path
        return path

    def _write(self, path: Path, *, overwrite: bool) -> None:
        text = self.text()
        # Through a link to the file itself, so that the link stays one.
        target = Path(os.path.realpath(path))
        write_text(target, text, overwrite=overwrite)
        self.base_text, self.baseline = text, self.schedule
        self.digest = _digest_of(path)


def _digest_of(path: Path) -> str | None:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None


def open_file(path: Path) -> Document:
    """Open a schedule file.

    Raises
    ------
    FiringError
        If it cannot be read, or with all its faults.
    """
    digest = _digest_of(path)
    text = read_text(path)
    schedule = parse_schedule(text, str(path))
    return Document(schedule, schedule, path, text, digest, suggested_name=path.name)


def open_ready(name: str) -> Document:
    """Open a copy of a ready schedule; the first save asks for a name."""
    text = ready_text(name)
    schedule = parse_schedule(text, name)
    return Document(schedule, schedule, base_text=text, suggested_name=f"{name}.toml")


def open_named(name: str) -> Document:
    """Open a file, or a copy of the ready schedule of that name if there is no such file.

    Raises
    ------
    FiringError
        If there is neither, with the nearest name, or the file is faulty.
    """
    path = Path(name)
    if path.exists():
        return open_file(path)
    if name in ready_names():
        return open_ready(name)
    from firing.schedule.file import open_schedule

    # It knows the nearest name, and refuses here.
    schedule = open_schedule(name)
    return Document(schedule, schedule)


def open_new() -> Document:
    """Open a new plan."""
    plan = new_schedule()
    return Document(plan, plan)


def restored(
    text: str, path: Path | None, base_text: str | None, digest: str | None, suggested_name: str
) -> Document:
    """Return a document with unsaved work in it, one undo away from what its file held.

    Parameters
    ----------
    text : str
        The unsaved schedule.
    path : Path or None
        Its file.
    base_text : str or None
        What the file held when the work on it began.
    digest : str or None
        SHA-256 of the file then, so that a change of it since is noticed when saving.
    suggested_name : str
        What a first save may be called.

    Raises
    ------
    FiringError
        If the text is no schedule.
    """
    name = str(path or suggested_name)
    before = new_schedule() if base_text is None else parse_schedule(base_text, name)
    document = Document(before, before, path, base_text, digest, suggested_name=suggested_name)
    document.apply(parse_schedule(text, name), "restoring unsaved work")
    return document
