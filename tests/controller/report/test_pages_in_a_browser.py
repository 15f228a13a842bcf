"""Every page that the program writes, opened in a real browser on a phone and a desk, in all looks."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page

from controller.calibration.finding import Finding, Plot, PlotSeries
from controller.calibration.records import AxisName, CalibrationKind
from controller.report.calibration_page import write_calibration_page
from controller.report.html import write_html
from controller.report.proof_sheet import write_proof_sheet
from controller.report.run_page import write_run_page
from controller.report.summary import summarise
from controller.session.rows import Happening, Intent, ShotOutcome, ShotRow
from sim.truth import TrueExposure
from tests.browser import (
    DESK,
    LOOK_KEY,
    LOOKS,
    PHONE,
    addresses_of,
    device,
    errors_of,
    faults,
    sideways_px,
    small_targets,
)
from tests.controller.inspection.inspected_sets import blemished, inspected_of, pictures
from tests.controller.report.looks import TOKENS, channels
from tests.controller.report.test_html import PLAN
from tests.controller.report.test_proof_sheet import FAULTS

NS = 1_000_000_000
NAMES = ("report", "run", "calibration", "proof")
OURS_PX = 48  # WCAG 2.2, success criterion 2.5.8, asks for 24
SECONDS = 8.0
ABOVE_LETTERS_PX = 3.5  # a box of text has room for accents and tails, which figures do not have
MOVED = 4  # the frame whose picture moved


def write_report(folder: Path) -> None:
    """A capture with two holes and some events."""
    shots = [
        ShotRow(number, Intent(frame, 0, 1, number, 0.0, 0.0, 0.01), number, ShotOutcome.CONFIRMED, number, None)
        for number, frame in enumerate((frame.id for frame in PLAN.frames if frame.id not in {3, 11}), 1)
    ]
    summary = summarise(PLAN, shots, kind="capture", seed=None, sentence="It stopped.", seconds=120.0)
    states = ("connecting", "referencing", "moving", "settling", "exposing", "moving", "done")
    happened = [Happening(9 * NS * number, state, "", 0) for number, state in enumerate(states)]
    write_html(folder / "report.html", PLAN, summary, happened, [("12:01", "board", "It lost steps.")])


def write_run(folder: Path) -> None:
    """Eight seconds with an exposure in each."""
    t = np.linspace(0, SECONDS, 801)
    swing = 0.05 * np.sin(20 * t)
    columns = (t, 40 * t, 5 * np.sin(t), 40 * t + swing, 5 * np.sin(t) - swing, 40 + swing, 5 * np.cos(t))
    samples = [tuple(map(float, row)) for row in np.stack(columns, axis=1).round(4)]
    made = [
        TrueExposure(
            frame.id, 0, frame.yaw_deg, frame.pitch_deg, number + 0.3, 0.4, still=number != MOVED, motion_px=number / 9
        )
        for number, frame in enumerate(PLAN.frames[:8])
    ]
    write_run_page(folder / "run.html", PLAN, samples, [asdict(one) for one in made])  # type: ignore[arg-type]


def write_calibration(folder: Path) -> None:
    lines = (PlotSeries("up", [0, 1, 2], [0, 1, 2]), PlotSeries("a line through them", [0, 2], [0, 2], line=True))
    finding = Finding(
        next(iter(CalibrationKind)),
        AxisName.PAN,
        {"a_long_name_of_a_value_deg": 0.0123},
        {"u_a_long_name_of_a_value_deg": 0.001},
        9.0,
        "Read from a dial",
        ("The first sentence.", "The second."),
        plots=(Plot("Readings", "What was read.", "pan °", "reading °", lines),),
    )
    write_calibration_page(folder / "calibration.html", finding, "Kept beside the kit.")


def write_proof(folder: Path) -> None:
    inspected = blemished(inspected_of(PLAN, 60), FAULTS)
    write_proof_sheet(inspected, folder, folder, width=180, read=pictures(inspected))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("pages")
    for write in (write_report, write_run, write_calibration, write_proof):
        write(place)
    return place


@pytest.fixture
def run_page(browser: Browser, folder: Path) -> Iterator[Page]:
    """The run in time on a phone."""
    with device(browser) as context:
        page = context.new_page()
        wrong = errors_of(page)
        page.goto((folder / "run.html").as_uri())
        yield page
        assert wrong == []


def colours_of(page: Page) -> np.ndarray[Any, np.dtype[np.int64]]:
    """All pixels of the whole page, shape (n, 3)."""
    shot = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("RGB")
    return np.asarray(shot).reshape(-1, 3).astype(int)


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_every_page_in_every_look(browser: Browser, folder: Path, size: tuple[int, int]) -> None:
    with device(browser, size) as context:
        asked = addresses_of(context)
        page = context.new_page()
        wrong = errors_of(page)
        for name in NAMES:
            page.goto((folder / f"{name}.html").as_uri())
            for look in LOOKS:
                page.click(f"[data-set-look={look}]")
                where = f"{name}, {look}"
                assert page.locator("[aria-pressed=true]").get_attribute("data-set-look") == look, where
                if look == LOOKS[0]:
                    assert faults(page) == [], where
                elif size == PHONE:  # colours are the same on a desk, and the rest in each look
                    assert faults(page, "color-contrast") == [], where
                assert sideways_px(page) == 0, where
                assert small_targets(page, OURS_PX) == [], where
                found = page.evaluate("getComputedStyle(document.body).backgroundColor")
                assert found == "rgb({}, {}, {})".format(*channels(TOKENS[look]["ground"])), where
        assert wrong == []
        assert all(address.startswith(("file:", "data:")) for address in asked)


@pytest.mark.parametrize("name", NAMES)
def test_at_night_every_pixel_is_red(browser: Browser, folder: Path, name: str) -> None:
    """Photographs, figures, curves and boxes to tick included; the smoothing of letters stays between two reds."""
    with device(browser, look="night") as context:
        page = context.new_page()
        page.goto((folder / f"{name}.html").as_uri())
        pixels = colours_of(page)
        assert pixels[:, 1:].max() <= 26
        assert pixels[:, 0].max() > 200  # it is not just black


def test_the_look_is_kept_for_all_pages_and_dark_without_a_choice(browser: Browser, folder: Path) -> None:
    with device(browser, scheme="light") as context:
        page = context.new_page()
        page.goto((folder / "report.html").as_uri())
        assert page.get_attribute("html", "data-look") == "dark"
        page.click("[data-set-look=light]")
        page.goto((folder / "proof.html").as_uri())
        assert page.get_attribute("html", "data-look") == "light"
        page.evaluate(f"localStorage.setItem('{LOOK_KEY}', '<b>')")
        page.reload()
        assert page.get_attribute("html", "data-look") == "dark"


def test_it_works_without_a_script_or_a_store(browser: Browser, folder: Path) -> None:
    with device(browser, java_script_enabled=False) as context:
        page = context.new_page()
        page.goto((folder / "report.html").as_uri())
        shot = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
        assert shot.getpixel((1, 1)) == channels(TOKENS["dark"]["ground"])
    with device(browser) as context:
        context.add_init_script("Object.defineProperty(window, 'localStorage', {get() { throw new Error('no'); }})")
        page = context.new_page()
        wrong = errors_of(page)
        page.goto((folder / "report.html").as_uri())
        page.click("[data-set-look=night]")
        assert page.get_attribute("html", "data-look") == "night"
        assert wrong == []


def test_on_paper_every_look_is_light(browser: Browser, folder: Path) -> None:
    with device(browser, look="night") as context:
        page = context.new_page()
        page.goto((folder / "report.html").as_uri())
        page.emulate_media(media="print")
        found = page.evaluate("getComputedStyle(document.body).color")
        assert found == "rgb({}, {}, {})".format(*channels(TOKENS["light"]["ink"]))
        assert page.evaluate("getComputedStyle(document.querySelector('.picture svg')).filter") == "none"


def test_labels_of_drawings_can_be_read_and_do_not_collide(browser: Browser, folder: Path) -> None:
    """On a phone and a desk: letters at least 8 px high, and no two numbers of frames touch."""
    for size in (PHONE, DESK):
        with device(browser, size) as context:
            page = context.new_page()
            page.goto((folder / "report.html").as_uri())
            boxes = page.evaluate(
                """[...document.querySelectorAll("figure svg")].map(svg => [...svg.querySelectorAll("text")]
                .map(text => [text.getBoundingClientRect(), text.textContent])
                .filter(([box]) => box.width).map(([b, words]) => [b.left, b.top, b.right, b.bottom, words]))"""
            )
            shown = [drawing for drawing in boxes if drawing]
            assert len(shown) == 3  # one of each pair
            for drawing in shown:
                for number, (left, top, right, bottom, words) in enumerate(drawing):
                    assert min(right - left, bottom - top) >= 5, words  # a digit is half as wide as it is high
                    assert max(right - left, bottom - top) >= 8, words
                    for other in drawing[:number]:
                        wide = min(right, other[2]) - max(left, other[0])
                        high = min(bottom, other[3]) - max(top, other[1])
                        assert min(wide, high) <= ABOVE_LETTERS_PX, (size, words, other[4])


def shown_s(page: Page) -> tuple[float, float]:
    """The times at the left and right edge of the curves."""
    left, right = page.evaluate("[from, to]")
    return float(left), float(right)


def middle(page: Page) -> tuple[float, float]:
    box = page.locator(".u-over").first.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_curves_zoom_and_move_by_keys_and_stay_inside_the_run(run_page: Page) -> None:
    assert shown_s(run_page) == (0.0, SECONDS)
    run_page.focus("#plots")
    for key in ("+", "+", "ArrowRight"):
        run_page.keyboard.press(key)
    left, right = shown_s(run_page)
    assert right - left == pytest.approx(SECONDS / 1.5**2)
    assert left == pytest.approx(SECONDS / 2 - (right - left) * 3 / 8)
    assert run_page.evaluate("charts.map(u => [u.scales.x.min, u.scales.x.max])") == [[left, right]] * 5
    for _ in range(30):
        run_page.keyboard.press("ArrowRight")
    assert shown_s(run_page)[1] == pytest.approx(SECONDS)
    for _ in range(40):
        run_page.keyboard.press("+")
    left, right = shown_s(run_page)
    assert right - left == pytest.approx(0.02)
    run_page.keyboard.press("0")
    assert shown_s(run_page) == (0.0, SECONDS)


def test_curves_are_pinched_and_dragged_by_touch(run_page: Page) -> None:
    """Two fingers that move apart show less time about the place between them; one finger moves it along."""
    x, y = middle(run_page)
    session = run_page.context.new_cdp_session(run_page)

    def touch(kind: str, *places: tuple[float, float]) -> None:
        points = [{"x": px, "y": py, "id": number} for number, (px, py) in enumerate(places)]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", (x - 40, y), (x + 40, y))
    for apart in (50, 60, 70, 80):
        touch("touchMove", (x - apart, y), (x + apart, y))
    touch("touchEnd")
    left, right = shown_s(run_page)
    assert right - left == pytest.approx(SECONDS / 2, rel=0.1)
    assert (left + right) / 2 == pytest.approx(SECONDS / 2, abs=0.2)
    touch("touchStart", (x, y))
    for by in (20, 40, 60):
        touch("touchMove", (x + by, y))
    touch("touchEnd")
    moved, _ = shown_s(run_page)
    assert moved < left - 0.3
    assert run_page.evaluate("getComputedStyle(plots).touchAction") == "pan-y"
    assert run_page.evaluate("getComputedStyle(document.body).touchAction") == "auto"


def test_curves_are_read_at_the_pointer_and_zoomed_by_the_wheel(run_page: Page) -> None:
    x, y = middle(run_page)
    run_page.mouse.move(x, y)
    words = run_page.inner_text("#seen")
    time_s = float(words.split(" s:")[0])
    assert time_s == pytest.approx(SECONDS / 2, abs=0.05)
    assert f"told {40 * time_s:.3f}°" in words
    run_page.mouse.wheel(0, -300)
    left, right = shown_s(run_page)
    assert right - left < SECONDS * 0.7
    assert left < time_s < right
    run_page.mouse.down()
    run_page.mouse.move(x - 50, y)
    run_page.mouse.up()
    assert shown_s(run_page)[0] > left


def test_the_worst_exposure_is_shown_and_striped(run_page: Page) -> None:
    frames = [frame.id for frame in PLAN.frames[:8]]
    assert run_page.locator("#rows button").all_inner_texts() == [f"{frame}" for frame in reversed(frames)]
    assert run_page.locator("#rows tr.bad button").all_inner_texts() == [f"{frames[MOVED]}"]
    assert "moved" in run_page.inner_text("#rows tr.bad")
    run_page.click("#worst")
    assert shown_s(run_page) == pytest.approx((7.3 - 1.5, 7.3 + 0.4 + 0.5), abs=0.21)
    assert f"Frame {frames[7]}, exposure 0" in run_page.inner_text("#seen")
    run_page.click("#rows tr.bad button")
    assert shown_s(run_page) == pytest.approx((4.3 - 1.5, 4.3 + 0.4 + 0.5))
    stripes = [stripes_at(run_page, at_s) for at_s in (3.5, 4.5, 5.0)]
    assert stripes[1] >= 5
    assert (stripes[0], stripes[2]) == (0, 0)


def stripes_at(page: Page, at_s: float) -> int:
    """How many pixels along the column of the first plot at a time have the colour of what is not good."""
    column = page.evaluate(
        """at => { const u = charts[0], x = Math.round(u.valToPos(at, "x", true));
        return [...u.ctx.getImageData(x, u.bbox.top, 1, u.bbox.height).data]; }""",
        at_s,
    )
    pixels = np.array(column).reshape(-1, 4)[:, :3]
    return int((np.abs(pixels - channels(TOKENS["dark"]["open"])).max(axis=1) < 12).sum())
