"""A line to a real board through pyserial, in real time.

pyserial reports trouble partly as its own exception and partly as a plain OSError; here both become LinkLost. Opening a
port resets many boards. Do not sleep for that: wait for the board's first answer.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import serial
from serial.tools import list_ports

from controller import clock
from controller.errors import LinkLost
from controller.lock import lock_of, sole_use
from controller.ports.address import BadAddress, line_of
from controller.ports.trouble import words_of
from controller.quantity import quoted
from protocol.units import NS

# Wait in pieces, so that the operator's requests are seen in time: a signal alone does not end a read.
PIECE_NS = 20_000_000
NO_DESCRIPTION = {None, "", "n/a"}  # descriptions of ports in pyserial


class SerialPort:
    """An open port. `url` is a device (/dev/ttyUSB0, COM3), usb:SERIALNUMBER, socket://HOST:PORT or
    rfc2217://HOST:PORT.
    """

    def __init__(self, url: str, baud: int) -> None:
        self.url, self._baud = url, baud
        self._serial = _open(url, baud)
        self._gone = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the port."""
        with suppress(OSError):
            self._serial.close()

    def reopen(self) -> None:
        """Close the port and open it again; an adapter named by its serial number may be another device now.

        Raises LinkLost.
        """
        self.close()
        self._serial = _open(self.url, self._baud)
        self._gone = False

    def now(self) -> int:
        """Monotonic time in nanoseconds."""
        return clock.monotonic_ns()

    def write(self, data: bytes) -> None:
        """Hand bytes to the system. Raises LinkLost, but only once: a line known to be lost takes bytes silently."""
        if self._gone:
            return
        try:
            self._serial.write(data)
        except OSError as error:
            raise self._lost(error) from None

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        """Wait for bytes until `deadline_ns`, or less: see `capture.port`.

        Raises LinkLost once if the line is lost. After that it only waits, until `reopen`.
        """
        left_ns = PIECE_NS if deadline_ns is None else min(PIECE_NS, max(0, deadline_ns - self.now()))
        if self._gone:
            clock.wait_ns(left_ns)
            return b""
        try:
            self._serial.timeout = left_ns / NS
            first: bytes = self._serial.read(1)
            return first + self._serial.read(self._serial.in_waiting) if first else b""
        except OSError as error:
            raise self._lost(error) from None

    def _lost(self, error: OSError) -> LinkLost:
        self._gone = True
        return LinkLost(f"The line {self.url} is gone: {words_of(error)}.")


def ports() -> list[tuple[str, str, str | None]]:
    """The serial ports of this computer: device, description, serial number of the USB adapter if it has one."""
    return [
        (info.device, "" if info.description in NO_DESCRIPTION else info.description, info.serial_number)
        for info in sorted(list_ports.comports())
    ]


def adapter_at(url: str) -> tuple[str, int, int, str | None] | None:
    """The USB adapter of a port: device, vendor and product numbers, serial number; None if it is none or not there."""
    wanted = os.path.realpath(url)
    for info in list_ports.comports():
        is_it = info.serial_number == url.removeprefix("usb:") if url.startswith("usb:") else info.device == wanted
        if is_it and info.vid is not None and info.pid is not None:
            return info.device, info.vid, info.pid, info.serial_number
    return None


def resolve(url: str) -> str:
    """The device of a name like usb:SERIALNUMBER; other names unchanged. Raises LinkLost."""
    wanted = url.removeprefix("usb:")
    if wanted == url:
        return url
    for info in list_ports.comports():
        if info.serial_number == wanted:
            return str(info.device)
    raise LinkLost(
        f"No USB adapter with the serial number {quoted(wanted)} is plugged in. Plug it in, or look with "
        "`fullturn board find`."
    )


def _open(url: str, baud: int) -> Any:
    """Open exclusively if the system supports it. Raises LinkLost."""
    try:
        line_of(url)
    except BadAddress as error:
        raise LinkLost(f"The port {error}") from None
    url = resolve(url)
    if Path(url).is_file():
        raise LinkLost(f"{url} is a file, not a port. Name a port; `fullturn board find` lists them.")
    try:
        line: Any = serial.serial_for_url(url, do_not_open=True)
        line.baudrate = baud
        line.write_timeout = 2.0
        if not url.partition("://")[1]:
            line.exclusive = True
        line.open()
    except (OSError, ValueError) as error:
        raise LinkLost(f"{url} cannot be opened: {words_of(error)}.") from None
    return line


@contextmanager
def port_alone(url: str, purpose: str) -> Iterator[None]:
    """Be the only program on a port. Raises Taken, LinkLost."""
    with sole_use(lock_of(resolve(url)), f"The port {url}", purpose):
        yield
