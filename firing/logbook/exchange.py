"""The logbook as a folder of plain files, and back: what any program and any decade can read.

``logbook.toml`` says what a person said, ``logs/`` has every log byte for byte, ``plans/``,
``kilns/`` and ``loads/`` the files they were fired by.  ``firings.csv`` and ``events.csv`` are for
spreadsheets: their figures are derived again when a folder is read.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import re
import shutil
import time
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from firing.errors import FiringError
from firing.files.disk import UnusableInput, read_whole
from firing.files.tomlfile import clip, parse, shown
from firing.logbook.keeping import KeepProgress, KeptLog, derive, progressed, title_of
from firing.logbook.record import EVENT_KINDS, Entry, Photo, Shown
from firing.logbook.store import Logbook
from firing.logs.options import ReadingOptions
from firing.logs.reader import MOST_BYTES

FORMAT = 1
INDEX = "logbook.toml"
_MOMENTS_S = (-2e9, 2e11)
"""Seconds since 1970 that every calendar has: from 1906 to 8307."""
_FIGURES = (
    "id", "started", "kiln", "plan", "purpose", "cone", "end", "peak_c", "reached", "heating_s",
    "duration_s", "planned_s", "excess_s", "cause", "ended", "findings", "kwh", "cost", "currency",
    "member", "load", "notes", "log", "part",
)  # fmt: skip


def export(
    book: Logbook, folder: Path, progress: Callable[[KeepProgress], None] = lambda _: None
) -> int:
    """Write every firing and event into a new folder, and return how many firings.

    `FiringError` if the folder is there already, or can't be written.
    """
    if folder.exists():
        raise FiringError(f"{folder}: is there already; choose another name")
    partial = folder.with_name(f".{folder.name}.partial")
    try:
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir(parents=True, mode=0o700)
        count = _write(book, partial, progress)
        os.replace(partial, folder)
    except OSError as error:
        raise FiringError(f"{folder}: can't be written ({error.strerror or error})") from None
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return count


def _write(book: Logbook, folder: Path, progress: Callable[[KeepProgress], None]) -> int:
    papers = _Papers(folder)
    kilns = book.kilns()
    lines = [f"format = {FORMAT}"]
    for name, text in kilns.items():
        lines += _table("kiln", {"name": name, "file": papers.place("kiln", name, text)})
    for event in book.events():
        lines += _table("event", {
            "kiln": event.kiln, "kind": event.kind, "at_s": event.at_s,
            "utc_offset_s": event.utc_offset_s, "note": event.words,
        })  # fmt: skip
    numbers = sorted(one.id for one in book.firings())
    began_s = time.monotonic()
    for done, number in enumerate(numbers, 1):
        entry = book.entry(number)
        named = f"logs/{number:05d}-{_plain(entry.log_name)}"
        _put(folder / named, entry.body)
        lines += _table("firing", _said(entry, named, papers))
        progress(progressed(done, len(numbers), began_s))
    _put(folder / INDEX, ("\n".join(lines) + "\n").encode())
    firings = [one.to_dict() for one in book.firings(newest_first=False)]
    _put(folder / "firings.csv", _csv(_FIGURES, firings))
    events = [event.to_dict() for event in book.events()]
    _put(folder / "events.csv", _csv(("when", "kiln", "kind", "words"), events))
    return len(numbers)


def _said(entry: Entry, log: str, papers: _Papers) -> dict[str, Any]:
    """Return what a person said of a firing, by the keys of its table."""
    return {
        "log": log,
        "name": entry.log_name,
        "sha256": hashlib.sha256(entry.body).hexdigest(),
        "written_at_s": entry.written_at,
        "part": entry.part,
        "began_at_s": entry.began_at,
        "channel": entry.channel,
        "kiln": entry.kiln,
        "plan": papers.place("plan", entry.plan, entry.plan_text),
        "load": papers.place("load", entry.load, entry.load_text),
        "load_name": entry.load,
        "matched": entry.matched,
        "member": entry.member,
        "kwh": entry.kwh,
        "cost": entry.cost,
        "currency": entry.currency,
        "witnesses": list(entry.witnesses),
        "notes": list(entry.notes),
        "photos": [photo.to_dict() for photo in entry.photos],
        "reading": dict(entry.reading),
    }


class _Papers:
    """The plans, kilns and loads of a folder, each once."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._places: dict[tuple[str, str], str] = {}

    def place(self, kind: str, name: str, text: str) -> str:
        """Return where a file lies in the folder, and write it the first time."""
        if not text:
            return ""
        if (kind, text) not in self._places:
            stem = _plain(name.removesuffix(".toml"))
            count = sum(1 for other, _ in self._places if other == kind) + 1
            self._places[kind, text] = f"{kind}s/{count:03d}-{stem}.toml"
            _put(self._folder / self._places[kind, text], text.encode())
        return self._places[kind, text]


