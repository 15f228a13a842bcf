"""The forms about a session and its pictures, and the command lines that they make."""

import os
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from controller.errors import InputError
from controller.matching.card import PLAIN
from controller.own_names import free_path
from controller.page.asked import AskedOnPage
from controller.page.made_folders import ENDINGS, MadeKind, made_folder
from controller.page.served import ServedEntry, ServedFolder, newest_first
from controller.picture_file import RAW

MOST_LOOKED_AT = 500  # entries of a folder, until a picture is found in it
DEEPEST = 3  # folders in folders, as cameras write them (DCF, CIPA DC-009: DCIM and one more. From memory)


class PicturesAsked(AskedOnPage):
    """A folder of pictures to inspect."""

    pictures: Annotated[str, Field(max_length=300)]


class CardAsked(PicturesAsked):
    """A folder of pictures to sort: by what (empty: only the table), as copies or as links."""

    by: Literal["", "frame", "row"] = ""
    link: bool = False


def report_arguments(folder: ServedFolder, session: ServedEntry) -> tuple[Path, list[str]]:
    """Where a report goes, and the command line that writes it."""
    out = _out(folder, session, MadeKind.REPORT)
    return out, ["report", f"--out={out}", "--json", "--", str(session.path)]


def card_arguments(folder: ServedFolder, session: ServedEntry, asked: CardAsked) -> tuple[Path, list[str]]:
    """Where the sorted card goes, and the command line that sorts it. Raises InputError."""
    out, pictures = _out(folder, session, MadeKind.CARD), _pictures(folder, asked.pictures)
    sort = [f"--sort={asked.by}", "--link" if asked.link else "--copy"] if asked.by else []
    return out, ["match", f"--out={out}", "--json", *sort, "--", str(session.path), str(pictures.path)]


def inspect_arguments(folder: ServedFolder, session: ServedEntry, asked: PicturesAsked) -> tuple[Path, list[str]]:
    """Where the inspection goes, and the command line that makes it. Raises InputError."""
    out, pictures = _out(folder, session, MadeKind.INSPECTION), _pictures(folder, asked.pictures)
    return out, ["inspect", f"--out={out}", "--json", "--", str(session.path), str(pictures.path)]


def picture_folders(folder: ServedFolder) -> list[str]:
    """The folders inside the folder that hold pictures and were not written by this program, the newest first."""
    found = [each for each in folder.folders() if made_folder(folder, each) is None and has_pictures(each.path)]
    return [each.name for each in newest_first(found)]


def has_pictures(folder: Path) -> bool:
    """Whether a picture is found by its name within the first entries of a folder and of those inside it."""
    looked_at = 0
    for root, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        if len(Path(root).relative_to(folder).parts) >= DEEPEST:
            folders.clear()
        if any(Path(name).suffix.lower() in PLAIN | RAW and not name.startswith(".") for name in names):
            return True
        looked_at += 1 + len(names)
        if looked_at > MOST_LOOKED_AT:
            return False
    return False


def _out(folder: ServedFolder, session: ServedEntry, kind: MadeKind) -> Path:
    return free_path(folder.root, f"{session.name.removesuffix(session.path.suffix)}-{ENDINGS[kind]}")


def _pictures(folder: ServedFolder, name: str) -> ServedEntry:
    found = folder.must_find(name, "folder of pictures")
    if not found.path.is_dir():
        raise InputError(f"{found.name} is a file. Choose a folder of pictures.")
    return found
