"""Files on disk: replacing, removing, making sure that they are there after a power cut, and long paths."""

import ntpath
import os
import shutil
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from controller import clock
from protocol.units import MS

SHARING = {5, 32, 33}
"""Windows' codes if another program has a file open: access denied, sharing violation, lock violation."""
TRIES, BETWEEN_NS = 40, 50 * MS
"""A virus scanner or an indexer has a new file open for a moment."""
LONGEST_PLAIN = 120
"""Characters of a path that is left as it is. Windows takes 259 without the prefix (Microsoft's documentation of maximum
path lengths); this leaves room for the names that the program adds to a folder's.
"""
PREFIX, SHARE = "\\\\?\\", "\\\\?\\UNC\\"


class Disk(Protocol):
    """What the system does with files."""

    def replace(self, source: Path, target: Path) -> None:
        """Give a file or a new folder the name `target`, in place of a file that has it. Raises OSError."""

    def remove(self, path: Path) -> None:
        """Remove a file. Raises OSError."""

    def remove_folder(self, folder: Path) -> None:
        """Remove a folder with all that is in it. Raises OSError."""

    def sync_folder(self, folder: Path) -> None:
        """Write a folder's list of names to the disk, so that a power cut does not undo it. Raises OSError."""

    def usable(self, path: Path) -> Path:
        """A path that the system takes, however long it is."""


class PosixDisk:
    """Files that may be replaced and removed while they are open."""

    def replace(self, source: Path, target: Path) -> None:
        """See `Disk`."""
        os.replace(source, target)

    def remove(self, path: Path) -> None:
        """See `Disk`."""
        os.unlink(path)

    def remove_folder(self, folder: Path) -> None:
        """See `Disk`."""
        shutil.rmtree(folder)

    def sync_folder(self, folder: Path) -> None:
        """See `Disk`."""
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)

    def usable(self, path: Path) -> Path:
        """See `Disk`."""
        return path


class DiskCalls(Protocol):
    """What is used of Python's module os."""

    def replace(self, src: Any, dst: Any, /) -> None:
        """Rename a file."""

    def unlink(self, path: Any, /) -> None:
        """Remove a file."""

    def chmod(self, path: Any, mode: int, /) -> None:
        """Set or clear the mark that a file can only be read."""


class WindowsDisk:
    """Files that nobody can replace or remove while another program has them open."""

    def __init__(self, calls: DiskCalls) -> None:
        self._calls = calls

    def replace(self, source: Path, target: Path) -> None:
        """See `Disk`."""
        self._patiently(lambda: self._calls.replace(source, target))

    def remove(self, path: Path) -> None:
        """See `Disk`."""
        self._patiently(lambda: self._calls.unlink(path))

    def remove_folder(self, folder: Path) -> None:
        """A file that can only be read is removed as well. See `Disk`."""

        def again(_call: object, path: str, _error: object) -> None:
            self._calls.chmod(path, stat.S_IWRITE)
            self.remove(Path(path))

        shutil.rmtree(folder, onerror=again)

    def sync_folder(self, folder: Path) -> None:
        """Nothing: Windows opens no folder as a file, and NTFS keeps a journal of names. See `Disk`."""

    def usable(self, path: Path) -> Path:
        """See `Disk`."""
        return Path(extended(str(path), os.getcwd()))

    @staticmethod
    def _patiently(call: Callable[[], None]) -> None:
        for tries_left in reversed(range(TRIES)):
            try:
                return call()
            except PermissionError as error:
                if getattr(error, "winerror", None) not in SHARING or not tries_left:
                    raise
            clock.wait_ns(BETWEEN_NS)
        return None


def extended(path: str, current: str) -> str:
    r"""A path of Windows with the prefix \\?\ if it is long; `current` is the folder that relative paths begin at."""
    if path.startswith(PREFIX) or not path or "\0" in path:
        return path
    whole = ntpath.normpath(ntpath.join(current, path))
    if len(whole) <= LONGEST_PLAIN:
        return path
    return SHARE + whole[2:] if whole.startswith("\\\\") else PREFIX + whole
