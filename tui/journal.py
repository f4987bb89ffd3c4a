"""Unsaved work, kept beside the program so that a crash, a closed lid or a cut line loses none.

One file a document that is open and changed, written whole a moment after each edit and removed
when the work is saved or given up.  A lock file says which are still being worked on; the system
lets go of it however the program ends.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import threading
from copy import copy
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from firing.errors import FiringError
from firing.files.tomledit import inline_text
from firing.files.tomlfile import write_text
from firing.schedule.file import parse_schedule, schedule_data

from .document import PlanDocument
from .edits import new_schedule

_SCHEMA = 1


def state_folder() -> Path:
    """Return the folder for unsaved work: the user's own for the state of programs."""
    from platformdirs import user_state_dir

    return Path(user_state_dir("firing", appauthor=False)) / "unsaved"


@dataclass(frozen=True, slots=True)
class Leftover:
    """Unsaved work that no running program holds.

    Attributes
    ----------
    file : Path
        Where it is kept.
    path : Path or None
        The schedule file it belongs to.
    written_at : str
        When it was last written, ISO 8601.
    title : str
        The schedule's.
    """

    file: Path
    path: Path | None
    written_at: str
    title: str
    _data: dict[str, Any]

    def restore(self) -> PlanDocument:
        """Return the work one undo away from what its file held when it was begun.

        A change of the file since is noticed when saving.  Refused if it is no schedule any more.
        """
        base_text, suggested = self._data["base_text"], self._data["suggested_name"]
        name = str(self.path or suggested)
        before = new_schedule() if base_text is None else parse_schedule(base_text, name)
        digest = self._data["digest"]
        document = PlanDocument(before, before, self.path, base_text, digest, suggested)
        document.apply(parse_schedule(self._data["text"], name), "restoring unsaved work")
        return document

    def remove(self) -> None:
        """Give it up."""
        self.file.unlink(missing_ok=True)
        _lock_file(self.file).unlink(missing_ok=True)


def leftovers(folder: Path, path: Path | None = None) -> list[Leftover]:
    """Return the unsaved work left behind, of one schedule file or of all, the newest first."""
    found: list[Leftover] = []
    try:
        files = sorted(folder.glob("*.json"))
    except OSError:
        return found
    wanted = None if path is None else _key(path)
    for file in files:
        if wanted is not None and not file.name.startswith(wanted):
            continue
        entry = _read(file)
        if entry is not None and not _held(file):
            found.append(entry)
    return sorted(found, key=lambda entry: entry.written_at, reverse=True)


def _read(file: Path) -> Leftover | None:
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
        if data["schema"] != _SCHEMA:
            return None
        wanted = {key: data[key] for key in ("text", "base_text", "digest", "suggested_name")}
        path = None if data["path"] is None else Path(data["path"])
        return Leftover(file, path, str(data["written_at"]), str(data["title"]), wanted)
    except (OSError, ValueError, KeyError, TypeError):
        # What cannot be read cannot be offered; it stays where it is.
        return None


def _key(path: Path) -> str:
    return hashlib.sha256(os.path.realpath(path).encode()).hexdigest()[:16]


def _lock_file(file: Path) -> Path:
    return file.with_suffix(".lock")


def _lock(file: IO[str]) -> bool:
    """Take the lock of an open file; False if another program holds it.

    Where the system has no such locks, all work counts as left behind: being offered it once too
    often harms nobody.
    """
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _held(file: Path) -> bool:
    try:
        with _lock_file(file).open("a", encoding="utf-8") as lock:
            return not _lock(lock)
    except OSError:
        return False


class Journal:
    """Keeps the unsaved work of one open document; writes in a thread of its own.

    Its folder is made when there is first something to keep.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._file: Path | None = None
        self._lock: IO[str] | None = None
        self._wanted: PlanDocument | None = None
        self._state = threading.Condition()
        self._closed = False
        self._busy = False
        self._thread: threading.Thread | None = None
        self.trouble: str = ""
        """Why nothing can be kept; empty if it can."""

    def keep(self, document: PlanDocument) -> None:
        """Have the document's present state written soon; of several the last one counts."""
        # As it is at this moment; the document itself goes on changing.
        kept = copy(document)
        with self._state:
            self._wanted = kept
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, daemon=True)
                self._thread.start()
            self._state.notify_all()

    def settle(self) -> None:
        """Wait until what was to be kept is on disk."""
        with self._state:
            self._state.wait_for(lambda: self._wanted is None and not self._busy)

    def clear(self) -> None:
        """Remove what is kept: it was saved or given up."""
        with self._state:
            self._wanted = None
            self._state.wait_for(lambda: not self._busy)
            self._remove()

    def close(self) -> None:
        """End the thread; what is kept stays."""
        with self._state:
            self._closed = True
            self._state.notify_all()
        if self._thread is not None:
            self._thread.join()
        if self._lock is not None:
            self._lock.close()

    def _run(self) -> None:
        while True:
            with self._state:
                self._state.wait_for(lambda: self._wanted is not None or self._closed)
                kept = self._wanted
                if kept is None:
                    return
                self._wanted, self._busy = None, True
            try:
                self._write(kept)
                self.trouble = ""
            except (FiringError, OSError) as error:
                self.trouble = str(error)
            finally:
                with self._state:
                    self._busy = False
                    self._state.notify_all()

    def _write(self, kept: PlanDocument) -> None:
        path = None if kept.path is None else os.path.abspath(kept.path)
        data = {
            "schema": _SCHEMA,
            "kind": "unsaved-schedule",
            "path": path,
            "written_at": datetime.now().astimezone().isoformat(timespec="milliseconds"),
            "title": kept.schedule.title,
            "suggested_name": kept.suggested_name,
            # What it says is enough: its layout comes from the file's own text when it is saved.
            "text": inline_text(schedule_data(kept.schedule)),
            "base_text": kept.base_text,
            "digest": kept.digest,
        }
        key = "new" if kept.path is None else _key(kept.path)
        if self._file is None or not self._file.name.startswith(f"{key}-"):
            self._move_to(key)
        assert self._file is not None
        write_text(self._file, json.dumps(data, ensure_ascii=False, indent=1), overwrite=True)

    def _move_to(self, key: str) -> None:
        self._remove()
        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        number = 0
        while self._lock is None:
            file = self.folder / f"{key}-{os.getpid()}-{number}.json"
            number += 1
            lock = _lock_file(file).open("a", encoding="utf-8")
            # The name may belong to another document here, or to work left behind.
            if file.exists() or not _lock(lock):
                lock.close()
                continue
            self._file, self._lock = file, lock

    def _remove(self) -> None:
        if self._file is not None:
            self._file.unlink(missing_ok=True)
            _lock_file(self._file).unlink(missing_ok=True)
        if self._lock is not None:
            self._lock.close()
        self._file = self._lock = None


def first_time(folder: Path) -> bool:
    """Return whether nobody was here before, and remember that somebody was."""
    seen = folder / "tour-seen"
    if seen.exists():
        return False
    # Where nothing can be kept it comes again.
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        seen.touch()
    return True
