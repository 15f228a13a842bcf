"""The real server on the loopback address: connections that never ask, never end or never listen.

OWASP ASVS 4.0.3, by number from memory: V11.1.4 (anti-automation of resources), V13.1, V12.1.1 (large bodies). The time
that the server allows is shortened; nothing waits for the clock but the server itself.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from pathlib import Path

import pytest

from controller.page import connections
from controller.page.connections import MOST_OF_ADDRESS
from controller.page.routing import MOST_BODY_BYTES
from controller.page.serving import server_of
from tests.controller.page.pages import Served, served_in

MANY = 1000
ENOUGH_S = 20  # until a test gives up


@asynccontextmanager
async def running(served: Served) -> AsyncIterator[int]:
    """The page's server at a free port of 127.0.0.1."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(128)
        port = listening.getsockname()[1]
        served.page = replace(served.page, hosts=frozenset({f"127.0.0.1:{port}"}))
        server = server_of(served.page)
        task = asyncio.create_task(server.serve([listening]))
        try:
            yield port
        finally:
            server.should_exit = True
            await task


def request(port: int, path: str, method: str = "GET", *headers: str) -> bytes:
    lines = [f"{method} {path} HTTP/1.1", f"Host: 127.0.0.1:{port}", f"Origin: http://127.0.0.1:{port}", *headers]
    return ("\r\n".join(lines) + "\r\n\r\n").encode()


