"""`fullturn install-service`: the page as a service of systemd, and a lasting name for the board's port.

A user's own service needs no root; the rule for the port does. What needs root is printed as a line to type, unless the
command runs as root.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from getpass import getuser
from pathlib import Path
from typing import Any

from controller.commands.service_files import (
    BOARD,
    RULE,
    SERVICE,
    SYSTEM_UNITS,
    PageService,
    UsbAdapter,
    as_line,
    has_text,
    is_own_file,
    line_to_write,
    rule_text,
    unit_text,
)
from controller.errors import InputError, WorldError
from controller.files import remove_file, write_whole
from controller.folders import make_inner_folder
from controller.ports.address import OVER_A_NETWORK
from controller.ports.serial_port import adapter_at
from controller.shown import shown
from controller.system.users import runs_as_root

LONGEST_S = 60.0  # that a command of the system may take
CAUTION = (
    "The page moves nothing by itself, also after a restart: a person starts each run. It is no emergency stop: motor "
    "power needs a switch of its own."
)
Runner = Callable[[Sequence[str]], None]


@dataclass(frozen=True, slots=True)
class Machine:
    """The computer: whether the command runs as root, the folders of units, and the rule.

    `lingering` has a file for each user whose services start without a login.
    """

    as_root: bool
    user_units: Path
    system_units: Path = SYSTEM_UNITS
    rule: Path = RULE
    lingering: Path = Path("/var/lib/systemd/linger")

    @classmethod
    def here(cls) -> "Machine":
        """Return the computer that runs this. Raises InputError if it has no systemd."""
        config = os.environ.get("XDG_CONFIG_HOME") or "~/.config"
        if shutil.which("systemctl") is not None:
            return cls(runs_as_root(), Path(config).expanduser() / "systemd/user")
        raise InputError("This computer has no systemd, which starts services. Start `fullturn page` another way.")


@dataclass(frozen=True, slots=True)
class ServiceWork:
    """What would be done, in this order: files to write, commands to run, files to remove, commands to run after that.

    `by_root` are the lines for root to type afterwards.
    """

    write: dict[Path, str] = field(default_factory=dict)
    first: list[list[str]] = field(default_factory=list)
    remove: list[Path] = field(default_factory=list)
    commands: list[list[str]] = field(default_factory=list)
    by_root: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def is_nothing(self) -> bool:
        """Whether there is nothing to do here."""
        return not (self.write or self.remove or self.commands)

    def as_json(self, *, done: bool) -> dict[str, Any]:
        """What other programs read."""
        return {
            "write": {str(path): text for path, text in self.write.items()},
            "remove": [str(path) for path in self.remove],
            "commands": [*self.first, *self.commands],
            "by_root": self.by_root,
            "notes": self.notes,
            "done": done,
        }


def work_to_install(
    machine: Machine, folder: Path, port: str | None, *, lan: bool, port_number: int, system: bool
) -> ServiceWork:
    """What installing would do. Raises InputError, and StorageFailed if a file of somebody else is in the way."""
    real = Path(os.path.realpath(folder))
    owner = _owner_for(machine, real) if system else None
    if machine.as_root and not system:
        raise InputError("A service must not run as root. Run this as the user who owns the folder, or add --system.")
    work = ServiceWork(notes=[CAUTION])
    named, adapter = port, None if port is None else _adapter(port)
    if adapter is not None:
        named = BOARD
        _plan_rule(machine, adapter, work)
    service = PageService(sys.executable, real, named, lan, port_number, owner)
    unit = (machine.system_units if system else machine.user_units) / SERVICE
    work.write[unit] = unit_text(service)
    manage = _manager(system=system)
    work.commands.extend([[*manage, "daemon-reload"], [*manage, "enable", SERVICE], [*manage, "restart", SERVICE]])
    if not system and not (machine.lingering / getuser()).exists():
        # Not run here: without a login at the computer, as over some lines, only root may.
        work.by_root.append(as_line(["sudo", "loginctl", "enable-linger", getuser()]))
    for path in work.write:
        if path.exists() and not is_own_file(path):
            raise InputError(f"{shown(path)} was changed by somebody, so it is kept. Move it away, then try again.")
    return work


def _manager(*, system: bool) -> list[str]:
    return ["systemctl"] if system else ["systemctl", "--user"]


def _owner_for(machine: Machine, folder: Path) -> str:
    """The user as whom the system's service runs: the owner of the folder. Raises InputError."""
    if not machine.as_root:
        raise InputError("--system writes to the system's folders. Put sudo before the command, or leave --system out.")
    owner = ""
    if sys.platform != "win32":
        with suppress(KeyError, OSError):
            owner = folder.owner()
    if owner in {"", "root"}:
        raise InputError(f"{shown(folder)} has no owner but root. Give it to the user who is to serve it: see chown(1).")
    return owner


