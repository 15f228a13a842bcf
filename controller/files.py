"""Write a file whole or not at all, never in the place of another. All writing goes through here.

`places` checks the place before the work begins and again here. A link is written through.
"""

import hashlib
import itertools
import os
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from controller import clock
from controller.errors import StorageFailed
from controller.places import Ours, cause_of, must_be_free
from controller.shown import shown
from controller.system.chosen import disk
from controller.system.opening import BYTES, NO_FOLLOW, NO_WAIT, NOT_FOR_CHILDREN, TO_SYNC

CHUNK = 1 << 20
TRIAL_TIME_NS = 1_750_000_001_500_000_000  # an odd second and a half: some disks keep even seconds only
_numbers = itertools.count()


def write_whole(
    path: Path,
    content: str | bytes,
    *,
    replace: bool = False,
    ours: Ours | None = None,
    durably: bool = True,
    private: bool = False,
) -> None:
    """Write `content` to `path`. Nothing may be there; with `replace`, a file that is `ours`. Raises StorageFailed.

    The whole file appears or none. It is on the disk before it replaces the old one, so that a power cut leaves one of
    the two, and it has its name when this returns. Not `durably`: a power cut may leave an empty file. With `private`
    nobody but its owner may read it, at any moment, whatever was there before.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    must_be_free(path, replace=replace, ours=ours, needs_bytes=len(data))
    target = Path(os.path.realpath(path))
    with writing(path), _part_in(target.parent) as part:
        with open(part, "xb", opener=_private if private else None) as file:
            file.write(data)
            if durably:
                file.flush()
                os.fsync(file.fileno())
        if replace and target.exists():
            if not private:
                part.chmod(stat.S_IMODE(target.stat().st_mode))
            disk.replace(part, target)
        else:
            appear(part, target)
        if durably:
            settle_names(target.parent)


def settle_names(folder: Path) -> None:
    """Wait until the names in a folder are on the disk, if the system can. Raises nothing."""
    with suppress(OSError):  # a file system that knows no such thing
        disk.sync_folder(folder)


def settle_tree(folder: Path) -> None:
    """Wait until all files in a folder are on the disk, and then their names. Raises OSError."""
    for root, _, names in os.walk(folder, topdown=False):
        for name in names:
            path = Path(root, name)
            if path.is_file() and not path.is_symlink():
                number = os.open(path, TO_SYNC)
                try:
                    os.fsync(number)
                finally:
                    os.close(number)
        settle_names(Path(root))


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def write_new(path: Path, content: str | bytes) -> None:
    """Write `content` to `path`, where nothing may be yet. The whole file appears, durably, or none.

    Raises StorageFailed.
    """
    write_whole(path, content)


class Rewritten:
    """A file that is rewritten whole, again and again: at first the place is free or `ours`, then as this program left
    it.
    """

    def __init__(self, path: Path, ours: Ours | None = None, *, durably: bool = True) -> None:
        self.path, self._ours, self._durably = path, ours, durably
        self._left: tuple[int, ...] | None = None

    def write(self, content: str) -> None:
        """Write it. Raises StorageFailed, also if another program has written there since."""
        left = self._left
        ours = self._ours if left is None else lambda there: _mark(there) == left
        write_whole(self.path, content, replace=ours is not None, ours=ours, durably=self._durably)
        self._left = _mark(self.path)


def _mark(path: Path) -> tuple[int, ...]:
    about = path.stat()
    return about.st_dev, about.st_ino, about.st_size, about.st_mtime_ns


@dataclass(frozen=True, slots=True)
class FolderTrial:
    """How long a small file took to reach the disk, and how far the time it was given is off. Nanoseconds."""

    took_ns: int
    time_off_ns: int


def try_folder(folder: Path) -> FolderTrial:
    """Write a small file durably into a folder, give it a time, and remove it. Raises StorageFailed."""
    began_ns = clock.monotonic_ns()
    with writing(folder), _part_in(folder) as part:
        with open(part, "xb") as file:
            file.write(b"fullturn")
            file.flush()
            os.fsync(file.fileno())
        took_ns = clock.monotonic_ns() - began_ns
        os.utime(part, ns=(TRIAL_TIME_NS, TRIAL_TIME_NS))
        return FolderTrial(took_ns, abs(part.stat().st_mtime_ns - TRIAL_TIME_NS))


def open_to_append(path: Path, ours: Ours) -> TextIO:
    """A text file to append lines to: a new one, or one that is `ours`. Raises StorageFailed."""
    must_be_free(path, replace=True, ours=ours)
    flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | NO_FOLLOW | NOT_FOR_CHILDREN
    with writing(path):
        return open(os.open(os.path.realpath(path), flags, 0o666), "a", encoding="utf-8", newline="\n")


def remove_file(path: Path) -> None:
    """Remove a file that this program has just made, if it exists. Raises nothing: a leftover does no harm."""
    with suppress(OSError):
        disk.remove(path)


def copy_verified(source: Path, target: Path) -> None:
    """Copy a regular file to the new file `target`, with its times, and verify the copy by reading it.

    Raises StorageFailed.
    """
    flags = os.O_RDONLY | NO_WAIT | NO_FOLLOW | BYTES
    digest, size = hashlib.sha256(), 0
    with writing(target), open(os.open(source, flags), "rb") as read:
        if not stat.S_ISREG(os.fstat(read.fileno()).st_mode):
            raise StorageFailed(f"{shown(source)} is no file any more, so it was not copied. Look at the card.")
        with target.open("xb") as written:
            while chunk := read.read(CHUNK):
                digest.update(chunk)
                size += len(chunk)
                written.write(chunk)
            written.flush()
            os.fsync(written.fileno())
        shutil.copystat(source, target)
        with target.open("rb") as again:
            same = os.fstat(again.fileno()).st_size == size
            same = same and hashlib.file_digest(again, "sha256").digest() == digest.digest()
    if not same:
        raise StorageFailed(f"The copy of {shown(source)} is not the same as the file. Copy to another disk.")


def link_to(source: Path, target: Path) -> None:
    """Make a symbolic link; a hard one if only administrators may make symbolic ones (Windows). Raises StorageFailed."""
    try:
        target.symlink_to(source)
    except OSError:
        try:
            os.link(source, target)
        except OSError as error:
            raise StorageFailed(f"{shown(target.name)} cannot be linked: {cause_of(error)}. Choose --copy.") from None


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn a system error while `path` is written into one sentence. Raises StorageFailed."""
    try:
        yield
    except FileExistsError:
        raise StorageFailed(f"{shown(path)} exists already. Name another place.") from None
    except OSError as error:
        raise StorageFailed(f"{shown(path)} cannot be written: {cause_of(error)}. Choose another place.") from None


def part_name() -> str:
    """A hidden and unique name for an unfinished file."""
    return f".fullturn-{os.getpid()}-{next(_numbers)}.part"


@contextmanager
def _part_in(folder: Path) -> Iterator[Path]:
    """The name of a hidden file in `folder`, which is removed afterwards."""
    part = folder / part_name()
    while os.path.lexists(part):
        part = folder / part_name()
    try:
        yield part
    finally:
        with suppress(OSError):
            disk.remove(part)


def appear(part: Path, path: Path) -> None:
    """Give the file `part` the name `path` as well, or instead. Raises FileExistsError if that is in use, OSError."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # a card's file system has no hard links
        if os.path.lexists(path):
            raise FileExistsError(path) from None
        disk.replace(part, path)
