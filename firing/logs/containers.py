"""Files that hold a log inside: compressed ones, workbooks, JSON; and those that hold none."""

import io
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from firing.errors import FiringError

_MOST_BYTES = 256 * 1024 * 1024
"""Of what is unpacked: a year of readings every second is smaller."""
_MOST_DEPTH = 3
_TEXT_SUFFIXES = (".csv", ".txt", ".tsv", ".log", ".dat", ".json", ".jsonl")
_EXPORT = "export the log as CSV (comma, semicolon or tab) and give that file"

# what a file begins with, what it is, and the way out
_NO_LOGS: tuple[tuple[bytes, str, str], ...] = (
    (b"%PDF", "a PDF document", _EXPORT),
    (b"\x89PNG", "a picture", _EXPORT),
    (b"\xff\xd8\xff", "a picture", _EXPORT),
    (b"GIF8", "a picture", _EXPORT),
    (b"SQLite format 3", "a database", f"open it with the logger's program, {_EXPORT}"),
    (b"{\\rtf", "a word processor's document", "save it as plain text and give that file"),
    (b"PAR1", "a Parquet table", _EXPORT),
    (b"\x89HDF", "an HDF5 file", _EXPORT),
    (b"7z\xbc\xaf", "an archive", "unpack it and give the log in it"),
    (b"Rar!", "an archive", "unpack it and give the log in it"),
)
_PAGES = (b"<!doctype", b"<html", b"<?xml", b"<table", b"<svg", b"<log")
_PACKED = (b"\x1f\x8b", b"BZh", b"\xfd7zXZ")
_ZIP, _OLD_WORKBOOK = b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


@dataclass(frozen=True, eq=False)
class Contained:
    """The text of a log, the names of its cells where they stand apart, and what was opened."""

    data: bytes
    names: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    opened: bool = False


def contents(data: bytes, name: str, depth: int = 0) -> Contained:
    """Return the log inside a file, or the file as it is; refuse what can hold none, by name."""
    for begin, kind, way_out in _NO_LOGS:
        if data.startswith(begin):
            raise FiringError(f"{name} is {kind}, not a log; {way_out}")
    head = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n")
    if head[:16].lower().startswith(_PAGES):
        found = _from_page(data)
        if found is not None:
            return found
        raise FiringError(
            f"{name} is a web page or XML, not a table; open it in a spreadsheet, save it as CSV "
            "and give that file"
        )
    unpacked = _unpacked(data, name)
    if unpacked is not None:
        if depth >= _MOST_DEPTH:
            raise FiringError(f"{name} is packed more than {_MOST_DEPTH} times; unpack it first")
        inner = contents(unpacked, name, depth + 1)
        return Contained(inner.data, inner.names, inner.notes, True)
    if data.startswith(_ZIP):
        return _from_zip(data, name, depth)
    if data.startswith(_OLD_WORKBOOK):
        return _from_workbook(data, name)
    if head[:1] in (b"{", b"["):
        return _from_json(data, name) or Contained(data)
    return Contained(data)


def _unpacked(data: bytes, name: str) -> bytes | None:
    """Return what a compressed file holds, None of a file that is not compressed."""
    if not data.startswith(_PACKED):
        return None
    import bz2
    import gzip
    import lzma
    import zlib

    opener: Any = {b"\x1f": gzip.open, b"B": bz2.open, b"\xfd": lzma.open}[data[:1]]
    try:
        with io.BytesIO(data) as raw, opener(raw) as packed:
            # Counted first, as some kilobytes can unpack to more than a computer holds.
            size = 0
            while size <= _MOST_BYTES and (part := packed.read(1 << 20)):
                size += len(part)
            packed.seek(0)
            found: bytes = packed.read() if size <= _MOST_BYTES else b""
    except (OSError, EOFError, ValueError, zlib.error, lzma.LZMAError) as fault:
        raise FiringError(
            f"{name} is compressed and damaged, so it can't be unpacked; copy it again"
        ) from fault
    if size > _MOST_BYTES:
        raise FiringError(f"{name} unpacks to more than 256 MB; unpack it and give the log in it")
    return found


