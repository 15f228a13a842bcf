"""Running tests in a separate process, on a copy of the program."""

import contextlib
import importlib
import os
import resource
import shutil
import signal
import sys
import time
from collections.abc import Callable, Collection, Container, Iterator, Mapping
from pathlib import Path

import pytest

from tests.mutants.sample import NOT_RUN, ROOT

OURS = ("controller", "protocol", "sim", "tests", "locks")
LOADED_ONCE = ("hypothesis", "numpy", "scipy.optimize", "scipy.spatial", "pydantic", "transitions", "click", "PIL.Image")
"""Packages that most tests import; each process starts with them loaded."""

MEMORY_BYTES = 4 << 30
LATER_NS = 10_000_000_000  # bytecode stores its source's time in whole seconds
NONE_RAN = 5  # pytest's status if no test ran
ENDLESS = -signal.SIGKILL  # the status of a process that took too long
TOO_LONG = -signal.SIGPROF  # the status if one test took too long


def copy_of_the_tree(folder: Path) -> Path:
    """A copy of everything that the tests need, in `folder`."""
    for name in OURS:
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md", "CREDITS.md", "start.py"):
        shutil.copy(ROOT / name, folder / name)
    return folder


class Chosen:
    """A plugin for pytest: run only these tests, in this order, and end the process if one takes too long.

    `longest_s` is the limit of each test, in seconds of CPU time; `known` are all tests of the unchanged program. A case
    that is not known belongs to its test: cases are often named after the program's sentences, which a change may alter.
    """

    def __init__(self, longest_s: Mapping[str, float], known: Container[str]) -> None:
        self._longest_s, self._known = longest_s, known
        self._rank = {test: rank for rank, test in enumerate(longest_s)}
        self._sibling = {_whole(test): test for test in longest_s}

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        """Begin to count."""
        signal.setitimer(signal.ITIMER_PROF, self._longest_s[self._chosen(item.nodeid)])

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Select and sort."""
        chosen = [one for one in items if self._chosen(one.nodeid) in self._rank]
        items[:] = sorted(chosen, key=lambda one: self._rank[self._chosen(one.nodeid)])

    def _chosen(self, test: str) -> str:
        return test if test in self._known else self._sibling.get(_whole(test), test)


def _whole(test: str) -> str:
    """The name of a test without its case."""
    return test.partition("[")[0]


class Present:
    """A plugin for pytest that runs nothing; it raises LookupError if one of these tests is missing."""

    def __init__(self, tests: Collection[str]) -> None:
        self._tests = set(tests)

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Check, and remove all tests."""
        missing = self._tests - {one.nodeid for one in items}
        if missing:
            raise LookupError(f"No such test: {min(missing)}")
        items.clear()


def run_tests(tree: Path, paths: Collection[str], plugin: object, *, keep_bytecode: bool = False) -> int:
    """Run the tests under `paths` in this process until one fails; return pytest's status.

    `keep_bytecode` saves later runs from compiling unchanged files; never use it with a change in the tree.
    """
    os.chdir(tree)
    sys.path[:] = [str(tree), *(entry for entry in sys.path if Path(entry or ".").resolve() != ROOT)]
    for name in [name for name in sys.modules if name.split(".")[0] in OURS]:
        del sys.modules[name]
    importlib.invalidate_caches()
    sys.dont_write_bytecode = not keep_bytecode
    options = ["-x", "-q", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning"]  # already loaded
    return int(pytest.main([*options, *(f"--ignore={path}" for path in NOT_RUN), *paths], [plugin]))


def status_of(work: Callable[[], int], cpu_s: float, elapsed_s: float) -> int:
    """Do `work` in a silent forked process; return its status, ENDLESS if it took too long.

    It is killed after `cpu_s` seconds of CPU time, or after `elapsed_s` in case it waits forever.
    """
    most_bytes = _address_space_bytes() + MEMORY_BYTES
    child = os.fork()
    if child == 0:
        status = 1
        try:
            os.setsid()  # so that its children end with it
            resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s) + 1, int(cpu_s) + 1))
            resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
            quiet = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(quiet, stream)
            status = work()
        finally:
            os._exit(status)
    status = _wait(child, elapsed_s)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)
    return status


def _address_space_bytes() -> int:
    """What this process occupies already, 0 where the system does not say."""
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    except OSError:
        return 0


def _wait(child: int, elapsed_s: float) -> int:
    """The status of a child, which is killed at the end of its time."""
    end = time.monotonic() + elapsed_s
    while time.monotonic() < end:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@contextlib.contextmanager
def changed(path: Path, content: bytes) -> Iterator[None]:
    """Give the file this content and a later time meanwhile, so that old bytecode is not used for it."""
    before, at = path.read_bytes(), path.stat()
    path.write_bytes(content)
    os.utime(path, ns=(at.st_atime_ns, at.st_mtime_ns + LATER_NS))
    try:
        yield
    finally:
        path.write_bytes(before)
        os.utime(path, ns=(at.st_atime_ns, at.st_mtime_ns))


def load_once() -> None:
    """Import what every process needs."""
    for name in LOADED_ONCE:
        importlib.import_module(name)
