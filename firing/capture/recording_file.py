"""The file of a recording: its text, and whether the open one is still the one its path names.

A plain CSV: ``time`` in UTC, one temperature in °C a channel, the controller's output in percent
if the instrument tells it, and ``status``, which is empty where all is well.  A row without
temperatures marks a gap and says why.

A file can be deleted, moved or replaced while it is written: by a hand, a program that rotates
logs, an editor that saves by renaming.  The open one then takes lines that nobody will find.
"""

from __future__ import annotations

import contextlib
import csv
import math
import os
import stat
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from firing.capture.reading import Reading, Status, duty_from_percent
from firing.errors import FiringError
from firing.files.tomlfile import clean

TIME_COLUMN = "time"
STATUS_COLUMN = "status"
OUTPUT_COLUMN = "output (%)"
_UNIT = " (°C)"
_RUN_BY_SPREADSHEETS = ("=", "+", "-", "@", "\t", "\r")


def _as_text(cell: str) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell.startswith(_RUN_BY_SPREADSHEETS) else cell


def _from_text(cell: str) -> str:
    bare = cell.removeprefix("'")
    return bare if bare.startswith(_RUN_BY_SPREADSHEETS) else cell


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if set(cell) & set(',"') else cell


def header(channels: Sequence[str], output: bool = False) -> str:
    """Return the first line, without its end."""
    names = [_quoted(_as_text(f"{name}{_UNIT}")) for name in channels]
    return ",".join([TIME_COLUMN, *names, *[OUTPUT_COLUMN] * output, STATUS_COLUMN])


def row(stamp: str, reading: Reading, channels: Sequence[str], output: bool = False) -> str:
    """Return the line of a reading, without its end."""
    cells = ["" if value != value else f"{value:.2f}" for value in reading.values_c]
    if output:
        cells.append("" if reading.duty != reading.duty else f"{100.0 * reading.duty:.1f}")
    marked = [
        f"{name} {status.value}"
        for name, status in zip(channels, reading.statuses, strict=True)
        if status is not Status.OK
    ]
    return ",".join([stamp, *cells, _as_text("; ".join(marked))])


def gap_row(stamp: str, reason: str, columns: int) -> str:
    """Return a line that marks a gap and says why, without its end."""
    shown = clean(" ".join(reason.replace(",", ";").replace('"', "'").split()))
    return ",".join([stamp, *[""] * columns, f"gap: {shown}"])


@dataclass(frozen=True, eq=False)
class RecordedData:
    """What a recording holds already: a moment, the temperatures and the duty of every row.

    NaN where there is no temperature or it is marked, and where no output is shown.
    """

    channels: tuple[str, ...]
    epoch_s: list[float]
    values_c: list[list[float]]
    duty: list[float]


def intact_length(data: bytes) -> int:
    """Return how many bytes of a recording are whole lines of text.

    A power cut may leave a line without its end, or a stretch of zero bytes where the system had
    made the file longer and not yet written to it.
    """
    zero = data.find(b"\0")
    whole = data if zero < 0 else data[:zero]
    return whole.rfind(b"\n") + 1


def parse_header(line: str) -> tuple[tuple[str, ...], bool] | None:
    """Return the channels that a first line names, and whether there is a column of the output.

    None if it is not one of a recording.
    """
    cells = next(csv.reader([line]), [])
    if len(cells) < 3 or cells[0] != TIME_COLUMN or cells[-1] != STATUS_COLUMN:
        return None
    output = cells[-2] == OUTPUT_COLUMN
    names = cells[1 : -2 if output else -1]
    if not names or not all(name.endswith(_UNIT) for name in names):
        return None
    return tuple(_from_text(name).removesuffix(_UNIT) for name in names), output


def parse_rows(text: str, channels: tuple[str, ...], output: bool = False) -> RecordedData:
    """Read the whole lines below the header; one that is damaged is passed over."""
    count = len(channels) + output
    epoch_s: list[float] = []
    values_c: list[list[float]] = []
    duty: list[float] = []
    for line in text.splitlines():
        cells = line.split(",", count + 1)
        if len(cells) != count + 2:
            continue
        try:
            moment_s = datetime.fromisoformat(cells[0]).timestamp()
            values = [float(cell) if cell else math.nan for cell in cells[1:-1]]
        except ValueError:
            continue
        marks = _from_text(cells[-1])
        if marks:
            for index, name in enumerate(channels):
                if any(mark.startswith(f"{name} ") for mark in marks.split("; ")):
                    values[index] = math.nan
        epoch_s.append(moment_s)
        duty.append(duty_from_percent(values.pop()) if output else math.nan)
        values_c.append(values)
    return RecordedData(channels, epoch_s, values_c, duty)


