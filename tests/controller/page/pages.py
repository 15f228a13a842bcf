"""A page in a folder of its own, and browsers that ask it without a network."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from controller.page.access import Access
from controller.page.app import app_of
from controller.page.page import Page
from controller.page.refusing import Refusals
from controller.page.served import PAGE_FILE, ServedFolder

HOST = "127.0.0.1:8360"
PHONE = "Mozilla/5.0 (Linux; Android 15) Mobile"


@dataclass
class Clock:
    """A clock that the test sets."""

    now_ns: int = 0

    def __call__(self) -> int:
        return self.now_ns


@dataclass
class Served:
    """A page, its clock, and the lines that it wrote about refusals."""

    page: Page
    clock: Clock
    lines: list[str] = field(default_factory=list)

    def browser(self, key: str = "") -> Browser:
        """A browser; paired if it has a key."""
        browser = Browser(self)
        if key:
            assert browser.post("/pair", {"key": key}).status_code == 200
        return browser

    @property
    def controlling(self) -> Browser:
        return self.browser(self.page.access.keys.control)

    @property
    def looking_on(self) -> Browser:
        return self.browser(self.page.access.keys.see)


def served_in(folder: Path) -> Served:
    """The page of a folder."""
    clock, lines = Clock(), list[str]()
    access = Access(folder / PAGE_FILE, now_ns=clock)
    page = Page(ServedFolder.at(folder), access, frozenset({HOST}), Refusals(lines.append, clock))
    return Served(page, clock, lines)


class Browser:
    """Keeps cookies as a browser does, and sends what one sends."""

    def __init__(self, served: Served) -> None:
        self.served, self.cookies = served, httpx.Cookies()

    def ask(self, method: str, path: str, **changes: object) -> httpx.Response:
        """Ask for something; `headers` replace ours, and None leaves one out."""
        return asyncio.run(self._ask(method, path, **changes))

    async def _ask(self, method: str, path: str, **changes: object) -> httpx.Response:
        headers = {"Host": HOST, "User-Agent": PHONE, "Accept": "text/html", "Origin": f"http://{HOST}"}
        headers |= {"Sec-Fetch-Site": "same-origin"} | dict(changes.pop("headers", {}))  # type: ignore[call-overload]
        sent = {name: value for name, value in headers.items() if value is not None}
        transport = httpx.ASGITransport(app_of(self.served.page), client=("192.0.2.7", 5))
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}", cookies=self.cookies) as client:
            answer = await client.request(method, path, headers=sent, **changes)  # type: ignore[arg-type]
            self.cookies.update(client.cookies)
        return answer

    def get(self, path: str, **changes: object) -> httpx.Response:
        return self.ask("GET", path, **changes)

    def post(self, path: str, value: object = None, **changes: object) -> httpx.Response:
        """Post JSON."""
        return self.ask("POST", path, json={} if value is None else value, **changes)
