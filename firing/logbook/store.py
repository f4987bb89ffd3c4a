"""The logbook's file: one SQLite database, written whole or not at all, and readable for decades.

The logs' own bytes are kept, and what a person said of each firing.  Everything else is derived
from them and may be derived again.  A write is on the disk before it is acknowledged.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import os
import re
import sqlite3
import stat
import struct
import time
import tomllib
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from firing.arguments import checked
from firing.cones.table import cone_number, parse_cone
from firing.errors import FiringError
from firing.files.tomlfile import clip
from firing.logbook.record import (
    EVENT_KINDS,
    Entry,
    Event,
    EventKind,
    Filter,
    Firing,
    KeptWitness,
    Photo,
    Shown,
    local_moment,
)
from firing.units import TemperatureUnit

APPLICATION_ID = 0x6B696C6E
"""Marks the file as a logbook (``kiln`` in ASCII)."""
PATH_VARIABLE = "FIRING_LOGBOOK"
"""Names the logbook's file, where no option does."""
LATE = "coalesce(s.excess_s > max(1800.0, 0.1 * s.planned_s), 0)"
"""As `Firing.late`."""
BUSY_MS = 15_000
COPIED_BYTES, COPIED_EVERY_S, COPIES_KEPT = 200_000_000, 300.0, 3
_OLDEST_SQLITE = (3, 37, 0)  # the first with STRICT tables
_NETWORK = re.compile(
    r"nfs\d?|cifs|smb\w*|ncpfs|afs|9p|ceph|lustre|glusterfs|gfs2|ocfs2|beegfs|davfs2?|"
    r"fuse\.(?:sshfs|rclone|s3fs|gvfsd-fuse|davfs2?|glusterfs|ceph\w*|smbnetfs|curlftpfs)|"
    r"vboxsf|vmhgfs|fuse\.vmhgfs-fuse|prl_fs|virtiofs|drvfs"
)
"""File systems of mounts that another computer may write to."""

_STEPS: tuple[str, ...] = (
    """
    CREATE TABLE kiln (
        id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE COLLATE NOCASE,
        body TEXT NOT NULL DEFAULT '') STRICT;
    CREATE TABLE plan (
        id INTEGER PRIMARY KEY, title TEXT NOT NULL, sha256 TEXT NOT NULL UNIQUE,
        body TEXT NOT NULL) STRICT;
    CREATE TABLE load (
        id INTEGER PRIMARY KEY, name TEXT NOT NULL, sha256 TEXT NOT NULL UNIQUE,
        body TEXT NOT NULL) STRICT;
    CREATE TABLE file (
        id INTEGER PRIMARY KEY, sha256 TEXT NOT NULL UNIQUE, name TEXT NOT NULL,
        size INTEGER NOT NULL, written_at REAL NOT NULL, body BLOB NOT NULL) STRICT;
    CREATE INDEX file_by_name ON file (name);
    CREATE TABLE firing (
        id INTEGER PRIMARY KEY,
        file INTEGER NOT NULL REFERENCES file, part INTEGER NOT NULL,
        kiln INTEGER REFERENCES kiln, plan INTEGER REFERENCES plan,
        load INTEGER REFERENCES load,
        reading TEXT NOT NULL, channel TEXT NOT NULL, began_at REAL,
        member TEXT NOT NULL, matched TEXT NOT NULL, kwh REAL, cost REAL,
        currency TEXT NOT NULL, UNIQUE (file, part)) STRICT;
    CREATE TABLE shown (
        firing INTEGER PRIMARY KEY REFERENCES firing ON DELETE CASCADE,
        started_at REAL NOT NULL, utc_offset_s INTEGER NOT NULL, zone TEXT NOT NULL,
        started_from TEXT NOT NULL, purpose TEXT NOT NULL, cone TEXT NOT NULL,
        target_c REAL, peak_c REAL, reached TEXT NOT NULL, reached_number REAL,
        duration_s REAL, planned_s REAL, excess_s REAL, heating_s REAL, ended TEXT NOT NULL,
        findings INTEGER NOT NULL, cause TEXT NOT NULL, witnesses TEXT NOT NULL, kwh_by_log REAL,
        course_c BLOB NOT NULL, measure TEXT, code TEXT NOT NULL, trouble TEXT NOT NULL,
        day TEXT NOT NULL) STRICT;
    CREATE INDEX shown_by_start ON shown (started_at);
    CREATE TABLE witness (
        id INTEGER PRIMARY KEY, firing INTEGER NOT NULL REFERENCES firing ON DELETE CASCADE,
        said TEXT NOT NULL) STRICT;
    CREATE INDEX witness_by_firing ON witness (firing);
    CREATE TABLE photo (
        id INTEGER PRIMARY KEY, firing INTEGER NOT NULL REFERENCES firing ON DELETE CASCADE,
        path TEXT NOT NULL, sha256 TEXT NOT NULL) STRICT;
    CREATE INDEX photo_by_firing ON photo (firing);
    CREATE TABLE note (
        id INTEGER PRIMARY KEY, firing INTEGER NOT NULL REFERENCES firing ON DELETE CASCADE,
        words TEXT NOT NULL) STRICT;
    CREATE INDEX note_by_firing ON note (firing);
    CREATE TABLE event (
        id INTEGER PRIMARY KEY, kiln INTEGER NOT NULL REFERENCES kiln, at_s REAL NOT NULL,
        utc_offset_s INTEGER NOT NULL, kind TEXT NOT NULL, words TEXT NOT NULL) STRICT;
    CREATE VIRTUAL TABLE words USING fts5(
        notes, names, tokenize = "unicode61 remove_diacritics 2");
    """,
)
"""What brings the file from one version to the next; its version counts them."""

