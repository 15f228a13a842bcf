"""Every sentence that the program can say, found in its code. `python -m tests.repo.sentences ROOM` lists a room's.

A sentence is a literal that is not a docstring, has a space in it and ends like a sentence, or that an error is raised
with. What is filled in while the program runs is “…”. The help of commands is left out: the reference has it.
"""

import ast
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.repo.test_layers import ROOT
from tests.repo.test_plain_words import NOT_FOR_PEOPLE, SQL, docstrings

FILLED = "…"
ENDS = re.compile(r"[.?!][”\"')]*$")
HELP = {"help", "short_help", "metavar", "epilog", "description", "prog_name", "usage"}
MARKUP = re.compile(r"</?\w+[ >]|\{%|[{};]\s*$")
LEAST_WORDS = 3
ROOMS = ("controller", "protocol")
NOT_SAID = {"controller/capture/diagram.py"}  # modules whose texts go to nobody


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence, and where it is in the code."""

    text: str
    module: str
    line: int

    @property
    def room(self) -> str:
        """The folder of its module; `top` for the modules at the top of the host."""
        parts = self.module.split("/")
        return parts[0] if parts[0] != "controller" else parts[1] if len(parts) > 2 else "top"


def said_in(path: Path) -> Iterator[Said]:
    """The sentences of one module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    passed = docstrings(tree) | _helps(tree) | _parts(tree)
    raised = _raised(tree)
    for node in ast.walk(tree):
        if id(node) in passed:
            continue
        text = _text(node)
        if text is None:
            continue
        words = re.findall(r"\w+", text)
        is_sentence = len(words) >= LEAST_WORDS and (ENDS.search(text) or (id(node) in raised and " " in text))
        if is_sentence and not SQL.match(text) and not MARKUP.search(text) and text not in NOT_FOR_PEOPLE:
            yield Said(text, path.relative_to(ROOT).as_posix(), getattr(node, "lineno", 0))


def _text(node: ast.AST) -> str | None:
    """The literal's text, with … for what is filled in; None if it is none."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        text = re.sub(r"(?<!\{)\{[a-z_.0-9]*(?:![rs])?(?::[^{}]*)?\}", FILLED, node.value)  # of str.format
    elif isinstance(node, ast.JoinedStr):
        text = "".join(str(each.value) if isinstance(each, ast.Constant) else FILLED for each in node.values)
    else:
        return None
    return re.sub(f"{FILLED}(?:{FILLED})+", FILLED, " ".join(text.split()))


def _helps(tree: ast.AST) -> set[int]:
    """The literals inside the help of commands and options."""
    return {
        id(each)
        for call in ast.walk(tree)
        if isinstance(call, ast.Call)
        for word in call.keywords
        if word.arg in HELP
        for each in ast.walk(word.value)
    }


def _parts(tree: ast.AST) -> set[int]:
    """The constant parts of f-strings, which count as a whole, and their format specifications."""
    return {
        id(each)
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        for each in ast.walk(node)
        if each is not node and isinstance(each, (ast.Constant, ast.JoinedStr)) and _inside(node, each)
    }


def _inside(whole: ast.JoinedStr, part: ast.AST) -> bool:
    """Whether a part is text of the f-string itself or a format specification, not an expression's own literal."""
    direct = [*whole.values, *(each.format_spec for each in whole.values if isinstance(each, ast.FormattedValue))]
    return any(part is each or (isinstance(each, ast.JoinedStr) and part in each.values) for each in direct)


def _raised(tree: ast.AST) -> set[int]:
    """The literals that are given to an error that is raised."""
    return {
        id(each)
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise) and node.exc is not None
        for each in ast.walk(node.exc)
    }


def all_said() -> list[Said]:
    """Every sentence, by module and line."""
    found = [
        said
        for room in ROOMS
        for path in sorted((ROOT / room).rglob("*.py"))
        if path.relative_to(ROOT).as_posix() not in NOT_SAID
        for said in said_in(path)
    ]
    return sorted(found, key=lambda said: (said.module, said.line, said.text))


def main(rooms: list[str]) -> None:
    """List the sentences of these rooms, or of all."""
    for said in all_said():
        if not rooms or said.room in rooms:
            print(f"{said.module}:{said.line}: {said.text}")


if __name__ == "__main__":
    main(sys.argv[1:])
