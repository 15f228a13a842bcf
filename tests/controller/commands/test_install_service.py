"""`fullturn install-service`: what it shows, writes and takes away, and that the service it starts moves nothing."""

from __future__ import annotations

import configparser
import json
import os
import shutil
import socket
import stat
import subprocess
import sys
from collections.abc import Sequence
from getpass import getuser
from pathlib import Path

import pytest

from controller.commands import install_service as work_module
from controller.commands.install_service import (
    Machine,
    ServiceWork,
    do_work,
    run_command_of_system,
    work_text,
    work_to_install,
    work_to_undo,
)
from controller.commands.service_files import (
    BOARD,
    PageService,
    UsbAdapter,
    is_own_file,
    line_to_write,
    marked,
    rule_text,
    unit_text,
    unit_word,
)
from controller.errors import InputError, WorldError
from tests.controller.commands.shell import Shell

ADAPTER = ("/dev/null", 0x2341, 0x0043, "A1B2")  # the null device may be opened by anybody


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    """A computer whose folders are in a folder of the test, used by an ordinary user."""
    return Machine(
        False, tmp_path / "config/systemd/user", tmp_path / "etc/systemd/system", tmp_path / "etc/70-x.rules",
        tmp_path / "linger",
    )  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "sets of 50 % $HOME"
    made.mkdir()
    return made


@pytest.fixture
def adapter(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(work_module, "adapter_at", lambda port: ADAPTER if port == ADAPTER[0] else None)


class Ran(list[tuple[str, ...]]):
    """Notes commands instead of running them."""

    def __call__(self, words: Sequence[str]) -> None:
        self.append(tuple(words))


def install(machine: Machine, folder: Path, port: str | None = None, *, system: bool = False) -> ServiceWork:
    return work_to_install(machine, folder, port, lan=True, port_number=8360, system=system)


def needs_systemd_analyze() -> str:
    """The tool that checks units; the test is left out without it, and fails where CI is set."""
    tool = shutil.which("systemd-analyze")
    if tool is None:
        lack = "systemd-analyze checks the unit: apt-get install systemd"
        (pytest.fail if os.environ.get("CI") else pytest.skip)(lack)
    return tool


@pytest.mark.parametrize("system", [False, True])
def test_systemd_finds_no_fault_in_the_unit(folder: Path, tmp_path: Path, system: bool) -> None:
    tool = needs_systemd_analyze()
    service = PageService(sys.executable, folder, BOARD, True, 8360, "daemon" if system else None)
    unit = tmp_path / "fullturn-page.service"
    unit.write_text(unit_text(service), encoding="utf-8")
    manager = "--system" if system else "--user"
    tmp_path.chmod(0o700)
    done = subprocess.run(
        [tool, manager, "--man=no", "verify", str(unit)],
        capture_output=True, text=True, check=False, env=os.environ | {"XDG_RUNTIME_DIR": str(tmp_path)},
    )  # fmt: skip
    assert (done.returncode, [line for line in done.stderr.splitlines() if unit.name in line]) == (0, [])


def test_the_unit_holds_a_run_and_gives_the_page_no_more_than_its_folder(folder: Path) -> None:
    parsed = configparser.ConfigParser(interpolation=None, strict=False)
    parsed.optionxform = str  # type: ignore[assignment,method-assign]
    parsed.read_string(unit_text(PageService("/py", folder, None, False, 1234, "ann")))
    service = parsed["Service"]
    assert service["KillMode"] == "process"  # otherwise a restart of the page would kill a run
    assert service["OOMPolicy"] == "continue"
    assert service["Restart"] == "on-failure"
    assert service["User"] == "ann"
    assert service["ProtectSystem"] == "strict"
    written = str(folder).replace("%", "%%")
    assert service["ReadWritePaths"] == f'"{written}" /tmp'
    assert service["WorkingDirectory"] == written
    assert service["ExecStart"].startswith('"/py" "-P" "-m" "controller" "page" ')
    assert service["ExecStart"].endswith(' "--port-number" "1234"')
    assert "$$HOME" in service["ExecStart"]
    own = unit_text(PageService("/py", folder, None, False, 1234))
    assert "User=" not in own
    assert "ProtectSystem" not in own  # it needs namespaces, which a user may not have


@pytest.mark.parametrize(("word", "written"), [('a"b', '"a\\"b"'), ("a\\b", '"a\\\\b"'), ("5%", '"5%%"'), ("$x", '"$x"')])
def test_a_word_of_a_unit_is_quoted(word: str, written: str) -> None:
    assert unit_word(word) == written


def test_a_folder_that_no_unit_can_name_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="printable"):
        unit_text(PageService("/py", tmp_path / "a\nExecStart=b", None, False, 1))


