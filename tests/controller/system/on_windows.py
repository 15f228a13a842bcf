"""What a Python for Windows checks of the real functions of Windows, without any other package. Run by a test, or alone:

py -m tests.controller.system.on_windows
"""

import os
import sys
import tempfile
from pathlib import Path

from controller.system import chosen
from controller.system.disk import SHARING
from controller.system.file_names import name_trouble


def check_locks(folder: Path) -> None:
    """One holder; the description stays readable; the file can be removed afterwards."""
    first, second = (os.open(folder / "lock", os.O_RDWR | os.O_CREAT) for _ in range(2))
    os.write(first, b"holder")
    assert chosen.locks.lock(first)
    assert not chosen.locks.lock(second)
    os.lseek(second, 0, os.SEEK_SET)
    assert os.read(second, 9) == b"holder"
    chosen.locks.unlock(first)
    assert chosen.locks.lock(second)
    chosen.locks.unlock(second)
    os.close(first)
    os.close(second)
    chosen.disk.remove(folder / "lock")
    assert not (folder / "lock").exists()


def check_pipes() -> None:
    """Reading never waits, and sees the end."""
    source, drain = os.pipe()
    chosen.pipes.prepare(source, drain)
    assert chosen.pipes.read(source) is None
    assert chosen.pipes.write(drain, b"one\n") == 4
    assert chosen.pipes.read(source) == b"one\n"
    os.close(drain)
    assert chosen.pipes.read(source) == b""
    os.close(source)


def check_files(folder: Path) -> None:
    """A file that is open cannot be replaced; a long path can be used; a folder with a file to be read goes."""
    (folder / "new").write_text("new", encoding="utf-8")
    old = folder / "old"
    old.write_text("old", encoding="utf-8")
    with old.open(encoding="utf-8"):
        try:
            os.replace(folder / "new", old)
        except PermissionError as error:
            code = getattr(error, "winerror", None)
        else:
            code = None
    assert code in SHARING
    chosen.disk.replace(folder / "new", old)
    assert old.read_text(encoding="utf-8") == "new"
    deep = chosen.disk.usable(folder / ("x" * 120) / ("y" * 120) / ("z" * 120))
    deep.mkdir(parents=True)
    (deep / "plan.json").write_text("{}", encoding="utf-8")
    (deep / "plan.json").chmod(0o400)
    assert len(str(deep)) > 300
    chosen.disk.remove_folder(chosen.disk.usable(folder / ("x" * 120)))
    assert not (folder / ("x" * 120)).exists()


def check_names(folder: Path) -> None:
    """What the system refuses, the program refuses."""
    for name in ("a<b", "a>b", 'a"b', "a|b", "a?b", "a*b", "a\tb"):
        assert name_trouble(name)
        try:
            (folder / name).write_text("", encoding="utf-8")
        except OSError:
            continue
        raise AssertionError(f"Windows takes {name!r}")
    assert chosen.serial_names.one_name(r"\\.\com3") == "COM3"


def main() -> None:
    """Check everything; print one line."""
    assert sys.platform == "win32", "this is for Windows"
    assert chosen.WINDOWS
    with open(os.devnull, encoding="utf-8") as null:
        assert null.isatty(), "Windows says that its null device is a terminal"
        assert not chosen.terminals.is_terminal(null)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        check_locks(folder)
        check_pipes()
        check_files(folder)
        check_names(folder)
    chosen.terminals.prepare(sys.stdout)
    print("All of it is as on Windows: ° × →")


if __name__ == "__main__":
    main()
