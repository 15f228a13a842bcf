"""Functions of Windows as stand-ins: they raise what Windows raises.

Sources: the C library's documentation of _locking (EACCES if a byte is locked), the codes of Windows' system errors
(5 access denied, 32 sharing violation, 109 broken pipe), and a run of Python for Windows, which behaved the same.
"""

import errno
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field


class WindowsError(PermissionError):
    """A PermissionError with Windows' own code, which Python elsewhere does not keep."""

    def __init__(self, winerror: int, path: object) -> None:
        super().__init__(errno.EACCES, f"[WinError {winerror}]", str(path))
        self.winerror = winerror  # type: ignore[misc,unused-ignore]


@dataclass
class Msvcrt:
    """The module msvcrt: a console with keys to be pressed, and locked bytes of files."""

    waiting: list[str] = field(default_factory=list)
    shown: str = ""
    locked: dict[tuple[int, int, int], int] = field(default_factory=dict)
    LK_NBLCK: int = 2
    LK_UNLCK: int = 0

    def press(self, keys: Iterable[str]) -> None:
        self.waiting += keys

    def kbhit(self) -> bool:
        return bool(self.waiting)

    def getwch(self) -> str:
        assert self.waiting, "this would wait for a key"
        return self.waiting.pop(0)

    def putwch(self, unicode_char: str, /) -> None:
        if unicode_char == "\b":
            self.shown = self.shown[:-1]
        elif unicode_char == " " and self.shown.endswith("\n"):
            raise AssertionError("it rubs out what is not its own")
        else:
            self.shown += unicode_char

    def locking(self, fd: int, mode: int, nbytes: int, /) -> None:
        assert nbytes == 1
        about, at = os.fstat(fd), os.lseek(fd, 0, os.SEEK_CUR)
        byte = (about.st_dev, about.st_ino, at)
        if mode == self.LK_UNLCK:
            if self.locked.get(byte) != fd:
                raise PermissionError(errno.EACCES, "Permission denied")
            del self.locked[byte]
        elif byte in self.locked:
            raise PermissionError(errno.EACCES, "Permission denied")
        else:
            self.locked[byte] = fd

    def closed(self, fd: int) -> None:
        """The system releases what a descriptor had locked."""
        self.locked = {byte: holder for byte, holder in self.locked.items() if holder != fd}


@dataclass
class OpenElsewhere:
    """The module os on Windows while another program has a file open, for the next `times` tries."""

    times: int
    winerror: int = 32
    tries: int = 0

    def _do(self, path: object, call: Callable[[], None]) -> None:
        self.tries += 1
        if self.tries <= self.times:
            raise WindowsError(self.winerror, path)
        call()

    def replace(self, src: str, dst: str, /) -> None:
        self._do(src, lambda: os.replace(src, dst))

    def unlink(self, path: str, /) -> None:
        self._do(path, lambda: os.unlink(path))

    def chmod(self, path: str, mode: int, /) -> None:
        os.chmod(path, mode)