def test_the_rule_matches_this_adapter_alone_and_says_nothing_but_its_serial_number() -> None:
    (line,) = rule_text(UsbAdapter("/dev/ttyACM0", 0x2341, 0x43, 'A"; RUN+="x')).splitlines()[1:]
    assert 'ATTRS{idVendor}=="2341", ATTRS{idProduct}=="0043", ATTRS{serial}=="A???RUN+=?x"' in line
    assert 'SYMLINK+="fullturn-board"' in line
    assert 'GROUP="dialout"' in line
    assert "ATTRS{serial}" not in rule_text(UsbAdapter("/dev/ttyUSB0", 0x1A86, 0x7523, None))


def test_the_line_for_root_writes_the_very_text(tmp_path: Path) -> None:
    text = rule_text(UsbAdapter("/dev/ttyACM0", 0x2341, 0x43, "it's"))
    line = line_to_write(tmp_path / "a rule", text).replace("sudo ", "")
    subprocess.run(["sh", "-c", line], check=True, stdout=subprocess.DEVNULL)
    assert (tmp_path / "a rule").read_text(encoding="utf-8") == text


@pytest.mark.usefixtures("adapter")
def test_installing_and_undoing_leaves_nothing(machine: Machine, folder: Path) -> None:
    ran = Ran()
    work = install(machine, folder, ADAPTER[0])
    unit = machine.user_units / "fullturn-page.service"
    assert list(work.write) == [unit]
    assert not unit.exists()  # it is shown first
    assert f'"--port" "{BOARD}"' in work.write[unit]
    assert any(line.endswith(f"| sudo tee {machine.rule}") for line in work.by_root)
    do_work(work, ran)
    assert is_own_file(unit)
    assert work.by_root[-1].startswith("sudo loginctl enable-linger ")
    assert ran.index(("systemctl", "--user", "daemon-reload")) < ran.index(
        ("systemctl", "--user", "enable", "fullturn-page.service")
    )
    ran.clear()
    undone = work_to_undo(machine, system=False)
    assert undone.by_root == []  # root's rule was never written
    do_work(undone, ran)
    assert not unit.exists()
    assert ran == [
        ("systemctl", "--user", "disable", "--now", "fullturn-page.service"), ("systemctl", "--user", "daemon-reload"),
    ]  # fmt: skip
    assert work_to_undo(machine, system=False).is_nothing


