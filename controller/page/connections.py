"""Connections that cost nothing: limits on how many there are, and on how long one may take.

A subclass of uvicorn's protocol over h11. A connection must send a complete request within 10 s and take its answer as
fast as 10 s for what is buffered; of all others there may be so many, and from one address so many.
"""

import asyncio
from collections import Counter
from typing import TYPE_CHECKING, Any

from uvicorn.protocols.http.h11_impl import H11Protocol

if TYPE_CHECKING:
    from controller.page.refusing import Refusals

REQUEST_S, WRITE_S = 10.0, 10.0
MOST_CONNECTIONS, MOST_OF_ADDRESS = 256, 64
MOST_HEADER_BYTES = 16 * 1024


class Limited(H11Protocol):
    """One connection. `limited` makes a class of it for one server."""

    refusals: "Refusals"
    addresses: Counter[str]
    _counted = ""
    _request_timer: asyncio.TimerHandle | None = None
    _write_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Count the connection, or close it at once."""
        super().connection_made(transport)
        address = self.client[0] if self.client else ""
        if self.addresses.total() >= MOST_CONNECTIONS or self.addresses[address] >= MOST_OF_ADDRESS:
            self.refusals.note("too many connections", address)
            transport.abort()
            return
        self._counted = address or "?"
        self.addresses[self._counted] += 1
        self._watch_request()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget it."""
        super().connection_lost(exc)
        if self._counted:
            self.addresses[self._counted] -= 1
            self._counted = ""
        for timer in (self._request_timer, self._write_timer):
            if timer is not None:
                timer.cancel()

    def _watch_request(self) -> None:
        if self._request_timer is not None:
            self._request_timer.cancel()
        self._request_timer = self.loop.call_later(REQUEST_S, self._request_overdue)

    def _request_overdue(self) -> None:
        under_way = self.cycle is not None and not self.cycle.response_complete
        if under_way and not self.cycle.more_body:
            return  # the request is complete; its answer may take long, as a stream does
        self._close_slow("no complete request within 10 s")

    def on_response_complete(self) -> None:
        """After an answer the next request has its own time; the server's own timer closes an idle connection."""
        super().on_response_complete()
        if not self.transport.is_closing():
            self._watch_request()

    def pause_writing(self) -> None:
        """Note when the other end stops taking what is sent."""
        super().pause_writing()
        self._write_timer = self.loop.call_later(WRITE_S, self._close_slow, "its answer was not taken for 10 s")

    def resume_writing(self) -> None:
        """It takes it again."""
        super().resume_writing()
        if self._write_timer is not None:
            self._write_timer.cancel()

    def _close_slow(self, why: str) -> None:
        if not self.transport.is_closing():
            self.refusals.note(why, self.client[0] if self.client else "")
            self.transport.abort()


def limited(refusals: "Refusals") -> type[Limited]:
    """The protocol of one server, which counts its own connections."""
    shared: dict[str, Any] = {"refusals": refusals, "addresses": Counter()}
    return type("LimitedHere", (Limited,), shared)
