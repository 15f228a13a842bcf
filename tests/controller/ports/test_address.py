"""Addresses of lines: names and numbers of computers with their ports, in both versions of IP."""

from __future__ import annotations

import errno
import ipaddress
import re
import socket

import pytest
from hypothesis import given
from hypothesis import strategies as st
from serial import SerialException

from controller.errors import LinkLost
from controller.ports.address import BadAddress, Host, host_of, line_of
from controller.ports.serial_port import SerialPort
from controller.ports.trouble import WORDS, cannot_serve, words_of
from sim.socket_line import SocketLine

SIX = socket.has_ipv6


@given(address=st.ip_addresses(), port=st.integers(1, 65535))
def test_every_address_is_read_as_it_is_written(
    address: ipaddress.IPv4Address | ipaddress.IPv6Address, port: int
) -> None:
    host = Host(str(address), port)
    assert host_of(str(host)) == host
    assert line_of(f"socket://{host}") == host


@pytest.mark.parametrize(
    ("text", "host"),
    [
        ("7000", Host("127.0.0.1", 7000)),
        (":7000", Host("127.0.0.1", 7000)),
        ("head.example:7000", Host("head.example", 7000)),
        ("kopf-ü.example:7000", Host("kopf-ü.example", 7000)),
        ("[::1]:7000", Host("::1", 7000)),
        ("[fe80::1%eth0]:7000", Host("fe80::1%eth0", 7000)),
        ("[::ffff:192.0.2.7]:7000", Host("::ffff:192.0.2.7", 7000)),
    ],
)
def test_forms(text: str, host: Host) -> None:
    assert host_of(text) == host


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("::1", "Write [::1]:7000."),
        ("fe80::1%eth0", "Write [fe80::1%eth0]:7000."),
        ("::1:7000", "without brackets"),
        ("[::1]", "is not HOST:PORT"),
        ("[::1:7000", "no IPv6 address in its brackets"),
        ("[head.example]:7000", "no IPv6 address in its brackets"),
        ("head.example:99999", "Give one from 1 to 65535"),
        ("head.example:0", "Give one from 1 to 65535"),
        ("head.example:-1", "is not HOST:PORT"),
        ("head.example:1_0", "is not HOST:PORT"),
        ("head.example", "is not HOST:PORT"),
        ("head..example:7000", "no name of a computer"),
        ("he ad:7000", "no name of a computer"),
        ("300.1.1.1:7000", "is no IPv4 address"),
        ("x" * 64 + ":7000", "no name of a computer"),
        ("user@head:7000", "no name of a computer"),
        ("", "is empty"),
        ("a\nb:7000", "cannot be printed"),
    ],
)
def test_what_is_no_address_is_told_with_the_form_that_would_be(text: str, says: str) -> None:
    with pytest.raises(BadAddress, match=re.escape(says)):
        host_of(text)


@given(text=st.text(max_size=40) | st.from_regex(r"[\[\]0-9a-f:.%@/-]{0,30}", fullmatch=True))
def test_any_text_is_an_address_or_one_sentence(text: str) -> None:
    for read in (host_of, line_of, lambda typed: line_of(f"socket://{typed}"), lambda typed: line_of(f"spy://{typed}")):
        try:
            host = read(text)
        except BadAddress as refused:
            said = str(refused)
            if not (said.isprintable() and said.endswith(".")):
                raise
        else:
            assert host is None or (host.name and 1 <= host.port <= 65535)


@pytest.mark.parametrize("url", ["spy://x?file=precious", "alt://x?class=y", "hwgrep://.*", "socket://x:1?logging=debug"])
def test_no_library_sees_a_name_of_a_port_that_does_something_else(url: str) -> None:
    """One type of them opens a file for writing."""
    with pytest.raises(LinkLost, match=r"no ports of the kind|is not HOST:PORT"):
        SerialPort(url, 115_200)


@pytest.mark.skipif(not SIX, reason="needs IP of version 6")
def test_a_line_over_version_6() -> None:
    try:
        served = SocketLine("::1", 0)
    except OSError:
        pytest.skip("this computer has no address of version 6")
    with served, SerialPort(served.path, 115_200) as port:
        assert served.path.startswith("socket://[::1]:")
        served.read()
        served.write(b"hello")
        heard = b""
        while len(heard) < len(b"hello") and (more := port.wait_bytes(port.now() + 10**9)):
            heard += more
        assert heard == b"hello"


@pytest.mark.parametrize("number", [*WORDS, 9999])
@pytest.mark.parametrize("wrapped", [False, True])
def test_whatever_the_system_calls_it_the_user_reads_our_words(number: int, wrapped: bool) -> None:
    error: BaseException = OSError(number, "Strange word of the system")
    if wrapped:
        outer = SerialException(f"[Errno {number}] could not open port: {error}")
        outer.__context__ = error
        error = outer
    words = words_of(error)
    assert words
    for bad in ("Errno", "Strange", str(number)):
        assert bad not in words


def test_names_that_are_not_known_and_ports_of_the_administrator() -> None:
    assert "no computer of that name" in words_of(socket.gaierror(-2, "Name or service not known"))
    assert "a higher one" in cannot_serve(PermissionError(errno.EACCES, "x"), 80)
    assert "another program serves there" in cannot_serve(OSError(errno.EADDRINUSE, "x"), 7000)
    with SocketLine("127.0.0.1", 0) as served:
        taken = int(served.path.rpartition(":")[2])
        with pytest.raises(OSError) as refused:  # noqa: PT011  the test is about the words
            SocketLine("127.0.0.1", taken)
        assert "another program serves there" in cannot_serve(refused.value, taken)