def _plain(name: str) -> str:
    """Return a name that every file system takes."""
    return re.sub(r"[^\w.-]+", "-", name)[:60].strip(".-") or "log"


def _put(path: Path, content: bytes) -> None:
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content)


def _csv(columns: Iterable[str], rows: Iterable[Mapping[str, Any]]) -> bytes:
    """Return a table that no spreadsheet takes a formula from."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        cells = ["" if row[name] is None else str(row[name]) for name in columns]
        writer.writerow([f"'{c}" if c.startswith(("=", "+", "@", "\t")) else c for c in cells])
    return file.getvalue().encode()


def _table(name: str, values: Mapping[str, Any]) -> list[str]:
    """Return a table of an array as TOML, without what is empty."""
    shown = {key: value for key, value in values.items() if value not in (None, "", [], {})}
    return ["", f"[[{name}]]", *(f"{key} = {_value(value)}" for key, value in shown.items())]


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_value(str(key))} = {_value(one)}" for key, one in value.items())
        return f"{{ {inner} }}"
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    # JSON's strings and numbers are TOML's, but for one character.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


# -- back -------------------------------------------------------------------------------------


def import_(
    book: Logbook, folder: Path, progress: Callable[[KeepProgress], None] = lambda _: None
) -> list[KeptLog]:
    """Read an exported folder into a logbook; what is there already is passed over.

    `FiringError` if the folder is none that was exported, or its index is faulty.
    """
    index = _index(folder)
    for table in index.get("kiln", ()):
        name = _string(table, "name", "[[kiln]]")
        book.set_kiln(name, _text(folder, table.get("file", ""), name))
    for table in index.get("event", ()):
        _put_event(book, table)
    firings = index.get("firing", [])
    kilns = book.kilns()
    found, began_s = [], time.monotonic()
    for done, table in enumerate(firings, 1):
        found.append(_put_firing(book, folder, table, done, kilns))
        progress(progressed(done, len(firings), began_s))
    return found


def _index(folder: Path) -> dict[str, Any]:
    path = folder / INDEX
    if not path.exists():
        raise FiringError(
            f"{folder}: holds no {INDEX}; name a folder that 'firing logbook export' wrote, or use "
            "'firing keep' for a folder of logs"
        )
    index = parse(_text(folder, INDEX, INDEX), str(path))
    written = index.get("format")
    if not isinstance(written, int) or not 1 <= written <= FORMAT:
        raise FiringError(f"{path}: has format {written!r}; this version reads 1 to {FORMAT}")
    for name in ("kiln", "event", "firing"):
        tables = index.get(name, [])
        if not isinstance(tables, list) or not all(isinstance(one, dict) for one in tables):
            raise FiringError(f"{path}: [[{name}]] has to be a list of tables")
    return index


def _string(table: Mapping[str, Any], key: str, where: str) -> str:
    value = table.get(key)
    if not isinstance(value, str) or not value:
        raise FiringError(f"{INDEX}: {where} lacks a text under {key}")
    return value


def _put_event(book: Logbook, table: Mapping[str, Any]) -> None:
    kind, at_s = table.get("kind"), table.get("at_s")
    name = _string(table, "kiln", "[[event]]")
    offset_s = table.get("utc_offset_s", 0)
    if kind not in EVENT_KINDS or not isinstance(offset_s, int) or abs(offset_s) >= 86_400:
        raise FiringError(
            f"{INDEX}: an event of {name} needs a kind of {', '.join(EVENT_KINDS)}, and an offset "
            "of less than a day"
        )
    try:
        moment_s = _number(at_s, _MOMENTS_S)
    except (TypeError, ValueError) as error:
        raise FiringError(f"{INDEX}: an event of {name} needs a moment; its at_s {error}") from None
    book.add_event(name, kind, str(table.get("note", "")), at_s=moment_s, utc_offset_s=offset_s)


def _file(folder: Path, place: Any, where: str) -> bytes:
    """Return a file of the folder, and of nowhere else."""
    path = folder / str(place)
    if not path.resolve().is_relative_to(folder.resolve()):
        raise FiringError(f"{INDEX}: {where} names {place}, which lies outside the folder")
    try:
        return read_whole(path, MOST_BYTES)
    except UnusableInput as error:
        raise FiringError(f"{path}: {error}") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "no file can have this name"
        raise FiringError(f"{clip(str(path), 200)}: can't be read ({why})") from None


def _text(folder: Path, place: Any, where: str) -> str:
    if not place:
        return ""
    try:
        return _file(folder, place, where).decode()
    except UnicodeDecodeError:
        raise FiringError(f"{folder / str(place)}: is no text in UTF-8") from None


def _put_firing(
    book: Logbook, folder: Path, table: Mapping[str, Any], number: int, kilns: Mapping[str, str]
) -> KeptLog:
    where = f"[[firing]] number {number}"
    try:
        place = _string(table, "log", where)
        body = _file(folder, place, where)
        if hashlib.sha256(body).hexdigest() != table.get("sha256"):
            raise FiringError(f"{folder / place}: its bytes are not those that were kept")
        entry = _entry(folder, table, body, kilns, where)
        known = book.find_file(entry.body, entry.part)
        if known is not None:
            return KeptLog(place, known, "known", entry.plan, entry.kiln)
        found: Shown = derive(entry)
    except FiringError as error:
        return KeptLog(str(table.get("log", where)), state="refused", why=str(error))
    kept = book.keep(entry, found)
    return KeptLog(place, kept.id, "kept", entry.plan, entry.kiln, why=entry.matched)


def _entry(
    folder: Path, table: Mapping[str, Any], body: bytes, kilns: Mapping[str, str], where: str
) -> Entry:
    plan_text = _text(folder, table.get("plan"), where)
    kiln = str(table.get("kiln", ""))
    try:
        return Entry(
            log_name=str(table.get("name", "log.csv")),
            body=body,
            part=int(_number(table.get("part", 1), (1.0, 1e6))),
            reading=ReadingOptions.from_dict(table.get("reading", {})).given(),
            channel=str(table.get("channel", "")),
            written_at=_number(table.get("written_at_s", 0.0), _MOMENTS_S),
            began_at=_number_or_none(table.get("began_at_s"), _MOMENTS_S),
            kiln=kiln,
            kiln_text=kilns.get(kiln, ""),
            plan=title_of(plan_text) if plan_text else "",
            plan_text=plan_text,
            load=str(table.get("load_name", "")),
            load_text=_text(folder, table.get("load"), where),
            witnesses=tuple(map(str, table.get("witnesses", ()))),
            notes=tuple(map(str, table.get("notes", ()))),
            photos=tuple(Photo(**photo) for photo in table.get("photos", ())),
            kwh=_number_or_none(table.get("kwh"), (0.0, 1e9)),
            cost=_number_or_none(table.get("cost"), (0.0, 1e12)),
            currency=str(table.get("currency", "")),
            member=str(table.get("member", "")),
            matched=str(table.get("matched", "")),
        )
    except (TypeError, ValueError) as error:
        raise FiringError(f"{INDEX}: {where} is faulty ({error})") from None


def _number(value: Any, within: tuple[float, float]) -> float:
    if isinstance(value, bool) or not within[0] <= float(value) <= within[1]:
        raise ValueError(f"{shown(value)} is outside {within[0]:g} to {within[1]:g}")
    return float(value)


def _number_or_none(value: Any, within: tuple[float, float]) -> float | None:
    return None if value is None else _number(value, within)
