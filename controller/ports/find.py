"""Find the ports of this computer, and those with a board."""

import math
from dataclasses import dataclass

from controller.capture.line import BoardLine
from controller.capture.port import Port
from controller.errors import WorldError
from controller.ports.serial_port import SerialPort, ports
from protocol.host_link import HostLink
from protocol.messages import Capability, Welcome
from protocol.units import MS, Nanos

# Many boards restart when their port is opened, and do not answer for a while. Common practice, no source.
BOOT_MS = 2500
TRY_MS = 300
TRIES = math.ceil(BOOT_MS / TRY_MS)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A port of this computer. `name` stays the same if the cable is plugged in elsewhere, if the serial number is
    known.
    """

    port: str
    description: str
    serial_number: str | None
    board: Welcome | None
    trouble: str | None

    @property
    def name(self) -> str:
        """The name by which the port is found again."""
        return f"usb:{self.serial_number}" if self.serial_number else self.port

    @property
    def answer(self) -> str:
        """What answers there, in words."""
        if self.board is None:
            return self.trouble or "nothing answers"
        ramps = "shapes its ramps" if self.board.offers & Capability.SHAPER else "does not shape its ramps"
        return f"a board, boot {self.board.boot_id:08x}, {ramps}"


def wait_candidates(baud: int) -> list[Candidate]:
    """All ports of this computer, each tested for a board for a few seconds."""
    return [wait_candidate(device, baud, description, serial) for device, description, serial in ports()]


def wait_candidate(url: str, baud: int, description: str = "", serial_number: str | None = None) -> Candidate:
    """One port, tested for a board for a few seconds. Why it cannot be used is the candidate's trouble, not an error."""
    board, trouble = None, None
    try:
        with SerialPort(url, baud) as port:
            board = wait_board(port)
    except WorldError as error:
        trouble = str(error).removeprefix(f"{url} ")  # the line names it already
    return Candidate(url, description, serial_number, board, trouble)


def wait_known_board(port: Port) -> Welcome:
    """The board at `port`, by its own description. Raises WorldError if nothing answers."""
    welcome = wait_board(port)
    if welcome is None:
        raise WorldError("nothing answers as a board at this port; check the cable, the power and the baud rate.")
    return welcome


def wait_board(port: Port) -> Welcome | None:
    """The board at `port`, by its own description; None if nothing answers within the time of a restart.

    Raises OtherVersion.
    """
    line = BoardLine(port, lambda: HostLink(retry_ns=Nanos(TRY_MS * MS), tries=TRIES))
    welcome = line.wait_welcome(BOOT_MS * MS)
    line.wait_quiet()  # leave nothing of this conversation for the next one
    return welcome
