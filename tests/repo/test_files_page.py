"""The page of columns and keys names everything that the program writes, and nothing else."""

from typing import Any

import pytest

from tests.repo.files_page import described, written
from tests.repo.reference import pages
from tests.repo.schemas import WORDS

WRITTEN = written()


def test_every_file_is_described_once() -> None:
    titles = [file["title"] for file in described()]
    assert sorted(titles) == sorted(WRITTEN)


@pytest.mark.parametrize("title", WRITTEN)
def test_every_column_is_described(title: str) -> None:
    (file,) = (file for file in described() if file["title"] == title)
    assert sorted(file["keys"]) == sorted(set(WRITTEN[title])), title
    assert WRITTEN[title]


@pytest.mark.parametrize("file", described(), ids=lambda file: file["title"])
def test_every_meaning_is_a_sentence(file: dict[str, Any]) -> None:
    meanings = list(file["keys"].values())
    assert all(meaning.endswith(".") and len(meaning) > 8 for meaning in [*meanings, file["about"]]), meanings


@pytest.mark.parametrize("page", ["kit.md", "plan.md", "report.md", "calibration.md"])
def test_every_key_of_the_models_has_a_meaning(page: str) -> None:
    rows = [line.split(" | ") for line in pages()[page].splitlines() if line.startswith("| `")]
    assert len(rows) > 10
    assert not [row[0] for row in rows if len(row[-1].strip(" |").split("Default:")[0]) < 4 and "`format" not in row[0]]


def test_no_meaning_is_left_over() -> None:
    text = "".join(pages().values())
    assert not [f"{model}.{key}" for model, keys in WORDS.items() for key, words in keys.items() if words not in text]
