"""From an empty folder to a kit that plans, on the page; and what is not saved."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.kit.load import load_kit
from controller.page.kit_form import fields
from controller.page.page import Page
from controller.planning.make import make_plan
from tests.controller.page.sessions_made import FolderBrowser, browser_of, page_of, words_of
from tests.controller.page.test_kit_text import BLANK

TYPED = {
    "camera.sensor_width_mm": "35.9",
    "camera.sensor_height_mm": "23.9",
    "camera.pixels_wide": "6016",
    "camera.pixels_high": "4016",
    "camera.mounted": "portrait",
    "lens.focal_length_mm": "24",
    "exposure.shutter_seconds": "1/80",
    "exposure.bracket_ev": "-2, 0, 2",
    "board.wind_sensor": "true",
}
AXIS = {
    "full_steps_per_turn": "200", "microsteps": "16", "gear_ratio": "36", "max_speed_deg_s": "30",
    "max_accel_deg_s2": "40", "min_deg": "-180", "max_deg": "180",
}  # fmt: skip
HEAD = {f"head.{axis}.{key}": value for axis in ("pan", "tilt") for key, value in AXIS.items()}


@pytest.fixture
def page(tmp_path: Path) -> Page:
    return page_of(tmp_path)


@pytest.fixture
def browser(page: Page) -> Iterator[FolderBrowser]:
    with browser_of(page) as paired:
        yield paired
        paired.run(page.kits.close())


def test_an_empty_folder_gets_a_kit_that_plans(browser: FolderBrowser, tmp_path: Path) -> None:
    assert "A new kit" in words_of(browser.get("/kit").text)
    judged = browser.post("/kits/judge", {"name": "", "text": BLANK, "values": TYPED}).json()
    assert judged["mistakes"] == []
    assert "the head is an example" in judged["caution"]
    assert judged["supplied"]["head.pan.gear_ratio"]["source"] == "example"
    assert judged["values"]["exposure.shutter_seconds"] == "0.0125"
    asked = {"name": "ledge", "text": judged["text"], "values": HEAD, "digest": ""}
    saved = browser.post("/kits/save", asked).json()
    assert (saved["name"], saved["caution"]) == ("ledge.toml", "")
    kit = load_kit(tmp_path / "ledge.toml")
    assert (kit.camera.pixels_wide, kit.head.tilt.gear_ratio, kit.exposure.shutter_seconds) == (6016, 36.0, 0.0125)
    assert kit.board.wind_sensor
    assert make_plan(kit, 0.3).proof.covered
    assert "# " in (tmp_path / "ledge.toml").read_text(encoding="utf-8")
    assert "Change this kit" in words_of(browser.get("/set-up").text)


def test_a_camera_is_found_by_its_words(browser: FolderBrowser) -> None:
    found = browser.post("/kits/find", {"words": "24mm", "kind": "lens"}).json()
    assert found["found"]
    assert all("24" in each["text"] for each in found["found"])
    assert browser.post("/kits/find", {"words": "no such thing", "kind": "camera"}).json()["found"] == []
    assert browser.post("/kits/find", {"words": "x", "kind": "tripod"}).status_code == 400


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ({"camera.pixels_wide": "many"}, "camera.pixels_wide"),
        ({"board.baud": "7"}, "board.baud"),
        ({"camera.mounted": "askew"}, "camera.mounted"),
        ({"lens.focal_length_mm": "0"}, "lens.focal_length_mm"),
    ],
)
def test_a_wrong_value_is_said_beside_its_field_and_not_saved(
    browser: FolderBrowser, tmp_path: Path, typed: dict[str, str], key: str
) -> None:
    asked = {"name": "ledge", "text": BLANK, "values": {**TYPED, **typed}, "digest": ""}
    answer = browser.post("/kits/save", asked)
    assert answer.status_code == 409
    assert key in {mistake["key"] for mistake in answer.json()["mistakes"]}
    assert not list(tmp_path.glob("*.toml"))


def test_a_kit_that_was_changed_meanwhile_is_not_replaced(browser: FolderBrowser, tmp_path: Path) -> None:
    asked = {"name": "ledge", "text": BLANK, "values": TYPED, "digest": ""}
    saved = browser.post("/kits/save", asked).json()
    again = browser.post("/kits/save", asked)
    assert (again.status_code, "exists already" in again.json()["sentence"]) == (400, True)
    more = {"name": "ledge.toml", "text": saved["text"], "values": {"power.head_watts": "21"}, "digest": saved["digest"]}
    newer = browser.post("/kits/save", more)
    assert newer.status_code == 200
    assert load_kit(tmp_path / "ledge.toml").power.head_watts == 21.0
    before = (tmp_path / "ledge.toml").read_bytes()
    stale = browser.post("/kits/save", more)
    assert (stale.status_code, "was changed meanwhile" in stale.json()["sentence"]) == (400, True)
    assert (tmp_path / "ledge.toml").read_bytes() == before


@pytest.mark.parametrize("name", ["../ledge", "a/b", ".hidden", "<img src=x>/", "a\0b"])
def test_a_name_that_is_none_is_refused(browser: FolderBrowser, tmp_path: Path, name: str) -> None:
    answer = browser.post("/kits/save", {"name": name, "text": BLANK, "values": TYPED, "digest": ""})
    assert answer.status_code == 400
    assert not list(tmp_path.rglob("*.toml"))
    assert not (tmp_path.parent / "ledge.toml").exists()


def test_who_looks_on_may_check_but_not_save(page: Page, tmp_path: Path) -> None:
    with browser_of(page, controls=False) as browser:
        asked = {"name": "ledge", "text": BLANK, "values": TYPED}
        assert browser.post("/kits/judge", asked).json()["mistakes"] == []
        assert browser.post("/kits/save", {**asked, "digest": ""}).status_code == 403
        browser.run(page.kits.close())
    assert not list(tmp_path.glob("*.toml"))


def test_what_is_not_in_the_form_is_refused(browser: FolderBrowser) -> None:
    answer = browser.post("/kits/judge", {"name": "", "text": BLANK, "values": {"head.secret": "1"}}).json()
    assert "is not in the form" in answer["mistakes"][0]["sentence"]
    assert browser.post("/kits/judge", {"name": "", "text": "[camera", "values": {}}).json()["mistakes"]
    assert len(fields()) > 30


def test_the_text_of_a_kit_is_shown_as_text(browser: FolderBrowser, tmp_path: Path) -> None:
    (tmp_path / "odd.toml").write_text("# </textarea><script>alert(1)</script>\n", encoding="utf-8")
    html = browser.get("/kit/odd.toml").text
    assert "<script>alert" not in html
    assert html.count("</textarea>") == 1
    assert browser.get("/kit/gone.toml").status_code == 400
