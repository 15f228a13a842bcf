"""What must be true of every view of the page, in a real browser."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from playwright.sync_api import Browser, BrowserContext, Page, Response, sync_playwright

from tests.browser import LOOKS, PHONE, addresses_of, chromium, device, errors_of, faults, sideways_px, small_targets
from tests.page_rig import PageProcess

OURS_PX = 48.0  # WCAG 2.2, success criterion 2.5.8, asks for 24
HERE = ("127.0.0.1", "localhost")
NETWORK = "127.0.0.2"
NOWHERE = f"MAP localhost {NETWORK}, MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"
"""Rules for names that let a browser find nothing but this machine; `localhost` is behind a network that can be cut."""
NAMELESS = re.compile(r"^\s*- '?(button|link|textbox|combobox|checkbox|spinbutton|slider|radio)(?! \")", re.MULTILINE)
OFFLINE = "Failed to load resource"  # the browser's own words on its console, whenever an answer is no success


@contextmanager
def lone_browser() -> Iterator[Browser]:
    """A browser that can reach this machine only."""
    path = chromium()
    with sync_playwright() as playwright:
        options = ["--no-sandbox", f"--host-resolver-rules={NOWHERE}"]
        opened = playwright.chromium.launch(executable_path=path, args=options)
        try:
            yield opened
        finally:
            opened.close()


@dataclass
class Window:
    """One window of a paired device: where its requests went, its console's errors, and which answers were no success."""

    page: Page
    context: BrowserContext
    addresses: list[str]
    errors: list[str]
    refused: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.on("response", self._note)

    def _note(self, response: Response) -> None:
        if response.status >= 400:
            self.refused.append(f"{response.status} {urlsplit(response.url).path}")

    @property
    def address(self) -> str:
        """Where the page is, for this window."""
        parts = urlsplit(self.page.url)
        return f"{parts.scheme}://{parts.netloc}"

    def open(self, path: str) -> None:
        """Go to a view, and wait until the page's stream has said who holds the controls."""
        self.page.goto(f"{self.address}{path}")
        self.page.locator("html[data-connected=yes]").wait_for()

    def beside_at(self, path: str) -> Window:
        """Another window of the same device."""
        page = self.context.new_page()
        page.goto(f"{self.address}{path}")
        return Window(page, self.context, self.addresses, errors_of(page))

    def faults(self) -> list[str]:
        """Requests to elsewhere, and errors of the scripts. The browser's lines on a lost network are left out."""
        elsewhere = [each for each in self.addresses if urlsplit(each).hostname not in HERE]
        return elsewhere + [each for each in self.errors if not each.startswith(OFFLINE)]


@contextmanager
def paired(
    browser: Browser,
    served: PageProcess,
    size: tuple[int, int] = PHONE,
    *,
    kind: str = "control_key",
    behind: bool = False,
    **options: Any,
) -> Iterator[Window]:
    """A device that was paired by the link with the key, in its first view; `behind` a network that can be cut."""
    address = f"http://localhost:{served.port}" if behind else served.address
    with device(browser, size, **options) as context:
        addresses = addresses_of(context)
        page = context.new_page()
        window = Window(page, context, addresses, errors_of(page))
        page.goto(f"{address}/pair#{served.key(kind)}")
        page.wait_for_url(f"{address}/")
        page.locator("html[data-connected=yes]").wait_for()
        served.used()
        yield window


def view_faults(page: Page, looks: tuple[str, ...] = LOOKS) -> list[str]:
    """All that is wrong with a view as it is shown now: axe-core's findings in each look, names, targets, width."""
    found = []
    before = page.evaluate("document.documentElement.dataset.look")
    for look in looks:
        page.evaluate("look => { document.documentElement.dataset.look = look; }", look)
        found += [f"{look}: {each}" for each in faults(page)]
    page.evaluate("look => { document.documentElement.dataset.look = look; }", before)
    found += small_targets(page, OURS_PX)
    tree = page.locator("body").aria_snapshot()
    found += [f"no name: {tree[each.start() : each.start() + 60]}" for each in NAMELESS.finditer(tree)]
    wide = sideways_px(page)
    return found + ([f"{wide} px wider than the screen"] if wide > 0 else [])


def received_bytes(page: Page, address: str) -> int:
    """The bytes of all bodies, streams included, that a first visit receives until the view is filled; no cache."""
    counted = [0]
    line = page.context.new_cdp_session(page)
    line.send("Network.enable")
    line.send("Network.setCacheDisabled", {"cacheDisabled": True})
    line.on("Network.dataReceived", lambda event: counted.__setitem__(0, counted[0] + event["dataLength"]))
    page.goto(address)
    page.locator("html[data-connected=yes]").wait_for()
    page.wait_for_load_state("load")
    line.detach()
    return counted[0]


def fill_in_begin(page: Page) -> None:
    """The form that begins a run: the simulated rig's port, a short warning, no slow test turn, the cautions read."""
    page.get_by_label("The board's port").fill("port")
    page.get_by_label("Warning before motion").fill("1")
    page.get_by_text("More", exact=True).click()
    page.get_by_label("Skip the slow test turn").check()
    page.get_by_label("I have read this").check()
