"""`fullturn doctor`: look at this computer, and say what to do. It opens no port and moves nothing."""

from collections.abc import Callable
from pathlib import Path

from controller.doctor.checks import checked
from controller.doctor.findings import CheckedComputer, CheckState
from controller.doctor.readings import ComputerReadings, PortReading
from controller.doctor.this_computer import port_reading, read_computer
from controller.errors import LinkLost
from controller.ports.serial_port import ports, resolve

WORDS_OF_STATES = {CheckState.OK: "ok", CheckState.LOOK: "look", CheckState.WRONG: "WRONG"}


def doctor_command(
    folder: Path, port: str | None, read: Callable[[Path, list[PortReading]], ComputerReadings] = read_computer
) -> CheckedComputer:
    """What the checks find on this computer, for sessions in `folder` and the board at `port` or all ports."""
    return checked(read(folder, _ports(port)))


def _ports(port: str | None) -> list[PortReading]:
    if port is None:
        return [port_reading(device, device, asked=False) for device, _, _ in ports()]
    try:
        return [port_reading(port, resolve(port), asked=True)]
    except LinkLost:  # no adapter with that serial number
        return [PortReading(port, exists=False, may_open=False, asked=True)]


def doctor_text(found: CheckedComputer) -> str:
    """The findings as lines for people, check by check; what to do is under each."""
    lines, before = [], ""
    for check, one in found.found:
        if check.title != before:
            lines.append(check.title)
            before = check.title
        lines.append(f"  {WORDS_OF_STATES[one.state]:6}{one.sentence}")
        if one.do:
            lines.append(f"        {one.do}")
    counts = {state: sum(one.state is state for _, one in found.found) for state in CheckState}
    lines.append(f"{counts[CheckState.WRONG]} wrong, {counts[CheckState.LOOK]} worth a look, {counts[CheckState.OK]} ok")
    return "\n".join(lines)
