"""A pseudo-terminal, for everything that wants the path of a serial port. Only where the system has them."""

import os
import pty
import tty
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

CHUNK = 4096


class NameTaken(Exception):
    """Something else has that name, or it cannot be given; the text says which."""


class Terminal:
    """A line with the path of a port; a host may come and go. `name` is a second path for it, a link.

    Raises NameTaken when the name is neither free nor a link that this program left behind.
    """

    def __init__(self, name: Path | None = None) -> None:
        self._name = name
        if name is not None:
            _make_free(name)  # before anything is opened, which might bring a dead link back to life
        self._master, self._slave = pty.openpty()  # the far end stays open here too, for hosts that come and go
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        if name is not None:
            try:
                name.symlink_to(self.path)
            except OSError as error:
                self._close()
                raise NameTaken(f"cannot be made ({error.strerror})") from None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        if self._name is not None:
            with suppress(OSError):
                self._name.unlink()
        self._close()

    def _close(self) -> None:
        os.close(self._master)
        os.close(self._slave)

    def fileno(self) -> int:
        """What to wait at."""
        return self._master

    def read(self) -> bytes:
        """What the host has written."""
        try:
            return os.read(self._master, CHUNK)
        except BlockingIOError:
            return b""

    def write(self, data: bytes) -> int:
        """Give the host something to read; how many bytes found room."""
        try:
            return os.write(self._master, data)
        except BlockingIOError:
            return 0


def _make_free(name: Path) -> None:
    if name.is_symlink() and not name.exists() and Path(os.readlink(name)).parent == _folder():
        with suppress(OSError):
            name.unlink()
    if name.is_symlink() or name.exists():
        raise NameTaken("exists already")


def _folder() -> Path:
    """Where this system keeps its pseudo-terminals."""
    master, slave = os.openpty()
    try:
        return Path(os.ttyname(slave)).parent
    finally:
        os.close(master)
        os.close(slave)