async def answer_to(port: int, sent: bytes) -> bytes:
    """All that comes back before the server closes the connection."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(sent)
    found = b""
    with suppress(ConnectionError):
        while part := await reader.read(65536):
            found += part
    writer.close()
    return found


async def is_well(port: int) -> None:
    """The page still answers somebody else."""
    found = await answer_to(port, request(port, "/pair", "GET", "Connection: close"))
    assert found.startswith(b"HTTP/1.1 200 ")


Attack = Callable[[Served, int], Awaitable[None]]
Within = Callable[[Attack], Served]


@pytest.fixture
def within(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Within:
    """Runs something against a server that allows a quarter of a second."""

    def run(attack: Attack) -> Served:
        monkeypatch.setattr(connections, "REQUEST_S", 0.25)
        monkeypatch.setattr(connections, "WRITE_S", 0.25)
        served = served_in(tmp_path)

        async def both() -> None:
            async with running(served) as port:
                await asyncio.wait_for(attack(served, port), ENOUGH_S)
                await is_well(port)

        asyncio.run(both())
        return served

    return run


def test_a_thousand_connections_that_never_ask_keep_nobody_out(within: Within) -> None:
    """Each sends half a request. The page answers in between, and no more of them are open than the limit."""

    async def attack(_: Served, port: int) -> None:
        opened = []
        for number in range(MANY):
            one = socket.socket()
            one.setblocking(False)
            await asyncio.get_running_loop().sock_connect(one, ("127.0.0.1", port))
            with suppress(ConnectionError):
                one.send(b"GET /pair HTTP/1.1\r\nHost: ")
            opened.append(one)
            if len(opened) > 2 * MOST_OF_ADDRESS:  # those are closed at the other end already; we have few file numbers
                opened.pop(0).close()
            if number % 250 == 249:
                await is_well(port)
        alive = 0
        for one in opened:
            with suppress(ConnectionError):
                try:
                    alive += one.recv(1) != b""
                except BlockingIOError:
                    alive += 1
        assert 0 < alive <= MOST_OF_ADDRESS
        for one in opened:
            one.close()

    served = within(attack)
    assert any("too many connections" in line for line in served.lines)
    assert len(served.lines) <= 31


@pytest.mark.parametrize(
    "begin",
    [
        b"G",
        b"GET /pair HTTP/1.1\r\nX: ",
        b"POST /pair HTTP/1.1\r\nHost: x\r\nContent-Length: 20\r\n\r\n{",
        b"POST /pair HTTP/1.1\r\nHost: HERE\r\nOrigin: http://HERE\r\nContent-Length: 20\r\n\r\n{",
        b"POST /pair HTTP/1.1\r\nHost: HERE\r\nOrigin: http://HERE\r\nTransfer-Encoding: chunked\r\n\r\n1\r\n{\r\n",
    ],
)
def test_a_request_that_never_ends_is_closed_and_logged(within: Within, begin: bytes) -> None:
    async def attack(_: Served, port: int) -> None:
        await answer_to(port, begin.replace(b"HERE", f"127.0.0.1:{port}".encode()))

    assert within(attack).lines


def test_a_request_that_comes_byte_by_byte_is_closed_all_the_same(within: Within) -> None:
    async def attack(_: Served, port: int) -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        with suppress(ConnectionError):
            while not reader.at_eof():
                writer.write(b"G")
                await writer.drain()
                with suppress(TimeoutError):
                    await asyncio.wait_for(reader.read(1), 0.05)
        writer.close()

    assert within(attack).lines[0].endswith("no complete request within 10 s")


def test_an_idle_connection_is_closed_without_a_word(within: Within) -> None:
    """A browser opens some in advance, and keeps others after an answer."""

    async def attack(_: Served, port: int) -> None:
        assert await answer_to(port, b"") == b""
        found = await answer_to(port, request(port, "/pair"))
        assert found.startswith(b"HTTP/1.1 200 ")

    assert within(attack).lines == []


@pytest.mark.parametrize("cookie", [False, True])
def test_a_body_of_a_gigabyte_is_not_read(within: Within, cookie: bool) -> None:
    """Claimed by its length, and in chunks that never end; from a stranger and from a paired device."""

    async def attack(served: Served, port: int) -> None:
        token = served.page.access.pair(served.page.access.keys.control, "")
        headers = [f"Cookie: fullturn={token}"] if cookie else []
        claimed = request(port, "/controls/take", "POST", *headers, "Content-Length: 1000000000")
        assert (await answer_to(port, claimed)).startswith(b"HTTP/1.1 413 ")
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(request(port, "/controls/take", "POST", *headers, "Transfer-Encoding: chunked"))
        sent = 0
        with suppress(ConnectionError):
            while sent < 1000 * MOST_BODY_BYTES and not reader.at_eof():
                writer.write(b"2710\r\n" + bytes(10_000) + b"\r\n")
                sent += 10_000
                await writer.drain()
        writer.close()
        assert sent < 200 * MOST_BODY_BYTES  # what the system's buffers hold, not what was read

    within(attack)


def test_who_does_not_take_an_answer_is_closed(within: Within, tmp_path: Path) -> None:
    async def attack(served: Served, port: int) -> None:
        (tmp_path / "report").mkdir()
        (tmp_path / "report" / "large.txt").write_bytes(bytes(20_000_000))
        token = served.page.access.pair(served.page.access.keys.see, "")
        reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=1000)
        writer.transport.pause_reading()  # type: ignore[attr-defined]
        writer.write(request(port, "/file/report/large.txt", "GET", f"Cookie: fullturn={token}"))
        while not any("taken" in line for line in served.lines):
            await answer_to(port, b"G")  # waits for as long as the server lets a request take
        writer.close()
        del reader

    assert "Refused (127.0.0.1): its answer was not taken for 10 s" in within(attack).lines


def test_what_is_not_http_is_answered_and_logged(within: Within) -> None:
    async def attack(_: Served, port: int) -> None:
        for sent in (
            b"\x16\x03\x01\x02\x00",
            b"GET / HTTP/1.1\r\n\r\n",
            b"x" * 100_000 + b"\r\n\r\n",
            b"GET / HTTP/9\r\n\r\n",
        ):
            assert not (await answer_to(port, sent)).startswith(b"HTTP/1.1 200")

    assert any("not HTTP" in line for line in within(attack).lines)


@pytest.mark.parametrize(
    "path",
    ["/static/../access.py", "/static/%2e%2e/access.py", "/file/../../x", "http://127.0.0.1/pair", "*", "/\\..\\x"],
)
def test_a_path_as_it_was_sent_leads_nowhere(within: Within, path: str) -> None:
    async def attack(served: Served, port: int) -> None:
        token = served.page.access.pair(served.page.access.keys.control, "")
        for headers in ([], [f"Cookie: fullturn={token}"]):
            found = await answer_to(port, request(port, path, "GET", *headers, "Connection: close"))
            assert found.split()[1] in {b"401", b"404", b"400"}

    within(attack)


def test_a_stream_lasts_longer_than_a_request_may_and_ends_with_its_page(within: Within) -> None:
    async def attack(served: Served, port: int) -> None:
        token = served.page.access.pair(served.page.access.keys.control, "Mobile Android")
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(request(port, "/events", "GET", f"Cookie: fullturn={token}"))
        await reader.readuntil(b"This device (Phone 1) holds the controls.")
        for _ in range(2):
            await answer_to(port, b"")  # twice as long as a request may take
        other = served.page.access.pair(served.page.access.keys.control, "Mobile Android")
        assert other is not None
        device = served.page.access.device_of(other)
        assert device is not None
        served.page.access.take(device)
        await reader.readuntil(b"Phone 2 took the controls over from Phone 1")
        writer.close()

    assert within(attack).lines == []
