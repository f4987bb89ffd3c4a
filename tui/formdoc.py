"""An open kiln or load file: its history, and how it is put on disk."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

from firing.errors import FiringError
from firing.files.ready import example_names, ready_text
from firing.files.tomlfile import parse, read_text, write_text

from .document import ChangedOnDisk
from .formspec import Form
from .formstate import FormState


@dataclass(slots=True)
class FormDocument:
    """A form being filled in.

    Attributes
    ----------
    state : FormState
        As it is now.
    baseline : str
        What is safe already: as the file holds it, or as the form began.
    path : Path or None
        Its file; None for a new one or a copy of an example.
    suggested_name : str
        What a first save may be called.
    example : bool
        Whether it began as a copy of an example.
    """

    state: FormState
    baseline: str
    path: Path | None = None
    suggested_name: str = ""
    example: bool = False
    _on_disk: bytes | None = None
    _undo: list[tuple[FormState, str]] = field(default_factory=list)
    _redo: list[tuple[FormState, str]] = field(default_factory=list)

    @property
    def changed(self) -> bool:
        """Whether there is anything to lose."""
        return self.state.written != self.baseline

    @property
    def undo_label(self) -> str | None:
        """What would be undone; None if nothing."""
        return self._undo[-1][1] if self._undo else None

    @property
    def redo_label(self) -> str | None:
        """What would be done again; None if nothing."""
        return self._redo[-1][1] if self._redo else None

    def apply(self, state: FormState, label: str) -> bool:
        """Take an edit; returns whether it changed anything."""
        if state.written == self.state.written:
            return False
        self._undo.append((self.state, label))
        self._redo.clear()
        self.state = state
        return True

    def undo(self) -> str | None:
        """Go back one edit; returns what it was, or None if there is none."""
        return self._travel(self._undo, self._redo)

    def redo(self) -> str | None:
        """Do the edit again that was last undone; returns what it was, or None."""
        return self._travel(self._redo, self._undo)

    def _travel(
        self, source: list[tuple[FormState, str]], other: list[tuple[FormState, str]]
    ) -> str | None:
        if not source:
            return None
        state, label = source.pop()
        other.append((self.state, label))
        self.state = state
        return label

    def save(self, *, replace_changed: bool = False) -> Path:
        """Write the file and return its path.

        Raises
        ------
        ChangedOnDisk
            If somebody else changed the file since, and `replace_changed` is false.
        FiringError
            If it has faults or no name yet, or cannot be written.
        """
        if self.path is None:
            raise FiringError(f"this {self.state.form.kind} has no file yet; save it under a name")
        state = self.state
        text = state.checked_text(str(self.path))
        there = _bytes_of(self.path)
        if there is not None and there != self._on_disk and not replace_changed:
            raise ChangedOnDisk(
                f"{self.path}: the file has changed since it was opened here; replace it, or save "
                "under another name"
            )
        self._write(self.path, state, text, overwrite=there is not None)
        return self.path

    def save_as(self, path: Path, *, overwrite: bool = False) -> Path:
        """Write another file, which then is the form's own.

        Raises
        ------
        FiringError
            If there is such a file and `overwrite` is false, it has faults or cannot be written.
        """
        state = self.state
        self._write(path, state, state.checked_text(str(path)), overwrite=overwrite)
        self.path, self.example = path, False
        return path

    def _write(self, path: Path, state: FormState, text: str, *, overwrite: bool) -> None:
        # Through a link to the file itself, so that the link stays one.
        write_text(Path(os.path.realpath(path)), text, overwrite=overwrite)
        # The state may have been edited on meanwhile: saving is done out of the keys' way.
        self.baseline, self._on_disk = state.written, _bytes_of(path)


def _bytes_of(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


def open_form(form: Form, name: str | None) -> FormDocument:
    """Open a file, a copy of an example, or a new form with nothing in it.

    Parameters
    ----------
    form : Form
        Of what.
    name : str or None
        A path or an example's name, or None for a new one.

    Raises
    ------
    FaultyFile
        If there is no such file, or it is no TOML; other faults can be mended in the form.

    Notes
    -----
    The file is judged here too, so that the reader is loaded when the form is shown.
    """
    document = _opened(form, name)
    document.state.judge()
    return document


def _opened(form: Form, name: str | None) -> FormDocument:
    if name is None:
        # A first line to fill in, without a figure that nobody measured.
        state = FormState(form, f"the new {form.kind}", {form.main: [{}]}, None)
        return FormDocument(state, state.written, suggested_name=f"{form.kind}.toml")
    path = Path(name)
    if name in example_names() and not path.exists():
        text = ready_text(name)
        state = FormState(form, name, parse(text, name), text)
        suggested = f"{name.removeprefix('example-')}.toml"
        return FormDocument(state, state.written, suggested_name=suggested, example=True)
    # Taken before the text is read: what is written meanwhile counts as a change.
    on_disk = _bytes_of(path)
    text = read_text(path)
    state = FormState(form, name, parse(text, name), text)
    return FormDocument(state, state.written, path, path.name, _on_disk=on_disk)
