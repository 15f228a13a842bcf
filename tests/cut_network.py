"""A network that can be cut: it relays TCP from one address of this machine to another.

When a telephone walks out of reach no connection is closed: bytes are just not answered. A browser's own "offline" does
not show that, since streams that are open go on.
"""

from __future__ import annotations

import selectors
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from threading import Event, Thread

CHUNK, LOOK_S = 65536, 0.02


class CutNetwork:
    """Relays from `address` to this machine's loopback at the same port, unless it is cut."""

    def __init__(self, port: int, address: str) -> None:
        self._port, self._over, self._cut = port, Event(), Event()
        self._listener = socket.create_server((address, port))
        self._others: dict[socket.socket, socket.socket] = {}
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._listener, selectors.EVENT_READ)

    def cut(self) -> None:
        """From now on nothing passes, and nothing is told of it."""
        self._cut.set()

    def mend(self) -> None:
        """Let everything pass again, what has been waiting included."""
        self._cut.clear()

    def end(self) -> None:
        """Stop relaying."""
        self._over.set()

    def relay(self) -> None:
        """Relay until the end."""
        while not self._over.is_set():
            if self._cut.is_set():
                self._over.wait(LOOK_S)
                continue
            for key, _ in self._selector.select(LOOK_S):
                if key.fileobj is self._listener:
                    self._join()
                elif isinstance(key.fileobj, socket.socket) and key.fileobj in self._others:
                    self._pass_on(key.fileobj)
        for each in [self._listener, *self._others]:
            each.close()

    def _join(self) -> None:
        near, _ = self._listener.accept()
        try:
            far = socket.create_connection(("127.0.0.1", self._port))
        except OSError:  # nobody serves there now
            near.close()
            return
        for one, other in ((near, far), (far, near)):
            self._others[one] = other
            self._selector.register(one, selectors.EVENT_READ)

    def _pass_on(self, one: socket.socket) -> None:
        data = b""
        with suppress(OSError):
            data = one.recv(CHUNK)
            self._others[one].sendall(data)
        if not data:
            for each in (one, self._others.pop(one)):
                self._others.pop(each, None)
                self._selector.unregister(each)
                each.close()


@contextmanager
def cut_network(port: int, address: str) -> Iterator[CutNetwork]:
    """Relay meanwhile."""
    network = CutNetwork(port, address)
    thread = Thread(target=network.relay, daemon=True)
    thread.start()
    try:
        yield network
    finally:
        network.end()
        thread.join()
