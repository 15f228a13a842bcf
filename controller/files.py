"""The one way to write a file: it is there whole or not at all, and takes no other's place.

`places` judges the place, before the work begins and again here. A link is written through.
"""

import hashlib
import itertools
import os
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TextIO

from controller.errors import StorageFailed
from controller.places import Ours, cause_of, must_be_free
from controller.shown import shown

CHUNK = 1 << 20
_numbers = itertools.count()


def write_whole(
    path: Path, content: str | bytes, *, replace: bool = False, ours: Ours | None = None, durably: bool = False
) -> None:
    """Write `content` to `path`, where nothing may be, or with `replace` what is `ours`. Raises StorageFailed.

    Either the whole file appears or none. With `durably` it has reached the disk before it takes the old one's place, so
    that a power cut leaves one of the two.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    must_be_free(path, replace=replace, ours=ours, needs_bytes=len(data))
    target = Path(os.path.realpath(path))
    with writing(path), _part_in(target.parent) as part:
        with part.open("xb") as file:
            file.write(data)
            if durably:
                file.flush()
                os.fsync(file.fileno())
        if replace and target.exists():
            part.chmod(stat.S_IMODE(target.stat().st_mode))
            part.replace(target)
        else:
            appear(part, target)


def write_new(path: Path, content: str | bytes) -> None:
    """Write `content` to `path`, where nothing may be yet; the whole file appears, on the disk, or none.

    Raises StorageFailed.
    """
    write_whole(path, content, durably=True)


class Rewritten:
    """A file that is written again and again, each time whole: free or `ours` at first, then as it was left."""

    def __init__(self, path: Path, ours: Ours | None = None) -> None:
        self.path, self._ours = path, ours
        self._left: tuple[int, ...] | None = None

    def write(self, content: str) -> None:
        """Write it. Raises StorageFailed, also if somebody else has written there since."""
        left = self._left
        ours = self._ours if left is None else lambda there: _mark(there) == left
        write_whole(self.path, content, replace=ours is not None, ours=ours)
        self._left = _mark(self.path)


def _mark(path: Path) -> tuple[int, ...]:
    about = path.stat()
    return about.st_dev, about.st_ino, about.st_size, about.st_mtime_ns


def open_to_append(path: Path, ours: Ours) -> TextIO:
    """A text file to add lines to: a new one, or one that is `ours`. Raises StorageFailed."""
    must_be_free(path, replace=True, ours=ours)
    flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0)
    with writing(path):
        return open(os.open(os.path.realpath(path), flags, 0o666), "a", encoding="utf-8")


def remove_file(path: Path) -> None:
    """Remove a file that this program has just made, if it is there. Raises nothing: what stays does no harm."""
    with suppress(OSError):
        path.unlink(missing_ok=True)


def copy_verified(source: Path, target: Path) -> None:
    """Copy a regular file to the new file `target`, with its times, and read the copy again to see that it is the same.

    Raises StorageFailed.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
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
    """A symbolic link; where the system keeps those for administrators (Windows), a hard one. Raises StorageFailed."""
    try:
        target.symlink_to(source)
    except OSError:
        try:
            os.link(source, target)
        except OSError as error:
            raise StorageFailed(f"{shown(target.name)} cannot be linked: {cause_of(error)}. Choose --copy.") from None


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn an error of the system while `path` is written into one sentence. Raises StorageFailed."""
    try:
        yield
    except FileExistsError:
        raise StorageFailed(f"{shown(path)} exists already. Name another place.") from None
    except OSError as error:
        raise StorageFailed(f"{shown(path)} cannot be written: {cause_of(error)}. Choose another place.") from None


def part_name() -> str:
    """A hidden name that no other file has, for what is not whole yet."""
    return f".fullturn-{os.getpid()}-{next(_numbers)}.part"


@contextmanager
def _part_in(folder: Path) -> Iterator[Path]:
    """The name of a hidden file in `folder`, which is gone afterwards."""
    part = folder / part_name()
    while os.path.lexists(part):
        part = folder / part_name()
    try:
        yield part
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def appear(part: Path, path: Path) -> None:
    """Give the file `part` the name `path` too, or instead. Raises FileExistsError if something has it, OSError."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # a card's file system has no second names for a file
        if os.path.lexists(path):
            raise FileExistsError(path) from None
        part.replace(path)
