"""Whether the tests notice a change."""

import math
from collections.abc import Collection, Iterator, Sequence
from enum import StrEnum
from functools import partial
from itertools import accumulate
from pathlib import Path

from tests.mutants.changes import Change
from tests.mutants.cover import Cover, cover_of, prepare, read
from tests.mutants.running import (
    ENDLESS,
    NONE_RAN,
    TOO_LONG,
    Chosen,
    changed,
    copy_of_the_tree,
    load_once,
    run_tests,
    status_of,
)
from tests.mutants.sample import PACKAGES

SPARE_S = 20.0  # seconds allowed for imports
SPARE_OF_A_TEST_S = 2.0
TIMES = 4  # how many times slower a changed program may be before it counts as endless
MOST_S = 20.0  # the most seconds of tests for one change, quickest first; slower tests are not run
FIRST_S = 1.0  # tests that together take less than this go first, alone: they notice most changes


class Outcome(StrEnum):
    """The result of a change."""

    KILLED = "killed"
    TIMED_OUT = "timed out"
    SURVIVED = "survived"
    UNREACHED = "unreached"  # no test runs the line


def judge(changes: Sequence[Change], folder: Path, kept: Path | None = None) -> Iterator[tuple[Change, Outcome]]:
    """Make each change in a copy of the program in `folder`, and run the tests that reach it.

    `kept` is the file that keeps which tests reach what, see `cover`.
    """
    load_once()
    tree = folder / "tree"
    tree.mkdir()
    copy_of_the_tree(tree)
    if kept is not None and kept.exists():
        cover = read(kept)
        prepare(tree, cover)
    else:
        packages = [package for package in PACKAGES if any(_is_in(change, package) for change in changes)]
        files = [path.relative_to(tree).as_posix() for package in packages for path in (tree / package).glob("*.py")]
        paths = [path for package in packages for path in PACKAGES[package]]
        cover = cover_of(tree, files, paths, kept or folder / "cover.json")
    for change in changes:
        yield change, _outcome(change, tree, cover)


def score(outcomes: Collection[Outcome]) -> float:
    """The share of changes that were noticed."""
    return sum(one in {Outcome.KILLED, Outcome.TIMED_OUT} for one in outcomes) / max(1, len(outcomes))


def error(outcomes: Collection[Outcome]) -> float:
    """The standard error of the score, for changes drawn from many (binomial distribution)."""
    share = score(outcomes)
    return math.sqrt(share * (1 - share) / max(1, len(outcomes)))


def _is_in(change: Change, package: str) -> bool:
    return change.file.rpartition("/")[0] == package


def _outcome(change: Change, tree: Path, cover: Cover) -> Outcome:
    """The outcome of one change."""
    tests = cover.of(change.file, change.lines, PACKAGES[change.file.rpartition("/")[0]])
    if not tests:
        return Outcome.UNREACHED
    path = tree / change.file
    with changed(path, change.applied(path.read_bytes())):
        for batch in _batches(tests, cover):
            paths = sorted({test.partition("::")[0] for test in batch})
            longest_s = {test: SPARE_OF_A_TEST_S + TIMES * cover.seconds[test] for test in batch}
            cpu_s = SPARE_S + TIMES * sum(cover.seconds[test] for test in batch)
            status = status_of(partial(run_tests, tree, paths, Chosen(longest_s, cover.seconds)), cpu_s, TIMES * cpu_s)
            if status not in {0, NONE_RAN}:
                return Outcome.TIMED_OUT if status in {ENDLESS, TOO_LONG} else Outcome.KILLED
    return Outcome.SURVIVED


def _batches(tests: Sequence[str], cover: Cover) -> list[Sequence[str]]:
    """The quickest tests, then others, so that most changes do not need the others' files."""
    taken_s = list(accumulate(cover.seconds[test] for test in tests))
    first, last = (sum(until_s <= bound_s for until_s in taken_s) for bound_s in (FIRST_S, MOST_S))
    return [batch for batch in (tests[:first], tests[first : max(1, last)]) if batch]
