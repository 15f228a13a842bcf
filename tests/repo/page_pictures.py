"""Photograph the page with a real browser, in front of a simulated rig: `python -m tests.repo.page_pictures`.

Pictures of a screen differ between computers, so no test compares their pixels. Each file holds the words that were on
the screen, as its text "Description", and tests/repo/test_page_pictures.py compares those with the program.
"""

from __future__ import annotations

import io
import re
import tempfile
from pathlib import Path

from PIL import Image
from PIL.PngImagePlugin import PngInfo
from playwright.sync_api import Page, expect

from tests.browser import PHONE
from tests.page_rig import KIT_FILE, folder_of_work, fullturn, page_of, rig_at, until
from tests.page_views import Window, fill_in_begin, lone_browser, paired
from tests.repo.drawings import DOCS
from tests.repo.sphere_drawing import DEMO

FOLDER = DOCS / "pictures"
NOW, PLAN = "page-now.png", "page-plan.png"
SCALE = 2  # pixels of the picture for one of the page
COLOURS = 64
SPEED = 4.0  # times real time
AT_EXPOSURES = 45
PATIENT_MS = 90_000
IMPATIENT = "\n[board]\nshapes_ramps = true\nsilence_ms = 60000\n"  # the rig is faster than the host's clock


def photograph(page: Page, path: Path) -> None:
    """Keep what a phone shows of a view, with its words."""
    words = page.evaluate(
        """() => [...document.querySelectorAll("main *, h1")].filter(node => !node.children.length)
        .filter(node => node.getBoundingClientRect().top < innerHeight && node.checkVisibility())
        .map(node => node.textContent.trim()).filter(Boolean).join(" | ")"""
    )
    shot = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    said = PngInfo()
    said.add_text("Description", words.encode("latin-1", "replace").decode("latin-1"))
    few = shot.quantize(COLOURS, dither=Image.Dither.NONE)
    few.save(path, optimize=True, pnginfo=said)


def words_in(path: Path) -> str:
    """The words that were on the screen."""
    with Image.open(path) as picture:
        return str(picture.info["Description"])


def demo_kit_text() -> str:
    """The demo's kit for a rig that is faster than real time."""
    return re.sub(r"\n\[board\]\nshapes_ramps = true\n", IMPATIENT, DEMO.read_text(encoding="utf-8"))


def photograph_views(folder: Path, into: Path) -> None:
    """Plan the demo on the page and begin it; keep both views."""
    (folder / KIT_FILE).write_text(demo_kit_text(), encoding="utf-8")
    made = fullturn(folder, "plan", KIT_FILE, "--out", "ledge.json")
    if made.returncode:
        raise RuntimeError(made.stderr)
    with (
        folder_of_work(folder),
        rig_at(folder, speed=SPEED, kit=demo_kit_text()),
        page_of(folder) as served,
        lone_browser() as browser,
        paired(browser, served, PHONE, look="dark", device_scale_factor=SCALE) as window,
    ):
        window.open("/plan")
        covers = window.page.get_by_text("This plan covers what was asked for.")
        expect(covers).to_be_visible(timeout=PATIENT_MS)
        window.page.locator("#sphere").evaluate("box => scrollTo(0, box.getBoundingClientRect().top - 130)")
        photograph(window.page, into / PLAN)
        _begin(window)
        until("half of the set", lambda: _made(window.page) >= AT_EXPOSURES)
        window.page.evaluate("scrollTo(0, 0)")
        photograph(window.page, into / NOW)


def _begin(window: Window) -> None:
    page = window.page
    window.open("/begin?plan=ledge.json")
    fill_in_begin(page)
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/?session=*", timeout=PATIENT_MS)
    expect(page.locator("#question")).to_be_visible(timeout=PATIENT_MS)
    page.wait_for_timeout(1000)  # its buttons sleep at first
    page.get_by_role("button", name="Yes").click()
    expect(page.locator("#question")).to_be_hidden(timeout=PATIENT_MS)


def _made(page: Page) -> int:
    return int(page.locator("#made").inner_text().split()[0])


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        work = Path(place) / "kestrel-ledge"
        work.mkdir()
        photograph_views(work, FOLDER)
