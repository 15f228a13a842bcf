"""The names and addresses under which the page may be asked for, and those to print.

A browser that was lured to another name for this address (DNS rebinding) sends that name as Host, and is refused.
"""

import socket
from contextlib import suppress
from ipaddress import ip_address

HERE = ("127.0.0.1", "localhost", "[::1]")


def network_addresses() -> list[str]:
    """The computer's addresses on local networks, IPv4 first; the one of the default route before the others."""
    found = [_address_toward(socket.AF_INET, "192.0.2.1")]  # RFC 5737: nobody has this address; nothing is sent
    with suppress(OSError):
        found += [str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None, type=socket.SOCK_STREAM)]
    found.append(_address_toward(socket.AF_INET6, "2001:db8::1"))  # RFC 3849
    return list(dict.fromkeys(each for each in found if each and _is_local(each)))


def _address_toward(family: socket.AddressFamily, address: str) -> str:
    """The own address from which a packet to `address` would be sent; connecting a datagram socket sends nothing."""
    with suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as probe:
        probe.connect((address, 9))
        return str(probe.getsockname()[0])
    return ""


def _is_local(address: str) -> bool:
    if "%" in address:
        return False  # a zone, which no link can name
    known = ip_address(address)
    return not (known.is_loopback or known.is_unspecified or known.is_link_local)


def in_link(address: str) -> str:
    """An address as a link has it: IPv6 in brackets."""
    return f"[{address}]" if ":" in address else address


def hosts_of(port: int, *, lan: bool) -> frozenset[str]:
    """The values of Host that are this page's, in lower case."""
    names = list(HERE)
    if lan:
        own = socket.gethostname().lower()
        names += [in_link(each) for each in network_addresses()] + [own, f"{own.removesuffix('.local')}.local"]
    return frozenset(f"{name}:{port}" for name in names) | (frozenset(names) if port == 80 else frozenset())