SHOWN_COLUMNS = (
    "started_at", "utc_offset_s", "zone", "started_from", "purpose", "cone", "target_c", "peak_c",
    "reached", "reached_number", "duration_s", "planned_s", "excess_s", "heating_s", "ended",
    "findings", "cause", "witnesses", "kwh_by_log", "course_c", "measure", "code", "trouble",
)  # fmt: skip
_READ = f"""
    SELECT {", ".join(f"s.{name}" for name in SHOWN_COLUMNS)}, f.id, coalesce(k.name, ''),
        coalesce(p.title, ''), f.matched,
        (SELECT group_concat(words, char(10)) FROM note WHERE firing = f.id),
        coalesce(l.name, ''),
        (SELECT group_concat(path || char(9) || sha256, char(10)) FROM photo WHERE firing = f.id),
        f.cost, f.currency, f.kwh, f.member, b.name, f.part
    FROM firing f JOIN shown s ON s.firing = f.id JOIN file b ON b.id = f.file
        LEFT JOIN kiln k ON k.id = f.kiln LEFT JOIN plan p ON p.id = f.plan
        LEFT JOIN load l ON l.id = f.load
"""
LIKE_DAMAGE = (
    zlib.error,
    struct.error,
    ValueError,
    TypeError,
    KeyError,
    IndexError,
    OverflowError,
)


def default_path() -> Path:
    """Return where the logbook lies, unless somebody names another place."""
    named = os.environ.get(PATH_VARIABLE)
    if named:
        return Path(named).expanduser()
    from platformdirs import user_data_path

    return user_data_path("firing") / "logbook.sqlite"


