"""One writer a file: a lock that the system takes back when its holder dies, however it dies."""

import sys

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
