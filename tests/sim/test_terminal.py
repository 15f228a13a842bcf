"""The pseudo-terminal's names: taken, free, abandoned."""

import os
import sys
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("no pseudo-terminals", allow_module_level=True)

from sim.terminal import NameTaken, Terminal


def test_a_name_is_a_link_to_the_port_for_as_long_as_it_is_open(tmp_path: Path) -> None:
    name = tmp_path / "port"
    with Terminal(name) as terminal:
        assert os.readlink(name) == terminal.path
        assert terminal.read() == b""
        host = os.open(name, os.O_RDWR | os.O_NOCTTY)
        os.write(host, b"\x00ask\xff")
        assert terminal.read() == b"\x00ask\xff"
        assert terminal.write(b"\r\n\x04answer") == 9
        assert os.read(host, 100) == b"\r\n\x04answer"
        os.close(host)
    assert not name.is_symlink()


def test_a_link_that_was_left_behind_is_taken_over(tmp_path: Path) -> None:
    name = tmp_path / "port"
    with Terminal() as other:
        gone = other.path
    name.symlink_to(gone)
    with Terminal(name) as terminal:
        assert os.readlink(name) == terminal.path


@pytest.mark.parametrize("ours", [True, False])
def test_a_link_whose_number_has_been_given_away(tmp_path: Path, ours: bool) -> None:
    """Another program's terminal has the path of our killed one: only the file beside the link tells whose it is."""
    name = tmp_path / "port"
    with Terminal() as somebodys:
        name.symlink_to(somebodys.path)
        if ours:
            (tmp_path / ".port.lock").touch()
            with Terminal(name) as terminal:
                assert os.readlink(name) == terminal.path != somebodys.path
        else:
            with pytest.raises(NameTaken, match="exists already"):
                Terminal(name)
            assert os.readlink(name) == somebodys.path
    assert not (tmp_path / ".port.lock").exists()


@pytest.mark.parametrize("target", ["no-such-file", None])
def test_what_is_not_ours_stays(tmp_path: Path, target: str | None) -> None:
    name = tmp_path / "port"
    if target is None:
        name.write_text("precious")
    else:
        name.symlink_to(tmp_path / target)
    with pytest.raises(NameTaken, match="exists already"):
        Terminal(name)
    assert name.is_symlink() or name.read_text() == "precious"


def test_a_second_one_under_the_same_name_is_refused(tmp_path: Path) -> None:
    with Terminal(tmp_path / "port"), pytest.raises(NameTaken):
        Terminal(tmp_path / "port")


def test_a_name_in_no_folder(tmp_path: Path) -> None:
    with pytest.raises(NameTaken, match="cannot be made"):
        Terminal(tmp_path / "nowhere" / "port")


def test_what_nobody_reads_finds_no_room_at_last() -> None:
    with Terminal() as terminal:
        went = [terminal.write(b"x" * 4096) for _ in range(100)]
        assert went[-1] == 0


@pytest.mark.skipif(os.geteuid() != 0, reason="only root becomes another user")
def test_what_a_killed_simulator_of_root_left_is_taken_over_by_another_user(tmp_path: Path) -> None:
    """The folder is the user's; root's lock file and link are in it."""
    folder = tmp_path / "users"
    folder.mkdir()
    for each in (folder, *(above for above in tmp_path.parents if above.stat().st_uid == 0 and above != Path("/"))):
        each.chmod(each.stat().st_mode | 0o055)
    tmp_path.chmod(0o755)
    os.chown(folder, 65534, 65534)
    child = os.fork()
    if child == 0:  # root's simulator, killed
        os.umask(0o022)
        Terminal(folder / "port")
        os._exit(0)
    os.waitpid(child, 0)
    assert (folder / "port").is_symlink()
    assert (folder / ".port.lock").stat().st_uid == 0
    child = os.fork()
    if child == 0:
        os.setgid(65534)
        os.setuid(65534)
        try:
            with Terminal(folder / "port") as terminal:
                os._exit(10 if os.readlink(folder / "port") == terminal.path else 11)
        except NameTaken:
            os._exit(20)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 10
