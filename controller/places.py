"""Check where something may be written: existing files are kept, and an unusable place is refused before any work.

Nothing here writes. `files` and `folders` check again when they write.
"""

import errno
import os
import re
import shutil
import stat
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NoReturn

from controller.errors import StorageFailed
from controller.reading import UNFIT
from controller.shown import shown
from controller.sizes import sizes_apart
from controller.system.file_names import name_trouble

Ours = Callable[[Path], bool]
"""Whether the regular file at a path was written by this program and is still a file of that kind."""

LONGEST_NAME = 255  # bytes: NAME_MAX of POSIX <limits.h> on the usual file systems
MOST_SHOWN_OF_BAD = 80  # characters of a name in a sentence
LEAST_BYTES = 100_000  # must be free if the size is unknown
PART = re.compile(r"\.fullturn-\d+-\d+\.part")
"""The name of an unfinished file."""

CAUSES = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk has no more room for you",
    errno.EACCES: "you have no permission to write there",
    errno.EPERM: "you have no permission to write there",
    errno.EROFS: "the disk can only be read",
    errno.ENAMETOOLONG: "the name is too long",
    errno.EINVAL: "the disk does not allow this name",
    errno.EILSEQ: "the disk does not allow this name",
    errno.ENOENT: "its folder is gone",
    errno.ENOTDIR: "what should be its folder is a file",
    errno.EEXIST: "something is there already",
    errno.ENOTEMPTY: "something is there already",
    errno.EISDIR: "a folder is there already",
    errno.EFBIG: "it is too large for this disk",
    errno.EIO: "the disk reports an error",
    errno.ENODEV: "the disk is gone",
    errno.ENXIO: "the disk is gone",
    errno.ELOOP: "its links lead in a circle",
    errno.EBUSY: "another program uses it",
    errno.EMFILE: "too many files are open",
    errno.ENFILE: "too many files are open",
}
"""The meaning of a system error for the user (errno.h, POSIX.1-2017)."""


def cause_of(error: OSError) -> str:
    """The reason why something could not be written, in words to follow a colon."""
    return CAUSES.get(error.errno or 0, "the system refuses it")


def must_be_free(path: Path, *, replace: bool = False, ours: Ours | None = None, needs_bytes: int = LEAST_BYTES) -> None:
    """Check that a file of `needs_bytes` can be written at `path`. Raises StorageFailed.

    An existing file is kept, except with `replace` if `ours` says that this program wrote it. Without `ours` nothing is
    ever replaced. A link is judged by its target.
    """
    if not path.name or path.name == ".." or "\0" in str(path):
        raise StorageFailed(f"{shown(repr(str(path)))} is not the name of a file. Name one, with its folder if need be.")
    there = _look(path)
    if there is None:
        _must_travel(path, path.name)
    elif stat.S_ISDIR(there.st_mode):
        raise StorageFailed(f"{shown(path)} is a folder. Name a file in it.")
    if there is not None and not stat.S_ISREG(there.st_mode):
        raise StorageFailed(f"{shown(path)} is {_kind(there)}, and never written to. Name another place.")
    folder = Path(os.path.realpath(path)).parent
    if not folder.is_dir():
        parent = shown(path.parent)
        _refuse(path, f"{parent} is no folder. Make that folder first, or choose another place")
    _must_be_writable(folder, path.parent)
    must_have_room(path, needs_bytes)
    if there is None:
        return
    is_ours = ours is not None and _is_unprotected(there) and ours(path)
    if replace and not is_ours:
        protected = "it is write-protected" if not _is_unprotected(there) else "this program did not write it as it is"
        raise StorageFailed(f"{shown(path)} is kept, because {protected}. Name another place.")
    if not replace:
        how = "Add --replace to replace it, or name another place." if is_ours else "Name another place."
        raise StorageFailed(f"{shown(path)} exists already. {how}")


