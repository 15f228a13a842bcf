"""The line over TCP: one host at a time, and none does no harm."""

import select
import socket

from sim.socket_line import SocketLine


def address(line: SocketLine) -> tuple[str, int]:
    host, _, port = line.path.removeprefix("socket://").rpartition(":")
    return host, int(port)


def wait_read(line: SocketLine) -> bytes:
    """The next bytes received; connecting hosts are accepted."""
    while select.select([line], [], [], 5)[0]:
        if data := line.read():
            return data
    return b""


def test_there_and_back() -> None:
    with SocketLine("127.0.0.1", 0) as line:
        assert line.write(b"into the air") == 12
        with socket.create_connection(address(line)) as host:
            host.sendall(b"ask")
            assert wait_read(line) == b"ask"
            assert line.write(b"answer") == 6
            assert host.recv(100) == b"answer"


def test_a_second_host_is_hung_up_on_and_the_next_is_welcome() -> None:
    with SocketLine("127.0.0.1", 0) as line:
        with socket.create_connection(address(line)) as first:
            first.sendall(b"1")
            assert wait_read(line) == b"1"
            with socket.create_connection(address(line)) as second:
                first.sendall(b"2")
                assert wait_read(line) == b"2"
                second.settimeout(5)
                assert second.recv(100) == b""
        with socket.create_connection(address(line)) as third:
            third.sendall(b"3")
            assert wait_read(line) == b"3"
