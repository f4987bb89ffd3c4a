"""Where logs, plans and kilns come from: folders and addresses, and names that stand in paths."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from firing.errors import FiringError
from firing.files.disk import UnusableInput, read_whole
from firing.files.kinds import file_kind, kind_of

if TYPE_CHECKING:
    from firing.fleet.review_log import Studio
    from firing.kiln.tariff import Tariff
    from firing.logs.options import ReadingOptions

INSTALL = "many logs need the extra 'fleet'; in firing's folder run: pip install '.[fleet]'"


@dataclass(frozen=True, slots=True)
class ListedLog:
    """A log that was found: its path or address, its size, and when it was last written."""

    log: str
    size: int
    mark: str


def filesystem(url: str) -> tuple[Any, str]:
    """Return the fsspec file system of a path or address, and the path in it.

    `FiringError` if the extra is not installed, or nothing can open such an address.
    """
    try:
        from fsspec.core import url_to_fs
    except ImportError:
        raise FiringError(INSTALL) from None
    try:
        fs, path = url_to_fs(url)
    except (ValueError, ImportError, OSError) as error:
        raise FiringError(f"{url}: this address cannot be opened: {error}") from None
    return fs, path


def is_local(fs: Any) -> bool:
    """Return whether a file system is this computer's own."""
    protocol = fs.protocol
    return "file" in ((protocol,) if isinstance(protocol, str) else protocol)


def find_logs(url: str, *, without: str = "") -> Iterator[ListedLog]:
    """Yield the logs of a folder and the folders in it, in the order of their paths.

    Hidden files, those with an ending that no log has, and the folder `without` are left out.

    `FiringError` if there is no such folder.
    """
    fs, root = filesystem(url)
    if not fs.exists(root):
        raise FiringError(f"{url} does not exist; name the folder of the logs")
    if is_local(fs):
        yield from _local_logs(os.path.abspath(root), os.path.abspath(without) if without else "")
        return
    for _, _, inside in fs.walk(root, detail=True):
        for path in sorted(inside):
            info = inside[path]
            if _may_be_log(path.rpartition("/")[2]):
                mark = next((info[k] for k in ("ETag", "etag", "mtime", "created") if info.get(k)),
                            "")  # fmt: skip
                yield ListedLog(
                    fs.unstrip_protocol(info["name"]), int(info["size"] or 0), str(mark)
                )


def _local_logs(root: str, without: str) -> Iterator[ListedLog]:
    if os.path.isfile(root):
        status = os.stat(root)
        yield ListedLog(root, status.st_size, str(status.st_mtime_ns))
        return
    try:
        with os.scandir(root) as found:
            entries = sorted(found, key=lambda one: one.name, reverse=True)
    except OSError:
        return  # a folder that may not be read has no logs for us
    while entries:
        one = entries.pop()  # and its memory is free
        if one.name.startswith(".") or one.path == without:
            continue
        if one.is_dir(follow_symlinks=False):
            yield from _local_logs(one.path, without)
        elif _may_be_log(one.name) and one.is_file():
            status = one.stat()
            yield ListedLog(one.path, status.st_size, str(status.st_mtime_ns))


def _may_be_log(name: str) -> bool:
    from firing.logbook.keeping import LOG_SUFFIXES

    return not name.startswith(".") and f".{name.rpartition('.')[2].lower()}" in LOG_SUFFIXES


def read_data(log: str) -> bytes:
    """Return a log's bytes from its path or address.

    `UnusableInput` if it is too large, or no file; `OSError` if it cannot be read now.
    """
    from firing.logs.reader import MOST_BYTES

    if "://" not in log:
        return read_whole(Path(log), MOST_BYTES)
    fs, path = filesystem(log)
    if fs.size(path) > MOST_BYTES:
        raise UnusableInput(f"is larger than {MOST_BYTES // 1_000_000} MB")
    data: bytes = fs.cat_file(path)
    return data


def read_folder(kind: str, place: str | None) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the plans (``schedule``) or kilns of a folder or a file by name, and their paths.

    `FiringError` with every mistake of every file; if there is none of that kind; if two have one
    name.
    """
    if place is None:
        return {}, {}
    folder = Path(place)
    if not folder.is_dir():
        return {folder.stem: file_kind(kind).open(place)}, {folder.stem: place}
    read: dict[str, Any] = {}
    paths: dict[str, str] = {}
    faults: list[str] = []
    for path in sorted(folder.rglob("*.toml")):
        of = kind_of(path)
        if of is None and (fault := _no_toml(path)):
            faults.append(fault)  # it may be one of them: logs would be taken for another's
        if of != kind:
            continue
        if path.stem in paths:
            faults.append(f"{path} and {paths[path.stem]} have one name; rename one of them")
            continue
        try:
            read[path.stem], paths[path.stem] = file_kind(kind).open(path), str(path)
        except FiringError as error:
            faults.append(str(error))
    if faults:
        raise FiringError("\n".join(faults))
    if not read:
        raise FiringError(f"{place} has no {kind} file; name a folder with some")
    return read, paths


def _no_toml(path: Path) -> str:
    """Return what is wrong with a file that does not even show its kind; empty if it is TOML."""
    try:
        tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        return f"{path}: is not TOML ({error}); correct it, or move it out of the folder"
    return ""


def studio_of(
    plans: str | None,
    kilns: str | None = None,
    *,
    tariff: Tariff | None = None,
    options: ReadingOptions | None = None,
    channel: str | None = None,
) -> Studio:
    """Return what logs are set against, read from folders or files."""
    from firing.fleet.review_log import Studio
    from firing.logs.options import ReadingOptions

    read_plans, plan_files = read_folder("schedule", plans)
    read_kilns, kiln_files = read_folder("kiln", kilns)
    return Studio(
        plans=read_plans,
        kilns=read_kilns,
        plan_files=plan_files,
        kiln_files=kiln_files,
        tariff=tariff,
        options=options or ReadingOptions(),
        channel=channel,
    )


def words_of(text: str) -> tuple[str, ...]:
    """Return the words of a name or a path: ``("kiln", "2")`` of ``Kiln-2``."""
    return tuple(re.findall(r"[^\W_]+", text.casefold()))


class Names:
    """Which of many names stands in a path; a single one is meant wherever."""

    def __init__(self, named: Mapping[str, Sequence[str]]) -> None:
        self._only = next(iter(named)) if len(named) == 1 else ""
        self._by_words: dict[tuple[str, ...], set[str]] = {}
        for name, others in named.items():
            for one in (name, *others):
                self._by_words.setdefault(words_of(one), set()).add(name)
        self._by_words.pop((), None)
        self._longest = max(map(len, self._by_words), default=0)
        self._in_folder: dict[str, str] = {}

    def in_path(self, path: str) -> str:
        """Return the name with most words in a path; empty if none or several have.

        The file's own name comes before those of its folders.
        """
        if self._only:
            return self._only
        folder, _, file = path.rpartition("/")
        own = self._in(file)
        if not own and folder not in self._in_folder:
            self._in_folder[folder] = self._in(folder)
        return own or self._in_folder[folder]

    def _in(self, text: str) -> str:
        said = words_of(text)
        for length in range(min(self._longest, len(said)), 0, -1):
            found: set[str] = set()
            for begin in range(len(said) - length + 1):
                found |= self._by_words.get(said[begin : begin + length], set())
            if found:
                return found.pop() if len(found) == 1 else ""
        return ""
