"""The tool for mutation testing: the changes that it makes, and that it notices them."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.mutants.changes import Change, changes_of
from tests.mutants.cover import Cover
from tests.mutants.judging import Outcome, error, score
from tests.mutants.running import ENDLESS, NONE_RAN, TOO_LONG, Chosen, changed, run_tests, status_of
from tests.mutants.sample import ROOT, all_changes, same_program, sample

SOURCE = b'''"""A docstring stays."""
LEAST = 3

def grade(points: int | None, best: int = 10) -> str:
    """So does this one."""
    if points is None or not points >= LEAST:
        raise ValueError(f"{points} of {best}")
    marks.append(points)
    return "good" if points * 2 > best else "fair"
'''


def found() -> list[Change]:
    return changes_of("grade.py", SOURCE)


def test_each_kind_of_change_is_found_once() -> None:
    assert [f"{change.line} {change.before} -> {change.after}" for change in found()] == [
        "2 3 -> (2)",
        "2 3 -> 4",
        "4 10 -> (9)",
        "4 10 -> 11",
        "6 points is None -> (points is not None)",
        "6 points is None or not points >= LEAST -> (points is None and (not points >= LEAST))",
        "6 not points >= LEAST -> (points >= LEAST)",
        "6 points >= LEAST -> (points > LEAST)",
        '7 raise ValueError(f"{points} of {best}") -> pass',
        "8 marks.append(points) -> pass",
        '9 return "good" if points * 2 > best else "fair" -> return None',
        "9 \"good\" -> 'good_x'",
        "9 \"good\" if points * 2 > best else \"fair\" -> ('fair' if points * 2 > best else 'good')",
        "9 points * 2 -> (points / 2)",
        "9 points * 2 > best -> (points * 2 >= best)",
        "9 2 -> (1)",
        "9 2 -> 3",
        "9 \"fair\" -> 'fair_x'",
    ]


def test_checks_of_what_cannot_be_are_left_alone() -> None:
    source = b"def pairs(one, other):\n    assert one > 3\n    show(zip(one, other, strict=True), wide=True)\n"
    changes = changes_of("pairs.py", source)
    assert {change.before for change in changes} == {"show(zip(one, other, strict=True), wide=True)", "True"}
    assert [change.column for change in changes if change.before == "True"] == [40]


def test_every_change_gives_another_program_that_can_be_read() -> None:
    whole = all_changes()
    assert len(whole) > 5000
    assert len({change.key for change in whole}) > 0.99 * len(whole)  # all but repeated lines of a function
    for change in whole[::200]:
        source = (ROOT / change.file).read_bytes()
        assert ast.dump(ast.parse(change.applied(source))) != ast.dump(ast.parse(source))


def test_the_sample_stays_the_same_where_the_program_does() -> None:
    drawn = sample(50, 1)
    assert drawn == sample(50, 1) != sample(50, 2)
    assert {change.key for change in drawn} < {change.key for change in sample(60, 1)}
    assert {change.file.rpartition("/")[0] for change in sample(20, 1, "protocol")} == {"protocol"}


def test_what_is_left_out_is_there_and_says_why() -> None:
    """A row whose line has changed since must be judged again."""
    there = {change.key for change in all_changes()}
    assert len(same_program()) > 60  # including whole lines of numbers
    for key, reason in same_program().items():
        assert key in there
        assert reason.endswith(".")
    assert not {change.key for change in sample(10**6, 1)} & set(same_program())


def test_the_tests_of_a_line_are_those_that_reach_it_and_then_the_others_in_their_files() -> None:
    """A fixture shared by a file is seen only in one of its tests."""
    seconds = {"t/a.py::slow": 2.0, "t/a.py::quick": 0.1, "t/b.py::other": 1.0, "u/c.py::far": 0.5}
    cover = Cover(seconds, {"a.py": {1: [""], 2: ["t/a.py::slow"], 5: ["t/b.py::other"]}, "b.py": {1: [""]}})
    assert cover.of("a.py", (2,)) == ["t/a.py::slow", "t/a.py::quick"]
    assert cover.of("a.py", (3, 4)) == cover.of("c.py", (1,)) == []
    # Code that runs during an import may matter to every test nearby, even in a module with nothing else.
    assert cover.of("a.py", (1,), ["t"]) == ["t/b.py::other", "t/a.py::slow", "t/a.py::quick"]
    assert cover.of("b.py", (1,), ["t/a.py", "u"]) == ["t/a.py::quick", "u/c.py::far", "t/a.py::slow"]


@pytest.mark.parametrize("status", [0, 1, 5])
def test_the_status_of_a_process_is_told(status: int) -> None:
    assert status_of(lambda: status, 5, 30) == status


def test_an_endless_program_is_ended() -> None:
    def forever() -> int:
        while True:
            pass

    assert status_of(forever, 0, 30) == ENDLESS


def test_tests_run_alone_and_one_that_takes_too_long_ends_the_process(tmp_path: Path) -> None:
    """In a tree of three tests, one ends, one does not, and one stands for a case that the change renamed."""
    (tmp_path / "tests").mkdir()
    lines = (
        "import os, pytest",
        "def test_ends(): pass",
        "def test_does_not():",
        "    while True: pass",
        "@pytest.mark.parametrize('case', ['same', 'new'])",
        "def test_cases(case): os._exit(7)",
    )
    (tmp_path / "tests" / "test_it.py").write_text("\n".join(lines))
    ends, never, same, old = (
        f"tests/test_it.py::test_{name}" for name in ("ends", "does_not", "cases[same]", "cases[old]")
    )

    def status(*tests: str) -> int:
        longest_s = dict.fromkeys(tests, 2.0)  # of a process with a large heap, too
        plugin = Chosen(longest_s, {ends, never, same, old})
        return status_of(lambda: run_tests(tmp_path, ["tests/test_it.py"], plugin), 20, 100)

    assert status(ends) == 0
    assert status(ends, never) == TOO_LONG
    assert status(ends, old) == 7  # the case has another name now
    assert status("tests/test_it.py::test_gone") == NONE_RAN


def test_a_file_is_put_back(tmp_path: Path) -> None:
    path = tmp_path / "a.py"
    path.write_bytes(b"before")
    with changed(path, b"after"):
        assert path.read_bytes() == b"after"
    assert path.read_bytes() == b"before"


def test_what_no_test_reaches_counts_as_unnoticed() -> None:
    outcomes = [Outcome.KILLED, Outcome.TIMED_OUT, Outcome.SURVIVED, Outcome.UNREACHED]
    assert score(outcomes) == 0.5
    assert error(outcomes) == 0.25  # sqrt(p (1 - p) / n)
    assert error(outcomes * 25) == 0.05
