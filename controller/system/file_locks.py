"""A lock on an open file, which the system releases when its holder ends."""

import errno
import os
import sys
from typing import Protocol

if sys.platform != "win32":
    import fcntl

LOCKED = {errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES}
MISUSED = {errno.EBADF, errno.EINVAL}
FAR = 1 << 20
"""The byte that Windows locks, far behind the description of the holder, so that this stays readable."""


class FileLocks(Protocol):
    """Locks on open files."""

    def lock(self, number: int) -> bool:
        """Lock an open file, without waiting; False if another program has it. Raises OSError."""

    def unlock(self, number: int) -> None:
        """Release it before the file is closed. Raises OSError."""


class PosixLocks:
    """flock(2): a lock of the open file, released with its last descriptor."""

    def lock(self, number: int) -> bool:
        """See `FileLocks`."""
        try:
            if sys.platform != "win32":
                fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno in LOCKED:
                return False
            raise
        return True

    def unlock(self, number: int) -> None:
        """See `FileLocks`."""
        if sys.platform != "win32":
            fcntl.flock(number, fcntl.LOCK_UN)


class LockingCalls(Protocol):
    """What is used of Python's module msvcrt."""

    @property
    def LK_NBLCK(self) -> int:  # noqa: N802  Windows' own name
        """Lock, or fail at once."""

    @property
    def LK_UNLCK(self) -> int:  # noqa: N802
        """Unlock."""

    def locking(self, fd: int, mode: int, nbytes: int, /) -> None:
        """Lock or unlock bytes from the file's position on."""


class WindowsLocks:
    """A locked byte, which nobody else can read or write meanwhile. So it is one behind the file's end."""

    def __init__(self, calls: LockingCalls) -> None:
        self._calls = calls

    def lock(self, number: int) -> bool:
        """See `FileLocks`. Windows' C library says EACCES if the byte is locked; Wine's says nothing."""
        os.lseek(number, FAR, os.SEEK_SET)
        try:
            self._calls.locking(number, self._calls.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in MISUSED:
                raise
            return False
        return True

    def unlock(self, number: int) -> None:
        """See `FileLocks`."""
        os.lseek(number, FAR, os.SEEK_SET)
        self._calls.locking(number, self._calls.LK_UNLCK, 1)
