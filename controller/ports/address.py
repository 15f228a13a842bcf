"""Addresses of boards as people type them: a device, usb:SERIALNUMBER, socket://HOST:PORT, rfc2217://HOST:PORT.

Literal IPv6 addresses go in brackets before a port (RFC 3986, section 3.2.2), with a zone if they need one (RFC 4007,
section 11): [fe80::1%eth0]:7000.
"""

import ipaddress
import re
from dataclasses import dataclass

from controller.numerals import whole_in
from controller.quantity import quoted
from controller.texts import MOST_PATH_BYTES, text_trouble

HERE = "127.0.0.1"
LAST_PORT = 65535  # 16 bits (RFC 9293, section 3.1)
LONGEST_NAME, LONGEST_LABEL = 253, 63  # of a host (RFC 1035, section 2.3.4)
LABEL = re.compile(r"[\w-]+")
OVER_A_NETWORK = ("socket", "rfc2217")
ITSELF = "loop://"  # pyserial's line that returns what was written, for tests
FORM = "Write it like 192.0.2.7:7000, head.example:7000 or [2001:db8::7]:7000."


@dataclass(frozen=True, slots=True)
class Host:
    """A computer by name or number, and a port on it. An IPv6 address has no brackets here, but may have a zone."""

    name: str
    port: int

    def __str__(self) -> str:
        """The address as typed."""
        return f"[{self.name}]:{self.port}" if ":" in self.name else f"{self.name}:{self.port}"


class BadAddress(ValueError):
    """Not an address. The message is a sentence with the reason and the correct form."""


def host_of(text: str, *, least_port: int = 1) -> Host:
    """HOST:PORT as a value; PORT alone means this computer. Raises BadAddress."""
    if trouble := text_trouble(text, MOST_PATH_BYTES):
        raise BadAddress(trouble)
    name, colon, number = text.strip().rpartition(":")
    if name.count(":") and not name.startswith("["):
        hint = f"Write [{text.strip()}]:7000." if _is_v6(text.strip()) else FORM
        raise BadAddress(f"{quoted(text)} is an IPv6 address without brackets, so that its port is not known. {hint}")
    port = whole_in(number)
    if port is None or not number.isdecimal():
        raise BadAddress(f"{quoted(text)} is not HOST:PORT. {FORM}")
    if not least_port <= port <= LAST_PORT:
        raise BadAddress(f"{quoted(text)}: there is no port {number[:10]}. Give one from {least_port} to {LAST_PORT}.")
    return Host(_name(name, text) if colon and name else HERE, port)


def _name(name: str, text: str) -> str:
    if name.startswith("["):
        inside = name[1:-1]
        if not name.endswith("]") or not _is_v6(inside):
            raise BadAddress(f"{quoted(text)} has no IPv6 address in its brackets. {FORM}")
        return inside
    labels = name.removesuffix(".").split(".")
    try:
        ascii_length = len(name.encode("idna"))
    except UnicodeError:
        ascii_length = LONGEST_NAME + 1
    fits = all(LABEL.fullmatch(label) and len(label) <= LONGEST_LABEL for label in labels)
    if not fits or ascii_length > LONGEST_NAME:
        raise BadAddress(f"{quoted(text)} has no name of a computer before its port. {FORM}")
    if all(label.isdecimal() for label in labels) and not _is_v4(name):
        raise BadAddress(f"{quoted(text)}: {quoted(name)} is no IPv4 address. {FORM}")
    return name


def _is_v6(text: str) -> bool:
    try:
        ipaddress.IPv6Address(text)
    except ValueError:
        return False
    return text.isascii()


def _is_v4(text: str) -> bool:
    try:
        ipaddress.IPv4Address(text)
    except ValueError:
        return False
    return True


def line_of(text: str) -> Host | None:
    """The host and port of a network address, or None for a device of this computer. Raises BadAddress."""
    if trouble := text_trouble(text, MOST_PATH_BYTES):
        raise BadAddress(trouble)
    scheme, mark, rest = text.partition("://")
    if not mark or text == ITSELF:
        return None
    if scheme.casefold() not in OVER_A_NETWORK:
        raise BadAddress(
            f"{quoted(text)}: there are no ports of the kind {quoted(scheme)}. Name a device, usb:SERIALNUMBER, "
            f"socket://HOST:PORT or rfc2217://HOST:PORT."
        )
    return host_of(rest.removesuffix("/"))