def network_share(path: Path, mounts: str | None = None) -> str:
    """Return the kind of network share that a path lies on; empty if it lies on none.

    `mounts` is the text of ``/proc/mounts``; read from there if it is not given.
    """
    if str(path).startswith(("\\\\", "//")):
        return "network"
    if mounts is None:
        try:
            mounts = Path("/proc/mounts").read_text(encoding="utf-8", errors="replace")
        except OSError:
            return ""
    real, best, kind = os.path.realpath(path), "", ""
    for line in mounts.splitlines():
        parts = line.split(" ")
        if len(parts) < 3:
            continue
        place = re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), parts[1])
        inside = real == place or real.startswith(place.rstrip("/") + "/")
        if inside and len(place) >= len(best):
            best, kind = place, parts[2]
    return kind if _NETWORK.fullmatch(kind) else ""


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a firing that was put in: its number, and whether it is new.

    `grown` says that the log is the longer form of one kept before, whose place it takes.
    """

    id: int
    new: bool
    grown: bool = False


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check of the logbook found: how much it holds, and what is wrong, a sentence each."""

    path: Path
    firings: int
    events: int
    older: int
    """Firings whose figures another version of the code derived."""
    wrong: tuple[str, ...]
    backup: Path | None

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON shows it."""
        return {
            "path": str(self.path),
            "firings": self.firings,
            "events": self.events,
            "derived_by_older_code": self.older,
            "wrong": list(self.wrong),
            "newest_backup": None if self.backup is None else str(self.backup),
        }


class Logbook:
    """Every firing kept, in one file.

    Open it with `Logbook.open`; it is a context manager that closes it, and leaves a copy beside
    the file if anything was changed.

    Examples
    --------
    >>> import firing as fi
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder, fi.Logbook.open(folder + "/studio.sqlite") as book:
    ...     book.add_event("Blue kiln", "new elements", at_s=0.0).kind, book.count()
    ('new elements', 0)
    """

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self.path = path
        self._db = db
        self._changed = False

    def __repr__(self) -> str:
        """Return the file's name, on one line."""
        return f"<Logbook {self.path.name!r}>"

    # -- opening ------------------------------------------------------------------------------

    @classmethod
    @checked
    def open(
        cls, path: Path | str | None = None, *, create: bool = True, mounts: str | None = None
    ) -> Logbook:
        """Open the logbook, and bring an older file up to this version after a backup of it.

        Parameters
        ----------
        path : path, optional
            The file; by default the one of this user.
        create : bool
            Whether a file that is not there is made; else an empty logbook is read.
        mounts : str, optional
            The text of ``/proc/mounts``, where it is known.

        Raises
        ------
        FiringError
            If it lies on a network share, is damaged, newer than this program, or no logbook.
        """
        place = default_path() if path is None else Path(path).expanduser()
        if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
            raise FiringError(
                f"this Python's SQLite is {sqlite3.sqlite_version}; the logbook needs 3.37 or "
                "newer, which newer Pythons bring along"
            )
        refuse_no_logbook(place)
        share = network_share(place, mounts)
        if share:
            raise FiringError(
                f"{place}: lies on a network share ({share}), where a database can be damaged; "
                "choose a place on this computer's own disk, and copy backups to the share"
            )
        if not place.exists() and not create:
            book = cls(place, sqlite3.connect(":memory:", isolation_level=None))
            book._bring_up_to_date()
            return book
        book = cls(place, _connected(place, create))
        try:
            book._begin()
        except BaseException:
            book.close()
            raise
        return book

    def _begin(self) -> None:
        with self._explained():
            self._db.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
            self._db.execute("PRAGMA trusted_schema = OFF")
            self._db.execute("PRAGMA cell_size_check = ON")
            (version,) = self._db.execute("PRAGMA user_version").fetchone()
            tables = self._db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
            # Last: another process may write all three meanwhile, at once.
            (marked,) = self._db.execute("PRAGMA application_id").fetchone()
            if marked != APPLICATION_ID and (marked or version or tables):
                raise FiringError(f"{self.path}: is a database, and no logbook; name another file")
            if version > len(_STEPS):
                raise FiringError(
                    f"{self.path}: was written by a newer firing (version {version}, and this one "
                    f"knows {len(_STEPS)}); update firing, nothing was changed"
                )
            # Only now is it known to be a logbook, which others need not read.
            with suppress(OSError):
                if os.name == "posix" and self.path.stat().st_mode & 0o077:
                    self.path.chmod(0o600)
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.execute("PRAGMA foreign_keys = ON")
        if version < len(_STEPS):
            if version:
                self.backup(label=f"before-version-{len(_STEPS)}")
            self._bring_up_to_date()

    def _bring_up_to_date(self) -> None:
        with self._writing():
            (version,) = self._db.execute("PRAGMA user_version").fetchone()
            for step in _STEPS[version:]:
                for statement in step.split(";\n"):
                    self._db.execute(statement)
            self._db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            self._db.execute(f"PRAGMA user_version = {len(_STEPS)}")
        self._changed = False

    def close(self) -> None:
        """Close the file."""
        with suppress(sqlite3.Error):
            self._db.close()

    def __enter__(self) -> Logbook:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        try:
            if self._changed:
                self.back_up_when_due()
        except FiringError as error:
            if kind is None:
                raise FiringError(
                    f"the change is in the logbook, but has no copy: {error}"
                ) from None
        finally:
            self.close()

    @contextmanager
    def _explained(self) -> Iterator[None]:
        """Turn what the database or its content has against us into a sentence."""
        try:
            yield
        except sqlite3.Error as error:
            raise FiringError(self._sentence(error)) from None
        except LIKE_DAMAGE as error:
            raise FiringError(self._damaged(f"{type(error).__name__}")) from None

    def _sentence(self, error: sqlite3.Error) -> str:
        words = str(error)
        if "locked" in words or "busy" in words:
            return (
                f"{self.path}: another program has been writing to the logbook for "
                f"{BUSY_MS // 1000} s; try again when it is done"
            )
        if "readonly" in words or "unable to open" in words:
            return f"{self.path}: can't be written or opened ({words}); check its rights and folder"
        if "full" in words:
            return f"{self.path}: the disk is full, nothing of this was kept; make room, try again"
        return self._damaged(words)

    def _damaged(self, words: str) -> str:
        newest = newest_backup(self.path)
        back = f", whose newest backup is {newest.name}" if newest is not None else ""
        return (
            f"{self.path}: the logbook is damaged ({words}); run 'firing logbook restore' to save "
            f"what can be read{back}"
        )

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One write, on the disk when it is over, or nothing of it."""
        with self._explained():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._db.execute("COMMIT")
                self._changed = True
            except BaseException:
                with suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
                raise

    # -- putting in ---------------------------------------------------------------------------

    @checked
    def keep(self, entry: Entry, shown: Shown, in_place_of: int | None = None) -> Kept:
        """Put a firing in; the same log twice is one firing, and keeps its number.

        A log that begins with all of one kept before is the same firing, longer: it takes its
        place, as it does that of the firing `in_place_of`.
        """
        found = self.find_file(entry.body, entry.part)
        if found is not None:
            return Kept(found, new=False)
        with self._writing():
            if in_place_of is not None:
                self._replace_log(in_place_of, entry, shown)
                return Kept(in_place_of, new=False, grown=True)
            shorter = self.shorter_form(entry)
            file = self._file_of(entry, shorter)
            if shorter is not None:
                self._put_shown(shorter[1], shown)
                self._index(shorter[1])
                return Kept(shorter[1], new=False, grown=True)
            (firing,) = self._db.execute(
                "INSERT INTO firing (file, part, kiln, plan, load, reading, channel, began_at, "
                "member, matched, kwh, cost, currency) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?) "
                "RETURNING id",
                (
                    file, entry.part, self._kiln_of(entry.kiln, entry.kiln_text),
                    self._paper_of("plan", "title", entry.plan, entry.plan_text),
                    self._paper_of("load", "name", entry.load, entry.load_text),
                    json.dumps(dict(entry.reading)), entry.channel, entry.began_at, entry.member,
                    entry.matched, entry.kwh, entry.cost, entry.currency,
                ),
            ).fetchone()  # fmt: skip
            self._put_said(firing, entry)
            self._put_shown(firing, shown)
            self._index(firing)
        return Kept(firing, new=True)

    @checked
    def find_file(self, body: bytes, part: int = 1) -> int | None:
        """Return the number of the firing whose log has these bytes; None if none has."""
        with self._explained():
            row = self._db.execute(
                "SELECT f.id FROM firing f JOIN file b ON b.id = f.file "
                "WHERE b.sha256 = ? AND f.part = ?",
                (hashlib.sha256(body).hexdigest(), part),
            ).fetchone()
        return None if row is None else int(row[0])

    def _replace_log(self, firing: int, entry: Entry, shown: Shown) -> None:
        """Let another log of a firing take the place of its log; what was said of it stays."""
        (old,) = self._db.execute("SELECT file FROM firing WHERE id = ?", (firing,)).fetchone()
        self._db.execute(
            "UPDATE firing SET file = ?, part = ?, reading = ?, channel = ?, began_at = ? "
            "WHERE id = ?",
            (
                self._file_of(entry, None), entry.part, json.dumps(dict(entry.reading)),
                entry.channel, entry.began_at, firing,
            ),
        )  # fmt: skip
        self._drop_unused(old)
        self._put_shown(firing, shown)
        self._index(firing)

    def _drop_unused(self, file: int) -> None:
        self._db.execute(
            "DELETE FROM file WHERE id = ? AND id NOT IN (SELECT file FROM firing)", (file,)
        )

    @checked
    def shorter_form(self, entry: Entry) -> tuple[int, int] | None:
        """Return file and firing of a log of that name that these bytes begin with."""
        for file, firing, size, digest in self._db.execute(
            "SELECT b.id, f.id, b.size, b.sha256 FROM file b JOIN firing f ON f.file = b.id "
            "WHERE b.name = ? AND b.size < ? AND f.part = ?",
            (entry.log_name, len(entry.body), entry.part),
        ).fetchall():
            if size and hashlib.sha256(entry.body[:size]).hexdigest() == digest:
                return file, firing
        return None

    def _file_of(self, entry: Entry, shorter: tuple[int, int] | None) -> int:
        digest = hashlib.sha256(entry.body).hexdigest()
        row = self._db.execute("SELECT id FROM file WHERE sha256 = ?", (digest,)).fetchone()
        if row is not None:
            return int(row[0])
        packed = (digest, len(entry.body), entry.written_at, zlib.compress(entry.body, 4))
        if shorter is not None:
            self._db.execute(
                "UPDATE file SET sha256 = ?, size = ?, written_at = ?, body = ? WHERE id = ?",
                (*packed, shorter[0]),
            )
            return shorter[0]
        (file,) = self._db.execute(
            "INSERT INTO file (sha256, size, written_at, body, name) VALUES (?,?,?,?,?) "
            "RETURNING id",
            (*packed, entry.log_name),
        ).fetchone()
        return int(file)

    def _kiln_of(self, name: str, text: str = "") -> int | None:
        if not name:
            return None
        self._db.execute("INSERT OR IGNORE INTO kiln (name) VALUES (?)", (name,))
        if text:
            self._db.execute("UPDATE kiln SET body = ? WHERE name = ?", (text, name))
        return int(self._db.execute("SELECT id FROM kiln WHERE name = ?", (name,)).fetchone()[0])

    def _paper_of(self, table: str, column: str, name: str, text: str) -> int | None:
        if not text:
            return None
        digest = hashlib.sha256(text.encode()).hexdigest()
        self._db.execute(
            f"INSERT OR IGNORE INTO {table} ({column}, sha256, body) VALUES (?,?,?)",
            (name, digest, text),
        )
        row = self._db.execute(f"SELECT id FROM {table} WHERE sha256 = ?", (digest,)).fetchone()
        return int(row[0])

    def _put_said(self, firing: int, entry: Entry) -> None:
        for said in entry.witnesses:
            self._db.execute("INSERT INTO witness (firing, said) VALUES (?,?)", (firing, said))
        for words in entry.notes:
            self._db.execute("INSERT INTO note (firing, words) VALUES (?,?)", (firing, words))
        for photo in entry.photos:
            self._db.execute(
                "INSERT INTO photo (firing, path, sha256) VALUES (?,?,?)",
                (firing, photo.path, photo.sha256),
            )

    def _put_shown(self, firing: int, shown: Shown) -> None:
        values = {name: getattr(shown, name) for name in SHOWN_COLUMNS}
        values["witnesses"] = json.dumps([cone.to_dict() for cone in shown.witnesses])
        values["course_c"] = struct.pack(f"<{len(shown.course_c)}h", *shown.course_c)
        values["measure"] = None if shown.measure is None else json.dumps(dict(shown.measure))
        started = local_moment(shown.started_at, shown.zone, shown.utc_offset_s)
        values |= {"firing": firing, "day": f"{started:%Y-%m-%d}"}
        marks = ", ".join(f":{name}" for name in values)
        self._db.execute(
            f"INSERT OR REPLACE INTO shown ({', '.join(values)}) VALUES ({marks})", values
        )

    def _index(self, firing: int) -> None:
        """Note the words a firing is found by: notes, and every name with its month."""
        one = self._one(firing)
        started = one.started
        cone = f"cone {one.cone}" if one.cone else ""
        names = (one.plan, one.kiln, one.purpose, cone, one.member, one.load, one.log,
                 f"{started:%B %Y}")  # fmt: skip
        self._db.execute("DELETE FROM words WHERE rowid = ?", (firing,))
        self._db.execute(
            "INSERT INTO words (rowid, notes, names) VALUES (?,?,?)",
            (firing, one.notes, " ".join(filter(None, names))),
        )

    @checked
    def derive_again(self, firing: int, shown: Shown) -> None:
        """Put what a firing's log shows in the place of what was derived before."""
        changed = self._changed
        with self._writing():
            self._put_shown(firing, shown)
            self._index(firing)
        self._changed = changed  # what can be derived needs no copy

    @checked
    def add_to(self, firing: int, entry: Entry, shown: Shown | None = None) -> None:
        """Add notes, witness cones and photographs to a firing, and what else is said of it.

        `shown` is what then follows from its log; None where nothing new does.
        """
        self._one_or_refuse(firing)
        with self._writing():
            self._put_said(firing, entry)
            said = {
                "kwh": entry.kwh, "cost": entry.cost, "currency": entry.currency,
                "began_at": entry.began_at,
                "member": entry.member, "matched": entry.matched,
                "kiln": self._kiln_of(entry.kiln, entry.kiln_text),
                "plan": self._paper_of("plan", "title", entry.plan, entry.plan_text),
                "load": self._paper_of("load", "name", entry.load, entry.load_text),
            }  # fmt: skip
            for name, value in said.items():
                if value not in (None, ""):
                    self._db.execute(f"UPDATE firing SET {name} = ? WHERE id = ?", (value, firing))
            if shown is not None:
                self._put_shown(firing, shown)
            self._index(firing)

    def put_kiln(
        self, name: str, text: str, kwh_by_log: dict[int, float], *, stale: bool = False
    ) -> None:
        """Let a kiln's file take the place of the one kept, with what energies follow from it.

        Parameters
        ----------
        name, text : str
            The kiln, and its file.
        kwh_by_log : dict of int to float
            Energy by the logged output, by the numbers of the firings it changes [kWh].
        stale : bool
            Whether all figures of its firings are to be derived again; see `older_than`.
        """
        with self._writing():
            kiln = self._kiln_of(name, text)
            if stale:
                self._db.execute(
                    "UPDATE shown SET code = '' WHERE firing IN "
                    "(SELECT id FROM firing WHERE kiln = ?)",
                    (kiln,),
                )
            self._db.executemany(
                "UPDATE shown SET kwh_by_log = ? WHERE firing = ?",
                [(kwh, firing) for firing, kwh in kwh_by_log.items()],
            )

    @checked
    def add_event(
        self, kiln: str, kind: EventKind, words: str = "", *, at_s: float, utc_offset_s: int = 0
    ) -> Event:
        """Note what was done to a kiln; the wear begins anew at new elements.

        Parameters
        ----------
        kiln : str
            Its name; a kiln that has no firing yet is made.
        kind : {"new elements", "new sensor", "relay", "repair", "note"}
        words : str
            Anything to remember of it.
        at_s, utc_offset_s : float, int
            When: seconds since 1970 UTC, and the clock's offset then [s].
        """
        if kind not in EVENT_KINDS:
            raise FiringError(f'"{kind}" is no event; write one of {", ".join(EVENT_KINDS)}')
        if not kiln.strip():
            raise FiringError("an event needs a kiln; name it with --kiln")
        if at_s > time.time() + 60.0:  # a clock may be a little ahead
            when = local_moment(at_s, "", utc_offset_s)
            raise FiringError(
                f"{when:%Y-%m-%d %H:%M} is in the future; note an event when it is done"
            )
        with self._writing():
            number = self._kiln_of(kiln)
            row = self._db.execute(
                "SELECT id FROM event WHERE (kiln, at_s, kind, words) = (?,?,?,?)",
                (number, at_s, kind, words),
            ).fetchone() or self._db.execute(
                "INSERT INTO event (kiln, at_s, utc_offset_s, kind, words) VALUES (?,?,?,?,?) "
                "RETURNING id",
                (number, at_s, utc_offset_s, kind, words),
            ).fetchone()  # fmt: skip
        return Event(int(row[0]), kiln, at_s, kind, words, utc_offset_s)

    @checked
    def remove_event(self, number: int) -> None:
        """Take back an event that was noted by mistake."""
        with self._writing():
            found = self._db.execute("DELETE FROM event WHERE id = ? RETURNING id", (number,))
            if found.fetchone() is None:
                raise FiringError(f"there is no event {number}; 'firing logbook event' lists them")

    @checked
    def remove(self, firing: int) -> Path:
        """Remove a firing that does not belong here, and return the backup that still has it."""
        self._one_or_refuse(firing)
        copy = self.backup(label="before-removal")
        with self._writing():
            (file,) = self._db.execute("SELECT file FROM firing WHERE id = ?", (firing,)).fetchone()
            self._db.execute("DELETE FROM firing WHERE id = ?", (firing,))
            self._db.execute("DELETE FROM words WHERE rowid = ?", (firing,))
            self._drop_unused(file)
        return copy

    @checked
    def set_kiln(self, name: str, text: str) -> None:
        """Keep a kiln's file."""
        with self._writing():
            self._kiln_of(name, text)

    # -- finding ------------------------------------------------------------------------------

    @checked
    def firings(
        self, which: Filter | None = None, *, limit: int | None = None, newest_first: bool = True
    ) -> tuple[Firing, ...]:
        """Return the firings that are meant, the newest first.

        Parameters
        ----------
        which : Filter, optional
            Which; all of them if left out.
        limit : int, optional
            How many at most.
        newest_first : bool
            Whether the newest comes first.
        """
        where, values = _conditions(which or Filter())
        order = "DESC" if newest_first else "ASC"
        ordered = f"{_READ} {where} ORDER BY s.started_at {order}, f.id {order} LIMIT ?"
        with self._explained():
            rows = self._db.execute(ordered, (*values, -1 if limit is None else limit)).fetchall()
            return tuple(map(_firing, rows))

    @checked
    def count(self, which: Filter | None = None) -> int:
        """Return how many firings are meant."""
        where, values = _conditions(which or Filter())
        inner = (
            "FROM firing f JOIN shown s ON s.firing = f.id LEFT JOIN kiln k ON k.id = f.kiln "
            "LEFT JOIN plan p ON p.id = f.plan"
        )
        with self._explained():
            return int(self._db.execute(f"SELECT count(*) {inner} {where}", values).fetchone()[0])

    @checked
    def show(self, firing: int) -> Firing:
        """Return one firing by its number.

        Raises
        ------
        FiringError
            If there is none of that number.
        """
        return self._one_or_refuse(firing)

    def _one(self, firing: int) -> Firing:
        return _firing(self._db.execute(f"{_READ} WHERE f.id = ?", (firing,)).fetchone())

    def _one_or_refuse(self, firing: int) -> Firing:
        with self._explained():
            number = min(firing, 2**63 - 1)  # SQLite has no larger ones
            row = self._db.execute(f"{_READ} WHERE f.id = ?", (number,)).fetchone()
            if row is None:
                last = self._db.execute("SELECT max(id) FROM firing").fetchone()[0]
                most = f"the highest number is {last}" if last else "the logbook is empty"
                raise FiringError(f"there is no firing {firing}; {most}")
            return _firing(row)

    @checked
    def entry(self, firing: int) -> Entry:
        """Return a firing as it was put in, with its log's bytes.

        Raises
        ------
        FiringError
            If there is none of that number, or its bytes are not those that were kept.
        """
        self._one_or_refuse(firing)
        with self._explained():
            row = self._db.execute(
                "SELECT b.name, b.body, b.sha256, b.written_at, f.part, f.reading, f.channel, "
                "f.began_at, f.kwh, f.cost, f.currency, f.member, f.matched, k.name, k.body, "
                "p.title, p.body, l.name, l.body FROM firing f JOIN file b ON b.id = f.file "
                "LEFT JOIN kiln k ON k.id = f.kiln LEFT JOIN plan p ON p.id = f.plan "
                "LEFT JOIN load l ON l.id = f.load WHERE f.id = ?",
                (firing,),
            ).fetchone()
            body = zlib.decompress(row[1])
            if hashlib.sha256(body).hexdigest() != row[2]:
                raise FiringError(self._damaged(f"the log of firing {firing} has changed"))
            papers = [value or "" for value in row[13:]]
            one = Entry(
                log_name=row[0], body=body, written_at=row[3], part=row[4],
                reading=dict(json.loads(row[5])), channel=row[6], began_at=row[7], kwh=row[8],
                cost=row[9], currency=row[10], member=row[11], matched=row[12], kiln=papers[0],
                kiln_text=papers[1], plan=papers[2], plan_text=papers[3], load=papers[4],
                load_text=papers[5],
            )  # fmt: skip
            return replace(
                one,
                witnesses=self._said("SELECT said FROM witness WHERE firing = ?", firing),
                notes=self._said("SELECT words FROM note WHERE firing = ?", firing),
                photos=self._one(firing).photos,
            )

    def _said(self, question: str, firing: int) -> tuple[str, ...]:
        rows = self._db.execute(f"{question} ORDER BY id", (firing,)).fetchall()
        return tuple(words for (words,) in rows)

    @checked
    def events(self, kiln: str | None = None) -> tuple[Event, ...]:
        """Return what was done to a kiln, or to every kiln, in the order of time."""
        with self._explained():
            rows = self._db.execute(
                "SELECT e.id, k.name, e.at_s, e.kind, e.words, e.utc_offset_s FROM event e "
                "JOIN kiln k ON k.id = e.kiln WHERE ? IS NULL OR k.name = ? "
                "ORDER BY e.at_s, e.id",
                (kiln, kiln),
            ).fetchall()
        return tuple(Event(*row) for row in rows)

    def unit(self) -> TemperatureUnit:
        """Return the unit that it is read in: that of its newest plan, "C" if none has one."""
        with self._explained():
            row = self._db.execute(
                "SELECT p.body FROM firing f JOIN shown s ON s.firing = f.id "
                "JOIN plan p ON p.id = f.plan ORDER BY s.started_at DESC, f.id DESC LIMIT 1"
            ).fetchone()
        try:  # its one key, as reading a whole plan takes longer than a list may
            unit = tomllib.loads(row[0] or "").get("unit") if row else None
        except tomllib.TOMLDecodeError:  # a list is shown whatever became of a plan
            unit = None
        return "F" if unit == "F" else "C"

    def kilns(self) -> dict[str, str]:
        """Return the text of every kiln's file by the kiln's name; empty where none was given."""
        with self._explained():
            return dict(self._db.execute("SELECT name, body FROM kiln ORDER BY name").fetchall())

    @checked
    def kiln_called(self, name: str) -> str:
        """Return a kiln's name as it is spelled in the logbook; a new name as it is written.

        Raises
        ------
        FiringError
            If it is nearly that of a known kiln.
        """
        known = {one.casefold(): one for one in self.kilns()}
        if name.casefold() in known:
            return known[name.casefold()]
        near = difflib.get_close_matches(name.casefold(), known, n=1, cutoff=0.8)
        if near:
            raise FiringError(
                f'no kiln is called "{name}"; did you mean "{known[near[0]]}"? '
                "A new kiln needs a name less like it"
            )
        return name

    def plans(self) -> dict[str, str]:
        """Return the text of every plan by its title; the newest of those that share a title."""
        with self._explained():
            return dict(self._db.execute("SELECT title, body FROM plan ORDER BY id").fetchall())

    def fired(self) -> frozenset[tuple[str, str]]:
        """Return the plans by title, each with a kiln it was fired in."""
        asked = (
            "SELECT DISTINCT p.title, coalesce(k.name, '') FROM firing f "
            "JOIN plan p ON p.id = f.plan LEFT JOIN kiln k ON k.id = f.kiln"
        )
        with self._explained():
            return frozenset(self._db.execute(asked).fetchall())

    @checked
    def older_than(self, code: str) -> tuple[int, ...]:
        """Return the firings whose figures were derived by other code."""
        with self._explained():
            asked = "SELECT firing FROM shown WHERE code <> ? ORDER BY started_at"
            return tuple(number for (number,) in self._db.execute(asked, (code,)).fetchall())

    # -- safety -------------------------------------------------------------------------------

    @checked
    def check(self, code: str = "") -> CheckReport:
        """Check the file, every reference in it, and every log against its SHA-256."""
        wrong: list[str] = []
        firings = events = older = 0
        try:
            with self._explained():
                db = self._db
                (words,) = db.execute("PRAGMA integrity_check(1)").fetchone()
                if words != "ok":
                    wrong.append(f"the file is damaged ({_plain(words)})")
                lost = db.execute("PRAGMA foreign_key_check").fetchall()
                wrong += [f"a row of {row[0]} refers to a {row[2]} that is gone" for row in lost]
                firings = db.execute("SELECT count(*) FROM firing").fetchone()[0]
                events = db.execute("SELECT count(*) FROM event").fetchone()[0]
                without = "SELECT count(*) FROM firing WHERE id NOT IN (SELECT {} FROM {})"
                for column, table in (("firing", "shown"), ("rowid", "words")):
                    (count,) = db.execute(without.format(column, table)).fetchone()
                    if count:
                        wrong.append(f"{count} firings are missing from the table {table}")
                older = len(self.older_than(code)) if code else 0
                for (number,) in db.execute("SELECT id FROM file").fetchall():
                    wrong += self._wrong_in_file(number)
            for read in (self.firings, self.events, self.kilns, self.plans):
                read()  # a text that is none is seen by who reads it only
        except FiringError as error:
            if not wrong:
                wrong.append(str(error))
        return CheckReport(
            self.path, firings, events, older, tuple(wrong), newest_backup(self.path)
        )

    def _wrong_in_file(self, number: int) -> list[str]:
        try:
            name, digest, body = self._db.execute(
                "SELECT name, sha256, body FROM file WHERE id = ?", (number,)
            ).fetchone()
            whole = hashlib.sha256(zlib.decompress(body)).hexdigest() == digest
        except (sqlite3.Error, *LIKE_DAMAGE):
            return [f"the log number {number} can't be read"]
        return [] if whole else [f"{name}: its bytes are not those that were kept"]

    @checked
    def backup(self, to: Path | None = None, *, label: str = "") -> Path:
        """Copy the logbook as it stands now, beside a running watch too.

        Parameters
        ----------
        to : Path, optional
            The copy's file; by default one beside the logbook, with the moment in its name.
        label : str
            A word for the default name.

        Returns
        -------
        Path
            The copy.

        Raises
        ------
        FiringError
            If the copy can't be written, or something is there already.
        """
        stamp = f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}"[:-3]
        named = "-".join(filter(None, (self.path.stem, "backup", stamp, label)))
        target = to or self.path.with_name(f"{named}{self.path.suffix}")
        if target.exists():
            raise FiringError(f"{target}: is there already; choose another name")
        partial = target.with_name(f".{target.name}.partial")
        try:
            partial.unlink(missing_ok=True)
            _create(partial)
            copy = sqlite3.connect(partial)
            try:
                with self._explained():
                    self._db.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")  # one file, to be carried anywhere
            finally:
                copy.close()
            os.replace(partial, target)
        except OSError as error:
            raise FiringError(f"{target}: can't be written ({error.strerror})") from None
        finally:
            partial.unlink(missing_ok=True)
        return target

    def back_up_when_due(self) -> Path | None:
        """Copy the logbook beside itself after a change, and let older copies of this kind go.

        A very large one is copied every few minutes at most.  A damaged one drives out no copy, and
        the last of some earlier days stay for a damage that the structure does not show.
        """
        with self._explained():
            (words,) = self._db.execute("PRAGMA quick_check(1)").fetchone()
        if words != "ok":
            raise FiringError(self._damaged(_plain(words)))
        own = sorted(self.path.parent.glob(f"{self.path.stem}-backup-*-auto{self.path.suffix}"))
        if own and self.path.stat().st_size > COPIED_BYTES:
            age_s = datetime.now(UTC).timestamp() - own[-1].stat().st_mtime
            if age_s < COPIED_EVERY_S:
                return None
        copy = self.backup(label="auto")
        self._changed = False
        last_of_day = {f"{backup_moment(one):%Y-%m-%d}": one for one in own}
        stay = {*own[1 - COPIES_KEPT :], *list(last_of_day.values())[-1 - COPIES_KEPT :]}
        for old in set(own) - stay:
            old.unlink(missing_ok=True)
        return copy


