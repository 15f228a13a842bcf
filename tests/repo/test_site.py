"""The guide as a site: no link leads nowhere, it is read without a network, and anybody can read it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from controller.guide.meanings import FILLED, Kind, all_meanings
from controller.guide.pages import topics
from tests import browser as devices
from tests.repo.test_credits import IN_SITE, OWN, uncredited

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.long
LOOKED_AT = (
    "docs/README",
    "docs/how-to/capture",
    "docs/reference/kit",
    "hardware_notes/README",
    "docs/troubleshooting/during-a-run",
)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site as anybody builds it; what is wrong with a page is an error."""
    out = tmp_path_factory.mktemp("guide") / "site"
    done = subprocess.run(
        [sys.executable, "-m", "controller.guide.site", str(out)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    return out


def test_every_topic_has_its_page(site: Path) -> None:
    assert not [topic.path for topic in topics() if not (site / topic.path).with_suffix(".html").is_file()]


@pytest.mark.parametrize("scheme", ["dark", "light"])
@pytest.mark.parametrize("size", [devices.PHONE, devices.DESK], ids=["phone", "desk"])
def test_it_can_be_read_by_anybody_without_a_network(
    site: Path, browser: Browser, size: tuple[int, int], scheme: devices.Scheme
) -> None:
    with devices.device(browser, size, scheme=scheme) as context:
        asked, page = devices.addresses_of(context), context.new_page()
        errors = devices.errors_of(page)
        for name in LOOKED_AT:
            page.goto((site / f"{name}.html").as_uri())
            assert devices.faults(page) == [], name
            assert devices.sideways_px(page) <= 0, name
        assert asked
        assert not [address for address in asked if not address.startswith(("file:", "data:"))]
        assert errors == []


def test_a_sentence_of_the_program_is_found_by_the_search(site: Path, browser: Browser) -> None:
    meaning = max(
        (one for one in all_meanings() if one.kind is Kind.ERROR and FILLED not in one.says), key=lambda one: one.literal
    )
    with devices.device(browser, devices.DESK) as context:
        page = context.new_page()
        page.goto((site / "search.html").as_uri() + "?q=" + "+".join(meaning.says.split()[:6]))
        page.wait_for_selector("#search-results a[href*=troubleshooting]", timeout=20_000)


def test_everything_of_others_in_it_is_credited(site: Path) -> None:
    static = site / "_static"
    names = [path.relative_to(static).as_posix() for path in static.rglob("*") if path.is_file()]
    assert names
    assert uncredited(names, [*OWN, *(pattern for patterns in IN_SITE.values() for pattern in patterns)]) == []
