"""The documents say what the code does."""

import ast
import re
from pathlib import Path

import pytest

from tests.repo import diagram

ROOT = Path(__file__).resolve().parents[2]
TEXTS = sorted(
    path
    for pattern in (
        "*.md",
        "*.toml",
        "*.py",
        "hardware_notes/*.md",
        "controller/**/*.*",
        "sim/**/*.*",
        "protocol/*",
    )
    for path in ROOT.glob(pattern)
    if path.is_file() and path.suffix in {".md", ".toml", ".py", ".html", ".json"}
)


def test_the_picture_of_a_run_is_current_and_fits_a_screen() -> None:
    """Regenerate it with: python -m tests.repo.diagram."""
    found = diagram.BLOCK.search(diagram.DOCUMENT.read_text(encoding="utf-8"))
    assert found is not None
    assert found.group() == f"```mermaid\n{diagram.picture()}```"
    assert diagram.picture().count("-->") <= 35


def test_the_table_of_a_run_is_current() -> None:
    """Regenerate it with: python -m tests.repo.diagram."""
    assert diagram.TABLE.read_text(encoding="utf-8") == diagram.table()


def test_the_life_of_a_photograph_is_ten_functions_that_exist() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    steps = re.findall(r"^(\d+)\. `([a-z_/]+\.py): ([A-Za-z_.]+)`", text, re.MULTILINE)
    assert [int(number) for number, _, _ in steps] == list(range(1, 11))
    for _, module, name in steps:
        body = ast.parse((ROOT / "controller" / module).read_text(encoding="utf-8")).body
        for part in name.split("."):
            (found,) = [one for one in body if isinstance(one, ast.ClassDef | ast.FunctionDef) and one.name == part]
            body = found.body


def test_the_readme_has_its_three_commands_and_its_cautions() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(re.findall(r"^python3 start\.py \w+$", text, re.MULTILINE)) == 3
    for word in (
        "Tripod and wind",
        "Load limits",
        "Moving parts",
        "Cables",
        "Motors",
        "The sun",
        "emergency stop",
    ):
        assert word in " ".join(text.split())


def test_files_named_in_the_documents_exist() -> None:
    for document in ("README.md", "DEVELOPERS.md", "hardware_notes/README.md"):
        path = ROOT / document
        for target in re.findall(r"\]\(([^)#:]+)\)", path.read_text(encoding="utf-8")):
            assert (path.parent / target).exists(), f"{document} points to {target}"


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: path.name)
def test_nothing_is_called_what_it_cannot_be(path: Path) -> None:
    """No promise that software cannot keep: these words may appear only where they are denied."""
    text = " ".join(path.read_text(encoding="utf-8").casefold().split())
    assert not re.search(r"\bis (perfectly |completely )?safe\b", text)
    for found in re.finditer(r"emergency stop", text):
        around = text[max(0, found.start() - 120) : found.end() + 60]
        assert re.search(r"\bnot\b|never|nothing|must work|has to|emergency stop has", around), around
