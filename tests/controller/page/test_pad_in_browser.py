"""The pad and the steps in a real browser, with a real server, child and line, and a rig in real time."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from controller.page.access import Access
from controller.page.page import Page as ServedPage
from controller.page.refusing import Refusals
from controller.page.served import PAGE_FILE, ServedFolder
from controller.page.serving import PagePlace, listening, server_of
from tests import browser as browsers
from tests.controller.page.rig_at_port import served

if sys.platform == "win32":
    pytest.skip("no pseudo-terminals", allow_module_level=True)

pytestmark = pytest.mark.long
RESTS_WITHIN_S = 0.5 + 0.26 + 1.0  # the lease, the ramp, and a busy machine


@dataclass
class AtThePage:
    """A page in a browser, and whether the head turns now."""

    page: Page
    turns: Callable[[], bool]

    def wait(self, wanted: bool, within_s: float = 10.0) -> None:
        """Wait until the head turns, or rests."""
        end_s = time.monotonic() + within_s
        while self.turns() is not wanted:
            assert time.monotonic() < end_s, f"turns is not {wanted}"
            self.page.wait_for_timeout(10)

    def arm(self, name: str) -> tuple[float, float]:
        """The middle of an arm, on the screen."""
        arm = self.page.locator(f'[data-arm="{name}"]')
        arm.scroll_into_view_if_needed()
        box = arm.bounding_box()
        assert box is not None
        return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def touch(self, name: str) -> None:
        """Press an arm, and wait until the head turns."""
        self.page.mouse.move(*self.arm(name))
        self.page.mouse.down()
        self.wait(True)

    def say_yes(self) -> None:
        """Answer the question, as soon as that is possible."""
        self.page.locator("#question button", has_text="Yes").click()


@contextmanager
def serving(folder: Path) -> Iterator[tuple[str, ServedPage]]:
    """A page of the folder on the loopback address: its address, and itself."""
    sockets = listening(PagePlace(0))
    port = sockets[0].getsockname()[1]
    access = Access(folder / PAGE_FILE)
    page = ServedPage(ServedFolder.at(folder), access, frozenset({f"127.0.0.1:{port}"}), Refusals(lambda _: None))
    server = server_of(page)
    running = threading.Thread(target=server.run, kwargs={"sockets": sockets}, daemon=True)
    running.start()
    try:
        yield f"http://127.0.0.1:{port}", page
    finally:
        server.should_exit = True
        running.join(20)


@pytest.fixture(scope="module")
def held(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[AtThePage]:
    """A phone whose page holds a head that knows its zero and may move."""
    folder = tmp_path_factory.mktemp("pad")
    with served(folder) as (port, turns), serving(folder) as (address, page), browsers.device(browser) as context:
        answer = context.request.post(
            f"{address}/pair", data={"key": page.access.keys.control}, headers={"Origin": address}
        )
        assert answer.ok, answer.text()
        shown = context.new_page()
        errors = browsers.errors_of(shown)
        shown.goto(f"{address}/set-up")
        shown.fill("#port", str(port))
        shown.click("#open")
        shown.locator("#zero:enabled").click()
        at = AtThePage(shown, turns)
        at.say_yes()
        shown.get_by_text("The head is at yaw 0.00°").wait_for()
        yield at
        assert [error for error in errors if "ERR_INTERNET_DISCONNECTED" not in error] == []


@pytest.mark.parametrize(
    "lift",
    [
        "lifted",
        "document.dispatchEvent(new Event('visibilitychange'))",
        "dispatchEvent(new Event('blur'))",
        "dispatchEvent(new Event('offline'))",
    ],
)
def test_the_head_turns_while_an_arm_is_held_and_no_longer(held: AtThePage, lift: str) -> None:
    held.touch("right")
    held.page.wait_for_timeout(700)  # longer than a lease
    assert held.turns()
    if lift == "lifted":
        held.page.mouse.up()
    else:
        held.page.evaluate(lift)
    held.wait(False, RESTS_WITHIN_S)
    held.page.mouse.up()
    held.page.wait_for_timeout(300)
    assert not held.turns()


def test_arrow_keys_turn_it_while_they_are_held(held: AtThePage) -> None:
    held.page.focus('[data-arm="left"]')
    held.page.keyboard.down("ArrowLeft")
    held.wait(True)
    held.page.keyboard.up("ArrowLeft")
    held.wait(False, RESTS_WITHIN_S)


def test_a_tab_whose_scripts_stand_still_lets_go(held: AtThePage) -> None:
    """A script that does not end stands for a tab that the system suspends: no timer runs, and nothing is released."""
    held.touch("left")
    held.page.evaluate("setTimeout(() => { const end = Date.now() + 2500; while (Date.now() < end); }, 0)")
    held.wait(False, 0.3 + RESTS_WITHIN_S)
    held.page.wait_for_timeout(2800)
    assert not held.turns()  # though the finger is still there, and the timer runs again
    held.page.mouse.up()


def test_a_network_that_is_cut_lets_go(held: AtThePage) -> None:
    held.touch("right")
    held.page.context.set_offline(True)
    try:
        held.wait(False, RESTS_WITHIN_S)
    finally:
        held.page.mouse.up()
        held.page.context.set_offline(False)


def test_a_question_cannot_be_answered_at_once(held: AtThePage) -> None:
    page = held.page
    page.click("#stop")
    page.get_by_text("Stopped as asked.").wait_for()
    page.locator("#zero:enabled").click()
    yes = page.locator("#question button", has_text="Yes")
    yes.wait_for()
    assert page.evaluate("document.querySelector('#question button').disabled")
    page.wait_for_timeout(700)
    yes.click()
    page.locator("#question").wait_for(state="hidden")


@pytest.mark.parametrize("look", browsers.LOOKS)
def test_everybody_can_use_it(held: AtThePage, look: str) -> None:
    """WCAG 2.2 by axe-core; targets of 48 CSS px; nothing to be scrolled sideways at 390 px."""
    held.page.evaluate("look => { document.documentElement.dataset.look = look; }", look)
    assert browsers.faults(held.page) == []
    assert browsers.small_targets(held.page, 48) == []
    assert browsers.sideways_px(held.page) == 0


def test_a_page_that_is_closed_leaves_nothing_moving(held: AtThePage) -> None:
    """The last test: it closes the page."""
    held.touch("left")
    held.page.goto("about:blank")
    end_s = time.monotonic() + RESTS_WITHIN_S
    while held.turns():
        assert time.monotonic() < end_s
        time.sleep(0.01)
