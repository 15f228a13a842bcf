"""Checks of the serial ports. None is opened: that restarts many boards."""

from collections.abc import Iterator, Mapping

from controller.doctor.findings import ComputerFinding, in_order, look, wrong
from controller.doctor.readings import ComputerReadings, PortReading

GRABBERS: Mapping[str, str] = {
    "ModemManager": "sudo systemctl disable --now ModemManager, or `fullturn install-service`, whose rule keeps it away",
    "brltty": "If nobody here reads Braille: sudo systemctl disable --now brltty",
}
"""General services that open serial ports when they appear, and what to do about each.

Sources: the manuals of ModemManager (ID_MM_DEVICE_IGNORE) and of brltty, from memory.
"""


def check_ports(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether there is a port, and whether you may open it."""
    if not readings.ports:
        yield look(
            "No serial port was found.",
            "Plug the board in, and use a cable that carries data; then: fullturn board find",
        )
    for port in readings.ports:
        yield _of_port(port)


def _of_port(port: PortReading) -> ComputerFinding:
    if port.on_network:
        return in_order(f"The port {port.name} is on a network, and was not looked for.")
    if not port.exists:
        return wrong(f"There is no port {port.name}.", "Plug the board in; then: fullturn board find")
    if not port.may_open:
        return _not_allowed(port)
    if port.holder is not None:
        return look(
            f"The port {port.name} is in use by {port.holder}.",
            "End that program before a run, unless it is the run",
        )
    return in_order(f"The port {port.name} is there, and you may open it.")


def _not_allowed(port: PortReading) -> ComputerFinding:
    sentence = f"You have no permission to open the port {port.name}."
    if port.group is None or port.group == "root":
        do = "Have somebody who may change this system give you the port"
    else:
        do = f'sudo usermod -aG {port.group} "$USER"; then log out and in again'
    return (wrong if port.asked else look)(sentence, do)


def check_services(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether another program takes every new port for its own."""
    found = [name for name in readings.services if name in GRABBERS]
    for name in found:
        yield look(f"{name} is running. It may open the board's port, and write to it.", GRABBERS[name])
    if not found:
        yield in_order("No program is running that is known to take serial ports.")
