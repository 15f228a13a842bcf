"""Names that the program gives by itself, so that nobody must type one in the cold.

A session is named by its day, its place if that is given, and a number: `2026-06-21-ledge-3.sqlite`.
"""

import re
import unicodedata
from dataclasses import dataclass
from datetime import date
from pathlib import Path

SESSION, PLAN, KIT = ".sqlite", ".json", ".toml"
LONGEST_PLACE = 40  # characters: the name stays readable on a phone
LONGEST_PLACE_BYTES = 120
NAMED = re.compile(
    r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})(?:-(?P<place>.+?))??-(?P<number>[1-9][0-9]{0,5})(?:-(?P<part>[0-9]{1,6}))?"
)
"""The name of a session. A place never ends with a number of its own (`place_word`), so it is the shortest that fits."""


@dataclass(frozen=True, slots=True)
class SessionName:
    """What the name of a session says. `place` is its word, empty if none was given; `part` is its number in a series."""

    day: date
    place: str
    number: int
    part: int | None = None

    @property
    def stem(self) -> str:
        """The name without suffix and part."""
        return f"{_stem(self.day, self.place)}-{self.number}"


def named(path: Path) -> SessionName | None:
    """What the name of a session says; None if the program did not give it. The inverse of `session_path`."""
    found = NAMED.fullmatch(path.stem) if path.suffix == SESSION else None
    if found is None:
        return None
    place, part = found["place"] or "", found["part"]
    try:
        day = date.fromisoformat(found["day"])
    except ValueError:
        return None
    if place != place_word(place):
        return None
    return SessionName(day, place, int(found["number"]), None if part is None else int(part))


def session_path(folder: Path, day: date, place: str = "") -> Path:
    """A free name in `folder` for a session of this day and place, one after the highest number there.

    A series of sessions (`NAME-1`, `NAME-2`) counts by the name that its members have in common.
    """
    stem = _stem(day, place_word(place))
    of_stem = re.compile(re.escape(stem) + r"-([0-9]{1,6})(?:-[0-9]+)?" + re.escape(SESSION))
    numbers = [int(found[1]) for name in _names(folder) if (found := of_stem.fullmatch(name))]
    return folder / f"{stem}-{max(numbers, default=0) + 1}{SESSION}"


def _stem(day: date, place: str) -> str:
    return "-".join(part for part in (day.isoformat(), place) if part)


def place_word(place: str) -> str:
    """The place as a part of a name: letters and digits of any script, in lower case; all else becomes a hyphen.

    A number at its end joins the word before it (`ledge3`), and a number alone gets one (`place3`): in the name, a number
    after a hyphen is the session's own.
    """
    text = unicodedata.normalize("NFC", place).casefold()
    word = re.sub(r"[\W_]+", "-", text).strip("-")[:LONGEST_PLACE]
    while len(word.encode()) > LONGEST_PLACE_BYTES:
        word = word[:-1]
    word = re.sub(r"-(?=[0-9-]*$)", "", word)
    return f"place{word}"[:LONGEST_PLACE] if re.fullmatch("[0-9]+", word) else word


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