def _adapter(port: str) -> UsbAdapter | None:
    """The USB adapter at a port; None if the port keeps its name by itself. Raises InputError."""
    if port.partition("://")[0] in OVER_A_NETWORK:
        return None
    found = adapter_at(port)
    if found is not None:
        return UsbAdapter(*found)
    if port.startswith("usb:") or not os.path.exists(port):
        raise InputError(f"--port: {shown(port)} is not plugged in, so its name cannot be kept. Plug the board in first.")
    return None


def _plan_rule(machine: Machine, adapter: UsbAdapter, work: ServiceWork) -> None:
    text = rule_text(adapter)
    if adapter.serial_number is None:
        work.notes.append(
            f"The adapter at {adapter.device} has no serial number: another one of its kind would be called {BOARD} too."
        )
    if not os.access(adapter.device, os.R_OK | os.W_OK):
        work.notes.append("You may not open the port yet. Type `sudo usermod -aG dialout $USER`, and log in again.")
    if has_text(machine.rule, text):
        return
    taken_up = [["udevadm", "control", "--reload"], ["udevadm", "trigger", "--subsystem-match=tty"]]
    if machine.as_root:
        work.write[machine.rule] = text
        work.commands.extend(taken_up)
    else:
        work.by_root.append(line_to_write(machine.rule, text))
        work.by_root.extend(f"sudo {as_line(each)}" for each in taken_up)


def work_to_undo(machine: Machine, *, system: bool) -> ServiceWork:
    """What taking everything away would do: only files that are as this command wrote them."""
    work = ServiceWork()
    unit = (machine.system_units if system else machine.user_units) / SERVICE
    manage = _manager(system=system)
    if _may_go(unit, work):
        work.first.append([*manage, "disable", "--now", SERVICE])
        work.remove.append(unit)
        work.commands.append([*manage, "daemon-reload"])
        if not system:
            work.notes.append("Your services start without a login; `sudo loginctl disable-linger $USER` ends that.")
        work.notes.append("A run that is under way goes on; `fullturn tell SESSION stop` ends it.")
    if _may_go(machine.rule, work):
        reload = ["udevadm", "control", "--reload"]
        if machine.as_root:
            work.remove.append(machine.rule)
            work.commands.append(reload)
        else:
            work.by_root.extend([f"sudo rm {machine.rule}", f"sudo {as_line(reload)}"])
    return work


def _may_go(path: Path, work: ServiceWork) -> bool:
    """Whether a file is there as it was written; one that somebody changed is named."""
    if not os.path.lexists(path):
        return False
    if not is_own_file(path):
        work.notes.append(
            f"{shown(path)} was changed by somebody, so it is kept. Remove it by hand if you do not need it."
        )
        return False
    return True


def do_work(work: ServiceWork, run: Runner) -> None:
    """Write, remove and run what was planned. Raises StorageFailed, WorldError at the first command that fails."""
    for path, text in work.write.items():
        make_inner_folder(path.parent)
        write_whole(path, text, replace=True, ours=is_own_file)
    for words in work.first:
        run(words)
    for path in work.remove:
        remove_file(path)
        if path.exists():
            raise WorldError(f"{shown(path)} cannot be removed. See who may write to its folder.")
    for words in work.commands:
        run(words)


def run_command_of_system(words: Sequence[str]) -> None:
    """Run a command of the system to its end. Raises WorldError with its last sentence if it fails."""
    try:
        done = subprocess.run(
            words,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=LONGEST_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        raise WorldError(f"`{as_line(words)}` cannot be run here. Run it by hand to see why.") from None
    if done.returncode:
        last = (done.stderr.strip().splitlines() or ["no reason given"])[-1]
        raise WorldError(f"`{as_line(words)}` failed: {shown(last.rstrip('.'))}. Run it by hand to see why.")


def work_text(work: ServiceWork) -> str:
    """What would be done, for people."""
    lines = []
    for path, text in work.write.items():
        lines += [
            f"{'Replaces' if path.exists() else 'Writes'} {shown(path)}:",
            *(f"    {line}" for line in text.splitlines()),
        ]
    if work.remove:
        lines += ["Removes:", *(f"    {shown(path)}" for path in work.remove)]
    if work.first or work.commands:
        lines += ["Runs:", *(f"    {as_line(words)}" for words in (*work.first, *work.commands))]
    if work.by_root:
        lines += ["Needs root, so type this yourself:", *(f"    {line}" for line in work.by_root)]
    return "\n".join([*lines, *work.notes])
