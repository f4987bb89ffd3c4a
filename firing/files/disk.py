"""Files on the disk: read whole within a size, never from a device; written whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

from firing.errors import FiringError

_AT_ONCE = 1 << 20
_OPEN = (
    os.O_RDONLY
    | getattr(os, "O_NONBLOCK", 0)  # a pipe without a writer would else be waited for, for ever
    | getattr(os, "O_CLOEXEC", 0)
    | getattr(os, "O_BINARY", 0)
)


class UnusableInput(FiringError):
    """What is wrong with something that was named as a file, to be said after its name."""


def read_whole(path: Path, most_bytes: int) -> bytes:
    """Return all bytes of a file, or of a pipe that somebody writes to.

    A device, a pipe without a writer, and what is larger than `most_bytes` are `UnusableInput`.
    """
    descriptor = os.open(path, _OPEN)
    try:
        kind = os.fstat(descriptor).st_mode
        if stat.S_ISDIR(kind):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if stat.S_ISCHR(kind) or stat.S_ISBLK(kind):
            raise UnusableInput("is a device; name a file")
        if stat.S_ISFIFO(kind):
            os.set_blocking(descriptor, True)
        parts: list[bytes] = []
        size = 0
        while part := os.read(descriptor, _AT_ONCE):
            parts.append(part)
            size += len(part)
            if size > most_bytes:
                raise UnusableInput(f"is larger than {most_bytes // 1_000_000} MB")
        if stat.S_ISFIFO(kind) and not parts:
            raise UnusableInput("is a pipe that nothing writes to; name a file")
        return b"".join(parts)
    finally:
        os.close(descriptor)


def is_there(path: Path) -> bool:
    """Return whether a path leads anywhere; a name that no file can have leads nowhere."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def names_same_file(path: Path, other: Path) -> bool:
    """Return whether two paths lead to one file that is there."""
    try:
        return os.path.samefile(path, other)
    except (OSError, ValueError):
        return False


def write_text(path: Path, text: str, *, overwrite: bool = False) -> None:
    """Write a text file whole or not at all: to a temporary name, then renamed.

    A link is followed, and stays a link.
    """
    import tempfile

    try:
        target = _target(path, overwrite)
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:32]}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(temporary, _mode(target))
            if overwrite:
                os.replace(temporary, target)
            else:
                # A hard link, unlike a rename, fails if somebody was quicker to take the name.
                _publish(temporary, target)
        finally:
            if os.path.exists(temporary):
                os.unlink(temporary)
    except FileExistsError:
        raise FiringError(f"{path}: exists already; choose another name") from None
    except OSError as error:
        raise FiringError(f"{_short(path)}: cannot be written: {error.strerror}") from None
    except ValueError:
        raise FiringError(f"{_short(path)}: is no name a file can have") from None


def check_writable(path: Path, *, overwrite: bool = False) -> None:
    """Refuse a name that `write_text` would refuse, before the work that is to be written there."""
    _target(path, overwrite)


def _target(path: Path, overwrite: bool) -> Path:
    """Return the file that a path leads to, if it may be written."""
    target = Path(os.path.realpath(path))
    try:
        kind = target.stat().st_mode
    except FileNotFoundError:
        return target
    if stat.S_ISDIR(kind):
        raise FiringError(f"{path}: is a directory; name a file in it")
    if not stat.S_ISREG(kind):
        raise FiringError(f"{path}: is a device or a pipe, and would be lost; name a file")
    if not overwrite:
        raise FiringError(
            f"{path}: exists already; choose another name, or add --overwrite (in Python "
            "overwrite=True)"
        )
    return target


def _short(path: Path) -> str:
    name = str(path)
    return name if len(name) <= 120 else f"{name[:60]}…{name[-20:]}"


def _mode(path: Path) -> int:
    if path.exists():
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _publish(temporary: str, path: Path) -> None:
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise
    except OSError:
        # Some file systems (FAT sticks, network shares) have no hard links.
        os.rename(temporary, path)
