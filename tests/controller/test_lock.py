"""One program at a time, also after one was killed, whoever runs it."""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from controller import clock, lock, lock_file
from controller.errors import StorageFailed
from controller.lock import Taken, in_use, lock_of, sole_use
from controller.lock_file import LONGEST, words_of_holder
from controller.system.chosen import locks

LINUX = sys.platform == "linux"
HOLD = """
import contextlib, os, sys
with contextlib.suppress(ImportError):
    import fcntl  # before it is another user, who may not read where Python is
from pathlib import Path
from controller import lock, lock_file
name, way, shared, user = sys.argv[1:]
os.umask(0o077)
if user:
    os.setgid(int(user))
    os.setuid(int(user))
if way == "file":
    lock._hold = lock._hold_file
    lock_file.SHARED = Path(shared)
of = lock.lock_of(Path(name) if name.startswith("/") else name)
with lock.sole_use(of, "It", "fullturn capture"):
    print("held", flush=True)
    sys.stdin.read()
"""
WAYS = ["file", pytest.param("name", marks=pytest.mark.skipif(not LINUX, reason="abstract names are Linux's"))]


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    """Each kind of lock; files are in a folder of the test's own."""
    monkeypatch.setattr(lock, "_hold", getattr(lock, f"_hold_{request.param}"))
    monkeypatch.setattr(lock_file, "SHARED", tmp_path / "locks")
    way: str = request.param
    return way


@contextmanager
def holder(name: Path | str, way: str, user: str = "", **environment: str) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the lock of a session (a Path) or a port, as another `user` if one is given."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(name), way, str(lock_file.SHARED), user],
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


@pytest.mark.parametrize("of", [Path("a"), "socket://here:7000"])
def test_the_second_is_refused_with_the_first_ones_process_and_a_killed_one_lets_go(
    way: str, of: Path | str, tmp_path: Path
) -> None:
    name = tmp_path / of if isinstance(of, Path) else of
    with holder(name, way) as first:
        with (
            pytest.raises(Taken, match=rf"It is in use by process {first.pid} \(fullturn capture\)"),
            sole_use(lock_of(name), "It", "us"),
        ):
            pass
        first.kill()
        first.wait()
        with sole_use(lock_of(name), "It", "us"):
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
    monkeypatch.setattr(clock, "wait_ns", lambda _: look.close())  # the check ends while the run waits
    with sole_use(name, "s", "us"):
        pass


def test_two_names_of_one_file_have_one_lock(tmp_path: Path) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.touch()
    link.symlink_to(real)
    assert lock_of(real) == lock_of(link)
    assert lock_of(link).name == lock_of(str(link)).name
    assert lock_of("socket://here:7000") != lock_of("socket://here:7001")


@pytest.mark.skipif(not LINUX, reason="abstract names are Linux's")
def test_no_file_can_shut_anybody_out_and_no_folder_is_needed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another user sees other folders, or none that is writable: the lock is the same one."""
    name = tmp_path / "a"
    nowhere = str(tmp_path / "file")
    (tmp_path / "file").touch()
    monkeypatch.setattr(lock_file, "SHARED", tmp_path / "locks")
    with (
        holder(name, "name", TMPDIR=nowhere, HOME=nowhere, XDG_RUNTIME_DIR=nowhere),
        pytest.raises(Taken),
        sole_use(lock_of(name), "It", "us"),
    ):
        pass
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


PLANTED: dict[str, Callable[[Path, Path], object]] = {
    "a link": lambda place, victim: place.symlink_to(victim),
    "a second name": lambda place, victim: place.hardlink_to(victim),
    "a pipe": lambda place, _: os.mkfifo(place),
    "a folder": lambda place, _: place.mkdir(),
    "a link to nothing": lambda place, victim: place.symlink_to(victim.with_name("gone")),
}


@pytest.mark.skipif(sys.platform == "win32", reason="no links for every user")
@pytest.mark.parametrize("plant", PLANTED.values(), ids=list(PLANTED))
@pytest.mark.parametrize("of", ["session", "port", "folder"])
def test_nothing_planted_where_a_lock_should_be_is_written_to_or_waited_for(
    plant: Callable[[Path, Path], object], of: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lock, "_hold", lock._hold_file)
    monkeypatch.setattr(lock_file, "SHARED", tmp_path / "locks")
    victim = tmp_path / "victim"
    victim.write_text("precious")
    session, port = tmp_path / "s.sqlite", lock_of("port")
    with sole_use(port, "It", "us"):
        pass
    places = {
        "session": tmp_path / ".s.sqlite.lock",
        "port": tmp_path / "locks" / f"{port.name}.lock",
        "folder": tmp_path / "locks",
    }
    place = places[of]
    if place.exists():
        place.rename(tmp_path / "moved")
    if of == "folder" and plant is PLANTED["a folder"]:
        place.mkdir()
        place.chmod(0o777)  # writable by all without the sticky bit: anybody could exchange its files
    else:
        plant(place, victim)
    wanted = lock_of(session) if of == "session" else port
    with pytest.raises(StorageFailed, match="It cannot be locked against other programs"), sole_use(wanted, "It", "us"):
        pass
    if of == "session":
        with pytest.raises(StorageFailed, match="cannot be found out"):
            in_use(session)
    assert victim.read_text() == "precious"
    assert not (tmp_path / "gone").exists()


ROOT = sys.platform != "win32" and os.geteuid() == 0
A_USER, ANOTHER_USER = "65534", "65533"


@pytest.fixture
def open_folder(tmp_path: Path) -> Path:
    """A folder that other users can reach and write to."""
    folder = tmp_path / "open"
    folder.mkdir()
    folder.chmod(0o777)
    for above in tmp_path.parents:
        if above.stat().st_uid == os.geteuid() and above != Path("/"):
            above.chmod(above.stat().st_mode | 0o055)
    tmp_path.chmod(0o777)
    return folder


@pytest.mark.skipif(not ROOT, reason="only root becomes other users")
@pytest.mark.parametrize("users", [("", A_USER), (A_USER, ""), (A_USER, ANOTHER_USER)])
@pytest.mark.parametrize("of", ["session", "port"])
def test_no_user_shuts_another_out_or_is_let_in_beside_one(
    way: str, users: tuple[str, str], of: str, open_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Root and then a user, a user and then root, one user after another; each killed in the middle."""
    monkeypatch.setattr(lock_file, "SHARED", open_folder / "locks")
    name = open_folder / "s.sqlite" if of == "session" else "socket://head:7000"
    for user in (*users, users[0]):
        with holder(name, way, user) as first:
            with pytest.raises(Taken, match=rf"process {first.pid} "), sole_use(lock_of(name), "It", "us"):
                pass
            first.kill()
            first.wait()


