"""The photographs in a folder: what each says about its time and its camera (EXIF: CIPA DC-008)."""

import math
import os
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC
from pathlib import Path
from typing import Any

from controller import exif
from controller.errors import InputError
from controller.matching.evidence import FileStamp
from controller.matching.sequence import NUMBERS
from controller.picture_file import PHOTOGRAPH, RAW, read_card_tags
from controller.reading import as_text, digest_of, files_in, trouble_of
from controller.shown import shown

JPEG = frozenset({".jpg", ".jpeg"})
PLAIN = JPEG | {".tif", ".tiff", ".heic", ".hif"}
CUT_SHORT = "is cut short"
LONGEST_NAME = 200  # characters kept of a camera's name: some files contain thousands
NEIGHBOURS = 4  # files before and after, whose names show the camera's pattern
NUMBER = re.compile(r"(?<!\d)(\d{4})$")  # file number: DCF, CIPA DC-009. From memory


@dataclass(frozen=True, slots=True)
class CardFile:
    """One shot: a file, or a raw file with its JPEG, the JPEG first.

    `taken_s` is the camera's clock in seconds, in UTC if the file names its zone; None if it has no time. `trouble` says
    what is wrong with it. `size` is the first file's size in bytes.
    """

    paths: tuple[Path, ...]
    camera: str
    taken_s: float | None
    has_zone: bool
    shutter_s: float
    trouble: str | None
    size: int = 0

    @property
    def name(self) -> str:
        """The first file's name."""
        return as_text(self.paths[0].name)

    @property
    def number(self) -> int | None:
        """The number in its name, or None."""
        found = NUMBER.search(self.paths[0].stem)
        return int(found[1]) if found else None

    @property
    def stamp(self) -> FileStamp:
        """The facts that pairing needs. The file must have a time."""
        assert self.taken_s is not None
        return FileStamp(self.taken_s, self.shutter_s, self.number)


def read_card(folder: Path) -> list[CardFile]:
    """All shots in a folder and its subfolders, by time, those without one last.

    A shot that cannot be read is included, with its trouble. Raises InputError if there are no photographs.
    """
    shots: dict[tuple[Path, str], list[Path]] = {}
    for path in _pictures(folder):
        shots.setdefault((path.parent, path.stem.casefold()), []).append(path)
    if not shots:
        raise InputError(f"{folder}: holds no photographs, neither JPEG nor TIFF nor raw files.")
    files = sorted((_read(tuple(sorted(paths, key=_jpeg_first))) for paths in shots.values()), key=_order)
    return sorted(_without_copies(files), key=_order)


def _without_copies(files: list[CardFile]) -> Iterator[CardFile]:
    """The files; copies of another file lose their time and get a trouble that names the original.

    The original is the one whose name fits best among the files shot just before and after it.
    """
    alike: dict[tuple[int, str], list[int]] = {}
    by_size = Counter(file.size for file in files)
    for place, file in enumerate(files):
        if by_size[file.size] > 1 and file.size and (content := _digest(file.paths[0])):
            alike.setdefault((file.size, content), []).append(place)
    original = {}
    for places in alike.values():
        first = min(places, key=lambda place: _strangeness(files, place, places))
        original.update({place: files[first] for place in places if place != first})
    for place, file in enumerate(files):
        if place in original:
            yield replace(file, taken_s=None, trouble=f"is a copy of {original[place].name}")
        else:
            yield file


def _strangeness(files: list[CardFile], place: int, copies: list[int]) -> tuple[bool, int, int, tuple[str, ...]]:
    """How little a file's name looks like the camera's: another pattern than its neighbours, a distant number, a long
    name.
    """
    file = files[place]
    near = [other for other in range(copies[0] - NEIGHBOURS, copies[-1] + NEIGHBOURS + 1) if 0 <= other < len(files)]
    others = [files[other] for other in near if other not in copies]
    usual = sum(_pattern(other) == _pattern(file) for other in others) * 2 >= len(others)
    numbers = [other.number for other in others if other.number is not None]
    steps = [] if file.number is None else [abs(file.number - number) for number in numbers]
    return not usual, min(steps, default=0 if file.number is not None else NUMBERS), len(file.name), file.paths[0].parts


def _pattern(file: CardFile) -> str:
    """A name with its digits replaced by a placeholder."""
    return re.sub(r"\d", "0", file.paths[0].stem.casefold())


def _digest(path: Path) -> str:
    """A digest of a file's content; empty if it cannot be read."""
    try:
        return digest_of(path, PHOTOGRAPH)
    except InputError:
        return ""


def _pictures(folder: Path) -> Iterator[Path]:
    """Photographs by their names, also in subfolders, and folders that cannot be opened. Raises InputError."""
    if not folder.is_dir():
        raise InputError(f"{folder}: is not a folder.")
    files_in(folder)
    closed: list[Path] = []
    for root, folders, names in os.walk(folder, onerror=lambda error: closed.append(Path(error.filename))):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        links = [name for name in folders if Path(root, name).is_symlink()]  # not followed: they may form a circle
        for name in sorted([*names, *links]):  # names that begin with a point come from file managers
            if not name.startswith(".") and Path(name).suffix.lower() in PLAIN | RAW:
                yield Path(root, name)
    yield from closed


def _jpeg_first(path: Path) -> tuple[bool, str]:
    return path.suffix.lower() not in JPEG, path.name


def _order(file: CardFile) -> tuple[float, tuple[str, ...]]:
    return (math.inf if file.taken_s is None else file.taken_s), file.paths[0].parts


def _read(paths: tuple[Path, ...]) -> CardFile:
    """Read the first readable one of these files of one shot."""
    first: CardFile | None = None
    for path in paths:
        read = _read_one(path, paths)
        if read.trouble is None and read.taken_s is not None:
            return read if first is None else replace(read, trouble=first.trouble)
        first = first or read
    assert first is not None
    return first


def _read_one(path: Path, paths: tuple[Path, ...]) -> CardFile:
    try:
        if path.is_dir() and not path.is_symlink():
            files_in(path)
        read = read_card_tags(path)
    except InputError as error:
        return CardFile(paths, "", None, False, 0.0, trouble_of(error, path))
    names = (exif.text(read.tags.get(f"Image {name}")) for name in ("Make", "Model"))
    camera = " ".join(filter(None, names))[:LONGEST_NAME]
    taken_s, has_zone = _taken(read.tags)
    trouble = None if read.whole else CUT_SHORT
    if read.whole and taken_s is None:
        said = read.tags.get("EXIF DateTimeOriginal")
        no_date = f'says that it was taken at "{shown(str(said))}", which is no date of a photograph'
        trouble = no_date if exif.is_said(said) else "does not say when it was taken"
    shutter_s = exif.positive(read.tags.get("EXIF ExposureTime")) or 0.0
    return CardFile(paths, camera, taken_s, has_zone, shutter_s, trouble, read.size)


def _taken(tags: Mapping[str, Any]) -> tuple[float | None, bool]:
    """When it was shot, in seconds (UTC if it names its zone), and whether it names its zone."""
    names = ("DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal")
    moment = exif.moment(*(tags.get(f"EXIF {name}") for name in names))
    if moment is None:
        return None, False
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp(), moment.tzinfo is not None
