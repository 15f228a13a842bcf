"""Which tests reach which line, measured once with coverage, and how long each test takes."""

import json
import time
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import coverage
import pytest

from tests.mutants.running import NONE_RAN, Present, run_tests, status_of

LONGEST_S = 3600.0


@dataclass(frozen=True, slots=True)
class Cover:
    """The tests that reach each line of each file, and the seconds of each test.

    A line that runs during the import of a module has a test without a name among its tests.
    """

    seconds: dict[str, float]
    tests: dict[str, dict[int, list[str]]]

    def of(self, file: str, lines: Collection[int], near: Sequence[str] = ()) -> list[str]:
        """The tests that reach one of these lines, the quickest first; then the other tests in their files.

        A fixture shared by a file is seen only in the first test that uses it. Anything that runs during an import, such
        as a table or an enum, may matter to every test: then the tests in the paths `near` follow.
        """
        reached = self.tests.get(file, {})
        found = [test for line in lines for test in reached.get(line, ())]
        imported = "" in found
        if imported:
            found = [test for tests in reached.values() for test in tests]
        reaching = {test for test in found if test}
        files = {_file(test) for test in reaching}
        folders = tuple(f"{path}{mark}" for path in near for mark in ("/", "::")) if imported else ()
        others = {test for test in self.seconds if _file(test) in files or test.startswith(folders)} - reaching
        return [*self._quickest_first(reaching), *self._quickest_first(others)]

    def _quickest_first(self, tests: Collection[str]) -> list[str]:
        return sorted(tests, key=lambda test: (self.seconds[test], test))


def _file(test: str) -> str:
    return test.partition("::")[0]


class _Recorder:
    """A plugin for pytest that tells coverage which test runs."""

    def __init__(self, measuring: coverage.Coverage) -> None:
        self._measuring = measuring
        self.seconds: dict[str, float] = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Record each test, including its setup and teardown."""
        self._measuring.switch_context(item.nodeid)
        begin = time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = time.process_time() - begin
            self._measuring.switch_context("")


def cover_of(tree: Path, files: Collection[str], paths: Collection[str], kept: Path) -> Cover:
    """Run the tests under `paths` and record what they reach in `files`; the result is kept in the file `kept`.

    Raises RuntimeError if a test fails without any change.
    """
    status = status_of(partial(_measure, tree, files, paths, kept), LONGEST_S, 3 * LONGEST_S)
    if status:
        raise RuntimeError(f"The unchanged program fails its own tests (pytest ended with {status}).")
    return read(kept)


def read(kept: Path) -> Cover:
    """The result that an earlier run kept."""
    content = json.loads(kept.read_text(encoding="utf-8"))
    tests = {file: {int(line): found for line, found in lines.items()} for file, lines in content["tests"].items()}
    return Cover(content["seconds"], tests)


def prepare(tree: Path, cover: Cover) -> None:
    """Compile the program and its tests once.

    Raises RuntimeError if the tests are not those that were measured.
    """
    paths = sorted({_file(test) for test in cover.seconds})
    if (
        status_of(partial(run_tests, tree, paths, Present(cover.seconds), keep_bytecode=True), LONGEST_S, LONGEST_S)
        != NONE_RAN
    ):
        raise RuntimeError("The tests are not those that were measured: delete the file that --cover names.")


def _measure(tree: Path, files: Collection[str], paths: Collection[str], kept: Path) -> int:
    """Measure in a separate process; return pytest's status."""
    measuring = coverage.Coverage(data_file=None, include=[str(tree / file) for file in files], config_file=False)
    recorder = _Recorder(measuring)
    measuring.start()
    status = run_tests(tree, paths, recorder, keep_bytecode=True)
    measuring.stop()
    data = measuring.get_data()
    tests = {file: data.contexts_by_lineno(str(tree / file)) for file in files}
    kept.write_text(json.dumps({"seconds": recorder.seconds, "tests": tests}), encoding="utf-8")
    return status
