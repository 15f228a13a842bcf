"""Both implementations of what differs between systems, through their interface: Windows' with stand-ins elsewhere."""

import errno
import io
import os
import signal
import stat
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from controller import clock
from controller.system import chosen
from controller.system.disk import TRIES, Disk, PosixDisk, WindowsDisk, extended
from controller.system.file_locks import FileLocks, PosixLocks, WindowsLocks
from controller.system.keyboard import WindowsKeyboard
from controller.system.pipe_ends import PipeCalls, PosixPipes, WindowsPipes
from controller.system.port_names import MacPorts, PosixPorts, WindowsPorts
from controller.system.processes import DETACHED_PROCESS, PosixProcesses, WindowsProcesses
from controller.system.signals import INTERRUPT, SIGBREAK, PosixSignals, WindowsSignals, caught
from controller.system.terminals import PosixTerminals, WindowsTerminals
from tests.controller.system.windows import Msvcrt, OpenElsewhere, WindowsError

WINDOWS = sys.platform == "win32"


# Locks.


def kinds_of_locks() -> list[FileLocks]:
    return [WindowsLocks(Msvcrt())] if WINDOWS else [PosixLocks(), WindowsLocks(Msvcrt())]


@pytest.mark.parametrize("locks", kinds_of_locks(), ids=lambda each: type(each).__name__)
def test_a_lock_has_one_holder_and_is_free_again(locks: FileLocks, tmp_path: Path) -> None:
    first, second = (os.open(tmp_path / "lock", os.O_RDWR | os.O_CREAT) for _ in range(2))
    os.write(first, b"who holds it")
    assert locks.lock(first)
    assert not locks.lock(second)
    os.lseek(second, 0, os.SEEK_SET)
    assert os.read(second, 99) == b"who holds it", "what is locked must not hide the description"
    locks.unlock(first)
    assert locks.lock(second)
    os.close(first)
    os.close(second)


@pytest.mark.parametrize("number", [errno.EBADF, errno.EINVAL])
def test_a_mistake_is_no_lock_of_another(number: int, tmp_path: Path) -> None:
    class Broken(Msvcrt):
        def locking(self, *_: int) -> None:
            raise OSError(number, "no")

    with (tmp_path / "lock").open("w") as file, pytest.raises(OSError, match="no"):
        WindowsLocks(Broken()).lock(file.fileno())


# Keys.


def test_windows_lines_are_edited_and_shown_as_they_are_typed() -> None:
    console = Msvcrt()
    keyboard = WindowsKeyboard(console)
    assert keyboard.typed() == ""
    console.press("yx\x08es")
    assert keyboard.typed() == ""
    assert console.shown == "yes"
    console.press(["\r", "\xe0", "H", "n", "o", "\r", "a"])
    assert keyboard.typed() == "yes\nno\n"
    assert console.shown == "yes\r\nno\r\na"


def test_windows_rubs_out_nothing_before_the_line() -> None:
    console = Msvcrt()
    console.press("\x08\x08y\x08\x08\x08n\r")
    assert WindowsKeyboard(console).typed() == "n\n"
    assert console.shown == "n\r\n"


def test_windows_arrows_are_one_key_and_a_letter_like_them_is_one_too() -> None:
    console = Msvcrt()
    keyboard = WindowsKeyboard(console)
    with keyboard.single():
        console.press(["\xe0", "K", "\x00", "D", "q"])
        assert [keyboard.key() for _ in range(4)] == ["\xe0K", "\x00D", "q", None]
        console.press("à")
        assert keyboard.key() == "à"


def test_windows_forgets_what_was_typed_before() -> None:
    console = Msvcrt()
    keyboard = WindowsKeyboard(console)
    console.press("ye")
    keyboard.typed()
    console.press("s")
    keyboard.forget()
    console.press("no\r")
    assert keyboard.typed() == "no\n"


def test_windows_ctrl_c_that_arrives_as_a_key_is_an_interrupt() -> None:
    console = Msvcrt()
    console.press("a\x03")
    with pytest.raises(KeyboardInterrupt):
        WindowsKeyboard(console).typed()


# Pipes.


def waiting_in(number: int) -> int:
    """PeekNamedPipe, by the means of this system."""
    import fcntl
    import select
    import struct
    import termios

    count: int = struct.unpack("i", fcntl.ioctl(number, termios.FIONREAD, b"0000"))[0]
    poll = select.poll()
    poll.register(number)
    if not count and any(event & select.POLLHUP for _, event in poll.poll(0)):
        raise BrokenPipeError(errno.EPIPE, "[WinError 109]")
    return count


