"""The view Plan: drawn by the program's own rules, saved as a plan file, and rehearsed."""

import json
import shutil
from pathlib import Path

import pytest

from controller.cli.plan_worker import answer
from controller.errors import InputError
from controller.page.plan_asked import FLAGS, VALUES, PlanAsked
from controller.planning.plan_file import load_plan
from tests.controller.page.sessions_made import browser_of, page_of

DEMO = Path(__file__).parents[3] / "sim/demo/kit.toml"
BAND = {"overlap": "0.25", "region": "band", "pitch-from": "-10", "pitch-to": "10"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copy(DEMO, tmp_path / "ledge.toml")
    return tmp_path


def test_a_plan_is_drawn_saved_and_the_same_as_by_the_command(folder: Path) -> None:
    with browser_of(page := page_of(folder)) as browser:
        drawn = browser.post("/plan/draw", {"kit": "ledge.toml", "options": BAND}).json()
        refused = browser.post("/plan/draw", {"kit": "ledge.toml", "options": {**BAND, "overlap": "much"}}).json()
        saved = browser.post("/plan/save", {"kit": "ledge.toml", "options": BAND, "name": ""}).json()
        again = browser.post("/plan/save", {"kit": "ledge.toml", "options": BAND, "name": ""}).json()
        named = browser.post("/plan/save", {"kit": "ledge.toml", "options": BAND, "name": "north face"}).json()
        taken = browser.post("/plan/save", {"kit": "ledge.toml", "options": BAND, "name": "north face"})
        browser.run(page.planner.close())
    plan = load_plan(folder / "ledge-plan.json")
    assert (drawn["frames"], drawn["exposures"]) == (len(plan.frames), len(plan.exposures))
    assert [shape["id"] for shape in drawn["map"]["frames"]] == [frame.id for frame in plan.first_pass]
    assert drawn["seconds"] == plan.budget.seconds
    assert "overlap" in refused["refused"]
    assert (saved["plan"], again["plan"]) == ("ledge-plan.json", "ledge-plan-2.json")
    assert named["plan"] == "north face.json"
    assert taken.status_code == 409
    assert "exists already" in taken.json()["sentence"]


@pytest.mark.parametrize(
    ("kit", "options", "words"),
    [
        ("../ledge.toml", {}, "in this folder"),
        ("ledge.toml", {"out": "elsewhere.json"}, "not in its form"),
        ("ledge.toml", {"replace": True}, "not in its form"),
        ("ledge.toml", {"overlap": True}, "not in its form"),
        ("ledge.toml", {"nadir-by-hand": "yes"}, "not in its form"),
    ],
)
def test_what_is_not_in_the_form_is_refused(folder: Path, kit: str, options: dict[str, object], words: str) -> None:
    with browser_of(page_of(folder)) as browser:
        answered = browser.post("/plan/draw", {"kit": kit, "options": options})
    assert answered.status_code == 400
    assert words in answered.json()["sentence"]


def test_a_device_that_looks_on_may_draw_but_not_save(folder: Path) -> None:
    with browser_of(page := page_of(folder), controls=False) as browser:
        assert browser.post("/plan/draw", {"kit": "ledge.toml", "options": BAND}).status_code == 200
        assert browser.post("/plan/save", {"kit": "ledge.toml", "options": BAND, "name": ""}).status_code == 403
        assert browser.post("/plan/rehearse", {"plan": "ledge-plan.json"}).status_code == 403
        browser.run(page.planner.close())
    assert not (folder / "ledge-plan.json").exists()


def test_every_option_of_the_form_is_one_of_the_command() -> None:
    asked = PlanAsked(kit="", options={**dict.fromkeys(VALUES, "1"), **dict.fromkeys(FLAGS, True)})
    for argument in asked.arguments():
        refused = answer(json.dumps({"kit": str(DEMO), "options": [argument]})).get("refused", "")
        assert "no option" not in str(refused), argument
    with pytest.raises(InputError):
        PlanAsked(kit="", options={"seed ": "1"}).arguments()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--overlap=0.95"], "overlap"),
        (["--region=window"], "--pitch-from"),
        (["--max-frames=2"], "frames"),
        (["--arrangement=fewest", "--effort=0.01", "--region=band", "--pitch-from=-5", "--pitch-to=5"], ""),
    ],
)
def test_the_worker_says_why_there_is_no_plan(options: list[str], words: str) -> None:
    found = answer(json.dumps({"kit": str(DEMO), "options": options}))
    assert ("refused" in found) == bool(words)
    assert words in str(found.get("refused", ""))
