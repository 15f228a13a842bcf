"""Pages and texts are spelt as in Britain, by codespell and by the table of words (test_plain_words.py)."""

from __future__ import annotations

import subprocess
import sys

from tests.repo.test_layers import ROOT

READ = (
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "docs",
    "hardware_notes",
    "controller",
    "protocol",
    "sim",
    "start.py",
)


def spelt(*paths: str) -> list[str]:
    """What codespell finds in these files and folders, one mistake a line."""
    done = subprocess.run(
        [sys.executable, "-m", "codespell_lib", *paths], cwd=ROOT, capture_output=True, text=True, check=False
    )
    return [*done.stdout.splitlines(), *done.stderr.splitlines()]


def test_words_are_spelt_right() -> None:
    assert spelt(*READ) == []


def test_a_mistake_would_be_found(tmp_path: object) -> None:
    page = f"{tmp_path}/page.md"
    with open(page, "w", encoding="utf-8") as file:
        file.write("The camera seperates the frames.\n")
    assert len(spelt(page)) == 1
