"""A damaged logbook saved: its newest sound backup, and every row that can still be read.

The damaged file is never changed: what is read is a copy of it, and it stays beside the new one.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from firing.errors import FiringError
from firing.logbook.record import EVENT_KINDS, Entry, Photo, Shown
from firing.logbook.store import (
    LIKE_DAMAGE,
    SHOWN_COLUMNS,
    Logbook,
    backup_moment,
    backups_of,
    refuse_no_logbook,
    shown_values,
)

_SIDE_FILES = ("", "-wal", "-shm")
_GIVE_UP_AFTER = 2_000
"""So many row numbers in a row without one are the table's end, where nothing says it."""
_SAID = {"event": "events", "note": "notes", "witness": "witness cones", "photo": "photographs"}
_DERIVE = Callable[[Entry], Shown]


@dataclass(frozen=True, slots=True)
class Rescue:
    """What was saved: firings by the backup, and beyond it; logs whose details are lost."""

    firings: int
    from_backup: int
    bare: int
    unreadable: int
    damaged: Path | None
    backup: Path | None
    read: int = 0
    """Firings that could be read of the damaged file; what it says of them wins."""
    backup_at: datetime | None = None
    lost: tuple[str, ...] = ()
    """What else could not all be read of the damaged file."""

    @property
    def incomplete(self) -> bool:
        """Whether logs or what was said of them may have to be kept again."""
        nothing = self.damaged is not None and not self.read
        return bool(self.unreadable or self.bare or self.lost or nothing)

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON shows it."""
        return {
            "firings": self.firings,
            "from_backup": self.from_backup,
            "without_details": self.bare,
            "unreadable": self.unreadable,
            "damaged": None if self.damaged is None else str(self.damaged),
            "backup": None if self.backup is None else str(self.backup),
            "backup_at": None if self.backup_at is None else self.backup_at.isoformat(),
            "read_of_damaged": self.read,
            "not_all_read": list(self.lost),
        }


def restore(path: Path, derive: _DERIVE, backup: Path | None = None) -> Rescue:
    """Put a sound logbook in the place of a damaged one.

    Parameters
    ----------
    path : Path
        The logbook.
    derive : callable
        What a log shows, where the row that says it can't be read.
    backup : Path, optional
        The backup to begin with; by default the newest sound one beside the logbook.

    Raises
    ------
    FiringError
        If there is neither a logbook nor a backup, the logbook is sound and no backup is named,
        or the disk refuses.
    """
    for one in (path, backup):
        if one is not None:
            refuse_no_logbook(one)
    candidates = list(reversed(backups_of(path))) if backup is None else [backup]
    if not path.exists() and not candidates:
        raise FiringError(f"{path}: there is no logbook and no backup beside it")
    try:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=".restoring-") as folder:
            return _restored(path, derive, candidates, Path(folder), named=backup is not None)
    except OSError as error:
        raise FiringError(f"{path}: can't be restored ({error.strerror or error})") from None


def _restored(
    path: Path, derive: _DERIVE, candidates: Sequence[Path], folder: Path, *, named: bool
) -> Rescue:
    if path.exists() and not named and _sound(_copied(path, folder / "checked.sqlite")):
        raise FiringError(f"{path}: is not damaged; nothing done. --from FILE brings a backup back")
    new = folder / "new.sqlite"
    used, held = _begin_with(candidates, new)
    if named and used is None:
        raise FiringError(f"{candidates[0]}: is damaged, too; leave it out to use another backup")
    bare = unreadable = read = 0
    lost: set[str] = set()
    with closing(Logbook.open(new)) as book:
        if path.exists():
            old = _copied(path, folder / "old.sqlite")
            bare, unreadable, read, lost = _save_rows(old, book, derive)
        count = book.count()
        ready = book.backup(folder / "ready.sqlite")  # one file, without a journal beside it
    stamp = f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}"[:-3]
    damaged = path.with_name(f"{path.stem}-damaged-{stamp}{path.suffix}") if path.exists() else None
    if damaged is not None:
        for side in reversed(_SIDE_FILES):
            with suppress(FileNotFoundError):
                os.replace(f"{path}{side}", f"{damaged}{side}")
    os.replace(ready, path)
    at = None if used is None else backup_moment(used).astimezone()
    named_so = tuple(words for table, words in _SAID.items() if table in lost)
    return Rescue(count, held, bare, unreadable, damaged, used, read, at, named_so)


def _copied(path: Path, to: Path) -> Path:
    for side in _SIDE_FILES:
        with suppress(FileNotFoundError):
            shutil.copy(Path(f"{path}{side}"), Path(f"{to}{side}"))
    return to


def _sound(path: Path) -> bool:
    try:
        with closing(Logbook.open(path)) as book:
            return not book.check().wrong
    except FiringError:
        return False


def _begin_with(candidates: Sequence[Path], new: Path) -> tuple[Path | None, int]:
    """Copy the first sound backup, and return it with how many firings it holds."""
    for backup in candidates:
        shutil.copy(backup, new)
        new.chmod(0o600)
        try:
            with Logbook.open(new) as book:
                if not book.check().wrong:
                    return backup, book.count()
        except FiringError:
            pass
        for side in _SIDE_FILES:
            Path(f"{new}{side}").unlink(missing_ok=True)
    return None, 0


class _Rows:
    """The rows of a damaged file that can be read, by table and number."""

    def __init__(self, path: Path) -> None:
        self._db = sqlite3.connect(path, isolation_level=None)
        self.errors = 0
        self.lost: set[str] = set()
        self.unreadable: set[int] = set()

    def of(self, table: str, columns: str) -> Iterator[tuple[int, Sequence[Any]]]:
        """Yield every row that can be read with its number."""
        last = self._last(table)
        number = missed = 0
        while number < last if last is not None else missed < _GIVE_UP_AFTER:
            number += 1
            missed += 1
            try:
                row = self._db.execute(
                    f"SELECT {columns} FROM {table} WHERE rowid = ?", (number,)
                ).fetchone()
            except (sqlite3.Error, *LIKE_DAMAGE):
                self.errors += 1
                self.lost.add(table)
                if last is not None and table == "file":
                    self.unreadable.add(number)
                continue
            if row is not None:
                missed = 0
                yield number, row

    def _last(self, table: str) -> int | None:
        try:
            (last,) = self._db.execute(f"SELECT max(rowid) FROM {table}").fetchone()
        except (sqlite3.Error, *LIKE_DAMAGE):
            self.errors += 1
            self.lost.add(table)
            return None
        # A number that damage has made absurd must not be counted up to.
        return last if isinstance(last, int) and 0 <= last < 10_000_000 else 0 if not last else None

    def close(self) -> None:
        """Close the copy."""
        self._db.close()


def _save_rows(old: Path, book: Logbook, derive: _DERIVE) -> tuple[int, int, int, set[str]]:
    """Put what can be read of a damaged file into a sound one.

    Return how many logs are bare, how many unreadable, how many firings could be read, and the
    tables that could not all be read.
    """
    bare, rows, read = _saved(old, book, derive)
    unreadable, lost = rows.unreadable, rows.lost
    if rows.errors and _give_first_page(old):
        more, again, read_again = _saved(old, book, derive)
        left = again.unreadable
        bare, unreadable = bare + more, unreadable & left if unreadable else left
        read, lost = max(read, read_again), lost & again.lost
    return bare, len(unreadable), read, lost


def _give_first_page(old: Path) -> bool:
    """Give a file the first page of a new logbook, which in one version differs by sizes only."""
    fresh = old.with_name("fresh.sqlite")
    with Logbook.open(fresh) as book:
        single = book.backup(old.with_name("single.sqlite")).read_bytes()
    page = int.from_bytes(single[16:18], "big")
    content = bytearray(old.read_bytes())
    if len(content) < page:
        return False
    content[:page] = single[:page]
    content[28:32] = (len(content) // page).to_bytes(4, "big")  # its pages, and none of them free
    content[32:40] = bytes(8)
    content[92:96] = content[24:28]
    old.write_bytes(content)
    for side in _SIDE_FILES[1:]:
        Path(f"{old}{side}").unlink(missing_ok=True)
    return True


def _saved(old: Path, book: Logbook, derive: _DERIVE) -> tuple[int, _Rows, int]:
    rows = _Rows(old)
    kilns = {number: row for number, row in rows.of("kiln", "name, body") if _texts(row)}
    plans = {number: row for number, row in rows.of("plan", "title, body") if _texts(row)}
    loads = {number: row for number, row in rows.of("load", "name, body") if _texts(row)}
    for name, text in kilns.values():
        with suppress(FiringError):
            book.set_kiln(name, text)
    for _, row in rows.of("event", "kiln, at_s, utc_offset_s, kind, words"):
        kiln, at_s, offset_s, kind, words = row
        if kiln in kilns and kind in EVENT_KINDS and isinstance(at_s, float):
            with suppress(FiringError):
                book.add_event(
                    kilns[kiln][0], kind, str(words), at_s=at_s, utc_offset_s=int(offset_s or 0)
                )
    details = (("witness", "said"), ("note", "words"), ("photo", "path, sha256"))
    said = {table: _by_firing(rows, table, columns) for table, columns in details}
    firings: dict[int, list[tuple[int, Sequence[Any]]]] = {}
    columns = (
        "file, part, kiln, plan, load, reading, channel, began_at, member, matched, kwh, cost, "
        "currency"
    )
    for number, row in rows.of("firing", columns):
        firings.setdefault(row[0], []).append((number, row))
    shown: dict[int, Shown] = {}
    for number, row in rows.of("shown", ", ".join(SHOWN_COLUMNS)):
        with suppress(*LIKE_DAMAGE):
            shown[number] = Shown(**shown_values(row))
    bare = read = 0
    for number, (name, digest, written_at, packed) in rows.of(
        "file", "name, sha256, written_at, body"
    ):
        try:
            body = zlib.decompress(packed)
        except LIKE_DAMAGE:
            rows.unreadable.add(number)
            continue
        if hashlib.sha256(body).hexdigest() != digest and not isinstance(name, str):
            rows.unreadable.add(number)
            continue
        when = written_at if isinstance(written_at, float) else 0.0
        plain = Entry(str(name), body, written_at=when)
        for firing, row in firings.get(number, [(0, ())]):
            entry = _entry(plain, row, (kilns, plans, loads), said, firing) if row else plain
            figures = shown.get(firing)
            kept = book.keep(entry, figures if figures is not None else derive(entry))
            bare += kept.new and not row
            read += 1
            if row and not kept.new:
                _say_later(book, kept.id, entry, figures)
    rows.close()
    return bare, rows, read


def _say_later(book: Logbook, number: int, entry: Entry, figures: Shown | None) -> None:
    """Let what the damaged file says of a firing win over what its backup says."""
    with suppress(FiringError):
        old = book.entry(number)
        lists: dict[str, Any] = {
            name: tuple(one for one in getattr(entry, name) if one not in getattr(old, name))
            for name in ("witnesses", "notes", "photos")
        }
        later = replace(entry, **lists)
        said = ("kwh", "cost", "currency", "member", "began_at", "kiln", "plan_text", "load_text")
        differs = any(getattr(entry, name) not in (None, "", getattr(old, name)) for name in said)
        if differs or any(lists.values()):
            book.add_to(number, later, figures)


_Papers = Mapping[int, Sequence[Any]]


def _entry(
    plain: Entry,
    row: Sequence[Any],
    papers: tuple[_Papers, _Papers, _Papers],
    said: Mapping[str, Mapping[int, list[tuple[str, ...]]]],
    firing: int,
) -> Entry:
    """Return a firing as it was put in; what of it can't be read is left out."""
    _, part, *named, reading, channel, began_at, member, matched, kwh, cost, currency = row
    (kiln, kiln_text), (plan, plan_text), (load, load_text) = (
        kept.get(number, ("", "")) for kept, number in zip(papers, named, strict=True)
    )
    try:
        read = dict(json.loads(reading))
    except LIKE_DAMAGE:
        read = {}
    return replace(
        plain,
        part=part if isinstance(part, int) else 1,
        reading=read,
        channel=str(channel or ""),
        began_at=_number(began_at),
        kiln=kiln,
        kiln_text=kiln_text,
        plan=plan,
        plan_text=plan_text,
        load=load,
        load_text=load_text,
        member=str(member or ""),
        matched=str(matched or ""),
        kwh=_number(kwh),
        cost=_number(cost),
        currency=str(currency or ""),
        witnesses=tuple(words for (words,) in said["witness"].get(firing, ())),
        notes=tuple(words for (words,) in said["note"].get(firing, ())),
        photos=tuple(Photo(*photo) for photo in said["photo"].get(firing, ())),
    )


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def _texts(row: Sequence[Any]) -> bool:
    return all(isinstance(value, str) for value in row)


def _by_firing(rows: _Rows, table: str, columns: str) -> dict[int, list[tuple[str, ...]]]:
    found: dict[int, list[tuple[str, ...]]] = {}
    for _, (firing, *texts) in rows.of(table, f"firing, {columns}"):
        if _texts(texts):
            found.setdefault(firing, []).append(tuple(texts))
    return found
