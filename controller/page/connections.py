"""Limits on connections: how many there are, and how long one may take.

A subclass of uvicorn's protocol over h11. A connection must send a whole request within 10 s. It is closed if
nothing of its answer can be sent for 10 s. If too many are open, the one that has waited longest without a request
makes room: so a thousand that never ask keep nobody out.
"""

import asyncio
from typing import TYPE_CHECKING

from uvicorn.protocols.http.h11_impl import H11Protocol

if TYPE_CHECKING:
    from controller.page.refusing import Refusals

REQUEST_S, WRITE_S, KEPT_S = 10.0, 10.0, 5
MOST_CONNECTIONS, MOST_OF_ADDRESS = 256, 64
MOST_HEADER_BYTES = 16 * 1024


class Connection(H11Protocol):
    """One connection. `connections_of` makes a class of it for one server."""

    refusals: "Refusals"
    open: "dict[Connection, str]"
    """The open connections of the server with their addresses, the oldest first."""
    _received = False
    _request_timer: asyncio.TimerHandle | None = None
    _write_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Note the connection; close one if there are too many."""
        super().connection_made(transport)
        self.open[self] = self._address
        self._watch_request()
        mine = [each for each, address in self.open.items() if address == self._address]
        for those, most in ((mine, MOST_OF_ADDRESS), (list(self.open), MOST_CONNECTIONS)):
            if len(those) > most:
                next((each for each in those if each.is_waiting), self).close_now("too many connections")

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        super().connection_lost(exc)
        self._forget()

    def data_received(self, data: bytes) -> None:
        """Note that it is used."""
        self._received = True
        super().data_received(data)

    @property
    def is_waiting(self) -> bool:
        """Whether no complete request is being answered."""
        return self.cycle is None or self.cycle.response_complete or self.cycle.more_body

    def on_response_complete(self) -> None:
        """Give the next request its own time. uvicorn's own timer closes a connection that stays idle."""
        super().on_response_complete()
        self._received = False
        if not self.transport.is_closing():
            self._watch_request()

    def pause_writing(self) -> None:
        """Note when the other end stops taking what is sent."""
        super().pause_writing()
        self._write_timer = self.loop.call_later(WRITE_S, self.close_now, "its answer was not taken for 10 s")

    def resume_writing(self) -> None:
        """Note that it takes it again."""
        super().resume_writing()
        if self._write_timer is not None:
            self._write_timer.cancel()

    def send_400_response(self, msg: str) -> None:
        """Answer what is not HTTP."""
        self.refusals.note("it is not HTTP", self._address)
        super().send_400_response(msg)

    def close_now(self, why: str) -> None:
        """Close it without waiting for anything that is still to be sent."""
        if not self.transport.is_closing():
            self.refusals.note(why, self._address)
            self.transport.abort()
        self._forget()

    @property
    def _address(self) -> str:
        return self.client[0] if self.client else ""

    def _watch_request(self) -> None:
        if self._request_timer is not None:
            self._request_timer.cancel()
        self._request_timer = self.loop.call_later(REQUEST_S, self._request_overdue)

    def _request_overdue(self) -> None:
        if not self.is_waiting:
            return  # the request is complete; its answer may take long, as a stream does
        if self._received:
            self.close_now("no complete request within 10 s")
        else:  # a browser opens some in advance
            self.transport.abort()

    def _forget(self) -> None:
        self.open.pop(self, None)
        for timer in (self._request_timer, self._write_timer):
            if timer is not None:
                timer.cancel()


def connections_of(refusals: "Refusals") -> type[Connection]:
    """The protocol of one server, which knows its own connections."""
    return type("ConnectionHere", (Connection,), {"refusals": refusals, "open": {}})