@pytest.fixture(params=["posix", "windows"])
def pipe(request: pytest.FixtureRequest) -> Iterator[tuple[PipeCalls, int, int]]:
    if WINDOWS:
        pytest.skip("the stand-in needs POSIX; test_windows_python runs the real one")
    calls: PipeCalls = PosixPipes() if request.param == "posix" else WindowsPipes(waiting_in)
    source, drain = os.pipe()
    calls.prepare(source, drain)
    yield calls, source, drain
    for number in (source, drain):
        with suppress(OSError):  # closed by the test
            os.close(number)


def test_a_pipe_is_read_without_waiting_to_its_end(pipe: tuple[PipeCalls, int, int]) -> None:
    calls, source, drain = pipe
    assert calls.read(source) is None
    assert calls.write(drain, b"one\ntwo\n") == 8
    assert calls.read(source) == b"one\ntwo\n"
    assert calls.read(source) is None
    calls.write(drain, b"last")
    os.close(drain)
    assert calls.read(source) == b"last"
    assert calls.read(source) == b""


def test_writing_to_nobody_raises(pipe: tuple[PipeCalls, int, int]) -> None:
    calls, source, drain = pipe
    os.close(source)
    with pytest.raises(BrokenPipeError):
        calls.write(drain, b"x")


@pytest.mark.skipif(WINDOWS, reason="a write waits there")
def test_a_full_pipe_has_no_room() -> None:
    calls = PosixPipes()
    source, drain = os.pipe()
    calls.prepare(source, drain)
    went = [calls.write(drain, b"x" * 65536) for _ in range(40)]
    assert went[-1] is None
    os.close(source)
    os.close(drain)


# Files on disk.


def kinds_of_disks() -> list[Disk]:
    return [PosixDisk(), WindowsDisk(OpenElsewhere(0)), WindowsDisk(OpenElsewhere(3)), WindowsDisk(OpenElsewhere(3, 5))]


@pytest.mark.parametrize("disk", kinds_of_disks(), ids=["posix", "windows", "windows, shared", "windows, denied"])
def test_files_are_replaced_and_removed(disk: Disk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    waits: list[int] = []
    monkeypatch.setattr(clock, "wait_ns", waits.append)
    new, old = tmp_path / "new", tmp_path / "old"
    new.write_text("new")
    old.write_text("old")
    disk.replace(new, old)
    assert not new.exists()
    assert old.read_text() == "new"
    disk.remove(old)
    assert not old.exists()
    disk.sync_folder(tmp_path)
    assert len(waits) in {0, 3}


def test_windows_tells_of_a_file_that_stays_open(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    waits: list[int] = []
    monkeypatch.setattr(clock, "wait_ns", waits.append)
    (tmp_path / "file").touch()
    with pytest.raises(PermissionError):
        WindowsDisk(OpenElsewhere(TRIES)).remove(tmp_path / "file")
    assert sum(waits) < 3e9


def test_windows_does_not_repeat_what_cannot_succeed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "wait_ns", lambda _: pytest.fail("it waits"))
    with pytest.raises(FileNotFoundError):
        WindowsDisk(OpenElsewhere(0)).remove(tmp_path / "nothing")
    with pytest.raises(WindowsError):
        WindowsDisk(OpenElsewhere(1, 19)).remove(tmp_path / "write-protected disk")


def test_windows_removes_a_folder_with_a_file_that_can_only_be_read(tmp_path: Path) -> None:
    class LikeWindows(OpenElsewhere):
        """On Windows a file that can only be read cannot be removed."""

        def unlink(self, path: str, /) -> None:
            if not os.stat(path).st_mode & stat.S_IWRITE:
                raise WindowsError(5, path)
            super().unlink(path)

    inner = tmp_path / "folder" / "inner"
    inner.mkdir(parents=True)
    (inner / "file").touch(0o400)
    WindowsDisk(LikeWindows(0)).remove_folder(tmp_path / "folder")
    assert not (tmp_path / "folder").exists()


LONG = "x" * 200


@pytest.mark.parametrize(
    ("path", "long"),
    [
        ("plan.json", "plan.json"),
        (rf"{LONG}\plan.json", rf"\\?\C:\sets\{LONG}\plan.json"),
        (rf"D:\{LONG}\plan.json", rf"\\?\D:\{LONG}\plan.json"),
        (rf"D:/{LONG}/a/../plan.json", rf"\\?\D:\{LONG}\plan.json"),
        (rf"\\server\share\{LONG}", rf"\\?\UNC\server\share\{LONG}"),
        (rf"\\?\D:\{LONG}", rf"\\?\D:\{LONG}"),
        (rf"..\{LONG}", rf"\\?\C:\{LONG}"),
        ("", ""),
    ],
)
def test_long_paths_of_windows_have_the_prefix(path: str, long: str) -> None:
    assert extended(path, r"C:\sets") == long
    assert extended(long, r"C:\sets") == long


# Streams.


def written(terminals: PosixTerminals | WindowsTerminals, encoding: str, text: str) -> bytes:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding, newline="\r\n")
    terminals.prepare(stream)
    stream.write(text)
    stream.flush()
    return raw.getvalue()