def _plain(words: str) -> str:
    """Return the first of what SQLite's check of a file found."""
    return re.sub(r"^\*{3} .*? \*{3}\s*", "", words).splitlines()[0]


def backup_moment(path: Path) -> datetime:
    """Return when a backup was made: by the moment in its name, else by the file."""
    found = re.search(r"-backup-(\d{8}T\d{6})", path.name)
    if found is None:
        return datetime.fromtimestamp(path.stat().st_mtime, UTC)
    return datetime.strptime(found[1], "%Y%m%dT%H%M%S").replace(tzinfo=UTC)


def newest_backup(path: Path) -> Path | None:
    """Return the newest backup that lies beside a logbook."""
    found = backups_of(path)
    return found[-1] if found else None


def backups_of(path: Path) -> list[Path]:
    """Return the backups that lie beside a logbook, the oldest first."""
    return sorted(path.parent.glob(f"{path.stem}-backup-*{path.suffix}"))


def _create(path: Path) -> None:
    """Make an empty file that nobody else may read."""
    os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def _connected(path: Path, create: bool) -> sqlite3.Connection:
    """Connect to the file, for this user's eyes only."""
    try:
        if create and not path.exists():
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            with suppress(FileExistsError):  # somebody was quicker: then it is there
                _create(path)
    except OSError as error:
        raise FiringError(
            f"{path}: the logbook can't be made here ({error.strerror}); choose another place with "
            f"--logbook, or set {PATH_VARIABLE}"
        ) from None
    try:
        return sqlite3.connect(path, isolation_level=None, timeout=BUSY_MS / 1000.0)
    except sqlite3.Error as error:
        raise FiringError(f"{path}: can't be opened ({error})") from None