if sys.platform == "win32":
    import msvcrt
    import os

    _FAR_BYTE = 2**31 - 2  # Windows locks hinder readers of the bytes locked, so none that exists

    def lock_file(descriptor: int) -> bool:
        """Take the lock of an open file; False if another process holds it."""
        position = os.lseek(descriptor, 0, os.SEEK_CUR)
        try:
            os.lseek(descriptor, _FAR_BYTE, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            os.lseek(descriptor, position, os.SEEK_SET)
        return True

else:
    import errno
    import fcntl

    def lock_file(descriptor: int) -> bool:
        """Take the lock of an open file; False if another process holds it.

        A file system without locks (some network shares) counts as locked by this process, and so
        does a device, which keeps nothing that two could spoil.
        """
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            return True
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as fault:
            return fault.errno not in (errno.EWOULDBLOCK, errno.EACCES, errno.EAGAIN)
        return True


MOST_NUMBERED = 1000
_FLAGS = (
    os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
)


def open_for_append(path: Path, *, new: bool = False) -> int:
    """Open a file to be read and appended to; a `new` one must not be there yet."""
    return os.open(path, _FLAGS | (os.O_EXCL if new else 0), 0o644)


_MEMORY_DEVICES = 1  # null, zero, full: nothing hangs on them


def refuse_device(path: Path) -> None:
    """Refuse what is no file before it is opened: a line sent to a port could switch something.

    `FiringError` if the path names a device.
    """
    try:
        found = os.stat(path)
    except (OSError, ValueError):
        return
    is_port = stat.S_ISCHR(found.st_mode) and os.major(found.st_rdev) != _MEMORY_DEVICES
    if is_port or stat.S_ISBLK(found.st_mode):
        raise FiringError(f"{path} is a device, and nothing is ever written to one; name a file")


def read_all(descriptor: int, size: int) -> bytes:
    """Return the `size` bytes of a file from its beginning."""
    os.lseek(descriptor, 0, os.SEEK_SET)
    parts: list[bytes] = []
    while size > 0 and (part := os.read(descriptor, min(size, 1 << 20))):
        parts.append(part)
        size -= len(part)
    return b"".join(parts)


def still_names(path: Path, descriptor: int) -> bool:
    """Tell whether a path still names an open file; for want of an answer, it does."""
    try:
        there = os.stat(path)
    except FileNotFoundError:
        return False
    except OSError:
        return True
    return os.path.samestat(there, os.fstat(descriptor))


def begins_with(descriptor: int, first: bytes) -> bool:
    """Tell whether an open file begins with these bytes; for want of an answer, it does."""
    try:
        size = os.fstat(descriptor).st_size
        return size < len(first) or read_all(descriptor, len(first)) == first
    except OSError:
        return True


def numbered_paths(path: Path) -> Iterator[Path]:
    """Yield the names of files beside one, ``firing-2.csv`` first."""
    for number in range(2, MOST_NUMBERED):
        yield path.with_name(f"{path.stem}-{number}{path.suffix}")


def reopened(path: Path, old: int, header: bytes) -> tuple[int, Path, str]:
    """Return another open file that holds what the `old` one does, its path, and what was done.

    The path does not name the old one any more; that still takes lines if this raises `OSError`.
    """
    held = _content_if_readable(old)
    content = header if held is None else held
    moved = os.fstat(old).st_nlink > 0
    try:
        found = open_for_append(path)
        # A disk that was taken out gives nothing; what is there now is that one, or another.
        if held is None and _claimed(found, header, whole=False) is not None:
            there = os.fstat(found).st_size > 0
            return (
                _append_synced(found, b"" if there else header),
                path,
                "is there again, and goes on",
            )
        kept = _claimed(found, content)
        if kept is not None:
            if moved and not kept:
                # What was moved is kept where it went.
                return (
                    _append_synced(found, header),
                    path,
                    "was moved away; a new file goes on there",
                )
            done = _append_synced(found, content[len(kept) :])
            what = "was replaced by a copy" if kept else "was deleted"
            return done, path, f"{what}; it was written again, with all its lines"
        os.close(found)
    except OSError:
        # Somebody else's, or a folder: a file beside it may do.
        if not path.exists() or (os.access(path, os.W_OK) and not path.is_dir()):
            raise
    done, other = begun_beside(path, content)
    return done, other, f"was replaced; all its lines are in {other}"


def begun_beside(path: Path, content: bytes) -> tuple[int, Path]:
    """Return a new file beside one, open and holding `content`, and its path."""
    for other in numbered_paths(path):
        with contextlib.suppress(FileExistsError):
            done = open_for_append(other, new=True)
            lock_file(done)
            return _append_synced(done, content), other
    raise FileExistsError(f"there is no free name beside {path}")


def _content_if_readable(descriptor: int) -> bytes | None:
    """Return what an open file holds; None if its disk does not give it any more."""
    try:
        return read_all(descriptor, os.fstat(descriptor).st_size)
    except OSError:
        return None


def _claimed(descriptor: int, content: bytes, *, whole: bool = True) -> bytes | None:
    """Lock a file and return what it holds, if that is the beginning of `content`; else None.

    If not `whole`, what it holds may go on after `content`.
    """
    there = read_all(descriptor, min(os.fstat(descriptor).st_size, len(content) + whole))
    return there if content.startswith(there) and lock_file(descriptor) else None


def _append_synced(descriptor: int, data: bytes) -> int:
    """Append bytes to a file and put them on the disk; return its descriptor, or close it."""
    before = os.fstat(descriptor).st_size
    try:
        left = memoryview(data)
        while left:
            left = left[os.write(descriptor, left) :]
        os.fsync(descriptor)
    except OSError:
        with contextlib.suppress(OSError):
            os.ftruncate(descriptor, before)
        os.close(descriptor)
        raise
    return descriptor
