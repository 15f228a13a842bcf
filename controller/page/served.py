"""The folder that the page serves, and nothing outside it.

A name that comes over the network is only ever compared with the names that the folder really holds. So no path is built
from it, and neither `..` nor a separator can mean anything.
"""

import os
import stat
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from controller.errors import InputError
from controller.own_names import KIT, PLAN, SESSION
from controller.reading import files_in
from controller.shown import shown

MOST_ENTRIES = 10_000  # of one folder, that are looked at
PAGE_FILE = ".fullturn-page.json"


@dataclass(frozen=True, slots=True)
class ServedEntry:
    """A file or folder of the served folder: the name to show and to ask for, and the resolved path to open."""

    name: str
    path: Path

    @property
    def written_ns(self) -> int:
        """When the file, or the log beside a session, was last written; 0 if it is gone. Nanoseconds since 1970."""
        times_ns = [0]
        for each in (self.path, self.path.with_name(f"{self.path.name}-wal")):
            with suppress(OSError):
                times_ns.append(each.stat().st_mtime_ns)
        return max(times_ns)


@dataclass(frozen=True, slots=True)
class ServedFolder:
    """A folder, resolved once. Raises InputError if it is none."""

    root: Path

    @classmethod
    def at(cls, folder: Path) -> "ServedFolder":
        """The folder at a path. Raises InputError."""
        root = Path(os.path.realpath(folder))
        if not root.is_dir():
            raise InputError(f"{shown(folder)}: is not a folder. Name the folder with your kits, plans and sessions.")
        return cls(root)

    def entries(self) -> list[ServedEntry]:
        """What is in the folder and may be shown, sorted by name. Raises InputError if it cannot be read."""
        return list(self._shown_in(self.root))

    def entries_in(self, folder: ServedEntry) -> list[ServedEntry]:
        """What is in a folder of the folder and may be shown, sorted by name; empty if it cannot be read."""
        try:
            return list(self._shown_in(folder.path))
        except InputError:
            return []

    def folders(self) -> list[ServedEntry]:
        """The folders inside the folder. Raises InputError."""
        return [each for each in self.entries() if each.path.is_dir()]

    def files(self, suffix: str) -> list[ServedEntry]:
        """The regular files with a suffix like `.toml`. Raises InputError."""
        return [each for each in self.entries() if each.path.suffix == suffix and _is_file(each.path)]

    def kit_files(self) -> list[ServedEntry]:
        """The files that may be kits; `load_kit` tells. Raises InputError."""
        return self.files(KIT)

    def plan_files(self) -> list[ServedEntry]:
        """The files that may be plans; `is_own_plan` tells. Raises InputError."""
        return [each for each in self.files(PLAN) if not each.name.endswith(".calibration.json")]

    def session_files(self) -> list[ServedEntry]:
        """The files that may be sessions; `Session.open` tells. Raises InputError."""
        return self.files(SESSION)

    def find(self, name: str) -> ServedEntry | None:
        """What a name names in the folder; None if nothing that may be shown has it."""
        return self._inside(self.root, name)

    def must_find(self, name: str, what: str, suffix: str = "") -> ServedEntry:
        """What a name names. Raises InputError if it is none of the folder's; `what` is the word for it: kit, plan."""
        found = self.find(name)
        if found is None or not found.name.endswith(suffix):
            raise InputError(f"There is no such {what} in this folder. Load the page again.")
        return found

    def find_in(self, folder: str, name: str) -> ServedEntry | None:
        """A regular file in a folder of the folder; None if there is none that may be shown."""
        outer = self.find(folder)
        inner = self._inside(outer.path, name) if outer is not None and outer.path.is_dir() else None
        return inner if inner is not None and _is_file(inner.path) else None

    def by_names(self, text: str) -> str:
        """A sentence with the files of the folder by their names: where the folder is concerns nobody at a phone."""
        return text.replace(f"{self.root}/", "")

    def new_path(self, name: str) -> Path:
        """The path for a new file or folder in the folder. Raises InputError if the name cannot be used."""
        if not may_be_name(name):
            raise InputError(f'"{shown(name, 60)}" cannot be a name. Use letters, digits, dots, hyphens and spaces.')
        return self.root / name

    def _inside(self, folder: Path, name: str) -> ServedEntry | None:
        try:
            return next((each for each in self._shown_in(folder) if each.name == name), None)
        except InputError:
            return None

    def _shown_in(self, folder: Path) -> Iterator[ServedEntry]:
        for path in files_in(folder)[:MOST_ENTRIES]:
            real = Path(os.path.realpath(path))
            if may_be_name(path.name) and real.is_relative_to(self.root) and not _is_hidden(real, self.root):
                yield ServedEntry(path.name, real)


def newest_first(entries: Iterable[ServedEntry]) -> list[ServedEntry]:
    """Entries by when they were written."""
    return sorted(entries, key=lambda each: each.written_ns, reverse=True)


def may_be_name(name: str) -> bool:
    """Whether a name may be shown and asked for: one visible part of a path, printable, and text in UTF-8."""
    if not name or name.startswith(".") or not name.isprintable() or any(each in name for each in "/\\"):
        return False
    try:
        return len(name.encode()) <= 255
    except UnicodeEncodeError:  # bytes that are no text
        return False


def _is_hidden(real: Path, root: Path) -> bool:
    return any(part.startswith(".") for part in real.relative_to(root).parts)


def _is_file(path: Path) -> bool:
    try:
        return stat.S_ISREG(path.stat().st_mode)
    except OSError:
        return False
