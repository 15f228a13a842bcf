"""Texts have one encoding and one line end on every system: checked by reading every file of the program."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.repo.test_layers import name_of, program_files

MAKE_A_LINE_END = {
    # Temporary pages, read again by the tool that builds the site.
    "controller/guide/site.py",
}


def faults(tree: ast.AST) -> Iterator[str]:
    """Calls that leave the encoding to the system, or line ends when writing."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        named = {word.arg: ast.unparse(word.value) for word in node.keywords}
        texts = [each.value for each in node.args if isinstance(each, ast.Constant) and isinstance(each.value, str)]
        mode = named.get("mode", next((text for text in texts if set(text) <= set("rwaxbt+") and text), "r"))
        if name == "open" and isinstance(node.func, ast.Attribute) and ast.unparse(node.func.value) in OTHERS:
            continue
        is_text = name in {"read_text", "write_text"} or (name in {"open", "fdopen"} and "b" not in mode)
        if not is_text or "opener" in named:
            continue
        if "encoding" not in named and not (name == "read_text" and node.args and isinstance(node.func, ast.Name)):
            yield f"line {node.lineno}: {name} without an encoding"
        if (name == "write_text" or set(mode) & set("wax+")) and name != "read_text" and "newline" not in named:
            yield f"line {node.lineno}: {name} without a line end"


OTHERS = {"os", "Image", "Session", "webbrowser", "line", "self._line", "reading", "port", "audio"}


@pytest.mark.parametrize("path", program_files(), ids=name_of)
def test_no_text_depends_on_the_system(path: Path) -> None:
    found = list(faults(ast.parse(path.read_text(encoding="utf-8"))))
    if name_of(path) in MAKE_A_LINE_END:
        found = [each for each in found if "line end" not in each]
    assert not found


@pytest.mark.parametrize(
    "line",
    [
        "open(path)",
        "path.read_text()",
        "path.open('w', encoding='utf-8')",
        "path.write_text(x, encoding='utf-8')",
        "os.fdopen(3)",
    ],
)  # fmt: skip
def test_what_depends_on_it_is_seen(line: str) -> None:
    assert list(faults(ast.parse(line)))


@pytest.mark.parametrize(
    "line", ["open(path, 'rb')", "path.read_text(encoding='utf-8')", "read_text(path, KIT)", "os.open(path, flags)"]
)
def test_what_does_not_is_let_be(line: str) -> None:
    assert not list(faults(ast.parse(line)))