def _from_zip(data: bytes, name: str, depth: int) -> Contained:
    import zipfile

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            inside = [one for one in archive.infolist() if not one.is_dir()]
            names = {one.filename for one in inside}
            if "mimetype" in names or any(one.startswith("xl/") for one in names):
                if sum(one.file_size for one in inside) > _MOST_BYTES:
                    raise FiringError(f"{name} is a workbook of more than 256 MB; {_EXPORT}")
                return _from_workbook(data, name)
            texts = [one for one in inside if one.filename.lower().endswith(_TEXT_SUFFIXES)]
            if len(texts) != 1 or depth >= _MOST_DEPTH:
                raise FiringError(
                    f"{name} is an archive of {len(inside)} files; unpack it and give the log in it"
                )
            if texts[0].file_size > _MOST_BYTES:
                raise FiringError(f"{name} unpacks to more than 256 MB; unpack it first")
            with archive.open(texts[0]) as packed:
                inner = contents(packed.read(_MOST_BYTES), name, depth + 1)
    except (zipfile.BadZipFile, RuntimeError, EOFError, OSError) as fault:
        raise FiringError(
            f"{name} is an archive that can't be opened; unpack it and give the log in it"
        ) from fault
    return Contained(inner.data, inner.names, inner.notes, True)


def _from_workbook(data: bytes, name: str) -> Contained:
    """Return the sheet of a workbook that holds the most numbers, tabs between its cells."""
    try:
        from python_calamine import CalamineWorkbook
    except ImportError:
        raise FiringError(
            f"{name} is a spreadsheet workbook; save its sheet as CSV, or to read workbooks run in "
            "firing's folder: pip install '.[spreadsheets]'"
        ) from None
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        sheets = {one: book.get_sheet_by_name(one).to_python() for one in book.sheet_names}
    except Exception as fault:  # whatever the library makes of a damaged or other file
        raise FiringError(
            f"{name} is a spreadsheet or document that can't be read; save its sheet as CSV and "
            "give that file"
        ) from fault
    if not sheets:
        raise FiringError(f"{name} is a workbook without a sheet; save the log as CSV")
    counts = {
        one: sum(isinstance(cell, (int, float)) for row in rows for cell in row)
        for one, rows in sheets.items()
    }
    chosen = max(counts, key=lambda one: counts[one])
    notes: tuple[str, ...] = ()
    if len([one for one in counts.values() if one > 10]) > 1:
        notes = (
            f'the sheet "{chosen}" was read, as it holds the most numbers; '
            "save another one as CSV to read that",
        )
    return Contained(_table(sheets[chosen]), (), notes, True)


def _table(rows: Sequence[Sequence[Any]]) -> bytes:
    lines = ["\t".join(_cell(cell) for cell in row) for row in rows]
    return ("\n".join(lines) + "\n").encode()


