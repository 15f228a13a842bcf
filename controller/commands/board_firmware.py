"""`fullturn board build` and `board flash`: the firmware built, written, and then asked whether it works."""

import shlex
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from controller.capture.gate import Gate
from controller.capture.people import People
from controller.commands import firmware
from controller.commands.firmware import TARGETS, BoardTarget
from controller.conformance.battery import RuleResult, wait_battery
from controller.conformance.rules import RULES
from controller.conformance.talk import Talk
from controller.errors import InputError, WorldError
from controller.ports.find import wait_known_board
from controller.ports.serial_port import SerialPort, port_alone, resolve
from protocol.codec import PROTOCOL_VERSION
from protocol.messages import Capability, Welcome

FITTED = {
    "sync-contact": Capability.SYNC_CONTACT,
    "pan-switch": Capability.PAN_SWITCH,
    "tilt-switch": Capability.TILT_SWITCH,
    "half-press": Capability.HALF_PRESS,
}
"""What a head may lack, by its name on the command line."""
RESTING = tuple(rule for rule in RULES if not rule.motion)
"""The rules that do not even switch the motors on."""


@dataclass(frozen=True, slots=True)
class Built:
    """A program that was built: the folder, the file in it, its size in bytes, and the command."""

    target: str
    folder: str
    program: str
    file_bytes: int
    command: str

    def as_json(self) -> dict[str, Any]:
        """For JSON."""
        return asdict(self)


def build_command(
    target_name: str, folder: Path, baud: int, without: tuple[str, ...], say: Callable[[str], None]
) -> Built:
    """Build the firmware in the new folder `folder`; the command is said first. Raises InputError, WorldError."""
    target = TARGETS[target_name]
    firmware.must_have_tools(target.build_tools)
    fitted = None
    if without:
        fitted = int(sum(flag for name, flag in FITTED.items() if name not in without))
    line = firmware.build_line(target, baud, fitted)
    say(f"This runs in a copy of the sources: {shlex.join(line)}")
    size = firmware.build_in(folder, target, line)
    return Built(target.name, str(folder), str(firmware.program_in(folder, target)), size, shlex.join(line))


@dataclass(frozen=True, slots=True)
class Programmer:
    """What writes the program: its name for the tool, and its port and line speed if it has one."""

    name: str
    port: str | None
    baud: int


@dataclass(frozen=True, slots=True)
class Flashed:
    """A program that was written, and what the board then answered."""

    target: str
    command: str
    boot_id: int
    version: tuple[int, int]
    rules: list[RuleResult]

    @property
    def works(self) -> bool:
        """Whether the board answers as the new firmware should, and has broken no rule."""
        return self.version == PROTOCOL_VERSION and not any(rule.kept is False for rule in self.rules)

    def sentence(self, port: str) -> str:
        """What was found out, with what to do next."""
        told = ".".join(str(number) for number in self.version)
        ours = ".".join(str(number) for number in PROTOCOL_VERSION)
        if self.version != PROTOCOL_VERSION:
            return (
                f"The board answers with version {told} of the protocol, the firmware has {ours}: another program is "
                "running. Write this one again."
            )
        if not self.works:
            return "The board answers, but breaks a rule. Write the program again, and see hardware_notes/board.md."
        return (
            f"The firmware works: boot {self.boot_id:08x}, version {told} of the protocol. Next, with the motor supply "
            f"on: fullturn board check --port {port}"
        )

    def as_json(self) -> dict[str, Any]:
        """For JSON, with `works`."""
        return asdict(self) | {"works": self.works}


def line_for(folder: Path, port: str, programmer: Programmer) -> tuple[BoardTarget, list[str]]:
    """The target of `folder`, and the command that writes its program. Raises InputError, LinkLost."""
    firmware.must_be_programmer(programmer.name)
    target = firmware.target_of(folder)
    firmware.must_have_tools({target.flash_tool: target.flash_package})
    if not target.by_port and programmer.port is not None:
        raise InputError(f"--programmer-port {programmer.port}: {target.flash_tool} finds the debug adapter by itself.")
    at = port if programmer.port is None else programmer.port
    if target.by_port and "://" in at:
        raise InputError(f"{target.flash_tool} cannot use {at}. Name the programmer's device with --programmer-port.")
    device = resolve(at) if target.by_port else ""
    return target, firmware.flash_line(target, programmer.name, device, programmer.baud)


def flash_command(
    folder: Path,
    port: str,
    baud: int,
    programmer: Programmer,
    may_flash: Callable[[Path, list[str]], bool],
    tell: Callable[[RuleResult], None],
    people: People,
) -> Flashed | None:
    """Write the program in `folder`, then find out whether the board at `port` works; None if that was declined.

    `may_flash` is asked with the folder and the command that runs there. Afterwards only rules are checked that do not
    switch the motors on. Raises InputError, LinkLost, WorldError.
    """
    target, line = line_for(folder, port, programmer)
    home = firmware.program_in(folder, target).parent
    with port_alone(port, "board flash"):
        if not may_flash(home, line):
            return None
        firmware.run_tool(line, home)
        with SerialPort(port, baud) as opened:
            welcome = _wait_new_board(opened)
            gate = Gate.of(people, opened.now)
            rules = wait_battery(Talk(opened, gate=gate), lambda: False, tell, people.lead_ns, rules=RESTING)
    return Flashed(target.name, " ".join(line), welcome.boot_id, (welcome.version_major, welcome.version_minor), rules)


def _wait_new_board(port: SerialPort) -> Welcome:
    try:
        return wait_known_board(port)
    except WorldError as error:
        raise WorldError(f"The program was written, but {error}") from None
