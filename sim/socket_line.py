"""A line over TCP, for systems without pseudo-terminals and for hosts elsewhere."""

import socket
from types import TracebackType
from typing import Self

CHUNK = 4096


class SocketLine:
    """A server for one host at a time; it hangs up on a second one.

    `host` is a name, an IPv4 address, or an IPv6 address without brackets, with its zone if it needs one. With `port` 0
    the system chooses one. Raises OSError if it cannot listen there.
    """

    def __init__(self, host: str, port: int) -> None:
        family, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
        self._listener = socket.create_server(address, family=family)
        self._listener.setblocking(False)
        self._host: socket.socket | None = None
        named = f"[{host}]" if ":" in host else host
        self.path = f"socket://{named}:{self._listener.getsockname()[1]}"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self._hang_up()
        self._listener.close()

    def fileno(self) -> int:
        """The file descriptor to wait for: the connected host's, or the listener's."""
        return (self._host or self._listener).fileno()

    def read(self) -> bytes:
        """The bytes that the host has written; or accept a new host."""
        if self._host is None:
            self._host = self._next_host()
            return b""
        try:
            data = self._host.recv(CHUNK)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._hang_up()
        elif (second := self._next_host()) is not None:
            second.close()
        return data

    def write(self, data: bytes) -> int:
        """Write bytes to the host; without a host they are dropped."""
        if self._host is None:
            return len(data)
        try:
            return self._host.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._hang_up()
            return len(data)

    def _next_host(self) -> socket.socket | None:
        try:
            host, _ = self._listener.accept()
        except BlockingIOError:
            return None
        host.setblocking(False)
        host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return host

    def _hang_up(self) -> None:
        if self._host is not None:
            self._host.close()
            self._host = None
