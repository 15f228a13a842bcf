"""The routes of the view "Set up": who may use them, and the steps as they stand."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.capture.jog import SIZES_DEG
from controller.capture.pad import SPEEDS
from controller.page import set_up
from controller.setup.steps import Look, steps
from tests.controller.commands.shell import KIT
from tests.controller.page.pages import Served, served_in


@pytest.fixture
def page(tmp_path: Path) -> Served:
    (tmp_path / "kit.toml").write_text(KIT, encoding="utf-8")
    return served_in(tmp_path)


def test_the_steps_are_those_of_the_program_in_its_words(page: Served) -> None:
    shown = page.controlling.get("/set-up/steps?kit=kit.toml").json()["steps"]
    assert [each["title"] for each in shown] == [step.title for step in steps()]
    assert [each["how"] for each in shown] == [step.how for step in steps()]
    assert {each["name"] for each in shown if each["at_head"]} == {"stop-switch", "cables", "zero"}
    assert not any(each["done"] for each in shown)


def test_a_step_is_marked_and_opened_again(page: Served) -> None:
    browser = page.controlling
    for how, done in (("done", True), ("again", False)):
        answer = browser.post("/set-up/mark", {"kit": "kit.toml", "step": "ground", "mark": how})
        assert {each["name"]: each["done"] for each in answer.json()["steps"]}["ground"] is done


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("/set-up/mark", {"kit": "kit.toml", "step": "ground", "mark": "done"}),
        ("/head/open", {"kit": "kit.toml", "port": "p"}),
        ("/head/send", {"talk": 1, "beat": 1, "since_ms": 0, "message": {"stop": True}}),
        ("/head/here", {"talk": 1}),
        ("/head/close", {"talk": 1}),
    ],
)
def test_only_the_device_with_the_controls_may_do_anything(page: Served, path: str, value: dict[str, object]) -> None:
    assert page.browser().post(path, value).status_code == 401
    assert page.looking_on.post(path, value).status_code == 403
    first, second = page.controlling, page.controlling
    assert second.post("/controls/take").status_code == 200
    assert first.post(path, value).status_code == 403


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("/set-up/mark", {"kit": "../kit.toml", "step": "ground", "mark": "done"}),
        ("/set-up/mark", {"kit": "kit.toml", "step": "jump", "mark": "done"}),
        ("/set-up/mark", {"kit": "kit.toml", "step": "ground", "mark": "perhaps"}),
        ("/head/open", {"kit": "none.toml", "port": "p"}),
        ("/head/open", {"kit": "kit.toml", "port": ""}),
        ("/head/send", {"talk": 1, "beat": 1, "since_ms": -1, "message": {"stop": True}}),
        ("/head/send", {"talk": 1, "beat": 1, "since_ms": 0, "message": {"stop": True}}),
    ],
)
def test_what_cannot_be_done_is_a_sentence(page: Served, path: str, value: dict[str, object]) -> None:
    answer = page.controlling.post(path, value)
    assert answer.status_code == 400
    assert answer.json()["sentence"].endswith(".")


def test_the_view_names_every_control_and_cautions_beside_the_pad(page: Served) -> None:
    text = page.controlling.get("/set-up").text
    assert "switch that cuts the motor power" in text
    assert "emergency" not in text
    for arm in ("up", "down", "left", "right"):
        assert f'aria-label="Turn {arm} while held"' in text
    assert len(set_up.SPEEDS) == len(SPEEDS)
    assert "1 motor step" in text
    assert len(SIZES_DEG) == 4
    assert {step.look for step in steps()} >= set_up.AT_HEAD
    assert Look.ZERO in set_up.AT_HEAD
