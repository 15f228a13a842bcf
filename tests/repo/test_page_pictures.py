"""The photographs of the page show what the program says, at the size of a phone, and are small."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PIL import Image

from controller.report.plan_words import proof_sentence
from tests.browser import PHONE
from tests.repo.page_pictures import AT_EXPOSURES, FOLDER, NOW, PLAN, SCALE, words_in
from tests.repo.sphere_drawing import demo_plan

BIGGEST = 150_000  # bytes


@pytest.mark.parametrize("name", [NOW, PLAN])
def test_a_photograph_has_the_size_of_a_phone_and_is_small(name: str) -> None:
    path: Path = FOLDER / name
    with Image.open(path) as picture:
        assert picture.size == (SCALE * PHONE[0], SCALE * PHONE[1])
        dark, _ = picture.convert("L").resize((1, 1)).getextrema()
    assert isinstance(dark, int)
    assert dark < 80
    assert path.stat().st_size < BIGGEST


def test_the_photograph_of_a_plan_has_the_plan_s_figures() -> None:
    """Take it again with: python -m tests.repo.page_pictures."""
    plan, words = demo_plan(), words_in(FOLDER / PLAN)
    assert f"Frames | {len(plan.frames)} |" in words
    assert f"Exposures | {plan.budget.exposures} |" in words
    assert f"Minutes | {plan.budget.seconds / 60:.1f} |" in words
    assert proof_sentence(plan) in words


def test_the_photograph_of_a_run_has_its_figures_and_buttons() -> None:
    """Take it again with: python -m tests.repo.page_pictures."""
    words, planned = words_in(FOLDER / NOW), demo_plan().budget.exposures
    made = re.search(r"(\d+) of (\d+) exposures", words)
    assert made is not None
    assert AT_EXPOSURES <= int(made[1]) < int(made[2]) == planned
    assert all(f"| {each} " in words for each in ("Pause", "Go on", "Stop"))
    assert {str(frame.id) for frame in demo_plan().frames} <= set(words.split(" | "))
