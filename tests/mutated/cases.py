"""Cases: one file or one command line damaged, and the result."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from random import Random

from tests.mutated.command_lines import spoilt_words
from tests.mutated.judging import Verdict, copy_of, judge
from tests.mutated.subjects import SUBJECTS

Case = Callable[[Path, int], Verdict]


def spoilt_file(corpus: Path, seed: int) -> Verdict:
    """One case: a fresh copy of the corpus with one file damaged, and a command that reads it."""
    chance = Random(seed)
    subject = chance.choice(SUBJECTS)
    with copy_of(corpus) as folder:
        subject.spoil(folder / subject.file, chance)
        return judge(chance.choice(subject.commands), folder)


def spoilt_options(corpus: Path, seed: int) -> Verdict:
    """One case: a command with its own options and values of any kind."""
    with copy_of(corpus) as folder:
        return judge(spoilt_words(Random(seed)), folder)


CASES: dict[str, Case] = {"files": spoilt_file, "options": spoilt_options}
"""The kinds of case by name."""