def must_be_free_folder(
    folder: Path,
    *,
    replace: bool = False,
    ours: Mapping[str, Ours] | None = None,
    needs_bytes: int = LEAST_BYTES,
) -> None:
    """Check that a new folder with `needs_bytes` in it can be written at `folder`. Raises StorageFailed.

    An existing folder must be empty. With `replace` it may be one that the program filled. `ours` maps its file names to
    their checks, the first being the one that identifies this kind of folder. Other files in it stay as they are. A link
    to a folder is judged by its target.
    """
    if "\0" in str(folder):
        raise StorageFailed(f"{shown(repr(str(folder)))} is not the name of a folder. Name another place.")
    there = _look(folder)
    if there is None:
        real = Path(os.path.realpath(folder))
        above = next(parent for parent in real.parents if os.path.lexists(parent))
        for name in real.relative_to(above).parts:
            _must_travel(folder, name)
        if not above.is_dir():
            raise StorageFailed(f"{shown(folder)} cannot be made: {shown(above)} is no folder. Choose another place.")
        _must_be_writable(above, above)
        must_have_room(folder, needs_bytes)
        return
    if not stat.S_ISDIR(there.st_mode):
        what = "a file" if stat.S_ISREG(there.st_mode) else _kind(there)
        raise StorageFailed(f"{shown(folder)} is {what}, not a folder. Choose another place.")
    _must_be_writable(folder, folder)
    must_have_room(folder, needs_bytes)
    names = {name for name in os.listdir(folder) if not PART.fullmatch(name)}
    if names:
        _must_be_replaced(folder, names, ours or {}, replace=replace)


def _must_be_replaced(folder: Path, names: set[str], ours: Mapping[str, Ours], *, replace: bool) -> None:
    known = [name for name in ours if name in names]
    others = [name for name in known if not is_own(folder / name, ours[name])]
    is_of_this_kind = bool(known) and known[0] == next(iter(ours))
    if not replace:
        how = "Add --replace to replace what it holds, or choose" if is_of_this_kind and not others else "Choose"
        raise StorageFailed(f"{shown(folder)} is not empty. {how} another place.")
    if not is_of_this_kind:
        raise StorageFailed(f"{shown(folder)} is kept, because it holds something else. Choose another place.")
    if others:
        raise StorageFailed(
            f"{shown(folder / others[0])} is kept, because this program did not write it as it is. Choose another place."
        )


def is_own(path: Path, ours: Ours) -> bool:
    """Whether a regular file, not a link, is there and may be replaced."""
    try:
        about = path.lstat()
    except OSError:
        return False
    return stat.S_ISREG(about.st_mode) and _is_unprotected(about) and ours(path)


def must_have_room(path: Path, needs_bytes: int, advice: str = "") -> None:
    """Check that the disk of `path` has room for it, even if `path` does not exist yet. Raises StorageFailed."""
    real = Path(os.path.realpath(path))
    try:
        free_bytes = shutil.disk_usage(next(each for each in (real, *real.parents) if each.exists())).free
    except OSError as error:
        _refuse(path, f"{cause_of(error)}. Choose another place")
    if free_bytes < needs_bytes:
        free, needed = sizes_apart(free_bytes, needs_bytes)
        raise StorageFailed(
            f"{shown(path)} needs {needed}, and its disk has {free} free. Free some space, or choose another "
            f"place{advice}."
        )


def _look(path: Path) -> os.stat_result | None:
    """What is at a path, following links; None if nothing is. Raises StorageFailed."""
    if any(len(os.fsencode(part)) > LONGEST_NAME for part in path.parts):
        _refuse(path, "the name is too long. Choose another name")
    try:
        return path.stat()
    except (FileNotFoundError, NotADirectoryError):
        if path.is_symlink():
            raise StorageFailed(
                f"{shown(path)} is a link to {shown(os.readlink(path))}, which does not exist. Name another place."
            ) from None
        return None
    except OSError as error:
        _refuse(path, f"{cause_of(error)}. Choose another name")


def _must_travel(path: Path, name: str) -> None:
    """Refuse a new name that some system does not take: cards and folders are carried to other computers."""
    if trouble := name_trouble(name):
        raise StorageFailed(
            f"{shown(path, MOST_SHOWN_OF_BAD)} is not made, because {trouble}. Choose a name that every system takes."
        )


def _refuse(path: Path, why: str) -> NoReturn:
    raise StorageFailed(f"{shown(path, MOST_SHOWN_OF_BAD)} cannot be written: {why}.") from None


def _must_be_writable(folder: Path, named: Path) -> None:
    if not os.access(folder, os.W_OK | os.X_OK):
        raise StorageFailed(f"{shown(named)} is a folder that cannot be written to. Choose another place.")


def _is_unprotected(about: os.stat_result) -> bool:
    """Whether anybody may write to the file: a write-protected file is kept, even from root."""
    return bool(about.st_mode & 0o222)


def _kind(about: os.stat_result) -> str:
    return next((what for is_one, what in UNFIT if is_one(about.st_mode)), "no file")
