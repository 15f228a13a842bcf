"""Names of serial ports: one port has several."""

import os
import re
from typing import Protocol

COM = re.compile(r"(?:\\\\[.?]\\)?(com[0-9]+):?", re.IGNORECASE)
TTY = re.compile(r"/dev/tty\.(.+)")


class SerialNames(Protocol):
    """The system's names of serial ports."""

    def one_name(self, port: str) -> str:
        """The same name for each of a port's names, or the text itself if it names no port of this system."""


class PosixPorts:
    """A path; a link to it is another name."""

    def one_name(self, port: str) -> str:
        """See `SerialNames`."""
        return os.path.realpath(port) if os.path.exists(port) else port


class MacPorts(PosixPorts):
    """Each port is two devices. `cu` opens at once; `tty` waits until a modem has a carrier, which no board has."""

    def one_name(self, port: str) -> str:
        """See `SerialNames`."""
        real = super().one_name(port)
        is_incoming = TTY.fullmatch(real)
        return f"/dev/cu.{is_incoming[1]}" if is_incoming else real


class WindowsPorts:
    r"""COM3, com3, COM3: and \\.\COM3 are one port."""

    def one_name(self, port: str) -> str:
        """See `SerialNames`."""
        is_com = COM.fullmatch(port)
        return is_com[1].upper() if is_com else port
