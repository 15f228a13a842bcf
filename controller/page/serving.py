"""`fullturn page`: the server itself, which runs until it is interrupted."""

import logging
import socket
import webbrowser
from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from controller.errors import InputError, WorldError
from controller.lock import lock_of, sole_use
from controller.page.access import Access, PairingKeys
from controller.page.app import app_of
from controller.page.connections import KEPT_S, MOST_HEADER_BYTES, connections_of
from controller.page.hosts import hosts_of, in_link, network_addresses
from controller.page.link_words import ALL_MAY_READ, NOT_A_STOP, keys_text, pairing_link
from controller.page.page import Page
from controller.page.refusing import Refusals
from controller.page.served import PAGE_FILE, ServedFolder

BACKLOG = 128
GRACE_S = 2  # for answers under way


@dataclass(frozen=True, slots=True)
class PagePlace:
    """Where to serve: this machine only or the local network, at a port; 0 is any free port."""

    port: int
    lan: bool = False


@dataclass(frozen=True, slots=True)
class PageServed:
    """What is reported once the page can be opened."""

    folder: str
    port: int
    addresses: tuple[str, ...]
    control_key: str
    look_on_key: str
    news: str = ""
    """For the keys after the first ones: which device was paired."""


def serve_page(
    folder: Path,
    place: PagePlace,
    *,
    tell: Callable[[PageServed], None],
    warn: Callable[[str], None],
    head_port: str = "",
    open_browser: bool = False,
    forget_devices: bool = False,
) -> None:
    """Serve a folder until interrupted. Raises InputError, WorldError."""
    served = ServedFolder.at(folder)
    with ExitStack() as held:
        devices = served.root / PAGE_FILE
        held.enter_context(sole_use(lock_of(devices), f"The page of {folder}", "serving the page"))
        access, refusals = Access(devices), Refusals(warn)
        if forget_devices:
            access.forget_all()
        sockets = [held.enter_context(each) for each in listening(place)]
        port = sockets[0].getsockname()[1]

        def tell_keys(news: str) -> None:
            found = tuple(in_link(each) for each in network_addresses()) if place.lan else ()
            keys = access.keys
            tell(PageServed(str(served.root), port, found or ("localhost",), keys.control, keys.see, news))

        access.tell_keys = tell_keys
        tell_keys("")
        page = Page(
            served, access, hosts_of(port, lan=place.lan), refusals, cookie=f"fullturn-{port}", head_port=head_port
        )
        if open_browser:
            webbrowser.open_new_tab(pairing_link("localhost", port, access.keys.control))
        with suppress(KeyboardInterrupt):  # the server ends in order, and then raises it again
            server_of(page).run(sockets=sockets)


class PageServer(uvicorn.Server):
    """uvicorn's server, which ends the streams before it waits for what is still being answered."""

    def __init__(self, config: uvicorn.Config, page: Page) -> None:
        super().__init__(config)
        self._page = page

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End in order."""
        self._page.streams.close()
        await super().shutdown(sockets)
        await self._page.jobs.end()
        await self._page.planner.close()
        await self._page.kits.close()


def server_of(page: Page) -> uvicorn.Server:
    """The server of a page, not yet running. Its own log is silent but for faults of the program."""
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)
    config = uvicorn.Config(
        app_of(page),
        http=connections_of(page.refusals),
        ws="none",
        lifespan="off",
        loop="asyncio",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        backlog=BACKLOG,
        timeout_keep_alive=KEPT_S,
        timeout_graceful_shutdown=GRACE_S,
        h11_max_incomplete_event_size=MOST_HEADER_BYTES,
    )
    return PageServer(config, page)


def listening(place: PagePlace) -> list[socket.socket]:
    """The sockets that listen: both loopback addresses, or all addresses. Raises InputError, WorldError."""
    wanted = (
        ((socket.AF_INET, "0.0.0.0"), (socket.AF_INET6, "::"))
        if place.lan
        else ((socket.AF_INET, "127.0.0.1"), (socket.AF_INET6, "::1"))
    )
    found: list[socket.socket] = []
    for family, address in wanted:
        port = found[0].getsockname()[1] if found else place.port
        try:
            found.append(_bound(family, address, port))
        except OSError as error:
            if not found:
                raise _cannot(place.port, error) from None
            # A computer without IPv6 is served by IPv4 alone.
    return found


def _bound(family: socket.AddressFamily, address: str, port: int) -> socket.socket:
    made = socket.socket(family, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        made.bind((address, port))
        made.listen(BACKLOG)  # a browser that is opened before the server runs waits here
    except OSError:
        made.close()
        raise
    return made


def _cannot(port: int, error: OSError) -> InputError | WorldError:
    if isinstance(error, PermissionError):
        return InputError(f"--port-number: {port} may be served by administrators only. Choose 1024 or more.")
    return WorldError(f"The page cannot be served at port {port}: another program uses it. Choose another --port-number.")


def served_text(served: PageServed, *, lan: bool) -> str:
    """The sentences for people once the page can be opened."""
    keys = PairingKeys(served.control_key, served.look_on_key)
    text = keys_text(keys, list(served.addresses), served.port, with_code=lan)
    if served.news:
        return f"{served.news} New keys:\n{text}"
    lines = [f"The page of {served.folder} is open; Ctrl-C ends it, but not a run.", NOT_A_STOP]
    if lan and served.addresses == ("localhost",):
        lines.append("This computer is on no network yet. Join one, or open a hotspot, and start again.")
    return "\n".join([*lines, *([ALL_MAY_READ] if lan else []), text])
