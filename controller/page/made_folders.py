"""The folders that the program wrote into the served folder: what each is, and what it says.

Everything is read from the folders themselves, so a page that was closed or restarted shows the same. Their files may
come from anywhere: a value that is not what it should be counts as missing.
"""

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from controller.errors import InputError
from controller.page.assets import TYPES
from controller.page.served import ServedEntry, ServedFolder
from controller.reading import MATCH, read_json
from controller.report.own_pages import is_own_page
from controller.sizes import size_text

ACCOUNT, MATCHED, INSPECTED = "report.json", "match.json", "inspection.json"
KEPT_RESULTS = 64  # in memory


class MadeKind(StrEnum):
    """What a folder is."""

    REHEARSAL = "rehearsal"
    REPORT = "report"
    CARD = "sorted card"
    INSPECTION = "inspection"


NEEDS = (
    (MadeKind.REHEARSAL, ("run.html", "report.html"), ACCOUNT),
    (MadeKind.REPORT, ("report.html",), ACCOUNT),
    (MadeKind.INSPECTION, ("proof.html",), INSPECTED),
    (MadeKind.CARD, (), MATCHED),
)
"""How each kind is recognised, the first that fits: its pages, the first of which it has alone, and its result."""
FIRST_PAGE = {MadeKind.REHEARSAL: "report.html", MadeKind.REPORT: "report.html", MadeKind.INSPECTION: "proof.html"}
OPEN_LABELS = {
    MadeKind.REHEARSAL: "Read the report",
    MadeKind.REPORT: "Read the report",
    MadeKind.INSPECTION: "Look at the proof sheet",
}
ENDINGS = {MadeKind.REPORT: "report", MadeKind.CARD: "card", MadeKind.INSPECTION: "inspection"}
"""What the page adds to a session's name for a folder of each kind."""
FILES = {
    "report.html": "the report, with pictures of the sphere",
    "run.html": "the run in time, frame by frame",
    "session.sqlite": "the session of the rehearsal; the report shows what is in it",
    "truth.json": "the exposures that the simulated rig really made",
    ACCOUNT: "the numbers of the report, for other programs",
    "exposures.csv": "a table of all exposures",
    "exposures.json": "the same table, for other programs",
    "match.csv": "a table of all files on the card, and the exposure of each",
    MATCHED: "the same table, for other programs",
    "pictures": "a folder with the sorted files; open it on the computer at the head",
    "sidecars": "a folder with a sidecar for each file; open it on the computer at the head",
    "inspection": "a folder with an inspection; open it on the computer at the head",
    "proof.html": "the proof sheet: the sphere drawn from the pictures, and what to do",
    "sphere.jpg": "the sphere as one picture",
    "poses.csv": "a table of the pose of every frame",
    "poses.json": "the same table, for other programs",
    INSPECTED: "the verdicts on frames and links, for other programs",
}
"""What each file of the program is."""


class KeptResult(BaseModel):
    """What a result says: sentences, the frames to shoot again, or the headline of an account."""

    model_config = ConfigDict(frozen=True, extra="ignore", strict=True)

    sentences: list[str] = []
    retake: list[int] = []
    headline: str = ""


@dataclass(frozen=True, slots=True)
class MadeFolder:
    """A folder of the program. `page` is the file to open first, `written_ns` when its result was written."""

    name: str
    kind: MadeKind
    page: str
    label: str
    written_ns: int
    result: KeptResult

    @property
    def sentences(self) -> Sequence[str]:
        """What it says, in sentences."""
        return [self.result.headline] if self.result.headline else self.result.sentences


@dataclass(frozen=True, slots=True)
class MadeFile:
    """A file of such a folder: what it is, its size in words, and whether the page can open it."""

    name: str
    about: str
    size: str
    opens: bool


def made_folders(folder: ServedFolder) -> list[MadeFolder]:
    """All folders of the program, the newest first. Raises InputError."""
    found = [made for each in folder.folders() if (made := made_folder(folder, each)) is not None]
    return sorted(found, key=lambda each: (each.written_ns, each.name), reverse=True)


def made_of(stem: str, folders: Sequence[MadeFolder]) -> list[MadeFolder]:
    """The folders that the page wrote for the session with this stem, by their names."""
    ending = "|".join(ENDINGS.values())
    named = re.compile(rf"{re.escape(stem)}-(?:{ending})(?:-[0-9]+)?")
    return [each for each in folders if named.fullmatch(each.name)]


def made_folder(folder: ServedFolder, entry: ServedEntry) -> MadeFolder | None:
    """A folder as one of the program; None if it is none."""
    inside = {each.name: each.path for each in folder.entries_in(entry)}
    for kind, pages, result in NEEDS:
        if result in inside and all(name in inside and is_own_page(inside[name]) for name in pages):
            read, written_ns = _result(inside[result])
            return MadeFolder(entry.name, kind, FIRST_PAGE.get(kind, ""), OPEN_LABELS.get(kind, ""), written_ns, read)
    return None


def files_of(folder: ServedFolder, entry: ServedEntry) -> list[MadeFile]:
    """What is in a folder of the program."""
    found = []
    for each in folder.entries_in(entry):
        about = FILES.get(each.name, "a folder" if each.path.is_dir() else "")
        size = ""
        with suppress(OSError):
            size = "" if each.path.is_dir() else size_text(each.path.stat().st_size)
        opens = not each.path.is_dir() and each.path.suffix.lower() in TYPES
        found.append(MadeFile(each.name, about, size, opens))
    return found


def _result(path: Path) -> tuple[KeptResult, int]:
    try:
        about = path.stat()
    except OSError:
        return KeptResult(), 0
    return _read(path, about.st_size, about.st_mtime_ns), about.st_mtime_ns


@lru_cache(maxsize=KEPT_RESULTS)
def _read(path: Path, _size_bytes: int, _written_ns: int) -> KeptResult:
    try:
        return KeptResult.model_validate(read_json(path, MATCH))
    except (InputError, ValidationError):
        return KeptResult()
