"""What each sentence of the program means, and what to do: the tables under sentences/, one for each room.

A sentence is written there as in the code, with “…” for what the program fills in while it runs.
"""

import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent / "sentences"
FILLED = "…"
LEAST_LITERAL = 8  # fewer characters of its own fit almost any text
LONGEST_ASKED = 4000  # characters; the rest of a longer text is not looked at
LEAST_SHARE = 0.6  # of the words asked for, which a sentence must have to count as found
WORD = re.compile(r"\w+")


class Kind(StrEnum):
    """What a sentence is for."""

    ERROR = "error"
    WARNING = "warning"
    QUESTION = "question"
    ANNOUNCEMENT = "announcement"
    STATE = "state"
    RESULT = "result"
    NOTE = "note"


NEEDS_DOING = frozenset({Kind.ERROR, Kind.WARNING, Kind.QUESTION})


@dataclass(frozen=True, slots=True)
class Meaning:
    """A sentence as in the code, what it means, what to do (empty if nothing need be done), and its room."""

    says: str
    kind: Kind
    means: str
    do: str
    room: str

    @property
    def literal(self) -> int:
        """How many characters of the sentence are its own, not filled in."""
        return len(self.says.replace(FILLED, ""))


@cache
def all_meanings() -> tuple[Meaning, ...]:
    """Every entry of the tables, by room, in the order of each table."""
    return tuple(each for path in sorted(FOLDER.glob("*.toml")) for each in _entries(path))


def _entries(path: Path) -> Iterator[Meaning]:
    for row in tomllib.loads(path.read_text(encoding="utf-8"))["sentence"]:
        yield Meaning(row["says"], Kind(row["kind"]), row["means"], row.get("do", ""), path.stem)


def meanings_of(words: str) -> tuple[Meaning, ...]:
    """The entries that fit what the program printed, or else those that have these words; the best come first.

    Several sentences may be printed together, broken across lines anywhere. Empty if nothing fits.
    """
    text = " ".join(words[:LONGEST_ASKED].split())
    return tuple(_fitting(text)) or tuple(_sharing(text))


def _fitting(text: str) -> Iterator[Meaning]:
    """The entries whose pattern is in the text, the most literal first, without those inside a better one."""
    taken: list[tuple[int, int]] = []
    folded = text.casefold()
    for meaning in sorted(all_meanings(), key=lambda each: -each.literal):
        found = _found(_pieces(meaning.says), folded) if meaning.literal >= LEAST_LITERAL else None
        if found and not any(start <= found[0] and found[1] <= end for start, end in taken):
            taken.append(found)
            yield meaning


@cache
def _pieces(says: str) -> tuple[str, ...]:
    return tuple(piece.casefold() for piece in says.strip(FILLED).strip().split(FILLED))


def _found(pieces: Iterable[str], text: str) -> tuple[int, int] | None:
    """Where these pieces are in the text in this order, with anything between; None if they are not.

    Each is taken where it comes first, which finds them if they are there. A regular expression would try all ways.
    """
    start, end = -1, 0
    for piece in pieces:
        at = text.find(piece, end)
        if at < 0:
            return None
        start, end = (at if start < 0 else start), at + len(piece)
    return start, end


def _sharing(text: str) -> list[Meaning]:
    """The entries that share most words with the text, if they share enough of them."""
    asked = _words([text])
    if not asked:
        return []
    shares = {each: len(asked & _words([each.says, each.means])) / len(asked) for each in all_meanings()}
    best = max(shares.values(), default=0.0)
    return [each for each, share in shares.items() if share == best >= LEAST_SHARE]


def _words(texts: Iterable[str]) -> set[str]:
    return {word for text in texts for word in WORD.findall(text.casefold())}
