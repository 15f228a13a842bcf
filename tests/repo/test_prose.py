"""The pages read easily: short sentences, and the glossary has every word that the project uses in its own sense."""

import re
from pathlib import Path

import pytest

from tests.repo import prose
from tests.repo.prose import ROOT, pages, sentences
from tests.repo.sentences import FILLED, all_said

GLOSSARY = ROOT / "docs" / "glossary.md"


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.relative_to(ROOT).as_posix())
def test_no_sentence_of_a_page_is_long(page: Path) -> None:
    found = sentences(page.read_text(encoding="utf-8"))
    assert not [each for each in found if each.words > prose.MOST_WORDS]
    assert prose.median_words(found) < prose.MEDIAN_WORDS


def test_the_figures_of_all_pages_are_current() -> None:
    """Write them again with: python -m tests.repo.prose --table."""
    assert prose.TABLE.read_text(encoding="utf-8") == prose.table()


def test_no_sentence_of_the_program_is_long() -> None:
    parts = [part for said in all_said() for part in prose.split(said.text.replace(FILLED, "x"))]
    assert not [part for part in parts if len(prose.WORD.findall(part)) > prose.MOST_WORDS]


@pytest.mark.parametrize(
    ("paragraph", "parts"),
    [
        ("One. Two, e.g. three. Is it 3.5? Yes!", ["One.", "Two, e.g. three.", "Is it 3.5?", "Yes!"]),
        ("“Quoted.” Then (it says) more. “Done.”", ["“Quoted.", "Then (it says) more.", "“Done.”"]),
        ("No end", ["No end"]),
        ("...", []),
    ],
)
def test_a_paragraph_is_split_into_sentences(paragraph: str, parts: list[str]) -> None:
    assert prose.split(paragraph) == parts


def test_tables_code_and_headings_are_no_sentences() -> None:
    page = "# A heading\n\nA *sentence* with `some code here`.\n\n| a |\n|---|\n| cell. |\n\n```\ncode.\n```\n"
    assert [(each.text, each.words, each.line) for each in sentences(page)] == [("A sentence with Code.", 4, 3)]


def test_reading_ease_is_that_of_the_formula() -> None:
    """Flesch (1948), Journal of Applied Psychology 32, p. 221; worked by hand: 6 words, 1 sentence, 6 syllables."""
    assert prose.reading_ease(sentences("The cat sat on the mat.")) == pytest.approx(206.835 - 1.015 * 6 - 84.6)


def test_the_glossary_has_every_word_and_is_in_order() -> None:
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Words")[2].partition("\nSentences")[0]
    words = {word for row in re.findall(r"^\| ([^|]+) \|", developers, re.MULTILINE) for word in row.strip().split(", ")}
    listed = re.findall(r"^\| ([^|]+) \|", GLOSSARY.read_text(encoding="utf-8"), re.MULTILINE)[2:]
    listed = [word.strip() for word in listed]
    assert words - {"word", "---"} <= set(listed)
    assert listed == sorted(set(listed), key=str.casefold)