def _cell(value: Any) -> str:
    """Write one cell's value as a log does."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime):
        # a workbook's days hold a second's thousandth, but no more
        return _to_second(value).isoformat(sep=" ")
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, timedelta):
        seconds = round(value.total_seconds(), 3)
        whole = int(seconds)
        return f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"
    return " ".join(str(value).split())


def _to_second(moment: datetime) -> datetime:
    near = (moment + timedelta(milliseconds=500)).replace(microsecond=0)
    return near if abs((near - moment).total_seconds()) < 0.002 else moment


def _from_page(data: bytes) -> Contained | None:
    """Return the longest table of a web page, as loggers and their pages export one."""
    if b"<td" not in data[:_PAGE_HEAD].lower():
        return None
    from html import unescape

    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", "replace")
    tables = re.split(r"<table\b", text, flags=re.I)
    rows = [
        [unescape(re.sub(r"<[^>]*>", " ", cell)) for cell in _PAGE_CELL.findall(row)]
        for row in re.split(r"<tr\b[^>]*>", max(tables, key=_rows_in), flags=re.I)[1:]
    ]
    if len(rows) < _LEAST_ROWS:
        return None
    return Contained(_table(rows), (), ("the table of a web page was read",), True)


def _rows_in(table: str) -> int:
    return len(re.findall(r"<tr\b", table, re.I))


_PAGE_CELL = re.compile(r"<t[dh]\b[^>]*>(.*?)(?=</?t[dhr]\b|</table|$)", re.I | re.S)
_PAGE_HEAD, _LEAST_ROWS = 200_000, 5


def _from_json(data: bytes, name: str) -> Contained | None:
    """Return the readings of a JSON text: lines of it, a list of rows, or lists side by side."""
    text = data.decode("utf-8-sig", "replace")
    try:
        return _json_rows(json.loads(text), name)
    except RecursionError as fault:
        raise FiringError(f"{name} is JSON nested too deep for a log; {_EXPORT}") from fault
    except ValueError:
        pass
    rows: list[Any] = []
    unread = 0
    for line in text.split("\n"):
        bare = line.strip()
        if not bare:
            rows.append(None)
            continue
        try:
            # a script that prints its dictionaries writes them with single quotes
            rows.append(json.loads(bare.replace("'", '"') if bare[:2] == "{'" else bare))
        except (ValueError, RecursionError):
            rows.append(None)
            unread += 1
    found = sum(row is not None for row in rows)
    if found < 2 or unread > 0.05 * found:
        return _broken_json(text, name)
    contained = _json_rows(rows, name)
    if not unread:
        return contained
    note = f"{unread} lines are no JSON and are left out"
    return Contained(contained.data, contained.names, (*contained.notes, note), True)


def _broken_json(text: str, name: str) -> Contained | None:
    """Return the whole objects of a JSON text that breaks off."""
    rows = []
    for found in re.finditer(r"\{[^{}]*\}", text):
        try:
            rows.append(json.loads(found[0]))
        except (ValueError, RecursionError):
            continue
    if len(rows) < _LEAST_ROWS:
        return None
    contained = _json_rows(rows, name)
    note = f"the JSON is damaged or breaks off; its {len(rows)} complete readings count"
    return Contained(contained.data, contained.names, (*contained.notes, note), True)


def _json_rows(value: Any, name: str) -> Contained:
    for _ in range(_MOST_DEPTH):
        inner = _longest_inside(value)
        if inner is None:
            break
        value = inner
    plain = isinstance(value, dict) and not any(
        isinstance(one, (list, dict)) for one in value.values()
    )
    if plain and len(value) >= _LEAST_ROWS:
        value = [list(pair) for pair in value.items()]
    if isinstance(value, dict):
        lists = _columns(value)
        widths = {len(one) for one in lists.values()}
        if len(lists) >= 2 and len(widths) == 1:
            value = [
                dict(zip(lists, row, strict=True)) for row in zip(*lists.values(), strict=True)
            ]
        elif lists:
            value = max(lists.values(), key=len)
    rows = value if isinstance(value, list) else []
    names: list[str] = []
    flat: list[dict[str, Any] | list[Any] | None] = []
    for row in rows:
        if isinstance(row, dict):
            one = _flat(row)
            names += [key for key in one if key not in names] if len(names) < 200 else []
            flat.append(one)
        else:
            flat.append(row if isinstance(row, list) else None)
    if sum(bool(row) for row in flat) < 2:
        raise FiringError(
            f"{name} is JSON without a list of readings; give a list of objects with a time and "
            f"a temperature each, or {_EXPORT}"
        )
    lines = []
    for row in flat:
        cells = [row.get(key) for key in names] if isinstance(row, dict) else list(row or ())
        lines.append("\t".join(_cell(cell) for cell in cells))
    return Contained(("\n".join(lines) + "\n").encode(), tuple(names), (), True)


def _columns(value: dict[str, Any]) -> dict[str, list[Any]]:
    """Return the lists of an object, those of a chart's few series beside its labels, too."""
    lists = {key: one for key, one in value.items() if isinstance(one, list)}
    longest = max(map(len, lists.values()), default=0)
    found: dict[str, list[Any]] = {}
    for key, one in lists.items():
        series = [row for row in one if isinstance(row, dict)] if len(one) < longest else []
        for row in series:
            data = next(
                (d for d in row.values() if isinstance(d, list) and len(d) == longest), None
            )
            if data is not None:
                found[str(row.get("label") or row.get("name") or key)] = data
        if not series:
            found[key] = one
    return found


def _longest_inside(value: Any) -> list[Any] | None:
    """Return the longest list of rows within one of a few objects: a chart's series."""
    if isinstance(value, dict):
        inner = [one for one in value.values() if isinstance(one, dict)]
        if len(inner) == 1 and not any(isinstance(one, list) for one in value.values()):
            value = inner[0]  # an answer's envelope
    few: list[Any] = (
        [value] if isinstance(value, dict) else value if isinstance(value, list) else []
    )
    if 1 <= len(few) < _LEAST_ROWS and all(isinstance(one, list) for one in few):
        inside: list[Any] = max(few, key=len)
        return inside if len(inside) >= _LEAST_ROWS else None
    if not 1 <= len(few) < _LEAST_ROWS or not all(isinstance(one, dict) for one in few):
        return None
    lists = [one for row in few for one in row.values() if isinstance(one, list)]
    # lists side by side in one object are columns
    if isinstance(value, dict) and len(lists) != 1:
        return None
    return max(lists, key=len, default=None)


def _flat(row: dict[str, Any], depth: int = 0) -> dict[str, Any]:
    """Return an object's values by name, those of objects inside it beside them."""
    found: dict[str, Any] = {}
    for key, value in row.items():
        if isinstance(value, dict) and depth < _MOST_DEPTH:
            for inner, one in _flat(value, depth + 1).items():
                found[inner if inner not in row else f"{key} {inner}"] = one
        elif not isinstance(value, (dict, list)):
            found[str(key)] = value
    return found
