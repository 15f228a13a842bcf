"""One program at a time, also after one was killed, and whoever runs it."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from controller import clock, lock
from controller.errors import StorageFailed
from controller.lock import Taken, in_use, lock_of, sole_use

LINUX = sys.platform == "linux"
HOLD = """
import sys
from controller import lock
if sys.argv[2] == "file":
    lock._hold = lock._hold_file
with lock.sole_use(sys.argv[1], "It", "fullturn capture"):
    print("held", flush=True)
    sys.stdin.read()
"""
WAYS = ["file", pytest.param("name", marks=pytest.mark.skipif(not LINUX, reason="abstract names are Linux's"))]


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    """Each way to hold a lock; files in a folder of the test's own."""
    monkeypatch.setattr(lock, "_hold", getattr(lock, f"_hold_{request.param}"))
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", None)
    way: str = request.param
    return way


@contextmanager
def holder(name: str, way: str, **environment: str) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the lock."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, name, way],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | environment,
    ) as first:
        try:
            assert first.stdout is not None
            assert first.stdout.readline() == "held\n"
            yield first
        finally:
            first.kill()


def test_the_second_is_refused_with_the_first_ones_process_and_a_killed_one_lets_go(way: str, tmp_path: Path) -> None:
    name = lock_of(tmp_path / "a")
    with holder(name, way) as first:
        with (
            pytest.raises(Taken, match=rf"It is in use by process {first.pid} \(fullturn capture\)"),
            sole_use(name, "It", "us"),
        ):
            pass
        first.kill()
        first.wait()
        with sole_use(name, "It", "us"):
            pass


def test_whether_somebody_runs_a_session(way: str, tmp_path: Path) -> None:
    session = tmp_path / f"{way}.sqlite"
    assert not in_use(session)
    with sole_use(lock_of(session), "s", "us"):
        assert in_use(session)
    assert not in_use(session)


def test_a_look_does_not_keep_a_run_from_beginning(way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    name = lock_of(tmp_path / way)
    look = ExitStack()
    look.enter_context(lock._hold(name, None))
    monkeypatch.setattr(clock, "wait_ns", lambda _: look.close())  # the look is over while the run waits
    with sole_use(name, "s", "us"):
        pass


def test_two_names_of_one_file_have_one_lock(tmp_path: Path) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.touch()
    link.symlink_to(real)
    assert lock_of(real) == lock_of(link) == lock_of(str(link))
    assert lock_of("socket://here:7000") != lock_of("socket://here:7001")


@pytest.mark.skipif(not LINUX, reason="abstract names are Linux's")
def test_no_file_can_shut_anybody_out_and_no_folder_is_needed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another user sees other folders, or none that can be written: the lock is the same one."""
    name = lock_of(tmp_path / "a")
    nowhere = str(tmp_path / "file")
    (tmp_path / "file").touch()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with (
        holder(name, "name", TMPDIR=nowhere, HOME=nowhere, XDG_RUNTIME_DIR=nowhere),
        pytest.raises(Taken),
        sole_use(name, "It", "us"),
    ):
        pass
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_lock_that_cannot_be_had_is_told_in_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setattr(lock, "_hold", lock._hold_file)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "file"))
    with pytest.raises(StorageFailed, match="It cannot be locked against other programs"), sole_use("a", "It", "us"):
        pass
    with pytest.raises(StorageFailed, match="cannot be found out"):
        in_use(tmp_path / "s.sqlite")
