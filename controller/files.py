"""Folders, and files that are there whole or not at all."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from controller.errors import StorageFailed

PART = ".part"  # behind the name of a file that is not whole yet
SHOWN = 80  # characters of a name in a sentence


def make_folder(folder: Path) -> None:
    """Make a folder, and those it lies in, unless it is there. Raises StorageFailed."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StorageFailed(f"{folder} cannot be made ({error.strerror}); choose another place.") from None


def write_whole(path: Path, text: str, *, durably: bool = False) -> None:
    """Write `text` to `path`, replacing what is there; either the whole file appears or none. Raises StorageFailed.

    With `durably` it has reached the disk before it takes the old one's place, so that a power cut leaves one of the two.
    """
    with _written(path, text, durably=durably) as part:
        part.replace(path)


def write_new(path: Path, content: bytes) -> None:
    """Write `content` to `path`, where nothing may be yet; the whole file appears, on the disk, or none.

    Raises StorageFailed.
    """
    with _written(path, content, durably=True) as part:
        _appear(part, path)


@contextmanager
def _written(path: Path, content: str | bytes, *, durably: bool) -> Iterator[Path]:
    """A file beside `path` that holds `content`, to be given that name within; gone again if it was not.

    Raises StorageFailed.
    """
    part = path.with_name(path.name + PART)
    try:
        if isinstance(content, str):
            part.write_text(content, encoding="utf-8")
        else:
            part.write_bytes(content)
        if durably:
            with part.open("rb+") as file:
                os.fsync(file.fileno())
        yield part
    except FileExistsError:
        raise StorageFailed(f"{path} exists already; name another place.") from None
    except OSError as error:
        raise StorageFailed(f"{path} cannot be written ({error.strerror}); choose another place.") from None
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def _appear(part: Path, path: Path) -> None:
    """Give `part` the name `path`. Raises FileExistsError if something has it, OSError."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # a card's file system has no second names for a file
        if os.path.lexists(path):
            raise FileExistsError(path) from None
        part.replace(path)


def must_be_free(path: Path, *, replace: bool = False, ours: Callable[[Path], bool] | None = None) -> None:
    """Check before the work begins that a file can be written at `path`; nothing is written yet. Raises StorageFailed.

    What is there is kept, but for a file of the same kind when `replace` asks for it: `ours` tells whether the program
    wrote that file itself. Without `ours` nothing is ever replaced.
    """
    if not path.name or "\0" in str(path):
        raise StorageFailed(f"{str(path)!r} is not the name of a file. Name one, with its folder if need be.")
    try:
        taken = path.is_symlink() or path.exists()
        path.with_name(path.name + PART).exists()  # is that name too long?
    except OSError as error:
        raise StorageFailed(f"{_shortened(path)} cannot be written ({error.strerror}). Choose another name.") from None
    if path.is_dir():
        raise StorageFailed(f"{path} is a folder. Name a file in it.")
    if not path.parent.is_dir():
        raise StorageFailed(
            f"{path} cannot be written: {path.parent} is no folder. Make that folder first, or choose another place."
        )
    if not os.access(path.parent, os.W_OK):
        raise StorageFailed(f"{path.parent} is a folder that cannot be written to. Choose another place.")
    if not taken:
        return
    is_ours = ours is not None and path.is_file() and ours(path)
    if replace and not is_ours:
        raise StorageFailed(f"{path} is not of this kind, or was changed, so it is not replaced. Name another place.")
    if not replace:
        how = "Add --replace to replace it, or name another place." if is_ours else "Name another place."
        raise StorageFailed(f"{path} exists already. {how}")


def _shortened(path: Path) -> str:
    text = str(path)
    return text if len(text) <= SHOWN else f"{text[: SHOWN // 2]}...{text[-SHOWN // 2 :]}"


def is_taken(folder: Path) -> bool:
    """Whether something is there already, other than an empty folder."""
    return folder.exists() and (not folder.is_dir() or any(folder.iterdir()))


@contextmanager
def appearing_folder(folder: Path) -> Iterator[Path]:
    """A folder to write into, which becomes `folder` when all went well and is gone when not."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    hidden = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        hidden.chmod(0o755)
        yield hidden
        if folder.exists():
            folder.rmdir()
        hidden.rename(folder)
    finally:
        shutil.rmtree(hidden, ignore_errors=True)
