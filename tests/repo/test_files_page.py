"""The page of columns and keys names everything that the program writes, and nothing else."""

from typing import Any

import pytest

from tests.repo.files_page import described, written

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
