"""Text for users keeps to the words of docs/contributors/words.md. Checked by reading every text of the program.

A text in the code is any literal with a space in it that is not a docstring; a single word is a name. Docstrings of
commands are their help, which the pages under docs/reference repeat.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.repo.test_layers import ROOT, name_of, program_files

LIST = ROOT / "docs" / "contributors" / "words.md"
SQL = re.compile(r"\s*(SELECT|INSERT|UPDATE|DELETE|CREATE|ALTER)\b")
NAMES = {"table wishes"}  # names in files, which are older than their better word
NOT_FOR_PEOPLE = {"outside lower center"}  # where matplotlib puts a legend
PAGES = sorted(
    path
    for pattern in (
        "*.md",
        "docs/**/*.md",
        "hardware_notes/**/*.md",
        "protocol/**/*.md",
        "controller/**/*.html",
        "docs/**/*.svg",
    )
    for path in ROOT.glob(pattern)
    if path != LIST
)
DATA = sorted(path for folder in ("controller", "sim", "hardware_notes") for path in (ROOT / folder).rglob("*.toml"))
STYLE_OR_SCRIPT = re.compile(r"<(style|script)\b.*?</\1>|\{#.*?#\}", re.DOTALL)


def refused() -> dict[str, str]:
    """Every refused form, and what to write instead."""
    rows = re.findall(r"^\| (.+?) \| (.+?) \|$", LIST.read_text(encoding="utf-8"), re.MULTILINE)
    return {form.strip(): better for forms, better in rows[2:] for form in forms.split(",")}


REFUSED = refused()
PATTERN = re.compile(r"\b(" + "|".join(map(re.escape, REFUSED)) + r")\b(?!-)", re.IGNORECASE)


def complaints(text: str) -> list[str]:
    """The faults of a text for people; forms are found across line breaks."""
    flat = " ".join(text.split())
    return [f"“{flat[max(0, m.start() - 40) : m.end() + 20]}”: {REFUSED[m[0].lower()]}" for m in PATTERN.finditer(flat)]


def docstrings(tree: ast.AST) -> set[int]:
    """The nodes of all literals that are statements by themselves."""
    return {
        id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }


def texts(path: Path) -> Iterator[tuple[int, str]]:
    """The line and the text of every literal that people may read. An f-string counts as a whole."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    passed = docstrings(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            pieces = [each for each in node.values if isinstance(each, ast.Constant)]
            passed |= {id(each) for each in pieces}
            text = "{}".join(str(each.value) for each in pieces)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in passed:
            text = node.value
        else:
            continue
        if " " in text.strip() and not SQL.match(text) and text not in NOT_FOR_PEOPLE:
            yield node.lineno, text


def strings_in(value: object) -> Iterator[str]:
    """All texts in a TOML document, without the keys."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from strings_in(each)
    elif isinstance(value, list):
        for each in value:
            yield from strings_in(each)


def test_the_list_is_read_and_refuses() -> None:
    assert {"wish", "said and heard", "the world said no", "once more"} <= set(REFUSED)
    assert complaints("Said and\nheard: no Wishes.") != []
    assert complaints("A wishbone, the anewly, and a safe-guard.") == []


@pytest.mark.parametrize("path", program_files(), ids=name_of)
def test_the_program_speaks_plainly(path: Path) -> None:
    found = [(line, said) for line, text in texts(path) for said in complaints(text)]
    assert not found


@pytest.mark.parametrize("path", PAGES, ids=name_of)
def test_the_pages_speak_plainly(path: Path) -> None:
    text = STYLE_OR_SCRIPT.sub(" ", path.read_text(encoding="utf-8"))
    for name in NAMES:
        text = text.replace(name, "")
    assert not complaints(text)


@pytest.mark.parametrize("path", DATA, ids=name_of)
def test_texts_in_tables_of_data_are_plain(path: Path) -> None:
    found = tomllib.loads(path.read_text(encoding="utf-8"))
    assert not [said for text in strings_in(found) for said in complaints(text)]
