"""Write a folder whole or not at all. All writing of folders goes through here.

Until it is complete, the content is in a hidden folder with a marker, which is locked. A killed run leaves it behind;
`unfinished_near` finds it, and it is removed only if the user agrees.
"""

import json
import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from controller.errors import InputError, StorageFailed
from controller.files import appear, part_name, settle_names, settle_tree, writing
from controller.lock import in_use, lock_of, sole_use
from controller.places import PART, Ours, cause_of, is_own, must_be_free_folder
from controller.reading import MARK, read_json
from controller.shown import shown
from controller.system.chosen import disk

MARKER, INNER = "fullturn-unfinished.json", "unfinished"
FORMAT = {"format": "fullturn-unfinished"}


@contextmanager
def appearing_folder(folder: Path, *, replace: bool = False, ours: Mapping[str, Ours] | None = None) -> Iterator[Path]:
    """A folder to write into. It becomes `folder` at the end, or is removed on an error. Raises StorageFailed.

    `folder` must be new or empty; with `replace`, new files replace its files that are `ours`. Everything in it is on the
    disk before it gets its name: a power cut leaves all of it or nothing, or of files that replace others some.
    """
    must_be_free_folder(folder, replace=replace, ours=ours)
    real = Path(os.path.realpath(folder))
    made = [parent for parent in real.parents if not parent.exists()]
    is_there = real.is_dir()
    try:
        with writing(folder):
            real.parent.mkdir(parents=True, exist_ok=True)
        with _hidden_in(real if is_there else real.parent, folder) as inner:
            yield inner
            must_be_free_folder(folder, replace=replace, ours=ours)
            with writing(folder):
                settle_tree(inner)
                if is_there:
                    _move_all(inner, real, ours or {})
                    settle_names(real)
                else:
                    disk.replace(inner, real)
                for parent in [real.parent, *(each.parent for each in made)]:
                    settle_names(parent)
    except BaseException:
        for parent in made:
            with suppress(OSError):
                parent.rmdir()
        raise


@contextmanager
def _hidden_in(home: Path, folder: Path) -> Iterator[Path]:
    """A marked folder inside a hidden one, locked meanwhile and removed afterwards."""
    hidden = home / part_name()
    while os.path.lexists(hidden):
        hidden = home / part_name()
    with sole_use(lock_of(hidden), shown(folder), "fullturn"):
        try:
            with writing(folder):
                hidden.mkdir()
                mark = json.dumps(FORMAT | {"of": folder.name}, allow_nan=False)
                (hidden / MARKER).write_text(mark + "\n", encoding="utf-8", newline="\n")
                (hidden / INNER).mkdir()
            yield hidden / INNER
        finally:
            _remove(hidden)


def _move_all(inner: Path, real: Path, ours: Mapping[str, Ours]) -> None:
    """Move everything into an existing folder: all of it, or on an error only what replaced our own files. Raises
    OSError.
    """
    moved: list[Path] = []
    try:
        for path in sorted(inner.iterdir()):
            target = real / path.name
            if path.name in ours and is_own(target, ours[path.name]):
                disk.replace(path, target)
            elif path.is_dir() and not path.is_symlink():
                disk.replace(path, target)
                moved.append(target)
            else:
                appear(path, target)
                moved.append(target)
    except BaseException:
        for target in moved:
            disk.remove_folder(target) if target.is_dir() else disk.remove(target)
        raise


@contextmanager
def temporary_folder() -> Iterator[Path]:
    """A folder among the system's temporary files, which is gone afterwards. Raises StorageFailed."""
    try:
        made = Path(tempfile.mkdtemp())
    except OSError as error:
        raise StorageFailed(
            f"No temporary file can be written: {cause_of(error)}. Name another folder for them in TMPDIR."
        ) from None
    try:
        yield made
    finally:
        with suppress(OSError):
            disk.remove_folder(made)


def make_inner_folder(folder: Path) -> None:
    """Make a folder and its parents inside one that is not complete yet. Raises StorageFailed."""
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A hidden folder that a killed run left behind, with its size."""

    path: Path
    size_bytes: int


def unfinished_near(folder: Path) -> list[Unfinished]:
    """Leftovers of killed runs in `folder` and beside it; running programs' folders are not included. Raises
    StorageFailed.
    """
    real = Path(os.path.realpath(folder))
    found = []
    for home in (real.parent, real):
        with suppress(OSError):
            paths = [home / name for name in sorted(os.listdir(home)) if PART.fullmatch(name)]
            found += [Unfinished(path, _size(path)) for path in paths if _is_marked(path) and not in_use(path)]
    return found


def _is_marked(path: Path) -> bool:
    """Whether this program made the folder, by its marker."""
    marker = path / MARKER
    try:
        if path.is_symlink() or marker.is_symlink():
            return False
        content = read_json(marker, MARK)
    except (OSError, InputError):
        return False
    return isinstance(content, dict) and content.items() >= FORMAT.items()


def _size(folder: Path) -> int:
    return sum(os.lstat(os.path.join(root, name)).st_size for root, _, names in os.walk(folder) for name in names)


def remove_unfinished(left: Unfinished) -> None:
    """Remove it, if it is still the same leftover. Raises StorageFailed."""
    if _is_marked(left.path) and not in_use(left.path):
        try:
            if (left.path / INNER).is_dir():
                disk.remove_folder(left.path / INNER)
            disk.remove_folder(left.path)  # the marker goes last: if this is interrupted, the rest is found again
        except OSError as error:
            raise StorageFailed(f"{shown(left.path)} cannot be removed: {cause_of(error)}. Remove it by hand.") from None


def _remove(hidden: Path) -> None:
    """Remove our own hidden folder, its marker last."""
    for folder in (hidden / INNER, hidden):
        with suppress(OSError):
            disk.remove_folder(folder)
