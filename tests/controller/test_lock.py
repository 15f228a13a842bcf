"""One program at a time, also after one was killed."""

import subprocess
import sys
from pathlib import Path

import pytest

from controller.errors import StorageFailed
from controller.lock import Taken, in_use, lock_of, sole_use

HOLD = """
import sys
from pathlib import Path
from controller.lock import sole_use
with sole_use(Path(sys.argv[1]), "It", "fullturn capture"):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_the_second_is_refused_with_the_first_ones_process_and_a_killed_one_lets_go(tmp_path: Path) -> None:
    path = tmp_path / "a.lock"
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as first:
        assert first.stdout is not None
        assert first.stdout.readline() == "held\n"
        with (
            pytest.raises(Taken, match=rf"It is in use by process {first.pid} \(fullturn capture\)"),
            sole_use(path, "It", "us"),
        ):
            pass
        first.kill()
        first.wait()
        with sole_use(path, "It", "us"):
            pass


def test_whether_somebody_runs_a_session(tmp_path: Path) -> None:
    session = tmp_path / "s.sqlite"
    assert not in_use(session)
    with sole_use(lock_of(session), "s", "us"):
        assert in_use(session)
    assert not in_use(session)


def test_two_names_of_one_file_have_one_lock(tmp_path: Path) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.touch()
    link.symlink_to(real)
    assert lock_of(real) == lock_of(link) == lock_of(str(link))
    assert lock_of("socket://here:7000") != lock_of("socket://here:7001")


def test_a_lock_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(StorageFailed, match="cannot be made"), sole_use(tmp_path / "file" / "a.lock", "It", "us"):
        pass
