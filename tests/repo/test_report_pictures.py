"""The marked photographs of the report agree with the program and with the page that explains their numbers."""

from __future__ import annotations

import re

import pytest
from PIL import Image

from controller.amounts import duration
from controller.report.html import row_lines
from controller.report.plan_words import direction_words
from tests.browser import PHONE
from tests.repo.drawings import DOCS
from tests.repo.page_pictures import FOLDER, words_in
from tests.repo.report_pictures import SHARP, SHOTS
from tests.repo.sphere_drawing import demo_plan

BIGGEST = 150_000  # bytes
PAGE = DOCS / "how-to" / "read-the-report.md"


@pytest.mark.parametrize("name", [shot.name for shot in SHOTS])
def test_a_marked_photograph_is_as_wide_as_a_phone_and_small(name: str) -> None:
    with Image.open(FOLDER / name) as picture:
        assert picture.width == SHARP * PHONE[0]
    assert (FOLDER / name).stat().st_size < BIGGEST


def test_the_photographs_have_the_figures_of_the_demo() -> None:
    """Take them again with: python -m tests.repo.report_pictures."""
    plan, words = demo_plan(), words_in(FOLDER / SHOTS[0].name)
    planned = plan.budget.exposures
    assert f"{planned} of {planned} | exposures made" in words
    assert f"predicted {duration(plan.budget.seconds)}" in words
    worst = plan.proof.worst_at
    assert f"{direction_words(worst.yaw_deg, worst.pitch_deg)}, with {plan.proof.worst_margin_deg:.3f}° to spare" in words
    for line in row_lines(plan):
        assert re.search(rf"\b{line.number}\t{round(line.pitch_deg, 2) + 0.0:.2f}\t{line.frames}\t", words)


def test_the_page_explains_each_number_below_its_picture() -> None:
    parts = re.split(r"^!\[[^]]+\]\(\.\./pictures/(.+?)\)$", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]
    assert sorted(parts[::2]) == sorted(shot.name for shot in SHOTS)
    by_name, number = dict(zip(parts[::2], parts[1::2], strict=True)), 1
    for shot in SHOTS:
        explained = [int(each) for each in re.findall(r"^(\d+)\. ", by_name[shot.name], re.MULTILINE)]
        assert explained == list(range(number, number + len(shot.marks))), shot.name
        number += len(shot.marks)


def test_the_figures_of_the_page_are_in_the_photographs() -> None:
    shown = " ".join(words_in(FOLDER / shot.name) for shot in SHOTS)
    quoted = re.findall(r"^\d+\. (.*(?:\n {2,}.*)*)", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    figures = [figure for text in quoted for figure in re.findall(r"`([^`]*\d[^`]*)`", text)]
    assert len(figures) > 8
    assert [figure for figure in figures if figure not in shown] == []
