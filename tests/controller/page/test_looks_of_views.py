"""The looks in a real browser: nothing red is of another hue, and the sphere can be read in each look."""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page

from tests import browser as browsers
from tests.controller.page.sessions_made import shoot, small_plan
from tests.controller.page.test_pad_in_browser import serving

ROOT = Path(__file__).parents[3]
MOST_OTHER = 40  # of 255, green or blue: the ink's 26 and what blending of edges adds
VIEWS = ("/", "/begin", "/plan", "/set-up", "/sessions", "/sessions/ledge.sqlite", "/?session=gone.sqlite")


@pytest.fixture(scope="module")
def phone(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Page]]:
    folder = tmp_path_factory.mktemp("night")
    shoot(folder / "ledge.sqlite", stop_after=2)
    (folder / "plan.json").write_text(small_plan().model_dump_json(), encoding="utf-8")
    shutil.copy(ROOT / "sim/demo/kit.toml", folder / "kit.toml")
    with serving(folder) as (address, page), browsers.device(browser, look="night") as context:
        answer = context.request.post(
            f"{address}/pair", data={"key": page.access.keys.control}, headers={"Origin": address}
        )
        assert answer.ok
        yield address, context.new_page()


@pytest.mark.parametrize("view", VIEWS)
def test_nothing_on_a_view_is_brighter_than_red(phone: tuple[str, Page], view: str) -> None:
    address, page = phone
    page.goto(f"{address}{view}")
    page.locator("html[data-connected=yes]").wait_for()
    for box in page.locator("input[type=checkbox], input[type=radio]").all():
        box.evaluate("box => { box.closest('details')?.setAttribute('open', ''); box.checked = !box.checked; }")
    for bar in page.locator("progress").all():
        bar.evaluate("bar => { bar.value = 0.4; }")
    picture = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("RGB")
    (_, reddest), (_, greenest), (_, bluest) = picture.getextrema()  # type: ignore[misc]
    assert reddest > 200  # something is there
    assert max(greenest, bluest) <= MOST_OTHER


CONTRAST = """([text, back]) => {
  const rgb = colour => colour.match(/[0-9.]+/g).slice(0, 3).map(part => part / 255);
  const light = colour => rgb(colour).map(part => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4)
    .reduce((sum, part, at) => sum + part * [0.2126, 0.7152, 0.0722][at], 0);
  const [more, less] = [light(text), light(back)].sort((a, b) => b - a);
  return (more + 0.05) / (less + 0.05);
}"""  # WCAG 2.2, definitions of contrast ratio and relative luminance


@pytest.mark.parametrize("look", browsers.LOOKS)
def test_the_sphere_can_be_read(phone: tuple[str, Page], look: str) -> None:
    """Numbers 4.5:1 and outlines 3:1 against what is behind them: WCAG 2.2, criteria 1.4.3 and 1.4.11."""
    address, page = phone
    page.goto(f"{address}/?session=ledge.sqlite")
    page.locator("#sphere .frame").first.wait_for()
    page.evaluate("look => { document.documentElement.dataset.look = look; }", look)
    back = page.locator("#sphere").evaluate("box => getComputedStyle(box).backgroundColor")
    ink = page.locator("#sphere .numbers text").first.evaluate("text => getComputedStyle(text).fill")
    halo = page.locator("#sphere .numbers text").first.evaluate("text => getComputedStyle(text).stroke")
    assert page.evaluate(CONTRAST, [ink, back]) >= 4.5
    assert page.evaluate(CONTRAST, [ink, halo]) >= 4.5
    for standing in ("missing", "begun", "made", "suspect", "wanted-again", "missing current", "made chosen"):
        line = page.locator("#sphere .frame").first.evaluate(
            "(frame, standing) => { frame.setAttribute('class', `frame ${standing}`); "
            "return getComputedStyle(frame.querySelector('path')).stroke; }",
            standing,
        )
        assert page.evaluate(CONTRAST, [line, back]) >= 3, standing
