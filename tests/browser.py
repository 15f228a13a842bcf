"""A real browser for tests of pages: Debian's Chromium, driven by Playwright.

The fixture `browser` (tests/conftest.py) gives one browser to all tests of a module. Without Chromium these tests are
skipped, but fail if CI is set.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Literal

import pytest
from axe_core_python.base import AXE_SCRIPT
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

PHONE, DESK = (390, 844), (1280, 800)  # CSS pixels
LOOKS = ("dark", "night", "light")
LOOK_KEY = "fullturn-look"
NAMES = ("chromium", "chromium-browser", "google-chrome")
GRAVE = ("serious", "critical")
Scheme = Literal["dark", "light"]


def chromium() -> str:
    """The path of Chromium. Without one the test is skipped, or fails if CI is set."""
    for name in NAMES:
        if path := shutil.which(name):
            return path
    if os.environ.get("CI"):
        pytest.fail("No Chromium was found. Install it: apt-get install chromium")
    pytest.skip("no Chromium on this machine: apt-get install chromium")


@contextmanager
def started() -> Iterator[Browser]:
    """A browser without a window, closed at the end."""
    path = chromium()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def device(
    browser: Browser, size: tuple[int, int] = PHONE, *, look: str | None = None, scheme: Scheme = "dark", **options: Any
) -> Iterator[BrowserContext]:
    """A device of its own: an empty store, a screen of this size (touch if as narrow as a phone), a look if given.

    `options` go to Playwright's `new_context`.
    """
    touch = size[0] < 600
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, has_touch=touch, is_mobile=touch, color_scheme=scheme, **options
    )
    try:
        if look is not None:
            context.add_init_script(f"try {{ localStorage.setItem('{LOOK_KEY}', '{look}'); }} catch {{}}")
        yield context
    finally:
        context.close()


def addresses_of(context: BrowserContext) -> list[str]:
    """A list that grows by the address of every request from now on."""
    found: list[str] = []
    context.on("request", lambda request: found.append(request.url))
    return found


def errors_of(page: Page) -> list[str]:
    """A list that grows by each uncaught error and each error on the console from now on."""
    found: list[str] = []
    page.on("pageerror", lambda error: found.append(str(error)))
    page.on("console", lambda message: found.append(message.text) if message.type == "error" else None)
    return found


def faults(page: Page, *rules: str) -> list[str]:
    """What axe-core finds that is serious or critical: rule, place and reason. It also works under a strict policy.

    `rules` are the only ones to be checked, if there are any: all of them take a second.
    """
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    options: dict[str, Any] = {"resultTypes": ["violations"]} | ({"runOnly": list(rules)} if rules else {})
    found = page.evaluate("options => axe.run(document, options)", options)
    return [
        f"{violation['id']}: {' '.join(map(str, node['target']))}: {node['failureSummary']}"
        for violation in found["violations"]
        if violation["impact"] in GRAVE
        for node in violation["nodes"]
    ]


def sideways_px(page: Page) -> int:
    """How many pixels of the page are hidden at the right, to be reached only by scrolling sideways."""
    return int(
        page.evaluate("document.scrollingElement.scrollWidth - document.documentElement.getBoundingClientRect().width")
    )


def small_targets(page: Page, least_px: float) -> list[str]:
    """Every visible button, field and link outside running text that is narrower or lower than `least_px`.

    A field is as large as its label, which can be pressed in its place. WCAG 2.2, success criterion 2.5.8, lets links
    in a sentence be smaller.
    """
    found = page.evaluate(
        """least => [...document.querySelectorAll("button, input, select, textarea, summary, a[href], [role=button]")]
        .filter(node => !(node.matches("a") && node.closest("p, li, td, footer")))
        .map(node => [node, (node.closest("label") || node).getBoundingClientRect()])
        .filter(([node, box]) => box.width > 0 && box.height > 0 && Math.min(box.width, box.height) < least - 0.01)
        .map(([node, box]) => `${node.outerHTML.slice(0, 90)}: ${box.width.toFixed(1)} x ${box.height.toFixed(1)}`)""",
        least_px,
    )
    return list(found)
