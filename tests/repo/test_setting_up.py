"""The steps of setting up are the same in the program and on both pages: number, title, order."""

import re
from pathlib import Path

import pytest

from controller.setup.steps import Look, steps

ROOT = Path(__file__).resolve().parents[2]
PAGES = (ROOT / "docs" / "how-to" / "set-up.md", ROOT / "hardware_notes" / "setting_up.md")
NUMBERED = re.compile(r"^\| (\d+)\. ([^|]+?) \|", re.MULTILINE)
TITLES = [(str(number), step.title) for number, step in enumerate(steps(), 1)]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_page_has_the_steps_of_the_program(page: Path) -> None:
    assert NUMBERED.findall(page.read_text(encoding="utf-8")) == TITLES


def test_the_guide_says_which_steps_the_program_looks_at() -> None:
    """The last cell of a row is “you” for a step that only the photographer can judge."""
    rows = re.findall(r"^\| \d+\. .+ \| ([^|]+) \|$", PAGES[0].read_text(encoding="utf-8"), re.MULTILINE)
    assert [cell == "you" for cell in rows] == [step.look is Look.NOTHING for step in steps()]


def test_nothing_has_power_before_the_stop_switch() -> None:
    """The first five steps are done by hand: nothing in them sends the head anywhere."""
    names = [step.name for step in steps()]
    before = steps()[: names.index("stop-switch")]
    assert len(before) == 5
    assert not [step.name for step in before if step.look not in {Look.NOTHING, Look.CALIBRATION}]
    assert not [step.name for step in before for sentence in step.how if re.search(r"--port|jog|capture", sentence)]
    assert "switch the motor power off" in before[0].how[0]


def test_hands_are_off_the_head_before_the_switch_gives_it_power() -> None:
    """In each step that says so, the hands come first."""
    said = [
        sentence
        for step in steps()
        for sentence in step.how
        if "power on" in sentence or "release the switch" in sentence
    ]
    assert len(said) == 3
    assert all(sentence.startswith("Take your hands off the head, then ") for sentence in said)