_WORDS = bytes(range(0x20, 0x7F)) + b"\t\r\n"


def refuse_no_logbook(path: Path) -> None:
    """Refuse what never was a logbook, before a byte or a right of it is changed."""
    try:
        kind = path.stat().st_mode
    except FileNotFoundError:
        return
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "no name a file can have"
        raise FiringError(f"{clip(str(path), 120)}: can't be opened ({why})") from None
    if stat.S_ISDIR(kind):
        raise FiringError(f"{path}: is a folder; name a file in it")
    if not stat.S_ISREG(kind):
        raise FiringError(f"{path}: is a device or a pipe, and no logbook; name a file")
    try:
        with path.open("rb") as file:
            head = file.read(1024)
    except OSError as error:
        raise FiringError(f"{path}: can't be opened ({error.strerror})") from None
    # A damaged page of a database is never as good as all words; a plan or a log is.
    others = len(head.translate(None, delete=_WORDS))
    if head and not head.startswith(b"SQLite format 3") and others < 0.1 * len(head):
        raise FiringError(f"{path}: is a text file, and no logbook; name another file")


def _conditions(which: Filter) -> tuple[str, tuple[Any, ...]]:
    """Return the conditions of a filter, and what stands for their marks."""
    asked: list[tuple[str, Sequence[Any]]] = []
    if which.kiln:
        asked.append(("k.name = ?", (which.kiln,)))
    if which.plan:
        asked.append(("instr(lower(p.title), lower(?)) > 0", (which.plan,)))
    if which.purpose:
        asked.append(("s.purpose = ?", (which.purpose,)))
    if which.cone:
        number = cone_number(which.cone)
        near = "(s.cone = ? OR (s.reached_number >= ? AND s.reached_number < ?))"
        asked.append((near, (parse_cone(which.cone), number - 0.5, number + 0.5)))
    if which.month:
        asked.append((_month(which.month), ()))
    if which.member:
        asked.append(("lower(f.member) = lower(?)", (which.member,)))
    if which.late:
        asked.append((LATE, ()))
    if which.since_s is not None:
        asked.append(("s.started_at >= ?", (which.since_s,)))
    if which.until_s is not None:
        asked.append(("s.started_at < ?", (which.until_s,)))
    if words := searched(which.words, any_word=which.any_word):
        asked.append(("f.id IN (SELECT rowid FROM words WHERE words MATCH ?)", (words,)))
    where = " AND ".join(condition for condition, _ in asked)
    return (f"WHERE {where}" if where else ""), tuple(v for _, values in asked for v in values)


