"""The guide's pictures are current, told in words, and can be read by day, in the dark and on a phone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest
from playwright.sync_api import Browser, Page

from tests.browser import PHONE, Scheme, device
from tests.repo import drawings, guide
from tests.repo.canvas import GROUND, PALETTE
from tests.repo.test_wiring import contrast

ROOT = drawings.DOCS.parent
SVGS = sorted([*drawings.DOCS.glob("**/*.svg"), *ROOT.glob("hardware_notes/**/*.svg")])
BIGGEST = 70_000  # bytes
SIDES_PX = 16  # of a page on a phone, beside its text
SMALLEST_PX = 10.5  # the height of a font, as shown on a phone


def test_the_drawings_are_current() -> None:
    """Redraw them with: python -m tests.repo.drawings. The last digit may differ between computers."""
    made = drawings.pictures()
    there = {path for folder in {(drawings.DOCS / place).parent for place in made} for path in folder.glob("*.svg")}
    assert {path.relative_to(drawings.DOCS).as_posix() for path in there} == made.keys()
    for place, text in made.items():
        old, new, old_numbers, new_numbers = guide.numbers_apart(
            (drawings.DOCS / place).read_text(encoding="utf-8"), text
        )
        assert old == new, f"{place}: run python -m tests.repo.drawings"
        assert old_numbers == pytest.approx(new_numbers, abs=0.21)


@pytest.mark.parametrize("path", SVGS, ids=lambda path: path.name)
def test_a_drawing_has_words_is_small_and_fetches_nothing(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)  # our own file
    assert all(root.findtext(f"{{http://www.w3.org/2000/svg}}{name}") for name in ("title", "desc"))
    assert len(text) < BIGGEST
    assert not re.search(r"@import|@font-face|url\((?!#)|href=|<script", text)


@pytest.mark.parametrize("path", SVGS, ids=lambda path: path.name)
def test_a_drawing_has_a_dark_look(path: Path) -> None:
    """All its colours come from classes, which change with the look."""
    text = path.read_text(encoding="utf-8")
    assert "prefers-color-scheme" in text
    assert not re.search(r'(fill|stroke)="#', text)


@pytest.mark.parametrize("which", [0, 1], ids=["light", "dark"])
def test_colours_can_be_read_on_their_ground(which: int) -> None:
    """WCAG 2.2, criterion 1.4.3, requires 4.5 for text."""
    ground = PALETTE[GROUND][which]
    for name, pair in PALETTE.items():
        assert name == GROUND or contrast(pair[which], ground) >= 4.5, name


@pytest.fixture(scope="module", params=["light", "dark"])
def phone(request: pytest.FixtureRequest, browser: Browser) -> Iterator[Page]:
    scheme: Scheme = request.param
    with device(browser, PHONE, scheme=scheme) as context:
        yield context.new_page()


LETTERING = """widest => {
  const svg = document.documentElement, box = svg.viewBox.baseVal, scale = Math.min(1, widest / box.width);
  return [...svg.querySelectorAll("text")].filter(text => text.textContent.trim()).map(text => {
    const at = text.getBBox(), size = parseFloat(getComputedStyle(text).fontSize) * scale;
    const inside = at.x >= box.x - 1 && at.y >= box.y - 1 && at.x + at.width <= box.x + box.width + 1
      && at.y + at.height <= box.y + box.height + 1;
    return [text.textContent, size, inside, at.x, at.y, at.width, at.height];
  });
}"""


@pytest.mark.parametrize("path", SVGS, ids=lambda path: path.name)
def test_lettering_can_be_read_on_a_phone(phone: Page, path: Path) -> None:
    """Every word is large enough, inside the picture, and clear of all others."""
    phone.goto(path.as_uri())
    found = phone.evaluate(LETTERING, PHONE[0] - 2 * SIDES_PX)
    assert found
    assert [words for words, size, *_ in found if size < SMALLEST_PX] == []
    assert [words for words, _, inside, *_ in found if not inside] == []
    boxes = [
        (words, x, y + 0.2 * high, x + wide, y + 0.8 * high)
        for words, _, _, x, y, wide, high in found
        if re.search(r"\w", words)
    ]
    assert [
        (one[0], other[0])
        for number, one in enumerate(boxes)
        for other in boxes[:number]
        if one[1] < other[3] and other[1] < one[3] and one[2] < other[4] and other[2] < one[4]
    ] == []