@pytest.mark.usefixtures("adapter")
def test_root_writes_the_rule_and_the_service_runs_as_the_folders_owner(
    machine: Machine, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = Machine(True, machine.user_units, machine.system_units, machine.rule)
    monkeypatch.setattr(Path, "owner", lambda _: "ann")
    work = install(root, folder, ADAPTER[0], system=True)
    assert work.by_root == []
    assert "User=ann" in work.write[root.system_units / "fullturn-page.service"]
    do_work(work, Ran())
    again = install(root, folder, ADAPTER[0], system=True)
    assert root.rule not in again.write  # it is there
    assert work_text(again).startswith("Replaces ")
    do_work(again, Ran())
    do_work(work_to_undo(root, system=True), Ran())
    assert not [path for path in root.system_units.parent.parent.rglob("*") if path.is_file()]


@pytest.mark.usefixtures("adapter")
def test_a_file_that_somebody_changed_is_kept_and_named(machine: Machine, folder: Path) -> None:
    do_work(install(machine, folder), Ran())
    unit = machine.user_units / "fullturn-page.service"
    unit.write_text(unit.read_text(encoding="utf-8") + "Nice=5\n", encoding="utf-8")
    machine.rule.parent.mkdir(parents=True)
    machine.rule.write_text("mine\n", encoding="utf-8")
    undone = work_to_undo(machine, system=False)
    assert undone.is_nothing
    assert [note.split(" was changed")[0] for note in undone.notes] == [str(unit), str(machine.rule)]
    with pytest.raises(InputError, match="was changed by somebody"):
        install(machine, folder)
    assert "Nice=5" in unit.read_text(encoding="utf-8")


def test_the_rule_that_root_wrote_is_named_to_be_taken_away(machine: Machine) -> None:
    machine.rule.parent.mkdir(parents=True)
    machine.rule.write_text(marked("rule\n"), encoding="utf-8")
    assert work_to_undo(machine, system=False).by_root[0] == f"sudo rm {machine.rule}"


@pytest.mark.usefixtures("adapter")
@pytest.mark.parametrize("port", ["socket://192.0.2.7:7000", "/dev/zero"])
def test_a_port_whose_name_lasts_gets_no_rule(machine: Machine, folder: Path, port: str) -> None:
    work = install(machine, folder, port)
    assert [line.split()[1] for line in work.by_root] == ["loginctl"]
    assert f'"{port}"' in next(iter(work.write.values()))


@pytest.mark.usefixtures("adapter")
@pytest.mark.parametrize("port", ["usb:NONE", "/dev/no-such-port"])
def test_a_board_that_is_not_plugged_in_has_no_name_to_keep(machine: Machine, folder: Path, port: str) -> None:
    with pytest.raises(InputError, match="not plugged in"):
        install(machine, folder, port)


def test_a_user_whose_services_start_without_a_login_needs_nothing_for_that(machine: Machine, folder: Path) -> None:
    machine.lingering.mkdir()
    (machine.lingering / getuser()).touch()
    assert install(machine, folder).by_root == []


def test_nothing_runs_as_root(machine: Machine, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = Machine(True, machine.user_units, machine.system_units, machine.rule)
    with pytest.raises(InputError, match="must not run as root"):
        install(root, folder)
    monkeypatch.setattr(Path, "owner", lambda _: "root")
    with pytest.raises(InputError, match="no owner but root"):
        install(root, folder, system=True)
    with pytest.raises(InputError, match="Put sudo before"):
        install(machine, folder, system=True)


def test_a_command_that_fails_is_named_with_its_reason() -> None:
    with pytest.raises(WorldError, match=r"`sh -c 'echo no bus >&2; exit 1'` failed: no bus\."):
        run_command_of_system(["sh", "-c", "echo no bus >&2; exit 1"])
    with pytest.raises(WorldError, match="cannot be run here"):
        run_command_of_system(["no-such-command-of-any-system"])


def test_the_command_shows_and_writes_nothing_without_a_yes(
    shell: Shell, machine: Machine, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ran = Ran()
    monkeypatch.setattr(work_module, "run_command_of_system", ran)
    monkeypatch.setattr(Machine, "here", classmethod(lambda _: machine))
    told = shell("install-service", str(folder))
    assert told.status == 0
    assert "    KillMode=process" in told.out
    assert told.out.endswith("Nothing was written or run; --yes does it.\n")
    assert not machine.user_units.exists()
    told = shell("install-service", str(folder), "--json")
    assert json.loads(told.out)["done"] is False
    assert not machine.user_units.exists()
    assert ran == []
    told = shell("install-service", str(folder), "--yes")
    assert told.out.endswith("Done.\n")
    assert stat.S_ISREG((machine.user_units / "fullturn-page.service").stat().st_mode)
    told = shell("install-service", "--undo", "--yes", "--json")
    assert json.loads(told.out)["done"] is True
    assert not (machine.user_units / "fullturn-page.service").exists()
    assert shell("install-service", "--undo").out == "There is nothing to take away.\n"
    assert shell("install-service", "--undo", str(folder)).status == 2
    assert "Name the folder" in shell("install-service").err


def test_a_computer_without_systemd_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(InputError, match="no systemd"):
        Machine.here()


def test_the_page_that_the_service_starts_does_not_open_the_port(folder: Path) -> None:
    """At boot nobody is there: the port is only offered. A connection would wait in the listener's queue."""
    with socket.create_server(("127.0.0.1", 0)) as board:
        port = f"socket://127.0.0.1:{board.getsockname()[1]}"
        service = PageService(sys.executable, folder, port, False, 0)
        page = subprocess.Popen(service.words, stdout=subprocess.PIPE, text=True)
        try:
            assert page.stdout is not None
            assert "is open" in page.stdout.readline()
        finally:
            page.terminate()
            page.communicate(timeout=60)
        board.setblocking(False)
        with pytest.raises(BlockingIOError):
            board.accept()