SIGNS = "30° × 20° → “ok” \udcff\n"


def test_windows_writes_utf_8_to_a_file_whatever_its_code_page_is() -> None:
    data = written(WindowsTerminals(lambda _: False), "cp1252", SIGNS)
    assert data == "30° × 20° → “ok” ".encode() + b"\\udcff\n"


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "ascii", "utf-8"])
def test_no_sign_stops_the_program(encoding: str) -> None:
    for terminals in (PosixTerminals(), WindowsTerminals(lambda _: True)):
        assert b"30" in written(terminals, encoding, SIGNS)


class Stream(io.StringIO):
    def isatty(self) -> bool:
        return True

    def fileno(self) -> int:
        return 7


def test_the_null_device_is_no_terminal() -> None:
    """Windows' null device says of itself that it is a terminal."""
    assert WindowsTerminals(lambda number: number == 7).is_terminal(Stream())
    assert not WindowsTerminals(lambda _: False).is_terminal(Stream())
    for terminals in (PosixTerminals(), WindowsTerminals(lambda _: True)):
        assert not terminals.is_terminal(None)
        assert not terminals.is_terminal(io.StringIO())


# Processes and signals.


def test_a_process_apart_is_in_a_session_or_without_a_console() -> None:
    assert PosixProcesses().apart() == {"start_new_session": True, "creationflags": 0}
    windows = WindowsProcesses().apart()
    assert not windows["start_new_session"], "Popen refuses it there"
    assert windows["creationflags"] & DETACHED_PROCESS
    assert 1 <= chosen.processes.usable_cores() <= (os.cpu_count() or 1)
    assert WindowsProcesses().usable_cores() >= 1


def test_which_signals_stop_a_run() -> None:
    assert signal.SIGTERM in PosixSignals().stop
    assert {signal.SIGTERM, SIGBREAK} == set(WindowsSignals().stop)
    assert WindowsSignals().hang_up is None
    if not WINDOWS:
        assert PosixSignals().hang_up == signal.SIGHUP


def test_a_handler_is_put_back() -> None:
    before = signal.getsignal(signal.SIGINT)
    seen: list[int] = []
    with caught([INTERRUPT], lambda number, _: seen.append(number)):
        signal.raise_signal(signal.SIGINT)
    assert seen == [signal.SIGINT]
    assert signal.getsignal(signal.SIGINT) is before


# Ports.


def test_one_port_of_windows_has_one_name() -> None:
    names = ["COM3", "com3", "Com3:", r"\\.\COM3", r"\\?\com3"]
    assert {WindowsPorts().one_name(name) for name in names} == {"COM3"}
    assert WindowsPorts().one_name(r"\\.\COM12") == "COM12"
    assert WindowsPorts().one_name("socket://here:7000") == "socket://here:7000"


def test_one_port_of_a_mac_has_one_name(tmp_path: Path) -> None:
    assert MacPorts().one_name("/dev/tty.usbmodem14101") == "/dev/cu.usbmodem14101"
    assert MacPorts().one_name("/dev/cu.usbmodem14101") == "/dev/cu.usbmodem14101"
    assert MacPorts().one_name("/dev/tty") == "/dev/tty"


@pytest.mark.skipif(WINDOWS, reason="links need permission there")
def test_a_link_is_another_name_of_a_port(tmp_path: Path) -> None:
    (tmp_path / "real").touch()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    assert PosixPorts().one_name(str(tmp_path / "link")) == str((tmp_path / "real").resolve())
