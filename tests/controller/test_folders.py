"""Folders that appear whole or not at all, and the leftovers of a killed run."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.errors import StorageFailed
from controller.folders import MARKER, appearing_folder, make_inner_folder, remove_unfinished, unfinished_near

KILLED = """
import os, signal, sys
from pathlib import Path
from controller.folders import appearing_folder
with appearing_folder(Path(sys.argv[1])) as folder:
    (folder / "picture.jpg").write_bytes(bytes(1000))
    {end}
"""
KILL, WAIT = "os.kill(os.getpid(), signal.SIGKILL)", "print('here', flush=True); sys.stdin.read()"


def names(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


@pytest.mark.parametrize("there", [False, True])
def test_it_appears_with_all_that_was_written(tmp_path: Path, there: bool) -> None:
    out = tmp_path / "a" / "out"
    if there:
        out.mkdir(parents=True)
    with appearing_folder(out) as folder:
        (folder / "one").write_text("1")
        make_inner_folder(folder / "pictures" / "row")
        (folder / "pictures" / "row" / "two").write_text("2")
        assert not there or not any(path.name == "one" for path in out.iterdir())
    assert names(tmp_path) == [
        "a", "a/out", "a/out/one", "a/out/pictures", "a/out/pictures/row", "a/out/pictures/row/two",
    ]  # fmt: skip


@pytest.mark.parametrize("there", [False, True])
@pytest.mark.parametrize("error", [OSError(28, "full"), StorageFailed("x"), KeyboardInterrupt()])
def test_a_failure_leaves_nothing_behind(tmp_path: Path, there: bool, error: BaseException) -> None:
    out = tmp_path / "a" / "out"
    if there:
        out.mkdir(parents=True)
    before = names(tmp_path)

    def fail() -> None:
        with appearing_folder(out) as folder:
            (folder / "one").write_text("1")
            raise error

    with pytest.raises(type(error)):
        fail()
    assert names(tmp_path) == before


def test_what_somebody_puts_there_meanwhile_is_kept(tmp_path: Path) -> None:
    out = tmp_path / "out"

    def race() -> None:
        with appearing_folder(out) as folder:
            (folder / "one").write_text("1")
            out.mkdir()
            (out / "mine").write_text("mine")

    with pytest.raises(StorageFailed, match="not empty"):
        race()
    assert names(tmp_path) == ["out", "out/mine"]


def test_only_its_own_files_give_way(tmp_path: Path) -> None:
    out = tmp_path / "out"
    ours: dict[str, Callable[[Path], bool]] = {name: lambda path: path.read_text() == "old" for name in ("one", "two")}
    out.mkdir()
    (out / "one").write_text("old")
    (out / "mine").write_text("mine")
    with appearing_folder(out, replace=True, ours=ours) as folder:
        (folder / "one").write_text("new")
        (folder / "two").write_text("new")
    assert {path.name: path.read_text() for path in out.iterdir()} == {"one": "new", "two": "new", "mine": "mine"}


@pytest.mark.parametrize("there", [False, True])
def test_what_a_killed_run_left_is_found_and_goes_only_when_told_to(tmp_path: Path, there: bool) -> None:
    out = tmp_path / "out"
    if there:
        out.mkdir()
    done = subprocess.run([sys.executable, "-c", KILLED.format(end=KILL), str(out)], check=False, timeout=60)
    assert done.returncode == -signal.SIGKILL
    assert out.exists() == there
    (left,) = unfinished_near(out)
    assert left.size_bytes >= 1000
    with appearing_folder(out) as folder:  # it is in nobody's way
        (folder / "one").write_text("1")
    assert unfinished_near(out) == [left]
    assert (left.path / "unfinished" / "picture.jpg").exists()
    remove_unfinished(left)
    assert names(tmp_path) == ["out", "out/one"]


def test_what_a_living_run_writes_is_not_offered(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with subprocess.Popen(
        [sys.executable, "-c", KILLED.format(end=WAIT), str(out)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == b"here\n"
        assert any(name.endswith(MARKER) for name in names(tmp_path))
        assert unfinished_near(out) == []
        run.communicate(timeout=60)
    assert names(tmp_path) == ["out", "out/picture.jpg"]


def test_a_folder_that_others_made_is_never_offered(tmp_path: Path) -> None:
    """Neither by its name alone, nor by a false marker, nor through a link."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / MARKER).write_text('{"format": "fullturn-unfinished", "of": "out"}')
    for number, marker in enumerate((None, "", "{}", "[]", "\xff", '{"format": "other"}', "[" * 99_999)):
        folder = tmp_path / f".fullturn-1-{number}.part"
        folder.mkdir()
        if marker is not None:
            (folder / MARKER).write_text(marker, encoding="latin-1")
    (tmp_path / ".fullturn-2-0.part").symlink_to(elsewhere)
    (tmp_path / ".fullturn-2-1.part").mkdir()
    (tmp_path / ".fullturn-2-1.part" / MARKER).symlink_to(elsewhere / MARKER)
    os.mkfifo(tmp_path / ".fullturn-2-2.part")
    (tmp_path / "fullturn-3-0.part").mkdir()
    (tmp_path / "fullturn-3-0.part" / MARKER).write_text((elsewhere / MARKER).read_text())
    assert unfinished_near(tmp_path / "out") == []
