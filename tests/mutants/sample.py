"""The changes to make: a sample that stays the same where the program does."""

import hashlib
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from tests.mutants.changes import Change, changes_of

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = {
    "controller/capture": (
        "tests/controller/capture",
        "tests/controller/commands/test_jog.py",
        "tests/controller/commands/test_tell.py",
        "tests/controller/page/test_pad_talk.py",
        "tests/end_to_end/test_lying_board.py",
        "tests/end_to_end/test_questions.py",
        "tests/end_to_end/test_words_before_steps.py",
    ),
    "controller/session": ("tests/controller/session",),
    "controller/program": ("tests/controller/program",),
    "controller/matching": (
        "tests/controller/matching",
        "tests/controller/commands/test_match.py",
        "tests/controller/commands/test_match_cards.py",
    ),
    "protocol": ("tests/protocol",),
}
"""The modules that are changed, and the tests that should notice: those of their folder, whole runs for a run, and the
command for a card.
"""

NOT_RUN = (
    "tests/protocol/board",  # the firmware in C, which is not changed here
    "tests/protocol/test_wrong_bits.py",  # millions of frames: minutes under coverage
)


@cache
def all_changes() -> tuple[Change, ...]:
    """Every change to every module of the packages."""
    files = [path for package in PACKAGES for path in sorted((ROOT / package).glob("*.py"))]
    return tuple(one for path in files for one in changes_of(path.relative_to(ROOT).as_posix(), path.read_bytes()))


def same_program() -> dict[tuple[str, str, str, int, str], str]:
    """The changes that make no difference, and why."""
    rows = tomllib.loads((Path(__file__).parent / "same_program.toml").read_text(encoding="utf-8"))["same"]
    found: dict[tuple[str, str, str, int, str], str] = {}
    for row in rows:
        if "change" in row:
            found[(row["file"], row["where"], row["line"], row["column"], row["change"])] = row["reason"]
        else:
            found |= {change.key: row["reason"] for change in _numbers_in(row["file"], row["where"], row["line"])}
    return found


def _numbers_in(file: str, where: str, text: str) -> Iterator[Change]:
    """All changes of a number in a line."""
    for change in all_changes():
        if (change.file, change.where, change.text) == (file, where, text) and change.before.isdecimal():
            yield change


def sample(count: int, seed: int, only: str = "") -> list[Change]:
    """`count` changes in files whose path begins with `only`, without those that make no difference.

    Each change is drawn by its own digest, so a new function changes the sample only by its own changes.
    """
    left_out = same_program()
    eligible = [one for one in all_changes() if one.key not in left_out and one.file.startswith(only)]
    drawn = sorted(eligible, key=lambda change: hashlib.sha256(f"{seed} {change.key}".encode()).digest())[:count]
    return sorted(drawn, key=lambda change: (change.file, change.start, change.after))
