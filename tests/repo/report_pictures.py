"""Photograph the demo's report with numbered marks on its parts: `python -m tests.repo.report_pictures`.

The page docs/how-to/read-the-report.md explains each number. Like those of the page, each file holds the words that
were on the screen; tests/repo/test_report_pictures.py compares them with the program.
"""

from __future__ import annotations

import io
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from PIL import Image
from PIL.PngImagePlugin import PngInfo
from playwright.sync_api import FloatRect, Page

from tests.browser import PHONE, device, started
from tests.page_rig import KIT_FILE, fullturn
from tests.repo.page_pictures import COLOURS, FOLDER
from tests.repo.sphere_drawing import DEMO

CARD_FULL = """about = "The card is full near the end."

[[fault]]
kind = "card-full"
after_exposure = 75
"""
SHARP = 1.5  # pixels of the picture for one of the page
BESIDE_PX = 8  # above and below what is shown


@dataclass(frozen=True, slots=True)
class MarkedShot:
    """A part of a page: from one element to another, and what is marked, in the order of the numbers.

    An element is a CSS selector, or `=` and how its words begin.
    """

    name: str
    page: str
    first: str
    last: str
    marks: tuple[str, ...]


SHOTS = (
    MarkedShot("report-verdict.png", "out/report.html", "h1", ".facts",
               (".verdict", *(f".facts div:nth-child({number}) b" for number in range(1, 6)))),
    MarkedShot("report-sphere.png", "out/report.html", "=The sphere, unrolled", "figure.picture",
               ("=frames that see the direction", "=frame", "=core", "=tightest place")),
    MarkedShot("report-poles.png", "out/report.html", "=Toward the poles", "h2 + figure.picture:nth-of-type(2)",
               ("=toward the zenith", "=toward the nadir")),
    MarkedShot("report-time.png", "out/report.html", "=The run in time", "table.shares",
               ("=moving", "=settling", "=exposing", "=minutes since the start", "table.shares th:nth-child(3)")),
    MarkedShot("report-rows.png", "out/report.html", "=Rows", "[aria-label=Rows] table",
               tuple(f"[aria-label=Rows] th:nth-child({number})" for number in (2, 3, 4, 5))),
    MarkedShot("report-missing.png", "full/report.html", "=Frames not complete", "figure.picture",
               ("=Frames not complete", "=missing frame", "=hole: in no core")),
    MarkedShot("report-faults.png", "full/report.html", "=What went wrong", "[aria-label='What went wrong'] table",
               ("[aria-label='What went wrong'] th:nth-child(1)", "[aria-label='What went wrong'] th:nth-child(2)",
                "[aria-label='What went wrong'] th:nth-child(3)")),
    MarkedShot("report-settle.png", "settle.html", "=Ringing: pan", "=Readings after a move without",
               ("=without the shaper", "=fitted", "=with the shaper")),
    MarkedShot("report-run.png", "out/run.html", ".key", "#plots",
               (".key li:nth-child(1)", ".key li:nth-child(3)", ".key li:nth-child(4)")),
)  # fmt: skip

FIND = """how => {
  const seen = node => { const box = node.getBoundingClientRect(); return box.width > 0 && box.height > 0; };
  const all = how.startsWith("=")
    ? [...document.querySelectorAll("h1, h2, p, th, td, text")].filter(node => {
        const words = node.textContent.trim(), wanted = how.slice(1);
        return node.tagName === "text" ? words === wanted || words.startsWith(wanted + ",") : words.startsWith(wanted);
      })
    : [...document.querySelectorAll(how)];
  const found = all.find(seen);
  if (!found) throw new Error(`not on the page: ${how}`);
  const box = found.getBoundingClientRect();
  return [box.left + scrollX, box.top + scrollY, box.width, box.height];
}"""
BADGE = """([number, left, top]) => {
  const badge = document.createElement("b");
  badge.className = "mark";
  badge.textContent = number;
  badge.style.cssText = `position: absolute; left: ${left}px; top: ${top}px; width: 20px; height: 20px; z-index: 9;
    border-radius: 10px; background: #f0b35a; color: #000; font: bold 13px/20px sans-serif; text-align: center;`;
  document.body.append(badge);
}"""


def mark_and_photograph(page: Page, shot: MarkedShot, first_number: int, into: Path) -> None:
    """Put the numbers on the part, and keep it with its words. Raises playwright's Error if a part is missing."""
    _, top, _, _ = page.evaluate(FIND, shot.first)
    _, last, _, high = page.evaluate(FIND, shot.last)
    for number, how in enumerate(shot.marks, first_number):
        left, y, wide, tall = page.evaluate(FIND, how)
        heading = "th:" in how
        x = left + wide / 2 - 10 if heading else left + wide + 3
        at = min(x, PHONE[0] - 24), y - 10 if heading else y + min(tall, 30) / 2 - 10
        page.evaluate(BADGE, [number, *at])
    clip: FloatRect = {"x": 0, "y": top - BESIDE_PX, "width": PHONE[0], "height": last + high - top + 2 * BESIDE_PX}
    picture = Image.open(io.BytesIO(page.screenshot(full_page=True, clip=clip))).convert("RGB")
    said = PngInfo()
    words = " | ".join(page.locator("main").inner_text().split("\n"))
    said.add_text("Description", words.encode("latin-1", "replace").decode("latin-1"))
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(into / shot.name, optimize=True, pnginfo=said)
    page.evaluate("() => document.querySelectorAll('b.mark').forEach(mark => mark.remove())")


def make_reports(folder: Path) -> None:
    """Plan and rehearse the demo, once with a card that fills up, and measure its settling. Raises RuntimeError."""
    shutil.copy(DEMO, folder / KIT_FILE)
    (folder / "full.toml").write_text(CARD_FULL, encoding="utf-8")
    for status, words in (
        (0, ("plan", KIT_FILE, "--out", "plan.json")),
        (0, ("rehearse", "plan.json", "--out", "out")),
        (1, ("rehearse", "plan.json", "--faults", "full.toml", "--out", "full")),
        (0, ("calibrate", "settle", "--kit", KIT_FILE, "--rehearse", "7", "--page", "settle.html")),
    ):
        told = fullturn(folder, *words)
        if told.returncode != status:
            raise RuntimeError(told.stderr)


def photograph_reports(folder: Path, into: Path) -> None:
    """Photograph all parts of the reports in the folder. The numbers go on from picture to picture."""
    number = 1
    with started() as browser, device(browser, PHONE, look="dark", device_scale_factor=SHARP) as context:
        page = context.new_page()
        for shot in SHOTS:
            page.goto((folder / shot.page).as_uri())
            mark_and_photograph(page, shot, number, into)
            number += len(shot.marks)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        make_reports(Path(place))
        photograph_reports(Path(place), FOLDER)