_SMALL_WORDS = {
    *("a", "an", "and", "at", "for", "from", "in", "of", "on", "one", "that", "the", "to", "with"),
    *("firing", "firings"),
}


def searched(words: str, *, any_word: bool = False) -> str:
    """Return what a person looks for as a full-text question: each word, or what begins with it."""
    found = re.findall(r"\w+", words.casefold())
    told = [word for word in found if word not in _SMALL_WORDS] or found
    return (" OR " if any_word else " ").join(f'"{word}"*' for word in told)


_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip


def _month(text: str) -> str:
    """Return the condition for a month, a year, or a month of any year."""
    words = text.strip().casefold()
    found = re.fullmatch(r"(\d{4})(?:-(\d{1,2}))?|(\d{1,2})|([a-z]{3,9})\.?\s*(\d{4})?", words)
    year = month = None
    if found is not None:
        year = found[1] or found[5]
        month = found[2] or found[3]
        if found[4]:
            named = [n for n, name in enumerate(_MONTHS, 1) if name.startswith(found[4])]
            month = str(named[0]) if named else "0"
    if found is None or (month is not None and not 1 <= int(month) <= 12):
        raise FiringError(f'"{text}" is no month; write 2026-03, 2026, March or "March 2026"')
    pattern = f"{year or '____'}-{'__' if month is None else f'{int(month):02d}'}-__"
    return f"s.day LIKE '{pattern}'"


def shown_values(row: Sequence[Any]) -> dict[str, Any]:
    """Return what a row of `SHOWN_COLUMNS` says, by the names of `Shown`."""
    values: dict[str, Any] = dict(zip(SHOWN_COLUMNS, row, strict=False))
    values["witnesses"] = tuple(KeptWitness(**cone) for cone in json.loads(values["witnesses"]))
    course = values["course_c"]
    values["course_c"] = struct.unpack(f"<{len(course) // 2}h", course)
    if values["measure"] is not None:
        values["measure"] = json.loads(values["measure"])
    return values


def _firing(row: Sequence[Any]) -> Firing:
    """Return a firing of a row of `_READ`."""
    values = shown_values(row)
    number, kiln, plan, matched, notes, load, photos, cost, currency, kwh, member, log, part = row[
        len(SHOWN_COLUMNS) :
    ]
    lines: Iterable[str] = (photos or "").splitlines()
    return Firing(
        **values, id=number, kiln=kiln, plan=plan, matched=matched, notes=notes or "", load=load,
        photos=tuple(Photo(*line.split("\t", 1)) for line in lines), cost=cost, currency=currency,
        kwh=values["kwh_by_log"] if kwh is None else kwh, member=member, log=log, part=part,
    )  # fmt: skip