@pytest.mark.skipif(not ROOT, reason="only root becomes other users")
def test_whether_a_session_is_run_can_be_asked_where_nothing_can_be_written(way: str, open_folder: Path) -> None:
    """On a read-only card, or in another user's folder: checking leaves nothing behind."""
    session = open_folder / "s.sqlite"
    open_folder.chmod(0o555)
    child = os.fork()
    if child == 0:
        os.setuid(int(A_USER))
        os._exit(10 if in_use(session) else 20)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 20
    assert list(open_folder.iterdir()) == []
    with holder(session, way):
        child = os.fork()
        if child == 0:
            os.setuid(int(A_USER))
            os._exit(10 if in_use(session) else 20)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 10


@pytest.mark.parametrize("words", ["", "\x1b[2J", "x" * 999, "process 1\nIt is free", "\x00", "a\x00b"])
def test_what_a_holder_says_of_itself_is_one_short_printable_line(words: str) -> None:
    said = words_of_holder(words)
    assert said
    assert said.isprintable()
    assert len(said) <= LONGEST


def test_a_session_with_the_longest_name_can_be_locked(way: str, tmp_path: Path) -> None:
    session = tmp_path / ("é" * 120 + ".sqlite")
    with sole_use(lock_of(session), "It", "us"):
        assert in_use(session)


def test_a_lock_of_a_file_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lock, "_hold", lock._hold_file)
    with sole_use(lock_of(tmp_path / "s.sqlite"), "It", "us"):
        assert [path.name for path in tmp_path.iterdir()] == [".s.sqlite.lock"]
        assert in_use(tmp_path / "s.sqlite")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be removed there")
def test_a_lock_whose_file_its_holder_has_removed_is_taken_on_the_new_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between opening and locking, the holder ends and a third program locks a new file of that name."""
    monkeypatch.setattr(lock, "_hold", lock._hold_file)
    path, real = tmp_path / ".s.sqlite.lock", locks
    third = ExitStack()

    class Meanwhile:
        """The first lock succeeds on a file that is not there any more."""

        def lock(self, number: int) -> bool:
            monkeypatch.setattr(lock_file, "locks", real)
            path.unlink()
            third.enter_context(lock._hold(lock_of(tmp_path / "s.sqlite"), "third"))
            return real.lock(number)

    path.touch()
    monkeypatch.setattr(lock_file, "locks", Meanwhile())
    with pytest.raises(lock_file.LockHeld, match="third"), lock._hold(lock_of(tmp_path / "s.sqlite"), "second"):
        pass
    third.close()


@pytest.mark.skipif(sys.platform == "win32", reason="every user has a folder of their own there")
def test_the_folder_of_all_users_is_never_seen_with_one_users_rights(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program that is killed while it makes the folder must not leave one that others cannot write to."""
    monkeypatch.setattr(lock, "_hold", lock._hold_file)
    monkeypatch.setattr(lock_file, "SHARED", tmp_path / "locks")
    monkeypatch.setattr(lock_file, "FOLDER_MODE", None)  # as if it ended here
    with pytest.raises(TypeError), sole_use(lock_of("socket://head:7000"), "It", "us"):
        pass
    assert not (tmp_path / "locks").exists()
    monkeypatch.setattr(lock_file, "FOLDER_MODE", 0o1777)
    with sole_use(lock_of("socket://head:7000"), "It", "us"):
        assert (tmp_path / "locks").stat().st_mode & 0o7777 == 0o1777
