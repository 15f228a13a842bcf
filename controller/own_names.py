"""Names that the program gives by itself, so that nobody must type one in the cold.

A session is named by its day, its place if that is given, and a number: `2026-06-21-ledge-3.sqlite`.
"""

import re
import unicodedata
from datetime import date
from pathlib import Path

SESSION, PLAN = ".sqlite", ".json"
LONGEST_PLACE = 40  # characters: the name stays readable on a phone
LONGEST_PLACE_BYTES = 120


def session_path(folder: Path, day: date, place: str = "") -> Path:
    """A free name in `folder` for a session of this day and place, one after the highest number there.

    A series of sessions (`NAME-1`, `NAME-2`) counts by the name that its members have in common.
    """
    stem = "-".join(part for part in (day.isoformat(), place_word(place)) if part)
    named = re.compile(re.escape(stem) + r"-([0-9]{1,6})(?:-[0-9]+)?" + re.escape(SESSION))
    numbers = [int(found[1]) for name in _names(folder) if (found := named.fullmatch(name))]
    return folder / f"{stem}-{max(numbers, default=0) + 1}{SESSION}"


def place_word(place: str) -> str:
    """The place as a part of a name: letters and digits of any script, in lower case; all else becomes a hyphen."""
    text = unicodedata.normalize("NFC", place).casefold()
    word = re.sub(r"[\W_]+", "-", text).strip("-")[:LONGEST_PLACE]
    while len(word.encode()) > LONGEST_PLACE_BYTES:
        word = word[:-1]
    return word.strip("-")


def free_path(folder: Path, stem: str, suffix: str = "") -> Path:
    """`stem` with `suffix` in `folder`; with -2, -3 and so on if that exists already."""
    taken, number, path = _names(folder), 1, folder / f"{stem}{suffix}"
    while path.name.casefold() in {name.casefold() for name in taken}:
        number += 1
        path = folder / f"{stem}-{number}{suffix}"
    return path


def _names(folder: Path) -> list[str]:
    try:
        return [entry.name for entry in folder.iterdir()]
    except OSError:
        return []  # whether anything can be written there is found out when it is written
