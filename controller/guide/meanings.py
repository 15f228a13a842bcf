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
    for meaning in sorted(all_meanings(), key=lambda each: -each.literal):
        found = _pattern(meaning.says).search(text) if meaning.literal >= LEAST_LITERAL else None
        if found and not any(start <= found.start() and found.end() <= end for start, end in taken):
            taken.append(found.span())
            yield meaning


@cache
def _pattern(says: str) -> re.Pattern[str]:
    pieces = says.strip(FILLED).strip().split(FILLED)
    return re.compile(".*?".join(re.escape(piece) for piece in pieces), re.IGNORECASE)


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
