"""A pseudo-terminal, for everything that needs the path of a serial port. Only on systems that have them.

A second name for it is a link. Systems reuse the number of a closed terminal for the next one that any program opens, so
an abandoned link may lead to a live terminal. Whether its owner is alive is told by a lock on a hidden file beside it,
which ends with the process.
"""

import os
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from sim.system import lock_file, open_terminal

CHUNK = 4096


class NameTaken(Exception):
    """The name is in use, or cannot be created; the text says which, and the cause says why."""


class Terminal:
    """A line with the path of a port; a host may come and go. `name` is a second path for it, a link.

    Raises NameTaken if the name is neither free nor a link that this program left behind.
    """

    def __init__(self, name: Path | None = None) -> None:
        self._name = name
        self._lock = None if name is None else _claimed(name)
        # The far end stays open here too, for hosts that come and go.
        self._master, self._slave, self.path = open_terminal()
        if name is not None:
            try:
                name.symlink_to(self.path)
            except OSError as error:
                self._close()
                self._release()
                raise NameTaken("cannot be made") from error

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        if self._name is not None:
            with suppress(OSError):
                self._name.unlink()
        self._close()
        self._release()

    def _release(self) -> None:
        if self._name is not None and self._lock is not None:
            with suppress(OSError):
                _lock_file(self._name).unlink()
            os.close(self._lock)

    def _close(self) -> None:
        os.close(self._master)
        os.close(self._slave)

    def fileno(self) -> int:
        """The file descriptor to wait for."""
        return self._master

    def read(self) -> bytes:
        """The bytes that the host has written."""
        try:
            return os.read(self._master, CHUNK)
        except BlockingIOError:
            return b""

    def write(self, data: bytes) -> int:
        """Write bytes for the host to read. Returns how many found room."""
        try:
            return os.write(self._master, data)
        except BlockingIOError:
            return 0


def _lock_file(name: Path) -> Path:
    return name.with_name(f".{name.name}.lock")


def _claimed(name: Path) -> int:
    """Free a name that no live program uses. Returns the descriptor of the lock on it. Raises NameTaken."""
    ours_before = os.path.exists(_lock_file(name))
    try:
        lock = _opened_lock(_lock_file(name))
    except OSError as error:
        raise NameTaken("cannot be made") from error
    try:
        _take_over(name, lock, ours_before=ours_before)
    except NameTaken:
        os.close(lock)
        raise
    return lock


def _opened_lock(path: Path) -> int:
    """The lock's file, made if necessary; that of another user, root for one, can only be read. Raises OSError."""
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    except PermissionError:
        return os.open(path, os.O_RDONLY)


def _take_over(name: Path, lock: int, *, ours_before: bool) -> None:
    if not lock_file(lock):
        raise NameTaken("exists already")  # its owner is alive
    leads_to_one = name.is_symlink() and Path(os.readlink(name)).parent == _folder()
    if leads_to_one and (ours_before or not name.exists()):
        name.unlink()
    if name.is_symlink() or name.exists():
        _lock_file(name).unlink()
        raise NameTaken("exists already")


def _folder() -> Path:
    """The folder of this system's pseudo-terminals."""
    master, slave, path = open_terminal()
    try:
        return Path(path).parent
    finally:
        os.close(master)
        os.close(slave)
