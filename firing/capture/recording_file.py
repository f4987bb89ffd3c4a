"""Whether the open file of a recording is still the one its path names, and another if it is not.

A file can be deleted, moved or replaced while it is written: by a hand, a program that rotates
logs, an editor that saves by renaming.  The open one then takes lines that nobody will find.
"""

from __future__ import annotations

import contextlib
import os
import stat
import sys
from collections.abc import Iterator
from pathlib import Path

from firing.errors import FiringError

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

        A file system without locks (some network shares) counts as locked by this process.
        """
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

    Raises
    ------
    FiringError
        If the path names a device.
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
        if path.exists() and not os.access(path, os.W_OK):
            pass  # somebody else's: a file beside it may do
        else:
            raise
    for other in numbered_paths(path):
        with contextlib.suppress(FileExistsError):
            done = open_for_append(other, new=True)
            lock_file(done)
            return (
                _append_synced(done, content),
                other,
                f"was replaced; all its lines are in {other}",
            )
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
